"""Clock readings: what can be checked before anything is computed from them.

The dial must come back to its first reading; top and bottom together must equal
left and right together; the zero may be moved to any position; the total
indicator reading is twice the offset.  Every check is made on the readings as
taken, before sag is taken out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from models.errors import InvalidValueError

SUM_ALLOWANCE_MM: Final = 0.0254
"""0.001 in: the difference of the sums that one worked example accepts (scribd.com/doc/232786113)."""

SUM_ALLOWANCE_SHARE: Final = 0.10
"""A tenth of the sum; common practice, no source."""

RETURN_ALLOWANCE_MM: Final = 0.0127
"""0.0005 in: repeat of a 0.001-in dial per ASME B89.1.10 (reported second-hand, original not seen)."""


@dataclass(frozen=True, slots=True)
class SumCheck:
    """Whether top + bottom equals left + right.

    ``residual_mm`` is a quarter of the difference: what each of the four
    readings would have to give way for the sums to agree.
    """

    top_bottom_mm: float
    left_right_mm: float
    difference_mm: float
    residual_mm: float
    allowance_mm: float
    agrees: bool


@dataclass(frozen=True, slots=True)
class ReturnCheck:
    """Whether the dial came back to its first reading after a full turn."""

    difference_mm: float
    allowance_mm: float
    agrees: bool


def check_sums(
    top: float,
    right: float,
    bottom: float,
    left: float,
    *,
    allowance_mm: float = SUM_ALLOWANCE_MM,
    share: float = SUM_ALLOWANCE_SHARE,
) -> SumCheck:
    """Compare top + bottom with left + right.

    Parameters
    ----------
    top, right, bottom, left : float
        Readings at 12, 3, 6 and 9 o'clock, as taken. [mm]
    allowance_mm : float
        Difference that is accepted however small the readings are. [mm]
    share : float
        Share of the larger sum that is accepted where that is more. [unitless]

    Returns
    -------
    SumCheck
        Both sums, their difference, and whether it is accepted.

    Notes
    -----
    Sag adds −2s to the bottom and −s to each side: to both sums alike.  The
    check holds with sag in the readings and cannot tell that it is there.
    A share of the sum is only a fair allowance while the zero is at one of the
    four positions: a constant added to all four would widen it.

    References
    ----------
    Bloch & Geitner, Machinery Component Maintenance and Repair, p. 193 (Fig. 5-15) and p. 216.
    """
    top_bottom, left_right = top + bottom, left + right
    difference = top_bottom - left_right
    allowed = max(allowance_mm, share * max(abs(top_bottom), abs(left_right)))
    # Half an ulp more or less of a sum of decimals must not decide: 0.0254 typed as 1 mil is accepted.
    agrees = abs(difference) <= allowed * (1.0 + 1e-9)
    return SumCheck(top_bottom, left_right, difference, difference / 4.0, allowed, agrees)


def check_return(first_mm: float, returned_mm: float, allowance_mm: float = RETURN_ALLOWANCE_MM) -> ReturnCheck:
    """Compare the reading after a full turn with the first one.

    Parameters
    ----------
    first_mm, returned_mm : float
        Readings at the same position, before and after the turn. [mm]
    allowance_mm : float
        Difference that is accepted. [mm]

    Returns
    -------
    ReturnCheck
        The difference, and whether it is accepted.

    References
    ----------
    The dial must return to zero, else reset and retake: US Bureau of Reclamation, FIST 4-1A, pp. 22 and 24;
    if it does not, it moved or needs calibration: US Army TM 10-4320-307-24, p. 3-15.
    """
    difference = returned_mm - first_mm
    return ReturnCheck(difference, allowance_mm, abs(difference) <= allowance_mm * (1.0 + 1e-9))


def rezero(readings_mm: Sequence[float], at: int) -> tuple[float, ...]:
    """Move the zero of a dial to another of its readings.

    Parameters
    ----------
    readings_mm : sequence of float
        Readings of one sweep. [mm]
    at : int
        Place of the reading that becomes 0. [unitless]

    Returns
    -------
    tuple of float
        The readings less that one; differences, total indicator reading and sum check stay as they were. [mm]

    Raises
    ------
    InvalidValueError
        If there is no reading at that place.

    References
    ----------
    Piotrowski, Shaft Alignment Handbook, 3rd ed., Fig. 8.10.
    """
    if not 0 <= at < len(readings_mm):
        raise InvalidValueError(f"There is no reading {at + 1}; the sweep holds {len(readings_mm)}.")
    return tuple(reading - readings_mm[at] for reading in readings_mm)


def total_reading(readings_mm: Sequence[float]) -> float:
    """Give the total indicator reading (TIR): the largest reading less the smallest.

    Parameters
    ----------
    readings_mm : sequence of float
        Readings of one sweep; the zero is one of them. [mm]

    Returns
    -------
    float
        Twice the offset, if the sweep passes through the direction of the offset. [mm]

    Raises
    ------
    InvalidValueError
        If there is no reading.

    References
    ----------
    US Army TM 55-1905-242-14 and TM 5-3810-305-23: +0.002 and −0.004 make 0.006.
    """
    if not readings_mm:
        raise InvalidValueError("There are no readings.")
    return max(readings_mm) - min(readings_mm)
