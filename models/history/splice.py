"""Stretches of columns that are replaced by others: how a column of a whole site follows new rows of a few machines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from models.history.columns import IntArray
from models.history.late import Late, late_depth, peek, put_together

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


def stretches(old: IntArray, new: IntArray, touched: IntArray) -> Splice:
    """Give where the rows of some machines stand, and how many rows they have now.

    Parameters
    ----------
    old : (n,) int array
        Machine of each row as it was, rising. [unitless]
    new : (k,) int array
        For each new row the place of its machine in ``touched``, rising. [unitless]
    touched : (m,) int array
        The machines, rising. [unitless]
    """
    begins, ends = np.searchsorted(old, touched, side="left"), np.searchsorted(old, touched, side="right")
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
            makers[name] = _maker(splice, old, name, getattr(new, name) if rows is None else rows, to)
    return put_together(type(old), ready, makers, late_depth(old) + 1)


def _maker(splice: Splice, old: Late, name: str, new: Any, points: Splice | None) -> Callable[[], Any]:
    return lambda: splice.apply(peek(old, name), new, points)
