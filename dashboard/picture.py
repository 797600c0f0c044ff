"""What the pages show of a site: a history and what it says, and what is asked of the book for it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, Protocol, runtime_checkable

from dashboard.kept import Shelf, shelf_of
from models.errors import DriftbookError
from models.history.columns import History
from models.history.engine import Study
from models.values.story import Site

QUICK = 10_000
"""A book of fewer entries is read and studied for the first time while the page waits. [unitless]"""

_PATIENT: ContextVar[bool] = ContextVar("driftbook-patient", default=False)


class StillReadingError(DriftbookError):
    """A large book is being read, and there is no earlier picture to show."""


class HistoryBook(Protocol):
    """A book of which histories are asked."""

    def sites(self) -> tuple[Site, ...]:
        """Give the sites of the book."""

    def head(self) -> int:
        """Give the number of the last entry."""

    def history(self, site_id: int) -> History:
        """Give the history of a site as columns."""


@runtime_checkable
class Keeping(Protocol):
    """A book that keeps pictures between two starts, and that keeps in memory what it has read."""

    def kept_picture(self, site_id: int) -> tuple[History, Study | None, dict[Any, Any]] | None:
        """Give what was kept of a site, and what was worked out of it."""

    def history_to_keep(self, site_id: int) -> History:
        """Give the history of a site, which is going to be kept whatever is written meanwhile."""

    def keep_picture(
        self, site_id: int, history: History, study: Study | None, derived: Mapping[Any, Any] | None = None
    ) -> None:
        """Keep a picture of a site, and what was worked out of it."""

    def prepare(self, site_id: int) -> None:
        """Make ready what the pages ask the book itself for."""

    def forget(self, site_id: int) -> None:
        """Let go of what was read of a site: it is read again when somebody asks."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A history and its study; the study is ``None`` while a large book is studied for the first time.

    Of a small book it is also ``None`` until a page asks for it.  ``source`` is the history as the book gave it.
    With a picture the shelf of its history is held: what its pages worked out stays as long as it is shown.
    """

    history: History
    study: Study | None
    source: History
    shelf: Shelf = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "shelf", shelf_of(self.history))

    @property
    def large(self) -> bool:
        """Tell whether the book is one that no page waits for."""
        return not quick(max(len(self.history.jobs), self.history.head))

    @property
    def whole(self) -> bool:
        """Tell whether the estimates over all machines go as far as everything else."""
        return self.study is None or self.study.whole


def quick(length: int) -> bool:
    """Tell whether whoever asks waits until so many jobs or entries are read and studied: it takes a moment, or he is patient.

    Parameters
    ----------
    length : int
        Their number. [unitless]
    """
    return length < QUICK or _PATIENT.get()


@contextmanager
def patient() -> Iterator[None]:
    """Let a command wait for a book of any size: there is no later moment at which it could be asked again."""
    token = _PATIENT.set(True)
    try:
        yield
    finally:
        _PATIENT.reset(token)
