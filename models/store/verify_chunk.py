"""Verification of a stretch of entries: rows against statements, statements against leaves, heads against keys."""

from __future__ import annotations

import gc
import hashlib
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from models.errors import BookDamagedError, UndecodableTextError
from models.ledger.checkpoint import Checkpoint
from models.ledger.differences import entry_differences
from models.ledger.findings import Fault, Finding, Tally, shown
from models.ledger.keys import signature_holds
from models.ledger.proofs import paired
from models.ledger.tree import HASH_BYTES, leaf_hash
from models.store.faults import meaning_by
from models.store.proofs import BookKey, raw_bytes
from models.store.sealing import BOUND, key_column
from models.store.verify_around import add_what_can_be_read, past_indexes
from models.store.verify_cells import Brought, RowWriter, StatementWriter, add_rows, close_rows, shape_of
from models.tables.book import SiteRow
from models.tables.proofs import TreeHeadRow
from models.values.kinds import Kind

HEIGHT = 12
SIZE = 1 << HEIGHT
"""Entries that are looked at together: a full subtree of the tree."""


@dataclass(frozen=True, slots=True)
class Around:
    """What a stretch has to know of the rest of the book."""

    keys: tuple[BookKey, ...]
    founded: dict[int, int]
    """For each site the entry that sets it for the first time, and so binds its row."""
    files: frozenset[int]
    """Entries of imported files."""
    heads_from: int | None
    """From this number of entries on, each commit has left a head."""
    last: int
    kept: frozenset[int] = frozenset()
    """Sizes of heads that were kept elsewhere."""


@dataclass(frozen=True, slots=True)
class KeptHead:
    """A head as its row has it; what a tamperer put there may be of any kind."""

    size: int
    root: bytes
    frontier: bytes
    signed: bool


@dataclass(slots=True)
class Stretch:
    """What was found in a stretch: leaves in one piece, the root over them where they fill a subtree, its heads."""

    first: int
    last: int
    entries: int
    leaves: bytes = b""
    root: bytes | None = None
    whole: bool = True
    """Whether every number has its leaf."""
    heads: list[KeptHead] = field(default_factory=list)
    tally: Tally = field(default_factory=Tally)


class Checker:
    """Looks at stretches over one connection; keeps the cells that it has met."""

    def __init__(self, connection: sa.Connection, around: Around) -> None:
        self._connection, self._around = connection, around
        self._statements = StatementWriter()
        self._tables = [
            (mapped.__tablename__, key_column(mapped), RowWriter(mapped.__tablename__))
            for mapped in sorted(BOUND, key=lambda one: one.__tablename__)
        ]
        self._steady = connection.dialect.name == "sqlite"
        self._past = past_indexes(connection)
        self._mark = "?" if connection.dialect.paramstyle == "qmark" else "%s"
        as_bytes = "CAST(said AS BLOB)" if connection.dialect.name == "sqlite" else "convert_to(said, 'UTF8')"
        self._said = f"SELECT entry, site_id, leaf, {as_bytes} FROM statement"  # noqa: S608

    def check(self, first: int, last: int) -> Stretch:
        """Look at the entries of a stretch of numbers, both ends included."""
        # Thousands of rows and no cycle among them: the collector would only walk through them.
        collects = gc.isenabled()
        gc.disable()
        try:
            return self._check_any(first, last)
        finally:
            if collects:
                gc.enable()

    @property
    def reads_on(self) -> bool:
        """Tell whether the rest can be read after a question has failed: a server gives the whole transaction up."""
        return self._steady

    def _check_any(self, first: int, last: int) -> Stretch:
        try:
            return self._check(first, last)
        except UndecodableTextError:
            with read_loosely(self._connection):
                return self._check(first, last)

    def _check(self, first: int, last: int, *, quick: bool = True) -> Stretch:
        names = ", ".join(self._statements.columns)
        lines = self._ask(f"SELECT {names} FROM entry", "number", first, last)  # noqa: S608
        place = self._statements.number
        numbers = [line[place] for line in lines]
        stretch = Stretch(first, last, len(lines))
        rows, owners, brought = self._rows(first, last, set(numbers), stretch.tally, quick=quick)
        texts = self._statements.texts(lines, brought)
        said = self._ask(self._said, "entry", first, last)
        site = [name for name, _ in self._statements.shape.columns].index("site_id") + 1
        sha256 = hashlib.sha256
        leaves = [sha256(b"\x00" + text).digest() for text in texts]
        if (
            numbers == list(range(first, last + 1))
            and [row[0] for row in said] == numbers
            and [row[3] for row in said] == texts
            and [row[2] for row in said] == leaves
            and [row[1] for row in said] == [line[site] for line in lines]
        ):
            stretch.leaves = b"".join(leaves)
        elif quick:
            return self._check(first, last, quick=False)
        else:
            self._slowly(stretch, lines, rows, owners, texts, said)
        if stretch.whole and len(numbers) == SIZE:
            level = stretch.leaves
            while len(level) > HASH_BYTES:
                level = paired(level)
            stretch.root = level
        if self.reads_on:  # what they name may lie on a damaged page of another stretch
            add_what_can_be_read(stretch.tally, lambda: self._references(stretch, lines))
        else:
            stretch.tally.extend(self._references(stretch, lines))
        self._heads(stretch)
        sizes = {head.size for head in stretch.heads} | {size for size in self._around.kept if first <= size <= last}
        if stretch.root is not None and not sizes - {last}:
            stretch.leaves = b""  # nobody asks for what is inside
        return stretch

    def _ask(self, select: str, column: str, first: int, last: int) -> list[tuple[Any, ...]]:
        def asked(past: str) -> list[tuple[Any, ...]]:
            which = f"{select}{past} WHERE {column} BETWEEN {self._mark} AND {self._mark} ORDER BY {column}"
            return self._all(self._connection.exec_driver_sql(which, (first, last)))

        try:
            return asked("")
        except UndecodableTextError:
            raise
        except BookDamagedError:
            if not self._past:
                raise
            return asked(self._past)

    def _all(self, result: sa.CursorResult[Any]) -> list[tuple[Any, ...]]:
        """Give the driver's own tuples: wrapping millions of them costs more than comparing them."""
        try:
            return list(result.cursor.fetchall())
        except sqlite3.Error as fault:  # read past the engine, so it is told here what that means
            meant = meaning_by(self._connection, fault)
            if meant is None:
                raise
            raise meant from fault
        finally:
            result.close()

    def _rows(
        self, first: int, last: int, there: set[int], tally: Tally, *, quick: bool
    ) -> tuple[dict[str, list[tuple[Any, ...]]], dict[str, list[int]], Brought]:
        """Read and write the rows that the entries brought; one whose entry is not there is told."""
        found: dict[str, list[tuple[Any, ...]]] = {}
        owners: dict[str, list[int]] = {}
        brought = Brought()
        for table, column, writer in self._tables:
            names = [name for name, _ in writer.shape.columns]
            if quick and writer.steady and self._steady:
                texts = self._most(table, column, writer, first, last, there)
                if texts is not None:
                    add_rows(brought, table, *texts)
                    continue
            if table == SiteRow.__tablename__:
                sites = [row for row in self._sites() if row[0] in there]
                numbers, rows = [row[0] for row in sites], [tuple(row[1:]) for row in sites]
            else:
                rows = self._ask(f"SELECT {', '.join(names)} FROM {table}", column, first, last)  # noqa: S608
                place = names.index(column)
                numbers = [row[place] for row in rows]
            alone = [number for number in numbers if number not in there] if rows else []
            tally.extend(Finding(Fault.ROW_ALONE, number, table, column, shown(number)) for number in alone)
            if alone:
                kept = [at for at, number in enumerate(numbers) if number in there]
                numbers, rows = [numbers[at] for at in kept], [rows[at] for at in kept]
            if rows:
                found[table], owners[table] = rows, numbers
                add_rows(brought, table, numbers, writer.texts(rows))
                writer.look(rows)
        close_rows(brought)
        return found, owners, brought

    def _most(
        self, table: str, column: str, writer: RowWriter, first: int, last: int, there: set[int]
    ) -> tuple[list[int], list[bytes]] | None:
        """Read rows without the columns that have long been the same, if they still are; half of the cells usually are."""
        names = [name for name, _ in writer.shape.columns]
        asked = [name for place, name in enumerate(names) if place not in writer.steady]
        same = " AND ".join(f"{names[place]} IS ?" for place in writer.steady)
        which = f"SELECT {', '.join(asked)}, {same} FROM {table} WHERE {column} BETWEEN ? AND ? ORDER BY {column}"  # noqa: S608
        try:
            rows = self._all(self._connection.exec_driver_sql(which, (*writer.steady.values(), first, last)))
        except UndecodableTextError:
            raise
        except BookDamagedError:
            return None
        numbers = [row[asked.index(column)] for row in rows] if column in asked else []
        if not rows or len(numbers) != len(rows) or not there.issuperset(numbers) or not all(row[-1] for row in rows):
            return None
        return numbers, writer.texts(rows, without_steady=True)

    def _sites(self) -> Iterator[tuple[Any, ...]]:
        names = ", ".join(name for name, _ in shape_of("site").columns)
        for row in self._connection.exec_driver_sql(f"SELECT id, {names} FROM site ORDER BY id"):  # noqa: S608
            yield (self._around.founded.get(row[0]), *row[1:])

    def _slowly(
        self,
        stretch: Stretch,
        lines: list[tuple[Any, ...]],
        rows: dict[str, list[tuple[Any, ...]]],
        owners: dict[str, list[int]],
        texts: list[bytes],
        said: list[tuple[Any, ...]],
    ) -> None:
        """Look at each entry by itself."""
        place = self._statements.number
        told = {row[0]: row for row in said}
        by_owner: dict[int, dict[str, list[Sequence[Any]]]] = {}
        for table, brought in rows.items():
            for owner, row in zip(owners[table], brought, strict=True):
                by_owner.setdefault(owner, {}).setdefault(table, []).append(row)
        leaves: dict[int, bytes] = {}
        for line, text in zip(lines, texts, strict=True):
            number = line[place]
            statement = told.pop(number, None)
            exact = self._statements.line(line)
            found, leaf = self._one(number, exact, by_owner.get(number, {}), text, statement)
            leaves[number] = leaf
            if found:
                stretch.tally.extend(found)
                stretch.tally.touched += 1
        stretch.tally.extend(
            Finding(Fault.ROW_ALONE, number, "statement", "entry", shown(number)) for number in sorted(told)
        )
        stretch.whole = list(leaves) == list(range(stretch.first, stretch.last + 1))
        stretch.tally.extend(_gaps(stretch.first, stretch.last, leaves, told))
        stretch.leaves = b"".join(leaves.values())

    def _one(
        self,
        number: int,
        line: Sequence[Any],
        rows: dict[str, list[Sequence[Any]]],
        text: bytes,
        statement: tuple[Any, ...] | None,
    ) -> tuple[list[Finding], bytes]:
        own = leaf_hash(text)
        if statement is None:
            return [Finding(Fault.STATEMENT_MISSING, number, "statement", "entry")], own
        _, site_id, leaf, raw = statement
        said = raw_bytes(raw)
        found: list[Finding] = []
        names = [name for name, _ in self._statements.shape.columns]
        hashed, kept = leaf_hash(said), raw_bytes(leaf)
        if said != text:
            shapes = {table: writer.shape for table, _, writer in self._tables} | {"entry": self._statements.shape}
            parts = entry_differences(number, shapes, line, rows, said)
            if kept == own and kept != hashed:
                # The leaf is that of what the rows say: it is the statement that was changed.
                part = next(iter(parts), None)
                where = f"{part.table}.{part.column}: {part.said}" if part and part.column != "said" else shown(said)
                found.append(Finding(Fault.SAID, number, "statement", "said", where, part.found if part else None))
                hashed = own
            else:
                found += parts or [Finding(Fault.FORM, number, "statement", "said")]
        if kept != hashed:
            found.append(Finding(Fault.LEAF, number, "statement", "leaf", shown(leaf), hashed.hex()))
        site = line[names.index("site_id")]
        if site_id != site:
            found.append(Finding(Fault.SITE, number, "statement", "site_id", shown(site_id), shown(site)))
        return found, hashed

    def _references(self, stretch: Stretch, lines: list[tuple[Any, ...]]) -> Iterator[Finding]:
        """Look whether what an entry names is there: the file it came from, what it supersedes, its subject."""
        names = list(self._statements.columns)
        batch, number = names.index("batch"), self._statements.number
        strange = {line[batch] for line in lines} - self._around.files - {None}
        for line in lines if strange else ():
            if line[batch] in strange:
                yield Finding(Fault.REFERENCE, line[number], "entry", "batch", shown(line[batch]))
        # A site is spoken of by its own number; an account is of the whole book, and a sign-off speaks of any version.
        same = "OR o.site_id <> e.site_id OR o.subject <> e.subject"
        site = str(Kind.SITE_SET)
        for column, own, also in (
            ("supersedes", "e.supersedes IS NOT NULL", same),
            ("subject", f"e.subject <> e.number AND e.kind <> '{site}'", ""),
        ):
            asked = (
                f"SELECT e.number, e.{column} FROM entry e LEFT JOIN entry o ON o.number = e.{column} "  # noqa: S608
                f"WHERE e.number BETWEEN {self._mark} AND {self._mark} AND {own} "
                f"AND (o.number IS NULL OR o.number > e.number {also})"
            )
            for row in self._connection.exec_driver_sql(asked, (stretch.first, stretch.last)):
                yield Finding(Fault.REFERENCE, row[0], "entry", column, shown(row[1]))

    def _heads(self, stretch: Stretch) -> None:
        """Look at the signatures of the heads in the stretch, and whether one is missing where a commit ended."""
        h = TreeHeadRow.__tablename__
        asked = f"SELECT size, root, frontier, key_entry, signature FROM {h}"  # noqa: S608
        for size, root, frontier, key_entry, signature in self._ask(asked, "size", stretch.first, stretch.last):
            stretch.tally.extend(_signature_findings(size, root, key_entry, signature, self._around.keys))
            stretch.heads.append(KeptHead(size, raw_bytes(root), raw_bytes(frontier), signature is not None))
        since = self._around.heads_from
        if since is None or stretch.last < since:
            return
        ended = (
            "SELECT e.number FROM entry e LEFT JOIN entry n ON n.number = e.number + 1 "  # noqa: S608
            f"WHERE e.number BETWEEN {self._mark} AND {self._mark} AND n.number IS NOT NULL "
            "AND (n.at_us <> e.at_us OR n.author <> e.author) "
            f"AND NOT EXISTS (SELECT 1 FROM {h} h WHERE h.size = e.number)"
        )
        asked_from = max(stretch.first, since)
        upto = min(stretch.last, self._around.last - 1)
        for row in self._connection.exec_driver_sql(ended, (asked_from, upto)):
            stretch.tally.add(Finding(Fault.ORDER, row[0], h, "size"))


def _signature_findings(
    size: int, root: Any, key_entry: Any, signature: Any, keys: Sequence[BookKey]
) -> Iterator[Finding]:
    in_force = next((key for key in reversed(keys) if key.entry <= size), None)
    if key_entry is None and signature is None:
        # Before the first key nobody could sign.
        if in_force is not None:
            yield Finding(Fault.UNSIGNED, size, "tree_head", "signature")
        return
    said = None if in_force is None else shown(in_force.entry)
    if in_force is None or key_entry != in_force.entry:
        yield Finding(Fault.KEY, size, "tree_head", "key_entry", None if key_entry is None else shown(key_entry), said)
    if in_force is None:
        return
    body = Checkpoint(in_force.origin, size, raw_bytes(root)).body.encode()
    if not signature_holds(in_force.public_key, raw_bytes(signature), body):
        yield Finding(Fault.SIGNATURE, size, "tree_head", "signature", None if signature is None else shown(signature))


def _gaps(first: int, last: int, there: dict[int, bytes], told: dict[int, Any]) -> Iterator[Finding]:
    """Give the numbers that no entry has, those in a row together."""
    at = first
    for number in [*sorted(there), last + 1]:
        if number > at:
            said = "statement" if any(at <= one < number for one in told) else None
            yield Finding(Fault.ENTRY_MISSING, at, "entry", "number", said=said, upto=number - 1)
        at = number + 1


@contextmanager
def read_loosely(connection: sa.Connection) -> Iterator[None]:
    """Let texts that are no UTF-8 be read on SQLite: somebody may have put them there."""
    raw: Any = connection.connection.dbapi_connection
    before = raw.text_factory
    raw.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        raw.text_factory = before
