"""The pictures that the pages show, one a site: its history, and what the history says, both up to the same entry.

A new job shows at once: the machines that it touches are worked out while the
page waits, which takes a moment (``dashboard.growing``).  What is estimated from
all machines together stays as it was, and the page says up to which entry, while
a thread of this process makes the whole study and puts it in the place
(``dashboard.making``).

A small book is read and studied for the first time while the page waits.  For
a large one nobody waits: before there is any picture, a page says that the book
is being read, and when more was written than can be followed, its pages show
the last picture, and say so, until the next one is whole.

A process that shows many sites forgets those that nobody asked for the longest.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import OrderedDict

from dashboard.ahead import Ahead
from dashboard.growing import later, put_together, study_held
from dashboard.kept import let_go
from dashboard.making import Derive, Held, Making, Warm
from dashboard.picture import HistoryBook, Keeping, Picture, StillReadingError, quick
from dashboard.words import say
from dashboard.writing import count
from models.history.columns import History
from models.values.site_day import day_number_at

LOG = logging.getLogger("driftbook.pictures")

PATIENCE_S = 1.5
"""How long the first page of a large book waits before it says that the book is being read. [s]"""

AGAIN_S = 30.0
"""After a picture could not be made it is tried again no sooner. [s]"""

FOLLOWED = 500
"""So many entries of a large book are followed while a page waits; more are left to the thread that makes the next picture."""

SOON_S = 0.3
"""So long after a page of a large book what is late in its picture is put together. [s]"""

MOST_JOBS = 2_000_000
"""A process holds sites of so many jobs together, and always the one that was asked for last: memory goes by jobs. [unitless]"""

LEAST_JOBS = 2_000
"""A site of fewer jobs counts as one of so many: it is not only its jobs that are held. [unitless]"""


class Pictures:
    """The pictures of one book, by site."""

    def __init__(self, derive: Derive | None = None, warm: Warm | None = None) -> None:
        self._lock = threading.Lock()
        self._sites: OrderedDict[int, Held] = OrderedDict()
        self._making = Making(derive, warm)
        self._ahead = Ahead(self.prepare)

    def prepare(self, later_s: float) -> None:
        """Work out what the first pages of a later moment would wait for, of every large book that is shown.

        Parameters
        ----------
        later_s : float
            How much later. [s]
        """
        with self._lock:
            shown = [(site, held.shown) for site, held in self._sites.items()]
        for site_id, picture in shown:
            if picture is not None and picture.large and self._making.warm is not None:
                self._making.warm(picture, site_id, later_s)

    def of(self, book: HistoryBook, site_id: int) -> Picture:
        """Give the picture of a site, up to the last entry where that can be followed.

        Parameters
        ----------
        book : HistoryBook
            The book. [unitless]
        site_id : int
            The site. [unitless]

        Raises
        ------
        StillReadingError
            If there is nothing to show yet.
        """
        return self._at(book, site_id, book.head())

    def _at(self, book: HistoryBook, site_id: int, head: int) -> Picture:
        held = self._held(site_id)
        shown = held.shown
        if shown is None and quick(head):
            shown = self._first_of_small(book, site_id, held)
        elif shown is None:
            shown = self._first(book, site_id, held)
        if shown.history.head != head or held.day != day_number_at(shown.history.zone):
            shown = self._grow(book, site_id, held, head)
        if shown.history.head != head or (shown.study is None and shown.large) or not shown.whole or held.outdated:
            self._start(book, site_id, held)
        self._forget(book, site_id)
        return shown

    def _held(self, site_id: int) -> Held:
        with self._lock:
            held = self._sites.setdefault(site_id, Held())
            self._sites.move_to_end(site_id)
            return held

    def _forget(self, book: HistoryBook, asked: int) -> None:
        """Let go of the sites that nobody asked for the longest, while they hold more jobs together than are held."""
        if len(self._sites) < 2:
            return
        with self._lock:
            jobs = {
                site: LEAST_JOBS if held.shown is None else max(len(held.shown.history.jobs), LEAST_JOBS)
                for site, held in self._sites.items()
            }
            gone = []
            for site, held in list(self._sites.items()):
                if sum(jobs.values()) <= MOST_JOBS:
                    break
                # Where a thread is at work it would go on for nobody: its site goes when it is done.
                if site != asked and not held.busy:
                    del self._sites[site], jobs[site]
                    gone.append(site)
        if gone and isinstance(book, Keeping):
            for site in gone:
                book.forget(site)

    def history(self, book: HistoryBook, site_id: int) -> History:
        """Give the history of the picture; see :meth:`of`."""
        return self.of(book, site_id).history

    def behind(self, book: HistoryBook, site_id: int) -> str:
        """Say how far a picture, or a part of it, is behind the book; nothing where it is not, or where there is none.

        Parameters
        ----------
        book : HistoryBook
            The book. [unitless]
        site_id : int
            The site. [unitless]
        """
        held = self._sites.get(site_id)
        if held is None or held.shown is None:
            return ""
        head = book.head()
        shown = self._at(book, site_id, head)
        if shown.history.head != head:
            return say("picture.behind", shown=count(shown.history.head), head=count(head))
        if shown.study is None:
            return say("picture.no_study") if shown.large else ""
        if held.outdated:
            return say("picture.new_day")
        if not shown.whole:
            return say("picture.fleet", fleet=count(shown.study.fleet.until), head=count(head))
        return ""

    def state(self) -> tuple[tuple[int, int, int], ...]:
        """Give which pictures are shown: site, last entry, and up to which entry the estimates over all machines go."""
        with self._lock:
            every = [(site, held.shown, held.outdated) for site, held in sorted(self._sites.items())]
        # A small book that was never followed is read by each page as it is.
        return tuple(
            (site, one.history.head, -1 if one.study is None or outdated else one.study.fleet.until)
            for site, one, outdated in every
            if one is not None and (one.study is not None or one.large)
        )

    def whole(self, book: HistoryBook, site_id: int) -> bool:
        """Tell whether there is nothing to wait for: what is shown goes up to the last entry, and so do all estimates.

        Parameters
        ----------
        book : HistoryBook
            The book. [unitless]
        site_id : int
            The site. [unitless]
        """
        held = self._sites.get(site_id)
        return held is not None and _nothing_to_wait_for(book, held)

    def _first_of_small(self, book: HistoryBook, site_id: int, held: Held) -> Picture:
        with held.growing:
            if held.shown is None:
                history = book.history(site_id)
                held.day = day_number_at(history.zone)
                held.shown = Picture(history, None, history)
            return held.shown

    def _first(self, book: HistoryBook, site_id: int, held: Held) -> Picture:
        done = self._start(book, site_id, held)
        if done is not None:
            limit = time.monotonic() + PATIENCE_S
            while held.shown is None and not done.is_set() and time.monotonic() < limit:
                done.wait(0.02)
        if held.shown is None:
            raise StillReadingError(say("picture.reading"), remedy=say("picture.reading.remedy"))
        return held.shown

    def _grow(self, book: HistoryBook, site_id: int, held: Held, head: int) -> Picture:
        """Bring a picture up to the last entry, where only few machines are touched; else give it as it is."""
        shown = _shown(held)
        if shown.large and (shown.study is None or head - shown.history.head > FOLLOWED):
            return shown
        with held.growing:
            shown = _shown(held)
            try:
                day, source = day_number_at(shown.history.zone), book.history(site_id)
                held.day = day
                if source is shown.source:
                    held.outdated = False
                    return shown
                base, grown = study_held(shown), later(shown, source)
            except Exception:
                if not shown.large:
                    raise
                # The pages go on with the picture that they have; the thread tries again, and says what is wrong.
                LOG.exception("the picture of site %s could not follow", site_id)
                base = grown = None
            held.outdated = grown is None
            if grown is None:
                return shown
            if base is not None and base.whole:
                held.whole = base
            held.grown = time.monotonic()
            held.shown = grown
        if grown.large:
            self._settle_soon(site_id, held)
        return grown

    def _settle_soon(self, site_id: int, held: Held) -> None:
        """Let a thread put together what is late in a large picture, so that those before it can be let go."""
        with self._lock:
            if held.settling:
                return
            held.settling = True
        threading.Thread(target=self._settle, args=(site_id, held), name="driftbook-settle", daemon=True).start()

    def _settle(self, site_id: int, held: Held) -> None:
        again = True
        while again:
            time.sleep(SOON_S)
            picture = _shown(held)
            try:
                let_go()
                put_together(picture)
            except Exception:
                LOG.exception("the picture of site %s could not be put together", site_id)
            with self._lock:
                again = held.shown is not picture
                held.settling = again

    def _start(self, book: HistoryBook, site_id: int, held: Held) -> threading.Event | None:
        """Begin to make the next whole picture, unless that is being done; give what tells when it is there."""
        with self._lock:
            if held.making is not None:
                return held.making
            if held.failed is not None and time.monotonic() - held.failed < AGAIN_S:
                return None
            done = held.making = threading.Event()
        self._ahead.begin()
        thread = threading.Thread(
            target=self._make, args=(book, site_id, held, done), name="driftbook-picture", daemon=True
        )
        thread.start()
        return done

    def _make(self, book: HistoryBook, site_id: int, held: Held, done: threading.Event) -> None:
        try:
            while not _nothing_to_wait_for(book, held):
                self._making.next(book, site_id, held)
                if held.shown is not None and held.shown.history.head > book.head():
                    # A copy that is behind is read now, or an older backup was put back: no round would end that.
                    held.failed = time.monotonic()
                    break
        except Exception:
            # The pages go on with the picture that they have; the next one is tried again after a while.
            LOG.exception("the picture of site %s could not be made", site_id)
            held.failed = time.monotonic()
        finally:
            with self._lock:
                held.making = None
            done.set()


def _shown(held: Held) -> Picture:
    """Give what is shown of a site, where something is."""
    if held.shown is None:
        raise LookupError("nothing is shown of this site yet")
    return held.shown


def _nothing_to_wait_for(book: HistoryBook, held: Held) -> bool:
    shown = held.shown
    if shown is None or shown.history.head != book.head():
        return False
    return shown.whole and not held.outdated if shown.study is not None else not shown.large
