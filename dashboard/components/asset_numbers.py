"""How the page of a machine writes signed numbers and probabilities."""

from __future__ import annotations

import math

from dashboard.words import say
from dashboard.writing import DASH, percent

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


def chance(p: float) -> str:
    """Write a probability in per cent, without claiming that something is certain or impossible."""
    if not math.isfinite(p):
        return DASH
    return say("asset.less_one") if p < 0.005 else say("asset.more_99") if p > 0.995 else percent(p)
