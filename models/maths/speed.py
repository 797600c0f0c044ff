"""Speed of an induction motor: the synchronous speed it belongs to, and its slip.

The label is for grouping and for reading; limits are taken at the actual speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from models.errors import InvalidValueError

POLES: Final = (2, 4, 6, 8, 10, 12)
LARGEST_SLIP: Final = 0.08
"""A motor further below its synchronous speed than this is not running on the line (this project's own rule)."""


@dataclass(frozen=True, slots=True)
class SpeedLabel:
    """Nearest synchronous speed at or above a running speed, and the line frequencies that give it.

    ``synchronous_rpm`` and ``slip`` are ``None`` for a speed that no motor on the line has.
    """

    synchronous_rpm: float | None
    slip: float | None
    frequencies_hz: tuple[float, ...]

    @property
    def text(self) -> str:
        """The label as people read it."""
        return "non-standard" if self.synchronous_rpm is None else f"{self.synchronous_rpm:.0f} rpm"


def synchronous_speed(frequency_hz: float, poles: int) -> float:
    """Give the synchronous speed of a motor.

    Parameters
    ----------
    frequency_hz : float
        Line frequency. [Hz]
    poles : int
        Number of poles, even. [unitless]

    Returns
    -------
    float
        120·f/p. [rpm]

    Raises
    ------
    InvalidValueError
        If the poles are not in pairs or the frequency is not above 0.

    References
    ----------
    engineeringtoolbox.com/synchronous-full-load-speed-induction-motors-d_1448.html.
    """
    if poles < 2 or poles % 2 or not (math.isfinite(frequency_hz) and frequency_hz > 0):
        raise InvalidValueError("A motor has an even number of poles and a line frequency above 0.")
    return 120.0 * frequency_hz / poles


def slip(running_rpm: float, synchronous_rpm: float) -> float:
    """Give the slip of a motor.

    Parameters
    ----------
    running_rpm, synchronous_rpm : float
        Running and synchronous speed. [rpm]

    Returns
    -------
    float
        (synchronous − running) ÷ synchronous. [unitless]
    """
    return (synchronous_rpm - running_rpm) / synchronous_rpm


def nearest_label(running_rpm: float, frequencies_hz: tuple[float, ...] = (50.0, 60.0)) -> SpeedLabel:
    """Give the synchronous speed that a running speed belongs to.

    Parameters
    ----------
    running_rpm : float
        Running speed. [rpm]
    frequencies_hz : tuple of float
        Line frequencies that are possible at the site. [Hz]

    Returns
    -------
    SpeedLabel
        The nearest synchronous speed at or above it, if the slip is at most 8 %.

    Notes
    -----
    600 rpm is synchronous at 50 and at 60 Hz: both are named.
    """
    candidates = sorted({synchronous_speed(hz, poles) for hz in frequencies_hz for poles in POLES})
    for speed in candidates:
        if running_rpm <= speed and slip(running_rpm, speed) <= LARGEST_SLIP:
            hz = tuple(f for f in frequencies_hz if any(synchronous_speed(f, poles) == speed for poles in POLES))
            return SpeedLabel(speed, slip(running_rpm, speed), hz)
    return SpeedLabel(None, None, ())
