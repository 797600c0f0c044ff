"""A limit set: a named, versioned table of limits, with its source and who adopted it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from models.errors import InvalidValueError
from models.values.kinds import Coupling


class Judged(StrEnum):
    """What a limit is for."""

    OFFSET = "offset"
    ANGULARITY = "angularity"
    FLEX_ANGLE = "flex angle"
    SOFT_FOOT = "soft foot"


class Combine(StrEnum):
    """Whether vertical and horizontal are judged together or each by itself."""

    RESULTANT = "resultant"
    EACH = "each"


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One line of a limit set: from which speed, for which coupling, how much.

    The limit is ``value`` where ``value`` is given, else ``per_rpm`` ÷ the
    larger of the speed and ``floor_rpm``: a limit that falls as speed rises
    and is capped at low speed.  Offsets and soft foot are in mm, angles in mm/m.
    """

    judged: Judged
    coupling: Coupling | None = None
    above_rpm: float = 0.0
    upto_rpm: float | None = None
    value: float | None = None
    per_rpm: float | None = None
    floor_rpm: float = 0.0
    combine: Combine = Combine.RESULTANT

    def __post_init__(self) -> None:
        """Refuse a row that gives no limit or covers no speed."""
        if (self.value is None) == (self.per_rpm is None):
            raise InvalidValueError(
                f"a row for {self.judged} gives either a value or a law of speed, not both or neither."
            )
        given = self.value if self.value is not None else self.per_rpm
        if given is None or given <= 0:
            raise InvalidValueError(f"the limit for {self.judged} must be above 0.")
        if self.upto_rpm is not None and self.upto_rpm <= self.above_rpm:
            raise InvalidValueError(f"a row for {self.judged} ends at a speed below its beginning.")


@dataclass(frozen=True, slots=True)
class LimitSet:
    """One version of a limit set."""

    name: str
    source: str
    adopted_by: str
    adopted_on: date
    rows: tuple[LimitRow, ...]
    version: int = 1
    starter: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse a set without a name, a source or rows."""
        if not self.name.strip() or not self.source.strip():
            raise InvalidValueError("A limit set needs a name and a source.")
        if not self.rows:
            raise InvalidValueError(f"limit set {self.name} has no rows.")


@dataclass(frozen=True, slots=True)
class LimitsGiven:
    """The limits that a set gives for one machine, as stored with a job; ``None`` is not judged.

    Offset and soft foot in mm, angles in mm/m.
    """

    offset_mm: float | None = None
    angle_mm_m: float | None = None
    flex_mm_m: float | None = None
    soft_foot_mm: float | None = None
    each_axis: bool = False
