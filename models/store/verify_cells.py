"""Rows to canonical bytes, fast: the same bytes as ``models.ledger.canonical`` writes, from a table of known cells.

Most cells of a book are one of a few: a reason, a name, a reading to the
hundredth of a millimetre.  Each column keeps the bytes of those it has met,
so that a row is one join of look-ups.  Whatever is odd is written as a mark
that no statement holds; the row is then looked at cell by cell elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cache
from itertools import repeat
from json.encoder import encode_basestring
from types import NoneType
from typing import Any

import sqlalchemy as sa

from models.ledger.canonical import number_text
from models.ledger.differences import Shape
from models.ledger.tree import HASH_BYTES

ROOM = 8192
"""So many cells of a column are kept at most."""

ODD = b"\xff"
"""No UTF-8 text holds this byte."""


class Brought(dict[int, bytes]):
    """What the tables brought for each entry; nothing for most kinds of entry."""

    def __missing__(self, _entry: int) -> bytes:
        """Give nothing."""
        return b""

    def many(self, values: tuple[int, ...]) -> Iterable[bytes]:
        """Give what was brought for each entry."""
        return map(self.__getitem__, values)


class Cells(dict[Any, bytes]):
    """The bytes of a column's cells by value; a value that was not met yet is written."""

    __slots__ = ("_bulk", "_write", "spread")

    def __init__(self, kind: str, before: str, after: str) -> None:
        super().__init__()
        self._write, self._bulk = _writer(kind, before, after), _bulk_writer(kind, before, after)
        self.spread = False
        """Whether nearly every cell of the column is another one: looking up is then waste."""

    def __missing__(self, value: Any) -> bytes:
        """Write a cell, and keep it while there is room."""
        written = self._write(value)
        if len(self) < ROOM:
            self[value] = written
        return written

    def many(self, values: tuple[Any, ...]) -> Iterable[bytes]:
        """Give the bytes of a column's cells."""
        if self.spread:
            try:
                return self._bulk(values) or list(map(self._write, values))
            except UnicodeEncodeError:
                return list(map(self._write, values))
        before = len(self)
        found = list(map(self.__getitem__, values))
        self.spread = len(values) >= 1000 and (len(self) - before) * 2 > len(values)
        return found


def joined(cells: Sequence[Cells | Brought], rows: Sequence[Sequence[Any]], opens: bytes, closes: bytes) -> list[bytes]:
    """Give each row as the bytes of its cells between an opening and a closing mark.

    Column by column: one that holds the same in every row is written once.
    """
    parts: list[Iterable[bytes]] = []
    constant, count = opens, len(rows)
    for of, values in zip(cells, zip(*rows, strict=True), strict=True):
        if values.count(values[0]) == count and not (of.__class__ is Brought and count > 1):
            constant += of[values[0]]
            continue
        if constant:
            parts.append(repeat(constant))
        constant = b""
        parts.append(of.many(values))
    if constant + closes:
        parts.append(repeat(constant + closes))
    if count == 1 and len(parts) == 1:
        return [constant + closes]
    return list(map(b"".join, zip(*parts)))  # noqa: B905 - what is repeated has no end


def kind_of(column: sa.Column[Any]) -> str:
    """Give what kind of value a column holds."""
    kind = column.type
    plain = kind.impl_instance if isinstance(kind, sa.TypeDecorator) else kind
    for of, name in ((sa.LargeBinary, "bytes"), (sa.Boolean, "truth"), (sa.Integer, "whole"), (sa.Float, "number")):
        if isinstance(plain, of):
            return name
    return "text"


@cache
def shape_of(table: str) -> Shape:
    """Give the columns of a table in the order of their names, as a statement has them."""
    from models.tables.every import metadata

    of = metadata.tables[table]
    key = tuple(column.name for column in of.primary_key.columns)
    return Shape(table, tuple(sorted((column.name, kind_of(column)) for column in of.columns)), key)


def _writer(kind: str, before: str, after: str) -> Callable[[Any], bytes]:
    def text(value: Any) -> bytes:
        if value.__class__ is not str:
            return b"" if value is None else ODD
        try:
            return f"{before}{encode_basestring(value)}{after}".encode()
        except UnicodeEncodeError:
            return ODD

    def raw(value: Any) -> bytes:
        if value.__class__ is not bytes:
            return b"" if value is None else ODD
        return f'{before}"{value.hex()}"{after}'.encode()

    def truth(value: Any) -> bytes:
        if value is None:
            return b""
        if value is True or (value.__class__ is int and value == 1):
            return f"{before}true{after}".encode()
        return f"{before}false{after}".encode() if value is False or (value.__class__ is int and value == 0) else ODD

    def whole(value: Any) -> bytes:
        if value.__class__ is not int:
            return b"" if value is None else ODD
        return f"{before}{value}{after}".encode()

    def number(value: Any) -> bytes:
        if value.__class__ is not float:
            return b"" if value is None else ODD
        try:
            return f"{before}{number_text(value)}{after}".encode()
        except ValueError:
            return ODD

    return {"text": text, "bytes": raw, "truth": truth, "whole": whole, "number": number}[kind]


def _bulk_writer(kind: str, before: str, after: str) -> Callable[[Sequence[Any]], list[bytes] | None]:
    """Give how a whole column is written at once, a line for each cell; it gives nothing where a cell is odd.

    No cell holds an end of line: texts have it escaped.
    """

    def lines(texts: Iterable[str]) -> list[bytes]:
        whole = f"{after}\n{before}".join(texts)
        return f"{before}{whole}{after}".encode().split(b"\n")

    def text(values: Sequence[Any]) -> list[bytes] | None:
        return lines(map(encode_basestring, values)) if set(map(type, values)) == {str} else None

    def raw(values: Sequence[Any]) -> list[bytes] | None:
        if set(map(type, values)) != {bytes} or set(map(len, values)) != {HASH_BYTES}:
            return None
        return lines([f'"{one}"' for one in b"".join(values).hex("\n", HASH_BYTES).split("\n")])

    def whole(values: Sequence[Any]) -> list[bytes] | None:
        return lines(map(str, values)) if set(map(type, values)) == {int} else None

    def number(values: Sequence[Any]) -> list[bytes] | None:
        if not set(map(type, values)) <= {float, NoneType}:
            return None
        found = "\n".join(map(repr, values)) + "\n"
        if found.count("e") != found.count("None") or "-0.0\n" in found or "nan" in found or "inf" in found:
            return None
        found = found.replace(".0\n", "\n").replace("\n", f"{after}\n{before}")[: -len(before) - 1]
        return f"{before}{found}".replace(f"{before}None{after}", "").encode().split(b"\n")

    return {"text": text, "bytes": raw, "truth": lambda _values: None, "whole": whole, "number": number}[kind]


class RowWriter:
    """Writes rows of one table; the columns come in the order of their names."""

    def __init__(self, table: str) -> None:
        self.shape = shape_of(table)
        last = len(self.shape.columns) - 1
        self._cells = [
            Cells(kind, f'"{name}":', "" if place == last else ",")
            for place, (name, kind) in enumerate(self.shape.columns)
        ]
        columns = _nullable(table)
        # Where the last column may be empty, the comma before it has to go: the exact way is taken there.
        self._ends_open = columns[self.shape.columns[last][0]]

    def texts(self, rows: Sequence[Sequence[Any]]) -> list[bytes]:
        """Give the canonical bytes of rows."""
        if self._ends_open:
            return [text.rstrip(b",") + b"}" for text in joined(self._cells, rows, b"{", b"")]
        return joined(self._cells, rows, b"{", b"}")


def _nullable(table: str) -> dict[str, bool]:
    from models.tables.every import metadata

    return {column.name: bool(column.nullable) for column in metadata.tables[table].columns}


class StatementWriter:
    """Writes whole statements: lines of entries, with what the tables brought for each between two of their members."""

    def __init__(self) -> None:
        self.shape = shape_of("entry")
        names = [name for name, _ in self.shape.columns]
        place = names.index("number") + 1
        last = len(names) - 1
        self._before: list[Cells] = []
        self._after: list[Cells] = []
        for at, (name, kind) in enumerate(self.shape.columns):
            (self._before if at < place else self._after).append(Cells(kind, f'"{name}":', "" if at == last else ","))
        self.number = place - 1
        self.columns = (*names[:place], "number", *names[place:])
        """Columns to ask for: the number a second time, where the rows are put in."""

    def texts(self, lines: Sequence[Sequence[Any]], brought: Brought) -> list[bytes]:
        """Give the canonical bytes of statements; lines have the columns of ``columns``."""
        return joined([*self._before, brought, *self._after], lines, b"{", b"}") if lines else []

    def line(self, row: Sequence[Any]) -> list[Any]:
        """Give a line in the order of its shape, without the number that stands twice."""
        return [*row[: self.number + 1], *row[self.number + 2 :]]


def add_rows(brought: Brought, table: str, owners: Sequence[int], texts: Sequence[bytes]) -> None:
    """Put rows of a table where their entries look for them; tables come in the order of their names."""
    opens = f'"{table}":['.encode()
    if len(set(owners)) == len(texts):
        for owner, text in zip(owners, texts, strict=True):
            before = brought.get(owner)
            brought[owner] = opens + text + b"]" if before is None else b"%b,%b%b]" % (before, opens, text)
        return
    several: dict[int, list[bytes]] = {}
    for owner, text in zip(owners, texts, strict=True):
        several.setdefault(owner, []).append(text)
    for owner, rows in several.items():
        whole = rows[0] if len(rows) == 1 else b",".join(sorted(rows))
        before = brought.get(owner)
        brought[owner] = opens + whole + b"]" if before is None else before + b"," + opens + whole + b"]"


def close_rows(brought: Brought) -> None:
    """Make a member of each entry's rows."""
    for owner, rows in brought.items():
        brought[owner] = b'"rows":{' + rows + b"},"
