"""What if: every verdict of the past under another limit set."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import UNKNOWN, BoolArray, FloatArray, IntArray, JobColumns
from models.history.intervals import Shares, shares
from models.maths.limits import limit_ratio, limits_for
from models.values.kinds import Coupling
from models.values.limits import LimitSet


@dataclass(frozen=True, slots=True)
class Rejudged:
    """One row a job: limits and limit ratios under another set.

    ``limits`` is as in the job columns.  ``found_turns`` and ``left_turns`` are +1
    where a job becomes over, −1 where it becomes within, 0 where the verdict
    stays or there is none.  ``found`` and ``left`` are the shares over limit then,
    ``found_before`` and ``left_before`` as judged in the book.
    """

    limits: FloatArray
    each_axis: BoolArray
    found_ratio: FloatArray
    left_ratio: FloatArray
    found_turns: IntArray
    left_turns: IntArray
    found: Shares
    left: Shares
    found_before: Shares
    left_before: Shares


def judge_again(jobs: JobColumns, limit_set: LimitSet, rows: IntArray | slice = slice(None)) -> Rejudged:
    """Judge jobs under another limit set.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    limit_set : LimitSet
        The other set. [unitless]
    rows : (k,) int array or slice
        Which jobs; all of them where not given. [unitless]

    Returns
    -------
    Rejudged
        One row a job that was judged again, and the shares over all of them.

    Notes
    -----
    Limits are looked up once for each pair of coupling and speed that occurs, not for each job.
    """
    limits, each_axis = limits_of_jobs(jobs, limit_set, rows)
    target, span = jobs.target[rows], jobs.span_mm[rows]
    found_before, left_before = jobs.found_ratio[rows], jobs.left_ratio[rows]
    found = limit_ratio(jobs.found[rows] - target, limits, each_axis, span)
    left = limit_ratio(jobs.left[rows] - target, limits, each_axis, span)
    return Rejudged(
        limits=limits,
        each_axis=each_axis,
        found_ratio=found,
        left_ratio=left,
        found_turns=_turns(found_before, found),
        left_turns=_turns(left_before, left),
        found=_share(found),
        left=_share(left),
        found_before=_share(found_before),
        left_before=_share(left_before),
    )


def limits_of_jobs(
    jobs: JobColumns, limit_set: LimitSet, rows: IntArray | slice = slice(None)
) -> tuple[FloatArray, BoolArray]:
    """Give the limits that a set holds for the machine of each job.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    limit_set : LimitSet
        The set. [unitless]
    rows : (k,) int array or slice
        Which jobs; all of them where not given. [unitless]

    Returns
    -------
    limits, each_axis : (n, 4) float array and (n,) bool array
        As in the job columns. [mm, mm/m, mm/m, mm]
    """
    speed, spacers = np.nan_to_num(jobs.speed_rpm[rows], nan=UNKNOWN), jobs.spacer[rows]
    # Neighbouring jobs are of one machine as a rule: only where coupling or speed changes is anything looked up.
    begins = np.ones(len(speed), dtype=np.bool_)
    begins[1:] = (spacers[1:] != spacers[:-1]) | (speed[1:] != speed[:-1])
    stretch = np.cumsum(begins) - 1
    pairs = np.stack([spacers[begins].astype(np.float64), speed[begins]])
    kinds, member = np.unique(pairs, axis=1, return_inverse=True)
    table, each = np.full((kinds.shape[1], 4), np.nan), np.zeros(kinds.shape[1], dtype=np.bool_)
    for index, (spacer, rpm) in enumerate(kinds.T.tolist()):
        given = limits_for(limit_set, Coupling.SPACER if spacer else Coupling.SHORT, None if rpm == UNKNOWN else rpm)
        row = (given.offset_mm, given.angle_mm_m, given.flex_mm_m, given.soft_foot_mm)
        table[index] = [np.nan if value is None else value for value in row]
        each[index] = given.each_axis
    row = member.ravel()[stretch]
    return table[row], each[row]


def _turns(before: FloatArray, after: FloatArray) -> IntArray:
    both = ~np.isnan(before) & ~np.isnan(after)
    return np.where(both, (after > 1.0).astype(np.int64) - (before > 1.0).astype(np.int64), 0)


def _share(ratio: FloatArray) -> Shares:
    return shares(np.array([np.count_nonzero(ratio > 1.0)]), np.array([np.count_nonzero(~np.isnan(ratio))]))
