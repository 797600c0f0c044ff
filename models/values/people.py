"""People and instruments, as far as a history has to name them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from models.errors import InvalidValueError


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who aligns or reviews; the name is what stands on the sheets."""

    name: str
    qualification: str = ""
    active: bool = True

    def __post_init__(self) -> None:
        """Refuse a person without a name."""
        if not self.name.strip():
            raise InvalidValueError("A person needs a name.")


@dataclass(frozen=True, slots=True)
class Instrument:
    """A measuring instrument; the serial number is its name in the book."""

    serial: str
    description: str = ""
    calibrated: date | None = None
    due: date | None = None

    def __post_init__(self) -> None:
        """Refuse an instrument without a serial, or due before it was calibrated."""
        if not self.serial.strip():
            raise InvalidValueError("An instrument needs a serial number.")
        if self.calibrated and self.due and self.due < self.calibrated:
            raise InvalidValueError(f"instrument {self.serial} is due before it was calibrated.")


@dataclass(frozen=True, slots=True)
class Account:
    """Who may sign in, under which name, and what they may do at a site.

    ``person`` is the name that stands under what they write; ``outside`` names them at another place that
    vouches for them (issuer and subject of OpenID Connect), blank where a password does.
    """

    login: str
    person: str
    roles: tuple[str, ...]
    active: bool = True
    mail: str = ""
    outside: str = ""
