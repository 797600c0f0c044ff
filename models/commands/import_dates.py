"""How dates and numbers of a call are read, decided before its first row."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from models.commands.report import Source
from models.intake.contrary import FIXED_DECIMAL, FIXED_ORDER, Fixed, Told
from models.intake.dates import Order
from models.intake.day_order import Evidence, evidence_in
from models.intake.mapping import SheetMapping
from models.intake.turned import turned_in


def decided(sources: Sequence[Source], today: date | None = None) -> list[Source]:
    """Decide for each sheet in which order day and month stand, and whether its rows tell against how it is read.

    A mapping that says the order is followed.  One that leaves it to the rows is told by
    the rows of all sheets of the call that are read in the same way; sheets of the
    template are, where they hold the same.  Where the rows tell only the contrary of the
    order, or of the decimal sign, that a mapping says, the mapping names one of them: what
    reads two ways is refused by it then.  So are dates that a spreadsheet has most likely turned.

    Parameters
    ----------
    sources : sequence of Source
        The sheets of a call. [unitless]
    today : datetime.date, optional
        By it a year of two digits may be one or not. [unitless]

    Raises
    ------
    UnreadableFileError
        If a file is no text in its encoding, or a quotation is not closed.
    """
    orders, signs = _contraries(sources, FIXED_ORDER), _contraries(sources, FIXED_DECIMAL)
    turned = [turned_in(source.sheet, source.mapping) for source in sources]
    looked_at = [
        replace(source, mapping=replace(source.mapping, order_against=order, decimal_against=sign, turned=columns))
        if order or sign or columns
        else source
        for source, order, sign, columns in zip(sources, orders, signs, turned, strict=True)
    ]
    return _ordered(looked_at, today)


def _ordered(sources: Sequence[Source], today: date | None) -> list[Source]:
    """Fix the order where it is left to the rows."""
    told: dict[Hashable, Evidence] = {}
    for source in sources:
        mapping = source.mapping
        if mapping.order is Order.BY_ROWS:
            found = evidence_in(
                source.sheet, mapping.header_row, mapping.date_columns, today, ahead=mapping.ahead_columns
            )
            told[_way(mapping)] = told.get(_way(mapping), Evidence()) | found
    return [
        replace(source, mapping=replace(source.mapping, order=told[_way(source.mapping)].order), by_rows=True)
        if source.mapping.order is Order.BY_ROWS
        else source
        for source in sources
    ]


def _contraries(sources: Sequence[Source], fixed: Fixed[Any]) -> list[str]:
    """Name for each sheet a row that tells against what is fixed; empty where none does, or some tell the same.

    A sheet that tells nothing is told by the other sheets of its file, and by those of
    the call that are read in the same way.
    """
    told = [fixed.told(source.sheet, source.mapping) for source in sources]
    places: dict[int, str] = {}
    found = []
    for at, source in enumerate(sources):
        tells = [at]
        if told[at] is Told.NOTHING and Told.CONTRARY in told and fixed.of(source.mapping) is not None:
            tells = [other for other, one in enumerate(sources) if _is_like(source, one, fixed)]
        where = next((other for other in tells if told[other] is Told.CONTRARY), None)
        if where is None or any(told[other] is Told.SAME for other in tells):
            found.append("")
            continue
        if where not in places:
            places[where] = fixed.place(sources[where].sheet, sources[where].mapping)
        place = places[where]
        found.append(f"{sources[where].name}, {place}" if place and where != at else place)
    return found


def _is_like(one: Source, other: Source, fixed: Fixed[Any]) -> bool:
    """Tell whether what is fixed is the same for two sheets, and they are of one file or read in the same way."""
    same_way = _way(one.mapping) == _way(other.mapping)
    return fixed.of(one.mapping) is fixed.of(other.mapping) and (one.path == other.path or same_way)


def _way(mapping: SheetMapping) -> Hashable:
    return (mapping.table,) if mapping.is_template else (mapping.table, mapping.sheet, mapping.headings)
