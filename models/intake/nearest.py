"""A sheet whose headings are not understood: what it comes nearest to, and which heading is missing."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from models.errors import UnreadableFileError
from models.intake import headings
from models.intake.cells import text_of
from models.intake.fields import Field, Table, fields_of
from models.intake.mapping import HEADER_SEARCH
from models.intake.reading import Sheet

_NAMES: Final = 6
"""So many of the names that a missing heading may have are told."""

_LIMITS: Final = re.compile(r"limit|toleran", re.IGNORECASE)

LIMITS_ELSEWHERE: Final = (
    "the sheet was not read: limits are no sheet of machines or jobs. They are adopted, with who and from when, from a file of their "
    "own: driftbook limits FILE --from DATE (the page of limits shows how one looks)"
)


@dataclass(frozen=True, slots=True)
class Nearest:
    """The row of a sheet that looks most like headings, what they would be of, and which that it needs are not there."""

    sheet: str
    row: int
    table: Table
    missing: tuple[Field, ...]
    understood: int

    def told(self) -> str:
        """Say it, with the names that would be understood."""
        where = f"row {self.row}" + (f" of sheet '{self.sheet}'" if self.sheet else "")
        needs = " and ".join(
            f"'{one.heading}' (or {_others(one)})" if one.other else f"'{one.heading}'" for one in self.missing
        )
        if not needs:
            needs = "any as-found or as-left value, such as 'as found offset V'"
        return (
            f"{where} comes nearest, as headings of {self.table}: {self.understood} of them "
            f"{'is' if self.understood == 1 else 'are'} understood, but none is {needs}"
        )


def nearest_of(sheet: Sheet) -> Nearest | None:
    """Find the row that looks most like headings; ``None`` where none of the first rows holds a single one.

    Parameters
    ----------
    sheet : Sheet
        A sheet in which no row of headings is understood. [as typed]
    """
    best: Nearest | None = None
    for number, row in enumerate(sheet.head[:HEADER_SEARCH], start=1):
        parts = headings.in_row(map(text_of, row))
        for table in Table:
            known = {field.key for part in parts if (field := headings.field_for(part, table)) is not None}
            missing = tuple(field for field in fields_of(table) if field.required and field.key not in known)
            if known and (best is None or len(known) > best.understood):
                best = Nearest(sheet.name, number, table, missing, len(known))
    return best


def looks_like_limits(sheet: Sheet) -> bool:
    """Tell whether a sheet is named after limits.

    Parameters
    ----------
    sheet : Sheet
        A sheet in which no row of headings is understood. [as typed]
    """
    return _LIMITS.search(sheet.name) is not None


class NotUnderstoodError(UnreadableFileError):
    """No row of headings of a file is understood; ``nearest`` says what comes nearest, or nothing, ``sheets`` are its sheets."""

    nearest: str = ""
    sheets: tuple[Sheet, ...] = ()


def not_understood(name: str, sheets: Iterable[Sheet]) -> NotUnderstoodError:
    """Say of a file that no row of headings in it is understood, and which comes nearest.

    Parameters
    ----------
    name : str
        Name of the file. [unitless]
    sheets : iterable of Sheet
        Its sheets. [as typed]
    """
    every = tuple(sheets)
    near = sorted((found for sheet in every if (found := nearest_of(sheet))), key=lambda found: -found.understood)
    told = near[0].told() if near else ""
    told = f"{told[:1].upper()}{told[1:]}." if told else ""
    fault = NotUnderstoodError(
        f"In {name} there is no row of headings that looks like machines, jobs, people, instruments or replacements.",
        remedy=(f"{told} " if told else "")
        + "Headings are English words as in the template. A sheet of jobs needs at least a tag, a date and one as-found or as-left "
        "column, each with its whole heading in one row: 'as found offset V', not 'as found' with 'offset V' below. "
        "Name them so; or say what the sheet holds (--holds jobs, say) and then, in the mapping that is written, what each column is.",
    )
    fault.nearest, fault.sheets = told, every
    return fault


def _others(field: Field) -> str:
    return ", ".join(f"'{name}'" for name in field.other[:_NAMES])
