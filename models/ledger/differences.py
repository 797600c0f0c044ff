"""Where the rows of an entry and its statement part: column by column, with the value of each."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from models.ledger.canonical import any_text
from models.ledger.findings import Fault, Finding, shown

ROWS = "rows"


@dataclass(frozen=True, slots=True)
class Shape:
    """Columns of a table: name and kind (``text``, ``bytes``, ``truth``, ``whole``, ``number``), and the key."""

    table: str
    columns: tuple[tuple[str, str], ...]
    key: tuple[str, ...]

    @property
    def owner(self) -> str:
        """Give the column that names a row where the statement of its entry does."""
        return self.key[0]


_KINDS: Mapping[str, tuple[type, ...]] = {
    "text": (str,), "bytes": (bytes, bytearray, memoryview), "truth": (bool, int), "whole": (int,), "number": (int, float),
}  # fmt: skip


def right_kind(kind: str, value: object) -> bool:
    """Tell whether a value is of the kind of its column; a truth is 0 or 1 in some databases."""
    if value is None:
        return True
    if kind == "truth":
        return value is True or value is False or (isinstance(value, int) and value in {0, 1})
    return isinstance(value, _KINDS[kind]) and not isinstance(value, bool)


def entry_differences(
    entry: int,
    shapes: Mapping[str, Shape],
    line: Sequence[Any],
    rows: Mapping[str, Sequence[Sequence[Any]]],
    said: bytes,
) -> list[Finding]:
    """Give every cell in which an entry's rows say something else than its statement.

    Parameters
    ----------
    entry : int
        Number of the entry. [unitless]
    shapes : mapping of str to Shape
        Tables by name; ``entry`` is that of the line itself. [unitless]
    line : sequence
        Values of the entry's line, in the order of its shape. [as stored]
    rows : mapping of str to sequence
        Rows by table, values in the order of the shape. [as stored]
    said : bytes
        The statement. [unitless]

    Returns
    -------
    list of Finding
        Nothing where they agree in every value.
    """
    try:
        told = json.loads(said)
        told_rows = told.pop(ROWS, {})
        listed = {name: list(brought) for name, brought in told_rows.items()}
        if not all(isinstance(row, dict) for brought in listed.values() for row in brought):
            raise ValueError("a row is no object")  # noqa: TRY301
    except (ValueError, AttributeError, TypeError, RecursionError):
        return [Finding(Fault.FORM, entry, "statement", "said")]
    if told.get("number") != entry:
        # That of another entry: to compare them value by value would say nothing.
        return [Finding(Fault.SAID, entry, "statement", "entry", _plain(told.get("number")), str(entry))]
    found = _cells(entry, shapes["entry"], line, told)
    for table in sorted({*listed, *rows}):
        if table not in shapes:
            found.append(Finding(Fault.ROW_MISSING, entry, shown(table)))
            continue
        found += _rows(entry, shapes[table], list(rows.get(table, ())), listed.get(table, []))
    return found


def _rows(entry: int, shape: Shape, rows: list[Sequence[Any]], told: list[dict[str, Any]]) -> list[Finding]:
    """Pair rows with what is said of them, the likest first, and compare the pairs."""
    found: list[Finding] = []
    left = list(rows)
    for said in sorted(told, key=lambda one: -max((_likeness(shape, row, one) for row in left), default=0)):
        if not left:
            found.append(_lacking(entry, shape, said))
            continue
        row = max(left, key=lambda one: _likeness(shape, one, said))
        left.remove(row)
        found += _cells(entry, shape, row, said)
    for row in left:
        key = [shown(value) for (name, _), value in zip(shape.columns, row, strict=True) if name in shape.key]
        found.append(Finding(Fault.ROW_ADDED, entry, shape.table, shape.owner, found=" ".join(key)))
    return found


def _lacking(entry: int, shape: Shape, said: dict[str, Any]) -> Finding:
    key = " ".join(shown(said.get(name)) for name in shape.key)
    return Finding(Fault.ROW_MISSING, entry, shape.table, shape.owner, said=key)


def _likeness(shape: Shape, row: Sequence[Any], said: dict[str, Any]) -> int:
    return sum(
        _written(kind, value) == _told(said.get(name)) for (name, kind), value in zip(shape.columns, row, strict=True)
    )


def _cells(entry: int, shape: Shape, row: Sequence[Any], said: dict[str, Any]) -> list[Finding]:
    found = []
    for (name, kind), value in zip(shape.columns, row, strict=True):
        there, told = _written(kind, value), _told(said.get(name))
        if not right_kind(kind, value):
            found.append(Finding(Fault.TYPE, entry, shape.table, name, shown(value), _plain(said.get(name))))
        elif there != told:
            here = None if value is None else shown(bool(value) if kind == "truth" else value)
            found.append(Finding(Fault.VALUE, entry, shape.table, name, here, _plain(said.get(name))))
    known = {name for name, _ in shape.columns}
    found += [
        Finding(Fault.VALUE, entry, shape.table, shown(name), None, _plain(value))
        for name, value in said.items()
        if name not in known
    ]
    return found


def _plain(value: object) -> str | None:
    return None if value is None else shown(value)


def _written(kind: str, value: Any) -> str | None:
    """Give the canonical text of a cell; what has none is written so that it equals nothing."""
    if value is None:
        return None
    try:
        return any_text(bool(value) if kind == "truth" and value in {0, 1} else value)
    except (TypeError, ValueError):
        return repr(value)


def _told(value: Any) -> str | None:
    if value is None:
        return None
    try:
        return any_text(value)
    except (TypeError, ValueError):
        return repr(value)
