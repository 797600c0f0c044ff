"""Evidence in words: for one asset, what speaks for and against each cause, with the jobs it rests on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import AssetColumns, FloatArray, IntArray, JobColumns
from models.history.direction import FEWEST_RUNS, TOO_FEW, VERDICT_WORDS, Directions, direction_words
from models.history.feet import FAR_V, MOVES_WORDS, FootRates, rates_told
from models.history.late import BOTH, places_in, some_of
from models.history.material import Material, present_runs
from models.history.patterns import (
    CAUSE_WORDS,
    DECISIVE,
    LOOSE_BOLTS,
    PIPE_STRAIN,
    SETTLE_WORDS,
    SETTLING,
    SOFT_FOOT,
    THERMAL_TARGET,
    Patterns,
)
from models.history.runs import Runs
from models.history.shape import Shapes

FOR, AGAINST, OPEN = "suggests", "speaks against", "says nothing about"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of evidence.

    ``stance`` is 'suggests', 'speaks against' or 'says nothing about'; ``weight``
    is log₁₀ of a likelihood ratio or NaN; ``entries`` are the jobs it rests on;
    ``settles`` is the observation that would decide.
    """

    cause: str
    stance: str
    text: str
    weight: float
    entries: tuple[int, ...]
    settles: str


def evidence_for(
    asset: int,
    jobs: JobColumns,
    runs: Runs,
    assets: AssetColumns,
    material: Material,
    *,
    patterns: Patterns,
    directions: Directions,
    shapes: Shapes,
    feet: FootRates,
    step_chance: float,
) -> tuple[Line, ...]:
    """Write the evidence for one asset, one line a cause.

    Parameters
    ----------
    asset : int
        Index of the asset. [unitless]
    jobs : JobColumns
        The jobs that stand. [unitless]
    runs : Runs
        Their runs. [unitless]
    assets : AssetColumns
        The assets as they stand today. [unitless]
    material : Material
        Known runs in limit units. [unitless]
    patterns : Patterns
        What speaks for each cause. [unitless]
    directions : Directions
        Whether each series drifts one way. [unitless]
    shapes : Shapes
        Whether it steps or moves in time. [unitless]
    feet : FootRates
        Which foot moves. [mm/year]
    step_chance : float
        Chance that the same step comes after each visit. [unitless]

    Returns
    -------
    tuple of Line
        Suggested causes first.
    """
    series = int(material.series_now[asset])
    entries = _entries(jobs, runs, present_runs(material, asset))
    begin, end = (int(places_in(jobs, "asset", np.array([asset]), side)[0]) for side in BOTH)
    own = np.arange(begin, end)
    soft = own[~np.isnan(some_of(jobs, "soft_before", own))]
    told, around = rates_told(feet, directions, series, step_chance), neighbours(asset, assets, material, feet)
    texts = {
        SETTLING: _settling(series, directions, shapes, feet if told else None, around),
        PIPE_STRAIN: _step(series, shapes, "sideways"),
        THERMAL_TARGET: _step(series, shapes, "up or down") + _warm(asset, patterns),
        SOFT_FOOT: f"{patterns.soft_over[asset]} of {patterns.soft_looks[asset]} visits found feet that differ by more than the limit",
        LOOSE_BOLTS: _scatter(asset, series, patterns, directions),
    }
    lines = []
    for cause, text in texts.items():
        rests = tuple(some_of(jobs, "entry", soft).tolist()) if cause == SOFT_FOOT else entries
        stance = _stance(patterns, asset, cause)
        lines.append(
            Line(CAUSE_WORDS[cause], stance, text, float(patterns.weight[asset, cause]), rests, SETTLE_WORDS[cause])
        )
    return tuple(sorted(lines, key=lambda line: (FOR, AGAINST, OPEN).index(line.stance)))


def _stance(patterns: Patterns, asset: int, cause: int) -> str:
    if patterns.suggested[asset, cause]:
        return FOR
    if np.isnan(patterns.p[asset, cause]):
        return OPEN
    # A test that came out well above the fleet's level while it had something to test speaks against.
    return AGAINST if patterns.p[asset, cause] > 0.2 else OPEN


def _entries(jobs: JobColumns, runs: Runs, mine: IntArray) -> tuple[int, ...]:
    rows = np.unique(np.concatenate([some_of(runs, name, mine) for name in ("start_row", "end_row")]))
    return tuple(some_of(jobs, "entry", rows).tolist())


def _settling(
    series: int, directions: Directions, shapes: Shapes, feet: FootRates | None, around: tuple[int, float]
) -> str:
    if series < 0:
        return "no completed interval"
    n, verdict = int(directions.n[series]), int(directions.verdict[series])
    words = f"{VERDICT_WORDS[verdict]} ({n})" if verdict == TOO_FEW else f"{VERDICT_WORDS[verdict]} over {n} intervals"
    words = words if n else "no interval that a limit judges"
    if feet is not None and np.isfinite(feet.rates.raw[series, :2]).all():
        near, far = feet.rates.raw[series, :2].tolist()
        words += f"; {MOVES_WORDS[feet.vertical[series]]} ({near:+.3f} and {far:+.3f} mm a year, up is +)"
    others, middle = around
    if others:
        words += f"; of the {others} others of its area with three intervals or more the middle one moves {middle:+.3f} mm a year at the far feet"
    return words + _shape_words(float(shapes.log_ratio[series]))


def _step(series: int, shapes: Shapes, where: str) -> str:
    if series < 0 or np.isnan(shapes.step_p[series]):
        return "fewer than three intervals that a limit judges"
    step = shapes.step[series]
    places = [direction_words(*np.nan_to_num(step[list(pair)]).tolist()) for pair in ((0, 2), (1, 3))]
    share = float(shapes.vertical_share[series])
    words = f"after each visit it moves {places[0]} (first place) and {places[1]} (second place)"
    return f"{words}; {100.0 * (share if where == 'up or down' else 1.0 - share):.0f} % of it {where}" + _shape_words(
        float(shapes.log_ratio[series])
    )


def _shape_words(log_ratio: float) -> str:
    if np.isnan(log_ratio):
        return ""
    # The bound from which a cause rests on it, so that no line says more than the verdict beside it.
    if abs(log_ratio) < DECISIVE:
        return "; the intervals do not tell a movement in time from a step at each visit"
    times = 10.0 ** min(abs(log_ratio), 3.0)
    many = f"{times:.0f}" if times < 1000.0 else "1000 or more"
    better, worse = ("the same step each time", "movement in proportion to time")
    if log_ratio < 0.0:
        better, worse = worse, better
    return f"; {better} is {many} times as likely as {worse}"


def _warm(asset: int, patterns: Patterns) -> str:
    slope = float(patterns.warm_slope[asset])
    if np.isnan(slope):
        return "; too few temperatures to see whether it follows them"
    return f"; {slope:+.3f} limits for each degree that the movable machine is warmer ({patterns.warm_runs[asset]} intervals)"


def _scatter(asset: int, series: int, patterns: Patterns, directions: Directions) -> str:
    p = float(patterns.p[asset, LOOSE_BOLTS])
    if series < 0 or np.isnan(p):
        return "too few intervals to judge its scatter"
    return f"a scatter as large as this or larger comes by chance in {_percent(p)} % of the fleet; {VERDICT_WORDS[directions.verdict[series]]}"


def _percent(share: float) -> str:
    """Write a share in per cent: two digits of a small one, whole numbers from ten on, never a power of ten."""
    value = 100.0 * share
    return f"{value:.0f}" if value >= 9.95 else "below 0.01" if value < 0.01 else f"{value:.2g}"


def neighbours(asset: int, assets: AssetColumns, material: Material, feet: FootRates) -> tuple[int, float]:
    """Give how many other assets of the same area have a rate at the far feet from three runs or more, and the median of it [mm/year].

    Parameters
    ----------
    asset : int
        Index of the asset. [unitless]
    assets : AssetColumns
        The assets as they stand today. [unitless]
    material : Material
        Known runs in limit units. [unitless]
    feet : FootRates
        Rates of the feet. [mm/year]
    """
    if not str(assets.area[asset]):
        return 0, float("nan")
    others = np.flatnonzero(
        (assets.area == assets.area[asset]) & (np.arange(len(assets)) != asset) & (material.series_now >= 0)
    )
    series = material.series_now[others]
    rate: FloatArray = feet.rates.raw[series[feet.rates.n[series] >= FEWEST_RUNS], FAR_V]
    known = rate[np.isfinite(rate)]
    return len(known), float(np.median(known)) if len(known) else float("nan")
