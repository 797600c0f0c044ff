"""What an import of a file would do or did, in lines for a page."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, dataclass
from typing import Any, Final

from models.commands.report import Report
from models.intake.problems import Severity

SHOWN: Final = 8
"""Problems of a kind that are listed; the rest is counted."""


@dataclass(frozen=True, slots=True)
class SheetLine:
    """What became of the rows of one sheet; ``done`` is the first and the last day of new jobs, in ISO form.

    ``doubled`` counts those that may be a visit that the book holds.
    """

    name: str
    table: str
    read: int
    taken: int
    unchanged: int
    left_out: int
    refused: int
    done: tuple[str, ...] = ()
    doubled: int = 0


@dataclass(frozen=True, slots=True)
class ProblemLine:
    """A problem: whether it keeps its row out, where it is, and what it is; a note tells how good rows are taken.

    ``entry`` is that of a job that an amendment changes.
    """

    error: bool
    place: str
    text: str
    note: bool = False
    entry: int | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """Everything that a page tells of an import.

    ``more`` counts the problems that are not listed; ``mend`` names files with rows that came back; ``mappings_kept``
    tells whether later files will be read in the same way.
    """

    sheets: tuple[SheetLine, ...]
    problems: tuple[ProblemLine, ...]
    more: int
    errors: int
    warnings: int
    written: bool
    first_entry: int | None = None
    last_entry: int | None = None
    mend: tuple[str, ...] = ()
    mappings_kept: bool = True

    @property
    def taken(self) -> int:
        """Give how many rows are or would be new in the book."""
        return sum(sheet.taken for sheet in self.sheets)

    @property
    def refused(self) -> int:
        """Give how many rows are kept out."""
        return sum(sheet.refused for sheet in self.sheets)

    @property
    def doubled(self) -> int:
        """Give how many rows may be a visit that the book or an earlier row holds."""
        return sum(sheet.doubled for sheet in self.sheets)

    @property
    def unchanged(self) -> int:
        """Give how many rows the book holds already."""
        return sum(sheet.unchanged for sheet in self.sheets)

    def kept(self) -> dict[str, Any]:
        """Give it as plain values, to be kept as JSON."""
        return asdict(self)


def outcome_of(
    report: Report, mend: tuple[str, ...] = (), *, mappings_kept: bool = True, doubled_left: bool = False
) -> Outcome:
    """Put together what a report says.

    Parameters
    ----------
    report : Report
        What the import found. [unitless]
    mend : tuple of str
        Names of files with rows that came back. [unitless]
    mappings_kept : bool
        Whether later files will be read in the same way. [unitless]
    doubled_left : bool
        Whether rows that may be a visit that is held were left out. [unitless]
    """
    sheets = tuple(
        SheetLine(
            s.source.name,
            str(s.table),
            s.read,
            s.taken,
            s.unchanged,
            s.left_out + (s.doubled if doubled_left else 0),
            len(s.refused),
            tuple(map(str, s.done or ())),
            s.doubled,
        )
        for s in report.sheets
    )
    listed: list[ProblemLine] = []
    counts: Counter[tuple[str, str]] = Counter()
    for problem in (*report.errors, *report.warnings, *report.notes):
        kind = (str(problem.severity), str(problem.code))
        counts[kind] += 1
        if counts[kind] <= SHOWN:
            level = problem.severity
            line = ProblemLine(
                level is Severity.ERROR, problem.place, problem.text, level is Severity.NOTE, problem.entry
            )
            listed.append(line)
    return Outcome(
        sheets, tuple(listed), sum(counts.values()) - len(listed), len(report.errors), len(report.warnings),
        report.written, report.first_entry, report.last_entry, mend, mappings_kept,
    )  # fmt: skip


def from_kept(kept: dict[str, Any]) -> Outcome:
    """Read what was kept."""
    lines = {
        "sheets": tuple(SheetLine(**{**one, "done": tuple(one.get("done", ()))}) for one in kept["sheets"]),
        "problems": tuple(ProblemLine(**one) for one in kept["problems"]),
        "mend": tuple(kept["mend"]),
    }
    return Outcome(**{**kept, **lines})
