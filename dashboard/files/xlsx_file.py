"""A table as a workbook: typed cells, and a second sheet on what each column means.

Nothing in it is a formula or a link: texts are written as texts, whatever they begin with.
"""

from __future__ import annotations

import io
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.files.csv_file import on_clock
from dashboard.files.table_out import ColumnOut, Form, TableOut, Value
from dashboard.words import say
from models.errors import DriftbookError
from models.intake.plain_text import is_active
from models.intake.whole_digits import WholeDigits

MIME = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

MOST_ROWS = 1_048_575
"""Rows that a sheet takes below its headings."""

MOST_TEXT = 32_767
"""Letters that a cell takes."""

_NO_DATES = 1900
"""Last year of which a day is written as a text: a sheet counts from its first day, and takes it for a leap year. [unitless]"""

_HEAD = {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}

_WIDEST = 44
_MOST_LINES = 8
_LOOKED_AT = 200


class TooLongError(DriftbookError):
    """A table that is longer than a sheet."""


def xlsx_bytes(table: TableOut) -> bytes:
    """Write a table.

    Parameters
    ----------
    table : TableOut
        The table. [as said by its columns]

    Raises
    ------
    TooLongError
        If it has more rows than a sheet.
    """
    import xlsxwriter

    if len(table) > MOST_ROWS:
        raise TooLongError(say("files.too_long", n=len(table), most=MOST_ROWS), remedy=say("files.too_long.remedy"))
    held = io.BytesIO()
    book = xlsxwriter.Workbook(
        held, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    )
    made = table.made_at.replace(tzinfo=None, microsecond=0)
    book.set_properties({"title": table.title, "subject": table.site, "created": made})
    head = book.add_format({**_HEAD, "align": "left", "indent": 1})
    _rows(book, book.add_worksheet(table.name[:31]), table, head)
    _about(book, book.add_worksheet(say("files.sheet.about")[:31]), table, head)
    book.close()
    return held.getvalue()


def _rows(book: Any, sheet: Any, table: TableOut, head: Any) -> None:
    zone = ZoneInfo(table.zone)
    over_numbers = book.add_format({**_HEAD, "align": "right"})
    for place, column in enumerate(table.columns):
        is_text, wraps = column.form is Form.TEXT, _longest(column) > _WIDEST
        look = {"valign": "top", "align": "left", "indent": 1, "text_wrap": wraps} if is_text else {"valign": "top"}
        style = book.add_format({**look, "num_format": _number_format(column)})
        marked = book.add_format({**look, "quote_prefix": True})
        sheet.write_string(0, place, column.heading, head if is_text else over_numbers)
        sheet.set_column(place, place, _width(column))
        for row, value in enumerate(column.values, start=1):
            if isinstance(value, str):
                _write_text(sheet, row, place, value, marked if is_active(value) else style)
            elif value is not None:
                _write(sheet, row, place, _as_cell(value, column, zone), style)
    for row, values in enumerate(table.rows(), start=1):
        lines = max((-(-len(value) // _WIDEST) for value in values if isinstance(value, str)), default=1)
        if lines > 1:
            sheet.set_row(row, 15 * min(lines, _MOST_LINES))
    sheet.set_row(0, 45)
    sheet.freeze_panes(1, 1)
    if table.columns:
        sheet.autofilter(0, 0, max(len(table), 1), len(table.columns) - 1)
    sheet.set_landscape()
    sheet.repeat_rows(0)
    sheet.fit_to_pages(1, 0)


def _as_cell(value: Value, column: ColumnOut, zone: ZoneInfo) -> Value:
    """Give what is written for a value: a date that no cell can hold as a text.

    A sheet knows no zones: the site's clock is written, and the second sheet says so.
    It knows no day before 1900 either, a day alone is midnight to it, and readers round to thousandths
    of a second.  What is read back by our import is written as CSV writes it where that would be lost.
    """
    if isinstance(value, datetime):
        local, text = value.astimezone(zone).replace(tzinfo=None), on_clock(value, zone)
        lost = local.time() == time() or local.microsecond % 1000 > 0 or _says_offset(text)
        return text if local.year <= _NO_DATES or (column.comes_back and lost) else local
    if isinstance(value, date) and value.year <= _NO_DATES:
        return value.isoformat()
    return value


def _says_offset(text: str) -> bool:
    return text[-6:-5] in {"+", "-"} and text[-3] == ":"


def _write(sheet: Any, row: int, place: int, value: Value, style: Any) -> None:
    if isinstance(value, bool):
        sheet.write_boolean(row, place, value)  # without a format of its own: with one, some programs show 1 and 0
    elif isinstance(value, str):
        sheet.write_string(row, place, value, style)
    elif isinstance(value, date):
        sheet.write_datetime(row, place, value, style)
    else:
        sheet.write_number(row, place, WholeDigits(value) if isinstance(value, float) else value, style)


def _write_text(sheet: Any, row: int, place: int, value: str, style: Any) -> None:
    if len(value) > MOST_TEXT:
        mark = say("files.cut")
        value = value[: MOST_TEXT - len(mark)] + mark
    sheet.write_string(row, place, value, style)


def _number_format(column: ColumnOut) -> str:
    if column.form is Form.DAY:
        return "yyyy-mm-dd"
    if column.form is Form.MOMENT:
        return f"yyyy-mm-dd hh:mm{_seconds(column)}"
    if column.form is Form.COUNT:
        return "0"
    if column.form is Form.NUMBER and column.decimals is not None:
        return f"0.{'0' * column.decimals}" if column.decimals else "0"
    return "General"


def _seconds(column: ColumnOut) -> str:
    """Give how the seconds of a column of moments are shown: as finely as one of them needs."""
    moments = [value for value in column.values if isinstance(value, datetime)]
    if column.comes_back and any(value.microsecond for value in moments):
        return ":ss.000"
    return ":ss" if any(value.second or value.microsecond for value in moments) else ""


def _longest(column: ColumnOut) -> int:
    return max((len(str(value)) for value in column.values[:_LOOKED_AT] if value), default=0)


def _width(column: ColumnOut) -> float:
    word = max(len(part) for part in column.heading.split()) + 3
    if column.form is not Form.TEXT:
        return float(max((17 + len(_seconds(column)) if column.form is Form.MOMENT else 12), word))
    return float(min(max(_longest(column) + 3, word, 10), _WIDEST))


def _about(book: Any, sheet: Any, table: TableOut, head: Any) -> None:
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    top = book.add_format({"bold": True, "valign": "top"})
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, 2, 16)
    sheet.set_column(3, 3, 90)
    sheet.hide_gridlines(2)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    row = 0
    for name, value in about_lines(table):
        sheet.write_string(row, 0, name, top)
        sheet.merge_range(row, 1, row, 3, "", wrap)
        sheet.write_string(row, 1, value, wrap)
        sheet.set_row(row, 15 * (1 + len(value) // 110))
        row += 1
    row += 1
    for place, key in enumerate(("column", "unit", "holds", "means")):
        sheet.write_string(row, place, say(f"files.about.{key}"), head)
    for line, column in enumerate(table.columns, start=row + 1):
        for place, value in enumerate((column.name, column.unit, str(column.form), column.meaning)):
            sheet.write_string(line, place, value, wrap)


def about_lines(table: TableOut) -> tuple[tuple[str, str], ...]:
    """Give what is to be said of a table as a whole, as name and text."""
    stamp = f"{table.made_at.astimezone(ZoneInfo(table.zone)):%Y-%m-%d %H:%M}"
    lines = (
        ("title", table.title),
        ("window", table.window),
        ("sure", table.sure),
        ("site", table.site),
        ("book", say("files.about.book_text", book=table.book, head=table.head)),
        ("made", say("files.about.made_text", at=stamp, zone=table.zone)),
        ("clock", say("files.about.clock_text", zone=table.zone)),
        ("asked", table.asked or say("files.about.asked_nothing")),
    )
    return tuple((say(f"files.about.{key}"), text) for key, text in lines)
