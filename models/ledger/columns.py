"""Many texts at once, put together column by column: the same bytes as row by row, at a fraction of the time.

Most columns of a large file hold few different values.  What a value looks like
in a text is made once for each of them and then only picked; what is the same
in all rows is made once for all of them; only what is different in each row is
made for each.  A text of a row is its pieces joined.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import repeat
from typing import TYPE_CHECKING, Any, TypeAlias

from models.ledger.canonical import RowForm, number_text

if TYPE_CHECKING:  # loaded where it is used: whoever only asks the book a question must not wait for it
    import numpy as np
    from numpy.typing import NDArray

    Codes: TypeAlias = NDArray[np.intp]

Write = Callable[[Any], str]


class Values:
    """Different values of a column, each with its place; grows, and remembers how each was written.

    Parameters
    ----------
    values : sequence
        The values. [as stored]
    """

    def __init__(self, values: Sequence[Any] = ()) -> None:
        self.values: list[Any] = list(values)
        self._written: dict[str, list[str]] = {}

    def add(self, value: Any) -> int:
        """Add a value and give its place."""
        self.values.append(value)
        return len(self.values) - 1

    def parts(self, name: str, write: Write) -> list[str]:
        """Give all values as ``write`` writes them; under one name always by the same function."""
        done = self._written.setdefault(name, [])
        if len(done) < len(self.values):
            done += map(write, self.values[len(done) :])
        return done


class Some(Values):
    """Some of the values of a column, in an order of their own; how they are written is remembered with all of them.

    Parameters
    ----------
    of : Values
        All values. [as stored]
    places : sequence of int
        Which of them. [unitless]
    """

    def __init__(self, of: Values, places: Sequence[int]) -> None:
        super().__init__([of.values[place] for place in places])
        self._of, self._places = of, places

    def parts(self, name: str, write: Write) -> list[str]:
        """Give the values as ``write`` writes them."""
        every = self._of.parts(name, write)
        return [every[place] for place in self._places]


class Same:
    """A column that has one value in all rows."""

    __slots__ = ("value",)

    def __init__(self, value: Any) -> None:
        self.value = value

    def stored(self, rows: int) -> Iterator[Any]:
        """Give the value of each row, as a database takes it."""
        return repeat(self.value, rows)


class Coded:
    """A column of few different values: for each row the place of its value."""

    __slots__ = ("codes", "of", "read")

    def __init__(self, codes: Codes, of: Values, read: Callable[[Any], Any] | None = None) -> None:
        self.codes, self.of, self.read = codes, of, read

    def stored(self, rows: int) -> list[Any]:
        """Give the value of each row, as a database takes it."""
        del rows
        values = self.of.values if self.read is None else map(self.read, self.of.values)
        return picked(list(values), self.codes)

    def parts(self, name: str, write: Write) -> list[str]:
        """Give how each value is written."""
        read = self.read
        return self.of.parts(name, write if read is None else lambda value: write(read(value)))


class Each:
    """A column in which each row has a value of its own, with how it is written where that is known already."""

    __slots__ = ("texts", "values")

    def __init__(self, values: list[Any], texts: list[str] | None = None) -> None:
        self.values, self.texts = values, texts

    def stored(self, rows: int) -> list[Any]:
        """Give the value of each row, as a database takes it."""
        del rows
        return self.values


Column = Same | Coded | Each


def picked(values: Sequence[Any], codes: Codes) -> list[Any]:
    """Give the value at each place.

    Parameters
    ----------
    values : sequence
        Values. [as stored]
    codes : (n,) integer array
        Places in them. [unitless]
    """
    import numpy as np

    array = np.empty(len(values), dtype=object)
    array[:] = values
    found: list[Any] = array[codes].tolist()
    return found


class Pieces:
    """The texts of many rows while they are put together, piece after piece."""

    def __init__(self, rows: int) -> None:
        self._rows = rows
        self._parts: list[str | list[str] | tuple[Codes, list[str]]] = []

    def same(self, text: str) -> None:
        """Add a piece that is the same in all rows."""
        last = self._parts[-1] if self._parts else None
        if isinstance(last, str):
            self._parts[-1] = last + text
        elif isinstance(last, tuple) and len(last[1]) < self._rows:  # made longer for each value, not for each row
            self._parts[-1] = (last[0], [part + text for part in last[1]])
        elif text:
            self._parts.append(text)

    def coded(self, codes: Codes, texts: list[str]) -> None:
        """Add for each row the text at its place."""
        last = self._parts[-1] if self._parts else None
        if isinstance(last, tuple) and last[0] is codes and len(last[1]) == len(texts):
            self._parts[-1] = (codes, [before + text for before, text in zip(last[1], texts, strict=True)])
        elif isinstance(last, str) and len(texts) < self._rows:
            self._parts[-1] = (codes, [last + text for text in texts])
        else:
            self._parts.append((codes, texts))

    def each(self, texts: list[str]) -> None:
        """Add to each row its own text."""
        self._parts.append(texts)

    def joined(self) -> list[str]:
        """Give the texts."""
        ready = [
            repeat(part, self._rows)
            if isinstance(part, str)
            else picked(part[1], part[0])
            if isinstance(part, tuple)
            else part
            for part in self._parts
        ]
        return list(map("".join, zip(*ready, strict=False)))


def put_members(
    pieces: Pieces, form: RowForm, columns: Sequence[Column], between: Callable[[], None] | None = None
) -> None:
    """Add the members of an object for all rows, as :meth:`RowForm.text` writes them, without its braces.

    Parameters
    ----------
    pieces : Pieces
        What they are added to. [unitless]
    form : RowForm
        Form of the table; its first member in the order of names is never NULL. [unitless]
    columns : sequence of Column
        Columns in the order of the table. [as stored]
    between : callable, optional
        Called before the member ``site_id``. [unitless]
    """
    lead = ""
    for name, place, write in form.members:
        column = columns[place]
        if between is not None and name == "site_id":
            between()
        _put_member(pieces, column, _leading(lead, write), f'{lead}"{name}":')
        lead = ","


def _leading(lead: str, write: Write) -> Write:
    def led(value: Any) -> str:
        text = write(value)
        return lead + text if text else ""

    return led


def _put_member(pieces: Pieces, column: Column, write: Write, name: str) -> None:
    if isinstance(column, Same):
        pieces.same(write(column.value))
    elif isinstance(column, Coded):
        pieces.coded(column.codes, column.parts(name, write))
    elif column.texts is None:
        pieces.each(list(map(write, column.values)))
    elif None in column.values:
        texts = zip(column.values, column.texts, strict=True)
        pieces.each(["" if value is None else name + text for value, text in texts])
    else:
        pieces.same(name)
        pieces.each(column.texts)


def statement_texts(
    rows: int, entry: tuple[RowForm, Sequence[Column]], table: str, brought: tuple[RowForm, Sequence[Column]]
) -> list[str]:
    """Write many entries of which each brought one row of one table, as :func:`canonical.statement_text` writes each.

    Parameters
    ----------
    rows : int
        Number of entries. [unitless]
    entry : tuple of RowForm and sequence of Column
        Form and columns of the entries' own lines. [as stored]
    table : str
        Name of the table of the rows. [unitless]
    brought : tuple of RowForm and sequence of Column
        Form and columns of the rows. [as stored]

    Returns
    -------
    list of str
        Canonical texts in the order of the rows.
    """
    pieces = Pieces(rows)

    def put_rows() -> None:
        pieces.same(f',"rows":{{"{table}":[{{')
        put_members(pieces, *brought)
        pieces.same("}]}")

    pieces.same("{")
    put_members(pieces, *entry, between=put_rows)
    pieces.same("}")
    return pieces.joined()


def number_texts(values: NDArray[np.float64]) -> list[str]:
    """Write numbers as :func:`canonical.number_text` does.

    Parameters
    ----------
    values : (n,) float array
        Numbers; a NaN is given as "null". [as stored]
    """
    import numpy as np

    texts = list(map(repr, values.tolist()))
    size = np.abs(values)
    odd = ~((size >= 1e-4) & (size < 1e16)) | (values == np.floor(values))
    for place in np.flatnonzero(odd).tolist():
        value = float(values[place])
        texts[place] = "null" if value != value else number_text(value)  # noqa: PLR0124 - NaN
    return texts
