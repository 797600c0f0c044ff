"""Parsers of the subcommands that keep a book: backup, restore, grants, partition; loaded with the command, so nothing heavy here."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from dashboard.console.typed import file

Verb = Callable[[str, str, str], argparse.ArgumentParser]
"""Makes a parser from a name, what it does, and examples."""


def add_keeping(verb: Verb, book: Callable[[argparse.ArgumentParser], None]) -> None:
    """Add the parsers.

    Parameters
    ----------
    verb : callable
        Makes the parser of a subcommand. [unitless]
    book : callable
        Adds the option that names the book. [unitless]
    """
    parser = verb(
        "backup",
        "copy the book into one file while others write; the copy is taken back once and checked before it gets its name",
        "  driftbook backup\n"
        "  driftbook backup /mnt/safe/plant-2026-11-25.db\n"
        "  driftbook backup --book postgresql://host/plant -o plant.db",
    )
    parser.add_argument(
        "file",
        nargs="?",
        type=file,
        metavar="FILE",
        help="name of the backup (default: NAME-DATE-TIME.backup.db); never overwritten",
    )
    book(parser)
    parser.add_argument("-o", "--output", type=file, metavar="FILE", help="the same")
    parser = verb(
        "restore",
        "make a new book from a backup; a book that is there is never overwritten",
        "  driftbook restore plant-2026-11-25.db --book plant-again.db\n"
        "  driftbook restore plant.db --book postgresql://host/empty",
    )
    parser.add_argument("file", type=file, metavar="FILE", help="a file that 'driftbook backup' made")
    book(parser)
    parser = verb(
        "grants",
        "print the SQL that gives a PostgreSQL role what driftbook needs: no UPDATE or DELETE on history",
        "  driftbook grants --role driftbook_app | psql plant\n"
        "  driftbook grants --role driftbook_app --apply --book postgresql://owner@host/plant\n"
        "  driftbook grants --role driftbook_reader --reads-only | psql plant",
    )
    parser.add_argument("--role", required=True, metavar="NAME", help="the role, which has to be there")
    book(parser)
    parser.add_argument(
        "--apply", action="store_true", help="run them on the book, as its owner, instead of printing them"
    )
    parser.add_argument(
        "--reads-only",
        action="store_true",
        help="only the right to read the history: for a reader of its own; a backup needs more",
    )
    parser = verb(
        "partition",
        "on PostgreSQL: give every site parts of its own in the two long tables, and move the rows that wait for them",
        "  driftbook partition --book postgresql://owner@host/plant",
    )
    book(parser)


def add_running(parser: argparse.ArgumentParser) -> None:
    """Add to serve what an operator needs.

    Parameters
    ----------
    parser : argparse.ArgumentParser
        Parser of the subcommand. [unitless]
    """
    parser.add_argument(
        "--log",
        choices=("quiet", "text", "json"),
        default="quiet",
        help="what is logged on the standard error: events only, or a line for each request too "
        "(but for those of a monitor, and for scripts and styles), as text or as JSON (default: quiet)",
    )
    parser.add_argument("--threads", type=int, default=8, metavar="N", help="requests answered at a time (default: 8)")
