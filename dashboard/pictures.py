"""The picture that the pages show of a site: its history, and what the history says, both up to the same entry.

A small book is read and studied anew while the page waits: that takes a moment.
For a large one nobody waits.  Its pages show the last picture that is whole, and
say so, while a thread of this process makes the next one; before there is any,
a page says that the book is being read.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

from dashboard.kept import pin, same
from dashboard.words import say
from dashboard.writing import count
from models.errors import DriftbookError
from models.history.columns import History
from models.history.engine import Study, study_of

LOG = logging.getLogger("driftbook.pictures")

QUICK = 10_000
"""A book of fewer entries is read and studied while the page waits. [unitless]"""

PATIENCE_S = 1.5
"""How long the first page of a large book waits before it says that the book is being read. [s]"""

AGAIN_S = 30.0
"""After a picture could not be made it is tried again no sooner. [s]"""


class StillReadingError(DriftbookError):
    """A large book is being read, and there is no earlier picture to show."""


class Book(Protocol):
    """What is asked of a book."""

    def head(self) -> int:
        """Give the number of the last entry."""

    def history(self, site_id: int) -> History:
        """Give the history of a site."""


@runtime_checkable
class Keeping(Protocol):
    """A book that keeps pictures between two starts."""

    def kept_picture(self, site_id: int) -> tuple[History, Study | None, dict[Any, Any]] | None:
        """Give what was kept of a site, and what was worked out of it."""

    def keep_picture(
        self, site_id: int, history: History, study: Study | None, derived: Mapping[Any, Any] | None = None
    ) -> None:
        """Keep a picture of a site, and what was worked out of it."""

    def prepare(self, site_id: int) -> None:
        """Make ready what the pages ask the book itself for."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A history and its study; the study is ``None`` while a large book is studied for the first time."""

    history: History
    study: Study | None


class Pictures:
    """The pictures of one book, by site."""

    def __init__(
        self,
        derive: Callable[[History, Study], Mapping[Any, Any]] | None = None,
        warm: Callable[[Picture, int], None] | None = None,
    ) -> None:
        self._lock = threading.Lock()
        self._shown: dict[int, Picture] = {}
        self._making: dict[int, threading.Event] = {}
        self._failed: dict[int, float] = {}
        self._derive, self._warm = derive, warm

    def of(self, book: Book, site_id: int) -> Picture | None:
        """Give the picture of a site; ``None`` for a small book, whose columns are asked for directly.

        Parameters
        ----------
        book : Book
            The book. [unitless]
        site_id : int
            The site. [unitless]

        Raises
        ------
        StillReadingError
            If there is nothing to show yet.
        """
        head = book.head()
        shown = self._shown.get(site_id)
        if shown is None:
            if head < QUICK:
                return None
            shown = self._first(book, site_id)
        if shown.history.head != head or shown.study is None:
            self._start(book, site_id)
        return shown

    def behind(self, book: Book, site_id: int) -> str:
        """Say how far a picture is behind the book; nothing where it is not, or where there is none.

        Parameters
        ----------
        book : Book
            The book. [unitless]
        site_id : int
            The site. [unitless]
        """
        shown = self._shown.get(site_id)
        if shown is None:
            return ""
        head = book.head()
        if shown.history.head != head:
            return say("picture.behind", shown=count(shown.history.head), head=count(head))
        return say("picture.no_study") if shown.study is None else ""

    def state(self) -> tuple[tuple[int, int, bool], ...]:
        """Give which pictures are shown: site, last entry, and whether the study is there."""
        return tuple((site, one.history.head, one.study is not None) for site, one in sorted(self._shown.items()))

    def _first(self, book: Book, site_id: int) -> Picture:
        done = self._start(book, site_id)
        if done is not None:
            limit = time.monotonic() + PATIENCE_S
            while site_id not in self._shown and not done.is_set() and time.monotonic() < limit:
                done.wait(0.02)
        shown = self._shown.get(site_id)
        if shown is None:
            raise StillReadingError(say("picture.reading"), remedy=say("picture.reading.remedy"))
        return shown

    def _start(self, book: Book, site_id: int) -> threading.Event | None:
        """Begin to make the next picture, unless that is being done; give what tells when it is whole."""
        with self._lock:
            done = self._making.get(site_id)
            if done is not None:
                return done
            if time.monotonic() - self._failed.get(site_id, -AGAIN_S) < AGAIN_S:
                return None
            done = self._making[site_id] = threading.Event()
        threading.Thread(target=self._make, args=(book, site_id, done), name="driftbook-picture", daemon=True).start()
        return done

    def _make(self, book: Book, site_id: int, done: threading.Event) -> None:
        try:
            while not self._up_to_date(book, site_id):
                self._next(book, site_id)
        except Exception:
            # The pages go on with the picture that they have; the next one is tried again after a while.
            LOG.exception("the picture of site %s could not be made", site_id)
            self._failed[site_id] = time.monotonic()
        finally:
            with self._lock:
                self._making.pop(site_id, None)
            done.set()

    def _up_to_date(self, book: Book, site_id: int) -> bool:
        shown = self._shown.get(site_id)
        return shown is not None and shown.study is not None and shown.history.head == book.head()

    def _next(self, book: Book, site_id: int) -> None:
        if site_id not in self._shown and isinstance(book, Keeping):
            kept = book.kept_picture(site_id)
            if kept is not None:
                self._show(site_id, Picture(kept[0], kept[1]), kept[2])
                book.prepare(site_id)
                return
        before = self._shown.get(site_id)
        history = book.history(site_id)
        if before is None:
            self._show(site_id, Picture(history, None))
        if before is not None and before.study is not None and same(before.history, history):
            picture = Picture(history, before.study)
        else:
            picture = Picture(history, study_of(history, before=None if before is None else before.study))
        derived = self._show(site_id, picture)
        if isinstance(book, Keeping):
            book.prepare(site_id)
            book.keep_picture(site_id, picture.history, picture.study, derived)

    def _show(self, site_id: int, picture: Picture, derived: Mapping[Any, Any] | None = None) -> Mapping[Any, Any]:
        """Put everything on the shelf that the pages will ask for, then show the picture."""
        history, study = picture.history, picture.study
        if study is not None:
            pin(history, "study", study)
            pin(history, "runs", study.runs)
            if not derived:
                derived = {} if self._derive is None else self._derive(history, study)
            for key, value in derived.items():
                pin(history, key, value)
        if site_id not in self._shown:
            # The first picture is shown at once; a later one when its pages are as quick as those before it.
            self._shown[site_id] = picture
        if self._warm is not None:
            self._warm(picture, site_id)
        self._shown[site_id] = picture
        return derived or {}
