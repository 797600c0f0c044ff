"""Parsers of the subcommands that write or read whole files: table, calendar, export, take-in, move."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from dashboard.console.typed import file

if TYPE_CHECKING:
    Verbs = argparse._SubParsersAction[argparse.ArgumentParser]  # noqa: SLF001 - the only name that argparse gives it
    Verb = Callable[[Verbs, str, str, str], argparse.ArgumentParser]
    Add = Callable[[argparse.ArgumentParser], None]

RUNS = {
    "table": ("tables_out", "run_table"),
    "calendar": ("calendars", "run_calendar"),
    "export": ("packages", "run_export"),
    "take-in": ("packages", "run_take_in"),
    "move": ("packages", "run_move"),
}
"""Where each of them lives in ``dashboard.console``."""


def add(verbs: Verbs, verb: Verb, book: Add) -> None:
    """Add the parsers.

    Parameters
    ----------
    verbs : object
        What argparse adds subcommands to. [unitless]
    verb : callable
        Makes a parser out of name, what it does and examples. [unitless]
    book : callable
        Adds the option ``--book``. [unitless]
    """
    _table(verbs, verb, book)
    _calendar(verbs, verb, book)
    _export(verbs, verb, book)
    _take_in(verbs, verb, book)
    _move(verbs, verb, book)


def _site(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--site", metavar="CODE", help="which site, where the book holds several")


def _table(verbs: Verbs, verb: Verb, book: Add) -> None:
    parser = verb(
        verbs,
        "table",
        "write a table of a page as CSV, XLSX or Parquet",
        "  driftbook table                                 lists the tables\n"
        "  driftbook table due -o due.xlsx\n"
        "  driftbook table month-classes --query month=2026-10\n"
        '  driftbook table asset-jobs --query "asset=SI-P-101A&units=mil" -o jobs.parquet',
    )
    parser.add_argument("name", nargs="?", metavar="NAME", help="which table; without a name they are listed")
    book(parser)
    _site(parser)
    parser.add_argument("--query", default="", metavar="QUERY", help="choices as they stand in the address of the page")
    parser.add_argument(
        "-o",
        "--output",
        type=file,
        metavar="FILE",
        help="where to; its ending .csv, .xlsx or .parquet says how (default: CSV to the screen)",
    )


def _calendar(verbs: Verbs, verb: Verb, book: Add) -> None:
    parser = verb(
        verbs,
        "calendar",
        "write the dates of the next checks as a calendar file, or make and end secret addresses of it",
        "  driftbook calendar -o checks.ics\n"
        "  driftbook calendar --by rule -o checks.ics\n"
        "  driftbook calendar address ana.wick            makes an address for an account; it is shown once\n"
        "  driftbook calendar end ana.wick                her addresses stop working\n"
        "  driftbook calendar list",
    )
    parser.add_argument(
        "act",
        nargs="?",
        choices=("write", "address", "end", "list"),
        default="write",
        help="what to do (default: write the file)",
    )
    parser.add_argument(
        "name",
        nargs="?",
        metavar="NAME",
        help="whose address: the login of an account; in a book without accounts any name",
    )
    book(parser)
    _site(parser)
    parser.add_argument("-o", "--output", type=file, metavar="FILE", help="where to (default: the screen)")
    parser.add_argument("--by", choices=("risk", "rule"), default="risk", help="what the dates go by (default: risk)")
    parser.add_argument(
        "--risk", type=int, choices=(5, 10, 20), default=10, help="accepted risk in per cent (default: 10)"
    )


def _export(verbs: Verbs, verb: Verb, book: Add) -> None:
    parser = verb(
        verbs,
        "export",
        "write the whole book as an open data package: a CSV and a description for every table",
        "  driftbook export plant-2026-11.zip\n  driftbook export plant-2026-11          as a folder",
    )
    parser.add_argument("path", type=file, metavar="FOLDER|FILE.zip", help="where to; it must not be there yet")
    book(parser)


def _take_in(verbs: Verbs, verb: Verb, book: Add) -> None:
    parser = verb(
        verbs,
        "take-in",
        "take a data package in, into a new book on either engine, with the same entries, heads and verdicts",
        "  driftbook take-in plant-2026-11.zip --book copy.db\n"
        "  driftbook take-in plant-2026-11.zip --book postgresql://host/plant",
    )
    parser.add_argument(
        "path", type=file, metavar="PACKAGE", help="the folder or ZIP file that 'driftbook export' wrote"
    )
    book(parser)


def _move(verbs: Verbs, verb: Verb, book: Add) -> None:
    parser = verb(
        verbs,
        "move",
        "copy a book to another address, from SQLite to PostgreSQL or back, with accounts and tokens",
        "  driftbook move --book plant.db --to postgresql://host/plant\n"
        "  driftbook move --book postgresql://host/plant --to plant.db",
    )
    book(parser)
    parser.add_argument("--to", required=True, metavar="PATH|URL", help="the new address; no book may be there yet")
