"""Moves: applied, they leave nothing; held back, they leave the least."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import lsq_linear

from models.errors import InvalidValueError
from models.maths.geometry import after_moves, line_at
from models.maths.moves import SHORT_SCALE, FootRow, MachineMoves, Moving, plan_moves, spacer_scale
from models.units import MM_PER_INCH
from models.values.job import Misalignment

NUMBER = st.floats(-3.0, 3.0)
MISALIGNED = st.builds(Misalignment, NUMBER, NUMBER, NUMBER, NUMBER)
PLANES = st.lists(st.integers(60, 3000), min_size=2, max_size=5, unique=True).map(sorted)


def rows(planes: list[int] | tuple[float, ...], **room: float) -> list[FootRow]:
    return [FootRow(float(x), **room) for x in planes]


def applied(found: Misalignment, movable: MachineMoves | None, stationary: MachineMoves | None) -> tuple[float, ...]:
    def arrays(m: MachineMoves | None) -> tuple[np.ndarray, ...] | None:
        return None if m is None else (np.array(m.x_mm), np.array(m.shims_mm), np.array(m.side_mm))

    return after_moves(found, movable=arrays(movable), stationary=arrays(stationary)).as_tuple()


@given(MISALIGNED, PLANES, PLANES, st.sampled_from(Moving))
def test_applying_the_moves_leaves_zero_whichever_machine_moves(
    m: Misalignment, ahead: list[int], behind: list[int], moving: Moving
) -> None:
    plan = plan_moves(m, movable=rows(ahead), stationary=rows([-x for x in behind]), moving=moving)
    assert plan.complete
    assert applied(m, plan.movable, plan.stationary) == pytest.approx((0, 0, 0, 0), abs=1e-8)
    assert (plan.movable is None) == (moving is Moving.STATIONARY)
    assert (plan.stationary is None) == (moving is Moving.MOVABLE)


@given(MISALIGNED, PLANES)
def test_a_foot_of_the_movable_machine_needs_minus_y_of_the_stationary_plus_y(
    m: Misalignment, planes: list[int]
) -> None:
    """Project trade reference, 2.1: correction = −y(x foot); for the stationary machine derived from it."""
    line = np.array([m.as_tuple()])
    ahead = plan_moves(m, movable=rows(planes)).movable
    behind = plan_moves(m, stationary=rows([-x for x in planes]), moving=Moving.STATIONARY).stationary
    assert ahead is not None
    assert behind is not None
    x = np.array(planes, dtype=float)
    assert np.stack([ahead.shims_mm, ahead.side_mm], axis=1) == pytest.approx(-line_at(line, x)[0], abs=1e-8)
    assert np.stack([behind.shims_mm, behind.side_mm], axis=1) == pytest.approx(line_at(line, -x)[0], abs=1e-8)


def test_a_machine_that_stands_too_high_loses_shim() -> None:
    """CV-3. Bloch & Geitner, Machinery Component Maintenance and Repair, p. 203: lower 0.003, raise 0.007 in."""
    inch = MM_PER_INCH
    at_s = Misalignment(0.012 * inch, (0.007 - 0.012) / 14 * 1000)
    plan = plan_moves(at_s, movable=rows((26 * inch, 52 * inch)))
    assert plan.movable is not None
    assert [x / inch for x in plan.movable.shims_mm] == pytest.approx([-0.0027, 0.0066], abs=6e-5)


@given(MISALIGNED, st.tuples(*[st.floats(0, 2)] * 8))
def test_held_feet_leave_what_an_independent_library_leaves(m: Misalignment, room: tuple[float, ...]) -> None:
    x = (300.0, 1100.0)
    feet = [FootRow(x[i], *room[4 * i : 4 * i + 4]) for i in range(2)]
    plan = plan_moves(m, movable=feet)
    effect = np.array([[x[1], -x[0]], [-1000.0, 1000.0]]) / (x[1] - x[0]) / np.array(SHORT_SCALE)[:, None]
    for axis, (low, high) in ((0, (0, 1)), (2, (2, 3))):
        lower, upper = -np.array([room[low], room[4 + low]]), np.array([room[high], room[4 + high]])
        assume((upper - lower > 1e-6).all())
        wanted = -np.array(m.as_tuple()[axis : axis + 2]) / np.array(SHORT_SCALE)
        twin = lsq_linear(effect, wanted, (lower, upper), method="bvls", tol=1e-14)
        left = np.array(plan.remains.as_tuple()[axis : axis + 2]) / np.array(SHORT_SCALE)
        assert np.linalg.norm(left) == pytest.approx(np.sqrt(2 * twin.cost), abs=1e-5)


def test_a_base_bound_row_is_kept_and_the_rest_is_told() -> None:
    plan = plan_moves(Misalignment(0.5, 0.0), movable=[FootRow(200.0, shim_out_mm=0.0), FootRow(800.0)])
    assert plan.movable is not None
    assert plan.movable.shims_mm[0] == pytest.approx(0.0)
    assert plan.movable.held_v == (True, False)
    assert not plan.complete
    assert 0 < plan.remains.offset_v < 0.5


def test_both_machines_share_what_one_cannot_do() -> None:
    stuck = [FootRow(200.0, shim_out_mm=0.0), FootRow(800.0, shim_out_mm=0.0)]
    alone = plan_moves(Misalignment(0.5, 0.2), movable=stuck)
    both = plan_moves(Misalignment(0.5, 0.2), movable=stuck, stationary=rows((-200, -800)), moving=Moving.BOTH)
    assert not alone.complete
    assert both.complete
    assert both.stationary is not None
    assert both.stationary.shims_mm[0] > 0  # the stationary machine is raised to the movable one


def test_a_middle_row_that_cannot_move_makes_the_machine_turn_about_it() -> None:
    feet = [FootRow(200.0), FootRow(500.0, left_mm=0.0, right_mm=0.0), FootRow(800.0)]
    plan = plan_moves(Misalignment(0, 0, 0.2, -1.0), movable=feet)
    assert plan.movable is not None
    near, middle, far = plan.movable.side_mm
    assert middle == pytest.approx(0.0, abs=1e-9)
    assert near == pytest.approx(-far)
    assert plan.movable.held_h == (False, True, False)


@given(MISALIGNED)
def test_vertical_and_horizontal_are_moved_alike(m: Misalignment) -> None:
    swapped = Misalignment(m.offset_h, m.angle_h, m.offset_v, m.angle_v)
    a = plan_moves(m, movable=rows((200, 900))).movable
    b = plan_moves(swapped, movable=rows((200, 900))).movable
    assert a is not None
    assert b is not None
    assert (a.shims_mm, a.side_mm) == (pytest.approx(b.side_mm), pytest.approx(b.shims_mm))


def test_the_scale_of_a_spacer_weighs_both_flex_planes_alike() -> None:
    """α² + β² is the same for an offset of span/2000 and for an angularity of 1 mm/m."""
    span = 500.0
    offset, angle = spacer_scale(span)
    assert 2 * (offset / span * 1000) ** 2 == pytest.approx(angle**2 / 2)


def test_rows_that_cannot_be_are_refused() -> None:
    with pytest.raises(InvalidValueError, match="two rows"):
        plan_moves(Misalignment(), movable=rows((200,)))
    with pytest.raises(InvalidValueError, match="two rows"):
        plan_moves(Misalignment(), movable=rows((200, 200)))
    with pytest.raises(InvalidValueError, match="side of the coupling"):
        plan_moves(Misalignment(), movable=rows((-200, 200)))
    with pytest.raises(InvalidValueError, match="side of the coupling"):
        plan_moves(Misalignment(), stationary=rows((200, 800)), moving=Moving.STATIONARY)
    with pytest.raises(InvalidValueError, match="not 0"):
        FootRow(0.0)
    with pytest.raises(InvalidValueError, match="room"):
        FootRow(100.0, left_mm=-0.1)
    with pytest.raises(InvalidValueError, match="scale"):
        plan_moves(Misalignment(), movable=rows((200, 800)), scale=(0.0, 1.0))
