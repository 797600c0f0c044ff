"""What verification finds, as values; the words for it stand elsewhere."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

KEPT = 200
"""So many findings are kept one by one; all are counted."""


class Fault(StrEnum):
    """What does not fit."""

    VALUE = "value"
    """A cell of a row says something else than the statement."""
    TYPE = "type"
    """A cell holds a value of another kind than its column."""
    ROW_MISSING = "row missing"
    """The statement says a row that is not there."""
    ROW_ADDED = "row added"
    """A row is there that the statement does not say."""
    ROW_ALONE = "row alone"
    """A row names an entry that is not there."""
    ENTRY_MISSING = "entry missing"
    """A number between two entries has none; ``upto`` is the last of several."""
    UNREADABLE = "unreadable"
    """Entries up to ``upto``, or what stands beside them, cannot be read: pages of the file are damaged."""
    STATEMENT_MISSING = "statement missing"
    SAID = "statement changed"
    """The statement was changed: what its leaf was made of is what the rows still say."""
    FORM = "statement form"
    """The statement is not in canonical form, or cannot be read."""
    LEAF = "leaf"
    """The kept leaf is not the hash of the statement."""
    SITE = "statement site"
    ORDER = "order"
    """A head is missing where one commit ended and another began, or the book has none at all."""
    ROOT = "root"
    """The tree over the entries has another root than a kept head."""
    FRONTIER = "frontier"
    KEY = "key of a head"
    """A head names another key than the one in force, or a key without a signature."""
    SIGNATURE = "signature"
    HEAD_AHEAD = "head ahead"
    """A head covers more entries than there are: the end is cut off."""
    HEAD_BEHIND = "head behind"
    """No head covers the last entry."""
    NOT_COMPUTED = "not computed"
    """A root cannot be computed, because entries before are missing."""
    SIGNOFF = "sign-off"
    """A sign-off is bound to another leaf than that of the entry it stands under."""
    SIGNED_BY_AUTHOR = "signed by author"
    REFERENCE = "reference"
    GUARD = "guard"
    """The trigger that refuses changes is missing or was changed."""
    SHAPE = "shape"
    """A table is missing, or is not as the migrations make it, or something stands in its place."""
    INDEX = "index"
    """An index is missing, or is not as the migrations make it."""
    INDEX_ROW = "index row"
    """An index does not lead to a row, or to more than there is."""
    REVISION = "revision"
    """The book bears no mark of its revision, or another than that of the tables that are looked at."""
    FOREIGN = "foreign"
    """A trigger, an index or a rule on a table of the book that the migrations do not make."""
    FILE = "file"
    """What the database's own check says of its pages and rows besides."""
    UNSIGNED = "unsigned"
    """Told, and a fault only where asked: a head without a signature."""
    UNSIGNED_ENTRIES = "unsigned entries"
    """A key is given that has to vouch for the book, and entries up to ``upto`` lie under heads without a signature."""
    KEPT_ROOT = "kept root"
    """A head that was kept elsewhere has another root: something before it was changed."""
    KEPT_AHEAD = "kept ahead"
    """A head that was kept elsewhere covers more entries than the book has."""
    KEPT_SIGNATURE = "kept signature"
    KEPT_OTHER = "kept other book"
    KEY_NOT_GIVEN = "not the given key"
    KEY_NOT_VOUCHED = "key not vouched for"
    """Heads are given that were kept elsewhere, and they do not vouch for the key that entry ``entry`` names."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not fit: where, what is there, and what was said."""

    fault: Fault
    entry: int | None = None
    table: str = ""
    column: str = ""
    found: str | None = None
    said: str | None = None
    upto: int | None = None


@dataclass(slots=True)
class Tally:
    """Findings as they come: the first ones kept, all counted, and how many entries have any."""

    kept: list[Finding] = field(default_factory=list)
    counts: Counter[Fault] = field(default_factory=Counter)
    touched: int = 0

    def add(self, *findings: Finding) -> None:
        """Take findings."""
        for finding in findings:
            self.counts[finding.fault] += 1
            if len(self.kept) < KEPT:
                self.kept.append(finding)

    def extend(self, findings: Iterable[Finding]) -> None:
        """Take findings."""
        self.add(*findings)

    def merge(self, other: Tally) -> None:
        """Take what another has."""
        self.counts.update(other.counts)
        self.kept += other.kept[: max(0, KEPT - len(self.kept))]
        self.touched += other.touched


def shown(value: object) -> str:
    """Write a value of any kind for a person, cut where it is long."""
    if isinstance(value, bytes | bytearray | memoryview):
        text = bytes(value).hex()
    elif isinstance(value, float):
        text = repr(value)
    else:
        text = str(value)
    # What is no text at all, put there by somebody, must not break the page or the terminal that shows it.
    text = text.encode("utf-8", "backslashreplace").decode()
    return text if len(text) <= 120 else f"{text[:117]}…"
