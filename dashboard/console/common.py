"""What several subcommands need: the person, the clock, the book, the site."""

from __future__ import annotations

import argparse
import getpass
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

import sqlalchemy as sa

from dashboard.console.speaking import Out
from dashboard.console.variables import unread
from models.errors import DriftbookError
from models.settings import Settings, read_settings
from models.store.engine import make_engine
from models.store.revision import check_revision

out = Out()
"""Where the command speaks."""


def several(n: int, noun: str) -> str:
    """Write a count with its noun: ``'1 row'``, ``'12 rows'``."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def now() -> datetime:
    """Give the time; the one place where a command looks at the clock."""
    return datetime.now(UTC)


def who(given: argparse.Namespace) -> str:
    """Give the name that goes into the book."""
    if given.by:
        return str(given.by)
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        raise DriftbookError("It is not known who you are.", remedy="Say so: --by NAME.") from None


def _beside(line: str) -> None:
    print(f"driftbook: {line}", file=sys.stderr)  # noqa: T201 - what a command gives goes to the standard output


def settings_of(given: argparse.Namespace, tell: Callable[[str], None] = _beside) -> Settings:
    """Give the settings for what was typed.

    Parameters
    ----------
    given : argparse.Namespace
        What was typed. [unitless]
    tell : callable
        Is told of settings that nothing reads: a misspelt one would be passed over without a word. [unitless]
    """
    for line in unread(os.environ):
        tell(line)
    return read_settings(book=getattr(given, "book", None))


def one_of(plain: str | None, named: str | None, place: str, option: str) -> str | None:
    """Give what was typed in its place or by its option; both are the same, so two that differ are refused.

    Parameters
    ----------
    plain, named : str or None
        What stands in the place, and behind the option. [unitless]
    place, option : str
        How the two are called in the help. [unitless]
    """
    if plain and named and plain != named:
        raise DriftbookError(
            f"{place} and {option} say two things: '{plain}' and '{named}'.", remedy="Give one of them."
        )
    return plain or named


@contextmanager
def opened(settings: Settings, *, unmarked: bool = False) -> Iterator[sa.Engine]:
    """Open a book of the right revision, and close it; ``unmarked`` also takes one whose mark of it is gone."""
    if settings.is_file and not settings.path.exists():
        from models.store.revision import missing

        raise missing(settings)
    try:
        engine = make_engine(settings)
    except ModuleNotFoundError:
        raise DriftbookError(
            "The driver for PostgreSQL is not installed.",
            remedy="Install it: in driftbook's checkout, pip install '.[postgres]'.",
        ) from None
    try:
        try:
            check_revision(settings, engine, unmarked=unmarked)
        except sa.exc.DatabaseError as fault:
            raise DriftbookError(
                f"{settings.shown} cannot be opened as a book: {str(fault.orig).splitlines()[0]}.",
                remedy="Check the path or the address, and that the database server runs.",
            ) from fault
        yield engine
    finally:
        engine.dispose()
