"""The plumb worksheet of the Bureau of Reclamation, and its orbit."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import InvalidValueError
from models.maths.plumb import PlumbPoint, orbit, plumb_limit, plumb_point, runout_limit
from models.units import MM_PER_INCH

LINES = (Path(__file__).parent / "published" / "plumb_worksheet.csv").read_text().splitlines()
ROWS = list(csv.DictReader(line for line in LINES if not line.startswith("#")))


def point(row: dict[str, str]) -> PlumbPoint:
    return plumb_point(*((float(row[f"{side}1"]) + float(row[f"{side}2"])) * MM_PER_INCH for side in "nsew"))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["rotation"])
def test_each_row_of_the_published_worksheet(row: dict[str, str]) -> None:
    """CV-18. US Bureau of Reclamation, FIST 2-1, p. 22, Fig. 16; its two misprints are mended in the data file."""
    got = point(row)
    assert got.north_mm / MM_PER_INCH == pytest.approx(float(row["north_out"]), abs=5e-6)
    assert got.east_mm / MM_PER_INCH == pytest.approx(float(row["east_out"]), abs=5e-6)
    assert got.closure_mm / MM_PER_INCH == pytest.approx(float(row["closure"]), abs=5e-6)
    assert got.closes


def test_the_orbit_of_the_published_worksheet_is_out_of_both_limits() -> None:
    """CV-19, derived from CV-18; limits: Bureau of Reclamation, Mechanical Overhaul Procedures, A 170 as L, E 80 as D."""
    got = orbit([point(row) for row in ROWS])
    assert got.east_mm / MM_PER_INCH == pytest.approx(0.00225, abs=5e-6)
    assert got.north_mm / MM_PER_INCH == pytest.approx(0.00406, abs=5e-6)
    assert got.out_of_plumb_mm / MM_PER_INCH == pytest.approx(0.0046, abs=5e-5)
    assert got.diameter_mm / MM_PER_INCH == pytest.approx(0.0073, abs=5e-5)
    length, diameter = 170 * MM_PER_INCH, 80 * MM_PER_INCH
    assert runout_limit(length, diameter) / MM_PER_INCH == pytest.approx(0.00425)
    assert plumb_limit(length) / MM_PER_INCH == pytest.approx(0.00425)
    assert got.diameter_mm > runout_limit(length, diameter)
    assert got.out_of_plumb_mm > plumb_limit(length)


@given(st.floats(-1, 1), st.floats(-1, 1), st.floats(0, 1), st.floats(0, 6.3), st.integers(3, 12))
def test_an_orbit_is_given_back(north: float, east: float, radius: float, start: float, n: int) -> None:
    turn = start + np.arange(n) * 2 * np.pi / n
    points = [PlumbPoint(north + radius * np.cos(a), east + radius * np.sin(a), 0.0, closes=True) for a in turn]
    got = orbit(points)
    assert [got.north_mm, got.east_mm, got.diameter_mm] == pytest.approx([north, east, 2 * radius], abs=1e-9)
    assert got.scatter_mm == pytest.approx(0, abs=1e-9)


def test_readings_that_do_not_close_are_told() -> None:
    assert not plumb_point(10.0, 10.0, 10.0, 10.06).closes


def test_two_positions_are_no_orbit_and_no_diameter_no_limit() -> None:
    with pytest.raises(InvalidValueError):
        orbit([plumb_point(1, 1, 1, 1)] * 2)
    with pytest.raises(InvalidValueError):
        runout_limit(100, 0)
