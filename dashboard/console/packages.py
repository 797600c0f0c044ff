"""The subcommands export, take-in and move: whole books out, in, and to another engine."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Self

from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from dashboard.console.common import now, opened, out, settings_of
from dashboard.console.key_file import bring_key, tell_grants, tell_new_place
from models.commands.export_book import export_book
from models.commands.take_in import move_book, take_in
from models.errors import ConflictError, DriftbookError
from models.settings import Settings, read_address, read_settings
from models.store.copying import Checked
from models.store.growth import newest
from models.store.own_files import refuse_own


def run_export(given: argparse.Namespace) -> int:
    """Write the whole book as a data package."""
    from dashboard.version import program_version

    settings, path = settings_of(given), Path(given.path)
    refuse_own(settings, path)
    with opened(settings) as engine, _bar() as tick:
        written = export_book(engine, path, version=program_version(), now=now(), tick=tick.told)
    rows = sum(written.rows.values())
    out.print(
        f"Wrote {written.path}: {len(written.rows)} tables, {rows} rows, up to entry {written.head}.",
        soft_wrap=True,
        markup=False,
    )
    if written.root is not None:
        out.print(f"Head of the book: {written.root.hex()}", soft_wrap=True)
    out.print(
        "Secrets, sessions and tokens are not in it, nor the private key of the book. "
        "Back into an empty book: driftbook take-in PACKAGE --book ADDRESS",
        soft_wrap=True,
    )
    return 0


def run_take_in(given: argparse.Namespace) -> int:
    """Take a data package into an empty book."""
    settings = settings_of(given)
    with _driver(), _bar() as tick:
        checked = take_in(settings, Path(given.path), tick=tick.told)
    _say_checked(settings, checked)
    if checked.heads:
        out.print("The private key of the book is not in a package.", soft_wrap=True)
    tell_new_place(settings)
    return 0


def run_move(given: argparse.Namespace) -> int:
    """Copy a book to another address."""
    source, target = settings_of(given), read_settings(book=read_address(given.to, "--to"))
    if source.url == target.url:
        raise ConflictError("The book is there already.", remedy="Give another address: --to ADDRESS.")
    with opened(source) as engine, _driver(), _bar() as tick:
        checked = move_book(engine, target, tick=tick.told)
        tick.end()
        _say_checked(target, checked)
        bring_key(engine, source, target)
        with engine.connect() as connection:
            later = newest(connection) - checked.entries
        if later > 0:
            out.print(
                f"Meanwhile {later:,} more {'entry' if later == 1 else 'entries'} went into {source.shown}, and the new book lacks them: somebody still writes there. "
                "Stop its server, take the new book away, and move it again.",
                soft_wrap=True,
                markup=False,
            )
    if source.mappings.is_dir() and source.mappings != target.mappings:
        out.print(
            f"Confirmed mappings stay in {source.mappings}: copy the folder to {target.mappings}, or name it with DRIFTBOOK_MAPPINGS.",
            soft_wrap=True,
            markup=False,
        )
    tell_grants(target)
    out.print(
        f"The book at {source.shown} is as it was. Put it away, so that nobody goes on writing into it.",
        soft_wrap=True,
        markup=False,
    )
    return 0


def _say_checked(settings: Settings, checked: Checked) -> None:
    sealed = f"{checked.entries - checked.unsealed} of {checked.entries} entries fit their statements"
    heads = f"{checked.heads} heads fit the tree, {checked.signed} of them signed"
    out.print(
        f"The book {settings.shown} holds {checked.entries} entries. {sealed}; {heads}.", soft_wrap=True, markup=False
    )
    if checked.root is not None:
        out.print(f"Head of the book: {checked.root.hex()}", soft_wrap=True)


class _driver:  # noqa: N801 - used as a context, like those of contextlib
    """Says in words that the driver for PostgreSQL is missing."""

    def __enter__(self) -> None:
        """Do nothing."""

    def __exit__(self, kind: object, fault: BaseException | None, trace: object) -> None:
        """Turn a missing driver into words."""
        if isinstance(fault, ModuleNotFoundError) and "psycopg" in str(fault):
            raise DriftbookError(
                "The driver for PostgreSQL is not installed.",
                remedy="Install it: in driftbook's checkout, pip install '.[postgres]'.",
            ) from None


class _bar:  # noqa: N801 - the same
    """Shows which table is done, on a terminal only."""

    def __init__(self) -> None:
        self._progress = Progress(
            SpinnerColumn(), TextColumn("{task.description}", markup=False), TimeElapsedColumn(), console=out.console, transient=True,
            disable=not out.is_terminal,
        )  # fmt: skip
        self._task = self._progress.add_task("reading")

    def __enter__(self) -> Self:
        """Begin to show."""
        self._progress.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Take it away."""
        self._progress.stop()

    def end(self) -> None:
        """Take it away before its time, so that what is printed is not written over."""
        self._progress.stop()

    def told(self, table: str, rows: int) -> None:
        """Say that a table is done."""
        self._progress.update(self._task, description=f"{table}: {rows} rows")
