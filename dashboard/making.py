"""How the thread works that makes whole pictures: it waits for a quiet moment, studies, and shows what it has.

It works for one site at a time, on what this process holds of it, and gives every
whole picture to the book to be kept for the next start, also when the book was
written to all the time.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from dashboard.growing import later, put_together
from dashboard.kept import pin, same
from dashboard.picture import HistoryBook, Keeping, Picture
from models.history.columns import History
from models.history.engine import Study, study_of, without_predictions
from models.history.late import twin

QUIET_S = 2.0
"""The whole study is made anew when nothing has been written for so long … [s]"""

LONGEST_S = 60.0
"""… but at the latest after this. [s]"""

Derive = Callable[[History, Study], Mapping[Any, Any]]
"""Works out what rests on a whole study."""

Warm = Callable[[Picture, int, float], None]
"""Works out what the first pages of a picture would otherwise wait for: now, or so many seconds later."""


@dataclass(slots=True)
class Held:
    """What a process holds of one site.

    ``whole`` is the last whole study, ``grown`` when the picture last grew, ``day`` for which day machines are looked
    at in it, ``None`` until a page has asked, and ``outdated`` tells that this day brought what it cannot follow.  ``making`` tells those who wait when the thread is done; ``failed`` is when it last was
    not.  ``growing`` is held by who lets the picture grow.
    """

    growing: threading.RLock = field(default_factory=threading.RLock)
    shown: Picture | None = None
    whole: Study | None = None
    grown: float = 0.0
    day: int | None = None
    outdated: bool = False
    settling: bool = False
    making: threading.Event | None = None
    failed: float | None = None

    @property
    def busy(self) -> bool:
        """Tell whether a thread is at work for the site."""
        return self.settling or self.making is not None


@dataclass(frozen=True, slots=True)
class Making:
    """Makes the next whole picture of a site."""

    derive: Derive | None
    warm: Warm | None

    def next(self, book: HistoryBook, site_id: int, held: Held) -> None:
        """Bring what is held of a site one step closer to a whole picture, and show it.

        Parameters
        ----------
        book : HistoryBook
            The book. [unitless]
        site_id : int
            The site. [unitless]
        held : Held
            What is held of it. [unitless]
        """
        if held.shown is None and isinstance(book, Keeping):
            kept = book.kept_picture(site_id)
            if kept is not None:
                self._show(site_id, held, Picture(kept[0], kept[1], kept[0]), kept[2])
                book.prepare(site_id)
                return
        before = held.shown
        if before is not None and before.study is not None:
            self._be_quiet(held, before)
        source = book.history_to_keep(site_id) if isinstance(book, Keeping) else book.history(site_id)
        if before is None:
            before = self._show(site_id, held, Picture(source, None, source))
        # A history of its own for the study: pages that are being made meanwhile go on with the shelf that they have.
        history = replace(source, jobs=twin(source.jobs))
        if before.study is not None and before.whole and same(before.source, source):
            picture = replace(before, history=replace(before.history, head=source.head), source=source)
        else:
            del before  # it may be old when the study is made, and with it goes what its pages worked out
            study = study_of(history, before=held.whole)
            picture = Picture(history, without_predictions(study), source)
        derived = self._derived(site_id, held, picture)
        if isinstance(book, Keeping):
            book.prepare(site_id)
            book.keep_picture(site_id, source, picture.study, derived)

    def _be_quiet(self, held: Held, shown: Picture) -> None:
        """Put together what is late in a picture, and wait until nothing has been written for a moment, though not for ever."""
        limit, put = time.monotonic() + LONGEST_S, None
        while (now := time.monotonic()) < min(limit, held.grown + QUIET_S):
            if put is not shown:
                put_together(shown)
                put = shown
            time.sleep(min(0.1, max(held.grown + QUIET_S - now, 0.01)))
            shown = held.shown or shown

    def _derived(self, site_id: int, held: Held, picture: Picture) -> Mapping[Any, Any]:
        """Work out what rests on a whole study, bring it up to what is shown by then, and show it."""
        history, study = picture.history, picture.study
        derived: Mapping[Any, Any] = {}
        if study is not None:
            pin(history, "study", study)
            pin(history, "runs", study.runs)
            derived = {} if self.derive is None else self.derive(history, study)
            held.whole = study
        self._show(site_id, held, picture, derived)
        return derived

    def _show(self, site_id: int, held: Held, picture: Picture, derived: Mapping[Any, Any] | None = None) -> Picture:
        """Put everything on the shelf that the pages will ask for, then show the picture."""
        history, study = picture.history, picture.study
        if study is not None:
            pin(history, "study", study)
            pin(history, "runs", study.runs)
            held.whole = held.whole or study
            for key, value in (derived or {}).items():
                pin(history, key, value)
        if held.shown is None:
            # The first picture is shown at once; a later one when its pages are as quick as those before it.
            held.shown = picture
        if self.warm is not None:
            self.warm(picture, site_id, 0.0)
        with held.growing:
            shown = held.shown
            if shown.history.head > history.head and study is not None:
                # Something was written meanwhile and is shown already: what was made follows it before it takes its place.
                # Where it cannot follow, what is shown stays: no page goes back, and the next study begins from there.
                picture = later(picture, shown.source, again=True) or shown
            else:
                held.day, held.outdated = None, False
            held.shown = picture
        return picture
