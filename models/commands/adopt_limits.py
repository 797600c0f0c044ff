"""Adopting a limit set, or a new version of one, for the jobs of a site from a day on."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import sqlalchemy as sa

from models.commands.init_book import say_limit_set
from models.errors import InvalidValueError
from models.store import known as ask
from models.store.unit import writing
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
        If it begins before the last set that was adopted, or says the same as that.
    """
    with writing(engine, site.site_id, given.adopted_by, now) as unit:
        sets = ask.limit_sets(unit.connection, site.site_id)
        last = sets[-1].limit_set if sets else None
        if last is not None and given.adopted_on < last.adopted_on:
            raise InvalidValueError(
                f"'{last.name}', version {last.version}, is in force from {last.adopted_on}; another set cannot begin before it.",
                remedy=f"Give that day or a later one: --from {last.adopted_on}",
            )
        if last is not None and (last.name, last.source, last.rows) == (given.name, given.source, given.rows):
            raise InvalidValueError(
                f"'{last.name}', version {last.version}, says the same already.",
                remedy="Nothing was adopted. Change the file, or leave it.",
            )
        same = [one for one in sets if one.limit_set.name == given.name]
        made = replace(given, version=1 + max((one.limit_set.version for one in same), default=0))
        say_limit_set(unit, site.site_id, made, same[0].limit_set_id if same else None)
    return made
