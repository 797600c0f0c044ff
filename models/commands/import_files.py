"""Import: files go in whole, or with their good rows, or not at all.

One transaction for all files of a call.  Rows are checked as they are read
and written in batches; at the first error the writing stops (unless the good
rows are wanted) and the looking goes on, so that every problem is reported;
then everything is rolled back.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from itertools import dropwhile, islice

import sqlalchemy as sa

from models.commands.import_columns import JobColumns
from models.commands.import_jobs import Pending
from models.commands.import_order import Look
from models.commands.import_things import File, Progress
from models.commands.plain_columns import ColumnLane
from models.commands.plain_jobs import PlainLane
from models.commands.report import Report, SheetReport, Source
from models.intake.blocks import chunks
from models.intake.fields import Table
from models.intake.problems import Code, Severity
from models.intake.reading import Cell, CutRow, digest
from models.intake.rows import RowReader
from models.store.unit import writing
from models.tables.base import canonical_json
from models.tables.book import ImportedFileRow
from models.values.story import Site

BATCH = 5_000
"""Rows that are judged and written together; enough to make the parts around them cheap."""

CHUNK = 8_000
"""Rows of a large file that are read as columns at once; more of them take memory and bring nothing."""

COLUMNS_FROM = 500
"""From how many expected rows on a file of jobs is read as columns."""

PLAIN_LANE = True
"""Whether plain rows take the short way; a test switches it off to compare."""

_CUT = "a row in which the file breaks off: it did not come whole"

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
    progress: Progress | None = None,
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
    progress : callable, optional
        Told the number of rows read since it was last told. [unitless]

    Returns
    -------
    Report
        Counts, problems and refused rows; ``written`` says whether the book changed.
    """
    report = Report()
    try:
        with _uncollected(), writing(engine, site.site_id, by, now, rehearse=dry_run) as unit:
            work = _Import(
                unit, site, report, accept_good=accept_good, looking=dry_run, progress=progress or (lambda _rows: None)
            )
            first = unit.next_number
            unit.expect(sum(source.expected for source in sources))
            for table in _ORDER:
                for source in sources:
                    if source.mapping.table is table:
                        work.run(source)
            work.close()
            report.problems.sort(key=lambda p: (p.file, p.sheet, p.row, p.column))
            if dry_run or report.taken == 0 or (report.errors and not accept_good):
                raise _NothingToKeepError  # noqa: TRY301 - it rolls the transaction back on its way out
            report.first_entry, report.last_entry = first, unit.next_number - 1
    except _NothingToKeepError:
        return report
    report.written = True
    return report


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


class _Import(JobColumns):
    """One import while it runs: its sheets."""

    # -- a sheet ----------------------------------------------------------------------------------------------

    def run(self, source: Source) -> None:
        """Read one sheet from its heading down."""
        sheet = SheetReport(source)
        self.report.sheets.append(sheet)
        file = self.files.setdefault(str(source.path), File(source))
        file.sheets.append(sheet)
        reader = RowReader(source.mapping, source.path.name, self.known.zone)
        lane = PlainLane(reader, self.known, self.versions.__contains__, self.knows_instrument)
        look = self._looker(reader, lane if lane.usable and PLAIN_LANE else None, sheet, file)
        after = source.mapping.header_row
        if lane.usable and source.sheet.delimiter and source.expected >= COLUMNS_FROM:
            columns = ColumnLane(lane)
            for chunk in chunks(source.sheet, after, CHUNK):
                before = sheet.read
                self._chunk(reader, columns, chunk, look, sheet, file)
                self.progress(sheet.read - before)
        else:
            rows = dropwhile(lambda numbered: numbered[0] <= after, source.sheet.rows())
            while batch := list(islice(rows, BATCH)):
                before = sheet.read
                self._write(reader, [p for number, cells in batch if (p := look(number, cells))], sheet, file)
                self.progress(sheet.read - before)
        sheet.refused.sort(key=lambda refused: refused.row)

    def _looker(self, reader: RowReader, lane: PlainLane | None, sheet: SheetReport, file: File) -> Look:
        """Give what takes one row in: a job that waits for its batch comes back, anything else is settled."""
        take = {
            Table.ASSETS: self._asset,
            Table.BREAKS: self._break,
            Table.INSTRUMENTS: self._instrument,
            Table.PEOPLE: self._person,
        }.get(sheet.source.mapping.table)
        plain = None if lane is None else lane.read

        def look(number: int, cells: Sequence[Cell]) -> Pending | None:
            if plain is not None and (found := plain(cells)) and (quick := self._plain(number, cells, found)):
                sheet.read += 1
                return quick
            row = reader.read(number, cells)
            if row is None:
                return None
            sheet.read += 1
            if isinstance(cells, CutRow):
                row.problems.append(reader.problem(row, "", Code.CUT_SHORT, Severity.ERROR, _CUT, "a whole file"))
            elif row.is_total:
                sheet.left_out += 1
                self.report.problems.extend(row.problems)
                return None
            elif take is not None:
                take(reader, row, sheet, file)
            elif (pending := self._job(reader, row, cells)) is not None:
                return pending
            self._settle(row, cells, sheet)
            return None

        return look

    def close(self) -> None:
        """Write what is left, and what became of each file."""
        for file in self.files.values():
            if file.entry is None:
                continue
            mapping = {sheet.source.mapping.sheet: _mapping_note(sheet.source) for sheet in file.sheets}
            self.unit.add(
                ImportedFileRow,
                (
                    file.entry,
                    self.site.site_id,
                    file.source.path.name,
                    digest(file.source.path),
                    sum(sheet.read for sheet in file.sheets),
                    sum(sheet.taken for sheet in file.sheets),
                    sum(len(sheet.refused) for sheet in file.sheets),
                    canonical_json(mapping),
                ),
            )
        self._flush()


def _mapping_note(source: Source) -> dict[str, object]:
    """Keep with the file how it was read: an auditor must be able to read it the same way again."""
    mapping = source.mapping
    return {
        "holds": str(mapping.table),
        "header_row": mapping.header_row,
        "decimal": str(mapping.decimal),
        "dates": str(mapping.order),
        "encoding": source.sheet.encoding,
        "delimiter": source.sheet.delimiter,
        "columns": [
            [c.heading, f"{c.field.table}.{c.field.key}" if c.field else "", c.unit, c.times] for c in mapping.columns
        ],
        "words": dict(mapping.words),
    }
