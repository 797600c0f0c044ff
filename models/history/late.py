"""Late columns: a column of a value that grew is put together when somebody first asks for it.

A new job changes a few rows of columns as long as the history.  Most pages look
at few of these columns, so copying all of them would cost more than everything
else.  A late value is frozen like any other: whoever asks gets the same column.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

T = TypeVar("T")

BOTH: tuple[Literal["left", "right"], ...] = ("left", "right")
"""The two ends of a stretch of equal values."""

DEEPEST = 12
"""So many late values may rest on one another before the older ones are put together."""


class Late:
    """Base of frozen dataclasses with slots, some of whose fields may be made when they are first asked for."""

    __slots__ = ("_depth", "_makers")

    if not TYPE_CHECKING:  # else every misspelt name would pass

        def __getattr__(self, name: str) -> Any:
            """Make a field that is asked for the first time; called only where its slot is empty."""
            make = None if name in Late.__slots__ else _makers_of(self).get(name)
            if make is None:
                # Made by another thread meanwhile, or no field at all: the slot says which.
                return object.__getattribute__(self, name)
            value = make()
            object.__setattr__(self, name, value)
            # What it was made from is let go; two threads that make it at once make the same.
            _makers_of(self).pop(name, None)
            return value


def _makers_of(value: Late) -> dict[str, Callable[[], Any]]:
    try:
        found: dict[str, Callable[[], Any]] = object.__getattribute__(value, "_makers")
    except AttributeError:
        return {}
    return found


def put_together(kind: type[T], ready: Mapping[str, Any], later: Mapping[str, Callable[[], Any]], depth: int = 1) -> T:
    """Give a value of which some fields are there, and the others are made when they are asked for.

    Parameters
    ----------
    kind : type
        A frozen dataclass with slots that is a :class:`Late`. [unitless]
    ready : mapping
        Fields that are there. [any]
    later : mapping
        For each other field what makes it. [any]
    depth : int
        How many late values it rests on, itself counted. [unitless]
    """
    made = object.__new__(kind)
    for name, value in ready.items():
        object.__setattr__(made, name, value)
    object.__setattr__(made, "_makers", dict(later))
    object.__setattr__(made, "_depth", depth)
    return made


def twin(value: T) -> T:
    """Give the same value as an object of its own; what is late stays late.

    Parameters
    ----------
    value : Late
        A value. [any]
    """
    ready: dict[str, Any] = {}
    later: dict[str, Callable[[], Any]] = {}
    makers = dict(_makers_of(value)) if isinstance(value, Late) else {}
    for name in type(value).__slots__:  # type: ignore[attr-defined]
        # A column that another thread puts together at this moment is in its slot, or its maker still is here.
        try:
            ready[name] = object.__getattribute__(value, name)
        except AttributeError:
            later[name] = makers[name]
    return put_together(type(value), ready, later, max(late_depth(value), 1) if isinstance(value, Late) else 1)


def peek(value: Any, name: str) -> Any:
    """Give a column without keeping it where it is late: what only hands it on must not hold one of its own.

    Parameters
    ----------
    value : Any
        Columns. [any]
    name : str
        Which of them. [unitless]
    """
    make = _makers_of(value).get(name) if isinstance(value, Late) else None
    return getattr(value, name) if make is None else make()


def some_of(value: Late, name: str, rows: NDArray[Any]) -> Any:
    """Give some rows of a column; one that is late is not put together for that where its maker can do without.

    Parameters
    ----------
    value : Late
        Columns. [any]
    name : str
        Which of them. [unitless]
    rows : (n,) bool array or (k,) int array
        Mask or indices of the rows. [unitless]
    """
    some = getattr(_makers_of(value).get(name), "some", None)
    return getattr(value, name)[rows] if some is None or rows.dtype == np.bool_ else some(rows)


def row_of(value: Any, name: str, row: int) -> Any:
    """Give one row of a column; see :func:`some_of`.

    Parameters
    ----------
    value : Any
        Columns. [any]
    name : str
        Which of them. [unitless]
    row : int
        The row, at least 0. [unitless]
    """
    if isinstance(value, Late) and name in _makers_of(value):
        return some_of(value, name, np.array([row]))[0]
    return getattr(value, name)[row]


def rows_in(value: Late, name: str) -> int:
    """Tell how long a column is; one that is late is not put together for that where its maker knows.

    Parameters
    ----------
    value : Late
        Columns. [any]
    name : str
        Which of them. [unitless]
    """
    length = getattr(_makers_of(value).get(name), "length", None)
    return int(getattr(value, name).shape[0]) if length is None else int(length)


def places_in(value: Late, name: str, wanted: NDArray[Any], side: Literal["left", "right"]) -> NDArray[np.int64]:
    """Give where values would stand in a column that rises, as ``numpy.searchsorted`` does, without putting it together.

    Parameters
    ----------
    value : Late
        Columns. [any]
    name : str
        Which of them; it rises. [unitless]
    wanted : (k,) array
        Values to find. [any]
    side : {'left', 'right'}
        Before those that are equal, or after. [unitless]
    """
    places = getattr(_makers_of(value).get(name), "places", None)
    found = np.searchsorted(getattr(value, name), wanted, side=side) if places is None else places(wanted, side)
    return np.asarray(found, dtype=np.int64)


def same_column(one: Late, other: Late, name: str) -> bool:
    """Tell whether two values hold the very same column, or the very same way to it.

    Parameters
    ----------
    one, other : Late
        Columns of one kind. [any]
    name : str
        Which of them. [unitless]
    """
    if one is other:
        return True
    a, b = _makers_of(one).get(name), _makers_of(other).get(name)
    if a is None and b is None:
        return getattr(one, name) is getattr(other, name)
    return a is b


def maker_of(value: Late, name: str) -> Callable[[], Any] | None:
    """Give what makes a column; ``None`` where it is there.

    Parameters
    ----------
    value : Late
        Columns. [any]
    name : str
        Which of them. [unitless]
    """
    return _makers_of(value).get(name)


def depth_of(value: Any) -> int:
    """Tell how many late values a value, or what it is made of, rests on; 0 where nothing is left to make.

    Parameters
    ----------
    value : Any
        A dataclass, nested; anything else rests on nothing. [unitless]
    """
    names = _names_of(type(value))
    late, own = (_makers_of(value), late_depth(value)) if names and isinstance(value, Late) else ({}, 0)
    for name in names:
        if name not in late:
            own = max(own, depth_of(getattr(value, name)))
    return own


_NAMES: dict[type, tuple[str, ...]] = {}


def _names_of(kind: type) -> tuple[str, ...]:
    """Give the names of the fields of a dataclass; none for any other kind of value."""
    if kind not in _NAMES:
        _NAMES[kind] = tuple(field.name for field in fields(kind)) if is_dataclass(kind) else ()
    return _NAMES[kind]


def late_depth(value: Late) -> int:
    """Tell how many late values a value itself rests on; see :func:`depth_of`.

    Parameters
    ----------
    value : Late
        A value. [unitless]
    """
    if not _makers_of(value):
        return 0
    depth: int = object.__getattribute__(value, "_depth")
    return depth


def settle(value: Any) -> None:
    """Put together whatever is still late in a value and in what it is made of.

    Parameters
    ----------
    value : Any
        A dataclass or a tuple, nested; anything else is left alone. [unitless]
    """
    if isinstance(value, tuple):
        for one in value:
            settle(one)
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            settle(getattr(value, field.name))
