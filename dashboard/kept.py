"""Keeping what is costly to compute, as long as the very same history is asked for."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, TypeVar, cast

from models.history.columns import History

T = TypeVar("T")

MOST = 24
"""So many results are kept."""

_held: OrderedDict[tuple[int, Hashable], tuple[History, Any]] = OrderedDict()
_lock = Lock()


def keep(history: History, key: Hashable, make: Callable[[], T]) -> T:
    """Give a result, made once for a history and a key.

    Parameters
    ----------
    history : History
        What it was made from; frozen, and a new one after each entry. [unitless]
    key : hashable
        Which result, and of what else it was made. [unitless]
    make : callable
        Makes it. [unitless]
    """
    place = (id(history), key)
    with _lock:
        found = _held.get(place)
        # An id is given again after its object is gone, so the object itself is compared.
        if found is not None and found[0] is history:
            _held.move_to_end(place)
            return cast("T", found[1])
    made = make()
    with _lock:
        _held[place] = (history, made)
        while len(_held) > MOST:
            _held.popitem(last=False)
    return made
