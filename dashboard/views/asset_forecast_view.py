"""When the machine will be over limit again: the forecast from what was left last, and how far it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.views.asset_standing import LEVEL, ratio_band, rows_of, under_other_limits
from dashboard.views.chance_bands import Band, band_of
from dashboard.views.run_series import Times
from models.history.backtest import HELD, TOO_FEW, worse_than
from models.history.columns import FloatArray, History
from models.history.conformal import LEVELS
from models.history.engine import Study
from models.history.forecast import BY_CLASS, BY_RISK, Recheck, forecast_at, reading_interval, recheck_day, recheck_of
from models.history.late import row_of
from models.history.material import present_runs
from models.history.months import day_of, local_days
from models.history.passage import ever_over
from models.history.runs import DAYS_PER_YEAR, US_PER_DAY
from models.history.standing import Standing
from models.history.state import no_step_yet
from models.units import Display, Quantity
from models.values.job import COMPONENTS
from models.values.limits import LimitsGiven

COURSES = 1000
"""Courses for 'ever over': the standard error of a share of one half is 0.016."""

BY_CHANCE = 0.05
"""A machine's own record is called worse than that of its class where chance explains it no better than so."""

STEPS = 36
WIDEST_YEARS = 6.0

MONTHS = (1, 3, 6, 12, 18, 24, 36)


@dataclass(frozen=True, slots=True)
class Point:
    """The forecast for one date: probability of being over, and the 80 % band of the limit ratio that would be read."""

    on: date
    what: str
    over: float
    middle: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Component:
    """One component on one date, as deviation from the target, in the unit that is shown."""

    name: str
    unit: str
    decimals: int
    left: float
    expected: float
    low: float
    high: float
    limit: float


@dataclass(frozen=True, slots=True)
class Held:
    """How often such forecasts held on the plant's own past."""

    class_index: int
    share: float
    low: float
    high: float
    intervals: int
    machines: int
    verdict: Literal["held", "failed", "few"]
    loss: float
    loss_none: float
    own_held: int = 0
    own_tested: int = 0
    worst: tuple[int, int, str] | None = None
    band: Band | None = None
    """Held, tested and name of the machine's component whose intervals held less often than chance explains;
    and what became of past runs whose forecast gave a chance like today's."""


@dataclass(frozen=True, slots=True)
class ForecastView:
    """All about the forecast; without one, ``reason`` is a code of ``standing.REASON_WORDS`` or :data:`~dashboard.views.asset_standing.OTHER_PLACES`.

    ``recheck`` is the moment at which the risk is reached, ``recheck_on`` the day on which to look again, which may be the one
    before.  ``step`` is the chance that the same step comes after each visit.  ``times`` (k,) are on the site's clock; ``over`` is the probability of being over
    limit, ``low``, ``middle`` and ``high`` the limit ratio that would be read.
    """

    reason: int
    runs: int
    risk: float
    held: Held | None
    left_at: datetime | None = None
    today: datetime | None = None
    over_today: float = float("nan")
    recheck: datetime | None = None
    recheck_on: date | None = None
    over_then: float = float("nan")
    over_left: float = float("nan")
    step: float = 0.0
    why: Literal["at once", "step", "risk", "class", "site", ""] = ""
    longest_days: float = float("nan")
    site_months: int = 0
    ever: float = float("nan")
    times: Times | None = None
    over: FloatArray | None = None
    low: FloatArray | None = None
    middle: FloatArray | None = None
    high: FloatArray | None = None
    points: tuple[Point, ...] = ()
    components: tuple[Component, ...] = ()
    components_on: date | None = None


def build_forecast(
    study: Study, history: History, asset: int, *, risk: float, now_us: int, display: Display, given: LimitsGiven | None = None,
    known: Recheck | None = None,
) -> ForecastView:  # fmt: skip
    """Compute the forecast of one machine.

    Parameters
    ----------
    study : Study
        Everything that the history says. [unitless]
    history : History
        The columns behind it. [unitless]
    asset : int
        Index of the machine. [unitless]
    risk : float
        Accepted probability of being over limit. [unitless]
    now_us : int
        The present time. [µs since 1970, UTC]
    display : Display
        Units to show. [unitless]
    given : LimitsGiven or None
        Limits to judge by; ``None`` for those of the machine's last judged job. [mm, mm/m]
    known : Recheck or None
        The re-check dates of all machines for this risk, where they are there already. [unitless]
    """
    held = _held(study, history, asset)
    standing = rows_of(study.standing, asset, 1)
    runs = int(standing.n[0])
    limits, span = _limits_behind(study, history, asset)
    reason = int(standing.reason[0])
    if reason == 0 and given is not None:
        standing, reason, limits = under_other_limits(standing, limits, span, given)
    if reason != 0:
        return ForecastView(reason, runs, risk, held)
    zone = ZoneInfo(history.zone)
    left_us = int(standing.left_us[0])
    if known is None or given is not None:
        recheck = recheck_of(standing, risk, study.choices.site_months)
    else:
        recheck = _row_of(known, asset)
    days = float(recheck.days[0])
    since = max((now_us - left_us) / US_PER_DAY, 0.0)
    horizon = min(max(1.5 * days, 1.25 * since, DAYS_PER_YEAR), max(WIDEST_YEARS * DAYS_PER_YEAR, 1.02 * since))
    span_days = np.linspace(0.0, horizon, STEPS)
    months = [month * DAYS_PER_YEAR / 12.0 for month in MONTHS if month * DAYS_PER_YEAR / 12.0 <= horizon]
    named = [(0.0, "left"), *((m, "") for m in months), (since, "today"), (days, "recheck")]
    every = np.concatenate([span_days, [day for day, _ in named]])
    many = rows_of(standing, 0, len(every))
    # What was left has had no step yet: the first point of the curves, and the one that is called so.
    many = no_step_yet(many, np.isin(np.arange(len(every)), (0, STEPS)))
    over = forecast_at(many, every).over
    low, middle, high = ratio_band(many, every)
    last = max(days, since)
    ever = float(ever_over(standing, np.array([0]), np.array([last]), courses=COURSES)[0])
    held = None if held is None else replace(held, band=band_of(study, float(over[STEPS + len(named) - 2])))
    over_last = float(over[STEPS + len(named) - (1 if days >= since else 2)])

    def moment(after: float) -> datetime:
        return _local(left_us + round(after * US_PER_DAY), zone)

    left_on = local_days(np.array([left_us]), history.zone)
    recheck_on = date(1970, 1, 1) + timedelta(days=int(recheck_day(left_on, recheck.days)[0]))
    dates = [*(moment(day).date() for day, _ in named[:-1]), recheck_on]
    points = {
        on: Point(on, what, *(float(a[STEPS + k]) for a in (over, middle, low, high)))
        for k, (on, (_, what)) in enumerate(zip(dates, named, strict=True))
    }
    why: Literal["at once", "step", "risk", "class", "site"] = "site"
    if int(recheck.basis[0]) == BY_RISK:
        left_so = float(recheck.over_left[0]) >= risk
        why = "risk" if days > 0.0 else "at once" if left_so else "step"
    elif int(recheck.basis[0]) == BY_CLASS:
        why = "class"
    return ForecastView(
        reason=0,
        runs=runs,
        risk=risk,
        held=held,
        left_at=moment(0.0),
        today=moment(since),
        over_today=float(over[STEPS + len(named) - 2]),
        recheck=moment(days),
        recheck_on=recheck_on,
        over_then=float(recheck.over[0]),
        over_left=float(recheck.over_left[0]),
        step=float(standing.step_chance[0]),
        why=why,
        longest_days=float(standing.longest_days[0]),
        site_months=study.choices.site_months,
        # Having been over at some time before cannot be less likely than being over at the end; draws may say so.
        ever=max(ever, over_last),
        times=np.array([moment(day) for day in span_days.tolist()], dtype="datetime64[s]"),
        over=over[:STEPS],
        low=low[:STEPS],
        middle=middle[:STEPS],
        high=high[:STEPS],
        points=tuple(points[on] for on in sorted(points)),
        components=_components(standing, last, limits, span, display),
        components_on=max(recheck_on, day_of(now_us, history.zone)),
    )


def _row_of(known: Recheck, asset: int) -> Recheck:
    columns = {
        name: getattr(known, name)[asset : asset + 1] for name in ("days", "over", "over_left", "basis", "reason")
    }
    return replace(known, **columns)


def _components(
    standing: Standing, days: float, limits: FloatArray, span_mm: float, display: Display
) -> tuple[Component, ...]:
    low, high = reading_interval(standing, np.array([days]), LEVEL)
    flex = _by_flex(limits, span_mm)
    parts = []
    for place in range(len(COMPONENTS)):
        quantity = Quantity.ANGULARITY if flex or place in {1, 3} else Quantity.OFFSET
        limit = float(limits[2 if flex else place % 2])
        if not np.isfinite(low[0, place]):
            continue
        unit = limit * display.show(1.0, quantity)
        expected = float(low[0, place] + high[0, place]) / 2.0
        parts.append(
            Component(
                _name(place, flex=flex), display.unit(quantity), display.decimals(quantity),
                float(standing.left[0, place]) * unit, expected * unit, float(low[0, place]) * unit, float(high[0, place]) * unit, unit,
            )
        )  # fmt: skip
    return tuple(parts)


def _by_flex(limits: FloatArray, span_mm: float) -> bool:
    return bool(limits[2] > 0.0 and span_mm > 0.0)


def _name(place: int, *, flex: bool) -> str:
    return f"asset.flex.{place}" if flex else f"component.{COMPONENTS[place]}"


def _limits_behind(study: Study, history: History, asset: int) -> tuple[FloatArray, float]:
    row = int(study.material.scale_row[asset])
    if row < 0:
        return np.full(4, np.nan), float("nan")
    return row_of(history.jobs, "limits", row), float(row_of(history.jobs, "span_mm", row))


def _held(study: Study, history: History, asset: int) -> Held | None:
    series = int(study.material.series_now[asset])
    if series < 0:
        return None
    fit, test, level = int(study.grouping.fit[series]), study.backtest, LEVELS.index(LEVEL)
    verdict: Literal["held", "failed", "few"] = "failed"
    if test.verdict[fit] in {HELD, TOO_FEW}:
        verdict = "held" if test.verdict[fit] == HELD else "few"
    runs = present_runs(study.material, asset)
    begin = (
        row_of(history.jobs, "performed_us", int(row_of(study.runs, "start_row", int(runs[0])))) if len(runs) else None
    )
    own_held, own_tested = test.own(asset, None if begin is None else int(begin))
    chance = 4.0 * worse_than(own_held, own_tested, float(np.nan_to_num(test.coverage[fit, level], nan=LEVEL)))
    worst = int(np.argmin(chance))
    name = _name(worst, flex=_by_flex(*_limits_behind(study, history, asset)))
    return Held(
        class_index=int(study.grouping.label[fit]),
        share=float(test.coverage[fit, level]),
        low=float(test.low[fit, level]),
        high=float(test.high[fit, level]),
        intervals=int(test.intervals[fit]),
        machines=int(test.assets[fit]),
        verdict=verdict,
        loss=float(test.loss[fit]),
        loss_none=float(test.loss_zero[fit]),
        own_held=int(own_held.sum()),
        own_tested=int(own_tested.sum()),
        worst=None if chance[worst] > BY_CHANCE else (int(own_held[worst]), int(own_tested[worst]), name),
    )


def _local(us: int, zone: ZoneInfo) -> datetime:
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)
    return moment.astimezone(zone).replace(tzinfo=None)
