"""What the Due page shows: what to check now and next, how that changes with the accepted risk, and how far to trust it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np

from dashboard.place import Place, Read, shortened
from dashboard.views.asked_by_risk import asked_by_risk, risk_sentence
from dashboard.views.calendar_view import MOST as MOST_IN_DAY
from dashboard.views.calendar_view import Calendar, calendar_of
from dashboard.views.chance_bands import Band, bands_of
from dashboard.views.limits_view import LimitsNote, limits_note
from dashboard.views.plan_view import (
    FAR_AHEAD,
    LONG_AGO,
    NO_FORECAST,
    QUARTER_DAYS,
    SOON_DAYS,
    Plan,
    PlanLine,
    ground_of,
    never_measured,
)
from dashboard.words import say
from dashboard.writing import count, counted, speed_class
from models.history.backtest import FAILED, TOO_FEW
from models.history.columns import SPEED_BOUNDS_RPM, History, IntArray
from models.history.conformal import LEVELS
from models.history.engine import Study
from models.history.forecast import Recheck
from models.values.limits import LimitSet
from models.values.story import Site

RISKS = (5, 10, 20)
"""Accepted risks that can be chosen. [%]"""

DEFAULT_RISK = 10
RISK, RULE = "risk", "rule"

MOST = 15
"""Machines in a list at first."""

MOST_ALL = 200
"""Longest list on demand."""

TAGS = 40
"""Longest list of machines without a forecast, for each reason."""


@dataclass(frozen=True, slots=True)
class Load:
    """What an accepted risk asks for: machines whose date has come, and how many more fall due soon and in a quarter."""

    risk: int
    now: int
    soon: int
    quarter: int


@dataclass(frozen=True, slots=True)
class NoForecast:
    """Machines without a forecast, for one reason."""

    reason: str
    n: int
    tags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Held:
    """How often the intervals of past forecasts held, for one class or for all: of each level its share with its interval."""

    name: str
    share: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    n: int
    machines: int
    verdict: str


@dataclass(frozen=True, slots=True)
class DueView:
    """Everything on the page; ``state`` is ``'empty'`` where the book has no job of the site.

    ``ruled`` counts the machines of each load by risk that have no forecast, and their date by the rule: the same at any risk.
    ``forecasts`` counts the machines in service that have one: where there is none, no load by risk is known.
    """

    state: Literal["ok", "empty"]
    today: date
    by: str
    risk: int
    interval_months: int
    sentence: str
    now: tuple[PlanLine, ...]
    now_n: int
    soon: tuple[PlanLine, ...]
    soon_n: int
    later_n: int
    in_service: int
    never: int
    loads: tuple[Load, ...]
    rule_load: Load
    ruled: Load
    forecasts: int
    calendar: Calendar
    no_forecast: tuple[NoForecast, ...]
    held: tuple[Held, ...]
    bands: tuple[Band, ...]
    limits: LimitsNote


def read_risk(place: Place) -> Read[int]:
    """Give the accepted risk in per cent, e.g. ``risk=5``; 10 where none was asked for."""
    asked = place.get("risk")
    if not asked:
        return Read(DEFAULT_RISK)
    if asked in {str(risk) for risk in RISKS}:
        return Read(int(asked))
    return Read(DEFAULT_RISK, say("due.problem.risk", asked=shortened(asked), used=DEFAULT_RISK))


def read_way(place: Place) -> Read[str]:
    """Give whether dates go by risk or by the rule of the calendar, e.g. ``by=rule``."""
    asked = place.get("by")
    if not asked or asked in {RISK, RULE}:
        return Read(asked or RISK)
    return Read(RISK, say("due.problem.by", asked=shortened(asked)))


def build(
    history: History,
    study: Study,
    recheck_for: Callable[[float], Recheck],
    by: str,
    risk: int,
    month: date | None,
    today: date,
    *,
    site: Site,
    limit_set: LimitSet | None,
    today_us: int,
    everything: bool = False,
) -> DueView:
    """Compute the page.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    study : Study
        What it says. [unitless]
    recheck_for : callable
        Gives the re-check dates for an accepted risk. [unitless]
    by : str
        ``'risk'`` or ``'rule'``. [unitless]
    risk : int
        Accepted probability of being over limit. [%]
    month : date or None
        Month of the calendar; that of the next date where ``None``. [d]
    today : date
        The site's day. [d]
    site : Site
        The site. [unitless]
    limit_set : LimitSet or None
        The limit set in force today. [unitless]
    today_us : int
        Now, UTC. [µs]
    everything : bool
        True to list what is long. [unitless]
    """
    ground = ground_of(history, study, today, today_us, site.interval_months)
    plans = {of: ground.plan(recheck_for(of / 100.0)) for of in RISKS}
    by_rule = ground.plan(recheck_for(risk / 100.0), by_risk=False)
    chosen = plans[risk] if by == RISK else by_rule
    now, soon = chosen.rows(LONG_AGO, 0), chosen.rows(1, QUARTER_DAYS)
    most = MOST_ALL if everything else MOST
    no_forecast = _no_forecast(history, study)
    in_service = int((~history.assets.retired).sum())
    rule_load = _load(by_rule, 0)
    asked = asked_by_risk(plans[risk])
    return DueView(
        state="ok" if len(history.jobs) else "empty",
        today=today,
        by=by,
        risk=risk,
        interval_months=site.interval_months,
        sentence=risk_sentence(asked, risk / 100.0)
        if by == RISK
        else _rule_sentence(chosen, site.interval_months, in_service),
        now=chosen.lines(now[:most].tolist()),
        now_n=len(now),
        soon=chosen.lines(soon[:most].tolist()),
        soon_n=len(soon),
        later_n=chosen.count(QUARTER_DAYS + 1, FAR_AHEAD),
        in_service=in_service,
        never=never_measured(chosen),
        loads=tuple(_load(plans[of], of) for of in RISKS),
        rule_load=rule_load,
        ruled=_ruled(plans[risk]),
        forecasts=asked.known,
        calendar=_calendar(chosen, month or _next_month(chosen, soon, today), today),
        no_forecast=no_forecast,
        held=_held(study),
        bands=bands_of(study),
        limits=limits_note(limit_set),
    )


def _load(plan: Plan, risk: int) -> Load:
    return Load(risk, plan.count(LONG_AGO, 0), plan.count(1, SOON_DAYS), plan.count(1, QUARTER_DAYS))


def _ruled(plan: Plan) -> Load:
    """Count the machines of a plan by risk that have their date by the rule, for want of a forecast."""
    ruled = ~plan.forecast

    def among(first: int, last: int) -> int:
        return int(ruled[plan.rows(first, last)].sum())

    return Load(0, among(LONG_AGO, 0), among(1, SOON_DAYS), among(1, QUARTER_DAYS))


def _rule_sentence(plan: Plan, months: int, in_service: int) -> str:
    return say(
        "due.sentence.rule",
        months=counted(months, "month"),
        now=counted(plan.count(LONG_AGO, 0), "machine"),
        soon=count(plan.count(1, SOON_DAYS)),
        days=SOON_DAYS,
        n=count(in_service),
    )


def _calendar(plan: Plan, month: date, today: date) -> Calendar:
    first = (month - today).days
    rows = plan.rows(first, first + 31)
    left = plan.days_left[rows]
    # Of each day only how many there are and the first few tags: in a large book thousands are due on one.
    dates: dict[date, tuple[tuple[str, ...], int]] = {}
    for day in np.unique(left).tolist():
        mine = rows[left == day]
        tags = tuple(str(plan.history.assets.tag[row]) for row in mine[:MOST_IN_DAY].tolist())
        dates[today + timedelta(days=day)] = (tags, len(mine))
    return calendar_of(month, today, dates)


def _next_month(plan: Plan, soon: IntArray, today: date) -> date:
    """Give the month of the next date, this one where none is near."""
    return (plan.lines(soon[:1].tolist())[0].due if len(soon) else today).replace(day=1)


def _no_forecast(history: History, study: Study) -> tuple[NoForecast, ...]:
    reason = study.standing.reason
    found = []
    for code, key in NO_FORECAST.items():
        rows = np.flatnonzero(reason == code)
        if len(rows):
            tags = tuple(str(tag) for tag in history.assets.tag[rows[:TAGS]])
            found.append(NoForecast(say(key), len(rows), tags))
    return tuple(sorted(found, key=lambda one: -one.n))


def _held(study: Study) -> tuple[Held, ...]:
    test, lines = study.backtest, []
    order = [len(study.grouping.label) - 1, *range(len(study.grouping.label) - 1)]
    for row in order:
        label, verdict = int(study.grouping.label[row]), int(test.verdict[row])
        if not test.intervals[row]:
            continue
        lines.append(
            Held(
                say("due.held.all") if label < 0 else speed_class(label, SPEED_BOUNDS_RPM),
                tuple(test.coverage[row].tolist()),
                tuple(test.low[row].tolist()),
                tuple(test.high[row].tolist()),
                int(test.intervals[row]),
                int(test.assets[row]),
                say(
                    "due.held.failed"
                    if verdict == FAILED
                    else "due.held.few"
                    if verdict == TOO_FEW
                    else "due.held.held"
                ),
            )
        )
    return tuple(lines)


def promised() -> tuple[float, ...]:
    """Give what share of the intervals was promised to hold, level by level."""
    return tuple(LEVELS)
