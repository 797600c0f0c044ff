"""What is heard and said while it is chosen how a file is read."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final, Protocol

from models.intake.mapping import FileMapping, SheetMapping
from models.intake.problems import Code, Problem, Severity
from models.intake.reading import Sheet

_SHOWN: Final = 3


class Listener(Protocol):
    """Hears how a file is going to be read while that is chosen."""

    def says(self, text: str) -> None:
        """Hear a sentence."""

    def begins(self, name: str, text: str) -> None:
        """Hear that a file, or some of its sheets, are proposed a mapping."""

    def shows(self, mapping: FileMapping) -> None:
        """See how sheets would be read, with samples."""

    def waits(self, place: Path, asked: Sequence[str]) -> None:
        """Hear that a mapping waits to be confirmed, and which of its columns have to be answered before."""


def told_hidden(path: Path, sheet: Sheet) -> Problem:
    """Say of a sheet that is read that a spreadsheet does not show it."""
    told = "the workbook hides this sheet; it was read all the same"
    return Problem(path.name, sheet.name, 0, "", Code.HIDDEN_SHEET, Severity.WARNING, "", told, is_sentence=True)


def told_answered(made: SheetMapping) -> str:
    """Say of a proposal which columns are read as was confirmed for the same headings, and where."""
    places = dict.fromkeys(column.as_in for column in made.columns if column.as_in)
    return "; ".join(
        f"{some([repr(c.heading) for c in made.columns if c.as_in == place])} as confirmed for the same heading in {place}"
        for place in places
    )


def some(names: Sequence[str]) -> str:
    """Name the first of many, and count the rest."""
    shown = ", ".join(names[:_SHOWN])
    return shown if len(names) <= _SHOWN else f"{shown} and {len(names) - _SHOWN} more"


def whose(mapping: FileMapping) -> str:
    """Name the site for which a mapping was confirmed, with its units."""
    return f"{mapping.site} ({mapping.units})" if mapping.site else "another site of this book"
