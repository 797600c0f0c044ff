"""Import: files go in whole, or with their good rows, or not at all.

One transaction for all files of a call.  Rows are checked as they are read
and written in batches; at the first error the writing stops (unless the good
rows are wanted) and the looking goes on, so that every problem is reported;
then everything is rolled back.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING

from models.commands.import_dates import decided
from models.commands.import_sheets import Sheets, is_large
from models.commands.import_things import Progress
from models.commands.report import Report, SameVisit, Source
from models.errors import UnreadableFileError
from models.intake.fields import Table
from models.intake.problems import Problem
from models.store.unit import writing
from models.values.story import Site

if TYPE_CHECKING:
    import sqlalchemy as sa

_ORDER = (Table.PEOPLE, Table.INSTRUMENTS, Table.ASSETS, Table.BREAKS, Table.JOBS)


class _NothingToKeepError(Exception):
    """Rolls the transaction back when the book is to stay as it was."""


def import_files(
    engine: sa.Engine,
    site: Site,
    sources: Sequence[Source],
    *,
    by: str,
    now: datetime,
    accept_good: bool = False,
    dry_run: bool = False,
    same_visit: SameVisit = SameVisit.TAKE,
    progress: Progress | None = None,
    told: Sequence[Problem] = (),
    keep_refused: Callable[[Report], None] | None = None,
) -> Report:
    """Import sheets into the book.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        Site that the files belong to. [unitless]
    sources : sequence of Source
        Sheets with confirmed mappings. [unitless]
    by : str
        Who imports. [unitless]
    now : datetime
        Aware moment of the import. [unitless]
    accept_good : bool
        Keep the good rows although others are refused. [unitless]
    dry_run : bool
        Only look: nothing is written. [unitless]
    same_visit : SameVisit
        What becomes of rows that may be visits that the book holds under other numbers. [unitless]
    progress : callable, optional
        Told the number of rows read since it was last told. [unitless]
    told : sequence of Problem
        What is known of the files already; it stands in the report with the rest. [unitless]
    keep_refused : callable, optional
        Keeps the rows that good ones leave behind, before these are in the book: where it fails nothing goes in. [unitless]

    Returns
    -------
    Report
        Counts, problems and refused rows; ``written`` says whether the book changed.

    Raises
    ------
    UnreadableFileError
        If a file cannot be read to its end, or was changed while it was read, or a column of it waits for an answer.
    """
    _refuse_open(sources)
    report = Report(problems=list(told))
    sources = decided(sources, now.date())
    try:
        with _uncollected(), writing(engine, site.site_id, by, now, rehearse=dry_run) as unit:
            work = _kind(sources)(
                unit, site, report, accept_good=accept_good, looking=dry_run, same_visit=same_visit,
                progress=progress or (lambda _rows: None),
            )  # fmt: skip
            first = unit.next_number
            unit.expect(sum(source.expected for source in sources))
            for table in _ORDER:
                if table is Table.JOBS:
                    work.look_ahead([source for source in sources if source.mapping.table is table])
                for source in sources:
                    if source.mapping.table is table:
                        work.run(source)
            work.close()
            report.problems.sort(key=lambda p: (p.file, p.sheet, p.row, p.column))
            unsaid = same_visit is SameVisit.ASK and report.doubled
            if dry_run or unsaid or (report.errors and not accept_good):
                raise _NothingToKeepError  # noqa: TRY301 - it rolls the transaction back on its way out
            if report.refused and keep_refused is not None:
                keep_refused(report)
            if report.taken == 0:
                raise _NothingToKeepError  # noqa: TRY301 - as above
            report.first_entry, report.last_entry = first, unit.next_number - 1
    except _NothingToKeepError:
        return report
    report.written = True
    return report


def _refuse_open(sources: Sequence[Source]) -> None:
    """Refuse sheets of which something was not answered yet: what is only guessed is never read."""
    asked = [f"{source.path.name}, {told}" for source in sources for told in source.mapping.questions]
    if asked:
        more = f" More questions wait: {len(asked) - 1}." if len(asked) > 1 else ""
        raise UnreadableFileError(
            f"Nothing was imported. {asked[0]}.{more}",
            remedy="Say it on the page beside the column, or in the mapping in place of each '?'.",
        )


def _kind(sources: Sequence[Source]) -> type[Sheets]:
    """Give what imports these sheets."""
    if not any(map(is_large, sources)):
        return Sheets
    # Only here: loading the library of arrays takes as long as importing a thousand rows or two.
    from models.commands.import_large import LargeSheets

    return LargeSheets


@contextmanager
def _uncollected() -> Iterator[None]:
    """Keep the collector of circles still: an import makes millions of rows and no circle, and is searched in vain again and again."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
