"""Words above a list that say of its readings what a heading may say of its column: how they were taken.

What a heading says beside a reading is asked about (:mod:`models.intake.proposing`), and so is the same word in a title
or in the name of the sheet: an offset that was read as a total indicator reading is twice as large.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from models.intake.fields import Field, Table
from models.intake.proposing import HALVES, Ask, why_doubt, why_total
from models.intake.reading import Sheet
from models.intake.title_units import is_of_value, kind_of
from models.intake.units_beside import titles
from models.units import Quantity

TOTAL: Final = "TIR"
HOT: Final = "hot"
WORDS: Final = frozenset({TOTAL, HOT})

_WORDS: Final = {
    TOTAL: re.compile(r"\b(?:(?i:tir)|T\.I\.R|F\.?I\.?M|(?i:(?:total|full)\s+indicator))\b"),
    HOT: re.compile(
        r"\bhot\b(?=\s*(?:$|[])},.;:|/&+–-]|(?:and|or|aligned|alignments?|checks?|conditions?|data|measure\w*|numbers?|off(?:set)?s?|read\w*|runs?|running|states?|surveys?|values?)\b))",
        re.IGNORECASE,
    ),
}
"""A hot well, hot oil and a hot strip mill are names of the plant."""

_LENGTHS: Final = frozenset({Quantity.OFFSET, Quantity.ANGULARITY})


@dataclass(frozen=True, slots=True)
class Word:
    """One of these words, and where it stands."""

    where: str
    text: str

    def asks(self, field: Field | None, times: float = 1.0) -> Ask | None:
        """Give what has to be said of a column because of it; ``None`` where it says nothing of it.

        Parameters
        ----------
        field : Field or None
            What the column is. [unitless]
        times : float
            By what its numbers are multiplied: what is halved already is asked about no more. [unitless]
        """
        if field is None or field.table is not Table.JOBS or field.quantity not in _LENGTHS:
            return None
        if self.text == TOTAL:
            return Ask.TIMES if kind_of(field) == Quantity.OFFSET and abs(times) not in HALVES else None
        return Ask.FIELD if field.key.startswith(("found_", "left_")) else None

    @property
    def why(self) -> str:
        """Say why it is asked."""
        return why_total(self.where) if self.text == TOTAL else why_doubt(f"{self.where} says '{HOT}'")


def words_above(sheet: Sheet, first_row: int) -> list[Word]:
    """Give these words of a sheet, each once.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    first_row : int
        Number of the first row of its headings. [unitless]
    """
    found: dict[str, Word] = {}
    for where, texts in titles(sheet, first_row):
        for text in texts:
            for word, pattern in _WORDS.items():
                if any(not is_of_value(text, one.start(), one.end()) for one in pattern.finditer(text)):
                    found.setdefault(word, Word(where, word))
    return list(found.values())
