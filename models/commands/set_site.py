"""Change how a site is set: its units, zone, name, or the rule for the next check."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import sqlalchemy as sa

from models.commands.init_book import check_site, say_site
from models.store.unit import writing
from models.units import Display
from models.values.story import Site


def set_site(
    engine: sa.Engine,
    site: Site,
    *,
    by: str,
    now: datetime,
    display: Display | None = None,
    zone: str | None = None,
    interval_months: int | None = None,
) -> Site:
    """Append a new version of the site; nothing is written where nothing changes.

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
    display : Display, optional
        Units in which the site reads. [unitless]
    zone : str, optional
        IANA name of the time zone. [unitless]
    interval_months : int, optional
        Rule for the next check. [months]
    """
    changed = replace(
        site,
        display=display or site.display,
        zone=zone or site.zone,
        interval_months=site.interval_months if interval_months is None else interval_months,
    )
    check_site(changed.name, changed.zone, changed.interval_months)
    if changed != site:
        with writing(engine, site.site_id, by, now) as unit:
            say_site(unit, changed)
    return changed
