"""Work before the hour turns: what the first pages of a new hour or day of a large book would otherwise wait for.

Chances are those of the full hour, and what is due or counts as the last months
goes by the day.  Both begin at a quarter of an hour somewhere in the world, so
shortly before each quarter the pages of its first moment are prepared.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from weakref import WeakMethod

LOG = logging.getLogger("driftbook.pictures")

TURN_S = 900.0
"""Hours and days begin at full quarters of an hour, whatever the zone. [s]"""

AHEAD_S = 120.0
"""So long before, their pages are prepared. [s]"""


def until_work(now_s: float) -> float:
    """Give how long it is until the next quarter of an hour is to be prepared.

    Parameters
    ----------
    now_s : float
        Seconds since 1970. [s]
    """
    return TURN_S - (now_s + AHEAD_S) % TURN_S


class Ahead:
    """Calls a method shortly before each quarter of an hour, as long as its object is there."""

    def __init__(self, work: Callable[[float], None]) -> None:
        self._work = WeakMethod(work)
        self._lock = threading.Lock()
        self._begun = False

    def begin(self) -> None:
        """Begin, unless it has begun already."""
        with self._lock:
            if self._begun:
                return
            self._begun = True
        threading.Thread(target=_go_on, args=(self._work,), name="driftbook-ahead", daemon=True).start()


def _go_on(found: WeakMethod[Callable[[float], None]]) -> None:
    while True:
        time.sleep(until_work(time.time()))
        work = found()
        if work is None:
            return
        try:
            work(AHEAD_S + 1.0)
        except Exception:
            LOG.exception("the pages of the next quarter of an hour could not be prepared")
        del work
