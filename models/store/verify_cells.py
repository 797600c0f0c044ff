"""Rows to canonical bytes, fast: the same bytes as ``models.ledger.canonical`` writes, from a table of known cells.

Most cells of a book are one of a few: a reason, a name, a reading to the
hundredth of a millimetre.  Each column keeps the bytes of those it has met,
so that a row is one join of look-ups.  Whatever is odd is written as a mark
that no statement holds; the row is then looked at cell by cell elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from itertools import repeat
from json.encoder import encode_basestring
from types import NoneType
from typing import Any

import sqlalchemy as sa

from models.ledger.canonical import number_text
from models.ledger.differences import Shape
from models.ledger.tree import HASH_BYTES

ROOM = 16384
"""So many cells of a column are kept at most."""

_CONTROL = bytes(range(32))

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
        self.spread = len(values) >= 1000 and (len(self) - before) * 10 > 9 * len(values)
        return found


def joined(
    cells: Sequence[Cells | Brought],
    rows: Sequence[Sequence[Any]],
    opens: bytes,
    closes: bytes,
    steady: Mapping[int, Any] | None = None,
) -> list[bytes]:
    """Give each row as the bytes of its cells between an opening and a closing mark.

    Column by column: one that holds the same in every row is written once, and
    need not even stand in the rows where its value is given as *steady*.
    """
    parts: list[Iterable[bytes]] = []
    constant, count, known = opens, len(rows), steady or {}
    columns = iter(zip(*rows, strict=True))
    for place, of in enumerate(cells):
        if place in known:
            constant += of[known[place]]
            continue
        values = next(columns)
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


def _only(kind: type, value: Any) -> Any:
    if value.__class__ is not kind:
        raise TypeError(f"{kind.__name__} is expected")
    return value


def _truth(value: Any) -> str:
    if value.__class__ not in {bool, int} or value not in {0, 1}:
        raise TypeError("a truth is expected")
    return "true" if value else "false"


_PLAIN: Mapping[str, Callable[[Any], str]] = {
    "text": lambda value: encode_basestring(_only(str, value)),
    "bytes": lambda value: f'"{_only(bytes, value).hex()}"',
    "truth": _truth,
    "whole": lambda value: str(_only(int, value)),
    "number": lambda value: number_text(_only(float, value)),
}
"""How the cells of each kind of column are written; one of another kind raises."""


def _writer(kind: str, before: str, after: str) -> Callable[[Any], bytes]:
    plain = _PLAIN[kind]

    def write(value: Any) -> bytes:
        if value is None:
            return b""
        try:
            return f"{before}{plain(value)}{after}".encode()
        except (TypeError, ValueError):
            return ODD

    return write


def _bulk_writer(kind: str, before: str, after: str) -> Callable[[Sequence[Any]], list[bytes] | None]:
    """Give how a whole column is written at once, a line for each cell; it gives nothing where a cell is odd.

    No cell holds an end of line: texts have it escaped.
    """
    opens, closes = f'{before}"'.encode(), f'"{after}'.encode()

    def lines(texts: Iterable[str]) -> list[bytes]:
        whole = f"{after}\n{before}".join(texts)
        return f"{before}{whole}{after}".encode().split(b"\n")

    def text(values: Sequence[Any]) -> list[bytes] | None:
        if set(map(type, values)) != {str}:
            return None
        whole = "\n".join(values).encode()
        if b"\\" in whole or len(whole.translate(None, _CONTROL)) != len(whole) - len(values) + 1:
            return lines(map(encode_basestring, values))
        # Nothing to be escaped but quotation marks: a good deal quicker for long texts.
        between = f'"{after}\n{before}"'.encode()
        return (opens + whole.replace(b'"', b'\\"').replace(b"\n", between) + closes).split(b"\n")

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
        self.steady: dict[int, Any] = {}

    def look(self, rows: Sequence[Sequence[Any]]) -> None:
        """Remember which columns held the same in every row of many: they are asked about, and not for, next time."""
        if len(rows) >= 1000 and not self._ends_open:
            columns = enumerate(zip(*rows, strict=True))
            self.steady = {place: values[0] for place, values in columns if values.count(values[0]) == len(rows)}

    def texts(self, rows: Sequence[Sequence[Any]], *, without_steady: bool = False) -> list[bytes]:
        """Give the canonical bytes of rows, which may lack the columns that are steady."""
        if without_steady:
            return joined(self._cells, rows, b"{", b"}", self.steady)
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
