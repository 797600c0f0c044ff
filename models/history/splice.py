"""Stretches of columns that are replaced by others: how a column of a whole site follows new rows of a few machines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from models.history.columns import IntArray
from models.history.late import Late, late_depth, peek, places_in, put_together, rows_in, some_of

T = TypeVar("T", bound=Late)


@dataclass(frozen=True, slots=True)
class Splice:
    """Stretches ``begins`` to ``ends`` of a column, rising, each of which gives way to another of its length in ``lengths``."""

    begins: tuple[int, ...]
    ends: tuple[int, ...]
    lengths: tuple[int, ...]

    @property
    def growth(self) -> tuple[int, ...]:
        """Give by how much what stands behind each stretch has moved."""
        moved = np.cumsum(np.array(self.lengths) - np.array(self.ends) + np.array(self.begins))
        return tuple(moved.tolist())

    def rows(self) -> IntArray:
        """Give the rows in which the new stretches stand, one after the other."""
        moved = (0, *self.growth)
        parts = [
            np.arange(begin + by, begin + by + length)
            for begin, by, length in zip(self.begins, moved, self.lengths, strict=False)
        ]
        return np.concatenate([np.zeros(0, dtype=np.int64), *parts]).astype(np.int64)

    def moved(self, rows: IntArray) -> IntArray:
        """Give rows of the old column as rows of the new one, without those of stretches that gave way.

        Parameters
        ----------
        rows : (k,) int array
            Rows of the old column, in any order. [unitless]
        """
        out, gone = rows.copy(), np.zeros(len(rows), dtype=np.bool_)
        for begin, end, length in zip(self.begins, self.ends, self.lengths, strict=True):
            gone |= (rows >= begin) & (rows < end)
            by = length - end + begin
            if by:
                np.add(out, by, out=out, where=rows >= end)
        return out[~gone] if gone.any() else out

    def apply(self, old: NDArray[Any], new: NDArray[Any], points: Splice | None = None) -> Any:
        """Give the column with its new stretches.

        Parameters
        ----------
        old : (n, …) array
            The column as it was. [any]
        new : (k, …) array
            The new stretches, one after the other. [any]
        points : Splice, optional
            Given where the column holds rows of other columns: how those move; −1 is no row and stays. [unitless]
        """
        length = len(old) + sum(self.lengths) - sum(self.ends) + sum(self.begins)
        out = np.empty((length, *old.shape[1:]), dtype=old.dtype)
        moved = (0, *points.growth) if points is not None else (0,) * (len(self.begins) + 1)
        read = write = taken = 0
        for k, (begin, end, many) in enumerate(
            zip((*self.begins, len(old)), (*self.ends, len(old)), (*self.lengths, 0), strict=True)
        ):
            kept, stop = old[read:begin], write + begin - read
            out[write:stop] = kept
            if moved[k]:
                np.add(kept, moved[k], out=out[write:stop], where=kept >= 0)
            out[stop : stop + many] = new[taken : taken + many]
            read, write, taken = end, stop + many, taken + many
        return out

    def some(
        self, kept: Callable[[IntArray], Any], new: NDArray[Any], rows: IntArray, points: Splice | None = None
    ) -> Any:
        """Give some rows of the column with its new stretches, without putting it together.

        Parameters
        ----------
        kept : callable
            Gives rows of the column as it was. [any]
        new : (k, …) array
            The new stretches, one after the other. [any]
        rows : (n,) int array
            Rows of the new column. [unitless]
        points : Splice, optional
            As in :meth:`apply`. [unitless]
        """
        moved = np.array((0, *self.growth), dtype=np.int64)
        after = np.searchsorted(np.array(self.ends, dtype=np.int64) + moved[1:], rows, side="right")
        # Behind the last stretch nothing is new.
        starts = np.append(np.array(self.begins, dtype=np.int64) + moved[:-1], np.iinfo(np.int64).max)[after]
        fresh = rows >= starts
        stays = after[~fresh]
        old = kept(rows[~fresh] - moved[stays])
        if points is not None:
            old = np.where(old >= 0, old + np.array((0, *points.growth), dtype=np.int64)[stays], old)
        out = np.empty((len(rows), *new.shape[1:]), dtype=old.dtype)
        begins = np.append(0, np.cumsum(np.array(self.lengths, dtype=np.int64))).astype(np.int64)
        out[~fresh], out[fresh] = old, new[(begins[after] + rows - starts)[fresh]]
        return out

    def places(self, old: IntArray) -> IntArray:
        """Give for places between rows of the old column how many of its rows before them stay.

        Parameters
        ----------
        old : (k,) int array
            Places in the old column. [unitless]
        """
        begins, ends = np.array(self.begins, dtype=np.int64), np.array(self.ends, dtype=np.int64)
        gone: IntArray = np.clip(old[:, None] - begins, 0, ends - begins).sum(axis=1)
        return old - gone


@dataclass(frozen=True, slots=True)
class Spliced:
    """A column that is put together when somebody asks for it; a few rows of it, and places in it, are known before."""

    splice: Splice
    old: Late
    name: str
    new: NDArray[Any]
    points: Splice | None = None

    def __call__(self) -> Any:
        """Put it together."""
        return self.splice.apply(peek(self.old, self.name), self.new, self.points)

    @property
    def length(self) -> int:
        """Give how long it is."""
        splice = self.splice
        return rows_in(self.old, self.name) + sum(splice.lengths) - sum(splice.ends) + sum(splice.begins)

    def some(self, rows: IntArray) -> Any:
        """Give some rows of it."""
        return self.splice.some(lambda old: some_of(self.old, self.name, old), self.new, rows, self.points)

    def places(self, wanted: IntArray, side: Literal["left", "right"]) -> Any:
        """Give where values would stand in it, if it rises; see :func:`models.history.late.places_in`."""
        if self.points is not None:
            return np.searchsorted(self(), wanted, side=side)  # its values move with the rows that they point to
        stay = self.splice.places(places_in(self.old, self.name, wanted, side))
        return stay + np.searchsorted(self.new, wanted, side=side)


def stretches(value: Late, name: str, new: IntArray, touched: IntArray) -> Splice:
    """Give where the rows of some machines stand, and how many rows they have now.

    Parameters
    ----------
    value, name : Late, str
        The columns, and which of them is the machine of each row as it was, rising. [unitless]
    new : (k,) int array
        For each new row the place of its machine in ``touched``, rising. [unitless]
    touched : (m,) int array
        The machines, rising. [unitless]
    """
    begins, ends = places_in(value, name, touched, "left"), places_in(value, name, touched, "right")
    lengths = np.bincount(new, minlength=len(touched))
    return Splice(tuple(begins.tolist()), tuple(ends.tolist()), tuple(lengths.tolist()))


def followed(
    old: T,
    new: T,
    splice: Splice,
    *,
    kept: tuple[str, ...] = (),
    given: Mapping[str, Any] | None = None,
    points: Mapping[str, tuple[Splice, IntArray]] | None = None,
    later: Mapping[str, Callable[[], Any]] | None = None,
) -> T:
    """Give columns that follow new rows of a few machines; each is put together when it is asked for.

    Parameters
    ----------
    old : Late
        The columns of all machines as they were. [any]
    new : Late
        Those of the touched machines alone, as they are now. [any]
    splice : Splice
        Where the rows of the touched machines stand. [unitless]
    kept : tuple of str
        Fields that stay as they were. [unitless]
    given : mapping, optional
        Fields that are there already. [any]
    points : mapping, optional
        For each column that holds rows of others: how those move, and the new rows in their terms. [unitless]
    later : mapping, optional
        Fields with a maker of their own. [any]
    """
    names = tuple(type(old).__slots__)
    ready = {name: getattr(old, name) for name in kept} | dict(given or {})
    makers: dict[str, Callable[[], Any]] = dict(later or {})
    for name in names:
        if name not in ready and name not in makers:
            to, rows = (points or {}).get(name, (None, None))
            makers[name] = Spliced(splice, old, name, getattr(new, name) if rows is None else rows, to)
    return put_together(type(old), ready, makers, late_depth(old) + 1)
