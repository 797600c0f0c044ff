"""What an import did or would do: counts, problems, and the rows that came back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from models.intake.fields import Table
from models.intake.mapping import SheetMapping
from models.intake.problems import Problem, Severity
from models.intake.reading import Cell, Sheet

if TYPE_CHECKING:
    from models.commands.noticed import Noticed
    from models.intake.mend import Bad


@dataclass(frozen=True, slots=True)
class Source:
    """One sheet of one file, and how it is read; ``by_rows`` tells that its rows said in which order its dates are."""

    sheet: Sheet
    mapping: SheetMapping
    by_rows: bool = False

    @property
    def path(self) -> Path:
        """Give the file."""
        return self.sheet.path

    @property
    def name(self) -> str:
        """Name it for a person: the file, and the sheet where there is one."""
        return self.path.name + (f" › {self.mapping.sheet}" if self.mapping.sheet else "")

    @property
    def expected(self) -> int:
        """Estimate the rows from the size of the file and of its first rows; those of a workbook are known."""
        if not self.sheet.delimiter:
            return self.sheet.length
        body = self.sheet.head[self.mapping.header_row :]
        size = sum(sum(len(str(cell)) + 1 for cell in row) for row in body)
        return int(self.path.stat().st_size * len(body) / size) if size else 0


@dataclass(frozen=True, slots=True)
class Refused:
    """A row that an error kept out, as it stood, with what is wrong with it."""

    row: int
    cells: tuple[Cell, ...]
    why: str


class SameVisit(StrEnum):
    """What becomes of a row that may be a visit that the book, or an earlier row, holds under another number."""

    ASK = "ask"
    """Nothing goes in as long as nobody has said; a look only tells."""
    TAKE = "take"
    LEAVE = "leave"


@dataclass(slots=True)
class SheetReport:
    """What became of one sheet: rows read, new in the book, there already, refused, left out as no record.

    ``doubled`` counts rows that may be a visit that the book or an earlier row holds: among those that are new, unless they are left out.
    ``done`` holds the first and the last day on which jobs that are new were done, as their dates were understood;
    ``noticed`` counts what many of its rows say alike, and is told with the problems once all rows are read.
    """

    source: Source
    noticed: Noticed
    read: int = 0
    taken: int = 0
    unchanged: int = 0
    left_out: int = 0
    doubled: int = 0
    refused: list[Refused] = field(default_factory=list)
    done: tuple[date, date] | None = None

    def saw(self, first: date, last: date) -> None:
        """See days on which jobs that are new were done.

        Parameters
        ----------
        first, last : datetime.date
            The earliest and the latest of them, on the clock of the site. [unitless]
        """
        before = self.done or (first, last)
        self.done = (min(before[0], first), max(before[1], last))

    @property
    def table(self) -> Table:
        """Give the table that the sheet holds."""
        return self.source.mapping.table

    def came_back(self) -> Bad:
        """Give the refused rows as a file to mend takes them."""
        from models.intake.mend import Bad  # where rows come back, and only there

        rows = [(row.cells, row.why) for row in self.refused]
        return Bad(self.source.mapping, rows, by_rows=self.source.by_rows)


@dataclass(slots=True)
class Report:
    """What became of all files.  ``written`` tells whether the book changed."""

    sheets: list[SheetReport] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    written: bool = False
    first_entry: int | None = None
    last_entry: int | None = None

    @property
    def errors(self) -> Sequence[Problem]:
        """Give the problems that keep their rows out."""
        return [problem for problem in self.problems if problem.severity is Severity.ERROR]

    @property
    def warnings(self) -> Sequence[Problem]:
        """Give the problems that do not, and that somebody should look at."""
        return [problem for problem in self.problems if problem.severity is Severity.WARNING]

    @property
    def notes(self) -> Sequence[Problem]:
        """Give what is told of how good rows are taken."""
        return [problem for problem in self.problems if problem.severity is Severity.NOTE]

    @property
    def refused(self) -> int:
        """Give how many rows are kept out."""
        return sum(len(sheet.refused) for sheet in self.sheets)

    @property
    def doubled(self) -> int:
        """Give how many rows may be a visit that the book or an earlier row holds."""
        return sum(sheet.doubled for sheet in self.sheets)

    @property
    def taken(self) -> int:
        """Give how many rows are or would be new in the book."""
        return sum(sheet.taken for sheet in self.sheets)
