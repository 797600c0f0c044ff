"""How the page of a machine writes signed numbers."""

from __future__ import annotations

import math

from dashboard.writing import DASH

MINUS = "−"


def signed(value: float, decimals: int) -> str:
    """Write a number with its sign; nothing stands before a zero.

    Parameters
    ----------
    value : float
        The number, in the unit that is shown. [any]
    decimals : int
        Decimals to write. [unitless]
    """
    if not math.isfinite(value):
        return DASH
    text = f"{value:+.{decimals}f}"
    return text[1:] if float(text) == 0.0 else text.replace("-", MINUS)
