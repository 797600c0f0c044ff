"""What the People and instruments page shows of calibrations: what holds, what ran out, and which jobs rest on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np

from dashboard.kept import keep
from dashboard.words import say
from dashboard.writing import count, counted, day
from models.history.calibration import (
    HELD,
    NOT_KNOWN,
    RAN_OUT,
    JobCalibration,
    calibration_of,
    last_of_assets,
    newest,
    next_with_another,
    resting_rows,
)
from models.history.columns import History, IntArray
from models.history.months import day_start_us, local_days
from models.values.calibration import by_serial, calibrated_on
from models.values.people import Instrument, Person

SOON_DAYS = 60
"""A calibration that runs out within so many days is counted as to be renewed."""

STATES = 3
"""A calibration held, had run out, or is not known."""

MOST = 20
"""Jobs of a list at first."""

ALL = 200
"""Longest list on demand."""


@dataclass(frozen=True, slots=True)
class InstrumentLine:
    """One instrument: the calibration that holds or ended last, and how many of its jobs were done when.

    ``days_left`` is negative once the calibration has run out, ``None`` without a date.
    """

    serial: str
    description: str
    calibrated: date | None
    due: date | None
    days_left: int | None
    jobs: int
    late: int
    not_known: int
    last: date | None


@dataclass(frozen=True, slots=True)
class JobRow:
    """One job that rests on an instrument; ``since`` is the day of the next measurement with another, ``None`` without one."""

    entry: int
    tag: str
    on: date
    serial: str
    person: str
    late_days: int
    found_ratio: float
    left_ratio: float
    since: date | None


@dataclass(frozen=True, slots=True)
class Resting:
    """What rests on one instrument from a day on; ``since`` is ``None`` for all its jobs."""

    serial: str
    since: date | None
    sentence: str
    jobs: int
    machines: int
    last_word: int
    rows: tuple[JobRow, ...]


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One person, with the jobs that name them first."""

    name: str
    qualification: str
    jobs: int
    last: date | None


@dataclass(frozen=True, slots=True)
class PeopleView:
    """Calibrations, the jobs that rest on them, and people."""

    state: Literal["ok", "empty"]
    today: date
    sentence: str
    instruments: tuple[InstrumentLine, ...]
    good: int
    soon: int
    late: int
    known: int
    not_known: int
    last_word: int
    machines: int
    late_rows: tuple[JobRow, ...]
    resting: Resting | None
    people: tuple[PersonLine, ...]


def build(
    history: History,
    versions: Sequence[Instrument],
    people: Sequence[Person],
    today: date,
    *,
    chosen: str = "",
    since: date | None = None,
    most: int = MOST,
) -> PeopleView:
    """Compute the page.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    versions : sequence of Instrument
        Every version of every instrument, in order of entry. [unitless]
    people : sequence of Person
        The people as they are known today. [unitless]
    today : date
        The site's day. [d]
    chosen : str
        Serial of the instrument in question; blank for none. [unitless]
    since : date, optional
        From when it is in question; its last calibration where not given. [d]
    most : int
        Longest list of jobs. [unitless]
    """
    days, held = job_days(history), held_for(history, versions)
    calibration = held.calibration
    known_now = {serial: calibrated_on(own, today) for serial, own in by_serial(versions).items()}
    lines = tuple(
        _instrument(known_now[serial], history, held, today)
        for serial in sorted(known_now, key=lambda text: text.casefold())
    )
    late, known = int(held.by_state[:, RAN_OUT].sum()), int(held.by_state[:, (HELD, RAN_OUT)].sum())
    return PeopleView(
        state="ok" if lines or people else "empty",
        today=today,
        sentence=_sentence(lines, today, late, known),
        instruments=lines,
        good=sum(line.days_left is not None and line.days_left >= 0 for line in lines),
        soon=sum(line.days_left is not None and 0 <= line.days_left <= SOON_DAYS for line in lines),
        late=late,
        known=known,
        not_known=int(held.by_state[:, NOT_KNOWN].sum()),
        last_word=held.last_word,
        machines=held.machines,
        late_rows=job_rows(history, newest(history.jobs, held.late, most), calibration, days),
        resting=_resting(history, calibration, days, known_now.get(chosen), since, most) if chosen else None,
        people=_people(history, people, held),
    )


@dataclass(frozen=True, slots=True)
class Held:
    """What the page counts over all jobs, whatever is asked: one pass over them for all questions.

    ``by_state`` is (instruments + 1, 3): jobs by instrument, the last row those without one, and state of its
    calibration.  ``late`` are the rows of the jobs after a calibration had run out, in the order of the jobs.
    ``last_instrument`` and ``last_person`` are the day of the last job of each, or the smallest number [d since 1970].
    """

    calibration: JobCalibration
    by_state: IntArray
    late: IntArray
    last_instrument: IntArray
    by_person: IntArray
    last_person: IntArray
    last_word: int
    machines: int


def held_for(history: History, versions: Sequence[Instrument]) -> Held:
    """Give what is counted over all jobs of a history; kept with it.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    versions : sequence of Instrument
        Every version of every instrument, in order of entry. [unitless]
    """
    return keep(history, ("held", tuple(versions)), lambda: _held(history, versions))


def _held(history: History, versions: Sequence[Instrument]) -> Held:
    jobs, days, instruments = history.jobs, job_days(history), len(history.instruments)
    calibration = calibration_of(days, jobs.instrument, history.instruments, versions)
    own = np.where(jobs.instrument >= 0, jobs.instrument, instruments)
    by_state = np.bincount(own * STATES + calibration.state, minlength=(instruments + 1) * STATES)
    by_person, last_person = _tally(jobs.person, days, len(history.people))
    last = last_of_assets(jobs)
    return Held(
        calibration=calibration,
        by_state=by_state.reshape(-1, STATES).astype(np.int64),
        late=np.flatnonzero(calibration.state == RAN_OUT),
        last_instrument=_tally(jobs.instrument, days, instruments)[1],
        by_person=by_person,
        last_person=last_person,
        last_word=int((calibration.state[last] == RAN_OUT).sum()),
        machines=len(last),
    )


def _tally(who: IntArray, days: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Count the jobs of each person or instrument, and find the day of the last one."""
    known = who >= 0
    last = np.full(count, np.iinfo(np.int64).min)
    np.maximum.at(last, who[known], days[known])
    return np.bincount(who[known], minlength=count).astype(np.int64), last


def _instrument(now: Instrument, history: History, held: Held, today: date) -> InstrumentLine:
    known = now.serial in history.instruments
    index = history.instruments.index(now.serial) if known else -1
    states = held.by_state[index] if known else np.zeros(STATES, dtype=np.int64)
    return InstrumentLine(
        serial=now.serial,
        description=now.description,
        calibrated=now.calibrated,
        due=now.due,
        days_left=None if now.due is None else (now.due - today).days,
        jobs=int(states.sum()),
        late=int(states[RAN_OUT]),
        not_known=int(states[NOT_KNOWN]),
        last=_date(int(held.last_instrument[index])) if states.any() else None,
    )


def _sentence(lines: Sequence[InstrumentLine], today: date, late: int, known: int) -> str:
    good = sum(line.days_left is not None and line.days_left >= 0 for line in lines)
    out = [line.serial for line in lines if line.days_left is not None and line.days_left < 0]
    unknown = [line.serial for line in lines if line.days_left is None]
    parts = [
        say("people.sentence.good", day=day(today), good=count(good), n=counted(len(lines), "instrument")),
        say("people.sentence.ran_out", serials=_listed(out)) if out else say("people.sentence.none_out"),
    ]
    if unknown:
        parts.append(say("people.sentence.unknown", serials=_listed(unknown)))
    if late:
        parts.append(say("people.sentence.rest", jobs=counted(late, "job"), n=counted(known, "job")))
    elif known:
        parts.append(say("people.sentence.rest_none", n=counted(known, "job")))
    else:
        parts.append(say("people.sentence.rest_unknown"))
    return " ".join(parts)


def _listed(names: Sequence[str], most: int = 6) -> str:
    return ", ".join(names[:most]) + (" …" if len(names) > most else "")


def _resting(
    history: History,
    calibration: JobCalibration,
    days: IntArray,
    instrument: Instrument | None,
    since: date | None,
    most: int,
) -> Resting | None:
    if instrument is None:
        return None
    jobs, serial = history.jobs, instrument.serial
    start = since or instrument.calibrated
    index = history.instruments.index(serial) if serial in history.instruments else -2
    from_us = np.iinfo(np.int64).min if start is None else day_start_us(start, history.zone)
    rows = resting_rows(jobs, index, from_us)
    last = next_with_another_for(history)[rows] < 0
    lasting_rows = newest(jobs, rows[last], most)
    order = np.concatenate([lasting_rows, newest(jobs, rows[~last], most - len(lasting_rows))])
    machines, lasting = _machines(jobs.asset[rows]), _machines(jobs.asset[rows[last]])
    judged = ~np.isnan(jobs.left_ratio[rows])
    window = {} if start is None else {"day": day(start)}
    if not len(rows):
        text = (
            say("people.rest.none", serial=serial, **window) if window else say("people.rest.none_all", serial=serial)
        )
    else:
        n, m = counted(len(rows), "job"), counted(machines, "machine")
        first = (
            say("people.rest.sentence", jobs=n, machines=m, serial=serial, **window)
            if window
            else say("people.rest.sentence.all", jobs=n, machines=m, serial=serial)
        )
        within = int((jobs.left_ratio[rows] <= 1.0).sum())
        left = say("people.rest.left", within=count(within), n=count(int(judged.sum())))
        words = (
            say("people.rest.last", machines=counted(lasting, "machine")) if lasting else say("people.rest.last_none")
        )
        text = f"{first} {left} {words}"
    return Resting(serial, start, text, len(rows), machines, lasting, job_rows(history, order, calibration, days))


def _machines(asset: IntArray) -> int:
    """Count the machines of some jobs that stand in their order: by machine."""
    return int(np.count_nonzero(np.diff(asset, prepend=-1)))


def job_days(history: History) -> IntArray:
    """Give the day of each job on the site's calendar [d since 1970]; kept with the history."""
    return keep(history, "job days", lambda: local_days(history.jobs.performed_us, history.zone))


def next_with_another_for(history: History) -> IntArray:
    """Give for each job the next one on the same asset with another instrument; kept with the history."""
    return keep(history, "next with another", lambda: next_with_another(history.jobs))


def job_rows(history: History, rows: IntArray, calibration: JobCalibration, days: IntArray) -> tuple[JobRow, ...]:
    """Give some jobs as rows of a list.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    rows : (k,) int array
        Which jobs. [unitless]
    calibration : JobCalibration
        Calibration of each job. [unitless]
    days : (n,) int array
        Day of each job. [d since 1970]
    """
    jobs, following = history.jobs, next_with_another_for(history)
    found = []
    for row in rows.tolist():
        person, instrument, later = int(jobs.person[row]), int(jobs.instrument[row]), int(following[row])
        found.append(
            JobRow(
                entry=int(jobs.entry[row]),
                tag=str(history.assets.tag[jobs.asset[row]]),
                on=_date(int(days[row])),
                serial=history.instruments[instrument] if instrument >= 0 else "",
                person=history.people[person] if person >= 0 else "",
                late_days=int(calibration.late_days[row]),
                found_ratio=float(jobs.found_ratio[row]),
                left_ratio=float(jobs.left_ratio[row]),
                since=None if later < 0 else _date(int(days[later])),
            )
        )
    return tuple(found)


def _people(history: History, people: Sequence[Person], held: Held) -> tuple[PersonLine, ...]:
    place = {name: index for index, name in enumerate(history.people)}
    lines = []
    for person in sorted(people, key=lambda one: one.name.casefold()):
        index = place.get(person.name)
        n = 0 if index is None else int(held.by_person[index])
        seen = _date(int(held.last_person[index])) if index is not None and n else None
        lines.append(PersonLine(person.name, person.qualification, n, seen))
    return tuple(lines)


def _date(days: int) -> date:
    return date(1970, 1, 1) + timedelta(days=days)
