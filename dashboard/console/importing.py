"""The subcommand import: find the mapping, show it, import, tell what became of every row."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.console.common import now, opened, out, settings_of, who
from models.commands.import_files import import_files
from models.commands.report import Report, SheetReport, Source
from models.errors import UnreadableFileError
from models.intake.mapping import FileMapping, fits, from_toml, kept_path, propose, to_toml, with_confirmation
from models.intake.problems import Problem, Severity
from models.intake.reading import Sheet, read_sheets
from models.store.known import site_of
from models.units import Display
from models.values.story import Site

if TYPE_CHECKING:
    import sqlalchemy as sa

_SHOWN_OF_A_KIND = 8
_BAR_FROM_ROWS = 20_000


def run_import(given: argparse.Namespace) -> int:
    """Import files, or say what has to be confirmed or mended first."""
    settings = settings_of(given)
    with opened(settings) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        sources: list[Source] = []
        waiting = False
        for name in given.files:
            path = Path(name)
            sheets = read_sheets(path, encoding=given.encoding)
            mapping, ready = _mapping_for(path, sheets, settings.mappings, site.display, given)
            waiting = waiting or not ready
            by_name = {sheet.name: sheet for sheet in sheets}
            sources.extend(Source(by_name[m.sheet], m) for m in mapping.sheets if m.sheet in by_name)
        if waiting:
            return 3
        report = import_with_bar(
            engine, site, sources, by=who(given), accept_good=given.accept_good, dry_run=given.dry_run
        )
    show_report(report, dry_run=given.dry_run, accept_good=given.accept_good, every=given.all_problems)
    if report.written and report.errors:
        _write_back(report)
    return 1 if report.errors else 0


def import_with_bar(
    engine: sa.Engine,
    site: Site,
    sources: Sequence[Source],
    *,
    by: str,
    accept_good: bool = False,
    dry_run: bool = False,
) -> Report:
    """Import, with a bar of progress where it takes long enough to look at one."""
    expected = sum(_rows_expected(source) for source in sources)
    if expected < _BAR_FROM_ROWS:
        return import_files(engine, site, sources, by=by, now=now(), accept_good=accept_good, dry_run=dry_run)
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("reading"), BarColumn(), MofNCompleteColumn(), TextColumn("rows"), TimeRemainingColumn())
    with Progress(*columns, console=out.console, transient=True) as bar:
        task = bar.add_task("rows", total=expected)
        return import_files(
            engine,
            site,
            sources,
            by=by,
            now=now(),
            accept_good=accept_good,
            dry_run=dry_run,
            progress=lambda rows: bar.advance(task, rows),
        )


def _rows_expected(source: Source) -> int:
    """Estimate the rows of a sheet from the size of the file and of its first rows."""
    if not source.sheet.delimiter:
        return sum(1 for _ in source.sheet.rows())
    body = source.sheet.head[source.mapping.header_row :]
    size = sum(sum(len(str(cell)) + 1 for cell in row) for row in body)
    return int(source.path.stat().st_size * len(body) / size) if size else 0


def _mapping_for(
    path: Path, sheets: Sequence[Sheet], folder: Path, display: Display, given: argparse.Namespace
) -> tuple[FileMapping, bool]:
    if given.mapping:
        chosen = Path(given.mapping)
        if not chosen.is_file():
            raise UnreadableFileError(
                f"There is no mapping {chosen}.", remedy="Leave --mapping out: a new one is proposed."
            )
        mapping = from_toml(chosen.read_text(encoding="utf-8"), chosen)
        if not fits(mapping, sheets):
            raise UnreadableFileError(
                f"The mapping {chosen} was made for other headings than those of {path.name}.",
                remedy="Leave --mapping out: a new one is proposed.",
            )
        return _ready_or_not(mapping, path, chosen, given)
    proposed = propose(sheets, display)
    if proposed.is_template:
        return proposed, True
    for kept in sorted(folder.glob("*.toml")):
        mapping = from_toml(kept.read_text(encoding="utf-8"), kept)
        if fits(mapping, sheets):
            return _ready_or_not(mapping, path, kept, given)
    if not proposed.sheets:
        raise UnreadableFileError(
            f"In {path.name} there is no row of headings that looks like machines, jobs, people, instruments or replacements.",
            remedy="A sheet of jobs needs at least a tag, a date and one as-found or as-left column. See: driftbook template",
        )
    folder.mkdir(parents=True, exist_ok=True)
    place = kept_path(folder, proposed, path)
    place.write_text(to_toml(proposed, path.name), encoding="utf-8")
    out.print(f"[bold]{path.name}[/bold] is not the template, so this is how it would be read:")
    return _ready_or_not(proposed, path, place, given)


def _ready_or_not(mapping: FileMapping, path: Path, place: Path, given: argparse.Namespace) -> tuple[FileMapping, bool]:
    if mapping.confirmed:
        out.print(f"{path.name} is read by the confirmed mapping {place}.")
        return mapping, True
    show_mapping(mapping)
    if given.confirm:
        mapping = with_confirmation(mapping)
        text = place.read_text(encoding="utf-8").replace("confirmed = false", "confirmed = true", 1)
        place.write_text(text, encoding="utf-8")
        out.print(f"Confirmed; kept in {place} for every later file with these headings.")
        return mapping, True
    out.print(
        f"\nNothing was imported yet. Look through [bold]{place}[/bold], correct what is wrong, set confirmed = true,"
    )
    out.print("and run the same command again. If all of it is right as it stands, add --confirm.")
    return mapping, False


def show_mapping(mapping: FileMapping) -> None:
    """Show a mapping as a table with sample values."""
    from rich.markup import escape
    from rich.table import Table as Grid

    for sheet in mapping.sheets:
        title = f"{sheet.sheet or 'rows'}: {sheet.table}, headings in row {sheet.header_row}, dates {sheet.order}, decimal sign '{sheet.decimal}'"
        grid = Grid(title=title, title_justify="left", title_style="", show_edge=False, pad_edge=False)
        for heading in ("column", "is", "in", "samples"):
            grid.add_column(heading, overflow="fold")
        for column in sheet.columns:
            if not column.heading and not column.samples:
                continue
            name = "" if column.field is None else column.field.heading
            if column.field is not None and column.field.table is not sheet.table:
                name = f"{name} (of the machine)"
            grid.add_row(
                escape(column.heading), name or "[dim]left out[/dim]", column.unit, escape(" | ".join(column.samples))
            )
        out.print(grid)
        for word, meaning in sheet.words.items():
            shown = meaning or "… [bold]say what, in the mapping[/bold]"
            out.print(f"  '{escape(word)}' means {shown}")
        out.print()


def show_report(
    report: Report, *, dry_run: bool = False, accept_good: bool = False, every: bool = False, warnings: bool = True
) -> None:
    """Tell what became of the files; ``warnings`` only counts them where it is off."""
    for sheet in report.sheets:
        out.print(_line(sheet, dry_run=dry_run, kept_out=bool(report.errors) and not accept_good))
    _show_problems(report.problems if warnings else report.errors, every=every)
    if not warnings and report.warnings:
        out.print(f"{len(report.warnings)} warnings; driftbook import lists them.")
    if dry_run:
        out.print("This was a dry run: nothing was written.")
    elif report.written:
        out.print(f"The book has {report.taken} new records, entries {report.first_entry} to {report.last_entry}.")
    elif report.errors and not accept_good:
        out.print(
            f"Nothing was imported: {len(report.errors)} errors. Mend them and import again, or take the good rows now with --accept-good."
        )
    else:
        out.print("The book holds all of it already; nothing changed.")


def _line(sheet: SheetReport, *, dry_run: bool, kept_out: bool) -> str:
    name = sheet.source.path.name + (f" › {sheet.source.mapping.sheet}" if sheet.source.mapping.sheet else "")
    verb = "would go in" if dry_run else "are good" if kept_out else "went in"
    parts = [f"{sheet.read} rows of {sheet.table}", f"{sheet.taken} {verb}"]
    if sheet.unchanged:
        parts.append(f"{sheet.unchanged} known already")
    if sheet.left_out:
        parts.append(f"{sheet.left_out} left out (no record)")
    if sheet.refused:
        parts.append(f"{len(sheet.refused)} refused")
    return f"{name}: " + ", ".join(parts)


def _show_problems(problems: Sequence[Problem], *, every: bool) -> None:
    counts = Counter((problem.severity, problem.code) for problem in problems)
    for severity in (Severity.ERROR, Severity.WARNING):
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


def _write_back(report: Report) -> None:
    from models.intake.mend import Bad, mend_path, write_mend  # where rows come back, and only there

    by_file: dict[Path, list[SheetReport]] = {}
    for sheet in report.sheets:
        if sheet.refused:
            by_file.setdefault(sheet.source.path, []).append(sheet)
    for path, sheets in by_file.items():
        place = mend_path(path)
        bad = [Bad(sheet.source.mapping, [(row.cells, row.why) for row in sheet.refused]) for sheet in sheets]
        write_mend(place, bad, delimiter=sheets[0].source.sheet.delimiter)
        count = sum(len(sheet.refused) for sheet in sheets)
        out.print(f"{count} rows came back in {place}; mend them there and import that file.")
