"""A mapping as a TOML file: written for a person to read, correct and confirm; read again as they left it."""

from __future__ import annotations

import textwrap
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from models.errors import UnreadableFileError
from models.intake import dates
from models.intake.fields import FIELDS, Field, Table, fields_of
from models.intake.mapping import Column, FileMapping, SheetMapping, fingerprint
from models.intake.proposing import OPEN, Ask, as_said, goes_for
from models.sentences.signs import ANGULARITY, TURNED
from models.units import Decimal, Display, canonical_unit, units_for
from models.whole_files import write_whole

_BY_NAME = {f"{f.table}.{f.key}": f for f in FIELDS}


def units_mark(display: Display) -> str:
    """Write which units a site reads, for a mapping that is confirmed for it."""
    return f"{display.length}, {display.temperature}"


_ABOUT_OPEN = (
    "A '?' waits for an answer, and 'ask' says why: nothing is read before. Write what is right, without the '?'; where the guess before",
    "it is right, take away only the '?'. One answer goes for all columns of a quantity of which the same is asked.",
)


def to_toml(mapping: FileMapping, source: str) -> str:
    """Write a mapping for a person to read, correct and confirm."""
    import tomlkit

    document = tomlkit.document()
    for line in (
        f"How driftbook reads '{_plain(source)}' and every later file with the same headings.",
        "Look at each column: the samples stand beside it. 'field' says what it is ('' leaves it out), 'unit' in which unit a",
        "plain number is; a unit written in a cell comes first. 'times' multiplies: -1 turns the sign round, 0.5 halves a",
        "total indicator reading. Vertical + is movable above stationary; horizontal + is to the right for someone at the",
        "movable machine who looks towards the stationary one.",
        *textwrap.wrap(f"Angularity + : {ANGULARITY}; {TURNED}.", 118),
        "'site' is the plant for which it is confirmed: another one is asked anew where a unit stands neither in a heading nor in",
        "the cells. 'left_out' names sheets that are not to be read, e.g. [\"notes\"].",
        *(_ABOUT_OPEN if mapping.is_open else ()),
        *_about_missing(mapping),
        "When it is right, set confirmed = true (or run the import again with --confirm).",
    ):
        document.add(tomlkit.comment(line))
    document.add("confirmed", tomlkit.item(mapping.confirmed))
    document.add("headings", tomlkit.item(mark_of(mapping)))
    document.add("site", tomlkit.item(mapping.site))
    document.add("units", tomlkit.item(mapping.units))
    document.add("left_out", tomlkit.item(list(mapping.left_out)))
    sheets = tomlkit.aot()
    for sheet in mapping.sheets:
        sheets.append(_sheet_table(sheet))
    document.add("sheet", sheets)
    return tomlkit.dumps(document)


def _about_missing(mapping: FileMapping) -> Iterator[str]:
    """Name what a column can be, where headings are not understood."""
    for table in dict.fromkeys(sheet.table for sheet in mapping.sheets if sheet.missing):
        every = ", ".join(f"{field.key} (needed)" if field.required else field.key for field in fields_of(table))
        yield from textwrap.wrap(
            f"Headings of {table} are not understood: write beside each what it is. Fields: {every}.", 118
        )
        yield 'Beside a measured number write its unit too, e.g. unit = "mil", unless its heading says one.'
        yield "What words of a closed list mean stands before the first column: [sheet.words] and, below it, 'preventivo' = 'planned'."


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
    table["dates"].comment(
        "'day first', 'month first', 'year first' (of two digits) or 'by the rows' (a day above 12 tells), where no year of four digits stands first"
    )
    if sheet.unasked:
        held = tomlkit.item(False)
        held.comment("a column of which you say here what it is is still held against what stands above and beside it")
        table.add("asked", held)
    if sheet.units_said:
        table.add("units_said", list(sheet.units_said))
        table["units_said"].comment(
            "above or beside the columns; another list in which this is otherwise is asked about anew"
        )
    if sheet.words:
        words = tomlkit.table()
        for word, meaning in sheet.words.items():
            words.add(word, meaning)
        table.add("words", words)
    columns = tomlkit.aot()
    for column in sheet.columns:
        columns.append(_column_table(sheet, column))
    table.add("column", columns)
    return table


def _column_table(sheet: SheetMapping, column: Column) -> Any:
    import tomlkit

    entry = tomlkit.table()
    entry.add("heading", column.heading)
    entry.add("field", _asked("" if column.field is None else _name(column.field, sheet.table), Ask.FIELD, column))
    if column.field is not None:
        entry["field"].comment(column.field.meaning)
    if column.unit or Ask.UNIT in column.asks:
        entry.add("unit", _asked(column.unit, Ask.UNIT, column))
    if Ask.UNIT in column.asks and column.field is not None and column.field.quantity is not None:
        entry["unit"].comment(f"one of: {', '.join(units_for(column.field.quantity))}; 'times' multiplies, e.g. 0.01")
    if Ask.TIMES in column.asks:
        entry.add("times", f"{column.guess_of_times}{OPEN}")
    elif column.times != 1.0 or _speaks_of_times(column):
        entry.add("times", column.times)
    if column.asks:
        entry.add("ask", _plain(column.why))
    if column.as_in:
        entry.add("as_in", _plain(column.as_in))
        entry["as_in"].comment("it was confirmed so for the same heading")
    if column.samples:
        entry.add(tomlkit.comment("samples: " + " | ".join(_plain(sample[:40]) for sample in column.samples)))
    return entry


def _speaks_of_times(column: Column) -> bool:
    """Tell whether a heading asks by what numbers are multiplied: that they are as they stand is an answer too."""
    return column.field is not None and Ask.TIMES in as_said(column.heading, column.field, Display()).asks


def _asked(text: str, ask: Ask, column: Column) -> str:
    return f"{text}{OPEN}" if ask in column.asks else text


def _plain(text: str) -> str:
    """Give a text for a remark: with a control character in it the whole file could not be read again."""
    return "".join(letter if letter.isprintable() else "·" for letter in text)


def _name(chosen: Field, table: Table) -> str:
    return chosen.key if chosen.table is table else f"{chosen.table}.{chosen.key}"


def from_toml(text: str, path: Path) -> FileMapping:
    """Read a mapping that a person may have edited.

    Raises
    ------
    UnreadableFileError
        If it is no TOML, names a table, field or unit that does not exist, or gives two columns the same field.
    """
    from tomlkit.exceptions import TOMLKitError  # where a mapping is read or written: a file by the template needs none

    try:
        return replace(_parsed(text), path=path)
    except (TOMLKitError, KeyError, TypeError, ValueError, AttributeError) as fault:
        raise UnreadableFileError(
            f"The mapping {path} cannot be used: {fault}.",
            remedy="Correct it, or delete it and import again for a new proposal.",
        ) from fault


@lru_cache(maxsize=64)
def _parsed(text: str) -> FileMapping:
    """Read a mapping's text; the same ones are read for every file, and a wide one takes a while."""
    import tomlkit

    document = tomlkit.parse(text).unwrap()
    made = FileMapping(
        tuple(_sheet_from(sheet) for sheet in document.get("sheet", [])),
        confirmed=bool(document.get("confirmed", False)),
        left_out=tuple(map(str, document.get("left_out", ()))),
        site=str(document.get("site", "")),
        units=str(document.get("units", "")),
        mark=str(document.get("headings", "")),
    )
    if made.confirmed and (needed := next(((sheet, field) for sheet in made.sheets for field in sheet.missing), None)):
        raise ValueError(f"no column of {needed[0].table} is '{needed[1].heading}', without which no row can be read")
    # Whatever it says: as long as something waits for an answer, or it names no site, nothing is read.
    return replace(made, confirmed=made.confirmed and bool(made.site) and not made.is_open)


def read_mapping(path: Path) -> FileMapping:
    """Read a mapping out of its file.

    Raises
    ------
    UnreadableFileError
        If there is none, or it cannot be used.
    """
    try:
        return from_toml(path.read_text(encoding="utf-8"), path)
    except (OSError, UnicodeDecodeError) as fault:
        raise UnreadableFileError(
            f"The mapping {path} cannot be read: {fault}.",
            remedy="Correct it, or delete it and import again for a new proposal.",
        ) from fault


def _sheet_from(data: dict[str, Any]) -> SheetMapping:
    table = Table(data["holds"])
    columns = _answered_alike(
        data["column"], [_column_from(index, entry, table) for index, entry in enumerate(data["column"])]
    )
    filled: dict[str, str] = {}
    for column in columns:
        if column.field is not None and Ask.FIELD not in column.asks:
            full = f"{column.field.table}.{column.field.key}"
            if full in filled:
                name = _name(column.field, table)
                raise ValueError(
                    f"the columns '{filled[full]}' and '{column.heading}' are both '{name}': leave one out"
                )
            filled[full] = column.heading
    return SheetMapping(
        data["name"],
        table,
        int(data["header_row"]),
        tuple(columns),
        Decimal(data.get("decimal", "auto")),
        dates.Order(data.get("dates", "day first")),
        {str(k): str(v) for k, v in data.get("words", {}).items()},
        units_said=tuple(map(str, data.get("units_said", ()))),
        unasked=not data.get("asked", True),
    )


def _answered_alike(entries: Sequence[dict[str, Any]], columns: Sequence[Column]) -> list[Column]:
    """Take what was answered of a column for those of its quantity of which the same is asked, where all such answers are one.

    A sign that somebody turned, and a half, in an answer about a unit are those of its own column.
    """
    answers: dict[Hashable, set[tuple[str, float]]] = {}
    if not any(column.asks for column in columns):
        return list(columns)
    asked = [
        (_why(e, c), None if c.field is None else c.field.quantity, "ask" in e)
        for e, c in zip(entries, columns, strict=True)
    ]
    for question, column in zip(asked, columns, strict=True):
        if question[0] and question[1] is not None and not column.asks:
            answers.setdefault(question, set()).add((column.unit, column.times))
    made = []
    for question, column in zip(asked, columns, strict=True):
        said = answers.get(question, set())
        if column.asks and Ask.FIELD not in column.asks and len(said) == 1:
            unit, times = next(iter(said))
            if goes_for(times, column.times, column.asks, question[0]):
                own = unit if Ask.UNIT in column.asks else column.unit
                column = replace(column, unit=own, times=times, asks=frozenset(), why="")  # noqa: PLW2901 - as answered
        made.append(column)
    return made


def _why(entry: dict[str, Any], column: Column) -> str:
    """Give what is asked of a column; of one that was written by hand what its heading asks."""
    if "ask" in entry or column.field is None or column.field.quantity is None:
        return str(entry.get("ask", ""))
    return as_said(column.heading, column.field, Display()).why


def _column_from(index: int, entry: dict[str, Any], table: Table) -> Column:
    """Read one column; what waits for an answer bears a question mark."""
    asks: set[Ask] = set()
    name, unit, times = (str(entry.get(one, "")) for one in (Ask.FIELD, Ask.UNIT, Ask.TIMES))
    ask = str(entry.get("ask", ""))
    for one, text in ((Ask.FIELD, name), (Ask.UNIT, unit), (Ask.TIMES, times)):
        if text.endswith(OPEN):
            asks.add(one)
    name, unit, times = (text.removesuffix(OPEN).strip() for text in (name, unit, times))
    chosen = None
    if name:
        full = name if "." in name else f"{table}.{name}"
        if full not in _BY_NAME:
            raise ValueError(f"there is no field '{name}' in {table} (column '{entry['heading']}')")
        chosen = _BY_NAME[full]
    if chosen is None and Ask.FIELD not in asks:
        asks.clear()  # what is left out needs no unit
    elif chosen is not None and chosen.quantity is not None:
        # Whoever took a question away has not answered it.
        asks |= {Ask.UNIT} if not unit and "ask" in entry else set()
        asks |= {Ask.TIMES} if not times and Ask.TIMES in entry else set()
        # What nobody said is the heading's, or asked for as on the page.
        anew = as_said(entry["heading"], chosen, Display())
        if unit:
            unit = canonical_unit(unit, chosen.quantity)
        elif Ask.UNIT not in asks:
            unit, asks = anew.unit, asks | (anew.asks & {Ask.UNIT})
        if not times and Ask.TIMES not in asks:
            times, asks = str(anew.times), asks | (anew.asks & {Ask.TIMES})
        ask = ask or (anew.why if asks else "")
    held = frozenset(asks)
    return Column(
        index,
        entry["heading"],
        chosen,
        unit,
        float(times or 1.0),
        asks=held,
        why=ask,
        as_in=str(entry.get("as_in", "")),
    )


def mark_of(mapping: FileMapping) -> str:
    """Give the digest of a mapping's own sheets and headings."""
    return fingerprint((sheet.sheet, sheet.headings) for sheet in mapping.sheets)


def confirm(path: Path, mapping: FileMapping) -> None:
    """Set a mapping's file to confirmed, for the site that the mapping names; what a person wrote in it stays."""
    import tomlkit

    document = tomlkit.parse(path.read_text(encoding="utf-8"))
    for key, value in (("confirmed", True), ("site", mapping.site), ("units", mapping.units)):
        if document.get(key) != value:
            document[key] = value
    write_mapping(path, tomlkit.dumps(document))


def write_mapping(path: Path, text: str) -> None:
    """Write a mapping's file at once or not at all: half of one could not be read again.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    write_whole(path, text.encode("utf-8"))


def kept_path(folder: Path, mapping: FileMapping, source: Path) -> Path:
    """Say where the mapping of a file is kept: its name for the eye, the headings' digest for the search."""
    stem = "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in source.stem)[:40]
    return folder / f"{stem}-{mark_of(mapping)}.toml"


def free_path(folder: Path, mapping: FileMapping, source: Path, site: str) -> Path:
    """Say where a new mapping is written: a file that is there already is somebody's work and stays.

    Parameters
    ----------
    folder : pathlib.Path
        Where mappings are kept. [unitless]
    mapping : FileMapping
        The mapping. [unitless]
    source : pathlib.Path
        The file that it is made for. [unitless]
    site : str
        Code of the site; a second mapping of the same headings bears it. [unitless]
    """
    first = kept_path(folder, mapping, source)
    return next(path for path in _names(first, site) if not path.exists())


def _names(first: Path, site: str) -> Iterator[Path]:
    yield first
    yield first.with_name(f"{first.stem}-{site}.toml")
    number = 2
    while True:
        yield first.with_name(f"{first.stem}-{site}-{number}.toml")
        number += 1
