"""The small pictures of the Asset page: components, feet, flex planes and soft foot over time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dashboard.views.run_series import RunSeries, Times, run_series
from dashboard.words import say
from models.history.columns import BoolArray, FloatArray
from models.intake.fields import FEET
from models.maths.limits import flex_angles
from models.units import Display, Quantity
from models.values.job import COMPONENTS, FeetValues
from models.values.story import AssetStory, JobLine

QUANTITIES = (Quantity.OFFSET, Quantity.ANGULARITY, Quantity.OFFSET, Quantity.ANGULARITY)
"""What each of the four components measures."""


@dataclass(frozen=True, slots=True)
class Panel:
    """One small picture: a quantity over time, in the unit that is shown.

    ``target``, ``low`` and ``high`` are (n,), the target and the limits around it
    that were in force at each visit; NaN where there is none.
    """

    key: str
    title: str
    unit: str
    decimals: int
    series: RunSeries
    target: FloatArray
    low: FloatArray
    high: FloatArray


def _shown(values: FloatArray, display: Display, quantity: Quantity) -> FloatArray:
    # Every unit here is a factor of the stored one, so one converted 1 converts an array.
    return values * display.show(1.0, quantity)


def _panel(
    key: str, title: str, quantity: Quantity, display: Display, series: tuple[Times, FloatArray, FloatArray, BoolArray],
    target: FloatArray, limit: FloatArray,
) -> Panel:  # fmt: skip
    times, found, left, joined = series
    shown: Callable[[FloatArray], FloatArray] = lambda values: _shown(values, display, quantity)  # noqa: E731
    return Panel(
        key,
        title,
        display.unit(quantity),
        display.decimals(quantity),
        run_series(times, shown(found), shown(left), joined),
        shown(target),
        shown(target - limit),
        shown(target + limit),
    )


def component_panels(
    jobs: Sequence[JobLine],
    display: Display,
    times: Times,
    found: FloatArray,
    left: FloatArray,
    target: FloatArray,
    joined: BoolArray,
) -> tuple[Panel, ...]:
    """Give the four components as measured, with the target and the limits of each visit around it."""

    def limits(index: int) -> FloatArray:
        name = "offset_mm" if index in (0, 2) else "angle_mm_m"
        given = [getattr(line.limits, name) for line in jobs]
        return np.array([np.nan if value is None else value for value in given], dtype=np.float64)

    return tuple(
        _panel(
            name,
            say(f"component.{name}"),
            QUANTITIES[index],
            display,
            (times, found[:, index], left[:, index], joined),
            target[:, index],
            limits(index),
        )
        for index, name in enumerate(COMPONENTS)
    )


def feet_panels(
    story: AssetStory, display: Display, times: Times, found: FloatArray, left: FloatArray, joined: BoolArray
) -> tuple[Panel, ...]:
    """Give the height and side of each row of feet: y(x) = offset + angularity · x, of the deviation from target."""
    none = np.full(len(times), np.nan)
    panels = []
    for row, x_mm in enumerate(story.asset.feet_movable_mm, start=1):
        for axis, first in (("v", 0), ("h", 2)):
            x_m = x_mm / 1000.0
            found_y, left_y = (values[:, first] + values[:, first + 1] * x_m for values in (found, left))
            title = say(f"asset.feet.{axis}", row=row, x=display.text(x_mm, Quantity.DISTANCE))
            panels.append(
                _panel(
                    f"feet-{row}{axis}",
                    title,
                    Quantity.OFFSET,
                    display,
                    (times, found_y, left_y, joined),
                    np.zeros(len(times)),
                    none,
                )
            )
    return tuple(panels)


def flex_panels(
    story: AssetStory, display: Display, times: Times, found: FloatArray, left: FloatArray, joined: BoolArray
) -> tuple[Panel, ...]:
    """Give the angle at each end of a spacer, vertical and horizontal, of the deviation from target."""
    span = np.full(len(times), story.asset.span_mm or np.nan)
    ends = flex_angles(found, span), flex_angles(left, span)
    given = [line.limits.flex_mm_m for line in story.standing]
    limit = np.array([np.nan if value is None else value for value in given], dtype=np.float64)
    return tuple(
        _panel(
            f"flex-{index}",
            say(f"asset.flex.{index}"),
            Quantity.ANGULARITY,
            display,
            (times, ends[0][:, index], ends[1][:, index], joined),
            np.zeros(len(times)),
            limit,
        )
        for index in range(4)
    )


def soft_panels(jobs: Sequence[JobLine], display: Display, times: Times, joined: BoolArray) -> tuple[Panel, ...]:
    """Give the rise of each foot, before and after the work."""
    width = max((len(feet.values) for line in jobs for feet in (line.job.soft_before, line.job.soft_after)), default=0)
    none = np.full(len(times), np.nan)

    def rises(feet: FeetValues, foot: int) -> float:
        value = feet.values[foot] if foot < len(feet.values) else None
        return float("nan") if value is None else value

    panels = []
    for foot in range(width):
        before = np.array([rises(line.job.soft_before, foot) for line in jobs], dtype=np.float64)
        after = np.array([rises(line.job.soft_after, foot) for line in jobs], dtype=np.float64)
        name = FEET[foot] if foot < len(FEET) else str(foot + 1)
        panels.append(
            _panel(
                f"soft-{name}",
                say("asset.soft.foot", foot=name),
                Quantity.OFFSET,
                display,
                (times, before, after, joined),
                none,
                none,
            )
        )
    return tuple(panel for panel in panels if not panel.series.empty)
