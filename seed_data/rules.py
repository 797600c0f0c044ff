"""Who comes back: the starter rule, and the limit ratio of one reading or of a whole path.

The rule is the project's own and no standard: offset limit 120 ÷ rpm mm, angularity limit 1000 ÷ rpm mm/m, both held at
their value at 750 rpm below that speed; 0.5 mm/m at each flex plane of a spacer coupling; soft foot 0.05 mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from models.maths.judged import limits_for
from models.maths.limits import FloatArray, limit_ratio
from models.values.asset import Asset
from models.values.kinds import Coupling
from models.values.limits import Judged, LimitRow, LimitSet, LimitsGiven

RULE = LimitSet(
    "starter rule of the invented plant",
    "this project's own, no standard",
    "the generator",
    date(2020, 11, 1),
    (
        LimitRow(Judged.OFFSET, per_rpm=120.0, floor_rpm=750.0),
        LimitRow(Judged.ANGULARITY, per_rpm=1000.0, floor_rpm=750.0),
        # C. Jackson, chapter on alignment with proximity probes: 0.5 mil per inch of flex-plane separation = 0.5 mm/m.
        LimitRow(Judged.FLEX_ANGLE, coupling=Coupling.SPACER, value=0.5),
        # R. B. McMillan, Rotating Machinery (2004), digital page 125: 0.002 in, here rounded to 0.05 mm.
        LimitRow(Judged.SOFT_FOOT, value=0.05),
    ),
    starter=True,
)
"""The limits that decide in the generator which machine is over and comes back."""


@dataclass(frozen=True, slots=True)
class Yardstick:
    """The limits of one asset, ready to judge many deviations at once."""

    limits: LimitsGiven
    span_mm: float | None

    @property
    def scale(self) -> FloatArray:
        """Give one limit unit of each component: the size that alone brings the ratio to about 1, in mm and mm/m."""
        if self.limits.flex_mm_m is not None and self.span_mm is not None:
            offset, angle = self.limits.flex_mm_m * self.span_mm / 1000.0, 2.0 * self.limits.flex_mm_m
        else:
            offset, angle = self.limits.offset_mm or 0.0, self.limits.angle_mm_m or 0.0
        return np.array([offset, angle, offset, angle])

    def ratios(self, deviation: FloatArray) -> FloatArray:
        """Give the limit ratio of each deviation.

        Parameters
        ----------
        deviation : (n, 4) float array
            Measured − target. [mm, mm/m, mm, mm/m]

        Returns
        -------
        (n,) float array
            Limit ratios. [unitless]
        """
        n = deviation.shape[0]
        given = self.limits
        row = [
            np.nan if x is None else x for x in (given.offset_mm, given.angle_mm_m, given.flex_mm_m, given.soft_foot_mm)
        ]
        span = np.full(n, np.nan if self.span_mm is None else self.span_mm)
        return limit_ratio(deviation, np.tile(row, (n, 1)), np.full(n, given.each_axis), span)

    def ratio(self, deviation: FloatArray) -> float:
        """Give the limit ratio of one deviation.

        Parameters
        ----------
        deviation : (4,) float array
            Measured − target. [mm, mm/m, mm, mm/m]
        """
        return float(self.ratios(deviation[None, :])[0])


def yardstick(asset: Asset) -> Yardstick:
    """Give the limits of an asset under the rule, at the speed at which limits are taken.

    Parameters
    ----------
    asset : Asset
        The asset as described on the day in question. [unitless]
    """
    return Yardstick(limits_for(RULE, asset.coupling, asset.limit_speed_rpm), asset.span_mm)
