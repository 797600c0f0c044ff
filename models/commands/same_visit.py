"""Rows of jobs that may be visits that the book holds under other numbers: typed by hand, say, and on the crew's list too."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from models.commands.one_machine import OneMachine
from models.commands.report import SameVisit
from models.intake.problems import Code, Problem, Severity
from models.intake.rows import Row, RowReader
from models.store.visits import Visit, visits_between
from models.tables.base import from_microseconds, to_microseconds
from models.values.doubled import Four, read_alike

Key = tuple[int, int]
"""Number of a machine, and a day of the site's calendar as its ordinal."""


class BookVisits:
    """What the book held of visits before an import began.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The connection of the import. [unitless]
    site_id : int
        Number of the site. [unitless]
    zone : zoneinfo.ZoneInfo
        Its zone. [unitless]
    before : int
        Number of the first entry of the import. [unitless]
    one_machine : OneMachine
        Knows which machines are one. [unitless]
    """

    def __init__(
        self, connection: sa.Connection, site_id: int, zone: ZoneInfo, before: int, one_machine: OneMachine
    ) -> None:
        self._connection, self._site_id, self._zone, self._before = connection, site_id, zone, before
        self._one_machine = one_machine

    def on(self, keys: Collection[Key]) -> dict[Key, list[Visit]]:
        """Give the visits of machines on days, under any of their records; keys without one are left out.

        Parameters
        ----------
        keys : collection of Key
            The machines and days. [unitless]
        """
        together = self._one_machine.together() if keys else {}
        stretches = {day: self._stretch(day) for day in {day for _, day in keys}}
        alias: dict[int, int] = {}  # the records of one machine have one number here
        for asset_id, group in together.items():
            alias[asset_id] = min(group)
        wanted = {(one, *stretches[day]) for asset_id, day in keys for one in together.get(asset_id, {asset_id})}
        held: dict[Key, list[Visit]] = {}
        for visit in visits_between(self._connection, self._site_id, sorted(wanted), before=self._before):
            day = from_microseconds(visit.performed_us).astimezone(self._zone).toordinal()
            held.setdefault((alias.get(visit.asset_id, visit.asset_id), day), []).append(visit)
        return {
            key: sorted(there, key=lambda one: one.entry)
            for key in keys
            if (there := held.get((alias.get(key[0], key[0]), key[1])))
        }

    def _stretch(self, day: int) -> tuple[int, int]:
        """Give the first moment of a day and that of the next one."""
        first = date.fromordinal(day)
        ends = (datetime.combine(one, time(), self._zone) for one in (first, first + timedelta(days=1)))
        begins, over = map(to_microseconds, ends)
        return begins, over


def alike(
    there: Iterable[Visit], performed_us: int, found: Four | None, left: Four | None
) -> tuple[Visit, bool] | None:
    """Give the visit of that day that a job may be, and whether by its readings; ``None`` where there is none.

    One of the very same moment is told whatever its readings are.

    Parameters
    ----------
    there : iterable of Visit
        Visits of the machine on the day of the job. [unitless]
    performed_us : int
        Moment of the job. [µs]
    found, left : tuple of four float or None
        What it found and left. [mm, mm/m]
    """
    same_moment = None
    for visit in there:
        if read_alike((visit.found, visit.left), (found, left)):
            return visit, True
        if visit.performed_us == performed_us:
            same_moment = visit
    return None if same_moment is None else (same_moment, False)


def told(
    reader: RowReader, row: Row, visit: Visit, performed_us: int, mode: SameVisit, *, by_readings: bool
) -> Problem:
    """Say of a row that it may be a visit that the book holds, and what becomes of it.

    Parameters
    ----------
    reader : RowReader
        Reader of its sheet. [unitless]
    row : Row
        The row. [unitless]
    visit : Visit
        What the book holds. [unitless]
    performed_us : int
        Moment of the job. [µs]
    mode : SameVisit
        What becomes of such rows. [unitless]
    by_readings : bool
        Whether the readings are the same; else only the moment is, and the row is taken. [unitless]
    """
    here, then = (
        f"{from_microseconds(us).astimezone(reader.zone):%Y-%m-%d %H:%M}" for us in (performed_us, visit.performed_us)
    )
    held = f"job {visit.ref} (entry {visit.entry}) of this machine"
    if not by_readings:
        text = (
            f"{held} has the very same time, with other readings; two of one moment make no run and no return. If both are one "
            f"visit, void one of them: driftbook void {visit.entry}"
        )
        code = Code.SAME_MOMENT
    else:
        code = Code.SAME_VISIT
        text = f"{held} has the same readings on the same day ({then}). If that is the same visit, it would count twice"
        text += {
            SameVisit.ASK: "; say beside ‘Import’ whether such rows are left out or taken.",
            SameVisit.TAKE: (
                "; it is taken all the same (driftbook import --same-visit leave leaves such rows out). If both are one visit, "
                f"void one of them: driftbook void {visit.entry}"
            ),
            SameVisit.LEAVE: "; it is left out.",
        }[mode]
    problem = reader.problem(row, "performed", code, Severity.WARNING, here, text)
    return replace(problem, is_sentence=True)
