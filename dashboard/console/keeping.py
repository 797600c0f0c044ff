"""The subcommands backup, restore, grants and partition."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable
from pathlib import Path
from urllib.parse import quote

from dashboard.console.common import now, one_of, opened, out, settings_of
from dashboard.console.key_file import tell_new_place
from dashboard.words import say
from dashboard.writing import counted
from models.commands.backup import back_up
from models.commands.restore import IN_PLACE_OF, restore
from models.store.backup import Copied
from models.store.partitions import settle
from models.store.roles import PUBLIC, give, grants, schema_of
from models.store.signing import key_fault


def run_backup(given: argparse.Namespace) -> int:
    """Make a backup and say what it holds."""
    settings = settings_of(given)
    name = settings.named.stem if settings.is_file else "driftbook"
    target = Path(
        one_of(given.file, given.output, "FILE", "--output") or f"{name}-{now().astimezone():%Y%m%d-%H%M%S}.backup.db"
    )
    with opened(settings) as engine:
        made = back_up(settings, engine, target)
        fault = key_fault(engine, settings.key_path)
    out.print(f"Wrote {made.path}, {made.size / 1e6:.1f} MB; it was taken back once and is whole.", soft_wrap=True)
    _show(made.copied)
    if fault is not None:
        told = say("backup.key.wrong", fault=fault) if fault else say("backup.key.right", path=settings.key_path)
        out.print(told, markup=False, soft_wrap=True)
    return 0


def run_restore(given: argparse.Namespace) -> int:
    """Take a backup back into a new book."""
    settings = settings_of(given)
    copied = restore(Path(given.file), settings)
    out.print(f"The book {settings.shown} was made from {given.file}.", soft_wrap=True)
    if copied is None:
        out.print(
            f"It was written by an older version. Type: driftbook upgrade --book {settings.shown}", soft_wrap=True
        )
        out.print(say("key.file.later", path=settings.key_path), markup=False, soft_wrap=True)
    else:
        _show(copied)
        tell_new_place(settings)
    if settings.is_file:
        out.print(IN_PLACE_OF, soft_wrap=True)
    return 0


def run_grants(given: argparse.Namespace) -> int:
    """Print the rights that a role of PostgreSQL needs, or give them."""
    next(grants(given.role))  # a name that is none is refused before a server is asked for anything
    settings = settings_of(given)
    if not given.apply and (settings.is_file or not given.book):
        _print_grants(grants(given.role, reads_only=given.reads_only))
        return 0
    with opened(settings) as engine:
        schema = schema_of(engine)
        lines = list(grants(given.role, reads_only=given.reads_only, schema=schema))
        if given.apply:
            give(engine, lines)
    if not given.apply:
        _print_grants(lines)
        return 0
    out.print(f"The role {given.role} has its rights in {settings.shown}.", soft_wrap=True)
    if schema != PUBLIC:
        out.print(say("grants.schema", schema=schema, typed=_typed(schema)), markup=False, soft_wrap=True)
    return 0


def _typed(schema: str) -> str:
    """Give a schema as it is typed into the options of an address: in quotes where it needs them; the server cuts options at blanks and takes a backslash off."""
    doubled = schema.replace('"', '""')
    named = schema if re.fullmatch("[a-z_][a-z0-9_]*", schema) else f'"{doubled}"'
    return quote(re.sub(r"([\s\\])", r"\\\1", named), safe="")


def _print_grants(lines: Iterable[str]) -> None:
    for line in lines:
        print(line)  # noqa: T201 - plain text for psql, with no width of a screen


def run_partition(given: argparse.Namespace) -> int:
    """Give every site its parts, and say what was moved."""
    settings = settings_of(given)
    with opened(settings) as engine:
        done = settle(engine)
    if not done.sites:
        out.print(f"Every site of {settings.shown} has its parts already; nothing was changed.", soft_wrap=True)
        return 0
    out.print(
        f"Parts of their own in {settings.shown}: {counted(len(done.sites), 'site')}; moved into them: {counted(done.moved, 'row')}.",
        soft_wrap=True,
    )
    return 0


def _show(copied: Copied) -> None:
    checked = copied.checked
    out.print(f"It holds {checked.entries} entries, every one held against its statement; the head:", soft_wrap=True)
    if checked.unsealed:
        out.print(f"({checked.unsealed} of them have no statement yet: driftbook upgrade makes them.)", soft_wrap=True)
    out.print(copied.head.strip() or "(none)", markup=False, soft_wrap=True)
