"""The register of an invented kelp pier as it ought to stand: two sheets in the pier's own words and mixed units.

It is another invented plant, kept by hand since 2019 in one workbook.  ``seed_data.ugly`` plants the faults in it.
The lines are made from fixed random numbers and some lines written by hand; no value was measured anywhere.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import date, timedelta

Cell = str | float | int | date | None

MACHINES = "Machines"
LOG = "Alignment log"

MACHINE_HEADINGS = (
    "Pos.",
    "Machine name",
    "Building",
    "Driven",
    "r/min",
    "Cplg",
    "DBSE [mm]",
    "Motor power (kW)",
    "Front feet (in)",
    "Rear feet (in)",
    "In service",
)
LOG_HEADINGS = (
    "Sheet no.",
    "Pos.",
    "Datum",
    "Job type",
    "Fitter",
    "Device",
    "Vert offset before (thou)",
    "Vert ang. before (mils/in)",
    "Hor offset before (thou)",
    "Hor ang. before (mils/in)",
    "Vert offset after (mm)",
    "Vert ang. after (mm/m)",
    "Hor offset after (mm)",
    "Hor ang. after (mm/m)",
    "SF 1L (µm)",
    "SF 1R (µm)",
    "SF 2L (µm)",
    "SF 2R (µm)",
    "Weather",
    "Remarks",
)
MACHINE_TITLE = ("Kelp pier, list of machines (invented for demonstration)",)
LOG_TITLES = (
    ("Kelp pier, alignment log since 2019 (invented for demonstration)",),
    ("Before in thou, after in mm. Plus is up and right, seen from the motor.",),
    (),
)

GAP_AFTER = 41
"""After so many lines of the log stands an empty one."""

JOBS = 118

_DRIVEN = ("pump", "fan", "pump", "pump", "compressor", "fan", "pump", "gearbox")
_FITTERS = ("R. Bladderwrack", "T. Winkle", "R. Bladderwrack / T. Winkle", "O. Limpet")
_DEVICES = ("Laser 2", "Dials 1")
_REMARKS = ("", "", "", "", "wind", "feet cleaned", "guard bent", "bolt-bound at the rear", "new shims")
_WEATHER = ("dry", "rain", "spray", None)

SPECIAL: dict[str, dict[str, Cell]] = {
    # Numbers of job, column letter, what stands there: units written in the cell, decimal commas, true minus signs.
    "K-012": {"G": "2.5 mil", "K": "45 µm"},
    "K-019": {"G": 4.5, "H": 0.3, "I": -2, "J": -0.1, "K": 0.02, "L": 0.05, "M": -0.01, "N": 0},
    "K-023": {"G": "0,11 mm", "I": "−0,04 mm"},
    "K-034": {
        "G": "0,06 mm",
        "H": "0,05 mm/100 mm",
        "I": "45 µm",
        "J": "-0,2",
        "K": "1.5 mil",
        "L": 0.1,
        "M": "-0,02",
        "N": "-0,05",
    },
    "K-046": {"G": "60 microns", "I": "- 1.5"},
    "K-057": {
        "G": "2.5 mil",
        "H": "6 mil/ft",
        "I": "−3,5",
        "J": "0.25 mrad",
        "K": 0.03,
        "L": "−0,10",
        "M": 0.01,
        "N": 0.06,
    },
    "K-066": {"G": 6, "H": -0.4, "I": 1.5, "J": 0.2, "K": 0.05, "L": -0.1, "M": "0,00", "N": 0.04},
    "K-075": {"K": "0,03 mm", "M": "-1 thou"},
    "K-088": {"G": "0.004 in", "I": "-.5"},
    "K-102": {
        "G": "0.004 in",
        "H": 0.35,
        "I": "-2.0 thou",
        "J": -0.15,
        "K": "−20 µm",
        "L": 0.08,
        "M": "+0,01",
        "N": "-0.02",
    },
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a sheet with its row as the spreadsheet shows it, from 1."""

    row: int
    cells: tuple[Cell, ...]


def letter_index(letter: str) -> int:
    """Give the index of a column from its letter: A is 0."""
    return ord(letter) - ord("A")


def machine_lines() -> list[Line]:
    """Give the list of machines: title, headings, 31 machines with decimal commas and feet in inches."""
    rng = random.Random(19)
    lines = [Line(1, MACHINE_TITLE), Line(2, MACHINE_HEADINGS)]
    for number in range(1, 32):
        spacer = number % 7 == 0 or number == 26
        driven = _DRIVEN[number % len(_DRIVEN)]
        front = rng.randrange(85, 140)
        begun = date(rng.randrange(1998, 2018), rng.randrange(1, 13), rng.randrange(1, 29))
        cells: tuple[Cell, ...] = (
            f"W-{number:02d}",
            f"{driven} {number}",
            ("Pier", "Wash house", "Ice house")[number % 3],
            driven,
            (1480, 2960, 980, 1480, 735)[number % 5],
            "spacer" if spacer else "flex",
            140 if spacer else None,
            f"{(11, 22, 37, 55, 90)[number % 5]},{5 if number % 4 == 0 else 0}",
            f"{front // 10},{front % 10}",
            f"{front // 10 + 14},{rng.randrange(10)}",
            _styled(begun, number),
        )
        lines.append(Line(len(lines) + 1, cells))
    return lines


def log_lines() -> list[Line]:
    """Give the log: titles, headings, the jobs with an empty line among them, one line twice, and a total at the end."""
    rng = random.Random(20190311)
    lines = [Line(row, cells) for row, cells in enumerate((*LOG_TITLES, LOG_HEADINGS), start=1)]
    day = date(2019, 3, 11)
    for number in range(1, JOBS + 1):
        cells = _job(number, day, rng)
        lines.append(Line(len(lines) + 1, cells))
        if number == GAP_AFTER:
            lines.append(Line(len(lines) + 1, ()))
        if number == REPEATED:
            lines.append(Line(len(lines) + 1, cells))
        day += timedelta(days=rng.randrange(9, 27))
    lines.append(Line(len(lines) + 1, ("Total", None, None, None, None, None, *(None,) * 12, f"{JOBS} sheets")))
    return lines


REPEATED = 64
"""The job whose line stands there twice."""


def _job(number: int, day: date, rng: random.Random) -> tuple[Cell, ...]:
    new = number in {5, 37}
    before: list[Cell] = [_step(rng.gauss(0, 2.6), 0.5), _step(rng.gauss(0, 0.25), 0.05)]
    before += [_step(rng.gauss(0, 2.6), 0.5), _step(rng.gauss(0, 0.25), 0.05)]
    after: list[Cell] = [_step(rng.gauss(0, 0.018), 0.01), _step(rng.gauss(0, 0.06), 0.02)]
    after += [_step(rng.gauss(0, 0.018), 0.01), _step(rng.gauss(0, 0.06), 0.02)]
    feet: list[Cell] = [rng.randrange(0, 8) * 10 for _ in range(4)]
    told = rng.random() < 0.5
    reason = rng.choices(("PM", "vib", "overhaul", "trip"), (75, 12, 9, 4))[0]
    cells: list[Cell] = [
        f"K-{number:03d}",
        f"W-{rng.randrange(1, 25):02d}",
        _styled(day, number),
        "new" if new else "trip" if number == 14 else reason,
        rng.choice(_FITTERS),
        rng.choice(_DEVICES),
        *([None] * 4 if new else before),
        *after,
        *(feet if told else [None] * 4),
        rng.choice(_WEATHER),
        rng.choice(_REMARKS) or None,
    ]
    for letter, cell in SPECIAL.get(f"K-{number:03d}", {}).items():
        cells[letter_index(letter)] = cell
    return tuple(cells)


def _step(value: float, step: float) -> float:
    return round(round(value / step) * step, 2) + 0.0


def _styled(day: date, number: int) -> Cell:
    """Write a day in one of the pier's three ways; the first typed one has a day above 12, as chance would have it."""
    if number % 3 == 0:
        return day
    return f"{day.day}.{day.month}.{day.year}" if number % 3 == 1 else day.isoformat()
