"""Tables of the invented little plant as they leave the reader, and one with every text that a spreadsheet must not run."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime

from flask import Flask

from dashboard.context import Context, install
from dashboard.files.table_out import ColumnOut, Form, TableOut
from dashboard.files.tables import TABLES, make_table
from models.settings import Settings
from tests.history_maker import NOW, ZONE, made_book

QUERIES = {
    "asset-jobs": "asset=P-102",
    "asset-runs": "asset=P-102",
    "asset-versions": "asset=P-102",
    "asset-forecast": "asset=P-102",
    "asset-components": "asset=P-102",
    "asset-feet": "asset=P-102",
    "limit-curve": "offset=80&angle=700",
    "instrument-jobs": "instrument=LX-02",
    "what-if": "offset=80&angle=700",
    "month-jobs": "month=2025-06",
    "machines": "q=pump",
}
"""What the tables need to be asked."""

NASTY = (
    "=1+1",
    '=HYPERLINK("http://example.org/"&A1,"look")',
    "+1+1",
    "-2+3",
    "@SUM(A1:A9)",
    "  =1+1",
    "\t=1+1",
    "\r=1+1",
    "=cmd|' /C calc'!A0",
    "'=1+1",
    "''=1+1",
    "a;=1+1",
    'a",=1+1',
    "a\n=1+1",
    "\uff1d1+1",
    "-5 mil",
    "-5",
    "'",
    "007",
    "TRUE",
    'plain; text, with "quotes" and µ °',
)
"""Texts that a spreadsheet would run, and texts that only look like it."""


@contextmanager
def asking() -> Iterator[None]:
    """Let tables be asked of the plant."""
    server = Flask("tables")
    install(server, Context(Settings(book="/somewhere/plant.db"), made_book(), lambda: NOW))
    with server.app_context():
        yield


def every_table(units: str = "mm") -> list[TableOut]:
    """Give every table once."""
    with asking():
        return [make_table(name, f"{QUERIES.get(name, '')}&units={units}") for name in TABLES]


def nasty_table() -> TableOut:
    """Give a table with a column of each form; unknown in the last row."""
    n = len(NASTY)
    moment = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    return TableOut(
        name="nasty",
        title="=1+1",
        columns=(
            ColumnOut("tag", "", "@meaning", Form.TEXT, (*NASTY, None)),
            ColumnOut("offset", "mm", "m", Form.NUMBER, (*(place / 7.0 - 1.0 for place in range(n)), None), 3),
            ColumnOut("entry", "", "m", Form.COUNT, tuple(range(n + 1))),
            ColumnOut("void", "", "m", Form.YES, (*(place % 2 == 0 for place in range(n)), None)),
            ColumnOut("day", "", "m", Form.DAY, (*(date(2026, 1, 1 + place) for place in range(n)), None)),
            ColumnOut(
                "done", "", "m", Form.MOMENT, (*(moment.replace(month=1 + place % 9) for place in range(n)), None)
            ),
            ColumnOut("=column", "", "m", Form.TEXT, (*NASTY, None)),
        ),
        window="the whole history",
        sure="counted",
        book="plant.db",
        site="Nowhere (invented)",
        code="nowhere",
        zone=ZONE,
        head=17,
        made_at=NOW,
    )
