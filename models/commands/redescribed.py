"""Machines that are described anew from an earlier day, and their jobs that were judged before that was known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from models.commands.carry_on import Carried, otherwise
from models.commands.noticed import FEW
from models.intake.checking_jobs import DAY_ONE
from models.store.judged_jobs import JudgedJob, judged_since
from models.values.asset import Asset
from models.values.description import upcoming, version_on
from models.values.kinds import Coupling

Versions = Mapping[str, Sequence[tuple[int, int, Asset]]]
"""For each tag the descriptions of its machine: number of the asset, entry, asset."""

_ONE_DAY: Final = timedelta(days=1)


@dataclass(slots=True)
class _Met:
    """A description of the book as it was, and what became of its fields with rows that begin earlier."""

    was: Asset
    on: set[str] = field(default_factory=set)
    kept: set[str] = field(default_factory=set)


@dataclass(slots=True)
class Redescribed:
    """The descriptions with a day of their own that one sheet brings of machines that were there, by number of the machine."""

    of: dict[int, list[Asset]] = field(default_factory=dict)
    again: list[Asset] = field(default_factory=list)
    later: dict[tuple[int, date], _Met] = field(default_factory=dict)

    def came(self, asset_id: int, asset: Asset, *, again: bool = False) -> None:
        """See a description of a machine that has others; ``again`` where it is a later one with what is carried on."""
        if asset.valid_from is not None:
            self.of.setdefault(asset_id, []).append(asset)
        if again:
            self.again.append(asset)

    def met(self, asset_id: int, later: Asset, carried: Carried) -> None:
        """See a later description of the book, and what becomes of it by a row that begins earlier."""
        if later.valid_from is not None:
            met = self.later.setdefault((asset_id, later.valid_from), _Met(later))
            met.on.update(carried.on)
            met.kept.update(carried.kept)

    def told_met(self, versions: Versions) -> Iterator[str]:
        """Say what has become, in the end, of rows that begin before a description that the book has already.

        Parameters
        ----------
        versions : mapping
            Every description, those of this import too. [unitless]

        Yields
        ------
        str
            A sentence.
        """
        by_asset = self._of_machine(versions)
        on: list[str] = []
        kept: list[str] = []
        for (number, day), met in self.later.items():
            now = version_on(by_asset[number], day)
            until = version_on([one for one in by_asset[number] if (one.valid_from or date.min) < day], day)
            changed, apart = otherwise(met.was, now), otherwise(until, now)
            for told, names in (
                (on, [name for name in changed if name in met.on]),
                (kept, [name for name in apart if name in met.kept]),
            ):
                if names:
                    told.append(f"{now.tag} from {day} on: {', '.join(names)}")
        begins = "What begins earlier than a description in the book holds"
        if on:
            yield f"{begins} on in it, as that says nothing else of it ({_few(on, '; ')})."
        if kept:
            yield f"{begins} only until that one, which says otherwise ({_few(kept, '; ')})."

    def told(self, connection: sa.Connection, site_id: int, versions: Versions, zone: ZoneInfo) -> str:
        """Say which machines have jobs that another coupling, speed or span judged than what holds on their day by now.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            The book, with what the import has written so far. [unitless]
        site_id : int
            The site. [unitless]
        versions : mapping
            Every description, those of this import too. [unitless]
        zone : zoneinfo.ZoneInfo
            Zone of the site. [unitless]

        Returns
        -------
        str
            A sentence; empty where there is no such job.
        """
        counts: dict[int, int] = {}
        for job in self._judged_otherwise(connection, site_id, versions, zone):
            counts[job.asset_id] = counts.get(job.asset_id, 0) + 1
        if not counts:
            return ""
        tags = [of[-1].tag for asset_id, of in self.of.items() if asset_id in counts]
        listed = _few(tags)
        jobs, machines = sum(counts.values()), f"{len(tags)} machine{'' if len(tags) == 1 else 's'}"
        keeps = "falls under a description that comes in only now, and keeps"
        recorded = "it was judged when it was recorded"
        if jobs > 1:
            keeps = "fall under a description that comes in only now, and keep"
            recorded = "they were judged when they were recorded"
        return (
            f"{jobs} job{'' if jobs == 1 else 's'} in the book, of {machines} ({listed}), {keeps} the coupling, speed and limits by "
            f"which {recorded}. To have a job judged by the new description, amend it: a word in its notes is change enough."
        )

    def told_later(self, versions: Versions, today: date) -> str:
        """Say which machines are described otherwise from a day on that is still to come.

        Parameters
        ----------
        versions : mapping
            Every description, those of this import too. [unitless]
        today : date
            The site's day. [d]

        Returns
        -------
        str
            A sentence; empty where there is none.
        """
        by_asset = self._of_machine(versions)
        later = [
            f"{asset.tag} from {asset.valid_from} on"
            for number, every in self.of.items()
            for asset in upcoming(by_asset[number], today)
            if any(asset is new for new in every)
            and not any(asset is new for new in self.again)
            and version_on(by_asset[number], today) is not asset
        ]
        if not later:
            return ""
        listed = _few(later)
        what = "1 description begins" if len(later) == 1 else f"{len(later)} descriptions begin"
        return f"{what} later than today ({listed}): until then what was said before holds, and jobs are judged by it."

    def _of_machine(self, versions: Versions) -> dict[int, list[Asset]]:
        """Give every description of each machine that is described anew, by its number."""
        return {held[0][0]: [asset for _, _, asset in held] for held in versions.values() if held[0][0] in self.of}

    def _judged_otherwise(
        self, connection: sa.Connection, site_id: int, versions: Versions, zone: ZoneInfo
    ) -> Iterator[JudgedJob]:
        if not self.of:
            return
        by_asset = self._of_machine(versions)
        # What begins first of all speaks for all days before it too.
        first = min(
            DAY_ONE if version_on(by_asset[number], DAY_ONE) is asset else max(asset.valid_from or DAY_ONE, DAY_ONE)
            for number, every in self.of.items()
            for asset in every
        )
        # A zone is at most a day ahead of another one; which day a job was done on is told by its own moment below.
        since = datetime.combine(first, time(), UTC) - _ONE_DAY
        for job in judged_since(connection, site_id, sorted(self.of), since):
            held = version_on(by_asset[job.asset_id], job.performed_at.astimezone(zone).date())
            ours = any(held is asset for asset in self.of[job.asset_id])
            if ours and _basis(held.coupling, held.limit_speed_rpm, held.span_mm) != _basis(
                job.coupling, job.speed_rpm, job.span_mm
            ):
                yield job


def _few(names: Sequence[str], between: str = ", ") -> str:
    """Name the first of some, and how many more there are."""
    return between.join(names[:FEW]) + (f" and {len(names) - FEW} more" if len(names) > FEW else "")


def _basis(coupling: Coupling, speed_rpm: float | None, span_mm: float | None) -> tuple[object, ...]:
    """Give what a verdict rests on: the span counts for a spacer coupling only."""
    return coupling, speed_rpm, span_mm if coupling is Coupling.SPACER else None
