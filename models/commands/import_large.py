"""Sheets of an import of which some are large: these are read as columns, chunk by chunk."""

from __future__ import annotations

from models.commands import import_sheets
from models.commands.import_columns import JobColumns
from models.commands.import_order import Look
from models.commands.import_sheets import Sheets
from models.commands.import_things import File
from models.commands.plain_columns import ColumnLane
from models.commands.plain_jobs import PlainLane
from models.commands.report import SheetReport
from models.intake.blocks import chunks
from models.intake.rows import RowReader


class LargeSheets(Sheets, JobColumns):
    """One import while it runs: small sheets row by row, large ones as columns."""

    def _many(self, reader: RowReader, lane: PlainLane, look: Look, sheet: SheetReport, file: File) -> None:
        """Take the rows of a large sheet in as columns."""
        source, columns = sheet.source, ColumnLane(lane)
        for chunk in chunks(source.sheet, source.mapping.header_row, import_sheets.CHUNK):
            before = sheet.read
            self._chunk(reader, columns, chunk, look, sheet, file)
            self.progress(sheet.read - before)
