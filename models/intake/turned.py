"""Dates that a spreadsheet has half converted: a list opened in one that reads day and month the other way round.

What it could read became a date of its own, with day and month exchanged; what has a
number above 12 in the place of the month stayed a text.  So each date that it knows has
a day up to 12, and each text reads one way only.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Final

from models.intake import dates
from models.intake.dates import Order
from models.intake.day_order import order_told
from models.intake.mapping import SheetMapping
from models.intake.reading import Cell, Sheet

_LEAST: Final = 4
"""So many dates of either kind are needed: by chance not one column in three hundred that holds both looks so."""

_MONTHS: Final = 12


def turned_in(sheet: Sheet, mapping: SheetMapping) -> dict[int, str]:
    """Give the columns whose dates most likely have day and month exchanged, each with a text that tells it.

    Parameters
    ----------
    sheet : Sheet
        The sheet; only one of a workbook knows dates. [as typed]
    mapping : SheetMapping
        How it is read. [unitless]
    """
    if sheet.delimiter:
        return {}
    told = ((place, _telling(_cells(sheet, mapping.header_row, place))) for place in mapping.date_columns)
    return {place: text for place, text in told if text}


def _cells(sheet: Sheet, header_row: int, place: int) -> Iterator[Cell]:
    return (cells[place] for number, cells in sheet.rows() if number > header_row and place < len(cells))


def _telling(cells: Iterator[Cell]) -> str:
    """Give a text that tells it of a column; empty where a date or a text tells against it, or there are too few."""
    known, texts, orders = 0, list[str](), set[Order | None]()
    for cell in cells:
        if isinstance(cell, date):
            if cell.day > _MONTHS:
                return ""
            known += 1
        elif isinstance(cell, str) and dates.day_and_month(cell) is not None:
            texts.append(cell)
            orders.add(order_told(cell))
    is_so = min(known, len(texts)) >= _LEAST and len(orders) == 1 and None not in orders
    return texts[0].strip() if is_so else ""
