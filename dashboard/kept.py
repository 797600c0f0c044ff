"""Keeping what is costly to compute, as long as the very same history is asked for."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, TypeVar, cast

from models.history.columns import History

T = TypeVar("T")

HISTORIES = 3
"""Results of so many histories are kept: a history that a new entry has made old must not be held for long."""

MOST = 48
"""So many results of one history are kept."""

_held: OrderedDict[int, tuple[History, OrderedDict[Hashable, Any]]] = OrderedDict()
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
        Makes it; what it gives is shared and must not be changed. [unitless]
    """
    place = id(history)
    with _lock:
        found = _held.get(place)
        # An id is given again after its object is gone, so the object itself is compared.
        if found is not None and found[0] is history:
            _held.move_to_end(place)
            if key in found[1]:
                found[1].move_to_end(key)
                return cast("T", found[1][key])
    made = make()
    with _lock:
        found = _held.get(place)
        if found is None or found[0] is not history:
            found = _held[place] = (history, OrderedDict())
        found[1][key] = made
        _held.move_to_end(place)
        while len(found[1]) > MOST:
            found[1].popitem(last=False)
        while len(_held) > HISTORIES:
            _held.popitem(last=False)
    return made
