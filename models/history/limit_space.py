"""Limit units: every component divided by its own limit, so that machines of all speeds can be pooled.

A machine is judged at two places.  For a short coupling these are the offset
and the angularity at the coupling centre; for a spacer coupling with a limit
for the flex angle they are the angles at its two flex planes.  In limit units a
misalignment is (place 1 V, place 2 V, place 1 H, place 2 H), and the limit
ratio is the larger size of the two places.  The way from millimetres to limit
units is linear, so a drift can be taken over as well as a position.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray, JobColumns
from models.maths.limits import flex_angles

PLACES = ((0, 2), (1, 3))
"""Columns of vertical and horizontal at the first and at the second place."""


@dataclass(frozen=True, slots=True)
class LimitSizes:
    """How large a limit unit is, one row an asset.

    ``size`` (assets, 4) are mm and mm/m at the coupling centre, mm/m at flex
    planes, NaN where not judged; ``flex`` tells which of the two.  A reading error
    in limits is one over this, for a reading error is the instrument's.
    """

    size: FloatArray
    flex: BoolArray


def limit_sizes(jobs: JobColumns, scale_row: IntArray) -> LimitSizes:
    """Give the size of the limit unit of each asset.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    scale_row : (assets,) int array
        The job whose limits give the unit, or −1. [unitless]
    """
    if not len(jobs):
        return LimitSizes(np.full((len(scale_row), 4), np.nan), np.zeros(len(scale_row), np.bool_))
    row = np.maximum(scale_row, 0)
    limits = np.where((scale_row >= 0)[:, None] & (jobs.limits[row] > 0.0), jobs.limits[row], np.nan)
    flex = ~np.isnan(limits[:, 2]) & (jobs.span_mm[row] > 0.0)
    return LimitSizes(np.where(flex[:, None], limits[:, 2:3], limits[:, (0, 1, 0, 1)]), flex)


def in_limit_units(components: FloatArray, limits: FloatArray, span_mm: FloatArray) -> FloatArray:
    """Turn misalignments or drifts into limit units.

    Parameters
    ----------
    components : (n, 4) float array
        Offset V, angularity V, offset H, angularity H; NaN unknown. [mm, mm/m, mm, mm/m]
    limits : (n, 4) float array
        Limit of offset, angularity, flex angle, soft foot; NaN where not judged. [mm, mm/m, mm/m, mm]
    span_mm : (n,) float array
        Distance between the flex planes; NaN for a short coupling. [mm]

    Returns
    -------
    (n, 4) float array
        Place 1 V, place 2 V, place 1 H, place 2 H; NaN where not judged, or the limit is not above 0. [limit]
    """
    usable = np.where(limits > 0.0, limits, np.nan)
    result = np.asarray(components / usable[:, (0, 1, 0, 1)], dtype=np.float64)
    flex = ~np.isnan(usable[:, 2]) & (span_mm > 0.0)
    if flex.any():
        result[flex] = flex_angles(components[flex], span_mm[flex]) / usable[flex, 2:3]
    return result


def ratio_in_limit_units(size: FloatArray, each_axis: BoolArray) -> FloatArray:
    """Give the limit ratio of positions that are in limit units.

    Parameters
    ----------
    size : (n, 4) float array
        Place 1 V, place 2 V, place 1 H, place 2 H; NaN not judged. [limit]
    each_axis : (n,) bool array
        True where vertical and horizontal are judged each by itself. [unitless]

    Returns
    -------
    (n,) float array
        Limit ratio; NaN where nothing is judged. [unitless]
    """
    vertical, horizontal = size[:, :2], size[:, 2:]
    places = np.hypot(vertical, horizontal)
    if each_axis.any():  # rare: most limits are on the resultant
        places = np.where(each_axis[:, None], np.maximum(np.abs(vertical), np.abs(horizontal)), places)
    return np.fmax(places[:, 0], places[:, 1])


def judged_rows(jobs: JobColumns, assets: int) -> IntArray:
    """Give for each asset its last job that carries limits; −1 where none does.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand, in order of asset, then time. [unitless]
    assets : int
        Number of assets. [unitless]

    Notes
    -----
    All runs of an asset are put into the limit units of this one job: a change
    of the limit set is not a change of the machine.
    """
    rows = np.full(assets, -1, dtype=np.int64)
    with_limits = np.flatnonzero(((jobs.limits[:, :3] > 0.0).any(axis=1)) & (jobs.asset >= 0))
    rows[jobs.asset[with_limits]] = with_limits
    return rows
