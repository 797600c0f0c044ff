"""What if: every verdict of the past under another limit set."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import SPEED_BOUNDS_RPM, UNKNOWN, BoolArray, FloatArray, IntArray, JobColumns
from models.history.intervals import Shares, shares
from models.maths.judged import limits_for
from models.maths.limits import limit_ratio
from models.values.kinds import Coupling
from models.values.limits import LimitSet

AT_ONCE = 32_768
"""So many jobs are judged again at once when only counts are wanted."""


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


@dataclass(frozen=True, slots=True)
class Turned:
    """How many verdicts turn, by class of speed: (classes, 2, 2), whether over before and whether over then.

    The first row are machines whose speed is not known.  Only what is judged before and then is counted; ``lost`` and
    ``gained`` are verdicts that are there only before, and only then.
    """

    found: IntArray
    left: IntArray
    lost: int
    gained: int


def turned(jobs: JobColumns, limit_set: LimitSet, rows: IntArray | None = None) -> Turned:
    """Count the verdicts that turn under another limit set.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    limit_set : LimitSet
        The other set. [unitless]
    rows : (k,) int array, optional
        Which jobs; all of them where not given. [unitless]

    Notes
    -----
    Some jobs at a time: nothing is as long as the history, and what is looked at again is still at hand.
    """
    classes = len(SPEED_BOUNDS_RPM) + 2
    cells, lost, gained = np.zeros((2, classes * 4), dtype=np.int64), 0, 0
    for begin in range(0, len(jobs) if rows is None else len(rows), AT_ONCE):
        end = begin + AT_ONCE
        part = slice(begin, end) if rows is None else rows[begin:end]
        limits, each_axis = limits_of_jobs(jobs, limit_set, part)
        target, span, own = jobs.target[part], jobs.span_mm[part], (jobs.speed_class[part] - UNKNOWN) * 4
        for which, measured, judged in ((0, jobs.found, jobs.found_ratio), (1, jobs.left, jobs.left_ratio)):
            before, then = judged[part], limit_ratio(measured[part] - target, limits, each_axis, span)
            had, has = ~np.isnan(before), ~np.isnan(then)
            cell = own + 2 * (before > 1.0) + (then > 1.0)
            cells[which] += np.bincount(cell[had & has], minlength=classes * 4)
            lost += int(np.count_nonzero(had & ~has))
            gained += int(np.count_nonzero(has & ~had))
    found, left = cells.reshape(2, classes, 2, 2)
    return Turned(found, left, lost, gained)


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
    speeds, member = np.unique(speed[begins], return_inverse=True)
    member = 2 * member + spacers[begins]
    table, each = np.full((2 * len(speeds), 4), np.nan), np.zeros(2 * len(speeds), dtype=np.bool_)
    for index in np.flatnonzero(np.bincount(member, minlength=len(each))).tolist():
        rpm = float(speeds[index // 2])
        given = limits_for(limit_set, Coupling.SPACER if index % 2 else Coupling.SHORT, None if rpm == UNKNOWN else rpm)
        row = (given.offset_mm, given.angle_mm_m, given.flex_mm_m, given.soft_foot_mm)
        table[index] = [np.nan if value is None else value for value in row]
        each[index] = given.each_axis
    row = member[stretch]
    return table[row], each[row]


def _turns(before: FloatArray, after: FloatArray) -> IntArray:
    both = ~np.isnan(before) & ~np.isnan(after)
    return np.where(both, (after > 1.0).astype(np.int64) - (before > 1.0).astype(np.int64), 0)


def _share(ratio: FloatArray) -> Shares:
    return shares(np.array([np.count_nonzero(ratio > 1.0)]), np.array([np.count_nonzero(~np.isnan(ratio))]))
