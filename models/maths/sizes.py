"""How large a misalignment and the rise of a foot can be at all: bounds for whoever reads what was typed, without anything to compute with."""

from __future__ import annotations

from typing import Final

ODD: Final = (2.0, 10.0)
IMPOSSIBLE: Final = (25.0, 100.0)
"""Offset [mm] and angularity [mm/m] that are odd, and that no aligned machines have; the same for imported sheets and for
what is typed.  This project's own."""

RISE_ODD_MM: Final = 1.0
RISE_IMPOSSIBLE_MM: Final = 25.0
"""Rises of a foot whose bolt is loosened that are odd, and that no foot has.  This project's own.  A rise below 0 is odd too."""

TEMPERATURES_C: Final = (-60.0, 700.0)
"""Between these lies what may be recorded as the temperature of a machine or of the air. This project's own."""

TEMPERATURES_USUAL_C: Final = (-40.0, 150.0)
AIR_USUAL_C: Final = (-50.0, 60.0)
"""Between these lie machines at standstill, and air, as a rule: beyond them it is asked. This project's own."""

MOVE_ODD_MM: Final = 5.0
"""A shim or side move of one visit that is odd when it is typed.  This project's own, common sense, no source."""


def is_odd_rise(rise_mm: float) -> bool:
    """Tell whether the rise of a foot is negative or larger than rises are as a rule.

    Parameters
    ----------
    rise_mm : float
        Rise of one foot when its bolt is loosened. [mm]
    """
    return not 0.0 <= rise_mm <= RISE_ODD_MM
