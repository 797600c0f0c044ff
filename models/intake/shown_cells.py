"""What a cell of a workbook shows in place of a value, or beside it.

Apart from what looks for it: a list of plain text is read without that.
"""

from __future__ import annotations

import re
from typing import Final, Self

NO_VALUE: Final = "#NO VALUE: "
"""What is put before a formula without a value; it stays with the row when it comes back, and keeps it out again."""

MERGED: Final = "#MERGED: "
"""What is put before what a person sees in a merged cell, where it is not certain that it is meant there."""

_ERRORS: Final = re.compile(
    r"#(?:N/[ADV]|NV|GETTING_DATA|¡?[A-ZÄÖÜÁÉÍÓÚÂÊÔÃÕÇ/0]{2,14}[!?]|#{2,})|Err:\d{3}|#NO VALUE:.*|#MERGED:.*", re.DOTALL
)
"""Error values in the spellings of several languages, a number that did not fit its column (####), and our own mark."""


def is_spoilt(text: str) -> bool:
    """Tell whether a text is what a spreadsheet shows where it has no value.

    Parameters
    ----------
    text : str
        The text of a cell. [as typed]
    """
    return text[:1] in {"#", "E"} and _ERRORS.fullmatch(text) is not None


class Shown(float):
    """A number of a workbook beside which its format shows something; ``shown`` is what a person reads."""

    __slots__ = ("shown",)

    shown: str

    def __new__(cls, value: float, shown: str) -> Self:
        """Make one out of the number and the text."""
        made = super().__new__(cls, value)
        made.shown = shown
        return made
