"""The mapping: which column of a sheet is which field, in which unit, read how.

Proposed from headings and samples, written to a small TOML file (:mod:`models.intake.mapping_file`),
confirmed by a person, kept, and found again by the headings that it was made for
(:mod:`models.intake.fitting`).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from models.intake import dates, headings
from models.intake.cells import text_of
from models.intake.day_order import MAY_LIE_AHEAD, evidence_in
from models.intake.fields import Field, Form, Table, fields_of
from models.intake.problems import column_name
from models.intake.proposing import HALF, NO_UNIT, Ask, propose_columns
from models.intake.reading import Cell, Sheet
from models.intake.shown_cells import Shown
from models.intake.title_words import Word, words_above
from models.intake.units_below import heading_row, units_below, with_units
from models.intake.units_beside import (
    Beside,
    is_bare,
    said_beside,
    said_by_headings,
    unit_columns,
    why_asked,
)
from models.intake.words import propose_word
from models.units import Decimal, Display

HEADER_SEARCH = 30
_MOST_WORDS = 200
_NAMED = 8
"""So many columns of which the same is asked are named; more are counted."""

WHAT_TO_MEND = "what to mend"
"""Heading of the column that is added to rows that came back; it is left out when they are read again."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its place and heading, the field it fills, and how its numbers are read.

    ``times`` multiplies what was read: −1 where the plant's sign is the other
    way round, 0.5 where the column holds a total indicator reading.  ``asks`` says what of
    this is only a guess that a person has to answer before anything is read, and ``why``.  ``as_in`` names the
    confirmed mappings of the site from which it was taken because they have the same heading.
    """

    index: int
    heading: str
    field: Field | None
    unit: str = ""
    times: float = 1.0
    samples: tuple[str, ...] = ()
    asks: frozenset[Ask] = frozenset()
    why: str = ""
    as_in: str = ""

    @property
    def guess_of_times(self) -> str:
        """Give by what its numbers would be multiplied, where that is asked: nothing where nothing is guessed of the unit either."""
        return f"{self.times:g}" if self.unit or Ask.UNIT not in self.asks else ""


@dataclass(frozen=True, slots=True)
class SheetMapping:
    """How one sheet is read.

    ``order_against`` and ``decimal_against`` name a row that tells against the order of
    dates, or the decimal sign, that is fixed here; both are empty where none does, and
    are no part of what is kept (:mod:`models.commands.import_dates`); nor is ``turned``, which names columns
    of dates that a spreadsheet has most likely turned, each with a text that tells it.  ``units_said`` is what stood of units above the
    headings, or in a column of them, and the words above that say how the readings were taken.  ``unasked`` tells that what the sheet
    says of its columns has not been held against them yet, because a person is still to say what they are.
    """

    sheet: str
    table: Table
    header_row: int
    columns: tuple[Column, ...]
    decimal: Decimal = Decimal.AUTO
    order: dates.Order = dates.Order.DAY_FIRST
    words: Mapping[str, str] = field(default_factory=dict)
    is_template: bool = False
    units_said: tuple[str, ...] = ()
    unasked: bool = False
    order_against: str = ""
    decimal_against: str = ""
    turned: Mapping[int, str] = field(default_factory=dict)

    @property
    def headings(self) -> tuple[str, ...]:
        """Give the headings in order, blank ones too."""
        return tuple(column.heading for column in self.columns)

    @property
    def date_columns(self) -> list[int]:
        """Give the places of the columns that hold dates."""
        return [c.index for c in self.columns if c.field is not None and c.field.form in {Form.DATE, Form.MOMENT}]

    @property
    def ahead_columns(self) -> list[int]:
        """Give the places of those whose days may lie ahead."""
        return [c.index for c in self.columns if c.field is not None and c.field.key in MAY_LIE_AHEAD]

    @property
    def number_columns(self) -> list[int]:
        """Give the places of the columns that hold numbers."""
        return [c.index for c in self.columns if c.field is not None and c.field.form is Form.NUMBER]

    @property
    def missing(self) -> list[Field]:
        """Give the fields that no column is yet, without which no row can be read."""
        filled = {column.field for column in self.columns}
        return [field for field in fields_of(self.table) if field.required and field not in filled]

    @property
    def questions(self) -> list[str]:
        """Give what a person has to answer before the sheet is read, one sentence for all columns of which the same is asked."""
        asked: dict[str, list[str]] = {}
        for column in self.columns:
            if column.asks:
                place = column_name(column.index, repr(column.heading))
                asked.setdefault(column.why or "it waits for an answer", []).append(place)
        name = f"{self.sheet}, " if self.sheet else ""
        needed = [
            f"{name}no column is '{field.heading}' yet, without which no row can be read: say which it is"
            for field in self.missing
        ]
        return needed + [f"{name}{_some(places)}: {why}" for why, places in asked.items()]


@dataclass(frozen=True, slots=True)
class FileMapping:
    """How the sheets of a file are read.

    ``left_out`` names sheets that are not to be read.  ``site`` and ``units`` say for
    which site it is confirmed and which units that site reads.  ``mark`` is the digest of the headings that it was made for.
    """

    sheets: tuple[SheetMapping, ...]
    confirmed: bool = False
    path: Path | None = None
    left_out: tuple[str, ...] = ()
    site: str = ""
    units: str = ""
    mark: str = ""

    @property
    def is_template(self) -> bool:
        """Tell whether every sheet is the tool's own template, which needs no confirmation."""
        return bool(self.sheets) and all(sheet.is_template for sheet in self.sheets)

    @property
    def questions(self) -> list[str]:
        """Give what has to be answered before it can be confirmed."""
        return [told for sheet in self.sheets for told in sheet.questions]

    @property
    def is_open(self) -> bool:
        """Tell whether there is any of that."""
        return any(sheet.missing or any(column.asks for column in sheet.columns) for sheet in self.sheets)


def _some(places: Sequence[str]) -> str:
    if len(places) == 1:
        return f"column {places[0]}"
    more = f" and {len(places) - _NAMED} more" if len(places) > _NAMED else ""
    return f"columns {', '.join(places[:_NAMED])}{more}, each"


def fingerprint(sheets: Iterable[tuple[str, Sequence[str]]]) -> str:
    """Give a short digest of the sheets' names and headings, by which a kept mapping is found again."""
    text = "\n".join(f"{name}\t" + "\t".join(line) for name, line in sheets)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def propose(sheets: Sequence[Sheet], display: Display) -> FileMapping:
    """Propose how a file is read.

    Parameters
    ----------
    sheets : sequence of Sheet
        The sheets of one file. [unitless]
    display : Display
        The site's units, for columns that state none. [unitless]
    """
    found = [mapping for sheet in sheets if (mapping := outline(sheet, display)) is not None]
    return FileMapping(tuple(told_by_rows(sheet, mapping) for sheet, mapping in _paired(sheets, found)))


def _paired(sheets: Sequence[Sheet], found: Sequence[SheetMapping]) -> list[tuple[Sheet, SheetMapping]]:
    by_name = {sheet.name: sheet for sheet in sheets}
    return [(by_name[mapping.sheet], mapping) for mapping in found]


def told_by_rows(sheet: Sheet, mapping: SheetMapping) -> SheetMapping:
    """Complete a proposal by what all rows tell: the order of day and month, and the words of choices.

    The template needs neither: its words are the book's own, and its rows tell the
    order of their dates each time they are read.
    """
    if mapping.is_template:
        return mapping
    order = evidence_in(sheet, mapping.header_row, mapping.date_columns, ahead=mapping.ahead_columns).order
    return replace(
        mapping,
        order=dates.Order.BY_ROWS if order is dates.Order.CLEAR else order,
        words=_words(mapping.columns, sheet, mapping.header_row),
    )


def with_new_words(sheet: Sheet, mapping: SheetMapping) -> SheetMapping:
    """Give a mapping with the words of choices that stand in a sheet and not in it, each with what is proposed for it."""
    return replace(mapping, words={**_words(mapping.columns, sheet, mapping.header_row), **mapping.words})


def outline(sheet: Sheet, display: Display) -> SheetMapping | None:
    """Propose how a sheet is read, by its first rows only; ``None`` where no row of headings is understood."""
    best: tuple[float, Table, int] | None = None
    for number, row in enumerate(sheet.head[:HEADER_SEARCH], start=1):
        taken = headings.in_row(map(text_of, row))
        for table in Table:
            score = headings.score(taken, table)
            if score >= 2 and (best is None or score > best[0]):
                best = (score, table, number)
    if best is None:
        return None
    _, table, number = best
    made = laid_out(sheet, table, number, display)
    return replace(made, is_template=True) if _is_template(sheet, made) else asked_beside(sheet, made)


def laid_out(sheet: Sheet, table: Table, row: int, display: Display) -> SheetMapping:
    """Propose how a sheet is read of which it is known what it holds, and in which row its headings stand.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    table : Table
        What it holds. [unitless]
    row : int
        Number of the row of its headings, one of its first. [unitless]
    display : Display
        The site's units, for columns that state none. [unitless]
    """
    header, names = row, [text_of(cell) for cell in sheet.head[row - 1]]
    below = units_below(sheet, row, table)
    if below is not None:
        header, names = below[0], with_units(names, below[1])
    body = sheet.head[header:]
    columns = tuple(
        Column(index, name, one.field, one.unit, one.times, tuple(samples_of(body, index)[:3]), one.asks, one.why)
        for index, (name, one) in enumerate(zip(names, propose_columns(names, table, display), strict=True))
    )
    made = SheetMapping(sheet.name, table, header, columns, order=dates.Order.BY_ROWS)
    return replace(made, decimal=decimal_in(sheet, made))


def decimal_in(sheet: Sheet, mapping: SheetMapping) -> Decimal:
    """Give the decimal sign that the first rows of a sheet tell."""
    # A number in a workbook has no decimal sign: only what was typed as a text tells one.
    typed = [row[at] for row in sheet.head[mapping.header_row :] for at in mapping.number_columns if at < len(row)]
    return _decimal([cell for cell in typed if isinstance(cell, str)])


def _is_template(sheet: Sheet, mapping: SheetMapping) -> bool:
    """Tell whether the headings in the first row of a sheet are all the template's."""
    displays = [Display(length, warmth) for length in ("mm", "mil") for warmth in ("°C", "°F")]
    own = {field.heading_with_unit(display) for field in fields_of(mapping.table) for display in displays}
    names = [name for name in mapping.headings if name not in {"", WHAT_TO_MEND}]
    return mapping.header_row == 1 and all(name in own for name in names) and sheet.name in {"", str(mapping.table)}


def beside(sheet: Sheet, mapping: SheetMapping) -> list[Beside]:
    """Give what is said of units elsewhere than in a column, as a mapping reads a sheet."""
    row, table = mapping.header_row, mapping.table
    said = said_beside(sheet, mapping.headings, heading_row(sheet, row, table), row, table)
    return said + said_by_headings((c.heading, c.field) for c in mapping.columns if c.field is not None)


def against(sheet: Sheet, mapping: SheetMapping, said: Sequence[Beside] | None = None) -> dict[int, Beside]:
    """Give the columns that are read in another unit than what is said elsewhere, with that.

    Only those with a number that has no unit, neither in its heading nor in its cell.  ``said`` is what is said, where
    that is known.
    """
    said = beside(sheet, mapping) if said is None else said
    body = sheet.head[mapping.header_row :]
    found: dict[int, Beside] = {}
    for column in mapping.columns if said else ():
        if column.field is None or headings.unit_for(headings.take_apart(column.heading), column.field):
            continue
        one = next((o for o in said if o.is_against(column.field, column.unit, column.times)), None)
        cells = [row[column.index] for row in body if column.index < len(row) and text_of(row[column.index])]
        if one is not None and (not cells or any(map(is_bare, cells))):
            found[column.index] = one
    return found


def words_of(sheet: Sheet, mapping: SheetMapping) -> list[Word]:
    """Give the words above a list that say how its readings were taken."""
    return words_above(sheet, heading_row(sheet, mapping.header_row, mapping.table))


def asked_beside(sheet: Sheet, mapping: SheetMapping) -> SheetMapping:
    """Ask about each column that would be read in another unit than what stands above or beside it."""
    held = unit_columns(sheet, mapping.headings, mapping.header_row, mapping.table)
    bare = tuple(
        replace(c, field=None, unit="", asks=frozenset(), why="") if c.index in held else c for c in mapping.columns
    )
    return ask_beside(sheet, replace(mapping, columns=bare))


def ask_beside(sheet: Sheet, mapping: SheetMapping) -> SheetMapping:
    """Ask about each column of a sheet that would be read otherwise than what is said outside of it: in another unit, or not halved.

    Parameters
    ----------
    sheet : Sheet
        The sheet. [as typed]
    mapping : SheetMapping
        How it would be read. [unitless]
    """
    said = beside(sheet, mapping)
    found = against(sheet, mapping, said)
    columns = []
    for column in mapping.columns:
        one = found.get(column.index)
        is_open = Ask.UNIT in column.asks and not column.why.endswith(NO_UNIT)
        if one is None or column.field is None or is_open:
            columns.append(column)
            continue
        # What is said in one place is one question, whatever of numbers it is about.
        units = [mapping.columns[at].unit for at, other in found.items() if other is one]
        before = column.why.removesuffix(NO_UNIT).removesuffix("; ")
        told = "; ".join(filter(None, (before, why_asked(one, filter(None, units)))))
        asks = {Ask.UNIT, Ask.TIMES} if one.odd else {Ask.UNIT}
        columns.append(replace(column, unit=one.guess(column.field), asks=column.asks | asks, why=told))
    above = words_of(sheet, mapping)
    for word in above:
        columns = [asked_by(word, column) for column in columns]
    words = dict.fromkeys(
        [*(word for one in said if not one.is_heading for word in one.words), *(one.text for one in above)]
    )
    return replace(mapping, columns=tuple(columns), units_said=tuple(words))


def asked_by(word: Word, column: Column) -> Column:
    """Ask of a column what a word says of it."""
    ask = word.asks(column.field, column.times)
    guesses = bool(column.guess_of_times)
    if ask is None or word.why in column.why or (ask in column.asks and (guesses or ask is not Ask.TIMES)):
        return column
    why = "; ".join(filter(None, (column.why, word.why)))
    times = column.times * HALF if ask is Ask.TIMES and guesses else column.times
    return replace(column, times=times, asks=column.asks | {ask}, why=why)


def samples_of(body: Sequence[Sequence[Cell]], index: int) -> list[str]:
    """Give the different texts of a column in the order of the rows."""
    cells = (row[index] for row in body if index < len(row))
    texts = (cell.shown if isinstance(cell, Shown) else text_of(cell) for cell in cells)
    return list(dict.fromkeys(text for text in texts if text))


def _decimal(samples: Sequence[str]) -> Decimal:
    told = {sign for text in samples if (sign := _decimal_told(text))}
    return Decimal(told.pop()) if len(told) == 1 else Decimal.AUTO


def _decimal_told(text: str) -> str:
    """Give the decimal sign that a number tells; empty where it tells none, as 1.250 and 1,250, which may be a group of thousands."""
    signs = [sign for sign in ".," if sign in text]
    if len(signs) == 2:
        return max(signs, key=text.rfind)
    if not signs or not re.search(r"[.,]\d", text):
        return ""
    if text.count(signs[0]) > 1:
        return "," if signs[0] == "." else "."
    return "" if re.search(r"(?<!\d)[1-9]\d{0,2}[.,]\d{3}(?!\d)", text) else signs[0]


def _words(columns: Sequence[Column], sheet: Sheet, header: int) -> dict[str, str]:
    """Propose what each word in a column of choices means; an empty text asks the person.

    The whole sheet is looked through: a word that first stands far down would
    otherwise be refused on every row that holds it.
    """
    choices = [(c.index, c.field, c.heading) for c in columns if c.field and c.field.form is Form.CHOICE]
    words: dict[str, str] = {}
    if not choices:
        return words
    for number, row in sheet.rows():
        if number <= header:
            continue
        for index, chosen, heading in choices:
            text = text_of(row[index]) if index < len(row) else ""
            if (
                text not in {"", heading}
                and text not in words
                and text.lower() not in chosen.choices
                and len(words) < _MOST_WORDS
            ):
                words[text] = propose_word(text, chosen)
    return words


def with_confirmation(mapping: FileMapping) -> FileMapping:
    """Give the same mapping, confirmed."""
    return replace(mapping, confirmed=True)
