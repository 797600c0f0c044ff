"""Calibration: which jobs were measured while the instrument's calibration held, and which after it had run out.

The book knows an instrument by its versions; each calibration is one.  A
version holds from the day of calibration to the day it is due, both included.
Where a later version gives the same day of calibration, it corrects the
earlier one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.history.columns import IntArray, JobColumns
from models.values.people import Instrument

HELD, RAN_OUT, NOT_KNOWN = 0, 1, 2
"""A job's calibration: it held; it had run out; the book knows none for that day."""

_FIRST = np.iinfo(np.int64).min


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

    Notes
    -----
    A version without a due day says nothing.  One without a day of calibration holds from ever up to its due day.
    """
    state = np.full(len(days), NOT_KNOWN, dtype=np.int64)
    late = np.zeros(len(days), dtype=np.int64)
    for index, serial in enumerate(serials):
        periods = periods_of(serial, versions)
        rows = np.flatnonzero(instrument == index)
        if not len(periods) or not len(rows):
            continue
        mine = days[rows]
        covered = ((periods[:, 0] <= mine[:, None]) & (mine[:, None] <= periods[:, 1])).any(axis=1)
        ended = np.where(periods[:, 1] < mine[:, None], periods[:, 1], _FIRST).max(axis=1)
        state[rows] = np.where(covered, HELD, np.where(ended > _FIRST, RAN_OUT, NOT_KNOWN))
        late[rows] = np.where(~covered & (ended > _FIRST), mine - np.where(ended > _FIRST, ended, 0), 0)
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


def periods_of(serial: str, versions: Sequence[Instrument]) -> IntArray:
    """Give the days from and to which the calibrations of one instrument held.

    Parameters
    ----------
    serial : str
        Serial of the instrument. [unitless]
    versions : sequence of Instrument
        Versions in order of entry, of any instrument. [unitless]

    Returns
    -------
    (k, 2) int array
        First and last day of each, in order of their first. [d since 1970]
    """
    held: dict[int, int] = {}
    for version in versions:
        if version.serial == serial and version.due is not None:
            start = _FIRST if version.calibrated is None else _day(version.calibrated)
            held[start] = _day(version.due)
    return np.array(sorted(held.items()), dtype=np.int64).reshape(-1, 2)


def resting_on(jobs: JobColumns, instrument: int, since_us: int) -> IntArray:
    """Give the jobs that were measured with an instrument from a moment on, the newest first.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    instrument : int
        Index of the instrument. [unitless]
    since_us : int
        From this moment on. [µs since 1970, UTC]

    Returns
    -------
    (k,) int array
        Rows of the jobs. [unitless]
    """
    rows = resting_rows(jobs, instrument, since_us)
    return newest(jobs, rows, len(rows))


def resting_rows(jobs: JobColumns, instrument: int, since_us: int) -> IntArray:
    """Give the same in the order of the jobs.

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
