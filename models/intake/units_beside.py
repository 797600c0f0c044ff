"""What a sheet says of units elsewhere than in the heading of a column, or in its cells.

In a title, in the name of the sheet, in a line between the headings and the first record,
in the headings of other columns of the kind, in a column called 'Unit': what is said there
is no more than a guess, and where a column would be read otherwise it is asked about.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from models.intake import headings
from models.intake.cells import text_of, texts_in
from models.intake.fields import Field, Form, Table, fields_of
from models.intake.heading_units import is_unit, unit_or_none
from models.intake.proposing import HALF
from models.intake.reading import Cell, Sheet
from models.intake.shown_cells import Shown
from models.intake.title_units import (
    CLEAR,
    MOST_TITLE,
    OF_FEET,
    OTHER_CAPITALS,
    bare_unit,
    is_known,
    kind_of,
    kinds_in,
    units_in,
)
from models.intake.units_below import DAYS, field_of, merged_across
from models.units import Quantity, to_stored

_OF_UNITS: Final = re.compile(r"\b(?:units?|uom|u/m|eu|measured in|dimensions?|dims?)\b", re.IGNORECASE)
_LONG: Final = frozenset({"cm", "mm", "m", "in"})
"""Lengths in which a distance of feet or planes is given; a mil is none of a distance."""

_MOST_BELOW: Final = 5
"""So many rows under the headings are looked at for units before the first record."""

_BEGINS: Final = re.compile(r"(?!1\s*/\s*10)[-+−–<>~±(]?\s*[.,]?\d")
"""How a number begins; '1/100 mm' is a unit."""

_IMPERIAL: Final = ("mil", "thou", "in", "imperial")
_OF_LENGTHS: Final = frozenset({Quantity.OFFSET, Quantity.ANGULARITY})


@dataclass(frozen=True, slots=True)
class Beside:
    """What is said of units in one place outside of a column.

    ``where`` names the place for a person, ``units`` are in the words that stand there, ``odd`` those that are none that
    is known.  ``only`` says of which kinds of numbers it speaks; empty where it says none.
    """

    where: str
    units: tuple[str, ...]
    odd: tuple[str, ...] = ()
    only: frozenset[str] = frozenset()

    @property
    def words(self) -> tuple[str, ...]:
        """Give all that is said there."""
        return (*self.units, *self.odd)

    @property
    def is_column(self) -> bool:
        """Tell whether it is a column, which says a unit for each row: of several no one goes for all of them."""
        return self.where.startswith("the column")

    @property
    def is_heading(self) -> bool:
        """Tell whether it is said by headings: a list with the same ones says it too."""
        return self.where.startswith("the heading")

    def guess(self, field: Field) -> str:
        """Give the one unit that is said for a field; empty where there is none, or several."""
        said = self._said(field.quantity)
        return said.pop() if len(said) == 1 and not self.odd else ""

    def is_against(self, field: Field, unit: str, times: float = 1.0) -> bool:
        """Tell whether numbers of a field would be read otherwise than what is said.

        Parameters
        ----------
        field : Field
            What a column is. [unitless]
        unit : str
            The unit in which it would be read. [unitless]
        times : float
            By what its numbers would be multiplied; the sign and a half say nothing of a unit. [unitless]
        """
        quantity = field.quantity
        if quantity is None or (self.only and kind_of(field) not in self.only):
            return False
        way = Way(quantity, unit, times)
        known = [Way(quantity, one) for one in self._said(quantity)]
        odd = self._is_odd_against(way, known)
        if odd is not None:
            return odd
        if known:
            return not all(way.is_same(one) or way.unit == one.unit for one in known)
        lengths = [one for one in self.units if unit_or_none(one, Quantity.OFFSET) or one in {"imperial", "metric"}]
        is_of_length = quantity in _OF_LENGTHS or (quantity is Quantity.DISTANCE and not _LONG.isdisjoint(lengths))
        if not (lengths and is_of_length) or way.has_factor:
            return False
        return any(_is_imperial(one) != _is_imperial(unit) for one in lengths)

    def _is_odd_against(self, way: Way, known: Sequence[Way]) -> bool | None:
        """Tell the same by what is none of a known unit; ``None`` where nothing of that speaks of a quantity."""
        if not self.odd or way.quantity not in _OF_LENGTHS or (way.quantity is Quantity.ANGULARITY and known):
            return None
        parts = [part for one in self.odd if (part := _part(one))]
        if way.quantity is Quantity.OFFSET:
            if not way.has_factor and any(one.lower().rstrip("s") in _FEW for one in self.odd):
                return True
            return not all(way.is_same(one) for one in (*parts, *known)) if parts else None
        return not (way.has_factor or ("100 mm" in self.odd and way.unit == "mm/100mm"))

    def _said(self, quantity: Quantity | None) -> set[str]:
        if quantity is None:
            return set()
        found = {unit for one in self.units if (unit := unit_or_none(one, quantity))}
        return found & _LONG if quantity is Quantity.DISTANCE else found


@dataclass(frozen=True, slots=True)
class Way:
    """How numbers are read: the unit, and by what they are multiplied."""

    quantity: Quantity
    unit: str
    times: float = 1.0

    @property
    def has_factor(self) -> bool:
        """Tell whether the factor says something of the unit: a sign and the half of an indicator reading do not."""
        return abs(self.times) not in {1.0, HALF}

    def is_same(self, other: Way) -> bool:
        """Tell whether a number is as large either way, but for the sign and the half of an indicator reading."""
        if self.quantity is not other.quantity or not (self.unit and other.unit):
            return False
        if self.quantity is Quantity.TEMPERATURE:
            return self.unit == other.unit
        own, its = (to_stored(abs(one.times), one.unit, one.quantity) for one in (self, other))
        return any(math.isclose(own, its * part, rel_tol=1e-3) for part in (1.0, HALF))


def _part(words: str) -> Way | None:
    """Take apart what is said of a part or a multiple of a unit of length, as '1/100 mm', 'hundredths of a mm' and '10 µm'."""
    found = _PART.fullmatch(words.strip())
    unit = unit_or_none(found["unit"], Quantity.OFFSET) if found else None
    if found is None or unit is None:
        return None
    if found["few"]:
        number = _FEW[found["few"].lower()]
    else:
        number = 1 / int(found["of"]) if found["of"] else float(found["number"].replace(",", "."))
    return Way(Quantity.OFFSET, unit, number) if number < 1 or unit == "µm" else None


_FEW: Final = {"tenth": 0.1, "hundredth": 0.01, "thousandth": 0.001}
_PART: Final = re.compile(
    r"(?:1\s*/\s*(?P<of>10+)|(?P<number>\d+(?:[.,]\d+)?)|(?P<few>tenth|hundredth|thousandth)s?(?:\s+of(?:\s+an?|\s+one)?\b)?)\s*(?P<unit>\S+)",
    re.IGNORECASE,
)


def _is_imperial(unit: str) -> bool:
    return unit.lower().startswith(_IMPERIAL)


def is_bare(cell: Cell) -> bool:
    """Tell whether a cell is a number without a unit."""
    cell = cell.shown if isinstance(cell, Shown) else cell
    return (cell.strip()[-1:] in _BARE_ENDS and bool(cell.strip())) if isinstance(cell, str) else cell is not None


_BARE_ENDS: Final = frozenset("0123456789.,")


def _is_length(text: str) -> bool:
    return is_known(text) and any(unit_or_none(bare_unit(text), quantity) for quantity in _OF_LENGTHS)


def _is_clear(text: str) -> bool:
    """Tell whether a text is a unit of lengths, and nothing else by any chance."""
    return _is_length(text) and ("/" in text or CLEAR.fullmatch(bare_unit(text)) is not None)


def titles(sheet: Sheet, first_row: int) -> Iterator[tuple[str, list[str]]]:
    """Give the texts above the headings, and the name of the sheet, each with where it stands.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    first_row : int
        Number of the first row of its headings. [unitless]
    """
    yield "the name of the sheet", [sheet.name]
    for number, row in enumerate(sheet.head[: first_row - 1], start=1):
        texts = [text[:MOST_TITLE] for cell in row if isinstance(cell, str) and (text := text_of(cell))]
        # 'Units' in one cell and 'inch' in the next are one title.
        pairs = pairwise(("", *texts))
        yield (
            f"row {number} above the headings",
            [f"{one} {two}" if _OF_UNITS.fullmatch(one.strip(" :=")) else two for one, two in pairs],
        )


def said_beside(sheet: Sheet, names: Sequence[str], first_row: int, header_row: int, table: Table) -> list[Beside]:
    """Give what is said of units above the headings, below them before the first record, and in columns of units.

    Parameters
    ----------
    sheet : Sheet
        The sheet; of a column of units all rows are looked at. [as typed]
    names : sequence of str
        Its headings. [as typed]
    first_row, header_row : int
        Numbers of the first and the last row of them. [unitless]
    table : Table
        What the sheet holds. [unitless]
    """
    told = [(where, [word for text in texts for word in units_in(text)]) for where, texts in titles(sheet, first_row)]
    told += [
        (f"row {number} under the headings", words)
        for number, words in _said_below(sheet, names, first_row, header_row, table)
    ]
    found = [
        _beside(where, [word for word, of in words if of == only], only)
        for where, words in told
        for only in dict.fromkeys(of for _, of in words)
    ]
    return found + [
        _beside(f"the column '{names[index] or index + 1}'", words, kinds_in(names[index]))
        for index, words in unit_columns(sheet, names, header_row, table).items()
    ]


def _said_below(
    sheet: Sheet, names: Sequence[str], first_row: int, header_row: int, table: Table
) -> Iterator[tuple[int, list[tuple[str, frozenset[str]]]]]:
    """Give what rows under the headings say of units before the first that may be a record, by row.

    What stands alone in its row is a title, and so is what is merged over columns of which it is not the unit of all; a unit
    under a column is one of its kind.
    """
    fields = {index: field for index, name in enumerate(names) if name and (field := field_of(name, table))}
    needs_day = any(field.required and field.form in DAYS for field in fields_of(table))
    telling = {index: field for index, field in fields.items() if field.form in DAYS or not needs_day}
    for number in range(first_row + 1, min(header_row + _MOST_BELOW, len(sheet.head)) + 1):
        row = sheet.head[number - 1]
        if number > header_row and any(_is_of_record(row[at], field) for at, field in telling.items() if at < len(row)):
            return
        texts = {index: text for index, cell in enumerate(row) if (text := text_of(cell))}
        titles = [
            first
            for first, last in merged_across(sheet, number)
            if not all(_knows(fields.get(at), texts.get(first, "")) for at in range(first, min(last + 1, len(names))))
        ]
        titles = list(texts) if len(texts) == 1 else titles
        words = [word for index in titles for word in units_in(texts.get(index, ""))]
        below = sorted(texts.keys() & fields.keys() - set(titles)) if number > header_row else ()
        words += [
            (bare_unit(texts[index]), frozenset({kind_of(fields[index])}))
            for index in below
            if fields[index].quantity is not None and is_known(texts[index])
        ]
        yield number, words


def _knows(field: Field | None, text: str) -> bool:
    return field is not None and field.quantity is not None and bool(unit_or_none(bare_unit(text), field.quantity))


def _is_of_record(cell: Cell, field: Field) -> bool:
    """Tell whether a cell holds what a record has: a number, or a day."""
    text = text_of(cell)
    if field.form is Form.NUMBER:
        return bool(text) and (not isinstance(cell, str) or _BEGINS.match(text) is not None)
    return field.form in DAYS and any(map(str.isdigit, text))


def said_by_headings(columns: Iterable[tuple[str, Field]]) -> list[Beside]:
    """Give what the headings of columns say of the units of their kind; where none says that of feet, offsets do.

    Parameters
    ----------
    columns : iterable of tuple of str and Field
        Headings with what their columns are. [as typed]
    """
    said: dict[str, dict[str, str]] = {}
    for name, field in columns:
        if unit := headings.unit_for(headings.take_apart(name), field):
            said.setdefault(kind_of(field), {}).setdefault(unit, name)
    return [
        Beside(
            f"the heading '{next(iter(units.values()))}'" if len(units) == 1 else "the headings of other columns",
            tuple(units), only=frozenset({kind, OF_FEET} if kind == Quantity.OFFSET and OF_FEET not in said else {kind}),
        )
        for kind, units in said.items()
    ]  # fmt: skip


def unit_columns(sheet: Sheet, names: Sequence[str], header_row: int, table: Table) -> dict[int, list[str]]:
    """Give the columns that hold units, with these.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    names : sequence of str
        Its headings. [as typed]
    header_row : int
        Number of the row after which its rows begin. [unitless]
    table : Table
        What the sheet holds. [unitless]
    """
    found: dict[int, list[str]] = {}
    body = sheet.head[header_row:]
    for index, name in enumerate(names):
        texts = {text_of(row[index]) for row in body if index < len(row)} - {""}
        if not texts:
            continue
        units = [text for text in texts if is_known(text) or text.lower() in {"in", '"'}]
        says = bool(_OF_UNITS.search(name))
        mostly = 2 * len(units) > len(texts)
        if not says or (units and OTHER_CAPITALS.issuperset(units) and field_of(name, table) is not None):
            # Kinds of work and parts of a plant have the letters of units too.
            is_column = any(map(_is_clear, texts)) and all(map(_is_length, texts)) and not _is_number(name, table)
        else:
            is_column = mostly or bool(kinds_in(name))
        if not is_column:
            continue
        all_texts = {text.strip() for some in texts_in(sheet, header_row, [index]) for text in some} - {""}
        found[index] = sorted(dict.fromkeys(bare_unit(text) for text in all_texts))
    return found


def _is_number(name: str, table: Table) -> bool:
    field = headings.field_for(headings.take_apart(name), table)
    return field is not None and field.form is Form.NUMBER


def _beside(where: str, words: Iterable[str], only: frozenset[str] = frozenset()) -> Beside:
    every = list(dict.fromkeys(words))
    known = tuple(word for word in every if is_unit(word) or word in {"imperial", "metric"})
    return Beside(where, known, tuple(word for word in every if word not in known), only)


def why_asked(one: Beside, units: Iterable[str]) -> str:
    """Say why columns are asked about in whose headings no unit stands.

    Parameters
    ----------
    one : Beside
        What is said elsewhere. [unitless]
    units : iterable of str
        The units in which they would be read. [unitless]
    """
    said = ", ".join(f"'{word}'" for word in one.words[:6]) + (" and more" if len(one.words) > 6 else "")
    several = (
        "; one unit goes for a whole column, so rows in another need it in their cells"
        if len(one.words) > 1 and one.is_column
        else ""
    )
    read = " and ".join(dict.fromkeys(units))
    return (
        f"no unit stands in its heading, and {one.where} says {said}, where it would be read in {read}: say in which unit the numbers are, and by "
        f"what they are multiplied, or leave it out{several}"
    )
