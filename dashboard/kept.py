"""Keeping what is costly to compute, as long as the very same history is asked for."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from threading import Lock, RLock
from typing import Any, TypeVar

from models.history.columns import History

T = TypeVar("T")

HISTORIES = 4
"""Results of so many histories are kept: a history that a new entry has made old must not be held for long."""

MOST = 48
"""So many results of one history are kept; the one that nobody asked for the longest goes first."""


@dataclass(slots=True)
class _Shelf:
    """What was computed from one history, by key, and a lock for each key that is being computed."""

    history: History
    values: OrderedDict[Hashable, Any] = field(default_factory=OrderedDict)
    locks: dict[Hashable, RLock] = field(default_factory=dict)


_shelves: OrderedDict[int, _Shelf] = OrderedDict()
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
    with _lock:
        shelf = _shelf_of(history)
        if key in shelf.values:
            shelf.values.move_to_end(key)
            found: T = shelf.values[key]
            return found
        lock = shelf.locks.setdefault(key, RLock())
    # Two readers that ask at once must not both compute: the second waits, and finds it on the shelf.
    with lock:
        with _lock:
            if key in shelf.values:
                waited: T = shelf.values[key]
                return waited
        value = make()
        with _lock:
            shelf.values[key] = value
            shelf.locks.pop(key, None)
            while len(shelf.values) > MOST:
                shelf.values.popitem(last=False)
    return value


def _shelf_of(history: History) -> _Shelf:
    place = id(history)
    shelf = _shelves.get(place)
    # An id is given again after its object is gone, so the object itself is compared.
    if shelf is None or shelf.history is not history:
        shelf = _shelves[place] = _Shelf(history)
    _shelves.move_to_end(place)
    while len(_shelves) > HISTORIES:
        _shelves.popitem(last=False)
    return shelf
