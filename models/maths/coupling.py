"""Rules of thumb and makers' rules about couplings, each with its source.

None of them is a limit that this tool ships: limits are data, and the maker of
the coupling gives them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from models.errors import InvalidValueError

FLEX_PLANE_RULE_MM_M: Final = 0.5
"""0.5 mil per inch of separation (C. Jackson, chapter on alignment with proximity probes): 0.5 mm/m."""


def combined_allowance(used: Sequence[tuple[float, float]]) -> float:
    """Give how much of a coupling's allowance axial, radial and angular misalignment use together.

    Parameters
    ----------
    used : sequence of (float, float)
        What is there and what is allowed on its own, for each kind, in one unit each. [as used]

    Returns
    -------
    float
        Sum of the fractions; up to 1 is acceptable. [unitless]

    Raises
    ------
    InvalidValueError
        If an allowance is not above 0.

    References
    ----------
    US Army TM 10-4320-307-24, p. 3-16 (two examples on a graph); that the sum is the rule is derived from them.
    """
    if any(not allowed > 0 for _, allowed in used):
        raise InvalidValueError("What is allowed must be above 0.")
    return sum(abs(found) / allowed for found, allowed in used)


def angle_shim(gap_mm: float, swept_diameter_mm: float, length_mm: float) -> float:
    """Give the shim that closes a gap at the coupling, over a length of the base.

    Parameters
    ----------
    gap_mm : float
        Difference of the gap across the face, not halved. [mm]
    swept_diameter_mm : float
        Diameter on which it was read. [mm]
    length_mm : float
        Distance between the bolts, or from the pivot to the bolt. [mm]

    Returns
    -------
    float
        gap × length ÷ diameter. [mm]

    Raises
    ------
    InvalidValueError
        If the diameter is not above 0.

    References
    ----------
    Carrier 17/19EX chiller manual (L/D × gap); Millwright's Guide, 2nd ed. (reading × distance ÷ swept diameter).
    """
    if not swept_diameter_mm > 0:
        raise InvalidValueError("The swept diameter must be above 0.")
    return gap_mm * length_mm / swept_diameter_mm


def flex_plane_deviation(separation_mm: float, rule_mm_m: float = FLEX_PLANE_RULE_MM_M) -> float:
    """Give the deviation that a rule per length allows over the distance between the flex planes.

    Parameters
    ----------
    separation_mm : float
        Distance between the flex planes. [mm]
    rule_mm_m : float
        Allowed deviation per length. [mm/m]

    Returns
    -------
    float
        rule × separation. [mm]
    """
    return rule_mm_m * separation_mm / 1000.0


def maker_formula_example(outer_diameter_mm: float, speed_rpm: float) -> float:
    """Give a maker's limit for one pin-and-bush coupling, as an example of how such limits fall with speed.

    Parameters
    ----------
    outer_diameter_mm : float
        Outer diameter of the coupling. [mm]
    speed_rpm : float
        Running speed; below 250 rpm the limit is that at 250 rpm. [rpm]

    Returns
    -------
    float
        Radial displacement, and the same for the difference of the gap: (0.1 + D/1000)·40/√n. [mm]

    Notes
    -----
    It holds for that coupling only.  It is here to be checked against the maker's table, not to be adopted.

    References
    ----------
    Flender N-EUPEX D manual, p. 16.
    """
    return (0.1 + outer_diameter_mm / 1000.0) * 40.0 / math.sqrt(max(speed_rpm, 250.0))
