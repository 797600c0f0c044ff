"""Keeping what is costly to compute, as long as the very same history is asked for."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from functools import partial
from threading import Lock, RLock
from typing import Any, TypeVar
from weakref import WeakValueDictionary

from models.history.columns import History

T = TypeVar("T")

HISTORIES = 4
"""Results of so many histories are kept though nobody holds their shelf: one that a new entry has made old goes soon."""

MOST = 48
"""So many results of one history are kept; the one that nobody asked for the longest goes first."""

MOST_JOBS = 500_000
"""Where these together hold more jobs only the last two are kept: what is computed from one is as long as it is."""


Carried = Callable[[], Any]
"""Makes a result from that of an earlier history; ``None`` where that cannot be done."""


@dataclass(slots=True, weakref_slot=True, eq=False)
class Shelf:
    """What was computed from one history, by key, and a lock for each key that is being computed.

    ``pinned`` was put there by hand and stays as long as the shelf.  ``carried`` makes a result from that of an
    earlier history, when it is asked for.  It is there as long as somebody holds it, as each picture does.
    """

    history: History
    values: OrderedDict[Hashable, Any] = field(default_factory=OrderedDict)
    pinned: dict[Hashable, Any] = field(default_factory=dict)
    carried: dict[Hashable, Carried] = field(default_factory=dict)
    locks: dict[Hashable, RLock] = field(default_factory=dict)


_shelves: WeakValueDictionary[tuple[int, ...], Shelf] = WeakValueDictionary()
_latest: OrderedDict[tuple[int, ...], Shelf] = OrderedDict()
_gone: list[Shelf] = []
_lock = Lock()


def keep(history: History, key: Hashable, make: Callable[[], T]) -> T:
    """Give a result, made once for a history and a key.

    Parameters
    ----------
    history : History
        What it was made from; frozen, and new columns after each entry that says something about them. [unitless]
    key : hashable
        Which result, and of what else it was made. [unitless]
    make : callable
        Makes it; what it gives is shared and must not be changed. [unitless]
    """
    with _lock:
        shelf = _shelf_of(history)
        if key in shelf.pinned:
            put: T = shelf.pinned[key]
            return put
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
            carried = shelf.carried.get(key)
        made = None if carried is None else carried()
        value: T = make() if made is None else made
        with _lock:
            shelf.values[key] = value
            shelf.carried.pop(key, None)
            shelf.locks.pop(key, None)
            while len(shelf.values) > MOST:
                shelf.values.popitem(last=False)
    return value


def carry(history: History, key: Hashable, make: Carried) -> None:
    """Say how a result can be made from that of an earlier history; it is made when it is first asked for.

    Parameters
    ----------
    history : History
        The history of the result. [unitless]
    key : hashable
        Which result. [unitless]
    make : callable
        Makes it, the same as its own maker would; ``None`` where that cannot be done. [any]
    """
    with _lock:
        shelf = _shelf_of(history)
        if key not in shelf.values:
            shelf.carried[key] = make


def known(history: History) -> dict[Hashable, Carried]:
    """Give for every result of a history what gives it: at once where it is there, else by carrying it over.

    Parameters
    ----------
    history : History
        What the results were made from. [unitless]
    """
    with _lock:
        shelf = _shelf_of(history)
        keys = (*shelf.pinned, *shelf.values, *shelf.carried)
    return {key: partial(_given, shelf, key) for key in keys}


def _given(shelf: Shelf, key: Hashable) -> Any:
    with _lock:
        for there in (shelf.pinned, shelf.values):
            if key in there:
                return there[key]
        carried, lock = shelf.carried.get(key), shelf.locks.setdefault(key, RLock())
    if carried is None:
        return None
    with lock:
        with _lock:
            if key in shelf.values:
                return shelf.values[key]
        made = carried()
        with _lock:
            shelf.carried.pop(key, None)
            if made is not None:
                shelf.values[key] = made
        return made


def pin(history: History, key: Hashable, value: object) -> None:
    """Put a result on the shelf of a history, to stay there as long as the history is kept.

    Parameters
    ----------
    history : History
        What it was made from. [unitless]
    key : hashable
        Which result. [unitless]
    value : object
        The result. [any]
    """
    with _lock:
        _shelf_of(history).pinned[key] = value


def holds(history: History, key: Hashable) -> bool:
    """Tell whether a result is there.

    Parameters
    ----------
    history : History
        What it would be made from. [unitless]
    key : hashable
        Which result. [unitless]
    """
    with _lock:
        shelf = _shelf_of(history)
        return key in shelf.pinned or key in shelf.values


def same(one: History, other: History) -> bool:
    """Tell whether two histories rest on the same columns: an entry that says nothing about them changes the head alone.

    Parameters
    ----------
    one, other : History
        Histories of one site. [unitless]
    """
    return one is other or (
        one.jobs is other.jobs
        and one.breaks is other.breaks
        and one.assets is other.assets
        and one.people == other.people
        and one.instruments == other.instruments
    )


def shelf_of(history: History) -> Shelf:
    """Give the shelf of a history: what is on it stays as long as somebody holds the shelf.

    Parameters
    ----------
    history : History
        The history. [unitless]
    """
    with _lock:
        return _shelf_of(history)


def _shelf_of(history: History) -> Shelf:
    place = (id(history.jobs), id(history.breaks), id(history.assets))
    shelf = _shelves.get(place)
    # An id is given again after its object is gone, so the objects themselves are compared.
    if shelf is None or not same(shelf.history, history):
        shelf = _shelves[place] = Shelf(history)
    _latest[place] = shelf
    _latest.move_to_end(place)
    while len(_latest) > HISTORIES or (
        len(_latest) > 2 and sum(len(one.history.jobs) for one in _latest.values()) > MOST_JOBS
    ):
        # Giving the memory of a long history back takes a moment, and a page waits here: that is left to who has time.
        _gone[:] = [*_gone, _latest.popitem(last=False)[1]][-1:]
    return shelf


def let_go() -> None:
    """Give back the memory of what is kept no longer; at the latest that is done when the next history goes."""
    with _lock:
        gone = list(_gone)
        _gone.clear()
    gone.clear()
