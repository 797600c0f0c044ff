"""Entries of the book as an auditor reads them: one line each, what is asked for, and everything that one says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any, Generic, TypeVar

from models.values.asset import Asset, MachineBreak
from models.values.kinds import Kind
from models.values.limits import LimitSet
from models.values.people import Account, Instrument, Person
from models.values.story import JobLine, Signoff, Site


class Thing(StrEnum):
    """What an entry speaks of."""

    SITE = "site"
    MACHINE = "machine"
    PERSON = "person"
    INSTRUMENT = "instrument"
    LIMITS = "limit set"
    FILE = "file"
    ENTRY = "entry"
    ACCOUNT = "account"
    BOOK = "book"


THING_OF: Mapping[Kind, Thing] = {
    Kind.SITE_SET: Thing.SITE,
    Kind.ASSET_ADDED: Thing.MACHINE,
    Kind.ASSET_CHANGED: Thing.MACHINE,
    Kind.BREAK_RECORDED: Thing.MACHINE,
    Kind.PERSON_ADDED: Thing.PERSON,
    Kind.PERSON_CHANGED: Thing.PERSON,
    Kind.INSTRUMENT_ADDED: Thing.INSTRUMENT,
    Kind.INSTRUMENT_CHANGED: Thing.INSTRUMENT,
    Kind.LIMITS_ADOPTED: Thing.LIMITS,
    Kind.JOB_RECORDED: Thing.MACHINE,
    Kind.JOB_AMENDED: Thing.MACHINE,
    Kind.FILE_IMPORTED: Thing.FILE,
    Kind.SIGNED_OFF: Thing.ENTRY,
    Kind.ACCOUNT_ADDED: Thing.ACCOUNT,
    Kind.ACCOUNT_CHANGED: Thing.ACCOUNT,
    Kind.PASSWORD_SET: Thing.ACCOUNT,
    Kind.KEY_SET: Thing.BOOK,
}
"""What each kind of entry speaks of."""


@dataclass(frozen=True, slots=True)
class EntryFilter:
    """Which entries are asked for; what is left blank asks for nothing.

    ``tag``, ``instrument`` and ``ref`` are spelled as in the book.  ``person`` wrote
    the entry, aligned, reviewed, adopted, or is spoken of.  ``file`` is the entry
    of an imported file.  Each pair of moments is from (included) to before (left out):
    ``recorded`` goes by the time of recording, ``done`` by the time of the job.
    """

    tag: str = ""
    person: str = ""
    instrument: str = ""
    ref: str = ""
    kind: Kind | None = None
    file: int | None = None
    recorded_from: datetime | None = None
    recorded_before: datetime | None = None
    done_from: datetime | None = None
    done_before: datetime | None = None


@dataclass(frozen=True, slots=True)
class JobFilter:
    """Which jobs are asked for; what is left blank asks for nothing.

    ``ref`` is the job number that any version bears, ``work_order`` that of the newest version, ``machines`` are the
    numbers of the machines.  ``since`` is the entry after which the newest version came.
    """

    ref: str = ""
    work_order: str = ""
    machines: tuple[int, ...] = ()
    since: int = 0


@dataclass(frozen=True, slots=True)
class JobPage:
    """One page of the newest versions of jobs, the oldest entry first; ``more`` tells whether newer ones follow."""

    lines: tuple[JobLine, ...]
    more: bool


@dataclass(frozen=True, slots=True)
class EntryLine:
    """One entry as a line of the book.

    ``name`` is the tag, name, serial, set or file that it speaks of; ``detail`` is the job
    number, the part replaced, the version of the set or the rows taken from the file, by its
    kind, the meaning of a signature.  ``done_at`` with ``zone``, ``people``, ``instrument`` and ``limit_set`` are those of a
    job, ``on`` is the day of a replacement or of an adoption.  ``superseded_by`` is the entry that took its
    place, ``signed_entry`` the one that a signature stands under.  ``file`` and ``row`` say where it came from; blank where somebody typed it.
    """

    number: int
    at: datetime
    author: str
    kind: Kind
    name: str
    detail: str = ""
    why: str = ""
    done_at: datetime | None = None
    zone: str = ""
    people: tuple[str, ...] = ()
    instrument: str = ""
    limit_set: str = ""
    on: date | None = None
    void: bool = False
    supersedes: int | None = None
    superseded_by: int | None = None
    file_entry: int | None = None
    file: str = ""
    row: str = ""
    signed_entry: int | None = None

    @property
    def thing(self) -> Thing:
        """Give what the entry speaks of."""
        return THING_OF[self.kind]


@dataclass(frozen=True, slots=True)
class EntryPage:
    """One page of entries, the newest first.

    ``count`` tells how many answer in all, up to ``most``; ``more`` that there are more
    than that.  ``older`` and ``newer`` tell whether entries lie beyond the ends of the page.
    """

    lines: tuple[EntryLine, ...]
    older: bool
    newer: bool
    count: int
    more: bool = False


@dataclass(frozen=True, slots=True)
class ImportedFile:
    """A file as it was imported: its digest, its rows, and how each sheet was read."""

    name: str
    sha256: str
    rows_read: int
    rows_taken: int
    rows_refused: int
    mapping: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class AdoptedLimits:
    """A version of a limit set with the entry that says so."""

    entry: int
    recorded_at: datetime
    author: str
    limit_set: LimitSet


_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Stated(Generic[_T]):
    """One version of something that changes slowly (a person, an instrument, a decision rule), with the entry that says so."""

    entry: int
    recorded_at: datetime
    author: str
    said: _T
    why: str = ""


@dataclass(frozen=True, slots=True)
class KeySet:
    """A key that signs the heads from an entry on: the book's name and the public key, 32 bytes."""

    origin: str
    public_key: bytes


Said = (
    Site | Signoff | Account | KeySet | Asset | MachineBreak | Person | Instrument | LimitSet | ImportedFile | JobLine
)
"""What an entry can say."""


@dataclass(frozen=True, slots=True)
class EntryStory:
    """Everything that one entry says, with what was said of the same thing before.

    ``before`` is ``None`` where the entry is the first to speak of it.  ``judged_by`` is the
    limit set under which a job was judged.  ``versions`` are all versions of a job, the first
    one first; empty for everything else.
    """

    line: EntryLine
    now: Said
    before: Said | None = None
    judged_by: AdoptedLimits | None = None
    versions: tuple[JobLine, ...] = ()
