"""What the book knew of calibrations when each job was recorded: one that was entered afterwards makes a late job good, and that shows here."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dashboard.kept import keep
from dashboard.views.people_view import JobRow, held_for, job_days, job_rows
from models.history.calibration import NOT_KNOWN, RAN_OUT, JobCalibration, known_then, newest
from models.history.columns import History
from models.values.entry import Stated
from models.values.people import Instrument


def then_for(history: History, stated: Sequence[Stated[Instrument]]) -> JobCalibration:
    """Give the calibration of each job by what the book knew when it was first recorded; kept with the history.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    stated : sequence of Stated of Instrument
        Every version of every instrument, in order of entry. [unitless]
    """

    def made() -> JobCalibration:
        jobs, versions, entries = history.jobs, [one.said for one in stated], [one.entry for one in stated]
        return known_then(jobs.job, job_days(history), jobs.instrument, history.instruments, versions, entries)

    return keep(history, ("calibrations then", tuple(stated)), made)


def told_otherwise(history: History, stated: Sequence[Stated[Instrument]]) -> dict[str, int]:
    """Count, by serial, the jobs of whose day the book said otherwise when they were first recorded.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    stated : sequence of Stated of Instrument
        Every version of every instrument, in order of entry. [unitless]
    """
    now, then = held_for(history, [one.said for one in stated]).calibration, then_for(history, stated)
    other = (now.state != then.state) | (now.late_days != then.late_days)
    numbers = np.bincount(history.jobs.instrument[other], minlength=len(history.instruments))
    return {serial: int(number) for serial, number in zip(history.instruments, numbers.tolist(), strict=True)}


def late_now_or_then(
    history: History, stated: Sequence[Stated[Instrument]], most: int
) -> tuple[tuple[JobRow, int | None], ...]:
    """Give the jobs after a calibration had run out, by what the book says or by what it said when they were recorded, the newest first.

    Each has the days by what it said then, ``None`` where it knew none.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    stated : sequence of Stated of Instrument
        Every version of every instrument, in order of entry. [unitless]
    most : int
        So many at most. [unitless]
    """
    now, then = held_for(history, [one.said for one in stated]).calibration, then_for(history, stated)
    late = np.flatnonzero((now.state == RAN_OUT) | (then.state == RAN_OUT))
    rows = newest(history.jobs, late, most)
    days = [int(then.late_days[row]) if then.state[row] != NOT_KNOWN else None for row in rows.tolist()]
    return tuple(zip(job_rows(history, rows, now, job_days(history)), days, strict=True))
