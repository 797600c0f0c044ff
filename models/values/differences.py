"""What is different between two versions of a job: field by field, in the units in which a site reads."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from models.units import Display, Quantity
from models.values.job import COMPONENTS, FeetValues, Job, Misalignment

DASH = "–"

QUANTITIES = (Quantity.OFFSET, Quantity.ANGULARITY, Quantity.OFFSET, Quantity.ANGULARITY)
"""Of the four components of a misalignment, in their order."""

SAME = 1e-9
"""Up to this two numbers are the same one, worked out twice: in mm a millionth of a micrometre, beyond 1 as a part of them."""

_STAGES = ("found", "left", "target")
_FEET = ("soft_before", "soft_after", "moves_v", "moves_h")
_NUMBERS = {
    "temp_stationary_c": Quantity.TEMPERATURE,
    "temp_movable_c": Quantity.TEMPERATURE,
    "temp_ambient_c": Quantity.TEMPERATURE,
    "hours_run": Quantity.DURATION,
}
TIME = "performed_at"
"""Key of the time of a job."""

TEXTS = ("ref", "tag", "reason", "people", "instrument", "method", "work_order", "checks", "notes", "reviewer")
"""Keys of the fields that are texts or codes; codes stay codes."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One field that two versions of a job say differently.

    ``key`` names it: that of the job, with ``.`` and a component behind a stage or a foot behind a row of feet, e.g.
    ``found.offset_v`` or ``soft_after.1L``.  What it is called, a screen or a report says in its own language.
    """

    key: str
    old: str
    new: str

    @property
    def parts(self) -> tuple[str, str]:
        """Give the field, and its component or foot; the second is empty where there is none."""
        name, _, part = self.key.partition(".")
        return name, part


def differences(old: Job, new: Job, display: Display) -> tuple[Difference, ...]:
    """Give what two versions of a job say differently, for reading side by side.

    Parameters
    ----------
    old, new : Job
        Two versions. [as stored]
    display : Display
        Units in which the site reads. [unitless]

    Returns
    -------
    tuple of Difference
        One for each field that changed, in the order of a sheet, without the rounding of arithmetic; a number that differs by less than is shown is
        written with all its digits. [as shown]
    """
    told = [Difference(TIME, _moment(old), _moment(new))] if old.performed_at != new.performed_at else []
    told += [Difference(key, _word(old, key), _word(new, key)) for key in TEXTS if _differ(old, new, key)]
    for key in _STAGES:
        pairs = zip(_four(getattr(old, key)), _four(getattr(new, key)), strict=True)
        for (before, after), part, quantity in zip(pairs, COMPONENTS, QUANTITIES, strict=True):
            if _apart(before, after):
                told.append(_numbers(f"{key}.{part}", before, after, quantity, display))
    for key in _FEET:
        told += _feet(key, getattr(old, key), getattr(new, key), display)
    for key, quantity in _NUMBERS.items():
        if _apart(getattr(old, key), getattr(new, key)):
            told.append(_numbers(key, getattr(old, key), getattr(new, key), quantity, display))
    return tuple(told)


def _differ(old: Job, new: Job, key: str) -> bool:
    return bool(getattr(old, key) != getattr(new, key))


def _apart(old: float | None, new: float | None) -> bool:
    """Tell whether two numbers differ by more than the rounding of the arithmetic that made them."""
    if old is None or new is None:
        return old is not new
    return abs(new - old) > SAME * max(1.0, abs(old))


def _word(job: Job, key: str) -> str:
    value = getattr(job, key)
    return ("; ".join(value) if isinstance(value, tuple) else str(value)) or DASH


def _moment(job: Job) -> str:
    return f"{job.performed_at.astimezone(ZoneInfo(job.zone)):%Y-%m-%d %H:%M} {job.zone}"


def _four(given: Misalignment | None) -> tuple[float | None, ...]:
    return (None,) * 4 if given is None else given.as_tuple()


def _feet(key: str, old: FeetValues, new: FeetValues, display: Display) -> list[Difference]:
    count = max(len(old.values), len(new.values))
    before = old.values + (None,) * (count - len(old.values))
    after = new.values + (None,) * (count - len(new.values))
    return [
        _numbers(f"{key}.{foot // 2 + 1}{'LR'[foot % 2]}", a, b, Quantity.OFFSET, display)
        for foot, (a, b) in enumerate(zip(before, after, strict=True))
        if _apart(a, b)
    ]


def _numbers(key: str, old: float | None, new: float | None, quantity: Quantity, display: Display) -> Difference:
    texts = [display.text(value, quantity, signed=quantity is Quantity.OFFSET) for value in (old, new)]
    if texts[0] == texts[1]:
        # Two numbers that round to the same text would look like no change at all.
        unit = display.unit(quantity)
        texts = [DASH if x is None else f"{display.show(x, quantity):.9g} {unit}".replace("-", "−") for x in (old, new)]
    return Difference(key, texts[0], texts[1])
