"""What proves a book, as the pages are told it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class BookProof:
    """The newest head of a book: its text to be kept elsewhere, over how many entries, when, and by which key."""

    origin: str
    size: int
    at: datetime
    note: str
    key_entry: int | None
    heads: int
    unsigned: int


class Flaw(StrEnum):
    """In what the story of a machine is not what was written."""

    ALTERED = "altered"
    """An entry no longer says what was said when it was written."""
    UNSEEN = "unseen"
    """An entry of the machine is not found by the way that pages take."""
    TREE = "tree"
    """The entries do not give the root of the newest head."""


@dataclass(frozen=True, slots=True)
class Misfit:
    """The first thing in which the story of a machine is not what was written, and the entry where it shows."""

    flaw: Flaw
    entry: int | None = None
