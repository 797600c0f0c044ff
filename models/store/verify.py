"""Verification: everything that can be computed again from the rows, held against what was said and signed.

A stretch of entries is a full subtree of the tree.  Several are looked at at
the same time, each by a process with a connection of its own; what comes
back is put together in their order, so that memory does not grow with the
book.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from multiprocessing.pool import Pool
from typing import NamedTuple

import sqlalchemy as sa

from models.errors import BookDamagedError, UndecodableTextError
from models.ledger.checkpoint import Note, key_hint
from models.ledger.findings import Fault, Finding, Tally, shown
from models.ledger.keys import signature_holds
from models.ledger.tree import HASH_BYTES, Frontier
from models.settings import Settings
from models.store.engine import make_engine
from models.store.hand_over import followed, handed_over, signed_since, unvouched
from models.store.proofs import BookKey, Head, last_head, read_keys
from models.store.verify_around import (
    add_what_can_be_read,
    cut_off,
    head_sizes,
    rows_alone,
    signoff_findings,
    sites_alone,
)
from models.store.verify_chunk import HEIGHT, SIZE, Around, Checker, KeptHead, Stretch, read_loosely
from models.store.verify_damage import bounds, extent, look_in_parts
from models.store.verify_names import NoRight, OwnWork, own_work, without_right
from models.store.verify_schema import guard_findings, index_findings
from models.store.verify_signed import Signatures, Unsigned, key_findings
from models.tables.book import ImportedFileRow, SiteVersionRow

SEVERAL = 64 * SIZE
"""From so many entries on, several processes share the work."""


class HeldHead(NamedTuple):
    """A head that was kept elsewhere, held against the book."""

    note: Note
    holds: bool
    """Whether the book begins as it says, and each signature of the book under it is that of the key in force."""
    begins: bool
    """Whether the book begins as it says, whoever signed it."""


@dataclass(slots=True)
class Verified:
    """What verification saw, and what it found."""

    entries: int = 0
    last: int = 0
    heads: int = 0
    signed: int = 0
    unsigned: int = 0
    keys: tuple[BookKey, ...] = ()
    handed: frozenset[int] = frozenset()
    """Entries whose key was handed over by the key before it, by its signature."""
    again: tuple[BookKey, ...] = ()
    """Keys that the kept heads know, and that were named again behind one to which they had not handed over."""
    newest: Head | None = None
    kept: list[HeldHead] = field(default_factory=list)
    """Heads that were kept elsewhere."""
    tally: Tally = field(default_factory=Tally)
    own_work: list[OwnWork] = field(default_factory=list)
    """Sign-offs to look at, told and no fault: the signer had another name, which stands with the signed work."""
    no_right: list[NoRight] = field(default_factory=list)
    """Sign-offs to look at, told and no fault: nobody of that name might sign off there when they were given."""
    without: list[Unsigned] = field(default_factory=list)
    """Entries under heads that bear no signature, since the book names a key."""
    indexes: bool = True
    """Whether indexes were held against the rows; a server without the means for it cannot."""

    @property
    def spoken_for(self) -> int:
        """Give for how many entries the largest head that was kept elsewhere speaks, and holds."""
        return max((one.note.checkpoint.size for one in self.kept if one.holds), default=0)

    @property
    def intact(self) -> int:
        """Give how many entries say with every value what their statements say."""
        return max(0, self.entries - self.tally.touched)

    def faults(self, *, strict: bool = False) -> int:
        """Give the number of findings that count as faults; a head without a signature only where asked."""
        told = 0 if strict else self.tally.counts[Fault.UNSIGNED]
        return self.tally.counts.total() - told


def verify_book(
    connection: sa.Connection,
    *,
    against: Sequence[Note] = (),
    public_key: bytes | None = None,
    settings: Settings | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Verified:
    """Compute a book again from its rows.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book; nothing is written. [unitless]
    against : sequence of Note
        Heads that were kept elsewhere. [unitless]
    public_key : bytes, optional
        Key (Ed25519, 32 bytes) that is known from elsewhere to be the one that signs today. [unitless]
    settings : Settings, optional
        Where the book is; with it a large book is shared among processes. [unitless]
    progress : callable, optional
        Told now and then how many entries of how many were seen. [unitless]

    Returns
    -------
    Verified
        What was seen and found.
    """
    try:
        return _verify(connection, against, public_key, settings, progress)
    except UndecodableTextError:
        with read_loosely(connection):
            return _verify(connection, against, public_key, settings, progress)


def _verify(
    connection: sa.Connection,
    against: Sequence[Note],
    public_key: bytes | None,
    settings: Settings | None,
    progress: Callable[[int, int], None] | None,
) -> Verified:
    count, low, high = extent(connection)
    keys = read_keys(connection)
    result = Verified(count, high or 0, keys=keys, handed=handed_over(connection, keys), newest=last_head(connection))
    founded = _founded(connection)
    smallest, largest = head_sizes(connection)
    since = keys[0].entry if keys else smallest
    files = frozenset(connection.scalars(sa.select(ImportedFileRow.entry)))
    around = Around(keys, founded, files, since, result.last, frozenset(note.checkpoint.size for note in against))
    tree = _Roots(result, against)
    indexes: list[_Indexes] = []
    for stretch in _stretches(connection, around, count, low, high, settings, indexes):
        tree.take(stretch)
        result.tally.merge(stretch.tally)
        if progress is not None:
            progress(min(stretch.last, result.last), result.last)
    tree.end(largest)
    _beside(connection, result, founded)
    found, result.indexes = indexes[0] if indexes else _look_at_indexes(connection)
    result.tally.merge(found)
    result.tally.extend(key_findings(result.newest, result.without, result.spoken_for, public_key))
    if not keys or keys[-1].public_key != public_key:  # else it speaks for all before it
        signed = signed_since(connection, keys, result.handed)
        broken, result.again = followed(keys, result.handed, signed, result.spoken_for)
        result.tally.extend(unvouched(keys, broken, result.last))
    result.unsigned = result.tally.counts[Fault.UNSIGNED]
    return result


def _beside(connection: sa.Connection, result: Verified, founded: dict[int, int]) -> None:
    """Look at what stands beside the stretches."""

    def names() -> Iterator[Finding]:
        result.own_work.extend(own_work(connection))
        result.no_right.extend(without_right(connection))
        yield from ()

    looks: tuple[Callable[[], Iterator[Finding]], ...] = (
        lambda: cut_off(connection, result.last),
        lambda: rows_alone(connection, 1, result.last),
        lambda: sites_alone(connection, founded),
        lambda: signoff_findings(connection),
        names,
        lambda: guard_findings(connection),
    )
    for look in looks:
        if connection.dialect.name == "sqlite":
            add_what_can_be_read(result.tally, look)
        else:
            result.tally.extend(look())


_Indexes = tuple[Tally, bool]
"""What was found of the indexes, and whether they could be looked at."""


def _look_at_indexes(connection: sa.Connection) -> _Indexes:
    tally, held = Tally(), True

    def look() -> list[Finding]:
        nonlocal held
        found, held = index_findings(connection)
        return found

    if connection.dialect.name == "sqlite":
        add_what_can_be_read(tally, look)
    else:
        tally.extend(look())
    return tally, held


def _founded(connection: sa.Connection) -> dict[int, int]:
    v = SiteVersionRow
    return {
        row[0]: row[1] for row in connection.execute(sa.select(v.site_id, sa.func.min(v.entry)).group_by(v.site_id))
    }


class _Roots:
    """The tree as it grows from stretch to stretch, held against heads of the book and heads from elsewhere."""

    def __init__(self, result: Verified, against: Sequence[Note]) -> None:
        self._result, self._frontier, self._broken = result, Frontier(), False
        self._against = sorted(against, key=lambda note: note.checkpoint.size)
        self._roots: dict[int, bytes] = {}
        self._signatures = Signatures(result.keys[0].entry if result.keys else None)

    def take(self, stretch: Stretch) -> None:
        """Go on with a stretch."""
        wanted = {
            note.checkpoint.size for note in self._against if stretch.first <= note.checkpoint.size <= stretch.last
        }
        if stretch.first != self._frontier.size + 1 or not stretch.whole:
            self._broken = True
        if self._broken:
            self._result.tally.extend(
                Finding(Fault.NOT_COMPUTED, head.size, "tree_head", "root") for head in stretch.heads
            )
            self._count(stretch.heads)
            return
        inside = {head.size for head in stretch.heads} | wanted
        if stretch.root is not None and not stretch.leaves:
            self._frontier.append_full(stretch.root, HEIGHT)
            self._at(stretch.heads, wanted)
            return
        for at in range(0, len(stretch.leaves), HASH_BYTES):
            self._frontier.append(stretch.leaves[at : at + HASH_BYTES])
            if self._frontier.size in inside:
                self._at([head for head in stretch.heads if head.size == self._frontier.size], wanted)

    def _count(self, heads: Sequence[KeptHead]) -> None:
        self._result.heads += len(heads)
        self._result.signed += sum(head.signed for head in heads)
        for head in heads:
            self._signatures.take(head.size, signed=head.signed)

    def _at(self, heads: Sequence[KeptHead], wanted: set[int]) -> None:
        frontier, size = self._frontier, self._frontier.size
        self._count(heads)
        if not heads and size not in wanted:
            return
        root = frontier.root()
        if size in wanted:
            self._roots[size] = root
        for head in heads:
            if head.root != root:
                self._result.tally.add(Finding(Fault.ROOT, size, "tree_head", "root", head.root.hex(), root.hex()))
            if head.frontier != frontier.to_bytes():
                self._result.tally.add(
                    Finding(
                        Fault.FRONTIER, size, "tree_head", "frontier", shown(head.frontier), shown(frontier.to_bytes())
                    )
                )

    def end(self, largest: int | None) -> None:
        """Look whether the heads reach to the last entry, and at the heads from elsewhere."""
        result = self._result
        result.without = self._signatures.found()
        if largest is None:
            if result.last:
                result.tally.add(Finding(Fault.ORDER, result.last, "tree_head", "size"))
        elif largest > result.last:
            result.tally.add(
                Finding(Fault.HEAD_AHEAD, result.last + 1, "tree_head", "size", str(largest), str(result.last))
            )
        elif largest < result.last:
            result.tally.add(
                Finding(Fault.HEAD_BEHIND, result.last, "tree_head", "size", str(largest), str(result.last))
            )
        for note in self._against:
            found = list(self._of_note(note))
            result.tally.extend(found)
            begins = all(one.fault is Fault.KEPT_SIGNATURE for one in found)
            result.kept.append(HeldHead(note, not found, begins))

    def _of_note(self, note: Note) -> Iterator[Finding]:
        head, keys = note.checkpoint, self._result.keys
        origins = {key.origin for key in keys}
        if head.origin not in origins:
            yield Finding(Fault.KEPT_OTHER, head.size, found=" ".join(sorted(origins)) or None, said=shown(head.origin))
            return
        if head.size > self._result.last:
            yield Finding(Fault.KEPT_AHEAD, head.size, found=str(self._result.last), said=str(head.size))
        else:
            root = self._roots.get(head.size) if head.size else Frontier().root()
            if root != head.root:
                yield Finding(
                    Fault.KEPT_ROOT, head.size, found=None if root is None else root.hex(), said=head.root.hex()
                )
        # A key that was replaced signs no later head: whoever has a copy of it could.
        in_force = [key for key in keys if key.entry <= head.size][-1:]
        for name, hint, signature in note.signatures:
            # Under another name than the book's a witness signed, whose key is not known here: as verify.py takes it.
            if name == head.origin and not any(
                name == key.origin and key_hint(key.origin, key.public_key) == hint
                and signature_holds(key.public_key, signature, head.body.encode())
                for key in in_force
            ):  # fmt: skip
                yield Finding(Fault.KEPT_SIGNATURE, head.size, found=shown(name))


def _stretches(
    connection: sa.Connection,
    around: Around,
    count: int,
    low: int | None,
    high: int | None,
    settings: Settings | None,
    indexes: list[_Indexes],
) -> Iterator[Stretch]:
    """Look at all stretches; where several processes share them, one looks at the indexes meanwhile."""
    if not count or low is None or high is None:
        return
    parts = bounds(connection, count, low, high)
    processes = os.cpu_count() or 1
    if settings is not None and processes > 1 and count >= SEVERAL:
        pool = _pool(settings, around, min(processes, 8))
        if pool is not None:
            with pool:
                beside = pool.apply_async(_look_beside)
                yield from pool.imap(_look, parts)
                indexes.append(beside.get())
            return
    checker = Checker(connection, around)
    for first, last in parts:
        yield _checked(checker, first, last)


def _pool(settings: Settings, around: Around, processes: int) -> Pool | None:
    """Start processes; ``None`` where the system has no room for them or does not let us."""
    try:
        return multiprocessing.get_context("spawn").Pool(processes, _begin, (settings, around))
    except (OSError, ImportError):
        return None


_begun: tuple[sa.Connection, Checker] | None = None


def _begin(settings: Settings, around: Around) -> None:
    """Open the book in a process of its own."""
    global _begun  # noqa: PLW0603 - the one value of this process
    connection = make_engine(settings).connect()
    if connection.dialect.name == "postgresql":
        connection.execution_options(isolation_level="REPEATABLE READ")
    _begun = connection, Checker(connection, around)


def _look(bounds: tuple[int, int]) -> Stretch:
    if _begun is None:
        raise RuntimeError("the process was not begun")
    return _checked(_begun[1], *bounds)


def _look_beside() -> _Indexes:
    if _begun is None:
        raise RuntimeError("the process was not begun")
    return _look_at_indexes(_begun[0])


def _checked(checker: Checker, first: int, last: int) -> Stretch:
    """Look at a stretch; where pages of it are damaged, at what of it can be read."""
    try:
        return checker.check(first, last)
    except UndecodableTextError:
        raise
    except BookDamagedError:
        if not checker.reads_on:
            raise
        return look_in_parts(checker.check, first, last)
