"""An asset as it is described at one time, and what may happen to it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from models.errors import InvalidValueError
from models.values.kinds import Coupling, Part

MAX_RPM = 100_000.0
"""Above this a speed is a typing error: no coupled industrial machine runs there (a bound of sense, no source)."""


@dataclass(frozen=True, slots=True)
class Asset:
    """One coupling between a stationary and a movable machine, as described from a date on.

    Distances are along the shaft from the coupling centre, in mm: positive
    towards the movable machine.  ``feet_movable`` and ``feet_stationary`` hold
    one distance for each row of feet (a left and a right foot), nearest first.
    """

    tag: str
    description: str = ""
    area: str = ""
    train: str = ""
    driven: str = ""
    driver: str = ""
    coupling: Coupling = Coupling.SHORT
    span_mm: float | None = None
    speed_rpm: float | None = None
    speed_max_rpm: float | None = None
    power_kw: float | None = None
    criticality: str = ""
    equipment_class: str = ""
    feet_movable_mm: tuple[float, ...] = ()
    feet_stationary_mm: tuple[float, ...] = ()
    commissioned: date | None = None
    retired: date | None = None
    valid_from: date | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be an asset."""
        if not self.tag.strip():
            raise InvalidValueError("An asset needs a tag.")
        for name, speed in (("speed", self.speed_rpm), ("highest speed", self.speed_max_rpm)):
            if speed is not None and not 0 < speed <= MAX_RPM:
                raise InvalidValueError(
                    f"{name} of {self.tag} is {speed:g} rpm; it must be above 0 and below {MAX_RPM:g}."
                )
        if self.speed_rpm and self.speed_max_rpm and self.speed_max_rpm < self.speed_rpm:
            raise InvalidValueError(f"highest speed of {self.tag} is below its running speed.")
        if self.coupling is Coupling.SPACER and not (self.span_mm and self.span_mm > 0):
            raise InvalidValueError(f"{self.tag} has a spacer coupling: give the span between its flex planes.")
        if any(x <= 0 for x in self.feet_movable_mm):
            raise InvalidValueError(f"the feet of the movable machine of {self.tag} lie at distances above 0.")
        if any(x >= 0 for x in self.feet_stationary_mm):
            raise InvalidValueError(f"the feet of the stationary machine of {self.tag} lie at distances below 0.")
        if self.commissioned and self.retired and self.retired < self.commissioned:
            raise InvalidValueError(f"{self.tag} is retired before it was commissioned.")

    @property
    def limit_speed_rpm(self) -> float | None:
        """Give the speed that limits are taken at: the highest, where it varies, in rpm."""
        return self.speed_max_rpm or self.speed_rpm


@dataclass(frozen=True, slots=True)
class MachineBreak:
    """A replacement that ends a run: what comes after has nothing to do with what came before."""

    tag: str
    on: date
    part: Part
    reason: str = ""
