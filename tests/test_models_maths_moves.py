"""Moves: applied, they leave nothing; held back, they leave the least."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog, lsq_linear, minimize_scalar

from models.errors import InvalidValueError
from models.maths.geometry import after_moves, line_at
from models.maths.limits import limit_ratio
from models.maths.moves import SHORT_SCALE, FootRow, MachineMoves, Moving, plan_moves, spacer_scale
from models.maths.slips import judged_of
from models.maths.smallest_ratio import _support, strip
from models.units import MM_PER_INCH, MM_PER_MIL
from models.values.job import Misalignment
from models.values.kinds import Coupling
from models.values.limits import LimitsGiven

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


SPAN = 400.0
WAYS = {
    "resultant": (LimitsGiven(0.07, 0.56), None, (0.07, 0.56)),
    "each axis": (LimitsGiven(0.07, 0.56, each_axis=True), None, (0.07, 0.56)),
    "offset alone": (LimitsGiven(0.07), None, SHORT_SCALE),
    "angularity alone": (LimitsGiven(None, 0.56), None, SHORT_SCALE),
    "flex planes": (LimitsGiven(flex_mm_m=0.5), SPAN, tuple(0.5 * one for one in spacer_scale(SPAN))),
}


def ratio(deviation: np.ndarray, limits: LimitsGiven, span: float | None) -> np.ndarray:
    """Judge deviations, one a row, as the book does."""
    bounds = (limits.offset_mm, limits.angle_mm_m, limits.flex_mm_m, None)
    return limit_ratio(
        deviation,
        np.full((len(deviation), 4), np.array(bounds, dtype=np.float64)),
        np.full(len(deviation), limits.each_axis),
        np.full(len(deviation), np.nan if span is None else span),
    )


def moved(m: Misalignment, moves: np.ndarray, x: tuple[float, ...]) -> np.ndarray:
    """Give what remains of a deviation after moves of the first and the last row, V and H [(n, 4) mm], of one machine or two."""
    left = np.tile(m.as_tuple(), (len(moves), 1))
    for place in range(0, len(x), 2):
        near, far = x[place : place + 2]
        sign = 1.0 if near > 0 else -1.0
        for axis in (0, 1):
            first, last = moves[:, len(x) * axis + place], moves[:, len(x) * axis + place + 1]
            slope = (last - first) / (far - near)
            left[:, 2 * axis] += sign * (first - slope * near)
            left[:, 2 * axis + 1] += sign * slope * 1000.0
    return left


@pytest.mark.parametrize("way", WAYS)
@settings(max_examples=10, deadline=None)
@given(m=MISALIGNED, room=st.tuples(*[st.floats(0, 0.6)] * 8))
def test_held_feet_leave_the_smallest_ratio_as_an_independent_library_and_a_crowd_of_moves_find_it(
    way: str, m: Misalignment, room: tuple[float, ...]
) -> None:
    limits, span, scale = WAYS[way]
    x = (200.0, 600.0)
    feet = [FootRow(x[i], *room[4 * i : 4 * i + 4]) for i in range(2)]
    judged = judged_of(limits, Coupling.SPACER if span else Coupling.SHORT, span)
    plan = plan_moves(
        m, movable=feet, scale=scale, each_axis=limits.each_axis, at_flex_planes=span is not None, judged=judged
    )
    ours = float(ratio(np.array([plan.remains.as_tuple()]), limits, span)[0])
    lower, upper = -np.array(room)[[0, 4, 2, 6]], np.array(room)[[1, 5, 3, 7]]

    lot = np.random.default_rng(7)
    corners = np.array(list(product(*zip(lower, upper, strict=True))))
    crowd = np.concatenate([lot.uniform(lower, upper, (2000, 4)), corners])
    assert ratio(moved(m, crowd, x), limits, span).min() >= ours - 1e-9

    # What an independent library finds for any share of the two judged sizes is a bound from below, and the best such bound is reached.
    effect = np.array([[x[1], -x[0]], [-1000.0, 1000.0]]) / (x[1] - x[0]) / np.array(scale)[:, None]
    turn = np.eye(2) if span is None else np.array([[0.5, 0.5], [-0.5, 0.5]])
    start = np.array(m.as_tuple()).reshape(2, 2) / np.array(scale)

    def bound(share: float, axes: tuple[int, ...]) -> float:
        weigh = np.sqrt([[share], [1.0 - share]])
        return sum(
            2.0 * lsq_linear(
                weigh * (turn @ effect), -weigh[:, 0] * (turn @ start[axis]),
                (lower[2 * axis : 2 * axis + 2], upper[2 * axis : 2 * axis + 2] + 1e-9), method="bvls", tol=1e-14,
            ).cost
            for axis in axes
        )  # fmt: skip

    if judged != (True, True):  # one size alone counts, in parts of the scale
        unit = limits.offset_mm / scale[0] if judged[0] else limits.angle_mm_m / scale[1]  # type: ignore[operator]
        assert ours * unit == pytest.approx(math.sqrt(bound(float(judged[0]), (0, 1))), rel=1e-4, abs=1e-4)
        return
    each = [(0,), (1,)] if limits.each_axis else [(0, 1)]
    found = [
        minimize_scalar(lambda s, axes=axes: -bound(s, axes), bounds=(0, 1), method="bounded", options={"xatol": 1e-9})
        for axes in each
    ]
    assert ours == pytest.approx(max(math.sqrt(max(0.0, -one.fun)) for one in found), rel=1e-4, abs=1e-4)


@settings(max_examples=10, deadline=None)
@given(m=MISALIGNED, room=st.tuples(*[st.floats(0, 0.4) | st.just(math.inf)] * 16))
def test_two_machines_whose_feet_are_held_do_as_well_as_any_moves_of_a_crowd(
    m: Misalignment, room: tuple[float, ...]
) -> None:
    limits, _, scale = WAYS["resultant"]
    x = (200.0, 600.0, -150.0, -500.0)
    feet = [FootRow(x[i], *room[4 * i : 4 * i + 4]) for i in range(4)]
    plan = plan_moves(m, movable=feet[:2], stationary=feet[2:], moving=Moving.BOTH, scale=scale)
    ours = float(ratio(np.array([plan.remains.as_tuple()]), limits, None)[0])
    bounds = np.minimum(np.array(room).reshape(4, 4), 3.0)
    lower, upper = -np.concatenate([bounds[:, 0], bounds[:, 2]]), np.concatenate([bounds[:, 1], bounds[:, 3]])
    crowd = np.random.default_rng(7).uniform(lower, upper, (3000, 8))
    corners = np.array(list(product(*zip(lower, upper, strict=True))))
    for moves in (crowd, corners):
        assert ratio(moved(m, moves, x), limits, None).min() >= ours - 1e-9
    shims = np.concatenate([np.array(one.shims_mm) for one in (plan.movable, plan.stationary) if one is not None])
    assert (shims >= -np.array(room).reshape(4, 4)[:, 0] - 1e-6).all()
    assert (shims <= np.array(room).reshape(4, 4)[:, 1] + 1e-6).all()


def test_how_far_strips_reach_is_what_a_linear_programme_finds() -> None:
    rng = np.random.default_rng(9)
    for _ in range(60):
        n = int(rng.integers(1, 5))
        ends = np.where(rng.random((n, 2)) < 0.8, rng.uniform(0.0, 2.0, (n, 2)), np.inf)
        made = [
            strip((math.cos(a), math.sin(a)), -low, high)
            for a, (low, high) in zip(rng.uniform(0, 7, n), ends, strict=True)
        ]
        strips = [one for one in made if one is not None]
        way = (float(rng.normal()), float(rng.normal()))
        rows = [(one.normal, one.high) for one in strips] + [
            ((-one.normal[0], -one.normal[1]), -one.low) for one in strips
        ]
        rows = [(normal, end) for normal, end in rows if math.isfinite(end)]
        bound = linprog(
            [-way[0], -way[1]], [row[0] for row in rows] or None, [row[1] for row in rows] or None, bounds=(None, None)
        )
        assert _support(strips, way) == pytest.approx(-bound.fun if bound.status == 0 else math.inf, abs=1e-7)


def test_a_machine_that_can_come_within_its_limits_is_brought_there() -> None:
    """Row 1 lies on its base; by least squares it stayed over, at 1.08 of its limit, where 0.92 can be had.

    Row 1 stays, row 2 goes up by s: offset 3.3 − s/2 mil, angularity 0.41 + s/16 mil/in.  Both are the same part of
    2.7 mil and 0.56 mil/in at s = 1.65.
    """
    limits = (2.7 * MM_PER_MIL, 0.56)
    feet = [FootRow(8 * MM_PER_INCH, shim_out_mm=0.0), FootRow(24 * MM_PER_INCH)]
    plan = plan_moves(Misalignment(3.3 * MM_PER_MIL, 0.41), movable=feet, scale=limits)
    assert plan.movable is not None
    s = (3.3 / 2.7 - 0.41 / 0.56) / (0.5 / 2.7 + 1 / 16 / 0.56)
    assert [x / MM_PER_MIL for x in plan.movable.shims_mm] == pytest.approx([0.0, s])
    assert plan.remains.offset_v / limits[0] == pytest.approx(plan.remains.angle_v / limits[1])
    assert plan.remains.angle_v / limits[1] == pytest.approx((0.41 + s / 16) / 0.56)
    assert plan.remains.angle_v < limits[1]


def test_a_base_bound_row_is_kept_and_the_rest_is_told() -> None:
    plan = plan_moves(Misalignment(0.5, 0.0), movable=[FootRow(200.0, shim_out_mm=0.0), FootRow(800.0)])
    assert plan.movable is not None
    assert plan.movable.shims_mm[0] == pytest.approx(0.0)
    assert plan.movable.held_v == (True, False)
    assert not plan.complete
    assert 0 < plan.remains.offset_v < 0.5


@pytest.mark.parametrize(
    ("judged", "shim", "remains"), [((False, True), -0.6, (0.5, 0.0)), ((True, False), 0.9, (0.0, 2.5))]
)
def test_what_has_no_limit_comes_second(judged: tuple[bool, bool], shim: float, remains: tuple[float, float]) -> None:
    """Derived: at the row that cannot go down y stays 0.5 mm; with angularity judged the line is level there, with the offset it runs to 0."""
    plan = plan_moves(Misalignment(0.30, 1.0), movable=[FootRow(200.0, shim_out_mm=0.0), FootRow(800.0)], judged=judged)
    assert plan.movable is not None
    assert plan.movable.shims_mm == pytest.approx((0.0, shim), abs=1e-6)
    assert plan.remains.as_tuple()[:2] == pytest.approx(remains, abs=1e-6)


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
