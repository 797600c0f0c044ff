"""When the calibration of an instrument held: one rule, for new jobs, for those in the book, and for the list of instruments.

The book knows an instrument by its versions; each calibration is one.  A
version holds from the day of calibration to the day it is due, both included.
Where a later version gives the same day of calibration, it corrects the
earlier one; otherwise the order in which versions came in says nothing.  One
without a day of calibration held from ever up to its due day.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

from models.values.people import Instrument

Period = tuple[date | None, date | None]
"""First and last day on which a calibration holds: no first day where it held from ever, no last day where nobody knows."""


def periods(versions: Iterable[Instrument]) -> tuple[Period, ...]:
    """Give when the calibrations of one instrument hold, in the order of their first days.

    Parameters
    ----------
    versions : iterable of Instrument
        Every version of it, in order of entry. [unitless]
    """
    held: dict[date | None, date | None] = {}
    for version in versions:
        if version.due is not None:
            held[version.calibrated] = version.due
        elif version.calibrated is not None:
            held.setdefault(version.calibrated, None)
    return tuple(sorted(held.items(), key=lambda period: period[0] or date.min))


def calibrated_on(versions: Sequence[Instrument], day: date) -> Instrument:
    """Give an instrument with the calibration that counts on a day.

    Parameters
    ----------
    versions : sequence of Instrument
        Every version of it, at least one, in order of entry. [unitless]
    day : date
        The day. [d]

    Returns
    -------
    Instrument
        As it was described last, with the calibration that holds on the day (of several the one that ends last).  Where
        none does, with the one that ended last before it, unless it was calibrated since and nobody knows until when:
        then with that one, which has no due day.  Where none had begun, without one.
    """
    begun = [(start, due) for start, due in periods(versions) if (start or date.min) <= day]
    dated = [(due, start or date.min, start) for start, due in begun if due is not None]
    due, since, start = max(dated, key=lambda one: one[:2], default=(None, date.min, None))
    if due is None or due < day:
        # A later calibration whose last day nobody knows may hold: to say that the one before it ran out could be wrong.
        unknown = [one for one, end in begun if one is not None and end is None]
        if unknown and unknown[-1] > since:
            start, due = unknown[-1], None
    return replace(versions[-1], calibrated=start, due=due)


def says_nothing_new(versions: Sequence[Instrument], said: Instrument) -> bool:
    """Tell whether what is said of an instrument is known, by the newest version or, of a calibration, by an older one.

    Parameters
    ----------
    versions : sequence of Instrument
        Every version of it, at least one, in order of entry. [unitless]
    said : Instrument
        What is said. [unitless]
    """
    known = dict(periods(versions))
    told = said.calibrated in known and said.due in {None, known[said.calibrated]}
    return said.description == versions[-1].description and (told or (said.calibrated is None and said.due is None))


def by_serial(versions: Iterable[Instrument]) -> dict[str, list[Instrument]]:
    """Give the versions of each instrument, by its serial, in the order in which they came.

    Parameters
    ----------
    versions : iterable of Instrument
        Versions of any instruments, in order of entry. [unitless]
    """
    found: dict[str, list[Instrument]] = {}
    for version in versions:
        found.setdefault(version.serial, []).append(version)
    return found
