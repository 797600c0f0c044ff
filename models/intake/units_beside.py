"""Units that stand outside headings and cells: in a row under the headings, in a title above them, in a column beside the numbers.

Units under the headings are those of their columns.  A title, or a column called
'Unit', speaks of numbers in general: what it says is no more than a guess, and where
a column would be read otherwise it is asked about.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from models.intake import headings
from models.intake.cells import text_of, texts_in
from models.intake.fields import Field, Form, Table, fields_of
from models.intake.heading_units import are_same, is_unit, unit_or_none
from models.intake.number_formats import Shown
from models.intake.proposing import HALF
from models.intake.reading import Cell, Sheet
from models.units import Quantity, to_stored

_NO_UNIT: Final = frozenset({
    "", "-", "–", "—", "--", "n/a", "none", "text", "name", "unit", "units", "unit:", "units:", "date", "time", "no", "no.", "nr", "#", "local",
    "id", "tag", "string", "free text", "datetime", "date/time",
})  # fmt: skip
"""What stands in a row of units under a column that has none."""

_NUMBER: Final = re.compile(r"[-+−–]?[\d.,\s]*\d[\d.,\s]*")

_LENGTH: Final = r"mm|cm|mils?|thous?(?:andths?)?|[µμu]m|microns?|micromet(?:er|re)s?|inch(?:es)?|millimet(?:er|re)s?|hundredths?|tenths?|m?deg(?:rees?)?|mrad|[µμu]rad"
_PER: Final = r"(?:\s*/\s*|\s+per\s+)(?:1?0?00?\s*mm|10\s*cm|100|mm|cm|m(?:et(?:er|re))?|in(?:ch)?|ft|foot)(?![^\W_])"
_SAID: Final = re.compile(
    rf"(?<![\w.,/])(?P<number>(?:\d+\s*/\s*)?\d[\d.,]*\s*-?)?(?P<unit>(?:hundredth|thousandth|tenth)s?\s+(?:of\s+(?:an?\s+|one\s+)?)?(?:mm|millimet(?:er|re)s?|in(?:ch(?:es)?)?)"
    rf"|(?:{_LENGTH})(?:{_PER})?|°\s*[CF]?|rpm|r/min|Hz|kW|hp|h?rs)(?![^\W_])(?!\s*/\s*(?:s(?:ec)?|min|h|a|year)\b)"
    r"|(?P<alone>(?:\bunits?\s*[:=]?\s*|[\[(]\s*|\bin\s+)in(?:/in)?(?=\s*(?:$|[\])])))|(?P<system>\b(?:imperial|metric)\b)|(?P<part>(?:1\s*/\s*10+|0[.,]0*1)\s*(?:in\b|[\"″]))",
    re.IGNORECASE,
)
"""Where a title speaks of a unit; a number before it makes it a value, as in 'tolerance 0.05 mm', or a part of a unit, as in '1/100 mm'."""

_DATE_PATTERN: Final = re.compile(
    r"(?<![^\W_])(?=[a-z]*[-./: ]*[a-z]*[-./: ]*[ydhjta])(?:(?:y{2,4}|j{2,4}|a{4}|m{1,3}|d{1,3}|t{2}|h{1,2}|s{2})(?:\s?[-./:]\s?|\s)){1,5}(?:y{2,4}|j{2,4}|a{4}|m{1,3}|d{1,3}|t{2}|h{1,2}|s{2})(?![^\W_])",
    re.IGNORECASE,
)
"""How dates and times are to be written, as 'MM/DD/YYYY' and 'hh:mm': the months and minutes in it are no millimetres."""

_CLEAR: Final = re.compile(
    r"mm|mil|(?i:mils)|thou|[µμ]m|[Mm]icrons?|(?i:micromet(?:er|re)s?|millimet(?:er|re)s?|inches|mrad)|[µμ]rad|°\s*[CF]"
)
"""Units that are nothing else wherever they stand; 'CM', 'HP', 'MM' may be a kind of work or a part of the plant, and 'um' is a word."""

_SPEAKS: Final = re.compile(
    r"\b(?:values?|read(?:ings?)?|off(?:set)?s?|angles?|angular(?:ity)?|gaps?|all|in|units?|uom|measure[ds]?|measurements?|numbers?|figures?|dim(?:ension)?s?|lengths?|distances?|spans?|power|speeds?|"
    r"temp(?:erature)?s?|shims?|per)\b(?:\W+\w+){0,2}?\W*$",
    re.IGNORECASE,
)
"""Words behind which a unit follows, with at most two more between."""

_SAYS_UNIT: Final = re.compile(r"(?:\bin|\bunits?\s*[:=]?|\buom\s*[:=]?|\[)\s*$", re.IGNORECASE)
_ENDS: Final = re.compile(r"\s*(?:$|[\])}.,;:/&+])")
_OF_SYSTEM: Final = re.compile(
    r"\s*(?:$|[\])}.,;]|(?:units?|values?|readings?|measure\w*|system|offsets?|dimensions?)\b)", re.IGNORECASE
)
_OTHER_CAPITALS: Final = frozenset({"CM", "HP", "IN"})
"""What plants write for condition monitoring, corrective work, high pressure and an inlet or a part of the plant."""

_SCALE: Final = re.compile(r"1\s*/\s*10+|0[.,]0*1")
_YEAR: Final = re.compile(r"(?:19|20)\d\d")
_VALUES: Final = re.compile(
    r"\b(?:tol|lim|max|min|allow|accept|permi|resol|accura|uncert|spec|better|below|under|within)", re.IGNORECASE
)
"""Words of tolerances: a number beside them is a value, whatever it is."""

_OF_UNITS: Final = re.compile(r"\b(?:units?|uom|u/m|eu|measured in|dimensions?|dims?)\b", re.IGNORECASE)
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

    @property
    def is_column(self) -> bool:
        """Tell whether it is a column, which says a unit for each row: of several no one goes for all of them."""
        return self.where.startswith("the column")

    def guess(self, field: Field) -> str:
        """Give the one unit that is said for a field; empty where there is none, or several."""
        said = self._said(field.quantity)
        return said.pop() if len(said) == 1 and not self.odd else ""

    def is_against(self, field: Field, unit: str, times: float = 1.0, *, others: Collection[Way] = ()) -> bool:
        """Tell whether numbers of a field would be read otherwise than what is said.

        Parameters
        ----------
        field : Field
            What a column is. [unitless]
        unit : str
            The unit in which it would be read. [unitless]
        times : float
            By what its numbers would be multiplied; the sign and a half say nothing of a unit. [unitless]
        others : collection of Way
            How all columns are read where a person has confirmed it: of several units that are said any may be this
            column's, as long as each part of a unit is some column's. [unitless]
        """
        quantity = field.quantity
        if quantity is None or (self.only and quantity not in self.only):
            return False
        way = Way(quantity, unit, times)
        known = [Way(quantity, one) for one in self._said(quantity)]
        odd = self._is_odd_against(way, known, others)
        if odd is not None:
            return odd
        if known:
            fits = [way.is_same(one) or way.unit == one.unit for one in known]
            return not (any(fits) if others and not self.is_column else all(fits))
        lengths = [one for one in self.units if unit_or_none(one, Quantity.OFFSET) or one in {"imperial", "metric"}]
        is_of_length = quantity in _OF_LENGTHS or (quantity is Quantity.DISTANCE and not _LONG.isdisjoint(lengths))
        if not (lengths and is_of_length) or way.has_factor:
            return False
        # An angle goes with the offset: mils are no unit of one, but then mm/m is hardly meant.
        offsets = [two for two in others if quantity is Quantity.ANGULARITY and two.quantity is Quantity.OFFSET]
        differs = all if others else any
        return not any(two.has_factor for two in offsets) and all(
            differs(_is_imperial(one) != _is_imperial(two.unit) for one in lengths) for two in (way, *offsets)
        )

    def _is_odd_against(self, way: Way, known: Sequence[Way], others: Collection[Way]) -> bool | None:
        """Tell the same by what is none of a known unit; ``None`` where nothing of that speaks of a quantity."""
        if not self.odd or way.quantity not in _OF_LENGTHS or (way.quantity is Quantity.ANGULARITY and known):
            return None
        parts = [part for one in self.odd if (part := _part(one))]
        is_unclear = any(one.lower().rstrip("s") in _FEW for one in self.odd)
        if way.quantity is Quantity.OFFSET:
            if is_unclear and not way.has_factor:
                return True
            every = (*parts, *known)
            # Of several units each may be this column's where each part of one is some column's.
            is_shared = bool(others) and all(any(one.is_same(two) for two in others) for one in parts)
            fits = [way.is_same(one) for one in every]
            return not (any(fits) if is_shared else all(fits)) if parts else None
        if way.has_factor or ("100 mm" in self.odd and way.unit == "mm/100mm"):
            return False
        offsets = [two for two in others if two.quantity is Quantity.OFFSET]
        seen = [any(two.is_same(part) for two in offsets) for part in parts] + [
            two.has_factor for two in offsets if is_unclear
        ]
        return len(parts) + is_unclear < len(self.odd) or not any(seen)

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


def reads_in(field: Field, unit: str, times: float, said: str) -> bool:
    """Tell whether numbers of a field are read in a unit that is said in the words of a person."""
    if field.quantity is None:
        return False
    way, known = Way(field.quantity, unit, times), unit_or_none(said, field.quantity)
    if known is not None:
        return way.unit == known or way.is_same(Way(field.quantity, known))
    part = _part(said)
    return way.has_factor if part is None or field.quantity is not Quantity.OFFSET else way.is_same(part)


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
    known = False
    for index, text in enumerate(texts):
        if text.lower().strip("[](){}") in _NO_UNIT:
            continue
        field = _field_of(text_of(row[index]), table) if index < len(row) else None
        is_one = _is_known(text)
        fits = field is not None and field.quantity is not None and bool(unit_or_none(_bare(text), field.quantity))
        if _NUMBER.fullmatch(text) or (field is not None and not (fits or _may_stand_below(field, text))):
            return None
        if is_one or fits or (field is not None and field.form is Form.NUMBER):
            units[index] = _bare(text)
            known |= field is not None
    return units if known else None


def _may_stand_below(field: Field, text: str) -> bool:
    """Tell whether a text may stand in a row of units under a field: what stands under a tag, a name or a choice may be a record's."""
    if field.form is Form.NUMBER:
        return _is_known(text) or bool(headings.take_apart(f"offset [{_bare(text)}]").odd)
    is_of_day = field.form in {Form.DATE, Form.MOMENT} or field.key == "time"
    return is_of_day and _DATE_PATTERN.fullmatch(_bare(text)) is not None


def _field_of(name: str, table: Table) -> Field | None:
    """Give the field of a heading; rows of jobs may describe their machine too."""
    heading = headings.take_apart(name)
    return headings.field_for(heading, table) or (
        headings.field_for(heading, Table.ASSETS) if table is Table.JOBS else None
    )


def _bare(text: str) -> str:
    return text.strip().strip("[](){}").strip()


@lru_cache(maxsize=4096)
def _is_known(text: str) -> bool:
    return len(_bare(text)) > 1 and is_unit(_bare(text))


def _is_length(text: str) -> bool:
    return _is_known(text) and any(unit_or_none(_bare(text), quantity) for quantity in _OF_LENGTHS)


def _is_clear(text: str) -> bool:
    """Tell whether a text is a unit of lengths, and nothing else by any chance."""
    return _is_length(text) and ("/" in text or _CLEAR.fullmatch(_bare(text)) is not None)


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


def names_above(head: Sequence[Sequence[Cell]], row: int, table: Table) -> list[str]:
    """Give the headings above a row of units, without these; none where the row is none.

    Parameters
    ----------
    head : sequence of sequence of Cell
        The first rows of a sheet. [as typed]
    row : int
        Number of the row. [unitless]
    table : Table
        What the sheet holds. [unitless]
    """
    own = [text_of(cell) for cell in head[row - 1]] if 1 < row <= len(head) else []
    return [text_of(cell) for cell in head[row - 2]] if own and names_in(head, row, table) != own else []


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
        if not says or (units and _OTHER_CAPITALS.issuperset(units) and _field_of(name, table) is not None):
            # Kinds of work and parts of a plant have the letters of units too.
            is_column = any(map(_is_clear, texts)) and all(map(_is_length, texts)) and not _is_number(name, table)
        else:
            is_column = mostly or bool(_about(name))
        if not is_column:
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
    text = _DATE_PATTERN.sub(lambda pattern: "#" * len(pattern[0]), text)
    for found in _SAID.finditer(text):
        before, behind = text[: found.start()], text[found.end() :]
        if found["system"]:
            if _OF_SYSTEM.match(behind) and (
                _SPEAKS.search(before) or not _ENDS.match(behind) or not before.strip(" ([")
            ):
                yield found["system"].lower()
        elif found["alone"]:
            if not found["alone"].endswith("IN") or found["alone"][0] in "[uUiI" or _SPEAKS.search(before):
                yield "in"
        elif found["part"]:
            yield from () if _VALUES.search(text) else (found["part"],)
        else:
            number, unit = (found["number"] or "").strip(), re.sub(r"\s+per\s+|\s*/\s*", "/", found["unit"])
            if not number or _YEAR.fullmatch(number):
                if _is_meant(unit, before, behind):
                    yield unit
            elif _is_part(number, unit, before) and not _VALUES.search(text):
                yield f"{number} {unit}"


def _is_meant(unit: str, before: str, behind: str) -> bool:
    """Tell whether letters in a title are a unit: by themselves, in brackets, or behind a word that tells."""
    if "/" in unit or " " in unit or _CLEAR.fullmatch(unit):
        return True
    if unit in _OTHER_CAPITALS:
        return bool(_SAYS_UNIT.search(before) and _ENDS.match(behind))
    in_brackets = before.rstrip()[-1:] in {"(", "["} and behind.lstrip()[:1] in {")", "]"}
    return in_brackets or _SPEAKS.search(before) is not None


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
        if len(one.words) > 1 and one.is_column
        else ""
    )
    return (
        f"no unit stands in its heading, and {one.where} says {said}, where it would be read in {unit}: say in which unit the numbers are, and by "
        f"what they are multiplied, or leave it out{several}"
    )
