"""The history as columns: what every page and every report draws on.

The store fills these once and adds only what is newer; everything in
``models.history`` takes them and gives values.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from models.history.late import Late, rows_in, some_of

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
TextArray = NDArray[np.object_]

UNKNOWN = -1
"""The index of a person, instrument or code that is not known."""

REASONS = ("installation", "planned", "condition", "repair", "failure", "other")
"""The texts behind ``JobColumns.reason``, in order."""

SPEED_BOUNDS_RPM = (1000.0, 1500.0, 1800.0, 3000.0, 3600.0)
"""Upper bounds of the speed classes; one more class lies above the last."""


@dataclass(frozen=True, slots=True)
class JobColumns(Late):
    """One row a job that stands (not superseded, not void), in order of asset, then time, then entry.

    Unknown numbers are NaN.  ``asset``, ``person`` and ``instrument`` are
    indices into the arrays of :class:`History`; −1 is unknown.  The four components of
    ``found``, ``left`` and ``target`` are offset V [mm], angularity V [mm/m],
    offset H [mm], angularity H [mm/m].  ``target`` is taken off in nothing
    here: deviation = measured − target.

    ``limits`` are those in force at the job, stored with it: offset [mm],
    angularity [mm/m], flex angle [mm/m], soft foot [mm]; NaN where not judged.
    ``found_ratio`` and ``left_ratio`` are the limit ratios stored with the job.
    ``speed_rpm``, ``spacer`` and ``span_mm`` are the asset's on that day.
    ``soft_before`` and ``soft_after`` are by how much the rises of the feet
    differ, highest from lowest [mm]; the feet one by one are read with the asset's own page.
    """

    entry: IntArray
    job: IntArray
    asset: IntArray
    performed_us: IntArray
    month: IntArray
    reason: IntArray
    found: FloatArray
    left: FloatArray
    target: FloatArray
    limits: FloatArray
    each_axis: BoolArray
    found_ratio: FloatArray
    left_ratio: FloatArray
    speed_rpm: FloatArray
    speed_class: IntArray
    spacer: BoolArray
    span_mm: FloatArray
    soft_before: FloatArray
    soft_after: FloatArray
    hours_run: FloatArray
    temp_stationary_c: FloatArray
    temp_movable_c: FloatArray
    temp_ambient_c: FloatArray
    person: IntArray
    instrument: IntArray

    def __len__(self) -> int:
        """Give the number of jobs."""
        return rows_in(self, "entry")

    def take(self, rows: BoolArray | IntArray) -> JobColumns:
        """Give the same columns for some of the rows, in their order.

        Parameters
        ----------
        rows : (n,) bool array or (k,) int array
            Mask or indices of the rows to keep. [unitless]
        """
        return JobColumns(**{name: some_of(self, name, rows) for name in self.__slots__})


@dataclass(frozen=True, slots=True)
class BreakColumns:
    """One row a replacement, in order of asset, then date: midnight in the site's zone."""

    entry: IntArray
    asset: IntArray
    at_us: IntArray


@dataclass(frozen=True, slots=True)
class AssetColumns:
    """One row an asset as it stands today, at the index that ``JobColumns.asset`` uses.

    ``feet_movable_mm`` is (n, 2): distance of the nearest and of the farthest
    row of feet of the movable machine from the coupling centre; NaN unknown.
    """

    asset: IntArray
    tag: TextArray
    description: TextArray
    area: TextArray
    train: TextArray
    driven: TextArray
    driver: TextArray
    criticality: TextArray
    spacer: BoolArray
    span_mm: FloatArray
    speed_rpm: FloatArray
    speed_class: IntArray
    feet_movable_mm: FloatArray
    retired: BoolArray

    def __len__(self) -> int:
        """Give the number of assets."""
        return int(self.asset.shape[0])

    def unlike(self, later: AssetColumns, *, service: bool = True) -> BoolArray:
        """Tell for each asset whether later columns of the same site, which may hold more of them, say something else of it.

        Parameters
        ----------
        later : AssetColumns
            The later columns. [unitless]
        service : bool
            Whether being in service or not counts. [unitless]
        """
        other = np.zeros(len(self), dtype=np.bool_)
        for name in AssetColumns.__slots__:
            if later is self or (name == "retired" and not service):
                continue
            a, b = getattr(self, name), getattr(later, name)[: len(self)]
            differs = (a != b) & ~((a != a) & (b != b)) if a.dtype.kind == "f" else a != b  # noqa: PLR0124 - NaN is unknown
            other |= differs if differs.ndim == 1 else differs.any(axis=1)
        return other


@dataclass(frozen=True, slots=True)
class History:
    """Everything the reader keeps for one site, as of one entry.

    ``head`` is the number of the last entry that was read.  ``zone`` is the
    site's; months and days on every page are the site's own.
    """

    head: int
    zone: str
    jobs: JobColumns
    breaks: BreakColumns
    assets: AssetColumns
    people: tuple[str, ...]
    instruments: tuple[str, ...]


def speed_class_of(speed_rpm: FloatArray) -> IntArray:
    """Give the speed class of each speed: 0 up to the first bound, and so on; −1 where unknown.

    A speed on a bound belongs to the class that ends there.

    Parameters
    ----------
    speed_rpm : (n,) float array
        Running speed, the highest where it varies; NaN unknown. [rpm]

    Returns
    -------
    (n,) int array
        Index of the class. [unitless]
    """
    classes = np.searchsorted(np.asarray(SPEED_BOUNDS_RPM), speed_rpm, side="left").astype(np.int64)
    return np.where(np.isnan(speed_rpm), UNKNOWN, classes)


def speed_class_names() -> tuple[str, ...]:
    """Give the name of each speed class, in order, e.g. ``'over 1500 to 1800 rpm'``."""
    names = [f"up to {SPEED_BOUNDS_RPM[0]:.0f} rpm"]
    for low, high in pairwise(SPEED_BOUNDS_RPM):
        names.append(f"over {low:.0f} to {high:.0f} rpm")
    return (*names, f"over {SPEED_BOUNDS_RPM[-1]:.0f} rpm")
