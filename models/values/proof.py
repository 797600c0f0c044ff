"""What proves a book, as the pages are told it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


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
