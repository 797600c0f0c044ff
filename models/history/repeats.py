"""Repeat readings that a book holds anyway: an as-left that the next visit read again within days."""

from __future__ import annotations

import numpy as np

from models.history.columns import FloatArray, IntArray, JobColumns
from models.history.runs import Runs

WITHIN_DAYS = 3.0
"""So soon after the work nothing has moved yet: what differs is the reading (a choice of this project)."""


def repeat_readings(jobs: JobColumns, runs: Runs, within_days: float = WITHIN_DAYS) -> tuple[FloatArray, IntArray]:
    """Collect as-lefts that were read twice.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    runs : Runs
        Their runs. [unitless]
    within_days : float
        Longest time between the two readings. [d]

    Returns
    -------
    tuple of (2k, 4) float array and (2k,) int array
        The readings, deviation from the target so that a target that was corrected in between does not count as a
        difference of readings, and the pair that each belongs to; as :func:`repeatability_of` takes them. [mm, mm/m]
    """
    rows = np.flatnonzero(runs.known & ~runs.broken & (runs.days <= within_days))
    start, end = runs.start_row[rows], runs.end_row[rows]
    first = jobs.left[start] - jobs.target[start]
    second = jobs.found[end] - jobs.target[end]
    pair = np.arange(len(rows), dtype=np.int64)
    return np.concatenate([first, second]), np.concatenate([pair, pair])
