"""Headings between the rows of a register: one text for an area or a group, and nothing beside it.

In a list that needs nothing but a name such a text would be a machine.  A row
that holds only a name is one where its name is spelled as those of the others
are; any other is asked about.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

from models.intake.beyond import is_blank
from models.intake.mapping import SheetMapping
from models.intake.merged import rows_below
from models.intake.reading import Sheet

_LETTERS: Final = re.compile(r"[^\W\d_]+")
_DIGITS: Final = re.compile(r"\d+")
_SUFFIX: Final = re.compile(r"(?<=9)[ -]?a$")
_SHORT_WORD: Final = 3

LEFT_OUT: Final = "a record; this is one text over several columns, a heading between rows, and is left out"
"""What is said of a row that is a text merged over others."""

ASKED: Final = (
    "a record; with nothing beside it, and spelled unlike the others, this looks like a heading between rows. If it is one, take the "
    "row out; if not, write something beside it, such as a description"
)
"""What is said of a row that holds a name only."""


def shape(name: str) -> str:
    """Give how a name is spelled: short and long words, numbers and what stands between; a letter behind a number tells nothing.

    Parameters
    ----------
    name : str
        The name, such as ``P-101A``. [as typed]
    """
    words = _LETTERS.sub(lambda word: "a" if len(word[0]) <= _SHORT_WORD else "W", " ".join(name.split()))
    return _SUFFIX.sub("", _DIGITS.sub("9", words))


def names_of(sheet: Sheet, mapping: SheetMapping) -> Callable[[str], bool]:
    """Give what tells whether a name is spelled as one of those with something beside them; true where none has anything.

    Parameters
    ----------
    sheet : Sheet
        The sheet. It is looked through when the first name is asked about. [as typed]
    mapping : SheetMapping
        How it is read. [unitless]
    """
    shapes: set[str] | None = None
    columns = [column for column in mapping.columns if column.field is not None]
    places = [c.index for c in columns if c.field is not None and c.field.required and c.field.table is mapping.table]

    def tells(name: str) -> bool:
        nonlocal shapes
        if shapes is None:
            shapes = set()
            for _, cells in rows_below(sheet, mapping):
                filled = [c.index for c in columns if c.index < len(cells) and not is_blank(cells[c.index])]
                if len(filled) > 1 and places and places[0] in filled:
                    shapes.add(shape(str(cells[places[0]])))
        return not shapes or shape(name) in shapes

    return tells
