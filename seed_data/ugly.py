"""The ugly register: a workbook as a plant would hand it over, with every planted fault named by its place.

Two sheets, titles above the headings, the plant's own words, mixed units (some written in the cell), decimal commas,
three ways of writing a date, blanks, an empty line, a line twice, typing errors and a total at the end.  All invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import xlsxwriter

from models.values.job import Misalignment
from seed_data.register import (
    JOBS,
    LOG,
    LOG_HEADINGS,
    MACHINE_HEADINGS,
    MACHINES,
    REPEATED,
    Cell,
    Line,
    letter_index,
    log_lines,
    machine_lines,
)

ERROR, WARNING = "error", "warning"


@dataclass(frozen=True, slots=True)
class Fault:
    """One planted fault: where it stands, as the spreadsheet shows it, and what should be said of it.

    ``column`` is the letter of the column, or empty where the whole row is meant.  ``found`` is what stands in the
    cell, empty for a blank one.
    """

    sheet: str
    row: int
    column: str
    code: str
    found: str
    severity: str


@dataclass(frozen=True, slots=True)
class Spoiled:
    """A cell of the good register that is overwritten: the key of its line, its column, and what goes in."""

    key: str
    column: str
    cell: Cell
    code: str
    severity: str = ERROR


@dataclass(frozen=True, slots=True)
class HandConverted:
    """One job of the mended register whose numbers were converted by hand to mm and mm/m."""

    ref: str
    found: Misalignment
    left: Misalignment


_MACHINES = (
    Spoiled("W-25", "E", -1480, "impossible-value"),
    Spoiled("W-26", "G", None, "impossible-value"),  # a spacer coupling without its span
    Spoiled("W-27", "F", "rubber tyre", "not-a-choice"),
    Spoiled("W-28", "H", "O,75", "not-a-number"),
    Spoiled("W-30", "K", "31.2.2015", "bad-date"),
    Spoiled("W-31", "A", "W-05", "key-conflict-in-file"),
)

_LOG = (
    Spoiled("K-009", "B", "W-O3", "unknown-asset"),  # the letter O
    Spoiled("K-015", "C", "12.13.2019", "bad-date"),  # month 13
    Spoiled("K-021", "G", "O.05", "not-a-number"),
    Spoiled("K-026", "J", None, "incomplete-misalignment"),
    Spoiled("K-029", "D", "see e-mail", "not-a-choice"),
    Spoiled("K-032", "G", "1,250", "ambiguous-number"),  # one and a quarter, or a thousand
    Spoiled("K-038", "B", "W-99", "unknown-asset"),
    Spoiled("K-043", "C", None, "missing-value"),
    Spoiled("K-048", "L", None, "incomplete-misalignment"),
    Spoiled("K-052", "C", date(2062, 4, 3), "future-date"),
    Spoiled("K-055", "B", None, "missing-value"),
    Spoiled("K-060", "I", "3..5", "not-a-number"),
    Spoiled("K-066", "K", "0.O5", "not-a-number"),  # the letter O
    Spoiled("K-071", "A", "K-017", "key-conflict-in-file"),
    Spoiled("K-078", "G", 2500, "impossible-value"),  # 63.5 mm
    Spoiled("K-083", "C", "30.2.2022", "bad-date"),
    Spoiled("K-086", "D", "new", "impossible-value"),  # an installation with an as-found
    Spoiled("K-091", "I", 127, "odd-value", WARNING),  # 5 thou, 25.4 times too large: 3.2 mm
    Spoiled("K-099", "M", "0.06 kg", "wrong-unit"),
    Spoiled("K-113", "O", "fifty", "not-a-number"),
)

_BLANKED = (
    # The first of four cells that are blank, the code, and the reason of the visit: both may be true, hence warnings.
    ("K-095", "G", "left-without-found", "PM"),
    ("K-107", "K", "found-without-left", "vib"),
)

HAND_CONVERTED: tuple[HandConverted, ...] = (
    HandConverted(
        "K-019",
        # 4.5 thou × 0.0254 = 0.1143 mm; 0.3 mil/in = 0.3 mm/m; −2 thou × 0.0254 = −0.0508 mm; −0.1 mil/in = −0.1 mm/m
        Misalignment(0.1143, 0.3, -0.0508, -0.1),
        # already in mm and mm/m
        Misalignment(0.02, 0.05, -0.01, 0.0),
    ),
    HandConverted(
        "K-034",
        # 0,06 mm as written; 0,05 mm on 100 mm × 10 = 0.5 mm/m; 45 µm ÷ 1000 = 0.045 mm; −0,2 mil/in = −0.2 mm/m
        Misalignment(0.06, 0.5, 0.045, -0.2),
        # 1.5 mil × 0.0254 = 0.0381 mm; the rest in mm and mm/m
        Misalignment(0.0381, 0.1, -0.02, -0.05),
    ),
    HandConverted(
        "K-057",
        # 2.5 mil × 0.0254 = 0.0635 mm; 6 mil/ft ÷ 12 = 0.5 mm/m; −3,5 thou × 0.0254 = −0.0889 mm; 0.25 mrad = 0.25 mm/m
        Misalignment(0.0635, 0.5, -0.0889, 0.25),
        # already in mm and mm/m
        Misalignment(0.03, -0.1, 0.01, 0.06),
    ),
    HandConverted(
        "K-066",  # one of the mended lines: 0.O5 became 0.05
        # 6 thou × 0.0254 = 0.1524 mm; −0.4 mil/in = −0.4 mm/m; 1.5 thou × 0.0254 = 0.0381 mm; 0.2 mil/in = 0.2 mm/m
        Misalignment(0.1524, -0.4, 0.0381, 0.2),
        # already in mm and mm/m
        Misalignment(0.05, -0.1, 0.0, 0.04),
    ),
    HandConverted(
        "K-102",
        # 0.004 in × 25.4 = 0.1016 mm; 0.35 mil/in = 0.35 mm/m; −2.0 thou × 0.0254 = −0.0508 mm; −0.15 mil/in = −0.15 mm/m
        Misalignment(0.1016, 0.35, -0.0508, -0.15),
        # −20 µm ÷ 1000 = −0.02 mm; the rest in mm and mm/m
        Misalignment(-0.02, 0.08, 0.01, -0.02),
    ),
)
"""Five jobs with the arithmetic beside them; 1 mil = 1 thou = 0.0254 mm and 1 mil/in = 1 mrad = 1 mm/m exactly."""


def write_ugly(path: Path) -> list[Fault]:
    """Write the ugly register.

    Parameters
    ----------
    path : Path
        The workbook to write. [unitless]

    Returns
    -------
    list of Fault
        Every planted fault, sheet by sheet and row by row.
    """
    machines, machine_faults = _spoil(MACHINES, machine_lines(), _MACHINES)
    log, log_faults = _spoil(LOG, _with_blanks(log_lines()), _LOG)
    _save(path, {MACHINES: machines, LOG: log})
    faults = [*machine_faults, *log_faults, *_standing(log)]
    return sorted(faults, key=lambda f: (f.sheet != MACHINES, f.row, f.column))


def write_mended(path: Path) -> None:
    """Write the same register with every error mended; what is only a warning still stands.

    No row has moved: the line that stood twice is empty in its second place.

    Parameters
    ----------
    path : Path
        The workbook to write. [unitless]
    """
    warned = tuple(spoiled for spoiled in _LOG if spoiled.severity == WARNING)
    log, _ = _spoil(LOG, _with_blanks(log_lines()), warned)
    repeats = _repeats(log)
    log = [Line(line.row, ()) if line in repeats else line for line in log]
    _save(path, {MACHINES: machine_lines(), LOG: log})


def _spoil(sheet: str, lines: list[Line], spoils: tuple[Spoiled, ...]) -> tuple[list[Line], list[Fault]]:
    faults = []
    for spoiled in spoils:
        at = next(i for i, line in enumerate(lines) if line.cells and line.cells[0] == spoiled.key)
        lines[at] = _overwritten(lines[at], {spoiled.column: spoiled.cell})
        faults.append(Fault(sheet, lines[at].row, spoiled.column, spoiled.code, _shown(spoiled.cell), spoiled.severity))
    return lines, faults


def _with_blanks(lines: list[Line]) -> list[Line]:
    for key, column, _, reason in _BLANKED:
        at = next(i for i, line in enumerate(lines) if line.cells and line.cells[0] == key)
        first = letter_index(column)
        blanks: dict[str, Cell] = {chr(ord("A") + index): None for index in range(first, first + 4)}
        lines[at] = _overwritten(lines[at], {**blanks, "D": reason})
    return lines


def _standing(log: list[Line]) -> list[Fault]:
    """Name the faults that are whole lines or blanks, not single spoiled cells."""
    rows = {line.cells[0]: line.row for line in log if line.cells}  # of a line that stands twice, the second
    blanked = [Fault(LOG, rows[key], column, code, "", WARNING) for key, column, code, _ in _BLANKED]
    repeated = f"K-{REPEATED:03d}"
    return [
        *blanked,
        Fault(LOG, rows[repeated], "A", "duplicate-in-file", repeated, WARNING),
        Fault(LOG, rows["Total"], "", "not-a-record", f"Total … {JOBS} sheets", WARNING),
    ]


def _repeats(log: list[Line]) -> list[Line]:
    """Give the lines that say what a line above them says."""
    told: set[tuple[Cell, ...]] = set()
    repeats = []
    for line in log:
        if line.cells in told and line.cells:
            repeats.append(line)
        told.add(line.cells)
    return repeats


def _overwritten(line: Line, cells: dict[str, Cell]) -> Line:
    changed = list(line.cells)
    for letter, cell in cells.items():
        changed[letter_index(letter)] = cell
    return Line(line.row, tuple(changed))


def _shown(cell: Cell) -> str:
    if cell is None:
        return ""
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def _save(path: Path, sheets: dict[str, list[Line]]) -> None:
    with xlsxwriter.Workbook(str(path)) as book:
        # A fixed day of making: the same bytes each time.
        book.set_properties({"title": "Invented for demonstration", "created": datetime(2025, 1, 1, tzinfo=UTC)})
        day, bold = book.add_format({"num_format": "dd/mm/yyyy"}), book.add_format({"bold": True})
        for name, lines in sheets.items():
            sheet = book.add_worksheet(name)
            for line in lines:
                heading = line.cells in (MACHINE_HEADINGS, LOG_HEADINGS)
                for column, cell in enumerate(line.cells):
                    if isinstance(cell, str):
                        sheet.write_string(line.row - 1, column, cell, bold if heading else None)
                    elif isinstance(cell, date):
                        sheet.write_datetime(line.row - 1, column, cell, day)
                    elif cell is not None:
                        sheet.write_number(line.row - 1, column, cell)
