"""Adopting a limit set, or a new version of one, for the jobs of a site from a day on."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from models.commands.init_book import say_limit_set
from models.errors import InvalidValueError
from models.store import known as ask
from models.store.unit import Unit, writing
from models.values.limits import LimitSet
from models.values.story import Site


def adopt_limits(engine: sa.Engine, site: Site, given: LimitSet, *, now: datetime) -> LimitSet:
    """Append the adoption of a limit set; verdicts that are in the book stay as they are.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        The site. [unitless]
    given : LimitSet
        The set, with who adopts it and from which day; its version is found here. [mm, mm/m]
    now : datetime
        Aware moment. [unitless]

    Returns
    -------
    LimitSet
        The set with its version: one more than the last of that name.

    Raises
    ------
    InvalidValueError
        If jobs of the time in which it would be in force were judged by another set already, or it says the same as
        the one before it.

    Notes
    -----
    A set may begin before one that was adopted earlier: so a plant enters the limits that it had.  It is then in force
    until the day on which the next begins, and where it begins before all others it judges all older jobs, too.  A
    verdict that is in the book is never changed, so that goes only as long as no job of that time was judged.
    """
    with writing(engine, site.site_id, given.adopted_by, now) as unit:
        sets = ask.limit_sets(unit.connection, site.site_id)
        before = [one.limit_set for one in sets if one.limit_set.adopted_on <= given.adopted_on]
        after = next((one.limit_set for one in sets if one.limit_set.adopted_on > given.adopted_on), None)
        if after is not None:
            _refuse_judged(unit, site, given.adopted_on if before else None, after)
        last = before[-1] if before else None
        if last is not None and (last.name, last.source, last.rows) == (given.name, given.source, given.rows):
            raise InvalidValueError(
                f"'{last.name}', version {last.version}, says the same already.",
                remedy="Nothing was adopted. Change the file, or leave it.",
            )
        same = [one for one in sets if one.limit_set.name == given.name]
        made = replace(given, version=1 + max((one.limit_set.version for one in same), default=0))
        say_limit_set(unit, site.site_id, made, same[0].limit_set_id if same else None)
    return made


def _refuse_judged(unit: Unit, site: Site, since: date | None, after: LimitSet) -> None:
    """Refuse a set that begins before another where jobs of its time have their verdict."""
    zone = ZoneInfo(site.zone)
    begins = None if since is None else datetime.combine(since, time(), zone)
    judged = ask.judged_between(unit.connection, site.site_id, begins, datetime.combine(after.adopted_on, time(), zone))
    if judged:
        which = f"from {since} up to" if since else "before"
        raise InvalidValueError(
            f"'{after.name}', version {after.version}, is in force from {after.adopted_on}. A set that begins before it would judge the jobs "
            f"{which} that day, of which {judged:,} stand in the book with their verdict: that is never changed.",
            remedy=f"Give that day or a later one: --from {after.adopted_on}. Limits that a plant had earlier are adopted before the jobs of "
            "their time are imported: make a new book with driftbook init, adopt them there, and import the files again.",
        )
