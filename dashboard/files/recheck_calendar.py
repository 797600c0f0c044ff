"""The dates of the Due page as a calendar: one whole day for each machine, with why on that day."""

from __future__ import annotations

import math
import uuid
from collections.abc import Callable
from datetime import datetime
from zoneinfo import ZoneInfo

from dashboard.fetch import recheck_for, study_for
from dashboard.files.calendar_feed import DayCalendar, DayEvent
from dashboard.views.due_page_view import RISK
from dashboard.views.plan_view import FAR_AHEAD, LONG_AGO, PlanLine, ground_of
from dashboard.words import say
from dashboard.writing import chance, count, counted, day, judged, percent
from models.history.columns import History
from models.values.story import Site


def recheck_calendar(history: History, site: Site, now: datetime, *, by: str = RISK, risk: int = 10) -> str:
    """Write the calendar of a site as a file, with the choices of :func:`recheck_dates`."""
    return recheck_dates(history, site, now, by=by, risk=risk).text(now)


def recheck_dates(
    history: History,
    site: Site,
    now: datetime,
    *,
    by: str = RISK,
    risk: int = 10,
    address_of: Callable[[str], str] | None = None,
) -> DayCalendar:
    """Give the calendar of a site.

    A date that has passed stands on today, or nobody would see it any more; its description says since when.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    site : Site
        The site. [unitless]
    now : datetime
        Aware moment. [unitless]
    by : str
        ``'risk'`` or ``'rule'``. [unitless]
    risk : int
        Accepted probability of being over limit. [%]
    address_of : callable, optional
        Gives the address of a machine's page. [unitless]
    """
    today = now.astimezone(ZoneInfo(site.zone)).date()
    study = study_for(history)
    ground = ground_of(history, study, today, round(now.timestamp() * 1_000_000), site.interval_months)
    plan = ground.plan(recheck_for(history, risk / 100.0), by_risk=by == RISK)
    rows = plan.rows(LONG_AGO, FAR_AHEAD).tolist()
    # A date out of a forecast moves when the averages over all machines have followed the last jobs.
    behind = "" if study.whole else say("picture.estimates", fleet=count(study.fleet.until))
    events = []
    for row, line in zip(rows, plan.lines(rows), strict=True):
        forecast = by == RISK and bool(plan.forecast[row]) and not line.left_over
        events.append(
            DayEvent(
                uid=_uid(site, int(history.assets.asset[row])),
                on=max(line.due, today),
                summary=say("calendar.summary", tag=line.tag)
                if line.days_left >= 0
                else say("calendar.summary.late", tag=line.tag),
                description=_description(
                    line, by, risk, site, behind if forecast else "", has_forecast=bool(plan.forecast[row])
                ),
                # A day that a forecast names is not settled; one that a rule names, or a verdict, is.
                status="TENTATIVE" if forecast else "CONFIRMED",
                place=", ".join(part for part in (line.area, site.name) if part),
                kinds=(say("calendar.kind"),),
                address=address_of(line.tag) if address_of else "",
            )
        )
    events.sort(key=lambda event: (event.on, event.summary))
    return DayCalendar(say("calendar.name", site=site.name), tuple(events))


def _uid(site: Site, asset: int) -> str:
    """Give the name of a machine's event: the same for ever, for the number of an asset never changes."""
    return f"{uuid.uuid5(uuid.NAMESPACE_URL, f'driftbook/{site.code}/asset/{asset}/re-check')}@driftbook"


def _description(line: PlanLine, by: str, risk: int, site: Site, behind: str, *, has_forecast: bool) -> str:
    way = (
        say("calendar.by_risk", risk=percent(risk / 100.0))
        if by == RISK and has_forecast
        else say("calendar.by_rule", months=counted(site.interval_months, "month"))
    )
    said = [
        " · ".join(part for part in (line.tag, line.description) if part),
        say("calendar.due", day=day(line.due), way=way)
        if line.days_left >= 0
        else say("calendar.late", day=day(line.due), days=counted(-line.days_left, "day"), way=way),
        say("calendar.why", why=line.why),
        say("calendar.left", day=day(line.last), judged=judged(line.left_ratio)),
    ]
    if not math.isnan(line.over_now):
        said.append(say("calendar.over_now", chance=chance(line.over_now)))
    # Without a forecast there is the rule's day and no other.
    if line.other is not None and has_forecast:
        said.append(say("calendar.other_rule" if by == RISK else "calendar.other_risk", day=day(line.other)))
    if behind:
        said.append(behind)
    said.append(say("calendar.caution"))
    return "\n".join(said)
