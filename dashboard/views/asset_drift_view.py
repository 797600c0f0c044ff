"""Which way the machine moves: each run as a movement in the plane across the shaft, and what each row of feet does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.views.asset_choices import limits_row
from models.history.columns import FloatArray, History, IntArray
from models.history.direction import FEWEST_RUNS, NO_DIRECTION, ONE_WAY
from models.history.distributions import t_quantile
from models.history.drift import NO_RUN, NO_TIME, NOT_JUDGED
from models.history.engine import Study
from models.history.feet import FAR_H, FAR_V, NEAR_H, NEAR_V, at_feet, rates_told
from models.history.late import row_of, some_of
from models.history.limit_space import PLACES
from models.history.material import present_runs
from models.history.steps import LIKELY
from models.maths.limits import flex_angles
from models.units import Display, Quantity
from models.values.job import COMPONENTS
from models.values.limits import LimitsGiven

CONFIDENCE = 0.95

Why = Literal["", "few", "limits", "time"]
"""Why there is no mean drift: fewer than three runs, no limit to count it in, no time of service in the runs; empty where there is one."""


@dataclass(frozen=True, slots=True)
class Move:
    """One run: days of its ends, its length, and who found it."""

    left_on: date
    found_on: date
    days: float
    who: str
    entry: int


@dataclass(frozen=True, slots=True)
class Plane:
    """One place at which the machine is judged, as a plane: horizontal to the right, vertical up.

    ``left`` and ``found`` are (n, 2): horizontal and vertical deviation from the
    target as a run began and ended.  ``mean`` is the mean drift in a year of
    service (horizontal, vertical), or in a run where ``by_step``; ``None`` below three
    runs and where there is none.  ``outline`` (k, 2) is the edge of its 95 % region.
    ``limit`` is the radius, or half the side where ``square``; NaN for none.
    """

    key: str
    unit: str
    decimals: int
    left: FloatArray
    found: FloatArray
    mean: tuple[float, float] | None
    outline: FloatArray
    limit: float
    square: bool
    by_step: bool = False


@dataclass(frozen=True, slots=True)
class FootRow:
    """How fast one row of feet moves along one axis, with its 95 % interval, in the unit that is shown, a year.

    ``sure`` where the interval leaves out 0 and rates of the machine are told as a movement (``models.history.feet.rates_told``);
    ``between`` marks a row whose interval lies between those of its neighbours.
    """

    row: int
    x: str
    axis: Literal["v", "h"]
    rate: float
    low: float
    high: float
    sure: bool
    between: bool


@dataclass(frozen=True, slots=True)
class FootStep:
    """By how much one row of feet moved along one axis in a run, in the mean of the runs, in the unit that is shown."""

    row: int
    axis: Literal["v", "h"]
    size: float


@dataclass(frozen=True, slots=True)
class DriftView:
    """Everything about the drift; ``way`` is (vertical, horizontal) of the mean drift at the first place.

    ``why`` is why nothing is said of its way, ``feet_known`` whether the book knows how far the feet are from the coupling.
    ``step`` is the chance that the same step comes after each visit.  Where it is likely there are no ``feet``, for no
    rate in a year holds, but ``steps``.
    """

    moves: tuple[Move, ...]
    planes: tuple[Plane, ...]
    verdict: Literal["one way", "no direction", "few"]
    chance: float
    rate: float
    way: tuple[float, float]
    feet: tuple[FootRow, ...]
    feet_unit: str
    feet_decimals: int
    by_hours: bool
    step: float = 0.0
    steps: tuple[FootStep, ...] = ()
    why: Why = ""
    feet_known: bool = True


def build_drift(
    study: Study, history: History, asset: int, *, display: Display, who: Mapping[int, str], feet_mm: tuple[float, ...],
    given: LimitsGiven | None = None,
) -> DriftView:  # fmt: skip
    """Lay the drift of one machine out.

    Parameters
    ----------
    study : Study
        Everything that the history says. [unitless]
    history : History
        The columns behind it. [unitless]
    asset : int
        Index of the machine. [unitless]
    display : Display
        Units to show. [unitless]
    who : mapping
        Text of each job by its entry. [unitless]
    feet_mm : tuple of float
        Distance of each row of feet of the movable machine from the coupling centre, nearest first. [mm]
    given : LimitsGiven or None
        Limits to draw; ``None`` for those of the machine's last judged job. [mm, mm/m]
    """
    material, jobs, zone = study.material, history.jobs, ZoneInfo(history.zone)
    series = int(material.series_now[asset])
    runs = present_runs(material, asset)
    start, end = (some_of(study.runs, name, runs) for name in ("start_row", "end_row"))
    days = some_of(study.runs, "days", runs)
    began, ended = (some_of(jobs, "performed_us", rows) for rows in (start, end))
    moves = tuple(
        Move(_day(s, zone), _day(e, zone), d, who.get(entry, ""), entry)
        for s, e, d, entry in zip(
            began.tolist(), ended.tolist(), days.tolist(), some_of(jobs, "entry", end).tolist(), strict=True
        )
    )
    verdict: Literal["one way", "no direction", "few"] = "few"
    if series >= 0 and study.directions.verdict[series] in {ONE_WAY, NO_DIRECTION}:
        verdict = "one way" if study.directions.verdict[series] == ONE_WAY else "no direction"
    step = float(row_of(study.standing, "step_chance", asset))
    planes = _planes(study, history, asset, (start, end), display, given, by_step=step >= LIKELY) if len(runs) else ()
    told = rates_told(study.feet, study.directions, series, step)
    feet = _feet(study, series, feet_mm, display, told=told) if len(runs) and step < LIKELY else ()
    steps = _foot_steps(some_of(study.runs, "drift", runs), feet_mm, display) if step >= LIKELY else ()
    mean = (planes[0].mean if planes else None) or (0.0, 0.0)
    return DriftView(
        moves=moves,
        planes=planes,
        verdict=verdict,
        chance=float(row_of(study.directions, "q", series)) if series >= 0 else float("nan"),
        rate=study.directions.rate,
        way=(mean[1], mean[0]),
        feet=feet,
        feet_unit=display.unit(Quantity.OFFSET),
        feet_decimals=display.decimals(Quantity.OFFSET),
        by_hours=bool(material.by_hours[asset]),
        step=step,
        steps=steps,
        why=_why(study, series, len(runs)) if verdict == "few" else "",
        feet_known=bool(feet_mm),
    )


def _why(study: Study, series: int, runs: int) -> Why:
    if runs < FEWEST_RUNS or series < 0:
        return "few"
    # Where no limit judges the machine no run counts in the engine, which is why it says that there is none.
    told: dict[int, Why] = {NO_RUN: "limits", NOT_JUDGED: "limits", NO_TIME: "time"}
    return told.get(int(study.rates.reason[series]), "few")


def _planes(
    study: Study, history: History, asset: int, ends: tuple[IntArray, IntArray], display: Display, given: LimitsGiven | None,
    *, by_step: bool,
) -> tuple[Plane, ...]:  # fmt: skip
    (start, end), jobs, material = ends, history.jobs, study.material
    series, scale = int(material.series_now[asset]), int(material.scale_row[asset])
    limits = row_of(jobs, "limits", scale) if scale >= 0 else np.full(4, np.nan)
    span = float(row_of(jobs, "span_mm", scale)) if scale >= 0 else float("nan")
    flex = bool(limits[2] > 0.0 and span > 0.0)
    # One target for both ends of a run, so that an arrow is as long as the drift.
    target = some_of(jobs, "target", start)
    left, found = some_of(jobs, "left", start) - target, some_of(jobs, "found", end) - target
    if flex:
        both = np.full(len(left), span)
        left, found = flex_angles(left, both), flex_angles(found, both)
    fit = int(study.grouping.fit[series])
    # Other limits are drawn only where they judge the same places.
    drawn = limits if given is None else np.array(limits_row(given))
    each = (bool(row_of(jobs, "each_axis", scale)) if scale >= 0 else False) if given is None else given.each_axis
    planes = []
    for place, (v, h) in enumerate(PLACES):
        quantity = Quantity.ANGULARITY if flex or place == 1 else Quantity.OFFSET
        limit, unit = float(limits[2] if flex else limits[place]), display.show(1.0, quantity)
        # Rates are in limits a year; where no limit is known there is none.
        mean = study.rates.raw[series, [h, v]] * limit * unit
        spread = study.rates.raw_se[series, [h, v]] * limit * unit
        together = float(study.fits.correlation[fit, h, v])
        edge = region(mean, spread, together, float(study.rates.df[series]))
        if by_step:
            mean, edge = mean_step((found - left)[:, [h, v]] * unit)
        # The engine gives one or two runs the scatter of their class; a picture of this machine alone has none for them.
        told = len(left) >= FEWEST_RUNS and bool(np.isfinite(mean).all())
        planes.append(
            Plane(
                f"asset.plane.flex.{place}" if flex else f"asset.plane.{COMPONENTS[place].partition('_')[0]}",
                display.unit(quantity),
                display.decimals(quantity),
                left[:, [h, v]] * unit,
                found[:, [h, v]] * unit,
                (float(mean[0]), float(mean[1])) if told else None,
                edge if told else np.zeros((0, 2)),
                float(drawn[2 if flex else place]) * unit,
                each,
                by_step,
            )
        )
    return tuple(planes)


def region(mean: FloatArray, spread: FloatArray, together: float, df: float, points: int = 49) -> FloatArray:
    """Give the edge of the 95 % region of a mean in a plane.

    Parameters
    ----------
    mean, spread : (2,) float array
        Mean and standard error along the two axes. [any]
    together : float
        Correlation of the two. [unitless]
    df : float
        Degrees of freedom behind the standard errors. [unitless]
    points : int
        Points of the edge, the first one again at the end. [unitless]

    Returns
    -------
    (points, 2) float array
        Empty where the mean or its error is not known. [any]

    Notes
    -----
    Squared size r² = 2 F(2, df); for two degrees of freedom above the quantile of F is df/2 ((1 − p)^(−2/df) − 1),
    which goes to −ln(1 − p) as df grows.
    """
    if not (np.isfinite(mean).all() and np.isfinite(spread).all()):
        return np.zeros((0, 2))
    out = 1.0 - CONFIDENCE
    squared = -2.0 * np.log(out) if not np.isfinite(df) else max(df, 1.0) * (out ** (-2.0 / max(df, 1.0)) - 1.0)
    turn = np.linspace(0.0, 2.0 * np.pi, points)
    first, second = np.cos(turn), together * np.cos(turn) + np.sqrt(max(1.0 - together**2, 0.0)) * np.sin(turn)
    edge: FloatArray = mean + np.sqrt(squared) * spread * np.stack([first, second], axis=1)
    return edge


def mean_step(drifts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the mean of the drifts of the runs, however long each was, and the edge of its 95 % region.

    Parameters
    ----------
    drifts : (n, 2) float array
        Drift of each run along the two axes, n > 0. [any]

    Returns
    -------
    mean : (2,) float array
        Mean drift of a run. [any]
    edge : (k, 2) float array
        Edge of the region, from the scatter of these runs alone; empty below three runs. [any]

    Notes
    -----
    Hotelling's region of a mean of n vectors in a plane: r² = 2 (n − 1)/(n − 2) F(2, n − 2) in standard errors.
    """
    mean, n = drifts.mean(axis=0), len(drifts)
    if n < FEWEST_RUNS:
        return mean, np.zeros((0, 2))
    spread = drifts.std(axis=0, ddof=1)
    crossed = float(((drifts - mean).prod(axis=1)).sum() / (n - 1))
    apart = float(spread.prod())
    together = crossed / apart if apart > 0.0 else 0.0
    return mean, region(mean, spread / np.sqrt(n) * np.sqrt((n - 1) / (n - 2)), together, float(n - 2))


def _feet(
    study: Study, series: int, feet_mm: tuple[float, ...], display: Display, *, told: bool
) -> tuple[FootRow, ...]:
    rates, unit = study.feet.rates, display.show(1.0, Quantity.OFFSET)
    if not feet_mm or not np.isfinite(rates.raw[series]).any():
        return ()
    half = float(t_quantile(0.5 + CONFIDENCE / 2.0, max(float(rates.df[series]), 1.0))) * rates.raw_se[series]
    middle, low, high = rates.raw[series], rates.raw[series] - half, rates.raw[series] + half
    near, far = feet_mm[0], feet_mm[-1]
    rows = []
    axes: tuple[tuple[Literal["v", "h"], int, int], ...] = (("v", NEAR_V, FAR_V), ("h", NEAR_H, FAR_H))
    for axis, first, last in axes:
        for number, x_mm in enumerate(feet_mm, start=1):
            share = 0.0 if far <= near else (x_mm - near) / (far - near)
            rate, bottom, top = (
                float((1.0 - share) * value[first] + share * value[last]) * unit for value in (middle, low, high)
            )
            if not np.isfinite(rate):
                continue
            sure = told and (bottom > 0.0 or top < 0.0)
            rows.append(
                FootRow(number, display.text(x_mm, Quantity.DISTANCE), axis, rate, bottom, top, sure, 0.0 < share < 1.0)
            )
    return tuple(rows)


def _foot_steps(drift: FloatArray, feet_mm: tuple[float, ...], display: Display) -> tuple[FootStep, ...]:
    if not feet_mm:
        return ()
    moved = at_feet(drift, np.tile(np.array(feet_mm), (len(drift), 1))).mean(axis=0) * display.show(
        1.0, Quantity.OFFSET
    )
    axes: tuple[Literal["v", "h"], ...] = ("v", "h")
    return tuple(
        FootStep(row, axis, float(size))
        for axis, sizes in zip(axes, moved.reshape(2, -1), strict=True)
        for row, size in enumerate(sizes.tolist(), start=1)
    )


def _day(us: int, zone: ZoneInfo) -> date:
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)).astimezone(zone).date()
