"""Sheets of an import: rows are read, what is plain the short way, and what became of each file is kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import islice
from typing import TYPE_CHECKING

from models.commands.import_jobs import JobRows
from models.commands.import_things import File
from models.commands.noticed import Noticed
from models.commands.pending import Pending
from models.commands.plain_jobs import PlainLane
from models.commands.report import SheetReport, Source
from models.errors import UnreadableFileError
from models.intake import merged
from models.intake.between import names_of
from models.intake.fields import Table
from models.intake.mapping import SheetMapping
from models.intake.other_lists import HEADINGS_AGAIN, refuse_other_headings, say_headings_again
from models.intake.own_table import OwnVersions, own_versions
from models.intake.problems import Code, Severity
from models.intake.reading import Cell, CutRow, digest
from models.intake.rows import RowReader
from models.intake.units_below import names_in
from models.tables.base import canonical_json
from models.tables.book import ImportedFileRow

if TYPE_CHECKING:
    from models.commands.import_order import Look

BATCH = 5_000
"""Rows that are judged and written together; enough to make the parts around them cheap."""

CHUNK = 8_000
"""Rows of a large file that are read as columns at once; more of them take memory and bring nothing."""

COLUMNS_FROM = 1_500
"""From how many expected rows on a file of jobs is read as columns: there they make up for loading the library of arrays."""

PLAIN_LANE = True
"""Whether plain rows take the short way; a test switches it off to compare."""

_CUT = "a row in which the file breaks off: it did not come whole"


def is_large(source: Source) -> bool:
    """Tell whether a sheet holds so many jobs that they are read as columns; only text files are."""
    return bool(source.sheet.delimiter) and source.mapping.table is Table.JOBS and source.expected >= COLUMNS_FROM


class Sheets(JobRows):
    """One import while it runs: its sheets."""

    def run(self, source: Source) -> None:
        """Read one sheet from its heading down."""
        self.starts.append(len(self.seen.refs()))
        row = source.mapping.header_row
        headings = names_in(source.sheet, row, source.mapping.table) if row <= len(source.sheet.head) else None
        reader = RowReader(
            source.mapping, source.path.name, self.known.zone, headings=headings, now=self.known.now,
            knows=self._knower(source.mapping.table), is_spelled_so=names_of(source.sheet, source.mapping),
        )  # fmt: skip
        sheet = SheetReport(source, Noticed(reader))
        self.report.sheets.append(sheet)
        file = self.files.setdefault(str(source.path), File(source))
        file.sheets.append(sheet)
        lane = PlainLane(reader, self.known, self.in_service, self.knows_instrument)
        # Not every row of the program's own table of jobs counts: they go one by one.
        self.report.problems.extend(merged.told(source.sheet, source.mapping))
        own = own_versions(headings) if source.mapping.table is Table.JOBS else None
        usable = lane.usable and own is None
        look = self._looker(reader, lane if usable and PLAIN_LANE else None, own, sheet, file)
        if usable and is_large(source):
            self._many(reader, lane, look, sheet, file)
        else:
            self._each(reader, look, sheet, file)
        sheet.refused.sort(key=lambda refused: refused.row)

    def _knower(self, table: Table) -> Callable[[str], bool] | None:
        """Give what tells whether the book has a name of a list whose rows need nothing but that."""
        return {
            Table.ASSETS: lambda text: self._tag_of(text) in self.versions,
            Table.INSTRUMENTS: self.instruments.__contains__,
            Table.PEOPLE: self.people.__contains__,
        }.get(table)

    def _each(self, reader: RowReader, look: Look, sheet: SheetReport, file: File) -> None:
        """Take rows in one by one, and write them in batches."""
        source = sheet.source
        rows = merged.rows_below(source.sheet, source.mapping)
        while batch := list(islice(rows, BATCH)):
            before = sheet.read
            self._write(reader, [p for number, cells in batch if (p := look(number, cells))], sheet, file)
            self.progress(sheet.read - before)

    def _many(self, reader: RowReader, lane: PlainLane, look: Look, sheet: SheetReport, file: File) -> None:
        """Take the rows of a large sheet in; an import that reads columns does it in another way."""
        del lane
        self._each(reader, look, sheet, file)

    def _looker(
        self, reader: RowReader, lane: PlainLane | None, own: OwnVersions | None, sheet: SheetReport, file: File
    ) -> Look:
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
            if own is not None and (why := own.why_out(cells)):
                sheet.left_out += 1
                self.report.problems.append(reader.problem(row, "", Code.OLD_VERSION, Severity.WARNING, "", why))
                return None
            if say_headings_again(reader.mapping, cells):
                again = reader.problem(row, "", Code.HEADING_BETWEEN, Severity.WARNING, "", HEADINGS_AGAIN)
                row.is_total, row.problems = True, [again]
            else:
                refuse_other_headings(reader.mapping, reader.file, number, cells)
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
        """Write what is left, and what became of each file.

        Raises
        ------
        UnreadableFileError
            If a file is no longer what it was when it was opened: its digest would be that of rows nobody read.
        """
        for file in self.files.values():
            read = digest(file.source.path)
            if file.source.sheet.sha256 not in {"", read}:
                raise UnreadableFileError(
                    f"{file.source.path.name} was changed while it was read; nothing was imported.",
                    remedy="Import it again when whoever writes it is done.",
                )
            if file.entry is None:
                continue
            mapping = {sheet.source.mapping.sheet: _mapping_note(sheet.source) for sheet in file.sheets}
            self.unit.add(
                ImportedFileRow,
                (
                    file.entry,
                    self.site.site_id,
                    file.source.path.name,
                    read,
                    sum(sheet.read for sheet in file.sheets),
                    sum(sheet.taken for sheet in file.sheets),
                    sum(len(sheet.refused) for sheet in file.sheets),
                    canonical_json(mapping),
                ),
            )
        self._flush()
        self._tell_noticed()

    def _tell_noticed(self) -> None:
        """Tell what many rows of a sheet say alike, and which jobs of before a description of its machines comes too late for."""
        for place, sheet in enumerate(self.report.sheets):
            self.report.problems.extend(sheet.noticed.problems(self.serials, self.names))
            if count := sheet.noticed.undecided:
                told = f"{count:,} {'job is' if count == 1 else 'jobs are'} undecided by the site's decision rule: a list brings no uncertainty"
                self.report.problems.append(sheet.noticed.note(Code.UNDECIDED, told))
            if (described := self.redescribed.get(place)) is None:
                continue
            if told := described.told_later(self.versions, self.today):
                self.report.problems.append(sheet.noticed.note(Code.HOLDS_LATER, told))
            for told in described.told_met(self.versions):
                self.report.problems.append(sheet.noticed.note(Code.DESCRIBED_LATER, told))
            if not self.had_jobs:
                continue
            told = described.told(self.unit.connection, self.site.site_id, self.versions, self.known.zone)
            if told:
                self.report.problems.append(sheet.noticed.note(Code.JUDGED_BEFORE, told))


def columns_note(mapping: SheetMapping) -> list[list[object]]:
    """Give the columns of a mapping as they are kept with a file."""
    return [[c.heading, f"{c.field.table}.{c.field.key}" if c.field else "", c.unit, c.times] for c in mapping.columns]


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
        "columns": columns_note(mapping),
        "words": dict(mapping.words),
    }
