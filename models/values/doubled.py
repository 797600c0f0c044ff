"""Two records of one visit: which job of a machine says the same visit as another one, and in what the two differ.

Two jobs of one machine at the same moment with the same measured values are one
visit that was recorded twice: nobody measures twice at one moment.  Two of one
moment with other values may be one, too (a slip in one of the lists), and so may
two of one day with the same values (one list keeps the hour, the other does
not), but only a person can tell, and which of the two is right.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from models.errors import NotAQuantityError
from models.units import Quantity, canonical_unit, to_stored, written_unit
from models.values.job import FeetValues, Job, Misalignment
from models.values.story import JobLine

Four = tuple[float, float, float, float]

READ_TO: Final = 0.005
"""Half of the last digit that is written as a rule, 0.01 mm and 0.01 mm/m: what a number in mil loses where it is written in mm [mm, mm/m]."""

ReadTo = tuple[float, float]
"""How far two readings of one visit lie apart where one was rounded: offsets and angles [mm, mm/m]."""

USUAL: Final = (READ_TO, READ_TO)

COARSEST: Final = (0.0127, 0.05)
"""Half of a whole mil, and of 0.1 mm/m (0.01 mm/100 mm): coarser than that nobody writes a reading, and more would make visits of one day one [mm, mm/m]."""

_DIGITS: Final = re.compile(r"[+\-−\s]*[\d\s'’]*(?:[.,](\d*))?(?:[eE]([+-]?\d{1,2}))?")

ROUNDING: Final = 1e-9
"""Below this difference two measured values are the same number, converted from two units [mm, mm/m]."""

SAID: Final = {
    "target": "target", "reason": "reason", "people": "people", "instrument": "instrument", "method": "method",
    "work_order": "work order", "soft_before": "soft foot before", "soft_after": "soft foot after",
    "moves_v": "vertical moves", "moves_h": "horizontal moves", "temp_stationary_c": "temperature of the stationary machine",
    "temp_movable_c": "temperature of the movable machine", "temp_ambient_c": "ambient temperature",
    "hours_run": "hours run", "checks": "checks", "notes": "notes", "reviewer": "reviewer",
}  # fmt: skip
"""What a job says beside its moment and its measured values: the field and its name."""


@dataclass(frozen=True, slots=True)
class Beside:
    """A job and one that may be the same visit; it is for certain where both the moment and the measured values are the same.

    ``differs`` names what the job says that the other one does not.
    """

    job: JobLine
    there: JobLine
    same_moment: bool
    same_readings: bool
    differs: tuple[str, ...] = ()

    @property
    def one_visit(self) -> bool:
        """Tell whether the two are one visit for certain."""
        return self.same_moment and self.same_readings


def beside(line: JobLine, there: Iterable[JobLine], zone: ZoneInfo) -> Beside | None:
    """Find the job that is, or may be, the same visit as another one: the likest of them.

    Parameters
    ----------
    line : JobLine
        The job. [as stored]
    there : iterable of JobLine
        Jobs that stand on the machine that it comes to. [as stored]
    zone : ZoneInfo
        The site's zone, by which a day is told. [unitless]

    Returns
    -------
    Beside or None
        ``None`` where none stands at its moment, nor on its day with the same measured values.
    """
    at, found = line.job.performed_at, []
    for other in there:
        moment, same = other.job.performed_at == at, same_readings(line.job, other.job)
        if moment or (same and _day(other.job, zone) == _day(line.job, zone)):
            found.append(Beside(line, other, moment, same, more_said(line.job, other.job)))
    return max(found, key=lambda one: (one.one_visit, one.same_moment), default=None)


def _day(job: Job, zone: ZoneInfo) -> date:
    return job.performed_at.astimezone(zone).date()


def same_readings(one: Job, other: Job) -> bool:
    """Tell whether two jobs hold the same measured values, as-found and as-left.

    Parameters
    ----------
    one, other : Job
        The jobs. [as stored]
    """
    return _same(one.found, other.found) and _same(one.left, other.left)


def read_to(typed: Mapping[str, str]) -> ReadTo:
    """Give half of the last digit to which the readings of a job were written, within :data:`USUAL` and :data:`COARSEST`.

    A spreadsheet leaves zeros at the end out, so the finest reading of a job tells for all.

    Parameters
    ----------
    typed : mapping of str to str
        The numbers of a job as they were typed, with their units, by the names that the book keeps them by. [as typed]
    """
    found = []
    for quantity, part, usual, most in zip(
        (Quantity.OFFSET, Quantity.ANGULARITY), ("_offset_", "_angle_"), USUAL, COARSEST, strict=True
    ):
        texts = [text for key, text in typed.items() if part in key and key.startswith(("found_", "left_"))]
        halves = [half for text in texts if (half := _half_digit(text, quantity)) is not None]
        found.append(max(usual, min([*halves, most])) if halves else usual)
    return found[0], found[1]


def coarser(one: ReadTo, other: ReadTo) -> ReadTo:
    """Give how far readings may lie apart of which one was written to a digit, and one to another."""
    return max(one[0], other[0]), max(one[1], other[1])


def _half_digit(text: str, quantity: Quantity) -> float | None:
    """Give half of the last digit of a number as it was typed; ``None`` where its unit is not understood, or a bare zero tells none."""
    match = _DIGITS.match(text)
    if match is None or not (match[1] or re.search(r"[1-9]", match[0])):
        return None
    try:
        unit = canonical_unit(written_unit(text), quantity)
    except NotAQuantityError:
        return None
    return to_stored(0.5 * 10.0 ** (int(match[2] or 0) - len(match[1] or "")), unit, quantity)


def read_alike(
    one: tuple[Four | None, Four | None], other: tuple[Four | None, Four | None], to: ReadTo = USUAL
) -> bool:
    """Tell whether two records hold the same readings once each was rounded to the unit in which it was written.

    What one of the two does not hold is no difference, as long as something stands in both.

    Parameters
    ----------
    one, other : tuple
        What was found and what was left: offset V, angle V, offset H, angle H, or nothing. [mm, mm/m]
    to : tuple of float
        How far offsets and angles may lie apart, see :func:`read_to`. [mm, mm/m]
    """
    both = [(a, b) for a, b in zip(one, other, strict=True) if a is not None and b is not None]
    most = [each + ROUNDING for each in (*to, *to)]
    return bool(both) and all(abs(x - y) <= m for a, b in both for x, y, m in zip(a, b, most, strict=True))


def more_said(job: Job, other: Job) -> tuple[str, ...]:
    """Name what a job says that another one does not say, or says otherwise; what it leaves open is no difference.

    Parameters
    ----------
    job, other : Job
        The jobs. [as stored]
    """
    return tuple(
        name
        for field, name in SAID.items()
        if _says(getattr(job, field)) and getattr(job, field) != getattr(other, field)
    )


def _says(value: object) -> bool:
    """Tell whether a field says anything; a target of zero, feet without a number and a blank do not."""
    return value not in (None, "", (), Misalignment()) and not (isinstance(value, FeetValues) and not value)


def _same(one: Misalignment | None, other: Misalignment | None) -> bool:
    if one is None or other is None:
        return one is other
    return all(abs(a - b) <= ROUNDING for a, b in zip(one.as_tuple(), other.as_tuple(), strict=True))
