"""Verification where pages of a SQLite book are damaged: what can be read is looked at, and what cannot is named."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, TypeVar

import sqlalchemy as sa

from models.errors import BookDamagedError, UndecodableTextError
from models.ledger.findings import Fault, Finding, Tally
from models.store.verify_around import head_sizes, past_indexes
from models.store.verify_chunk import SIZE, Stretch
from models.tables.proofs import StatementRow

TRIES = 400
"""So many looks at parts of one stretch may fail before what is left of it is named as a whole: each takes some questions, and a stretch whose index is gone would take thousands."""

_T = TypeVar("_T")

_LEAST: Final = 8
"""No entry takes fewer bytes of the file."""


def extent(connection: sa.Connection) -> tuple[int, int | None, int | None]:
    """Give how many entries there are, and the smallest and largest of their numbers, from what can be read.

    The table says it itself, for an index may be damaged alone, or look past an entry.  Where pages of the table are damaged, an
    index still counts; else heads and statements say how far the numbers run, and none is taken for missing: a stretch names those that are.
    """
    table = f"entry{past_indexes(connection)}"

    def asked(what: str, of: str = table) -> int | None:
        return connection.exec_driver_sql(f"SELECT {what} FROM {of}").scalar()  # noqa: S608 - our own names

    low = _first_that_reads(connection, lambda: asked("min(number)"), lambda: 1)
    high = _first_that_reads(connection, lambda: asked("max(number)"), lambda: _said_to_reach(connection))
    count = _first_that_reads(
        connection,
        lambda: asked("count(*)"),
        lambda: asked("count(*)", "entry"),
        lambda: _plausible(connection, low or 1, high or 0),
    )
    return count or 0, low, high


def bounds(connection: sa.Connection, count: int, low: int, high: int) -> list[tuple[int, int]]:
    """Give the stretches; where numbers are missing they end with every so-manieth entry that is there."""

    def plain() -> list[tuple[int, int]]:
        _plausible(connection, low, high)
        return [(first, min(first + SIZE - 1, high)) for first in range(1, high + 1, SIZE)]

    def by_place() -> list[tuple[int, int]]:
        placed = f"SELECT number, row_number() OVER (ORDER BY number) AS place FROM entry{past_indexes(connection)}"  # noqa: S608
        asked = f"SELECT number FROM ({placed}) AS placed WHERE place % {SIZE} = 0 ORDER BY number"  # noqa: S608
        ends = [int(row[0]) for row in connection.execute(sa.text(asked))]
        if not ends or ends[-1] != high:
            ends.append(high)
        starts = [min(1, low), *(end + 1 for end in ends[:-1])]
        return list(zip(starts, ends, strict=True))

    if low == 1 and high == count:
        return plain()
    return _first_that_reads(connection, by_place, plain)


def _first_that_reads(connection: sa.Connection, *ways: Callable[[], _T]) -> _T:
    """Give what the first way gives that meets no damaged page; a server gives the whole transaction up with the first."""
    if connection.dialect.name != "sqlite":
        return ways[0]()
    for way in ways[:-1]:
        try:
            return way()
        except UndecodableTextError:
            raise
        except BookDamagedError:
            continue
    return ways[-1]()


def _said_to_reach(connection: sa.Connection) -> int:
    statements = connection.execute(sa.select(sa.func.max(StatementRow.entry))).scalar()
    return max(head_sizes(connection)[1] or 0, statements or 0)


def _plausible(connection: sa.Connection, low: int, high: int) -> int:
    """Give how many numbers there are from one to another, if the file has room for so many entries."""
    if connection.dialect.name == "sqlite" and high - min(1, low) > SIZE:
        pages, size = (
            connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in ("page_count", "page_size")
        )
        if high - min(1, low) > pages * size // _LEAST:
            raise BookDamagedError("The numbers of the entries cannot be read.", found="the numbers of the entries")
    return high - low + 1


def look_in_parts(check: Callable[[int, int], Stretch], first: int, last: int) -> Stretch:
    """Look at a stretch that cannot be read at once: half by half, down to single entries.

    Parameters
    ----------
    check : callable
        Looks at the entries from one number to another. [unitless]
    first, last : int
        Numbers of the first and the last entry. [unitless]

    Returns
    -------
    Stretch
        Not whole; with a finding for each entry, or row of entries, that cannot be read.
    """
    failed = 0

    def parts(first: int, last: int) -> list[Stretch]:
        nonlocal failed
        try:
            return [check(first, last)]
        except BookDamagedError as fault:
            failed += 1
            if first == last or failed > TRIES:
                return [_unread(first, last, fault)]
        middle = (first + last) // 2
        return [*parts(first, middle), *parts(middle + 1, last)]

    return _joined(first, last, parts(first, last))


def _unread(first: int, last: int, fault: BookDamagedError) -> Stretch:
    part = Stretch(first, last, 0, whole=False)
    part.tally.add(Finding(Fault.UNREADABLE, first, found=fault.found, upto=last))
    part.tally.touched = last - first + 1
    return part


def _joined(first: int, last: int, parts: list[Stretch]) -> Stretch:
    """Put parts together again; entries in a row that cannot be read become one finding."""
    made = Stretch(first, last, sum(part.entries for part in parts), b"".join(part.leaves for part in parts))
    made.whole = all(part.whole for part in parts)
    before: Finding | None = None
    for part in parts:
        made.heads += part.heads
        one = part.tally.kept[0] if part.tally.kept else None
        if one is None or one.fault is not Fault.UNREADABLE:
            _told(made.tally, before)
            before = None
            made.tally.merge(part.tally)
            continue
        made.tally.touched += part.tally.touched
        if before is not None and before.found == one.found:
            before = Finding(Fault.UNREADABLE, before.entry, found=one.found, upto=one.upto)
        else:
            _told(made.tally, before)
            before = one
    _told(made.tally, before)
    return made


def _told(tally: Tally, finding: Finding | None) -> None:
    """Take a finding that is complete, if there is one."""
    if finding is not None:
        tally.add(finding)
