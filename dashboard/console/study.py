"""The subcommand study: what the history says, as text, JSON or CSV."""

from __future__ import annotations

import argparse
import csv
import json
import re
import sys
from pathlib import Path

import numpy as np
from rich.markup import escape
from rich.table import Table as Grid

from dashboard.console.common import now, opened, out, settings_of
from dashboard.writing import counted
from models.errors import DriftbookError, UnknownNameError
from models.history.columns import History
from models.history.engine import Choices, study_of
from models.history.study_counts import Base
from models.history.study_table import StudyTable, Value
from models.history.study_tables import study_tables
from models.intake.limit_file import read_limit_set
from models.store.known import site_of
from models.store.reader import Reader

_SHOWN = 12
_WIDE = 6
_MONTHS = re.compile(r"(\d{4})-(0[1-9]|1[0-2])\.\.(\d{4})-(0[1-9]|1[0-2])")


def run_study(given: argparse.Namespace) -> int:
    """Study a book and print the tables."""
    if not 1 <= given.risk <= 50:
        raise DriftbookError(f"A risk of {given.risk} % makes no sense.", remedy="Give one from 1 to 50: --risk 10.")
    other = read_limit_set(Path(given.limits), adopted_by="a trial", adopted_on=now().date()) if given.limits else None
    base = _base(given.base, given.why)
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        history = Reader(engine).history(site.site_id)
    asset = _asset(history, given.tag)
    study = study_of(history, Choices(risk=given.risk / 100.0))
    tables = study_tables(history, study, asset=asset, other=other, base=base)
    if given.part:
        names = [table.name for table in tables]
        if given.part not in names:
            raise UnknownNameError(
                f"There is no part '{given.part}' here.", remedy=f"The parts are: {', '.join(names)}."
            )
        tables = tuple(table for table in tables if table.name == given.part)
    if given.form == "json":
        _print_json(site.name, history, tables)
    elif given.form == "csv":
        _print_csv(tables)
    else:
        for table in tables:
            _print_text(table, every=given.all)
    return 0


def _base(months: str | None, why: str | None) -> Base | None:
    """Read from which months the charts take their limits, and why."""
    if months is None:
        if why:
            raise DriftbookError(
                "A reason is asked for with --base only.", remedy="Say which months: --base 2023-01..2024-12."
            )
        return None
    match = _MONTHS.fullmatch(months)
    if match is None:
        raise DriftbookError(
            f"'{months}' are no months.", remedy="Write the first and the last: --base 2023-01..2024-12."
        )
    first, last = (int(match[at]) * 12 + int(match[at + 1]) - 1 for at in (1, 3))
    if not why or not why.strip():
        raise DriftbookError(
            "Limits that are kept need a reason: whoever reads the chart must know what the months are held against.",
            remedy="Say it: --why 'before the new couplings'.",
        )
    return Base(first, last, why.strip().rstrip(".") + ".")


def _asset(history: History, tag: str | None) -> int | None:
    if tag is None:
        return None
    found = np.flatnonzero(history.assets.tag == tag)
    if not len(found):
        near = [str(t) for t in history.assets.tag if tag.lower() in str(t).lower()][:5]
        hint = f"Did you mean {', '.join(near)}?" if near else "driftbook study --part drift lists them all."
        raise UnknownNameError(f"The site has no asset '{tag}'.", remedy=hint)
    return int(found[0])


def _print_json(site: str, history: History, tables: tuple[StudyTable, ...]) -> None:
    document = {
        "site": site,
        "entry": history.head,
        "tables": [
            {"name": t.name, "meaning": t.meaning, "columns": list(t.columns), "rows": [list(row) for row in t.rows]}
            for t in tables
        ],
    }
    json.dump(document, sys.stdout, ensure_ascii=False, allow_nan=False, indent=1)
    sys.stdout.write("\n")


def _print_csv(tables: tuple[StudyTable, ...]) -> None:
    if len(tables) != 1:
        names = ", ".join(table.name for table in tables)
        raise DriftbookError("CSV holds one table.", remedy=f"Say which one: --part NAME, one of {names}.")
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(tables[0].columns)
    writer.writerows(tables[0].rows)


def _text(value: Value) -> str:
    if value is None:
        return "–"
    return f"{value:.4g}".replace("-", "−") if isinstance(value, float) else str(value)


def _print_text(table: StudyTable, *, every: bool) -> None:
    out.print(f"\n[bold]{table.name}[/bold]  {escape(table.meaning)}")
    rows = table.rows if every else table.rows[:_SHOWN]
    if not rows:
        out.print("  nothing")
        return
    if len(table.columns) > _WIDE or table.name == "evidence":
        _print_long(table, rows)
    else:
        grid = Grid(show_edge=False, pad_edge=False)
        for heading, sample in zip(table.columns, rows[0], strict=True):
            grid.add_column(escape(heading), justify="left" if isinstance(sample, str) else "right", overflow="fold")
        for row in rows:
            grid.add_row(*(escape(_text(value)) for value in row))
        out.print(grid)
    if len(rows) < len(table.rows):
        out.print(f"  … and {counted(len(table.rows) - len(rows), 'row')} more (--all)")


def _print_long(table: StudyTable, rows: tuple[tuple[Value, ...], ...]) -> None:
    """Print wide tables as one paragraph a row: a terminal is narrow, and a cut number is no number."""
    for row in rows:
        first, *rest = zip(table.columns, row, strict=True)
        cells = [f"{heading} {_text(value)}" for heading, value in rest if value not in (None, "")]
        out.print(f"  [bold]{escape(_text(first[1]))}[/bold]: " + escape("; ".join(cells)), soft_wrap=True)
