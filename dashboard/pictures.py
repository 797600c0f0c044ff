"""The picture that the pages show of a site: its history, and what the history says, both up to the same entry.

A new job shows at once: the machines that it touches are worked out while the
page waits, which takes a moment (``models.history.follow``).  What is estimated
from all machines together stays as it was, and the page says up to which entry,
while a thread of this process makes the whole study and puts it in the place.

A small book is read and studied for the first time while the page waits.  For
a large one nobody waits: before there is any picture, a page says that the book
is being read, and when more was written than can be followed, its pages show
the last picture, and say so, until the next one is whole.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any, Protocol, runtime_checkable

from dashboard.carrying import carry_over
from dashboard.kept import holds, keep, known, pin, same, wanted
from dashboard.words import say
from dashboard.writing import count
from models.errors import DriftbookError
from models.history.columns import History
from models.history.engine import Study, study_of, without_predictions
from models.history.follow import change_of, follow
from models.history.late import settle, twin

LOG = logging.getLogger("driftbook.pictures")

QUICK = 10_000
"""A book of fewer entries is read and studied for the first time while the page waits. [unitless]"""

PATIENCE_S = 1.5
"""How long the first page of a large book waits before it says that the book is being read. [s]"""

AGAIN_S = 30.0
"""After a picture could not be made it is tried again no sooner. [s]"""

FOLLOWED = 500
"""So many entries of a large book are followed while a page waits; more are left to the thread that makes the next picture."""

SOON_S = 0.3
"""So long after a page of a large book what is late in its picture is put together. [s]"""

QUIET_S = 2.0
"""The whole study is made anew when nothing has been written for so long … [s]"""

LONGEST_S = 60.0
"""… but at the latest after this. [s]"""


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
    """A history and its study; the study is ``None`` while a large book is studied for the first time.

    Of a small book it is also ``None`` until a page asks for it.  ``source`` is the history as the book gave it.
    """

    history: History
    study: Study | None
    source: History


class Pictures:
    """The pictures of one book, by site."""

    def __init__(
        self,
        derive: Callable[[History, Study], Mapping[Any, Any]] | None = None,
        warm: Callable[[Picture, int], None] | None = None,
    ) -> None:
        self._lock = threading.Lock()
        self._growing: dict[int, threading.RLock] = {}
        self._shown: dict[int, Picture] = {}
        self._whole: dict[int, Study] = {}
        self._grown: dict[int, float] = {}
        self._day: dict[int, int] = {}
        self._settling: set[int] = set()
        self._making: dict[int, threading.Event] = {}
        self._failed: dict[int, float] = {}
        self._derive, self._warm = derive, warm

    def of(self, book: Book, site_id: int) -> Picture:
        """Give the picture of a site, up to the last entry where that can be followed.

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
        return self._at(book, site_id, book.head())

    def _at(self, book: Book, site_id: int, head: int) -> Picture:
        shown = self._shown.get(site_id)
        if shown is None and head < QUICK:
            shown = self._first_of_small(book, site_id)
        elif shown is None:
            shown = self._first(book, site_id)
        if shown.history.head != head or self._day.get(site_id, _today()) != _today():
            shown = self._grow(book, site_id, head)
        if shown.history.head != head or (shown.study is None and _large(shown)) or not _is_whole(shown):
            self._start(book, site_id)
        if shown.study is not None and not holds(shown.history, "study"):
            pin(shown.history, "study", shown.study)  # its shelf was cleared for those of other sites
            pin(shown.history, "runs", shown.study.runs)
        return shown

    def history(self, book: Book, site_id: int) -> History:
        """Give the history of the picture; see :meth:`of`."""
        return self.of(book, site_id).history

    def behind(self, book: Book, site_id: int) -> str:
        """Say how far a picture, or a part of it, is behind the book; nothing where it is not, or where there is none.

        Parameters
        ----------
        book : Book
            The book. [unitless]
        site_id : int
            The site. [unitless]
        """
        if site_id not in self._shown:
            return ""
        head = book.head()
        shown = self._at(book, site_id, head)
        if shown.history.head != head:
            return say("picture.behind", shown=count(shown.history.head), head=count(head))
        if shown.study is None:
            return say("picture.no_study") if _large(shown) else ""
        if not _is_whole(shown):
            return say("picture.fleet", fleet=count(shown.study.fleet.until), head=count(head))
        return ""

    def state(self) -> tuple[tuple[int, int, int], ...]:
        """Give which pictures are shown: site, last entry, and up to which entry the estimates over all machines go."""
        # A small book that was never followed is read by each page as it is.
        shown = [(site, one) for site, one in sorted(self._shown.items()) if one.study is not None or _large(one)]
        return tuple(
            (site, one.history.head, -1 if one.study is None else one.study.fleet.until) for site, one in shown
        )

    def _first_of_small(self, book: Book, site_id: int) -> Picture:
        with self._growth(site_id):
            shown = self._shown.get(site_id)
            if shown is None:
                history = book.history(site_id)
                self._day[site_id] = _today()
                shown = self._shown[site_id] = Picture(history, None, history)
            return shown

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

    def _growth(self, site_id: int) -> threading.RLock:
        with self._lock:
            return self._growing.setdefault(site_id, threading.RLock())

    def _grow(self, book: Book, site_id: int, head: int) -> Picture:
        """Bring a picture up to the last entry, where only few machines are touched; else give it as it is."""
        shown = self._shown[site_id]
        if _large(shown) and (shown.study is None or head - shown.history.head > FOLLOWED):
            return shown
        with self._growth(site_id):
            shown = self._shown[site_id]
            try:
                source = book.history(site_id)
                self._day[site_id] = _today()
                if source is shown.source:
                    return shown
                base, later = _study_held(shown), _later(shown, source)
            except Exception:
                if not _large(shown):
                    raise
                # The pages go on with the picture that they have; the thread tries again, and says what is wrong.
                LOG.exception("the picture of site %s could not follow", site_id)
                later = None
                base = None
            if later is None:
                return shown
            if base is not None and base.whole:
                self._whole[site_id] = base
            self._grown[site_id] = time.monotonic()
            self._shown[site_id] = later
        if _large(later):
            self._settle_soon(site_id)
        return later

    def _settle_soon(self, site_id: int) -> None:
        """Let a thread put together what is late in a large picture, so that those before it can be let go."""
        with self._lock:
            if site_id in self._settling:
                return
            self._settling.add(site_id)
        threading.Thread(target=self._settle, args=(site_id,), name="driftbook-settle", daemon=True).start()

    def _settle(self, site_id: int) -> None:
        again = True
        while again:
            time.sleep(SOON_S)
            picture = self._shown[site_id]
            try:
                _put_together(picture)
            except Exception:
                LOG.exception("the picture of site %s could not be put together", site_id)
            with self._lock:
                again = self._shown[site_id] is not picture
                if not again:
                    self._settling.discard(site_id)

    def _start(self, book: Book, site_id: int) -> threading.Event | None:
        """Begin to make the next whole picture, unless that is being done; give what tells when it is there."""
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
            while not self.whole(book, site_id):
                self._next(book, site_id)
        except Exception:
            # The pages go on with the picture that they have; the next one is tried again after a while.
            LOG.exception("the picture of site %s could not be made", site_id)
            self._failed[site_id] = time.monotonic()
        finally:
            with self._lock:
                self._making.pop(site_id, None)
            done.set()

    def whole(self, book: Book, site_id: int) -> bool:
        """Tell whether there is nothing to wait for: what is shown goes up to the last entry, and so do all estimates.

        Parameters
        ----------
        book : Book
            The book. [unitless]
        site_id : int
            The site. [unitless]
        """
        shown = self._shown.get(site_id)
        if shown is None or shown.history.head != book.head():
            return False
        return _is_whole(shown) if shown.study is not None else not _large(shown)

    def _next(self, book: Book, site_id: int) -> None:
        if site_id not in self._shown and isinstance(book, Keeping):
            kept = book.kept_picture(site_id)
            if kept is not None:
                with wanted(kept[0]):
                    self._show(site_id, Picture(kept[0], kept[1], kept[0]), kept[2])
                book.prepare(site_id)
                return
        before = self._shown.get(site_id)
        if before is not None and before.study is not None:
            self._be_quiet(site_id, before)
        source = book.history(site_id)
        if before is None:
            before = self._show(site_id, Picture(source, None, source))
        # A history of its own for the study: pages that are being made meanwhile go on with the shelf that they have.
        history = replace(source, jobs=twin(source.jobs))
        whole = self._whole.get(site_id)
        if before.study is not None and _is_whole(before) and same(before.source, source):
            picture = replace(before, history=replace(before.history, head=source.head), source=source)
        else:
            study = study_of(history, before=whole)
            picture = Picture(history, without_predictions(study), source)
        with wanted(picture.history):
            derived = self._derived(site_id, picture)
        if isinstance(book, Keeping):
            book.prepare(site_id)
            book.keep_picture(site_id, source, picture.study, derived)

    def _be_quiet(self, site_id: int, shown: Picture) -> None:
        """Put together what is late in a picture, and wait until nothing has been written for a moment, though not for ever."""
        limit, put = time.monotonic() + LONGEST_S, None
        while (now := time.monotonic()) < min(limit, self._grown.get(site_id, 0.0) + QUIET_S):
            if put is not shown:
                _put_together(shown)
                put = shown
            time.sleep(min(0.1, max(self._grown.get(site_id, 0.0) + QUIET_S - now, 0.01)))
            shown = self._shown[site_id]

    def _derived(self, site_id: int, picture: Picture) -> Mapping[Any, Any]:
        """Work out what rests on a whole study, bring it up to what is shown by then, and show it."""
        history, study = picture.history, picture.study
        derived: Mapping[Any, Any] = {}
        if study is not None:
            pin(history, "study", study)
            pin(history, "runs", study.runs)
            derived = {} if self._derive is None else self._derive(history, study)
            self._whole[site_id] = study
        self._show(site_id, picture, derived)
        return derived

    def _show(self, site_id: int, picture: Picture, derived: Mapping[Any, Any] | None = None) -> Picture:
        """Put everything on the shelf that the pages will ask for, then show the picture."""
        history, study = picture.history, picture.study
        if study is not None:
            pin(history, "study", study)
            pin(history, "runs", study.runs)
            self._whole.setdefault(site_id, study)
            for key, value in (derived or {}).items():
                pin(history, key, value)
        if site_id not in self._shown:
            # The first picture is shown at once; a later one when its pages are as quick as those before it.
            self._shown[site_id] = picture
        if self._warm is not None:
            self._warm(picture, site_id)
        with self._growth(site_id):
            shown = self._shown[site_id]
            if shown.history.head > history.head and study is not None:
                # Something was written meanwhile and is shown already: what was made follows it before it takes its place.
                # Where it cannot follow, what is shown stays: no page goes back, and the next study begins from there.
                picture = _later(picture, shown.source, again=True) or shown
            self._shown[site_id] = picture
        return picture


def _put_together(picture: Picture) -> None:
    settle(picture.history)
    settle(picture.study)
    for give in known(picture.history).values():
        settle(give())


def _large(picture: Picture) -> bool:
    return max(len(picture.history.jobs), picture.history.head) >= QUICK


def _study_held(picture: Picture) -> Study | None:
    """Give the study of a picture; of a small book also one that a page asked for."""
    history = picture.history
    if picture.study is not None or not holds(history, "study"):
        return picture.study
    return keep(history, "study", lambda: study_of(history))  # it is held: nothing is computed here


def _today() -> int:
    """Give the day, as the whole world's clock has it [d since 1970]: assets go out of service by it."""
    return (datetime.now(UTC).date() - date(1970, 1, 1)).days


def _is_whole(picture: Picture) -> bool:
    return picture.study is None or picture.study.whole


def _later(shown: Picture, source: History, *, again: bool = False) -> Picture | None:
    """Give a picture of the same site a few entries later; ``None`` where it cannot be followed.

    ``again`` gives it a history of its own, for one whose shelf is in use.
    """
    if same(shown.source, source):
        return replace(shown, history=replace(shown.history, head=source.head), source=source)
    history = replace(source, jobs=twin(source.jobs)) if again else source
    study = _study_held(shown)
    change = None if study is None else change_of(shown.history, history)
    if study is None or change is None:
        # A large book keeps what it shows until the next picture is whole; a small one is studied when a page asks.
        return None if _large(shown) else Picture(history, None, source)
    made = follow(study, change, history.head)
    carry_over(shown.history, study, history, made)
    return Picture(history, made.study, source)
