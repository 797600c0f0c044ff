"""The subcommand table: a table of a page as a file."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from urllib.parse import parse_qsl, urlencode

from dashboard.console.common import now, opened, out, settings_of
from dashboard.console.whole import check_new, put_new
from dashboard.files.table_out import TableOut
from dashboard.strict import strictly
from dashboard.words import say
from dashboard.writing import counted
from models.errors import DriftbookError, InvalidValueError
from models.settings import Settings
from models.store.known import site_of

_ELSEWHERE = "-o NAME"

_OF_THE_PAGE = {"list"}
"""Choices of pages that say how many rows are shown; a file has all of them."""


def run_table(given: argparse.Namespace) -> int:
    """Write a table, or list them."""
    from dashboard.files.tables import FORMS, TABLES

    if not given.name:
        for name, make in TABLES.items():
            out.print(
                f"  {name:<18}{(make.__doc__ or '').splitlines()[0].removeprefix('Give ')}",
                markup=False,
                soft_wrap=True,
            )
        return 0
    form, settings = "csv", settings_of(given)
    if given.output:
        form = Path(given.output).suffix.lower().lstrip(".")
        if form not in FORMS:
            raise DriftbookError(
                f"How to write {given.output} is not known by its ending.",
                remedy="Give a name that ends in .csv, .xlsx or .parquet.",
            )
        check_new(Path(given.output), _ELSEWHERE, settings)
    made = _made(settings, given.site, given.name, given.query)
    body = FORMS[form].write(made)
    if not given.output:
        sys.stdout.buffer.write(body)
        sys.stdout.buffer.flush()
        return 0
    put_new(Path(given.output), body, _ELSEWHERE, settings)
    out.print(
        f"Wrote {given.output}: {made.title}; {counted(len(made), 'row')}, {made.window}.", markup=False, soft_wrap=True
    )
    return 0


def _made(settings: Settings, code: str | None, name: str, query: str) -> TableOut:
    from flask import Flask

    from dashboard.context import Context, install
    from dashboard.files.tables import make_table
    from dashboard.picture import patient
    from models.store.reader import Reader

    with opened(settings) as engine:
        if code:
            with engine.connect() as connection:
                site = site_of(connection, code)
            query = urlencode([*((k, v) for k, v in parse_qsl(query.lstrip("?")) if k != "site"), ("site", site.code)])
        # The pages find their book through the application that answers; here it is one without pages.
        server = Flask("driftbook-table")
        install(server, Context(settings, Reader(engine), now))
        typed = _choices(query)
        with server.app_context(), patient(), strictly() as asked:
            made = make_table(name, query)
        unknown = sorted({one for one, _ in typed} - asked - _OF_THE_PAGE)
        if unknown:
            raise InvalidValueError(
                say("files.no_choice", table=name, names=", ".join(unknown)),
                remedy=say("files.no_choice.remedy", known=", ".join(sorted(asked))),
            )
        return made


def _choices(query: str) -> list[tuple[str, str]]:
    """Read the choices that were typed, each once: of two values a file would show one without a word."""
    try:
        typed = parse_qsl(query.lstrip("?"), keep_blank_values=True, strict_parsing=bool(query.lstrip("?")))
    except ValueError:
        typed = None
    if typed is None or len({one for one, _ in typed}) < len(typed):
        raise InvalidValueError(say("files.no_query", asked=query[:80]), remedy=say("files.no_query.remedy"))
    return typed
