"""A job: one visit, with what was found, what was left and who says so."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from models.errors import InvalidValueError
from models.sentences.told import Told
from models.values.kinds import Method, Reason

COMPONENTS = ("offset_v", "angle_v", "offset_h", "angle_h")
"""The four numbers of a misalignment, in the order of every array: mm, mm/m, mm, mm/m."""


@dataclass(frozen=True, slots=True)
class Misalignment:
    """Offset at the coupling centre [mm] and angularity [mm/m], vertical and horizontal.

    Movable minus stationary centreline.  Vertical + is up; horizontal + is to
    the right for someone at the movable machine who looks towards the
    stationary one; angularity is dy/dx with x towards the movable machine.
    """

    offset_v: float = 0.0
    angle_v: float = 0.0
    offset_h: float = 0.0
    angle_h: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is not a finite number."""
        if not all(math.isfinite(x) for x in self.as_tuple()):
            raise InvalidValueError(Told("told.job.misalignment"))

    def as_tuple(self) -> tuple[float, float, float, float]:
        """Give the four numbers in the order of :data:`COMPONENTS`."""
        return (self.offset_v, self.angle_v, self.offset_h, self.angle_h)


@dataclass(frozen=True, slots=True)
class FeetValues:
    """One number for each foot, row by row from the coupling, left before right, in mm.

    Left and right as seen from the movable machine towards the stationary
    one.  ``None`` is a foot that was not measured.
    """

    values: tuple[float | None, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what is not a finite number."""
        if any(x is not None and not math.isfinite(x) for x in self.values):
            raise InvalidValueError(Told("told.job.foot_value"))

    def __bool__(self) -> bool:
        """Tell whether any foot was measured."""
        return any(x is not None for x in self.values)


@dataclass(frozen=True, slots=True)
class Job:
    """What one visit says, in stored units, before the book has judged it.

    ``found`` is ``None`` where nothing was measured before the work (always
    so for an installation); ``left`` is ``None`` where nobody measured after it.
    ``typed`` keeps each number as it was typed, with its unit, by field name.
    """

    ref: str
    tag: str
    performed_at: datetime
    zone: str
    reason: Reason
    people: tuple[str, ...] = ()
    instrument: str = ""
    method: Method = Method.OTHER
    work_order: str = ""
    found: Misalignment | None = None
    left: Misalignment | None = None
    target: Misalignment = Misalignment()
    soft_before: FeetValues = FeetValues()
    soft_after: FeetValues = FeetValues()
    moves_v: FeetValues = FeetValues()
    moves_h: FeetValues = FeetValues()
    temp_stationary_c: float | None = None
    temp_movable_c: float | None = None
    temp_ambient_c: float | None = None
    hours_run: float | None = None
    checks: tuple[str, ...] = ()
    notes: str = ""
    reviewer: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse what cannot be a job."""
        if not self.ref.strip() or not self.tag.strip():
            raise InvalidValueError(Told("told.job.names"))
        if self.performed_at.tzinfo is None:
            raise InvalidValueError(Told("told.job.zone"))
        if self.found is None and self.left is None:
            raise InvalidValueError(Told("told.job.nothing"))
        if self.reason is Reason.INSTALLATION and self.found is not None:
            raise InvalidValueError(Told("told.job.installation"))
        if self.hours_run is not None and self.hours_run < 0:
            raise InvalidValueError(Told("told.job.negative_hours"))
