"""A table as CSV: comma, quoted texts, numbers with a point, UTF-8 with its mark.

The byte-order mark stands there because spreadsheet programs take a CSV
without one for the machine's old code page and garble every ° and µ; programs
that read UTF-8 skip it.  Texts stand in quotes always, so that no separator in
them can begin a cell anew, and what would be evaluated gets an apostrophe
(``models.intake.plain_text``), which our own import takes off again.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from zoneinfo import ZoneInfo

from dashboard.files.table_out import TableOut, Value
from models.intake.plain_text import guarded

MIME = "text/csv; charset=utf-8"
MARK = "\ufeff"
END = "\r\n"


def csv_bytes(table: TableOut) -> bytes:
    """Write a table."""
    return "".join(csv_lines(table)).encode()


def csv_lines(table: TableOut) -> Iterator[str]:
    """Write a table line by line, the mark before the first.

    Parameters
    ----------
    table : TableOut
        The table. [as said by its columns]
    """
    zone = ZoneInfo(table.zone)
    yield MARK + ",".join(_text(column.heading) for column in table.columns) + END
    for row in table.rows():
        yield ",".join(_cell(value, zone) for value in row) + END


def _cell(value: Value, zone: ZoneInfo) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, datetime):
        return on_clock(value, zone)
    if isinstance(value, date):
        return value.isoformat()
    return repr(value + 0.0) if isinstance(value, float) else str(value)


def _text(value: str) -> str:
    return '"' + guarded(value).replace('"', '""') + '"'


def on_clock(moment: datetime, zone: ZoneInfo) -> str:
    """Write a moment on the site's clock; the hour that comes twice in autumn says its offset.

    Parameters
    ----------
    moment : datetime
        Aware moment. [unitless]
    zone : zoneinfo.ZoneInfo
        The site's zone. [unitless]
    """
    local = moment.astimezone(zone)
    text = local.replace(tzinfo=None).isoformat(
        " ", "microseconds" if local.microsecond else "seconds" if local.second else "minutes"
    )
    other = local.replace(fold=1 - local.fold)
    return text if other.utcoffset() == local.utcoffset() else text + local.isoformat()[-6:]
