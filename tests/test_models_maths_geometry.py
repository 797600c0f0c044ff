"""Shaft lines at any plane, flex planes, and what moving a machine does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.maths.geometry import (
    after_moves,
    at_plane,
    deviation,
    from_spacer_angles,
    line_at,
    line_through,
    per_foot,
    spacer_angles,
)  # fmt: skip
from models.values.job import FeetValues, Misalignment

NUMBER = st.floats(-3.0, 3.0)
MISALIGNED = st.builds(Misalignment, NUMBER, NUMBER, NUMBER, NUMBER)


def test_the_angles_at_both_flex_planes_of_a_spacer() -> None:
    """CV-26, derived: y(0) 0.10 mm at the first plane, 0.5 mrad, span 200 mm: α 1.0, β −0.5 mrad, α + β the angle."""
    at_centre = at_plane(Misalignment(0.10, 0.5, 0.10, 0.5), 100.0)
    assert at_centre.offset_v == pytest.approx(0.15)
    assert line_at(np.array([at_centre.as_tuple()]), np.array([100.0]))[0, 0, 0] == pytest.approx(0.20)
    assert spacer_angles(at_centre, 200.0) == pytest.approx((1.0, -0.5, 1.0, -0.5))


@given(MISALIGNED, st.floats(50, 3000))
def test_flex_angles_and_misalignment_say_the_same(m: Misalignment, span: float) -> None:
    angles = spacer_angles(m, span)
    assert from_spacer_angles(angles, span).as_tuple() == pytest.approx(m.as_tuple(), abs=1e-9)
    assert angles[0] + angles[1] == pytest.approx(m.angle_v, abs=1e-9)


@given(MISALIGNED, st.floats(-2000, 2000), st.floats(-2000, 2000))
def test_the_line_is_the_same_whichever_plane_is_called_zero(m: Misalignment, x: float, by: float) -> None:
    here = line_at(np.array([m.as_tuple()]), np.array([x]))[0, 0]
    there = line_at(np.array([at_plane(m, by).as_tuple()]), np.array([x - by]))[0, 0]
    assert there == pytest.approx(here, abs=1e-9)


def test_positions_of_many_lines_at_many_planes_come_at_once() -> None:
    lines = np.array([[0.1, 1.0, -0.1, 0.0], [0.0, 0.0, 0.2, -2.0]])
    got = line_at(lines, np.array([0.0, 100.0, 500.0]))
    assert got.shape == (2, 3, 2)
    assert got[0, :, 0] == pytest.approx([0.1, 0.2, 0.6])
    assert got[1, :, 1] == pytest.approx([0.2, 0.0, -0.8])


@given(MISALIGNED, MISALIGNED)
def test_deviation_is_measured_less_target(m: Misalignment, target: Misalignment) -> None:
    pairs = zip(deviation(m, target).as_tuple(), m.as_tuple(), target.as_tuple(), strict=True)
    assert all(d == a - b for d, a, b in pairs)


@given(st.lists(NUMBER, min_size=2, max_size=6))
def test_a_line_through_feet_is_that_of_an_independent_fit(y: list[float]) -> None:
    x = np.linspace(300.0, 900.0, len(y))
    slope, offset = np.polyfit(x, np.array(y), 1)
    got = line_through(x, np.array(y))
    assert got == pytest.approx((offset, slope * 1000), abs=1e-8)


def test_raising_a_machine_raises_its_end_of_the_difference() -> None:
    """y is movable − stationary: raising the movable machine adds, raising the stationary one takes away."""
    feet, up, none = np.array([200.0, 800.0]), np.array([0.3, 0.3]), np.zeros(2)
    assert after_moves(Misalignment(), movable=(feet, up, none)).as_tuple() == pytest.approx((0.3, 0, 0, 0))
    assert after_moves(Misalignment(), stationary=(-feet, up, none)).as_tuple() == pytest.approx((-0.3, 0, 0, 0))
    assert after_moves(Misalignment(), stationary=(-feet, none, up)).as_tuple() == pytest.approx((0, 0, -0.3, 0))


def test_each_foot_of_a_row_gets_the_rows_value_left_before_right() -> None:
    assert per_foot(np.array([0.1, -0.2])) == FeetValues((0.1, 0.1, -0.2, -0.2))
