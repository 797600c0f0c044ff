"""A look at the book for a monitor that waits no longer than a moment, however long the book takes."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Generic, TypeVar

T = TypeVar("T")

WAIT_S: Final = 3.0
"""So long a monitor waits for the book: who watches servers gives up after five seconds or so. [s]"""


@dataclass(slots=True)
class _Run(Generic[T]):
    done: threading.Event = field(default_factory=threading.Event)
    came: T | None = None
    fault: BaseException | None = None


class Looking(Generic[T]):
    """Does something in a thread of its own, once at a time; who asks meanwhile waits for the same answer.

    Parameters
    ----------
    look : callable
        What is done. [unitless]
    wait_s : float
        How long is waited for it. [s]
    """

    def __init__(self, look: Callable[[], T], wait_s: float = WAIT_S) -> None:
        self._look, self._wait_s = look, wait_s
        self._lock = threading.Lock()
        self._running: _Run[T] | None = None

    def __call__(self) -> T | None:
        """Give what came of it; ``None`` where nothing has come in time."""
        with self._lock:
            run = self._running
            if run is None:
                run = self._running = _Run()
                threading.Thread(target=self._do, args=(run,), daemon=True, name="driftbook-look").start()
        if not run.done.wait(self._wait_s):
            return None
        if run.fault is not None:
            raise run.fault
        return run.came

    def _do(self, run: _Run[T]) -> None:
        try:
            run.came = self._look()
        except BaseException as fault:  # noqa: BLE001 - raised again where it is waited for
            run.fault = fault
        finally:
            with self._lock:
                self._running = None
            run.done.set()
