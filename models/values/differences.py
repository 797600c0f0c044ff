"""What is different between two versions of a job: field by field, in the units in which a site reads."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from models.units import Display, Quantity
from models.values.job import FeetValues, Job, Misalignment

DASH = "–"

_COMPONENTS = (
    ("vertical offset", Quantity.OFFSET),
    ("vertical angularity", Quantity.ANGULARITY),
    ("horizontal offset", Quantity.OFFSET),
    ("horizontal angularity", Quantity.ANGULARITY),
)
_STAGES = (("found", "as-found"), ("left", "as-left"), ("target", "target"))
_FEET = (
    ("soft_before", "soft foot before the work"),
    ("soft_after", "soft foot after the work"),
    ("moves_v", "shim"),
    ("moves_h", "side move"),
)
_NUMBERS = (
    ("temp_stationary_c", "temperature of the stationary machine", Quantity.TEMPERATURE),
    ("temp_movable_c", "temperature of the movable machine", Quantity.TEMPERATURE),
    ("temp_ambient_c", "temperature of the air", Quantity.TEMPERATURE),
    ("hours_run", "hours run", Quantity.DURATION),
)
_WORDS = (
    ("ref", "job number"),
    ("tag", "machine"),
    ("reason", "reason"),
    ("people", "people"),
    ("instrument", "instrument"),
    ("method", "method"),
    ("work_order", "work order"),
    ("checks", "checks done"),
    ("notes", "notes"),
    ("reviewer", "reviewer"),
)


@dataclass(frozen=True, slots=True)
class Difference:
    """One field that two versions of a job say differently, both as a person reads them."""

    field: str
    old: str
    new: str


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
        One for each field that changed, in the order of a sheet; a number that differs by less than is shown is
        written with all its digits. [as shown]
    """
    told = [Difference("time", _moment(old), _moment(new))] if old.performed_at != new.performed_at else []
    told += [Difference(name, _word(old, key), _word(new, key)) for key, name in _WORDS if _differ(old, new, key)]
    for key, name in _STAGES:
        pairs = zip(_four(getattr(old, key)), _four(getattr(new, key)), strict=True)
        for (before, after), (part, quantity) in zip(pairs, _COMPONENTS, strict=True):
            if before != after:
                told.append(_numbers(f"{name}, {part}", before, after, quantity, display))
    for key, name in _FEET:
        told += _feet(name, getattr(old, key), getattr(new, key), display)
    for key, name, quantity in _NUMBERS:
        if _differ(old, new, key):
            told.append(_numbers(name, getattr(old, key), getattr(new, key), quantity, display))
    return tuple(told)


def _differ(old: Job, new: Job, key: str) -> bool:
    return bool(getattr(old, key) != getattr(new, key))


def _word(job: Job, key: str) -> str:
    value = getattr(job, key)
    return ("; ".join(value) if isinstance(value, tuple) else str(value)) or DASH


def _moment(job: Job) -> str:
    return f"{job.performed_at.astimezone(ZoneInfo(job.zone)):%Y-%m-%d %H:%M} {job.zone}"


def _four(given: Misalignment | None) -> tuple[float | None, ...]:
    return (None,) * 4 if given is None else given.as_tuple()


def _feet(name: str, old: FeetValues, new: FeetValues, display: Display) -> list[Difference]:
    count = max(len(old.values), len(new.values))
    before = old.values + (None,) * (count - len(old.values))
    after = new.values + (None,) * (count - len(new.values))
    return [
        _numbers(f"{name}, foot {foot // 2 + 1}{'LR'[foot % 2]}", a, b, Quantity.OFFSET, display)
        for foot, (a, b) in enumerate(zip(before, after, strict=True))
        if a != b
    ]


def _numbers(name: str, old: float | None, new: float | None, quantity: Quantity, display: Display) -> Difference:
    texts = [display.text(value, quantity, signed=quantity is Quantity.OFFSET) for value in (old, new)]
    if texts[0] == texts[1]:
        # Two numbers that round to the same text would look like no change at all.
        unit = display.unit(quantity)
        texts = [DASH if x is None else f"{display.show(x, quantity):.9g} {unit}".replace("-", "−") for x in (old, new)]
    return Difference(name, texts[0], texts[1])
