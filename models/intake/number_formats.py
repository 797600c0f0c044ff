"""What a workbook's number formats show beside a number: a unit in '0.0" mil"', the sign of '0.00%', a thousand left away.

The reader of workbooks gives the bare number.  A person sees the unit as if it
stood in the cell, and so such a number is read as that text.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from models.intake.cell_walk import WalkedCell
from models.intake.heading_units import is_unit
from models.intake.shown_cells import Shown
from models.intake.spoilt import found_in, place_of, sheets_of, tree_of, walk_part
from models.intake.spoilt_xls import formats_of_xls

_BUILT_IN: Final = {9: "0%", 10: "0.00%"}
_STYLES: Final = "xl/styles.xml"
_MOST_CODE: Final = 1_000
"""Characters of a format: several times what a spreadsheet takes."""

_CELL: Final = re.compile(rb"<c\b(?P<cell>[^<>]*)(?<!/)>")
_STYLE: Final = re.compile(rb"\ss\s*=\s*[\"'](\d{1,6})[\"']")
_TEXT: Final = re.compile(rb"\st\s*=\s*[\"'](?!n[\"'])")
_PART: Final = re.compile(
    r'"(?P<quoted>[^"]*)"?|\\(?P<one>.)|[_*].|\[(?P<in>[^\[\]]*)\]|(?P<general>general)|(?P<other>.)',
    re.IGNORECASE | re.DOTALL,
)
_THOUSANDS: Final = re.compile(r"(?<=[0#?]),+(?=\.|$)")
_NO_UNIT: Final = " \u00a0\u202f+-−–()"

Places = dict[tuple[int, int], "Format"]


@dataclass(frozen=True, slots=True)
class Section:
    """One part of a format: what it shows beside the number, and by what the number that it shows is larger.

    ``has_number`` is false where it shows words in place of the number, ``has_sign`` true where it writes a sign itself;
    ``is_zero`` tells that it is for 0 alone, by a bound.
    """

    beside: str = ""
    times: float = 1.0
    is_bound: bool = False
    has_number: bool = True
    has_sign: bool = False
    is_zero: bool = False


@dataclass(frozen=True, slots=True)
class Format:
    """A format that shows more than a number, by its parts: for numbers above 0, below, and 0."""

    sections: tuple[Section, ...]

    def of(self, value: float) -> Shown | None:
        """Give a number as a person reads it; ``None`` where nothing stands beside it, or a word stands for 0."""
        chosen = self._section_of(value)
        if not chosen.has_number:
            # A word for 0 hides nothing: there is one number that it can be.
            return Shown(value, chosen.beside) if chosen.beside and value != 0 else None
        if not chosen.beside and chosen.times == 1.0:
            return None
        # A part of its own for numbers below 0 shows them without their sign; a unit is read with it all the same.
        is_bare = chosen is not self.sections[0] and not chosen.has_sign and not is_unit(chosen.beside)
        shown = (abs(value) if is_bare else value) * chosen.times
        return Shown(value, f"{shown:.15g} {chosen.beside}".strip())

    def _section_of(self, value: float) -> Section:
        numbers = self.sections[:3]
        others = [section for section in numbers if not section.is_zero]
        if len(others) < len(numbers):
            if value == 0 or not others:
                return next(section for section in numbers if section.is_zero)
            numbers = tuple(others)
        if any(section.is_bound for section in numbers) or (len(others) < len(self.sections[:3]) and len(numbers) > 1):
            # Which part shows a number goes by bounds: where they show one thing it is that, else nobody can tell.
            return Section(" or ".join(dict.fromkeys(s.beside for s in numbers)), numbers[0].times, has_sign=True)
        place = 0 if value > 0 else 1 if value < 0 else 2
        return numbers[place] if place < len(numbers) else numbers[0]


def read_format(code: str) -> Format | None:
    """Take a format apart; ``None`` where it shows a number alone, or dates.

    Parameters
    ----------
    code : str
        The format as it stands in the file, e.g. ``0.0" mil"``. [as typed]

    Raises
    ------
    ValueError
        If it is longer than any that a spreadsheet takes.
    """
    if len(code) > _MOST_CODE:
        raise ValueError("a number format is longer than any can be")
    sections: list[Section] = []
    for text in _parts(code):
        section = _section(text)
        if section is None:
            return None
        sections.append(section)
    return Format(tuple(sections)) if any(s.beside or s.times != 1.0 for s in sections[:3]) else None


def _parts(code: str) -> list[str]:
    """Cut a format at its semicolons, but not within a quotation."""
    parts, held = [""], code
    for match in _PART.finditer(held):
        if match["other"] == ";":
            parts.append("")
        else:
            parts[-1] += match[0]
    return parts


def _section(text: str) -> Section | None:
    beside, digits, percent, is_bound, is_zero, is_general = "", "", 0, False, False, False
    for match in _PART.finditer(text):
        inside, other = match["in"], match["other"]
        if match["quoted"] is not None or match["one"] is not None:
            beside += match["quoted"] if match["quoted"] is not None else match["one"]
        elif inside is not None:
            if re.fullmatch(r"[hms]+", inside, re.IGNORECASE):
                return None
            is_zero = is_zero or bool(re.fullmatch(r"=\s*0(?:\.0*)?", inside))
            is_bound = is_bound or inside[:1] in {"<", ">", "="}
            beside += inside[1:].partition("-")[0] if inside.startswith("$") else ""
        elif other is None:
            is_general = is_general or match["general"] is not None
        elif other in "ymdhs" or other in "YMDHS":
            return None
        elif other == "%":
            percent += 1
        elif other in "0#?.,/":
            digits += other
        elif other not in "eE@":
            beside += other
    thousands = sum(len(found) for found in _THOUSANDS.findall(digits))
    shown = " ".join(filter(None, (beside.strip(_NO_UNIT), "%" * percent)))
    return Section(
        shown,
        100.0**percent / 1000.0**thousands,
        is_bound,
        has_number=is_general or "@" in text or any(sign in digits for sign in "0#?"),
        has_sign=any(sign in beside for sign in "-−–("),
        is_zero=is_zero,
    )


def formatted_cells(path: Path) -> dict[str, Places]:
    """Give the cells of each sheet of a workbook whose format shows more than a number, by row and column, both from 0.

    Parameters
    ----------
    path : pathlib.Path
        A workbook that was checked. [unitless]

    Raises
    ------
    ValueError
        If one of the old form (XLS) is not put together as it should be.
    """
    if not zipfile.is_zipfile(path):
        return _in_old(path)
    with zipfile.ZipFile(path) as packed:
        styles = _styles(packed)
        if not styles:
            return {}
        found = ((name, _in_sheet(packed, part, styles)) for name, part in sheets_of(packed))
        return {name: cells for name, cells in found if cells}


def _in_old(path: Path) -> dict[str, Places]:
    found: dict[str, Places] = {}
    made: dict[str, Format | None] = {}
    for name, cells in formats_of_xls(path).items():
        for place, code in cells.items():
            if code not in made:
                made[code] = read_format(code)
            if (read := made[code]) is not None:
                found.setdefault(name, {})[place] = read
    return found


def _styles(packed: zipfile.ZipFile) -> dict[bytes, Format]:
    part = next((name for name in packed.namelist() if name.lower() == _STYLES), None)
    if part is None:
        return {}
    root = tree_of(packed, part)
    codes = dict(_BUILT_IN)
    xfs: Sequence[Any] = ()
    for child in root:
        if child.tag.endswith("}numFmts"):
            codes |= {_number(one.get("numFmtId")): one.get("formatCode", "") for one in child}
        elif child.tag.endswith("}cellXfs"):
            xfs = list(child)
    read = {number: made for number, code in codes.items() if (made := read_format(code)) is not None}
    numbers = [_number(one.get("numFmtId")) for one in xfs]
    return {str(place).encode(): read[number] for place, number in enumerate(numbers) if number in read}


def _number(text: str | None) -> int:
    return int(text) if text is not None and text.isdecimal() and len(text) < 10 else -1


def _in_sheet(packed: zipfile.ZipFile, part: str, styles: dict[bytes, Format]) -> Places:
    def look(piece: bytes) -> Iterator[tuple[tuple[int, int], Format]]:
        for cell in _CELL.finditer(piece):
            style = _STYLE.search(cell["cell"])
            made = None if style is None else styles.get(style[1])
            if made is not None and not _TEXT.search(cell["cell"]) and (place := place_of(cell["cell"])) is not None:
                yield place, made

    found = found_in(packed, part, look)
    if found is not None:
        return found
    cells: Places = {}

    def take(cell: WalkedCell) -> None:
        made = styles.get(cell.said.get("s", "").encode())
        if made is not None and cell.said.get("t", "n") == "n":
            cells[cell.row, cell.column] = made

    walk_part(packed, part, take)
    return cells


def show(grid: list[list[Any]], cells: Places) -> None:
    """Put into a grid what is shown beside its numbers; texts and dates stay as they are.

    Parameters
    ----------
    grid : list of list
        Rows of cells. [as typed]
    cells : dict
        Formats by row and column, both from 0. [unitless]
    """
    for (row, column), made in cells.items():
        if row < len(grid) and column < len(grid[row]):
            cell = grid[row][column]
            if isinstance(cell, int | float) and not isinstance(cell, bool) and (shown := made.of(cell)) is not None:
                grid[row][column] = shown
