"""The subcommand import: find the mapping, show it, import, tell what became of every row."""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.console.common import now, opened, out, settings_of, several, who
from dashboard.console.endings import ASKS, DONE, IN_PART, NOT_GOOD
from dashboard.console.import_mapping import Terminal
from dashboard.console.mending import MendFiles
from models.commands.choice import Choice
from models.commands.choose_mapping import Chooser
from models.commands.import_files import import_files
from models.commands.report import Report, SameVisit, SheetReport, Source
from models.errors import InvalidValueError
from models.intake.fields import Table
from models.intake.fitting import guessed_encoding, is_blank
from models.intake.mapping import outline
from models.intake.problems import Problem, Severity
from models.intake.reading import Sheet, read_sheets
from models.intake.said import Said, likely
from models.intake.template import is_read_me
from models.settings import Settings
from models.store.known import site_of
from models.units import Display
from models.values.story import Site
from models.whole_files import not_written

if TYPE_CHECKING:
    import sqlalchemy as sa

_SHOWN_OF_A_KIND = 8
_BAR_FROM_ROWS = 20_000


def run_import(given: argparse.Namespace) -> int:
    """Import files, or say what has to be confirmed or mended first."""
    # An import multiplies no matrices: the library of arrays, where it is loaded at all, need not start threads for them.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    settings = settings_of(given)
    with opened(settings) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
            chooser = Chooser(
                settings.mappings, site, Terminal(), named=given.mapping or "", confirm=given.confirm,
                looking=given.dry_run,
            )  # fmt: skip
            with _mappings_told(settings):
                choices = _choices(given, chooser)
        if not all(choice.ready for choice in choices):
            return ASKS
        with MendFiles() as mend:
            report = import_with_bar(
                engine,
                site,
                [source for choice in choices for source in choice.sources],
                by=who(given),
                accept_good=given.accept_good,
                dry_run=given.dry_run,
                same_visit=SameVisit(given.same_visit),
                told=[problem for choice in choices for problem in choice.told],
                keep_refused=mend.write,
            )
            mend.keep()
    show_report(report, dry_run=given.dry_run, accept_good=given.accept_good, every=given.all_problems)
    for line in mend.lines:
        out.print(line, markup=False, soft_wrap=True)
    if not report.errors:
        return DONE
    return IN_PART if report.written else NOT_GOOD


@contextmanager
def _mappings_told(settings: Settings) -> Iterator[None]:
    """Say that a mapping cannot be kept, and where else it could be."""
    try:
        yield
    except OSError as fault:
        if Path(fault.filename or "").suffix == ".toml" or fault.filename == str(settings.mappings):
            raise not_written(fault.filename, fault, "DRIFTBOOK_MAPPINGS=FOLDER") from fault
        raise


def _choices(given: argparse.Namespace, chooser: Chooser) -> list[Choice]:
    """Choose for each file how it is read; a file that is named twice is read once."""
    choices = []
    for path in {Path(name).resolve(): Path(name) for name in given.files}.values():
        sheets = read_sheets(path, encoding=given.encoding)
        choice = chooser.choose(path, sheets, said_of(given, path, sheets))
        if not given.encoding:
            choice.told.extend(guess for sheet in sheets if (guess := guessed_encoding(sheet)))
        choices.append(choice)
    return choices


def said_of(given: argparse.Namespace, path: Path, sheets: Sequence[Sheet]) -> dict[str, Said]:
    """Give what is said of a sheet of a file: of the one that is named, else of the only one that is not understood."""
    if not given.holds:
        if given.heading_row is not None or given.sheet is not None:
            raise InvalidValueError(
                "--heading-row and --sheet belong to --holds.", remedy="Say what the sheet holds: --holds jobs"
            )
        return {}
    if len(given.files) > 1:
        raise InvalidValueError(
            "--holds speaks of one file.", remedy="Import the file whose headings are not understood by itself."
        )
    filled = [sheet for sheet in sheets if not is_read_me(sheet) and not is_blank(sheet)]
    named = [sheet for sheet in filled if sheet.name == given.sheet]
    found = named or [sheet for sheet in filled if len(filled) == 1 or outline(sheet, Display()) is None]
    if (given.sheet is not None and not named) or len(found) != 1:
        raise InvalidValueError(
            f"It is not clear which sheet of {path.name} --holds speaks of.",
            remedy=f"Name one: --sheet NAME. Its sheets are: {', '.join(repr(sheet.name) for sheet in filled) or 'none'}.",
        )
    (sheet,) = found
    row = likely(sheet)[1] if given.heading_row is None else given.heading_row
    return {sheet.name: Said(Table(given.holds), row)}


def import_with_bar(
    engine: sa.Engine,
    site: Site,
    sources: Sequence[Source],
    *,
    by: str,
    accept_good: bool = False,
    dry_run: bool = False,
    same_visit: SameVisit = SameVisit.TAKE,
    told: Sequence[Problem] = (),
    keep_refused: Callable[[Report], None] | None = None,
) -> Report:
    """Import, with a bar of progress where it takes long enough to look at one."""
    run = partial(
        import_files, engine, site, sources, by=by, now=now(), accept_good=accept_good, dry_run=dry_run,
        same_visit=same_visit, told=told, keep_refused=keep_refused,
    )  # fmt: skip
    expected = sum(_rows_expected(source) for source in sources)
    if expected < _BAR_FROM_ROWS:
        return run()
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("reading"), BarColumn(), MofNCompleteColumn(), TextColumn("rows"), TimeRemainingColumn())
    with Progress(*columns, console=out.console, transient=True) as bar:
        task = bar.add_task("rows", total=expected)
        return run(progress=lambda rows: bar.advance(task, rows))


def _rows_expected(source: Source) -> int:
    """Estimate the rows of a sheet from the size of the file and of its first rows."""
    if not source.sheet.delimiter:
        return sum(1 for _ in source.sheet.rows())
    body = source.sheet.head[source.mapping.header_row :]
    size = sum(sum(len(str(cell)) + 1 for cell in row) for row in body)
    return int(source.path.stat().st_size * len(body) / size) if size else 0


def show_report(
    report: Report, *, dry_run: bool = False, accept_good: bool = False, every: bool = False, warnings: bool = True
) -> None:
    """Tell what became of the files; ``warnings`` only counts them where it is off."""
    for sheet in report.sheets:
        out.print(_line(sheet, dry_run=dry_run, kept_out=bool(report.errors) and not accept_good))
    _show_problems(report.problems if warnings else report.errors, every=every)
    if not warnings and report.warnings:
        out.print(
            f"{several(len(report.warnings), 'warning')}; driftbook import lists {'it' if len(report.warnings) == 1 else 'them'}."
        )
    if dry_run:
        out.print("This was a dry run: nothing was written.")
    elif report.written:
        out.print(
            f"The book has {several(report.taken, 'new record')}, entries {report.first_entry} to {report.last_entry}."
        )
    elif report.errors and not accept_good:
        out.print(
            f"Nothing was imported: {several(len(report.errors), 'error')}. Mend {'it' if len(report.errors) == 1 else 'them'} and import again, or take the good rows now with --accept-good."
        )
    elif report.refused:
        rest = " The book holds the others already." if any(sheet.unchanged for sheet in report.sheets) else ""
        verb = "was" if report.refused == 1 else "were"
        out.print(f"Nothing new went in: {several(report.refused, 'row')} {verb} refused.{rest}")
    elif any(sheet.unchanged for sheet in report.sheets):
        out.print("The book holds all of it already; nothing changed.")
    else:
        out.print("There is no row to take in these files; nothing changed.")


def _line(sheet: SheetReport, *, dry_run: bool, kept_out: bool) -> str:
    verb = "would go in" if dry_run else "are good" if kept_out else "went in"
    parts = [f"{several(sheet.read, 'row')} of {sheet.table}", f"{sheet.taken} {verb}"]
    if sheet.done is not None:
        parts.append("done " + " to ".join(dict.fromkeys(map(str, sheet.done))))
    if sheet.unchanged:
        parts.append(f"{sheet.unchanged} known already")
    if sheet.left_out:
        parts.append(f"{sheet.left_out} left out (no record)")
    if sheet.doubled:
        parts.append(f"{sheet.doubled} may be a visit that the book or an earlier row holds")
    if sheet.refused:
        parts.append(f"{len(sheet.refused)} refused")
    return f"{sheet.source.name}: " + ", ".join(parts)


def _show_problems(problems: Sequence[Problem], *, every: bool) -> None:
    counts = Counter((problem.severity, problem.code) for problem in problems)
    for severity in Severity:
        shown: Counter[str] = Counter()
        for problem in problems:
            if problem.severity is not severity:
                continue
            shown[problem.code] += 1
            if every or shown[problem.code] <= _SHOWN_OF_A_KIND:
                out.print(f"  {severity}: {problem.place}: {problem.text}", markup=False, soft_wrap=True)
        for (level, code), count in counts.items():
            if level is severity and not every and count > _SHOWN_OF_A_KIND:
                out.print(
                    f"  … and {count - _SHOWN_OF_A_KIND} more of '{code}' (--all-problems lists them)", markup=False
                )
