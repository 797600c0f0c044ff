"""The entries of a site as columns: which of them answer to any filter is found in memory, a page of them is then read.

Entries are only ever added, so the columns grow at their end and what stands in
them never changes.  Lines of a page still come from the book itself.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import sqlalchemy as sa

from models.history.columns import BoolArray, IntArray
from models.tables.book import EntryRow
from models.tables.jobs import JobRow
from models.tables.limits import LimitVersionRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.tables.people import InstrumentVersionRow, PersonVersionRow
from models.tables.proofs import SignoffRow
from models.values.entry import EntryFilter

NONE = -1
_NO_TIME = np.iinfo(np.int64).min
_CHUNK = 50_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def _empty() -> IntArray:
    return np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class EntryColumns:
    """One row an entry of a site, in order of number.

    ``author`` and ``kind`` are indices into ``texts``; ``batch`` is the file that it came from, ``asset`` and
    ``instrument`` the numbers of what it speaks of, −1 without; ``performed_us`` is when the job was done that it
    speaks of.  Row ``named_row[i]`` names the person ``texts[named[i]]``: who did a job or reviewed it, who is
    described, who adopted a set.  ``last`` is the last entry of the book that was looked at.
    """

    last: int = 0
    number: IntArray = field(default_factory=_empty)
    at_us: IntArray = field(default_factory=_empty)
    author: IntArray = field(default_factory=_empty)
    kind: IntArray = field(default_factory=_empty)
    batch: IntArray = field(default_factory=_empty)
    asset: IntArray = field(default_factory=_empty)
    instrument: IntArray = field(default_factory=_empty)
    performed_us: IntArray = field(default_factory=_empty)
    named_row: IntArray = field(default_factory=_empty)
    named: IntArray = field(default_factory=_empty)
    texts: tuple[str, ...] = ()

    def __len__(self) -> int:
        """Give the number of entries."""
        return int(self.number.shape[0])


def grown(connection: sa.Connection, site_id: int, held: EntryColumns, head: int) -> EntryColumns:
    """Bring the columns up to a later entry.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    held : EntryColumns
        The columns up to an earlier entry. [unitless]
    head : int
        Number of the last entry of the book. [unitless]
    """
    if head <= held.last:
        return held
    return _Reading(connection, site_id, held, head).result()


def cut(columns: EntryColumns, head: int) -> EntryColumns:
    """Give the columns up to an entry.

    Parameters
    ----------
    columns : EntryColumns
        The entries of a site. [unitless]
    head : int
        Number of the last entry to keep. [unitless]
    """
    n = int(np.searchsorted(columns.number, head, side="right"))
    own = columns.named_row < n
    parts = {
        name: getattr(columns, name)[:n]
        for name in ("number", "at_us", "author", "kind", "batch", "asset", "instrument", "performed_us")
    }
    named_row, named = columns.named_row[own], columns.named[own]
    return replace(columns, last=min(head, columns.last), named_row=named_row, named=named, **parts)


class _Reading:
    """Reads what is newer, table by table."""

    def __init__(self, connection: sa.Connection, site_id: int, held: EntryColumns, head: int) -> None:
        self.connection, self.site_id, self.held, self.head = connection, site_id, held, head
        self.codes = {text: code for code, text in enumerate(held.texts)}
        self.named_row: list[int] = []
        self.named: list[int] = []
        self.told: list[IntArray] = [np.zeros((0, 2), dtype=np.int64)]

    def code(self, text: str) -> int:
        return self.codes.setdefault(text, len(self.codes))

    def chunks(self, table: type, *names: str) -> Iterable[Sequence[Sequence[Any]]]:
        """Read columns of a table for the newer entries of the site, as the driver gives them, many rows at a time.

        Rows as the driver gives them take twenty times the room of columns: what reads many makes each chunk small.
        """
        columns: Any = table.__table__.c  # type: ignore[attr-defined]
        entry = columns["number" if table is EntryRow else "entry"]
        question = (
            sa.select(*(columns[name] for name in names))
            .where(columns["site_id"] == self.site_id, entry > self.held.last, entry <= self.head)
            .order_by(entry)
        )
        plain = str(question.compile(dialect=self.connection.dialect, compile_kwargs={"literal_binds": True}))
        result = self.connection.execution_options(stream_results=True).exec_driver_sql(plain)
        while rows := result.fetchmany(_CHUNK):
            yield rows

    def rows(self, table: type, *names: str) -> Iterable[Sequence[Any]]:
        """Read the same row by row."""
        for chunk in self.chunks(table, *names):
            yield from chunk

    def result(self) -> EntryColumns:
        code = self.code
        new = [np.zeros((0, 5), dtype=np.int64)]
        for chunk in self.chunks(EntryRow, "number", "at_us", "author", "kind", "batch"):
            lines = [(n, at, code(who), code(kind), NONE if file is None else file) for n, at, who, kind, file in chunk]
            new.append(np.array(lines, dtype=np.int64).reshape(-1, 5))
        grid = np.concatenate(new)
        new.clear()
        number, n = grid[:, 0], len(grid)
        asset, instrument = np.full(n, NONE, dtype=np.int64), np.full(n, NONE, dtype=np.int64)
        performed = np.full(n, _NO_TIME)
        self.jobs(number, asset, instrument, performed)
        for table in (AssetVersionRow, BreakRow):
            for entry, which in self.rows(table, "entry", "asset_id"):
                asset[self.at(number, entry)] = which
        for entry, which in self.rows(InstrumentVersionRow, "entry", "instrument_id"):
            instrument[self.at(number, entry)] = which
        self.signed(number, asset)
        for namer, name in ((PersonVersionRow, "name"), (LimitVersionRow, "adopted_by")):
            for entry, who in self.rows(namer, "entry", name):
                self.name(self.at(number, entry), who)
        self.pack()
        told, held = np.concatenate(self.told), self.held
        return replace(
            held,
            last=self.head,
            number=np.concatenate([held.number, number]),
            at_us=np.concatenate([held.at_us, grid[:, 1]]),
            author=np.concatenate([held.author, grid[:, 2]]),
            kind=np.concatenate([held.kind, grid[:, 3]]),
            batch=np.concatenate([held.batch, grid[:, 4]]),
            asset=np.concatenate([held.asset, asset]),
            instrument=np.concatenate([held.instrument, instrument]),
            performed_us=np.concatenate([held.performed_us, performed]),
            named_row=np.concatenate([held.named_row, told[:, 0] + len(held)]),
            named=np.concatenate([held.named, told[:, 1]]),
            texts=tuple(self.codes),
        )

    @staticmethod
    def at(number: IntArray, entry: int) -> int:
        return int(np.searchsorted(number, entry))

    def name(self, row: int, who: str | None) -> None:
        if who:
            self.named_row.append(row)
            self.named.append(self.code(who))

    def pack(self) -> None:
        """Make columns of the names that were told since the last time."""
        self.told.append(np.array([self.named_row, self.named], dtype=np.int64).T)
        self.named_row, self.named = [], []

    def jobs(self, number: IntArray, asset: IntArray, instrument: IntArray, performed: IntArray) -> None:
        names = ("entry", "asset_id", "instrument_id", "performed_us", "people", "reviewer")
        people: dict[str, tuple[str, ...]] = {}
        for chunk in self.chunks(JobRow, *names):
            for entry, which, device, when, who, reviewer in chunk:
                # Numbers of a site alone run without a gap as a rule: the place is guessed before it is looked for.
                row = entry - int(number[0])
                if row >= len(number) or number[row] != entry:
                    row = self.at(number, entry)
                asset[row], performed[row] = which, when
                if device is not None:
                    instrument[row] = device
                if who not in people:
                    people[who] = tuple(dict.fromkeys(json.loads(who or "[]")))
                for one in people[who]:
                    self.name(row, one)
                if reviewer:
                    self.name(row, reviewer)
            self.pack()

    def signed(self, number: IntArray, asset: IntArray) -> None:
        """Let a sign-off speak of the machine of the job that it signs."""
        job, sign = JobRow, SignoffRow
        question = (
            sa.select(sign.entry, job.asset_id)
            .join(job, job.entry == sign.signed_entry)
            .where(job.site_id == self.site_id, sign.entry > self.held.last, sign.entry <= self.head)
        )
        for entry, which in self.connection.execute(question):
            row = self.at(number, entry)
            if row < len(number) and number[row] == entry:
                asset[row] = which


@dataclass(frozen=True, slots=True)
class Meant:
    """What a filter means in numbers of the book: an asset, an instrument, the versions of a job; ``None`` where not asked."""

    asset: int | None = None
    instrument: int | None = None
    entries: IntArray | None = None


def answering(columns: EntryColumns, asked: EntryFilter, meant: Meant) -> IntArray:
    """Give the numbers of the entries that answer to a filter, rising.

    Parameters
    ----------
    columns : EntryColumns
        The entries of the site. [unitless]
    asked : EntryFilter
        Which entries. [unitless]
    meant : Meant
        What the names in it mean. [unitless]
    """
    tests: list[BoolArray] = []
    if meant.asset is not None:
        tests.append(columns.asset == meant.asset)
    if meant.instrument is not None:
        tests.append(columns.instrument == meant.instrument)
    if meant.entries is not None:
        place = np.searchsorted(columns.number, meant.entries)
        place = place[place < len(columns)]
        of_job = np.zeros(len(columns), dtype=np.bool_)
        of_job[place] = np.isin(columns.number[place], meant.entries)
        tests.append(of_job)
    if asked.person:
        tests.append(_of_person(columns, asked.person))
    if asked.kind is not None:
        tests.append(columns.kind == _code(columns, str(asked.kind)))
    if asked.file is not None:
        tests.append((columns.batch == asked.file) & (columns.number > asked.file))
    for moment, column, after in (
        (asked.recorded_from, columns.at_us, True),
        (asked.recorded_before, columns.at_us, False),
        (asked.done_from, columns.performed_us, True),
        (asked.done_before, columns.performed_us, False),
    ):
        if moment is not None:
            known = column != _NO_TIME
            tests.append(known & (column >= _us(moment) if after else column < _us(moment)))
    if not tests:
        return columns.number
    found = tests[0]
    for test in tests[1:]:
        found = found & test
    return columns.number[found]


def _of_person(columns: EntryColumns, name: str) -> BoolArray:
    code = _code(columns, name)
    found = columns.author == code
    found[columns.named_row[columns.named == code]] = True
    return np.asarray(found, dtype=np.bool_)


def _code(columns: EntryColumns, text: str) -> int:
    try:
        return columns.texts.index(text)
    except ValueError:
        return NONE


def _us(moment: datetime) -> int:
    since = moment - _EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds
