"""Give a machine another tag, or bring two records of one machine together; its history stays whole either way."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from models.commands.judging import Judge
from models.commands.on_server import OnServer, hold
from models.commands.record_job import Recording
from models.errors import ConflictError, InvalidValueError, UnknownNameError
from models.store.described import why_and_typed
from models.store.known import asset_id_of, limit_sets
from models.store.rows import asset_version_row, break_row
from models.store.story import read_story
from models.store.unit import Unit, writing
from models.tables.machines import AssetVersionRow, BreakRow
from models.values.asset import Asset
from models.values.description import upcoming
from models.values.doubled import Beside, beside
from models.values.kinds import Kind
from models.values.merging import doubled_reason, merged_reason
from models.values.roles import Permission
from models.values.story import AssetStory, JobLine, Site


@dataclass(frozen=True, slots=True)
class Merged:
    """What a merge did.

    ``moved`` are the jobs that count with the kept machine now; ``doubled`` came over void, as the kept record holds
    them already; ``unsure`` are those of ``moved`` that may be the same visit as another job: a person has to look.
    ``verdicts`` counts the moved jobs that the description of the kept machine judges otherwise than before.
    """

    moved: tuple[JobLine, ...]
    doubled: tuple[Beside, ...]
    unsure: tuple[Beside, ...]
    breaks: int
    verdicts: int


def rename_asset(engine: sa.Engine, site: Site, tag: str, new: str, *, by: str, now: datetime, why: str) -> int:
    """Give a machine another tag from today on; the old one still finds it.

    A description that is in the book already and begins later is said again with the new tag: it would bring the old one back.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        The site. [unitless]
    tag : str
        Tag that the machine bears, or once bore. [unitless]
    new : str
        Tag that it shall bear. [unitless]
    by : str
        Who says so. [unitless]
    now : datetime
        Aware moment. [unitless]
    why : str
        Reason; it stays in the book. [unitless]

    Returns
    -------
    int
        Number of the first entry that says so.

    Raises
    ------
    UnknownNameError
        If the site has no such machine.
    ConflictError
        If another machine bears the new tag or once bore it, or if the machine bears it already.
    InvalidValueError
        If the new tag is empty, or no reason is given.
    """
    wanted, reason = " ".join(new.split()), _reason(why, "A new tag")
    if not wanted:
        raise InvalidValueError("The new tag is empty.", remedy="Give the tag as it stands at the machine.")
    with writing(engine, site.site_id, by, now) as unit:
        story = _story(unit, site, tag)
        held = asset_id_of(unit.connection, site.site_id, wanted)
        if held is not None and held != story.asset_id:
            raise ConflictError(
                f"The tag '{wanted}' belongs to another machine, or once did: its history would be mixed up with this one.",
                remedy="Choose another tag. Two records of one machine are brought together with: driftbook asset merge",
            )
        today = _today(site, now)
        now_on = [] if story.asset.tag == wanted else [story.asset]
        later = [asset for asset in _upcoming(story, today) if asset.tag != wanted]
        if not now_on and not later:
            raise ConflictError(f"The machine bears the tag '{wanted}' already.")
        return min(
            [
                _describe(unit, site, story, asset, replace(asset, tag=wanted, valid_from=begins), reason)
                for asset, begins in (
                    *((asset, today) for asset in now_on),
                    *((asset, asset.valid_from) for asset in later),
                )
            ]
        )


def merge_assets(
    engine: sa.Engine,
    site: Site,
    double: str,
    kept: str,
    *,
    by: str,
    now: datetime,
    why: str,
    command: OnServer | None = None,
) -> Merged:
    """Bring the history of a machine that was recorded twice under one record.

    Each job of the double becomes, by an amendment, a job of the kept
    machine, judged as that machine was described on the day, by the limits that
    have judged it; replacements are recorded there too, and the double goes out of service, also by descriptions
    of it that begin later.  A job that the kept record holds already (the same
    moment and the same measured values) comes over void: one visit must not count
    twice.  All old versions stay readable.  Done again, it brings over what came
    under the tag of the double since.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        The site. [unitless]
    double : str
        Tag of the record that is given up. [unitless]
    kept : str
        Tag of the record that is kept. [unitless]
    by : str
        Who says so. [unitless]
    now : datetime
        Aware moment. [unitless]
    why : str
        Reason; it stays in the book. [unitless]
    command : OnServer, optional
        The command on the server that does it, where no password is asked for. [unitless]

    Returns
    -------
    Merged
        What was brought over, and what a person has to look at.

    Raises
    ------
    UnknownNameError
        If the site has not both machines.
    ConflictError
        If both are the same machine, if either is out of service for another reason, or if nothing came since they were
        merged; of a command also where people sign in and no account of that name may amend.
    InvalidValueError
        If no reason is given.
    """
    said = _reason(why, "Bringing two records together")
    with writing(engine, site.site_id, by, now) as unit:
        old, new = _story(unit, site, double), _story(unit, site, kept)
        hold(command, unit, site, by, Permission.AMEND)
        if old.asset_id == new.asset_id:
            raise ConflictError(f"'{double}' and '{kept}' are one record already.")
        today = _today(site, now)
        _refuse_retired(old, new, today)
        reason = merged_reason(old.asset.tag, new.asset.tag, said)
        there = {(broken.on, broken.part) for broken in new.breaks}
        breaks = [broken for broken in old.breaks if (broken.on, broken.part) not in there]
        gone = _given_up(old, today)
        if old.merged_into and not old.standing and not breaks and not gone:
            raise ConflictError(
                f"{old.asset.tag} was merged into {new.asset.tag} already, and nothing was recorded under it since."
            )
        done = _bring_over(Recording(unit, site, new), old.standing, new, reason)
        for broken in breaks:
            entry = unit.append(Kind.BREAK_RECORDED, new.asset_id, why=reason)
            unit.add(BreakRow, break_row(entry, site.site_id, new.asset_id, broken))
        for asset, given_up in gone:
            _describe(unit, site, old, asset, given_up, reason)
        return replace(done, breaks=len(breaks))


def _bring_over(recording: Recording, lines: Iterable[JobLine], new: AssetStory, reason: str) -> Merged:
    """Make jobs of the double jobs of the kept machine, void where that holds them already."""
    moved, doubled, unsure, verdicts, zone = [], [], [], 0, ZoneInfo(recording.site.zone)
    sets = limit_sets(recording.unit.connection, recording.site.site_id)
    for line in lines:
        # The visit is what it was: only the machine is another one, so the limits stay those that have judged it.
        by = None if line.judged_as is None else line.judged_as.limit_entry
        recording.judge = Judge(tuple(one for one in sets if one.entry == by), zone)
        job, twin = replace(line.job, tag=new.asset.tag), beside(line, new.standing, zone)
        if twin is not None and twin.one_visit:
            # Without what it was judged as, it is judged by the kept machine: so it counts there if it is taken back.
            why = doubled_reason(reason, twin.there.job.ref, twin.there.entry)
            gone = recording.write(job, old=replace(line, judged_as=None), why=why, void=True)
            doubled.append(replace(twin, job=gone))
            continue
        came = recording.write(job, old=line, why=reason)
        moved.append(came)
        verdicts += any(_over(a) is not _over(b) for a, b in zip(_ratios(line), _ratios(came), strict=True))
        if twin is not None:
            unsure.append(replace(twin, job=came))
    return Merged(tuple(moved), tuple(doubled), tuple(unsure), 0, verdicts)


def _ratios(line: JobLine) -> tuple[float | None, float | None]:
    return line.found_ratio, line.left_ratio


def _over(ratio: float | None) -> bool | None:
    """Tell the verdict of a ratio: over, within, or none where nothing was judged."""
    return None if ratio is None else ratio > 1.0


def _refuse_retired(old: AssetStory, new: AssetStory, today: date) -> None:
    """Refuse to merge with a record that is out of service, unless it is the one that was given up for this very machine.

    Another machine that went out of service is no double: its history would be mixed up with that of what replaced it.
    """
    for story in (new, old):
        gone = story.asset.retired
        if gone is None or gone > today or (story is old and story.merged_into == new.asset.tag):
            continue
        if story.merged_into:
            raise ConflictError(
                f"{story.asset.tag} was merged into {story.merged_into} and is out of service since {gone}.",
                remedy=f"Bring it together with {story.merged_into}.",
            )
        raise ConflictError(
            f"{story.asset.tag} is out of service since {gone}.",
            remedy="Its jobs stay with it: another machine that took its place has a history of its own.",
        )


def _given_up(old: AssetStory, today: date) -> list[tuple[Asset, Asset]]:
    """Give the descriptions by which a double is out of service from today on, each with the one in whose place it stands."""
    later = [(asset, replace(asset, tag=old.asset.tag, retired=today)) for asset in _upcoming(old, today)]
    if old.merged_into:  # what came since puts it back into service
        return [(asset, new) for asset, new in later if (asset.retired or date.max) > today]
    return [(old.asset, replace(old.asset, valid_from=today, retired=today)), *later]


def _upcoming(story: AssetStory, today: date) -> tuple[Asset, ...]:
    return upcoming([version.asset for version in story.versions], today)


def _describe(unit: Unit, site: Site, story: AssetStory, was: Asset, asset: Asset, why: str) -> int:
    """Write a description; in the place of one of the same day it keeps what a list said for that."""
    of_day = [
        version.entry for version in story.versions if version.asset is was and was.valid_from == asset.valid_from
    ]
    typed = why_and_typed(unit.connection, of_day[0])[1] if of_day else {}
    entry = unit.append(Kind.ASSET_CHANGED, story.asset_id, why=why)
    unit.add(AssetVersionRow, asset_version_row(entry, site.site_id, story.asset_id, asset, typed))
    return entry


def _story(unit: Unit, site: Site, tag: str) -> AssetStory:
    story = read_story(unit.connection, site, tag)
    if story is None:
        raise UnknownNameError(
            f"The site {site.name} has no machine '{tag}'.", remedy="Take the tag from the page of the machine."
        )
    return story


def _today(site: Site, now: datetime) -> date:
    return now.astimezone(ZoneInfo(site.zone)).date()


def _reason(why: str, what: str) -> str:
    reason = " ".join(why.split())
    if not reason:
        raise InvalidValueError(f"{what} needs a reason.", remedy='Say why: it stays in the book. --why "…"')
    return reason
