"""Change how a site is set: its name, units, zone, the rule for the next check, or its decision rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import sqlalchemy as sa

from models.commands.init_book import check_free, check_site, say_site
from models.errors import ConflictError, InvalidValueError, OtherVersionError, OvertakenError
from models.sentences.told import Told
from models.store.known import sites
from models.store.unit import writing
from models.store.versions import read_site_settings
from models.units import Display
from models.values.decision import DecisionRule
from models.values.spelling import seen
from models.values.story import Site


def set_site(
    engine: sa.Engine,
    site: Site,
    *,
    by: str,
    now: datetime,
    name: str | None = None,
    display: Display | None = None,
    zone: str | None = None,
    interval_months: int | None = None,
    rule: DecisionRule | None = None,
    why: str = "",
    made_from: str | None = None,
) -> Site:
    """Append a new version of the site; nothing is written where nothing changes.

    A new name is what people read from now on.  The code stays, and with it
    whatever goes by it: addresses, roles, tokens, calendars, names of files.
    The earlier names still find the site, and no other site may bear them.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        The site as it is set now. [unitless]
    by : str
        Who changes it. [unitless]
    now : datetime
        Aware moment. [unitless]
    name : str, optional
        Name by which it is shown. [unitless]
    display : Display, optional
        Units in which the site reads. [unitless]
    zone : str, optional
        IANA name of the time zone. [unitless]
    interval_months : int, optional
        Rule for the next check. [months]
    rule : DecisionRule, optional
        Decision rule for jobs that are recorded from now on; decisions that are stored stay as they were. [unitless]
    why : str
        Reason, if one is given; it stays in the book. [unitless]
    made_from : str, optional
        Leaf hash of the setting that a form was made from, in hex, empty where that had none; a form needs a reason and a name, and
        changes what its reader saw or nothing. ``None`` takes whatever the site is set to. [unitless]

    Raises
    ------
    BookExistsError
        If another site bears the name, or did so once.
    InvalidValueError
        If the zone is unknown, the name empty, or the interval none; if a form gives no reason or no name.
    OvertakenError
        If somebody else has set the site since the form was made.
    OtherVersionError
        If the book does not hold what the form was made from.
    ConflictError
        If a form changes nothing.
    """
    reason = _one_line(why)
    changed = _changed(site, name, display, zone, interval_months, rule)
    check_site(changed.name, changed.zone, changed.interval_months)
    if made_from is None:
        if changed == site:
            return site
    elif not reason:
        raise InvalidValueError(Told("told.site.reason"), remedy=Told("told.site.reason.remedy"))
    elif not seen(by):
        raise InvalidValueError(Told("told.site.name"), remedy=Told("told.sign.name.remedy"))
    with writing(engine, site.site_id, by, now) as unit:
        every = sites(unit.connection)
        if made_from is not None:
            _see_that_it_stands(unit.connection, site, made_from)
        # As it is set behind the lock: what somebody else has just changed beside it stays.
        held = next(one for one in every if one.site_id == site.site_id)
        changed = _changed(held, name, display, zone, interval_months, rule)
        if changed == held and made_from is not None:
            raise ConflictError(Told("told.site.nothing"), remedy=Told("told.site.nothing.remedy"))
        if changed.name != held.name:
            check_free(changed.name, [one for one in every if one.site_id != site.site_id])
        if changed != held:
            say_site(unit, changed, why=reason, rule=changed.rule if changed.rule != held.rule else None)
    return changed


def _see_that_it_stands(connection: sa.Connection, site: Site, made_from: str) -> None:
    """Refuse a form that was made from another setting than the one that holds."""
    *earlier, last = read_site_settings(connection, site.site_id)
    if made_from == last.leaf:
        return
    if made_from in {one.leaf for one in earlier}:
        raise OvertakenError(
            Told("told.site.overtaken", author=last.author, entry=last.entry),
            remedy=Told("told.site.overtaken.remedy"),
        )
    raise OtherVersionError(Told("told.site.other"), remedy=Told("told.site.overtaken.remedy"))


def _changed(
    site: Site,
    name: str | None,
    display: Display | None,
    zone: str | None,
    interval_months: int | None,
    rule: DecisionRule | None,
) -> Site:
    """Give a site with some of its settings changed; what is ``None`` stays."""
    called = site.name if name is None else _one_line(name)
    former = tuple(one for one in dict.fromkeys((*site.former, site.name)) if one != called)
    return replace(
        site,
        name=called,
        display=display or site.display,
        zone=site.zone if zone is None else zone,
        interval_months=site.interval_months if interval_months is None else interval_months,
        former=site.former if called == site.name else former,
        rule=_chosen(site, rule),
    )


def _one_line(text: str) -> str:
    """Give a text in one line; without NUL, which no text on PostgreSQL may hold."""
    return " ".join(text.replace("\0", " ").split())


def _chosen(site: Site, rule: DecisionRule | None) -> DecisionRule | None:
    """Give the rule that holds; who never chose one and chooses simple acceptance changes nothing."""
    if rule is None or (site.rule is None and not rule.guarded):
        return site.rule
    return rule
