"""Calibration: which jobs were measured while the instrument's calibration held, and which after it had run out.

When one held is told by ``models.values.calibration``; here it is asked of all jobs at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.history.columns import IntArray, JobColumns
from models.values.calibration import by_serial, calibrated_on, periods
from models.values.people import Instrument
from models.values.site_day import date_of

HELD, RAN_OUT, NOT_KNOWN = 0, 1, 2
"""A job's calibration: it held; it had run out; the book knows none for that day."""

_NONE = np.iinfo(np.int64).min


@dataclass(frozen=True, slots=True)
class JobCalibration:
    """One row a job: ``state`` as above, and ``late_days`` since the calibration ran out, 0 where it did not. [d]."""

    state: IntArray
    late_days: IntArray


def calibration_of(
    days: IntArray, instrument: IntArray, serials: Sequence[str], versions: Sequence[Instrument]
) -> JobCalibration:
    """Tell for each job whether the calibration of its instrument held on that day.

    Parameters
    ----------
    days : (n,) int array
        Day of each job on the site's calendar. [d since 1970]
    instrument : (n,) int array
        Instrument of each job, −1 unknown. [unitless]
    serials : sequence of str
        Serial of each instrument. [unitless]
    versions : sequence of Instrument
        Every version of every instrument, in order of entry. [unitless]

    Returns
    -------
    JobCalibration
        One row a job.
    """
    state = np.full(len(days), NOT_KNOWN, dtype=np.int64)
    late = np.zeros(len(days), dtype=np.int64)
    known = by_serial(versions)
    for index, serial in enumerate(serials):
        rows = np.flatnonzero(instrument == index)
        if serial not in known or not len(rows):
            continue
        mine = days[rows]
        due = _due_on(known[serial], mine)
        state[rows] = np.where(due >= mine, HELD, np.where(due > _NONE, RAN_OUT, NOT_KNOWN))
        late[rows] = np.where((due > _NONE) & (due < mine), mine - np.where(due > _NONE, due, 0), 0)
    return JobCalibration(state, late)


def known_then(
    founded: IntArray,
    days: IntArray,
    instrument: IntArray,
    serials: Sequence[str],
    versions: Sequence[Instrument],
    entries: Sequence[int],
) -> JobCalibration:
    """Tell the same by what the book knew when each job was first recorded: of calibrations that were entered later, nothing.

    Parameters
    ----------
    founded : (n,) int array
        Entry that recorded each job first. [unitless]
    days : (n,) int array
        Day of each job on the site's calendar. [d since 1970]
    instrument : (n,) int array
        Instrument of each job, −1 unknown. [unitless]
    serials : sequence of str
        Serial of each instrument. [unitless]
    versions : sequence of Instrument
        Every version of every instrument, in order of entry. [unitless]
    entries : sequence of int
        Entry of each version, rising. [unitless]
    """
    state = np.full(len(days), NOT_KNOWN, dtype=np.int64)
    late = np.zeros(len(days), dtype=np.int64)
    for index, serial in enumerate(serials):
        mine = [place for place, version in enumerate(versions) if version.serial == serial]
        rows = np.flatnonzero(instrument == index)
        known = np.searchsorted(np.array([entries[place] for place in mine], dtype=np.int64), founded[rows])
        for many in np.unique(known).tolist():
            some = rows[known == many]
            said = [versions[place] for place in mine[:many]]
            told = calibration_of(days[some], np.zeros(len(some), dtype=np.int64), [serial], said)
            state[some], late[some] = told.state, told.late_days
    return JobCalibration(state, late)


def _due_on(versions: Sequence[Instrument], days: IntArray) -> IntArray:
    """Give the last day of the calibration that counts on each of some days, the smallest number where there is none."""
    every = periods(versions)
    # Which one counts changes where one begins, and after the day on which one ends: between, one day speaks for all.
    changes = {_day(start) for start, _ in every if start is not None} | {
        _day(due) + 1 for _, due in every if due is not None
    }
    begins = np.array(sorted(changes), dtype=np.int64)
    dues = [calibrated_on(versions, date_of(day)).due for day in (begins[:1] - 1).tolist() + begins.tolist()]
    told = np.array([_NONE if due is None else _day(due) for due in dues or [None]], dtype=np.int64)
    return told[np.searchsorted(begins, days, side="right")]


def resting_rows(jobs: JobColumns, instrument: int, since_us: int) -> IntArray:
    """Give the jobs that were measured with an instrument from a moment on, in the order of the jobs.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    instrument : int
        Index of the instrument. [unitless]
    since_us : int
        From this moment on. [µs since 1970, UTC]
    """
    rows = np.flatnonzero(jobs.instrument == instrument)
    return rows[jobs.performed_us[rows] >= since_us]


def newest(jobs: JobColumns, rows: IntArray, most: int) -> IntArray:
    """Give the newest of some jobs, the last one first; of one time that with the later entry.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    rows : (k,) int array
        Rows of some of them. [unitless]
    most : int
        So many at most. [unitless]

    Returns
    -------
    (min(k, most),) int array
        Rows of the jobs. [unitless]
    """
    if most < len(rows):
        # Only what may be among them is sorted: a page shows a few of a million.
        at = jobs.performed_us[rows]
        rows = rows[at >= np.partition(at, len(at) - most)[len(at) - most]] if most > 0 else rows[:0]
    return rows[np.lexsort((-jobs.entry[rows], -jobs.performed_us[rows]))][:most]


def last_of_assets(jobs: JobColumns) -> IntArray:
    """Give the last job of each asset that has one; jobs stand in order of asset, then time.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]

    Returns
    -------
    (k,) int array
        Rows of the jobs, in order of asset. [unitless]
    """
    if not len(jobs):
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero(np.append(jobs.asset[1:] != jobs.asset[:-1], True))


def next_with_another(jobs: JobColumns) -> IntArray:
    """Give for each job the next one on the same asset that was measured with another instrument.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand, in order of asset, then time. [unitless]

    Returns
    -------
    (n,) int array
        Row of that job; −1 where there is none, or where the job's own instrument is not known. [unitless]

    Notes
    -----
    A job whose instrument is not known says nothing about another one and is passed over.
    """
    result = np.full(len(jobs), -1, dtype=np.int64)
    known = np.flatnonzero(jobs.instrument >= 0)
    if not len(known):
        return result
    asset, instrument = jobs.asset[known], jobs.instrument[known]
    begins = np.append(True, (asset[1:] != asset[:-1]) | (instrument[1:] != instrument[:-1]))
    stretch = np.cumsum(begins) - 1
    first = np.flatnonzero(begins)
    following = np.append(first[1:], -1)[stretch]
    same = (following >= 0) & (asset[np.maximum(following, 0)] == asset)
    result[known] = np.where(same, known[np.maximum(following, 0)], -1)
    return result


def _day(value: object) -> int:
    return int(np.datetime64(value, "D").astype(np.int64))  # type: ignore[call-overload]
