"""The mapping: which column of a sheet is which field, in which unit, read how.

Proposed from headings and samples, written to a small TOML file with the
samples as comments, confirmed by a person, kept, and found again by the
headings that it was made for.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from models.errors import UnreadableFileError
from models.intake import dates, headings
from models.intake.fields import FIELDS, Field, Form, Table, fields_of
from models.intake.reading import Cell, Sheet
from models.intake.words import propose_word
from models.units import STORED_UNIT, Decimal, Display, canonical_unit

_BY_NAME = {f"{f.table}.{f.key}": f for f in FIELDS}
_HEADER_SEARCH = 30
_MOST_WORDS = 200

WHAT_TO_MEND = "what to mend"
"""Heading of the column that is added to rows that came back; it is left out when they are read again."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its place and heading, the field it fills, and how its numbers are read.

    ``times`` multiplies what was read: −1 where the plant's sign is the other
    way round, 0.5 where the column holds a total indicator reading.
    """

    index: int
    heading: str
    field: Field | None
    unit: str = ""
    times: float = 1.0
    samples: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetMapping:
    """How one sheet is read."""

    sheet: str
    table: Table
    header_row: int
    columns: tuple[Column, ...]
    decimal: Decimal = Decimal.AUTO
    order: dates.Order = dates.Order.DAY_FIRST
    words: Mapping[str, str] = field(default_factory=dict)
    is_template: bool = False

    @property
    def headings(self) -> tuple[str, ...]:
        """Give the headings in order, blank ones too."""
        return tuple(column.heading for column in self.columns)

    def column_of(self, key: str) -> Column | None:
        """Give the column that fills a field of this sheet's own table."""
        return next((c for c in self.columns if c.field and c.field.table is self.table and c.field.key == key), None)


@dataclass(frozen=True, slots=True)
class FileMapping:
    """How the sheets of a file are read; sheets that are not named are left alone."""

    sheets: tuple[SheetMapping, ...]
    confirmed: bool = False
    path: Path | None = None

    @property
    def is_template(self) -> bool:
        """Tell whether every sheet is the tool's own template, which needs no confirmation."""
        return bool(self.sheets) and all(sheet.is_template for sheet in self.sheets)


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
    found = [mapping for sheet in sheets if (mapping := _propose_sheet(sheet, display)) is not None]
    return FileMapping(tuple(found))


def _propose_sheet(sheet: Sheet, display: Display) -> SheetMapping | None:
    best: tuple[float, Table, int] | None = None
    for number, row in enumerate(sheet.head[:_HEADER_SEARCH], start=1):
        texts = [_text(cell) for cell in row]
        for table in Table:
            score = _score(texts, table)
            if score >= 2 and (best is None or score > best[0]):
                best = (score, table, number)
    if best is None:
        return None
    _, table, header = best
    names = [_text(cell) for cell in sheet.head[header - 1]]
    body = sheet.head[header:]
    columns: list[Column] = []
    used: set[str] = set()
    for index, name in enumerate(names):
        samples = _samples(body, index)
        chosen = _field(name, table, used)
        if chosen is not None:
            used.add(f"{chosen.table}.{chosen.key}")
        unit = _unit(name, chosen, display)
        columns.append(Column(index, name, chosen, unit, samples=tuple(samples[:3])))
    every = [text for column in columns if column.field for text in _samples(body, column.index)]
    dated = [
        t for c in columns if c.field and c.field.form in {Form.DATE, Form.MOMENT} for t in _samples(body, c.index)
    ]
    numbers = [t for c in columns if c.field and c.field.form is Form.NUMBER for t in _samples(body, c.index)]
    own = {f.heading_with_unit(d) for f in fields_of(table) for d in (Display("mm"), Display("mil"))}
    own |= {f.heading_with_unit(Display("mm", "°F")) for f in fields_of(table)} | {
        f.heading_with_unit(Display("mil", "°F")) for f in fields_of(table)
    }
    template = (
        header == 1
        and bool(every or names)
        and all(name in own for name in names if name not in {"", WHAT_TO_MEND})
        and sheet.name in {"", str(table)}
    )
    return SheetMapping(
        sheet.name,
        table,
        header,
        tuple(columns),
        decimal=_decimal(numbers),
        order=dates.order_of(dated) or dates.Order.DAY_FIRST,
        words={} if template else _words(columns, sheet, header),
        is_template=template,
    )


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime | date):
        return cell.isoformat()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return " ".join(str(cell).split())


def _score(texts: Sequence[str], table: Table) -> float:
    known = {
        f.key: f for text in texts if text and (f := headings.field_for(headings.take_apart(text), table)) is not None
    }
    needed = [f for f in fields_of(table) if f.required]
    if any(f.key not in known for f in needed):
        return 0.0
    measured = table is not Table.JOBS or any(key.startswith(("found_", "left_")) for key in known)
    return len(known) if measured else 0.0


def _field(name: str, table: Table, used: set[str]) -> Field | None:
    if not name:
        return None
    heading = headings.take_apart(name)
    tables = (table, Table.ASSETS) if table is Table.JOBS else (table,)
    for candidate in tables:
        chosen = headings.field_for(heading, candidate)
        if chosen is not None and f"{chosen.table}.{chosen.key}" not in used:
            same = candidate is table or chosen.key not in {"tag", "commissioned", "retired", "valid_from"}
            return chosen if same else None
    return None


def _unit(name: str, chosen: Field | None, display: Display) -> str:
    if chosen is None or chosen.quantity is None:
        return ""
    return headings.unit_for(headings.take_apart(name), chosen) or display.unit(chosen.quantity)


def _samples(body: Sequence[Sequence[Cell]], index: int) -> list[str]:
    texts = (_text(row[index]) for row in body if index < len(row))
    return list(dict.fromkeys(text for text in texts if text))


def _decimal(samples: Sequence[str]) -> Decimal:
    commas = sum("," in text and "." not in text for text in samples)
    points = sum("." in text and "," not in text for text in samples)
    if commas and not points:
        return Decimal.COMMA
    return Decimal.POINT if points and not commas else Decimal.AUTO


def _words(columns: Sequence[Column], sheet: Sheet, header: int) -> dict[str, str]:
    """Propose what each word in a column of choices means; an empty text asks the person.

    The whole sheet is looked through: a word that first stands far down would
    otherwise be refused on every row that holds it.
    """
    choices = [(column.index, column.field) for column in columns if column.field and column.field.form is Form.CHOICE]
    words: dict[str, str] = {}
    if not choices:
        return words
    for number, row in sheet.rows():
        if number <= header:
            continue
        for index, chosen in choices:
            text = _text(row[index]) if index < len(row) else ""
            if text and text not in words and text.lower() not in chosen.choices and len(words) < _MOST_WORDS:
                words[text] = propose_word(text, chosen)
    return words


def to_toml(mapping: FileMapping, source: str) -> str:
    """Write a mapping for a person to read, correct and confirm."""
    import tomlkit

    document = tomlkit.document()
    for line in (
        f"How driftbook reads '{source}' and every later file with the same headings.",
        "Look at each column: the samples stand beside it. 'field' says what it is ('' leaves it out), 'unit' in which unit a",
        "plain number is; a unit written in a cell comes first. 'times' multiplies: -1 turns the sign round, 0.5 halves a",
        "total indicator reading. Vertical + is movable above stationary; horizontal + is to the right for someone at the",
        "movable machine who looks towards the stationary one; angularity + opens upwards away from the coupling.",
        "When it is right, set confirmed = true (or run the import again with --confirm).",
    ):
        document.add(tomlkit.comment(line))
    document.add("confirmed", tomlkit.item(mapping.confirmed))
    document.add("headings", tomlkit.item(fingerprint((s.sheet, s.headings) for s in mapping.sheets)))
    sheets = tomlkit.aot()
    for sheet in mapping.sheets:
        sheets.append(_sheet_table(sheet))
    document.add("sheet", sheets)
    return tomlkit.dumps(document)


def _sheet_table(sheet: SheetMapping) -> Any:
    import tomlkit

    table = tomlkit.table()
    table.add("name", sheet.sheet)
    table.add("holds", str(sheet.table))
    table["holds"].comment(f"one of: {', '.join(Table)}")
    table.add("header_row", sheet.header_row)
    table.add("decimal", str(sheet.decimal))
    table["decimal"].comment("'.', ',' or 'auto'")
    table.add("dates", str(sheet.order))
    table["dates"].comment("'day first' or 'month first', where the year does not stand first")
    if sheet.words:
        words = tomlkit.table()
        for word, meaning in sheet.words.items():
            words.add(word, meaning)
        table.add("words", words)
    columns = tomlkit.aot()
    for column in sheet.columns:
        entry = tomlkit.table()
        entry.add("heading", column.heading)
        entry.add("field", "" if column.field is None else _name(column.field, sheet.table))
        if column.field is not None:
            entry["field"].comment(column.field.meaning)
        if column.unit:
            entry.add("unit", column.unit)
        if column.times != 1.0:
            entry.add("times", column.times)
        if column.samples:
            entry.add(tomlkit.comment("samples: " + " | ".join(sample[:40] for sample in column.samples)))
        columns.append(entry)
    table.add("column", columns)
    return table


def _name(chosen: Field, table: Table) -> str:
    return chosen.key if chosen.table is table else f"{chosen.table}.{chosen.key}"


def from_toml(text: str, path: Path) -> FileMapping:
    """Read a mapping that a person may have edited.

    Raises
    ------
    UnreadableFileError
        If it is no TOML, or names a table, field or unit that does not exist.
    """
    import tomlkit  # where a mapping is read or written: a file by the template needs none
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(text).unwrap()
        sheets = tuple(_sheet_from(sheet) for sheet in document.get("sheet", []))
        return FileMapping(sheets, confirmed=bool(document.get("confirmed", False)), path=path)
    except (TOMLKitError, KeyError, TypeError, ValueError, AttributeError) as fault:
        raise UnreadableFileError(
            f"The mapping {path} cannot be used: {fault}.",
            remedy="Correct it, or delete it and import again for a new proposal.",
        ) from fault


def _sheet_from(data: dict[str, Any]) -> SheetMapping:
    table = Table(data["holds"])
    columns = []
    for index, entry in enumerate(data["column"]):
        name = entry.get("field", "")
        chosen = None
        if name:
            full = name if "." in name else f"{table}.{name}"
            if full not in _BY_NAME:
                raise ValueError(f"there is no field '{name}' in {table} (column '{entry['heading']}')")
            chosen = _BY_NAME[full]
        unit = entry.get("unit", "")
        if chosen is not None and chosen.quantity is not None:
            unit = canonical_unit(unit, chosen.quantity) if unit else STORED_UNIT[chosen.quantity]
        columns.append(Column(index, entry["heading"], chosen, unit, float(entry.get("times", 1.0))))
    return SheetMapping(
        data["name"],
        table,
        int(data["header_row"]),
        tuple(columns),
        Decimal(data.get("decimal", "auto")),
        dates.Order(data.get("dates", "day first")),
        {str(k): str(v) for k, v in data.get("words", {}).items()},
    )


def fits(mapping: FileMapping, sheets: Sequence[Sheet]) -> bool:
    """Tell whether a kept mapping was made for these headings."""
    by_name = {sheet.name: sheet for sheet in sheets}
    for wanted in mapping.sheets:
        sheet = by_name.get(wanted.sheet)
        if sheet is None or len(sheet.head) < wanted.header_row:
            return False
        names = tuple(_text(cell) for cell in sheet.head[wanted.header_row - 1])
        if _trimmed(names) != _trimmed(wanted.headings):
            return False
    return bool(mapping.sheets)


def _trimmed(names: Sequence[str]) -> list[str]:
    kept = [name for name in names if name != WHAT_TO_MEND]
    while kept and not kept[-1]:
        kept.pop()
    return kept


def with_confirmation(mapping: FileMapping) -> FileMapping:
    """Give the same mapping, confirmed."""
    return replace(mapping, confirmed=True)


def kept_path(folder: Path, mapping: FileMapping, source: Path) -> Path:
    """Say where the mapping of a file is kept: its name for the eye, the headings' digest for the search."""
    mark = fingerprint((sheet.sheet, sheet.headings) for sheet in mapping.sheets)
    stem = "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in source.stem)[:40]
    return folder / f"{stem}-{mark}.toml"
