"""Verification where pages of a SQLite book are damaged: what can be read is looked at, and what cannot is named."""

from __future__ import annotations

from collections.abc import Callable

from models.errors import BookDamagedError
from models.ledger.findings import Fault, Finding, Tally
from models.store.verify_chunk import Stretch

TRIES = 400
"""So many looks at parts of one stretch may fail before what is left of it is named as a whole: each takes some questions, and a stretch whose index is gone would take thousands."""


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
