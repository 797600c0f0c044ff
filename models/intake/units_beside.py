"""Units that stand outside headings and cells: in a row under the headings, in a title above them, in a column beside the numbers.

Units under the headings are those of their columns.  A title, or a column called
'Unit', speaks of numbers in general: what it says is no more than a guess, and where
a column would be read otherwise it is asked about.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from models.intake import headings
from models.intake.cells import text_of, texts_in
from models.intake.fields import Field, Form, Table, fields_of
from models.intake.heading_units import are_same, is_unit, unit_or_none
from models.intake.number_formats import Shown
from models.intake.reading import Cell, Sheet
from models.units import Quantity

_NO_UNIT: Final = frozenset({
    "", "-", "–", "—", "--", "n/a", "none", "text", "name", "unit", "units", "unit:", "units:", "date", "time", "no", "no.", "nr", "#", "local",
})  # fmt: skip
"""What stands in a row of units under a column that has none."""

_NUMBER: Final = re.compile(r"[-+−–]?[\d.,\s]*\d[\d.,\s]*")

_LENGTH: Final = r"mm|cm|mils?|thous?(?:andths?)?|[µμu]m|microns?|micromet(?:er|re)s?|inch(?:es)?|millimet(?:er|re)s?|hundredths?|tenths?|m?deg(?:rees?)?|mrad|[µμu]rad"
_PER: Final = r"(?:\s*/\s*|\s+per\s+)(?:1?0?00?\s*mm|10\s*cm|100|mm|cm|m(?:et(?:er|re))?|in(?:ch)?|ft|foot)(?![^\W_])"
_SAID: Final = re.compile(
    rf"(?<![\w.,/])(?P<number>(?:\d+\s*/\s*)?\d[\d.,]*\s*)?(?P<unit>(?:{_LENGTH})(?:{_PER})?|°\s*[CF]?|rpm|r/min|Hz|kW|hp|h?rs)(?![^\W_])"
    r"|(?P<alone>(?:\bunits?\s*[:=]?\s*|[\[(]\s*|\bin\s+)in(?:/in)?(?=\s*(?:$|[\])])))|(?P<system>\b(?:imperial|metric)\b)|(?P<part>(?:1\s*/\s*10+|0[.,]0*1)\s*(?:in\b|[\"″]))",
    re.IGNORECASE,
)
"""Where a title speaks of a unit; a number before it makes it a value, as in 'tolerance 0.05 mm', or a part of a unit, as in '1/100 mm'."""

_SCALE: Final = re.compile(r"1\s*/\s*10+|0[.,]0*1")
_YEAR: Final = re.compile(r"(?:19|20)\d\d")
_VALUES: Final = re.compile(
    r"\b(?:tol|lim|max|min|allow|accept|permi|resol|accura|uncert|spec|better|below|under|within)", re.IGNORECASE
)
"""Words of tolerances: a number beside them is a value, whatever it is."""

_OF_UNITS: Final = re.compile(r"\b(?:units?|uom|u/m|dimensions?|dims?)\b", re.IGNORECASE)
_ABOUT: Final = {
    Quantity.OFFSET: re.compile(r"\b(?:off(?:set)?s?|parallel|radial|soft|shims?)\b", re.IGNORECASE),
    Quantity.ANGULARITY: re.compile(r"\b(?:ang(?:le|ular(?:ity)?)?s?|slopes?|gaps?|axial)\b", re.IGNORECASE),
}
_LONG: Final = frozenset({"cm", "mm", "m", "in"})
"""Lengths in which a distance of feet or planes is given; a mil is none of a distance."""

_IMPERIAL: Final = ("mil", "thou", "in", "imperial")
_OF_LENGTHS: Final = frozenset({Quantity.OFFSET, Quantity.ANGULARITY})


@dataclass(frozen=True, slots=True)
class Beside:
    """What is said of units in one place outside of headings and cells.

    ``where`` names the place for a person, ``units`` are in the words that stand there, ``odd`` those that are none that
    is known.  ``only`` says of which quantities it speaks; empty where it says none.
    """

    where: str
    units: tuple[str, ...]
    odd: tuple[str, ...] = ()
    only: frozenset[Quantity] = frozenset()

    @property
    def words(self) -> tuple[str, ...]:
        """Give all that is said there."""
        return (*self.units, *self.odd)

    def guess(self, field: Field) -> str:
        """Give the one unit that is said for a field; empty where there is none, or several."""
        said = self._said(field.quantity)
        return said.pop() if len(said) == 1 and not self.odd else ""

    def is_against(self, field: Field, unit: str) -> bool:
        """Tell whether numbers of a field would be read otherwise than what is said.

        Parameters
        ----------
        field : Field
            What a column is. [unitless]
        unit : str
            The unit in which it would be read. [unitless]
        """
        quantity = field.quantity
        if quantity is None or (self.only and quantity not in self.only):
            return False
        if quantity in _OF_LENGTHS and self.odd:
            return True
        if said := self._said(quantity):
            return said != {unit}
        # An angle goes with the offset: mils are no unit of one, but then mm/m is hardly meant.
        lengths = [one for one in self.units if unit_or_none(one, Quantity.OFFSET) or one in {"imperial", "metric"}]
        return (quantity in _OF_LENGTHS or (quantity is Quantity.DISTANCE and not _LONG.isdisjoint(lengths))) and any(
            _is_imperial(one) != _is_imperial(unit) for one in lengths
        )

    def _said(self, quantity: Quantity | None) -> set[str]:
        if quantity is None:
            return set()
        found = {unit for one in self.units if (unit := unit_or_none(one, quantity))}
        return found & _LONG if quantity is Quantity.DISTANCE else found


def _is_imperial(unit: str) -> bool:
    return unit.lower().startswith(_IMPERIAL)


def is_bare(cell: Cell) -> bool:
    """Tell whether a cell is a number without a unit."""
    cell = cell.shown if isinstance(cell, Shown) else cell
    return (cell.strip()[-1:] in _BARE_ENDS and bool(cell.strip())) if isinstance(cell, str) else cell is not None


_BARE_ENDS: Final = frozenset("0123456789.,")


def units_below(head: Sequence[Sequence[Cell]], header_row: int, table: Table) -> dict[int, str] | None:
    """Give what the row under the headings says in place of units, by column; ``None`` where it is no row of units.

    Parameters
    ----------
    head : sequence of sequence of Cell
        The first rows of a sheet. [as typed]
    header_row : int
        Number of its row of headings. [unitless]
    table : Table
        What the sheet holds. [unitless]
    """
    if header_row >= len(head):
        return None
    row, below = head[header_row - 1], head[header_row]
    if any(cell is not None and not isinstance(cell, str) for cell in below):
        return None
    texts = [text_of(cell) for cell in below]
    if not any(_is_known(text) for text in texts):
        return None
    units: dict[int, str] = {}
    known = 0
    for index, text in enumerate(texts):
        meant = headings.meaning_of(headings.take_apart(text_of(row[index])), table) if index < len(row) else None
        field = None if meant is None else meant.field
        if field is not None and field.required and any(map(str.isdigit, text)):
            return None
        if text.lower().strip("[](){}") in _NO_UNIT:
            continue
        if _NUMBER.fullmatch(text):
            return None
        fits = field is not None and field.quantity is not None and unit_or_none(_bare(text), field.quantity)
        if fits or (field is None and _is_known(text)) or (field is not None and field.form is Form.NUMBER):
            units[index] = _bare(text)
            known += bool(fits or _is_known(text))
    return units if known and 2 * known >= len(units) else None


def _bare(text: str) -> str:
    return text.strip().strip("[](){}").strip()


@lru_cache(maxsize=4096)
def _is_known(text: str) -> bool:
    return len(_bare(text)) > 1 and is_unit(_bare(text))


def _is_length(text: str) -> bool:
    return _is_known(text) and any(unit_or_none(_bare(text), quantity) for quantity in _OF_LENGTHS)


def with_units(names: Sequence[str], units: Mapping[int, str]) -> list[str]:
    """Give headings with the units that stand below them.

    Parameters
    ----------
    names : sequence of str
        The headings. [as typed]
    units : mapping
        What stands below them, by column. [as typed]
    """
    made = list(names)
    for index, unit in units.items():
        if index < len(made) and made[index]:
            own = headings.take_apart(made[index]).unit
            if not (own and are_same(own, unit)):
                made[index] = f"{made[index]} [{unit}]"
    return made


def names_in(head: Sequence[Sequence[Cell]], row: int, table: Table) -> list[str]:
    """Give the headings in a row; where it is one of units under them, the headings above with these.

    Parameters
    ----------
    head : sequence of sequence of Cell
        The first rows of a sheet. [as typed]
    row : int
        Number of the row. [unitless]
    table : Table
        What the sheet holds. [unitless]
    """
    if not 1 <= row <= len(head):
        return []
    names = [text_of(cell) for cell in head[row - 1]]
    if row > 1 and any(map(_is_known, names)):
        above = [text_of(cell) for cell in head[row - 2]]
        fields = {headings.field_for(headings.take_apart(name), table) for name in above if name}
        if all(field in fields for field in fields_of(table) if field.required):
            units = units_below(head, row - 1, table)
            return names if units is None else with_units(above, units)
    return names


def said_beside(sheet: Sheet, names: Sequence[str], first_row: int, header_row: int, table: Table) -> list[Beside]:
    """Give what is said of units above the headings, and in columns of them.

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
    told = [("the name of the sheet", list(_words(sheet.name)))]
    for number, row in enumerate(sheet.head[: first_row - 1], start=1):
        words = [word for cell in row if isinstance(cell, str) for word in _words(text_of(cell))]
        told.append((f"row {number} above the headings", words))
    found = [_beside(where, words) for where, words in told if words]
    return found + [
        _beside(f"the column '{names[index] or index + 1}'", words, _about(names[index]))
        for index, words in unit_columns(sheet, names, header_row, table).items()
    ]


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
        units = [text for text in texts if _is_known(text) or text.lower() in {"in", '"'}]
        says = bool(_OF_UNITS.search(name))
        mostly = 2 * len(units) > len(texts)
        is_column = says and (mostly or bool(_about(name)))
        if not is_column and (not all(map(_is_length, texts)) or _is_number(name, table)):
            continue
        all_texts = {text.strip() for some in texts_in(sheet, header_row, [index]) for text in some} - {""}
        found[index] = sorted(dict.fromkeys(_bare(text) for text in all_texts))
    return found


def _is_number(name: str, table: Table) -> bool:
    field = headings.field_for(headings.take_apart(name), table)
    return field is not None and field.form is Form.NUMBER


def _about(name: str) -> frozenset[Quantity]:
    return frozenset(quantity for quantity, words in _ABOUT.items() if words.search(name))


def _beside(where: str, words: Iterable[str], only: frozenset[Quantity] = frozenset()) -> Beside:
    every = list(dict.fromkeys(words))
    known = tuple(word for word in every if is_unit(word) or word in {"imperial", "metric"})
    return Beside(where, known, tuple(word for word in every if word not in known), only)


def _words(text: str) -> Iterator[str]:
    """Give the units of which a text above a list speaks, each in its own words."""
    for found in _SAID.finditer(text):
        if found["system"]:
            yield found["system"].lower()
        elif found["alone"]:
            yield "in"
        elif found["part"]:
            yield from () if _VALUES.search(text) else (found["part"],)
        else:
            number, unit = (found["number"] or "").strip(), re.sub(r"\s+per\s+|\s*/\s*", "/", found["unit"])
            if not number or _YEAR.fullmatch(number):
                yield unit
            elif _is_part(number, unit, text[: found.start()]) and not _VALUES.search(text):
                yield f"{number} {unit}"


def _is_part(number: str, unit: str, before: str) -> bool:
    """Tell whether a number is a part of a unit, as in '1/100 mm', 'in 10 µm' and 'per 100 mm', and no value."""
    is_micron = unit_or_none(unit, Quantity.OFFSET) == "µm" and number in {"10", "100"}
    return _SCALE.fullmatch(number) is not None or is_micron or before.lower().rstrip().endswith("per")


def why_asked(one: Beside, unit: str) -> str:
    """Say why a column is asked about in whose heading no unit stands.

    Parameters
    ----------
    one : Beside
        What is said elsewhere. [unitless]
    unit : str
        The unit in which it would be read. [unitless]
    """
    said = ", ".join(f"'{word}'" for word in one.words[:6]) + (" and more" if len(one.words) > 6 else "")
    several = (
        "; one unit goes for a whole column, so rows in another need it in their cells"
        if len(one.words) > 1 and one.where.startswith("the column")
        else ""
    )
    return (
        f"no unit stands in its heading, and {one.where} says {said}, where it would be read in {unit}: say in which unit the numbers are, and by "
        f"what they are multiplied, or leave it out{several}"
    )
