"""Instruments that read off: which runs hold their difference, and what would be left with it taken out.

A run that such an instrument began or ended, but not both, holds its difference as if
the machine had moved.  What is taken out is the instrument's mean difference over all
its runs (``effects``): a single reading may be off by more or less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray, IntArray, JobColumns
from models.history.effects import Effects
from models.history.late import some_of
from models.history.runs import Runs
from models.maths.limits import limit_ratio


@dataclass(frozen=True, slots=True)
class Apart:
    """Runs of a machine that an instrument began or ended, but not both.

    ``run`` are their rows, ``of`` counts the runs that were looked through.  ``returns``
    of these runs came back over limit, of ``all_returns``; ``stand`` of them would do so
    with the instrument's difference taken out.
    """

    run: IntArray
    of: int
    returns: int
    all_returns: int
    stand: int


def shown_off(effects: Effects, rate: float) -> FloatArray:
    """Give what each instrument is shown to read too much, 0 where chance explains it.

    Parameters
    ----------
    effects : Effects
        One row an instrument. [mm, mm/m, mm, mm/m]
    rate : float
        Accepted share of false statements. [unitless]

    Returns
    -------
    (k, 4) float array
        Its difference against the median of all that can be compared, as measured. [mm, mm/m, mm, mm/m]
    """
    return np.where(effects.q <= rate, np.nan_to_num(effects.raw), 0.0)


def ratio_without(jobs: JobColumns, rows: IntArray, stage: str, off: FloatArray) -> FloatArray:
    """Give the limit ratio of some jobs with what their instrument reads too much taken out.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    rows : (n,) int array
        Which of them. [unitless]
    stage : str
        ``'found'`` or ``'left'``. [unitless]
    off : (k, 4) float array
        What each instrument reads too much. [mm, mm/m, mm, mm/m]

    Returns
    -------
    (n,) float array
        By the limits that are stored with the job; where nothing is taken out, the stored ratio. [unitless]
    """
    instrument = some_of(jobs, "instrument", rows)
    taken = (
        np.where((instrument >= 0)[:, None], off[np.maximum(instrument, 0)], 0.0)
        if len(off)
        else np.zeros((len(rows), 4))
    )
    values, target, limits = (some_of(jobs, name, rows) for name in (stage, "target", "limits"))
    again = limit_ratio(
        values - taken - target, limits, some_of(jobs, "each_axis", rows), some_of(jobs, "span_mm", rows)
    )
    stored = some_of(jobs, f"{stage}_ratio", rows)
    return np.asarray(np.where(taken.any(axis=1) & ~np.isnan(stored), again, stored), dtype=np.float64)


def apart_of(jobs: JobColumns, runs: Runs, rows: IntArray, instrument: int, off: FloatArray) -> Apart:
    """Look through some runs for those that an instrument began or ended, but not both.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    runs : Runs
        Their runs. [unitless]
    rows : (n,) int array
        Runs of one machine. [unitless]
    instrument : int
        Index of the instrument. [unitless]
    off : (k, 4) float array
        What each instrument reads too much. [mm, mm/m, mm, mm/m]
    """
    start, end = (some_of(runs, name, rows) for name in ("start_row", "end_row"))
    own = [some_of(jobs, "instrument", at) == instrument for at in (start, end)]
    one_end, back = own[0] != own[1], some_of(runs, "returned", rows)
    both = one_end & back
    left, found = ratio_without(jobs, start[both], "left", off), ratio_without(jobs, end[both], "found", off)
    stand = (left <= 1.0) & (found > 1.0)
    return Apart(rows[one_end], len(rows), int(both.sum()), int(back.sum()), int(stand.sum()))
