"""A job of an import that has passed its own checks and waits for its batch, however its row was read."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from models.commands.plain_jobs import Four, PlainJob
from models.intake.reading import Cell
from models.intake.rows import Row
from models.tables.base import to_microseconds
from models.values.asset import Asset
from models.values.job import Job, Misalignment
from models.values.limits import LimitsGiven


@dataclass(slots=True)
class Pending:
    """A job that has passed its own checks and waits for its batch; a plain one has a row only where something is said of it."""

    number: int
    row: Row | None
    cells: Sequence[Cell]
    job: Job | PlainJob
    day: date
    content: bytes
    asset_id: int
    asset: Asset
    other_refs: tuple[str, ...] = ()
    """Of a job without a number of its own: the numbers that it would have under the other tags of its machine."""

    @property
    def left_as_found(self) -> bool:
        """Tell whether what was left is what was found, and no cell says so."""
        return (
            self.job.left_as_found
            if isinstance(self.job, PlainJob)
            else self.row is not None and self.row.left_as_found
        )

    def typed(self) -> Mapping[str, str]:
        """Give its numbers as they were typed."""
        if isinstance(self.job, PlainJob):
            read: Mapping[str, str] = json.loads(self.job.typed)
            return read
        return self.job.typed

    def speak(self) -> Row:
        """Give the row, to say something of it."""
        if self.row is None:
            self.row = Row(self.number)
        return self.row


@dataclass(frozen=True, slots=True)
class Clash:
    """A row whose job number the book has with other content; its tag and moment [µs]."""

    row: Row
    cells: Sequence[Cell]
    ref: str
    tag: str
    performed_us: int


@dataclass(frozen=True, slots=True)
class Judged:
    """What a job is judged by, and its ratios as-found and as-left."""

    limit_entry: int | None
    limits: LimitsGiven
    ratios: tuple[float | None, float | None]


def refs_of(waiting: Iterable[Pending]) -> list[str]:
    """Give the numbers under which the book may hold jobs."""
    return [ref for pending in waiting for ref in (pending.job.ref, *pending.other_refs)]


def moment_of(job: Job | PlainJob) -> int:
    """Give the moment of a job, in microseconds, whichever way it was read."""
    return job.performed_us if isinstance(job, PlainJob) else to_microseconds(job.performed_at)


def numbers_of(measured: Misalignment | Four | None) -> Four | None:
    """Give a measurement as four plain numbers, whichever way it was read."""
    return measured.as_tuple() if isinstance(measured, Misalignment) else measured
