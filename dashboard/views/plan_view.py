"""When each machine is to be looked at again, by risk and by rule, and why on that day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from dashboard.kept import keep
from dashboard.prepared import due_for
from dashboard.words import say
from dashboard.writing import chance, counted, percent, ratio
from models.history.columns import BoolArray, FloatArray, History, IntArray
from models.history.due import BY_INTERVAL, LEFT_OVER, NEVER_MEASURED, Due
from models.history.due import REPLACED as REPLACED_SINCE
from models.history.engine import Study
from models.history.forecast import BY_CLASS, BY_RISK, Recheck, forecast_at, recheck_day
from models.history.late import row_of, some_of
from models.history.months import local_days
from models.history.runs import US_PER_DAY
from models.history.standing import (
    CLASS_FAILED,
    COARSE,
    NO_LEFT,
    NO_RUN,
    NO_VISIT,
    NOT_JUDGED,
    REPLACED,
    SMALL_CLASS,
)
from models.history.steps import LIKELY

SOON_DAYS = 31
QUARTER_DAYS = 92
"""What falls due within so many days is 'soon', and what is listed ahead."""

HOUR_US = 3_600_000_000
"""An hour. [µs]"""

LONG_AGO, FAR_AHEAD = -100_000, 100_000
"""Days from today that no date lies beyond."""

OWN = 0.5
"""Weight of a machine's own runs in its rate from which they, and not its class, are named as what the date rests on."""

NO_FORECAST = {
    NO_VISIT: "due.none.no_visit",
    REPLACED: "due.none.replaced",
    NO_LEFT: "due.none.no_left",
    NOT_JUDGED: "due.none.not_judged",
    NO_RUN: "due.none.no_run",
    SMALL_CLASS: "due.none.small_class",
    COARSE: "due.none.coarse",
    CLASS_FAILED: "due.none.class_failed",
}
"""For each reason of ``models.history.standing`` why there is no forecast."""

_RULE = {
    BY_INTERVAL: "due.why.interval",
    LEFT_OVER: "due.why.left_over",
    REPLACED_SINCE: "due.why.replaced",
}


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One machine with its two dates.

    ``due`` and ``days_left`` are the date of the list that it stands in, ``other`` the
    date by the other way (rule or risk), ``None`` where there is none.  ``over_now`` is
    the probability that it is over limit today, NaN without a forecast.  ``last_row`` is
    the row of the last job.
    """

    tag: str
    description: str
    area: str
    criticality: str
    due: date
    days_left: int
    why: str
    other: date | None
    last: date
    left_ratio: float
    over_now: float
    left_over: bool
    last_row: int


@dataclass(frozen=True, slots=True)
class Plan:
    """The dates of one site, one row an asset: ``day`` by the chosen way, ``other`` by the other one, as days since 1970.

    ``dated`` tells which assets have a date, ``forecast`` which of them have it from a forecast.
    """

    by_risk: bool
    history: History
    study: Study
    recheck: Recheck
    rule: Due
    today: date
    dated: BoolArray
    forecast: BoolArray
    day: IntArray
    other: IntArray
    other_dated: BoolArray
    over_now: FloatArray
    own: BoolArray

    @property
    def days_left(self) -> IntArray:
        """Give the days from today to each date; negative once it has passed."""
        return self.day - _number(self.today)

    def rows(self, first: int, last: int) -> IntArray:
        """Give the assets whose date lies so many days from today, both ends included, by date.

        What is past comes likeliest to be over limit first where there are forecasts, else the longest overdue first.
        """
        left = self.days_left
        found = np.flatnonzero(self.dated & (left >= first) & (left <= last))
        if self.by_risk and last <= 0:
            return found[np.lexsort((found, left[found], -np.nan_to_num(self.over_now[found], nan=2.0)))]
        return found[np.lexsort((found, left[found]))]

    def count(self, first: int, last: int) -> int:
        """Count the assets whose date lies so many days from today, both ends included."""
        left = self.days_left
        return int((self.dated & (left >= first) & (left <= last)).sum())

    def lines(self, rows: Sequence[int]) -> tuple[PlanLine, ...]:
        """Write some of the assets out, in their order."""
        assets, jobs = self.history.assets, self.history.jobs
        last_row = self.rule.last_row
        index = np.asarray(rows, dtype=np.int64)
        last = local_days(some_of(jobs, "performed_us", last_row[index]), self.history.zone)
        left_ratio = some_of(jobs, "left_ratio", last_row[index])
        days_left = self.days_left
        return tuple(
            PlanLine(
                tag=str(assets.tag[row]),
                description=str(assets.description[row]),
                area=str(assets.area[row]),
                criticality=str(assets.criticality[row]),
                due=_date(int(self.day[row])),
                days_left=int(days_left[row]),
                why=self.why(int(row)),
                other=_date(int(self.other[row])) if self.other_dated[row] else None,
                last=_date(int(seen)),
                left_ratio=float(left),
                over_now=float(self.over_now[row]),
                left_over=bool(self.rule.reason[row] == LEFT_OVER),
                last_row=int(last_row[row]),
            )
            for row, seen, left in zip(rows, last.tolist(), left_ratio.tolist(), strict=True)
        )

    def why(self, row: int) -> str:
        """Say why an asset is due on its day."""
        reason = int(self.rule.reason[row])
        if not self.by_risk:
            return say(_RULE[reason])
        if not self.forecast[row]:
            return say("due.why.no_forecast", reason=say(NO_FORECAST[int(self.recheck.reason[row])]))
        if reason == LEFT_OVER:
            return say("due.why.left_over")
        return self._at_once(row) if self.recheck.days[row] <= 0.0 else self._later(row)

    def _at_once(self, row: int) -> str:
        if self.recheck.over_left[row] < self.recheck.risk:
            step, over = chance(float(self.study.standing.step_chance[row])), chance(float(self.recheck.over[row]))
            return say("due.why.step", n=self._runs(row), step=step, chance=over)
        left = float(row_of(self.history.jobs, "left_ratio", int(self.rule.last_row[row])))
        return say("due.why.left_close", ratio=ratio(left), chance=percent(float(self.recheck.over_left[row])))

    def _later(self, row: int) -> str:
        step = self.study.standing.step_chance[row] >= LIKELY
        rests = say(
            "due.why.stepped" if step else "due.why.own" if self.own[row] else "due.why.class", n=self._runs(row)
        )
        basis, risk = int(self.recheck.basis[row]), percent(self.recheck.risk)
        if basis == BY_RISK:
            return say("due.why.risk", risk=risk, rests=rests)
        cap = (
            say("due.why.cap_class")
            if basis == BY_CLASS
            else say("due.why.cap_site", months=counted(self.study.choices.site_months, "month"))
        )
        return say("due.why.capped", risk=risk, cap=cap)

    def _runs(self, row: int) -> str:
        return counted(int(self.study.standing.n[row]), "run")


@dataclass(frozen=True, slots=True)
class Ground:
    """What all plans of one day stand on, whatever the risk: computed once for a page."""

    history: History
    study: Study
    rule: Due
    today: date
    left_day: IntArray
    over_now: FloatArray
    own: BoolArray

    def plan(self, recheck: Recheck, *, by_risk: bool = True) -> Plan:
        """Find the date on which each machine is to be looked at again.

        Parameters
        ----------
        recheck : Recheck
            Re-check dates for the accepted risk. [unitless]
        by_risk : bool
            True for the day on which the risk is reached, and the rule's where there is no forecast; False for the rule. [unitless]
        """
        in_service = ~self.history.assets.retired
        forecast = self.study.standing.can & in_service
        ruled = np.isin(self.rule.reason, list(_RULE))
        rule_day = self.rule.days_left + _number(self.today)
        risk_day = recheck_day(self.left_day, recheck.days)
        return Plan(
            by_risk=by_risk,
            history=self.history,
            study=self.study,
            recheck=recheck,
            rule=self.rule,
            today=self.today,
            dated=(forecast | ruled) & in_service,
            forecast=forecast,
            day=np.where(forecast, risk_day, rule_day) if by_risk else rule_day,
            other=rule_day if by_risk else risk_day,
            other_dated=ruled if by_risk else forecast,
            over_now=self.over_now,
            own=self.own,
        )


def ground_of(history: History, study: Study, today: date, today_us: int, interval_months: int) -> Ground:
    """Prepare what all plans of one day stand on.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    study : Study
        What the history says. [unitless]
    today : date
        The site's day. [d]
    today_us : int
        Now, UTC. [µs]
    interval_months : int
        The site's rule for the next check. [month]

    Notes
    -----
    Chances are those of the full hour: they change by less than is shown, and are worked out once an hour.
    """
    hour = today_us // HOUR_US
    # The key holds the study's id and the value the study itself, so that the id stays its own.
    key = ("ground", id(study), today, hour, interval_months)
    return keep(history, key, lambda: _ground(history, study, today, hour * HOUR_US, interval_months))


def _ground(history: History, study: Study, today: date, now_us: int, interval_months: int) -> Ground:
    return ground_with(history, study, due_for(history, today, interval_months), today, now_us)


def ground_with(history: History, study: Study, rule: Due, today: date, now_us: int) -> Ground:
    """Prepare the same where what is due by the rule is known.

    Parameters
    ----------
    history : History
        The site's history, or that of some of its machines. [unitless]
    study : Study
        What it says. [unitless]
    rule : Due
        What is due by the rule. [unitless]
    today : date
        The site's day. [d]
    now_us : int
        The full hour, UTC. [µs]
    """
    standing = study.standing
    since = np.where(standing.can, np.maximum((now_us - standing.left_us) / US_PER_DAY, 0.0), 0.0)
    return Ground(
        history=history,
        study=study,
        rule=rule,
        today=today,
        left_day=local_days(np.where(standing.can, standing.left_us, 0), history.zone),
        over_now=forecast_at(standing, since).over,
        own=_own_weight(study) >= OWN,
    )


def _own_weight(study: Study) -> FloatArray:
    """Give the weight of a machine's own runs in its rate against what its class does, all components together.

    A component counts by the square of how far the machine's own rate lies from its class's: it is that one which moves.
    """
    if not len(study.material.series_asset):
        return np.zeros(len(study.material.series_now))
    rates = study.rates
    away = (rates.raw - study.fits.mean[study.grouping.fit]) ** 2
    known = np.isfinite(away) & np.isfinite(rates.kept)
    all_of_it = np.where(known, away, 0.0).sum(axis=1)
    own = np.where(known, away * rates.kept, 0.0).sum(axis=1)
    return study.now(np.where(all_of_it > 0.0, own / np.where(all_of_it > 0.0, all_of_it, 1.0), 0.0))


def never_measured(plan: Plan) -> int:
    """Count the machines in service that no job is known of."""
    return int((plan.rule.reason == NEVER_MEASURED).sum())


def _number(day: date) -> int:
    return (day - date(1970, 1, 1)).days


def _date(number: int) -> date:
    return date(1970, 1, 1) + timedelta(days=number)
