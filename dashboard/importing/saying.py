"""A sheet whose headings are not understood, or taken for another list: the form in which somebody says what it holds, and where they stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup

from dashboard.auth.forms import Part, form, section, tag
from dashboard.place import shortened
from dashboard.words import say
from models.commands.choice import Reading
from models.errors import UnreadableFileError
from models.intake.fields import Table
from models.intake.fitting import is_blank
from models.intake.reading import Sheet
from models.intake.said import Said, likely, rows_offered
from models.intake.template import is_read_me
from models.intake.units_below import heading_row

MOST_SHEETS: Final = 12
"""So many sheets of a workbook are offered."""

_CELLS: Final = 6
_LETTERS: Final = 24
"""So many cells of a row are shown, and letters of a cell."""

_KINDS: Final = (Table.JOBS, Table.ASSETS, Table.BREAKS, Table.PEOPLE, Table.INSTRUMENTS)


@dataclass(frozen=True, slots=True)
class Offer:
    """A sheet of which somebody may say what it holds: what is proposed, and its first rows with their texts."""

    sheet: str
    table: Table | None
    row: int
    rows: tuple[tuple[int, tuple[str, ...]], ...]


def offers_of(sheets: Iterable[Sheet], readings: Sequence[Reading] = ()) -> tuple[Offer, ...]:
    """Give the sheets in which something stands, each as it is read, else as it most likely is; those that are not read first.

    Parameters
    ----------
    sheets : iterable of Sheet
        Sheets of a file. [as typed]
    readings : sequence of Reading
        How those are read that are. [unitless]
    """
    read = {one.sheet: one for reading in readings for one in reading.read}
    made: list[Offer] = []
    for sheet in sorted(sheets, key=lambda one: one.name in read):
        if len(made) == MOST_SHEETS or is_read_me(sheet) or is_blank(sheet):
            continue
        one = read.get(sheet.name)
        table, row = likely(sheet) if one is None else (one.table, heading_row(sheet, one.header_row, one.table))
        made.append(Offer(sheet.name, table, row, tuple((n, tuple(texts)) for n, texts in rows_offered(sheet, row))))
    return tuple(one for one in made if one.rows)


def forms_of(action: str, offers: Sequence[Offer], typed: Mapping[str, str], *, is_main: bool = False) -> list[Markup]:
    """Write a form for each sheet, as it was typed where it was sent already; ``is_main`` where the page has nothing else to do."""
    about = tag("p", say("import.say.about"))
    parts = [_form(action, place, one, typed, is_main=is_main) for place, one in enumerate(offers)]
    return [section(say("import.say"), about, *parts)] if parts else []


def said_in(typed: Mapping[str, str]) -> tuple[str, Said]:
    """Read what was said, and of which sheet.

    Raises
    ------
    UnreadableFileError
        If it says no kind of list, or no row.
    """
    holds, row = typed.get("holds", ""), typed.get("row", "")
    if holds not in set(Table):
        raise UnreadableFileError(say("import.say.no_kind"), remedy=say("import.say.no_kind.remedy"))
    if not (row.isascii() and row.isdigit() and len(row) < _LETTERS):
        raise UnreadableFileError(say("import.say.no_row"), remedy=say("import.say.no_row.remedy"))
    return typed.get("sheet", ""), Said(Table(holds), int(row))


def _form(action: str, place: int, offer: Offer, typed: Mapping[str, str], *, is_main: bool) -> Markup:
    is_it = typed.get("does") == "say" and typed.get("sheet") == offer.sheet
    holds = typed.get("holds", "") if is_it else str(offer.table or "")
    row = typed.get("row", "") if is_it else str(offer.row)
    name = f"holds{place}"
    kinds = [(str(one), say(f"import.say.holds.{one}")) for one in _KINDS]
    options = [
        tag("option", text, value=value, selected=value == holds)
        for value, text in [("", say("import.say.holds.open")), *kinds]
    ]
    return form(
        action,
        tag("h3", say("import.say.sheet", name=offer.sheet)) if offer.sheet else None,
        tag("input", type="hidden", name="sheet", value=offer.sheet),
        tag(
            "div",
            tag("label", say("import.say.holds"), for_=name),
            tag("select", *options, id=name, name="holds", required=True),
            class_="field",
        ),
        tag(
            "fieldset",
            tag("legend", say("import.say.row")),
            *[_row(number, texts, row) for number, texts in offer.rows],
            class_="rows",
        ),
        tag(
            "button",
            say("import.say.go"),
            type="submit",
            name="does",
            value="say",
            class_="main" if is_main else "quiet",
        ),
        class_="stack",
    )


def _row(number: int, texts: Sequence[str], chosen: str) -> Part:
    shown = " | ".join(shortened(text, _LETTERS) for text in texts[:_CELLS])
    more = say("import.say.more_cells", n=len(texts) - _CELLS) if len(texts) > _CELLS else None
    return tag(
        "label",
        tag("input", type="radio", name="row", value=str(number), checked=str(number) == chosen, required=True),
        tag(
            "span",
            tag("b", say("import.say.row_number", row=number)),
            " ",
            shown,
            tag("span", " ", more, class_="soft") if more else None,
        ),
        class_="tick",
    )
