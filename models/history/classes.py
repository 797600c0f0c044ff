"""Classes: which assets are pooled, and which borrow the fleet's figures because they are too few."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, IntArray
from models.history.late import Late

SMALLEST_CLASS = 30
"""Assets that a class needs for figures of its own (statistics of the project, section 3)."""


@dataclass(frozen=True, slots=True)
class Grouping(Late):
    """Which fit each series uses.

    ``fit`` is an index per series; the last fit is that of the whole fleet.
    ``members`` tells how many series with material stand behind each fit, and
    ``label`` the class of each fit, −1 for the fleet.
    """

    fit: IntArray
    label: IntArray
    members: IntArray

    @property
    def fleet(self) -> int:
        """Give the index of the fleet's own fit."""
        return len(self.label) - 1

    def rows_of(self, index: int, series: IntArray) -> BoolArray:
        """Tell which runs stand behind a fit: those of its class, or all for the fleet's.

        Parameters
        ----------
        index : int
            A fit. [unitless]
        series : (n,) int array
            Series of each run. [unitless]
        """
        if index == self.fleet:
            return np.ones(len(series), dtype=np.bool_)
        return np.asarray(self.fit[series] == index, dtype=np.bool_)


def group_series(series_class: IntArray, series_with_runs: IntArray, smallest: int = SMALLEST_CLASS) -> Grouping:
    """Decide for each series whether its class is large enough.

    Parameters
    ----------
    series_class : (series,) int array
        Class of each series, e.g. its speed class; −1 unknown. [unitless]
    series_with_runs : (k,) int array
        Series that have a known run, each once. [unitless]
    smallest : int
        Members that a class needs. [unitless]

    Returns
    -------
    Grouping
        A fit for each class that is large enough, in order of class, and one for the fleet.
    """
    given = series_class[series_with_runs]
    labels, sizes = np.unique(given[given >= 0], return_counts=True)
    large = labels[sizes >= smallest]
    return Grouping(
        fit=fit_of(series_class, large),
        label=np.append(large, -1).astype(np.int64),
        members=np.append(sizes[sizes >= smallest], len(series_with_runs)).astype(np.int64),
    )


def fit_of(classes: IntArray, large: IntArray) -> IntArray:
    """Give the fit of each class: its own where it is large enough, else the fleet's, which is the last.

    Parameters
    ----------
    classes : (n,) int array
        Class of each series or asset; −1 unknown. [unitless]
    large : (k,) int array
        The classes that are large enough, rising. [unitless]
    """
    if not len(large):
        return np.zeros(len(classes), dtype=np.int64)
    fit = np.searchsorted(large, classes)
    inside = fit < len(large)
    own = inside & (large[np.where(inside, fit, 0)] == classes)
    return np.where(own, fit, len(large)).astype(np.int64)
