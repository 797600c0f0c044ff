"""Rows as PostgreSQL's COPY reads them: a text for each, put together column by column.

Written row by row, value by value, the same text takes the driver as long as reading,
checking and judging take together.  A value that comes again is written once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from models.ledger.columns import Coded, Column, Pieces, Same

FORM = r"(FORMAT csv, DELIMITER E'\t', QUOTE E'\x01', NULL '\N')"
"""What is said to COPY.  As CSV, because there a backslash is a sign like any other, and canonical texts are full of them."""

NULL = "\\N"
_QUOTE = "\x01"


def _text(value: str) -> str:
    # The quote is a sign that no text holds as a rule: what follows it is rare.
    if "\n" in value or "\t" in value or "\r" in value or _QUOTE in value or value == NULL:
        return f"{_QUOTE}{value.replace(_QUOTE, _QUOTE * 2)}{_QUOTE}"
    return value


def _truth(value: bool) -> str:
    return "t" if value else "f"


def _bytes(value: bytes | bytearray | memoryview) -> str:
    return f"\\x{value.hex()}"


_WRITERS: dict[type, Callable[[Any], str]] = {
    str: _text,
    bool: _truth,
    int: int.__repr__,
    float: float.__repr__,  # the shortest digits that give the same binary number again
    bytes: _bytes,
    bytearray: _bytes,
    memoryview: _bytes,
    type(None): lambda _value: NULL,
}


def written(value: Any) -> str:
    """Write a value as COPY reads it.

    Parameters
    ----------
    value : any
        A text, number, truth, bytes or ``None``. [as stored]

    Raises
    ------
    TypeError
        If it is of another kind.
    """
    write = _WRITERS.get(value.__class__)
    if write is None:
        # A kind of its own that is one of these: a member of an enumeration, a number of numpy.
        write = next((found for kind, found in _WRITERS.items() if isinstance(value, kind)), None)
        if write is None:
            raise TypeError(f"{type(value).__name__} has no form in a COPY")
    return write(value)


def row_line(row: Sequence[Any]) -> str:
    """Write one row: its values between tabs, with the end of the line.

    Parameters
    ----------
    row : sequence
        Values in the order of the columns. [as stored]
    """
    return "\t".join(map(written, row)) + "\n"


def copy_lines(names: Sequence[str], columns: Sequence[Column], rows: int) -> list[str]:
    r"""Write many rows that are given as columns.

    Parameters
    ----------
    names : sequence of str
        Names of the columns. [unitless]
    columns : sequence of Column
        The columns in that order. [as stored]
    rows : int
        Number of rows. [unitless]

    Returns
    -------
    list of str
        For each row its values between tabs, with the end of the line.
    """
    pieces = Pieces(rows)
    for place, (name, column) in enumerate(zip(names, columns, strict=True)):
        if place:
            pieces.same("\t")
        if isinstance(column, Same):
            pieces.same(written(column.value))
        elif isinstance(column, Coded):
            pieces.coded(column.codes, column.parts(f"COPY {name}", written))
        else:
            pieces.each(_each(column.values))
    pieces.same("\n")
    return pieces.joined()


def _each(values: Sequence[Any]) -> list[str]:
    kinds = set(map(type, values))
    if len(kinds) == 1:
        write = _WRITERS.get(kinds.pop(), written)
        return list(map(write, values))
    return list(map(written, values))
