"""Origins of predictions: what each was fitted to, and whether an earlier study has fitted the very same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.classes import Grouping
from models.history.columns import BoolArray
from models.history.drift import ClassFits
from models.history.limit_space import LimitSizes
from models.history.material import Material
from models.history.variance import reference_of


@dataclass(frozen=True, slots=True)
class OriginFit:
    """What the classes were found to have in common at one origin [µs since 1970, UTC]."""

    begin: int
    fits: ClassFits


@dataclass(frozen=True, slots=True)
class Before:
    """An earlier study of the same site: what its predictions were made from."""

    material: Material
    grouping: Grouping
    fits: tuple[OriginFit, ...]


def known_fit(
    before: Before | None,
    material: Material,
    grouping: Grouping,
    past: BoolArray,
    begin: int,
    sizes: LimitSizes | None,
) -> ClassFits | None:
    """Give the fit of an origin from an earlier study, if all that it rests on is the same to the last bit.

    Parameters
    ----------
    before : Before or None
        The earlier study. [unitless]
    material : Material
        Known runs in limit units. [unitless]
    grouping : Grouping
        Which fit each series uses. [unitless]
    past : (n,) bool array
        The runs that had ended. [unitless]
    begin : int
        The origin. [µs since 1970, UTC]
    sizes : LimitSizes or None
        Size of each asset's limit. [mm, mm/m]
    """
    known = None if before is None else next((one.fits for one in before.fits if one.begin == begin), None)
    if before is None or known is None or not np.array_equal(before.grouping.label, grouping.label):
        return None
    then = before.material.end_us <= begin
    if np.count_nonzero(then) != np.count_nonzero(past):
        return None
    # A series may bear another number now; which runs are of one series, and which fit each uses, is what counts.
    mine, theirs = material.series[past], before.material.series[then]
    same = (
        np.array_equal(np.diff(mine) != 0, np.diff(theirs) != 0)
        and np.array_equal(grouping.fit[mine], before.grouping.fit[theirs])
        and np.array_equal(material.years[past], before.material.years[then])
        and np.array_equal(material.drift[past], before.material.drift[then], equal_nan=True)
    )
    if same and sizes is not None and np.isfinite(known.variance.reference[-1]).any():
        # Where nothing moved, another limit leaves every drift at 0, and which error explains the runs of the fleet rests on the limits.
        same = np.array_equal(reference_of(sizes, material.asset[past]), known.variance.reference[-1], equal_nan=True)
    return known if same else None
