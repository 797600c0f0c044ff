"""Bar sag: the bracket hangs down under its own weight and the dial reads it.

Turned over the top, the bar presses the plunger in by its sag s; turned below,
it falls away from the rim by s.  With the zero at 12 o'clock that adds −2s to
the bottom and −s to each side.  On a stiff pipe the roll-over shows 2s.

'Sag' means half of the roll-over reading in one book and the whole of it in
another, so a sag is never a bare number here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from models.errors import InvalidValueError
from models.sentences.told import Told


class SagMeaning(StrEnum):
    """What a number called sag stands for."""

    HALF = "half of the roll-over reading"
    FULL = "full roll-over reading"


@dataclass(frozen=True, slots=True)
class Sag:
    """A sag as it was written down, with what it stands for and its standard uncertainty.

    The sign of ``value_mm`` does not matter: a bar hangs down, and a roll-over
    from the top shows it as a minus.
    """

    value_mm: float
    meaning: SagMeaning
    standard_uncertainty_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is not a finite number."""
        if not math.isfinite(self.value_mm) or not 0 <= self.standard_uncertainty_mm < math.inf:
            raise InvalidValueError(Told("told.dials.sag"))

    @property
    def true_mm(self) -> float:
        """How far the bar hangs: half of the roll-over reading. [mm]."""
        return abs(self.value_mm) * self._share

    @property
    def true_uncertainty_mm(self) -> float:
        """Standard uncertainty of how far the bar hangs. [mm]."""
        return self.standard_uncertainty_mm * self._share

    @property
    def _share(self) -> float:
        return 1.0 if self.meaning is SagMeaning.HALF else 0.5


NO_SAG = Sag(0.0, SagMeaning.HALF)
"""A bracket that does not sag, or a vertical shaft."""


def take_out_sag(angles_deg: Sequence[float], readings_mm: Sequence[float], sag: Sag) -> tuple[float, ...]:
    """Give the readings that a bar without sag would have shown.

    Parameters
    ----------
    angles_deg : sequence of float
        Positions from 12 o'clock. [°]
    readings_mm : sequence of float
        Readings as taken. [mm]
    sag : Sag
        Sag of the bar on these readings. [mm]

    Returns
    -------
    tuple of float
        Readings plus s·(1 − cos θ): nothing at 12, s at 3 and 9, 2s at 6 o'clock. [mm]

    References
    ----------
    Bottom plus 2 × sag: US Bureau of Reclamation, FIST 4-1A, pp. 17, 22 and 24.
    Sides plus 1 × sag: civilengineeringhandbook.tk/centrifugal-pumps-3/actual-reading.html.
    """
    return tuple(
        reading + sag.true_mm * (1.0 - math.cos(math.radians(angle)))
        for angle, reading in zip(angles_deg, readings_mm, strict=True)
    )
