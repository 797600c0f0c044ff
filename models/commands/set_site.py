"""Change how a site is set: its name, units, zone, the rule for the next check, or its decision rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import sqlalchemy as sa

from models.commands.init_book import check_free, check_site, say_site
from models.store.known import sites
from models.store.unit import writing
from models.units import Display
from models.values.decision import DecisionRule
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

    Raises
    ------
    BookExistsError
        If another site bears the name, or did so once.
    InvalidValueError
        If the zone is unknown, the name empty, or the interval below one month.
    """
    changed = _changed(site, name, display, zone, interval_months, rule)
    check_site(changed.name, changed.zone, changed.interval_months)
    if changed == site:
        return site
    with writing(engine, site.site_id, by, now) as unit:
        every = sites(unit.connection)
        # As it is set behind the lock: what somebody else has just changed beside it stays.
        held = next(one for one in every if one.site_id == site.site_id)
        changed = _changed(held, name, display, zone, interval_months, rule)
        if changed.name != held.name:
            check_free(changed.name, [one for one in every if one.site_id != site.site_id])
        if changed != held:
            say_site(unit, changed, why=why, rule=changed.rule if changed.rule != held.rule else None)
    return changed


def _changed(
    site: Site,
    name: str | None,
    display: Display | None,
    zone: str | None,
    interval_months: int | None,
    rule: DecisionRule | None,
) -> Site:
    """Give a site with some of its settings changed; what is ``None`` stays."""
    called = site.name if name is None else " ".join(name.split())
    former = tuple(one for one in dict.fromkeys((*site.former, site.name)) if one != called)
    return replace(
        site,
        name=called,
        display=display or site.display,
        zone=zone or site.zone,
        interval_months=site.interval_months if interval_months is None else interval_months,
        former=site.former if called == site.name else former,
        rule=_chosen(site, rule),
    )


def _chosen(site: Site, rule: DecisionRule | None) -> DecisionRule | None:
    """Give the rule that holds; who never chose one and chooses simple acceptance changes nothing."""
    if rule is None or (site.rule is None and not rule.guarded):
        return site.rule
    return rule
