"""Cells in which a spreadsheet shows no value: its error values, and formulas that were saved without what they give.

The reader of workbooks takes both for blank cells, and a blank target is a
target of 0: so they are looked for in the sheets themselves, and put where
they stand as texts that no field accepts.
"""

from __future__ import annotations

import html
import re
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final, TypeVar
from xml.etree import ElementTree as ET

from models.intake.cell_walk import WalkedCell, column_number, is_usual, walk
from models.intake.shown_cells import NO_VALUE
from models.intake.spoilt_xls import spoilt_cells_of_xls

T = TypeVar("T")

_RELATION: Final = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_PIECE: Final = 1 << 20
_OVERLAP: Final = 64
_LONGEST: Final = 1 << 20
"""What a cell cannot be longer than, far above what a spreadsheet takes."""

_MOST_TAGS: Final = 400_000
_F: Final = rb"<f\b[^<>]*?(?:/>|(?<!/)>(?P<formula>[^<]*)</f>)\s*"
_NO_RESULT: Final = re.compile(rb"<c\b(?P<cell>[^<>]*)(?<!/)>\s*" + _F + rb"(?:<v\b[^<>]*?(?:/>|(?<!/)>\s*</)|</c>)")
_ERROR: Final = re.compile(
    rb"<c\b(?P<cell>[^<>]*)(?<!/)>\s*(?:" + _F + rb")?(?:<v\b[^<>]*?(?:/>|(?<!/)>(?P<value>[^<]*)</v>))?"
)
"""A cell with a formula and nothing in place of its value, and any cell; none of them looks farther than to the next tag but two."""

_PLACE: Final = re.compile(rb"\sr\s*=\s*[\"']\$?([A-Za-z]{1,3})\$?(\d{1,7})[\"']")
_KIND: Final = re.compile(rb"\st\s*=\s*[\"'](\w+)[\"']")
_FORMULA: Final = b"<f"
_ERRORS_SAID: Final = (b'"e"', b"'e'")
"""One of them stands in every piece of a sheet with such a cell; most sheets have none of them."""

_BEGINS: Final = re.compile(rb"<(?:\w+:)?c[\s>]")


def spoilt_cells(path: Path) -> dict[str, dict[tuple[int, int], str]]:
    """Give the spoilt cells of each sheet of a workbook: text by row and column, both from 0.

    Parameters
    ----------
    path : pathlib.Path
        A workbook that was checked. [unitless]
    """
    with path.open("rb") as stream:
        is_packed = stream.read(2) == b"PK"
    if not is_packed:
        return spoilt_cells_of_xls(path)
    found: dict[str, dict[tuple[int, int], str]] = {}
    with zipfile.ZipFile(path) as packed:
        for name, part in sheets_of(packed):
            cells = _spoilt(packed, part)
            if cells:
                found[name] = cells
    return found


def overlay(grid: list[list[T]], spoilt: dict[tuple[int, int], str]) -> list[list[T | str]]:
    """Put spoilt cells where they stand; the grid grows where they lie outside of it.

    Parameters
    ----------
    grid : list of list
        Rows of cells, all of one length. [as typed]
    spoilt : dict
        Texts by row and column, both from 0. [as typed]
    """
    width = max(max(map(len, grid), default=0), 1 + max(column for _, column in spoilt))
    whole: list[list[T | str]] = [[*row, *([""] * (width - len(row)))] for row in grid]
    whole.extend([""] * width for _ in range(len(grid), 1 + max(row for row, _ in spoilt)))
    for (row, column), text in spoilt.items():
        whole[row][column] = text
    return whole


def sheets_of(packed: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    """Give the sheets by name with the parts in which they stand.

    Parameters
    ----------
    packed : zipfile.ZipFile
        A workbook that was checked. [unitless]
    """
    parts = {name.lower(): name for name in packed.namelist()}
    if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= parts.keys():
        return
    relations = tree_of(packed, parts["xl/_rels/workbook.xml.rels"])
    targets = {relation.get("Id"): relation.get("Target", "") for relation in relations}
    for sheet in tree_of(packed, parts["xl/workbook.xml"]).iter():
        target = targets.get(sheet.get(_RELATION, ""), "") if sheet.tag.endswith("}sheet") else ""
        part = parts.get((target.lstrip("/") if target.startswith("/") else f"xl/{target}").lower())
        if target and part is not None:
            yield sheet.get("name", ""), part


def tree_of(packed: zipfile.ZipFile, part: str) -> ET.Element:
    """Give a small part of a workbook as a tree.

    Parameters
    ----------
    packed : zipfile.ZipFile
        A workbook that was checked. [unitless]
    part : str
        The part. [unitless]

    Raises
    ------
    ValueError
        If it is no small one: a tree takes many times the room of its text.
    """
    text = packed.read(part)
    if text.count(b"<") > _MOST_TAGS:
        raise ValueError(f"{part} is longer than any workbook needs")
    # The workbook was checked: it holds no definitions of its own, and so nothing that could unfold.
    return ET.fromstring(text)  # noqa: S314


def _spoilt(packed: zipfile.ZipFile, part: str) -> dict[tuple[int, int], str]:
    found = found_in(packed, part, _in_piece)
    if found is not None:
        return found
    cells: dict[tuple[int, int], str] = {}

    def take(cell: WalkedCell) -> None:
        kind = cell.said.get("t", "")
        if kind == "e" and (cell.formula is not None or cell.value is not None):
            cells[cell.row, cell.column] = (cell.value or "").strip() or "#VALUE!"
        elif cell.formula is not None and not (cell.value or "").strip() and kind not in {"str", "e"}:
            cells[cell.row, cell.column] = f"{NO_VALUE}={cell.formula}"

    walk_part(packed, part, take)
    return cells


def found_in(
    packed: zipfile.ZipFile, part: str, look: Callable[[bytes], Iterator[tuple[tuple[int, int], T]]]
) -> dict[tuple[int, int], T] | None:
    """Give what is found in the pieces of a sheet; ``None`` where its cells are written in no usual way, and have to be walked.

    Parameters
    ----------
    packed : zipfile.ZipFile
        A workbook that was checked. [unitless]
    part : str
        The part in which the sheet stands. [unitless]
    look : callable
        Gives what it finds in a piece. [unitless]
    """
    found: dict[tuple[int, int], T] = {}
    for piece in pieces_of(packed, part):
        if not is_usual(piece):
            return None
        found.update(look(piece))
    return found


def walk_part(packed: zipfile.ZipFile, part: str, take: Callable[[WalkedCell], None]) -> None:
    """Go through each cell of a sheet that is written in no usual way.

    Parameters
    ----------
    packed : zipfile.ZipFile
        A workbook that was checked. [unitless]
    part : str
        The part in which the sheet stands. [unitless]
    take : callable
        Is given each cell. [unitless]
    """
    with packed.open(part) as stream:
        walk(iter(lambda: stream.read(_PIECE), b""), take)


def pieces_of(packed: zipfile.ZipFile, part: str) -> Iterator[bytes]:
    """Give a sheet in pieces that hold whole cells.

    Parameters
    ----------
    packed : zipfile.ZipFile
        A workbook that was checked. [unitless]
    part : str
        The part in which the sheet stands. [unitless]
    """
    with packed.open(part) as stream:
        held = b""
        while piece := stream.read(_PIECE):
            seen = held + piece
            cut = _last_cell(seen)
            cut = cut if len(seen) - cut <= _LONGEST else len(seen)
            yield seen[:cut]
            held = seen[cut:]
        yield held


def _last_cell(seen: bytes) -> int:
    """Give where the last cell begins: it may not be finished, and is looked at with the next piece."""
    starts = seen.rfind(b"<c "), seen.rfind(b":c ")
    if starts[0] > starts[1]:
        return starts[0]
    if starts[1] > 0:
        return max(0, seen.rfind(b"<", 0, starts[1]))
    return max((match.start() for match in _BEGINS.finditer(seen)), default=max(0, len(seen) - _OVERLAP))


def _in_piece(piece: bytes) -> Iterator[tuple[tuple[int, int], str]]:
    if any(sign in piece for sign in _ERRORS_SAID):
        for cell in _ERROR.finditer(piece):
            kind = _KIND.search(cell["cell"])
            if kind is not None and kind[1] == b"e":
                text = (cell["value"] or b"").decode("utf-8", "replace").strip() or "#VALUE!"
                yield from _placed(cell["cell"], text)
    if _FORMULA in piece:
        for cell in _NO_RESULT.finditer(piece):
            kind = _KIND.search(cell["cell"])
            # One that gives a text says so, and an empty text is a value.
            if kind is None or kind[1] not in {b"str", b"e"}:
                formula = html.unescape((cell["formula"] or b"").decode("utf-8", "replace"))
                yield from _placed(cell["cell"], f"{NO_VALUE}={formula}")


def _placed(cell: bytes, text: str) -> Iterator[tuple[tuple[int, int], str]]:
    place = place_of(cell)
    if place is not None:
        yield place, text


def place_of(cell: bytes) -> tuple[int, int] | None:
    """Give row and column of a cell, both from 0, by what its tag says; ``None`` where it says none.

    Parameters
    ----------
    cell : bytes
        The inside of its tag. [as typed]
    """
    place = _PLACE.search(cell)
    return None if place is None else (int(place[2]) - 1, column_number(place[1].decode()) - 1)
