"""How a file is read, as a form to correct: what each column is, in which unit, which way round."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from markupsafe import Markup

from dashboard.auth.forms import Part, choice, tag, tick
from dashboard.place import shortened
from dashboard.words import say
from models.errors import UnreadableFileError
from models.intake.dates import Order
from models.intake.fields import Field, Form, Table, fields_of
from models.intake.mapping import Column, FileMapping, SheetMapping, propose
from models.intake.mapping_file import from_toml, to_toml
from models.intake.proposing import OPEN, Ask, as_said, goes_for
from models.intake.reading import Sheet
from models.intake.said import told_anew
from models.units import Decimal, Display, Quantity, units_for

_TIMES = (1.0, -1.0, 0.5, -0.5)
_PARTS = (0.01, -0.01, 0.001, -0.001)
_HALVED = (0.005, 0.0005)
"""More factors, where a heading says a unit that is none: hundredths of a mm, thousandths of an inch; and these as total indicator readings."""

_NOT_OF_ROWS = frozenset({"tag", "commissioned", "retired", "valid_from"})
"""What rows of jobs cannot say of their machine."""

Typed = Mapping[str, str]


def sheets_to_correct(name: str, mapping: FileMapping, sheets: Sequence[SheetMapping]) -> list[Markup]:
    """Write the part of the form in which the reading of sheets is corrected, and sheets are taken back that are left out."""
    left = [
        tick(f"{name}back{place}", "1", say("import.take_back", name=sheet))
        for place, sheet in enumerate(mapping.left_out)
    ]
    return [*[_sheet(f"{name}s{place}", one) for place, one in enumerate(sheets)], *left]


def as_typed(name: str, sheets: Sequence[SheetMapping], typed: Typed, display: Display) -> tuple[SheetMapping, ...]:
    """Give sheets as they stand in a form that was sent, whether they can be read so or not."""
    return tuple(_read_sheet(f"{name}s{place}", one, typed, display) for place, one in enumerate(sheets))


def corrected(
    name: str,
    mapping: FileMapping,
    sheets: Sequence[SheetMapping],
    typed: Typed,
    display: Display,
    there: Mapping[str, Sheet],
) -> FileMapping:
    """Give a mapping as it was corrected in the form; it then waits to be confirmed.

    Parameters
    ----------
    name : str
        What the names of its fields begin with. [unitless]
    mapping : FileMapping
        The mapping that is kept. [unitless]
    sheets : sequence of SheetMapping
        Those of its sheets that stood in the form, in its order. [unitless]
    typed : mapping
        What was sent. [unitless]
    display : Display
        The site's units, for columns that state none. [unitless]
    there : mapping
        All sheets of the file, for one that is taken back. [unitless]

    Raises
    ------
    UnreadableFileError
        If two columns of a sheet are the same, say, or one is missing without which no row can be read.
    """
    assert mapping.path is not None  # noqa: S101 - only kept mappings are corrected
    read = zip(sheets, as_typed(name, sheets, typed, display), strict=True)
    told = [(one, told_anew(there[one.sheet], one, new) if one.sheet in there else new) for one, new in read]
    # All that was said in the form is held against the sheet.
    news = {one.sheet: replace(new, unasked=one.unasked and new == one) for one, new in told}
    out = {one.sheet for place, one in enumerate(sheets) if typed.get(f"{name}s{place}.out")}
    back = {sheet for place, sheet in enumerate(mapping.left_out) if typed.get(f"{name}back{place}")}
    anew = propose([there[sheet] for sheet in sorted(back) if sheet in there], display).sheets
    made = replace(
        mapping,
        sheets=(*[news.get(one.sheet, one) for one in mapping.sheets if one.sheet not in out], *anew),
        left_out=tuple(sheet for sheet in dict.fromkeys((*mapping.left_out, *sorted(out))) if sheet not in back),
        confirmed=False,
    )
    if not made.sheets:
        raise UnreadableFileError(say("import.none_left"), remedy=say("import.none_left.remedy"))
    for one in made.sheets:
        _refuse_unreadable(one)
    return from_toml(to_toml(made, mapping.path.name), mapping.path)


def _refuse_unreadable(sheet: SheetMapping) -> None:
    filled: dict[Field, str] = {}
    for column in sheet.columns:
        if Ask.FIELD in column.asks:
            continue
        if column.field is not None and column.field in filled:
            told = say("import.twice", one=filled[column.field], other=column.heading, field=column.field.heading)
            raise UnreadableFileError(told, remedy=say("import.twice.remedy"))
        if column.field is not None:
            filled[column.field] = column.heading
    for field in fields_of(sheet.table):
        if field.required and field not in filled:
            told = say("import.needs.sheet" if sheet.sheet else "import.needs", field=field.heading, name=sheet.sheet)
            raise UnreadableFileError(told, remedy=say("import.needs.remedy", field=field.heading))


def _sheet(name: str, sheet: SheetMapping) -> Markup:
    about = say("import.sheet", table=say(f"import.table.{sheet.table}"), row=sheet.header_row)
    title = f"{sheet.sheet}: {about}" if sheet.sheet else about
    first: dict[Hashable, str] = {}
    rows = [row for column in sheet.columns for row in _column(name, sheet, column, _why(column, first))]
    headings = [say(f"import.column.{one}") for one in ("heading", "samples", "field", "unit", "times")]
    head = tag("thead", tag("tr", *[tag("th", text, scope="col") for text in headings]))
    grid = tag("table", tag("caption", title), head, tag("tbody", *rows))
    ways: list[Part] = []
    if sheet.date_columns:
        ways.append(choice(f"{name}.order", say("import.order"), _orders(), str(sheet.order)))
    ways.append(choice(f"{name}.decimal", say("import.decimal"), _decimals(), str(sheet.decimal)))
    if sheet.sheet:
        ways.append(tick(f"{name}.out", "1", say("import.leave_out", name=sheet.sheet)))
    return tag(
        "section",
        *[tag("p", say("import.asks.needed", field=one.heading), class_="needed") for one in sheet.missing],
        tag("div", grid, class_="table mapping", tabindex=0),
        tag("div", *ways, class_="ways"),
        _words(name, sheet),
    )


def _why(column: Column, first: dict[Hashable, str]) -> str:
    """Say why a column is asked about; where the same is asked of one before, with which it is answered."""
    if not column.asks or Ask.FIELD in column.asks:
        return column.why
    with_it = first.setdefault((_question(column), column.why), column.heading)
    return column.why if with_it == column.heading else say("import.asks.alike", heading=with_it)


def _orders() -> list[tuple[str, str]]:
    return [(str(one), say(f"import.order.{one.name.lower()}")) for one in Order if one is not Order.CLEAR]


def _decimals() -> list[tuple[str, str]]:
    return [(str(one), say(f"import.decimal.{one.name.lower()}")) for one in Decimal]


def _column(name: str, sheet: SheetMapping, column: Column, why: str) -> Iterator[Markup]:
    if not column.heading and not column.samples:
        return
    own = f"{name}.c{column.index}"
    field = column.field
    unit: Part = "–"
    if field is not None and field.quantity is not None:
        label = say("import.unit_of", heading=column.heading)
        units = [(one, one) for one in units_for(field.quantity)]
        unit = _asked(f"{own}.unit", label, units, column, Ask.UNIT, column.unit)
    times: Part = "–"
    if field is not None and field.form is Form.NUMBER:
        # A machine's speed or power has no other way round, and nobody reads it off an indicator.
        usual = _TIMES if field.table is Table.JOBS and field.quantity is not None else _TIMES[:1]
        halved = _HALVED if Ask.UNIT in column.asks and field.quantity is Quantity.OFFSET else ()
        factors = dict.fromkeys((*usual, *(_PARTS if column.asks else ()), *halved, column.times))
        options = [(f"{one:g}", _factor(one)) for one in factors]
        label = say("import.times_of", heading=column.heading)
        times = options[0][1]
        if len(options) > 1 or column.asks:
            guess = column.guess_of_times if Ask.TIMES in column.asks else f"{column.times:g}"
            times = _asked(f"{own}.times", label, options, column, Ask.TIMES, guess)
    label = say("import.field_of", heading=column.heading)
    chosen = "" if field is None else _name(field)
    yield tag(
        "tr",
        tag(
            "th",
            column.heading or "–",
            tag("span", why, class_="soft asked") if column.asks else None,
            tag("span", say("import.as_in", names=column.as_in), class_="soft asked")
            if column.as_in and not column.asks
            else None,
            scope="row",
        ),
        tag("td", " | ".join(map(shortened, column.samples)) or "–", data_is=say("import.column.samples")),
        tag("td", _fields(f"{own}.field", label, sheet.table, chosen, column), data_is=say("import.column.field")),
        tag("td", unit, data_is=say("import.column.unit")),
        tag("td", times, data_is=say("import.column.times")),
    )


def _asked(name: str, label: str, options: list[tuple[str, str]], column: Column, ask: Ask, chosen: str) -> Markup:
    """Write a choice; where it waits for an answer nothing of it is chosen, and what is guessed is only named."""
    if ask not in column.asks:
        return _select(name, label, options, chosen)
    guess = dict(options).get(chosen, "") if ask is Ask.TIMES else chosen
    return _select(name, label, [(OPEN, _open(guess)), *options], OPEN)


def _open(guess: str) -> str:
    return say("import.asks.guess", guess=guess) if guess else say("import.asks.open")


def _factor(times: float) -> str:
    keys = {
        1.0: "as",
        -1.0: "turned",
        0.5: "half",
        -0.5: "half_turned",
        0.01: "hundredth",
        -0.01: "hundredth_turned",
        0.001: "thousandth",
        -0.001: "thousandth_turned",
        0.005: "hundredth_half",
        0.0005: "thousandth_half",
    }
    return say(f"import.times.{keys[times]}") if times in keys else f"× {times:g}"


def _fields_for(table: Table) -> list[Field]:
    """Give what a column of a sheet can be: rows of jobs may describe their machine too."""
    more = fields_of(Table.ASSETS) if table is Table.JOBS else ()
    return [*fields_of(table), *[one for one in more if one.key not in _NOT_OF_ROWS]]


def _fields(name: str, label: str, table: Table, chosen: str, column: Column) -> Markup:
    tables = dict.fromkeys(field.table for field in _fields_for(table))
    groups: list[Markup] = [tag("option", say("import.field.none"), value="", selected=not chosen)]
    if Ask.FIELD in column.asks:
        guess = "" if column.field is None else column.field.heading
        groups.insert(0, tag("option", _open(guess), value=OPEN, selected=True))
        chosen = OPEN
    for one in tables:
        options = [
            tag("option", field.heading, value=_name(field), selected=_name(field) == chosen)
            for field in fields_of(one)
            if one is table
            or _name(field) == chosen
            or field.key not in {"tag", "commissioned", "retired", "valid_from"}
        ]
        groups.append(tag("optgroup", *options, label=say(f"import.table.{one}")))
    return tag("select", *groups, name=name, aria_label=label)


def _select(name: str, label: str, options: Iterable[tuple[str, str]], chosen: str) -> Markup:
    inner = [tag("option", text, value=value, selected=value == chosen) for value, text in options]
    return tag("select", *inner, name=name, aria_label=label)


def _words(name: str, sheet: SheetMapping) -> Markup | None:
    """Write what the plant's own words for closed lists mean."""
    if not sheet.words:
        return None
    meanings = _meanings(sheet)
    rows = [
        tag(
            "div",
            tag("label", say("import.word", word=word), for_=f"{name}.w{place}"),
            tag(
                "select",
                tag("option", say("import.word.none"), value="", selected=not meaning),
                *[tag("option", one, value=one, selected=one == meaning) for one in meanings],
                id=f"{name}.w{place}",
                name=f"{name}.w{place}",
            ),
            class_="field",
        )
        for place, (word, meaning) in enumerate(sheet.words.items())
    ]
    return tag("fieldset", tag("legend", say("import.words")), tag("div", *rows, class_="ways"))


def _meanings(sheet: SheetMapping) -> tuple[str, ...]:
    lists = [column.field.choices for column in sheet.columns if column.field is not None]
    return tuple(
        dict.fromkeys((*(one for choices in lists for one in choices), *(m for m in sheet.words.values() if m)))
    )


def _name(field: Field) -> str:
    return f"{field.table}.{field.key}"


def _read_sheet(name: str, sheet: SheetMapping, typed: Typed, display: Display) -> SheetMapping:
    meanings = _meanings(sheet)
    words = {
        word: _one_of(typed.get(f"{name}.w{place}"), ("", *meanings), meaning)
        for place, (word, meaning) in enumerate(sheet.words.items())
    }
    read = [_read_column(f"{name}.c{column.index}", sheet.table, column, typed, display) for column in sheet.columns]
    return replace(
        sheet,
        columns=tuple(_answered_alike(sheet.columns, read)),
        decimal=Decimal(_one_of(typed.get(f"{name}.decimal"), [str(one) for one in Decimal], str(sheet.decimal))),
        order=Order(_one_of(typed.get(f"{name}.order"), [str(one) for one in Order], str(sheet.order))),
        words=words,
    )


def _read_column(own: str, table: Table, column: Column, typed: Typed, display: Display) -> Column:
    before = OPEN if Ask.FIELD in column.asks else "" if column.field is None else _name(column.field)
    allowed = {_name(one): one for one in _fields_for(table)}
    chosen = _one_of(typed.get(f"{own}.field"), ("", OPEN, *allowed), before)
    if not chosen:
        return replace(column, field=None, unit="", times=1.0, asks=frozenset(), why="", as_in="")
    field = column.field if chosen == OPEN else allowed.get(chosen, column.field)
    asks, why, unit, times = set(column.asks), column.why, column.unit, f"{column.times:g}"
    if chosen != OPEN:
        asks.discard(Ask.FIELD)
    if field is not None and field is not column.field:
        anew = as_said(column.heading, field, display)
        asks, why, unit = set(anew.asks), anew.why, anew.unit
    units = () if field is None or field.quantity is None else units_for(field.quantity)
    usual = OPEN if Ask.UNIT in asks else unit
    said = _one_of(typed.get(f"{own}.unit"), (*units, OPEN), usual) if units else ""
    if said != OPEN:
        asks.discard(Ask.UNIT)
        unit = said
    factors = {f"{one:g}": one for one in (*_TIMES, *_PARTS, *_HALVED, column.times)}
    usual = OPEN if Ask.TIMES in asks else times
    said = _one_of(typed.get(f"{own}.times"), (*factors, OPEN), usual)
    if said != OPEN:
        asks.discard(Ask.TIMES)
        times = said
    made = replace(column, field=field, unit=unit, times=factors[times], asks=frozenset(asks), why=why if asks else "")
    is_same = (made.field, made.unit, made.times) == (column.field, column.unit, column.times)
    return made if is_same else replace(made, as_in="")


def _answered_alike(before: Sequence[Column], after: Sequence[Column]) -> list[Column]:
    """Take what was answered of one column for those of which the same was asked: a word in eight headings is one question."""
    answers: dict[Hashable, set[tuple[str, float]]] = {}
    for asked, answered in zip(before, after, strict=True):
        as_guessed = Ask.FIELD not in asked.asks or answered.field is asked.field
        if asked.asks and not answered.asks and answered.field is not None and as_guessed:
            answers.setdefault(_question(asked), set()).add((answered.unit, answered.times))
    made = []
    for asked, column in zip(before, after, strict=True):
        said = answers.get(_question(asked), set()) if column.asks == asked.asks else set()
        if column.asks and len(said) == 1:
            unit, times = next(iter(said))
            if goes_for(times, column.times, asked.asks, asked.why):
                own = unit if Ask.UNIT in asked.asks else column.unit
                column = replace(column, unit=own, times=times, asks=frozenset(), why="")  # noqa: PLW2901 - as answered
        made.append(column)
    return made


def _question(column: Column) -> Hashable:
    """Give what is asked of a column, and of which quantity; numbers tell feet and columns apart, but units too."""
    quantity = None if column.field is None else column.field.quantity
    why = column.why if Ask.UNIT in column.asks else re.sub(r"\d+", "#", column.why)
    return column.asks, quantity, column.unit, column.times, why


def _one_of(text: str | None, allowed: Iterable[str], otherwise: str) -> str:
    return text if text is not None and text in allowed else otherwise
