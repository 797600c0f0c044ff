r"""Stored values as texts of a data package, and back: nothing is lost and nothing is guessed.

NULL is ``\N``; a text that begins with a backslash bears one more, so that
the two are never confused and an empty text stays an empty text.  Floats are
the shortest digits that name the number, bytes are hexadecimal, booleans
``true`` and ``false``.  Days, moments and JSON stand as they are stored.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from typing import Any

from models.store.copying import Column, Kind, Values

NULL = "\\N"

_INTEGER = re.compile(r"-?(0|[1-9]\d{0,18})", re.ASCII)
_NUMBER = re.compile(r"-?\d+(\.\d+)?(e[+-]?\d+)?", re.ASCII)
_HEX = re.compile(r"([0-9a-f]{2})*", re.ASCII)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_SMALLEST, _LARGEST = -(2**63), 2**63 - 1


class CellError(ValueError):
    """A text that is no value of its column, or a value that has no text."""


def write_cell(kind: Kind, value: Any) -> str:
    """Write a stored value.

    Parameters
    ----------
    kind : Kind
        What the column stores. [unitless]
    value : object
        The value. [as stored]

    Raises
    ------
    CellError
        If the value is none of the kind: it was not put there by this tool.
    """
    if value is None:
        return NULL
    if kind is Kind.BOOLEAN and isinstance(value, bool):
        return "true" if value else "false"
    if kind is Kind.NUMBER and isinstance(value, int | float) and not isinstance(value, bool):
        if not math.isfinite(value):
            raise CellError(f"{value} is no finite number")
        return repr(float(value))
    if kind in {Kind.INTEGER, Kind.MOMENT} and isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    if kind is Kind.BYTES and isinstance(value, bytes):
        return value.hex()
    if kind in {Kind.TEXT, Kind.JSON, Kind.DAY} and isinstance(value, str):
        return f"\\{value}" if value.startswith("\\") else value
    raise CellError(f"{type(value).__name__} {value!r:.60} in a column of {kind}")


def reader_of(column: Column) -> Callable[[str], Any]:
    """Give what reads the texts of a column; it raises :class:`CellError` on what is no value of it.

    Parameters
    ----------
    column : Column
        The column. [unitless]
    """
    read = _READERS[column.kind]

    def cell(text: str) -> Any:
        if text == NULL:
            if not column.nullable:
                raise CellError("a value is needed here")
            return None
        value = read(text)
        if column.length is not None and len(value) > column.length:
            raise CellError(f"{len(value)} letters where {column.length} are the most")
        return value

    return cell


def _boolean(text: str) -> bool:
    if text not in {"true", "false"}:
        raise CellError("'true' or 'false' is expected")
    return text == "true"


def _integer(text: str) -> int:
    if not _INTEGER.fullmatch(text) or not _SMALLEST <= int(text) <= _LARGEST:
        raise CellError("a whole number is expected")
    return int(text)


def _number(text: str) -> float:
    value = float(text) if _NUMBER.fullmatch(text) else math.nan
    if not math.isfinite(value):
        raise CellError("a finite number with a decimal point is expected")
    return value


def _bytes(text: str) -> bytes:
    if not _HEX.fullmatch(text):
        raise CellError("hexadecimal digits, two a byte, are expected")
    return bytes.fromhex(text)


def _text(text: str) -> str:
    if not text.startswith("\\"):
        return text
    if not text.startswith("\\\\"):
        raise CellError("a text that begins with a backslash bears two of them")
    return text[1:]


def _day(text: str) -> str:
    if not _DAY.fullmatch(text):
        raise CellError("a day such as 2026-11-25 is expected")
    return text


_READERS: dict[Kind, Callable[[str], Any]] = {
    Kind.BOOLEAN: _boolean,
    Kind.INTEGER: _integer,
    Kind.MOMENT: _integer,
    Kind.NUMBER: _number,
    Kind.BYTES: _bytes,
    Kind.TEXT: _text,
    Kind.JSON: _text,
    Kind.DAY: _day,
}


def write_row(columns: Sequence[Column], row: Values) -> list[str]:
    """Write a row; see :func:`write_cell`.

    Raises
    ------
    CellError
        If a value has no text; the message names the column.
    """
    cells = []
    for column, value in zip(columns, row, strict=True):
        try:
            cells.append(write_cell(column.kind, value))
        except CellError as fault:
            raise CellError(f"column {column.name}: {fault}") from None
    return cells
