"""The one byte form of an entry: a JSON object as RFC 8785 (JSON Canonicalization Scheme) writes it.

An entry is its own line and every row that it brought, each as an object of
its columns.  What is NULL is left out, so that a column which a later
revision adds changes nothing that was said before.  Booleans are JSON's in
columns of booleans, and the number that the database keeps, 0 or 1, in any other;
bytes are hexadecimal text, and texts that hold JSON stay texts.

    {"at_us":…,"author":…,"kind":…,"number":…,"rows":{"job":[{…}]},"site_id":…,"subject":…,"why":…}

Members are put together by hand from parts that are known when a table is
(names sorted once), which is five times as fast as sorting each object.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from json.encoder import encode_basestring
from math import isfinite
from typing import Any

Values = Sequence[Any]
Format = Callable[[Any], str]

_EXACT = 2.0**53


def number_text(value: float) -> str:
    """Write a number as ECMAScript does (RFC 8785, section 3.2.2.3).

    Parameters
    ----------
    value : int or float
        A finite number. [as stored]

    Raises
    ------
    ValueError
        If it is not finite.
    """
    if isinstance(value, int):
        return str(value)
    if not isfinite(value):
        raise ValueError("a number that is not finite has no canonical form")
    if value.is_integer() and abs(value) < 1e21:
        return str(int(value)) if abs(value) <= _EXACT else _digits(value)
    text = repr(value)
    return text if "e" not in text else _digits(value)


def _digits(value: float) -> str:
    """Place the point among the shortest digits that name the number, as ECMAScript places it."""
    sign = "-" if value < 0 else ""
    mantissa, _, power = f"{abs(value)!r}".partition("e")
    whole, _, fraction = mantissa.partition(".")
    digits = (whole + fraction).lstrip("0")
    point = len(whole) + int(power or 0) - (len(whole + fraction) - len((whole + fraction).lstrip("0")))
    digits = digits.rstrip("0") or "0"
    count = len(digits)
    if count <= point <= 21:
        return sign + digits + "0" * (point - count)
    if 0 < point <= 21:
        return f"{sign}{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    tail = f".{digits[1:]}" if count > 1 else ""
    return f"{sign}{digits[0]}{tail}e{'+' if point > 0 else '-'}{abs(point - 1)}"


def _truth(value: Any) -> str:
    # SQLite keeps 0 and 1; anything else was not put there by us and is written as what it is.
    if value is True or value == 1:
        return "true"
    if value is False or value == 0:
        return "false"
    return any_text(value)


def any_text(value: Any) -> str:  # noqa: PLR0911 - one way out a kind
    """Write a value of any kind that a database can hold, whatever its column is meant for."""
    kind = value.__class__
    if kind is str:
        return encode_basestring(value)
    if kind is float:
        return number_text(value)
    if kind is int:
        return str(value)
    if isinstance(value, str):
        return encode_basestring(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return number_text(value)
    if isinstance(value, bytes | bytearray | memoryview):
        return f'"{bytes(value).hex()}"'
    raise TypeError(f"{type(value).__name__} has no canonical form")


_MOST_KEPT = 4_096
"""Values of a column that are remembered as written; a column with more of them does not repeat itself."""


class RowForm:
    """How the rows of one table are written: names in order, and for each column whether it is a boolean.

    Most columns of a large book hold few different values, so what was written
    for a value is remembered; a column in which nothing comes again is left out
    of that.  (What is equal is written equally, whatever its type.)
    ``members`` gives the columns in order of name: name, place among the columns, and what writes it.
    """

    def __init__(self, columns: Sequence[str], booleans: Iterable[str] = ()) -> None:
        truths = set(booleans)
        self._order = sorted(range(len(columns)), key=lambda place: columns[place])
        self._write = [_writer(columns[place], truth=columns[place] in truths) for place in self._order]
        # What is NULL is left out: it is remembered as nothing.
        self._kept: list[dict[Any, str] | None] = [{None: ""} for _ in self._order]
        self._ask: list[Callable[[Any], str | None]] = [kept.get for kept in self._kept if kept is not None]
        self.members = [(columns[place], place, self._write[at]) for at, place in enumerate(self._order)]

    def text(self, values: Values) -> str:
        """Write a row: values in the order of the columns, as the database takes or gives them."""
        try:
            found = [ask(values[place]) for ask, place in zip(self._ask, self._order, strict=True)]
        except TypeError:  # a buffer of bytes that can change, or something that has no form at all
            found = [write(values[place]) for write, place in zip(self._write, self._order, strict=True)]
        if None in found:
            for number, known in enumerate(found):
                if known is None:
                    value = values[self._order[number]]
                    found[number] = written = self._write[number](value)
                    self._keep(number, value, written)
        return "{" + ",".join(filter(None, found)) + "}"

    def _keep(self, number: int, value: Any, written: str) -> None:
        kept = self._kept[number]
        if kept is None:
            return
        if len(kept) < _MOST_KEPT:
            kept[value] = written
        else:
            self._kept[number] = None
            self._ask[number] = self._write[number]


def _writer(column: str, *, truth: bool) -> Callable[[Any], str]:
    """Give what writes a value of a column with its name; NULL is left out."""
    name = f'"{column}":'

    def write_truth(value: Any) -> str:
        return "" if value is None else name + _truth(value)

    def write(value: Any) -> str:
        # The two kinds of which no value comes again as a rule stand first: this is run for each of them.
        kind = value.__class__
        if kind is str:
            return name + encode_basestring(value)
        if kind is int:
            return f"{name}{value}"
        if kind is bool:  # written as the 0 or 1 that it is equal to, whichever of the two was remembered first
            return f"{name}{value:d}"
        return "" if value is None else name + any_text(value)

    return write_truth if truth else write


def statement_text(form: RowForm, entry: Values, rows: Mapping[str, Sequence[str]]) -> str:
    """Write an entry with its rows.

    Parameters
    ----------
    form : RowForm
        Form of the table of entries. [unitless]
    entry : sequence
        Values of the entry's line. [as stored]
    rows : mapping of str to sequence of str
        For each table the written rows of the entry; they are put in order here. [unitless]

    Returns
    -------
    str
        Canonical text; its UTF-8 bytes are what is hashed.
    """
    own = form.text(entry)
    if not rows:
        return own
    tables = ",".join(f'"{name}":[{",".join(sorted(rows[name]))}]' for name in sorted(rows))
    # "number" and "rows" stand between "line" and "site_id": the object is opened where its members part.
    before, mark, after = own.partition(',"site_id":')
    return f'{before},"rows":{{{tables}}}{mark}{after}'
