"""In which order the dates of a call are read, decided before its first row."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace

from models.commands.report import Source
from models.intake.dates import Order
from models.intake.day_order import Evidence, evidence_in
from models.intake.mapping import SheetMapping


def decided(sources: Sequence[Source]) -> list[Source]:
    """Decide for each sheet in which order day and month stand.

    A mapping that says it is followed.  One that leaves it to the rows is told by
    the rows of all sheets of the call that are read in the same way; sheets of the
    template are, where they hold the same.

    Parameters
    ----------
    sources : sequence of Source
        The sheets of a call. [unitless]
    """
    told: dict[Hashable, Evidence] = {}
    for source in sources:
        mapping = source.mapping
        if mapping.order is Order.BY_ROWS:
            found = evidence_in(source.sheet, mapping.header_row, mapping.date_columns)
            told[_way(mapping)] = told.get(_way(mapping), Evidence()) | found
    return [
        replace(source, mapping=replace(source.mapping, order=told[_way(source.mapping)].order), by_rows=True)
        if source.mapping.order is Order.BY_ROWS
        else source
        for source in sources
    ]


def _way(mapping: SheetMapping) -> Hashable:
    return (mapping.table,) if mapping.is_template else (mapping.table, mapping.sheet, mapping.headings)
