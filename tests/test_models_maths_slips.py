"""Slips: made ones are seen, ordinary jobs are left in peace."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.console.book import starter_limits
from models.maths.judged import limits_for
from models.maths.moves import SHORT_SCALE
from models.maths.plausible import Doubt, Gravity
from models.maths.plausible_job import Beside, check_job
from models.maths.slips import (
    FINEST_MM,
    IMPOSSIBLE,
    MIN_PAST,
    ODD,
    UNIT_FACTORS,
    Swap,
    check_signs,
    check_size,
    check_unit,
    limit_scale,
    swap_of,
    unit_slip,
)
from models.units import Display
from models.values.asset import Asset
from models.values.description import version_on
from models.values.job import Job, Misalignment
from models.values.kinds import Coupling
from models.values.limits import LimitsGiven
from seed_data.generate import generate

USUAL = st.floats(0.03, 0.07)
PAST = st.lists(USUAL, min_size=MIN_PAST, max_size=8)
MM = Display("mm")
PART = st.floats(-1.0, 1.0)


def scaled(ov: float, av: float, oh: float, ah: float) -> Misalignment:
    """Give a misalignment in units of the scale, so that a number says how many limits it is."""
    return Misalignment(ov * SHORT_SCALE[0], av * SHORT_SCALE[1], oh * SHORT_SCALE[0], ah * SHORT_SCALE[1])


@given(st.floats(0.6, 1.8), PAST, st.sampled_from(UNIT_FACTORS))
def test_a_usual_value_in_the_wrong_unit_is_seen(share: float, past: list[float], factor: float) -> None:
    value = share * past[0]
    assert unit_slip(value * factor, past, FINEST_MM) == 1
    assert unit_slip(value / factor, past, FINEST_MM) == -1


@given(st.floats(0.0051, 0.15), PAST)
def test_an_ordinary_value_is_left_in_peace(value: float, past: list[float]) -> None:
    assert unit_slip(value, past, FINEST_MM) == 0


@given(st.floats(0.0, 50.0), st.lists(USUAL, max_size=MIN_PAST - 1))
def test_nothing_is_usual_before_three_jobs(value: float, past: list[float]) -> None:
    assert unit_slip(value, past, FINEST_MM) == 0


def test_nothing_at_all_is_no_slip_of_the_unit() -> None:
    assert unit_slip(0.0, [0.05, 0.06, 0.07], FINEST_MM) == 0
    assert unit_slip(0.004, [0.001, 0.001, 0.002], FINEST_MM) == 0, (
        "earlier values that are all reading error tell nothing"
    )


def test_the_sentence_names_the_value_and_what_is_usual() -> None:
    past = [Misalignment(0.06, 0.2), Misalignment(0.0, 0.3, 0.05), Misalignment(0.04, 0.1)]
    (check,) = check_unit(Misalignment(2.4, 0.2), past, "found", MM)
    assert check.doubt is Doubt.UNIT
    assert check.gravity is Gravity.REASON
    assert check.field == "found.offset"
    assert "2.400 mm is 48 times too large" in check.sentence
    assert "near 0.050 mm" in check.sentence
    assert not check_unit(Misalignment(0.002, 0.2), past, "left", MM, small_too=False), "an as-left may be very good"


def test_a_size_that_no_machine_has_stops() -> None:
    assert check_size(Misalignment(ODD[0], ODD[1]), "found", MM) == ()
    odd, impossible = check_size(Misalignment(2.1, 0.0, 0.0, 101.0), "found", MM)
    assert (odd.gravity, odd.field) == (Gravity.REASON, "found.offset_v")
    assert (impossible.gravity, impossible.field) == (Gravity.STOP, "found.angle_h")
    assert IMPOSSIBLE == (25.0, 100.0)


axis = st.tuples(
    st.floats(0.5, 3.0), st.floats(0.5, 3.0), st.sampled_from([-1.0, 1.0]), st.sampled_from([-1.0, 1.0])
).map(lambda t: (t[0] * t[2], t[1] * t[3]))
error = st.tuples(*[st.floats(-0.1, 0.1)] * 4)


@given(axis, axis, error)
def test_swapped_signs_and_total_readings_are_seen(
    v: tuple[float, float], h: tuple[float, float], e: tuple[float, ...]
) -> None:
    old = scaled(*v, *h)
    size = min(abs(x) for x in (*v, *h))
    e = tuple(x * size for x in e)
    flipped = scaled(-v[0] + e[0], -v[1] + e[1], -h[0] + e[2], -h[1] + e[3])
    assert swap_of(flipped, old, SHORT_SCALE) is Swap.FLIPPED
    side = scaled(v[0] + e[0], v[1] + e[1], -h[0] + e[2], -h[1] + e[3])
    assert swap_of(side, old, SHORT_SCALE) is Swap.FLIPPED_H
    signs = scaled(-v[0] + e[0], -v[1] + e[1], h[0] + e[2], h[1] + e[3])
    assert swap_of(signs, old, SHORT_SCALE) is Swap.FLIPPED_V
    doubled = scaled(2 * v[0] + e[0], 2 * v[1] + e[1], 2 * h[0] + e[2], 2 * h[1] + e[3])
    assert swap_of(doubled, old, SHORT_SCALE) is Swap.DOUBLED
    offsets = scaled(2 * v[0], v[1], 2 * h[0], h[1])
    assert (
        swap_of(offsets, old, SHORT_SCALE) is Swap.DOUBLED_OFFSETS or swap_of(offsets, old, SHORT_SCALE) is Swap.DOUBLED
    )


@given(axis, axis, st.tuples(*[st.floats(-0.45, 0.45)] * 4))
def test_an_ordinary_run_is_neither_flipped_nor_doubled(
    v: tuple[float, float], h: tuple[float, float], drift: tuple[float, ...]
) -> None:
    numbers = (*v, *h)
    new = scaled(*(x + abs(x) * d for x, d in zip(numbers, drift, strict=True)))
    assert swap_of(new, scaled(*numbers), SHORT_SCALE) is None


@given(PART, PART, PART, PART)
def test_what_is_mostly_reading_error_has_no_sign(a: float, b: float, c: float, d: float) -> None:
    old = scaled(a * 0.1, b * 0.1, c * 0.1, d * 0.1)
    new = Misalignment(*(-x for x in old.as_tuple()))
    assert swap_of(new, old, SHORT_SCALE) is None


def test_the_sentence_says_against_what_and_what_to_look_at() -> None:
    left, found = scaled(0.6, 0.2, -0.5, 0.3), scaled(0.6, 0.2, 0.5, -0.3)
    (check,) = check_signs(found, left, SHORT_SCALE, "found")
    assert check.doubt is Doubt.FLIPPED
    assert check.sentence.startswith("Against what was left last time, the horizontal signs")
    assert "from which side" in check.sentence
    (wrong_way,) = check_signs(scaled(2, 2, 2, 2), scaled(1, 1, 1, 1), SHORT_SCALE, "left")
    assert wrong_way.doubt is Doubt.DOUBLED
    assert "moved the wrong way" in wrong_way.sentence
    assert check_signs(scaled(0.1, 0.1, 0.1, 0.1), scaled(1, 1, 1, 1), SHORT_SCALE, "left") == ()


def test_the_scale_is_that_of_the_limits_in_force() -> None:
    assert limit_scale(LimitsGiven(0.08, 0.7), Coupling.SHORT, None) == (0.08, 0.7)
    assert limit_scale(LimitsGiven(flex_mm_m=0.5), Coupling.SPACER, 200.0) == pytest.approx((0.05, 0.5))
    assert limit_scale(LimitsGiven(), Coupling.SHORT, None) == SHORT_SCALE


def test_the_invented_plant_is_seldom_asked_about_slips_that_nobody_made() -> None:
    """2,000 jobs without a slip of unit or sign in them: fewer than 1 in 100 may be asked about."""
    plant, limit_set = generate(), starter_limits("tester")
    versions: dict[str, list[Asset]] = defaultdict(list)
    breaks: dict[str, list[date]] = defaultdict(list)
    earlier: dict[str, list[Job]] = defaultdict(list)
    for asset in plant.assets:
        versions[asset.tag].append(asset)
    for broken in plant.breaks:
        breaks[broken.tag].append(broken.on)
    asked = 0
    for job in plant.jobs:
        asset = version_on(versions[job.tag], job.performed_at.date())
        limits = limits_for(limit_set, asset.coupling, asset.limit_speed_rpm)
        beside = Beside(
            asset, datetime(2026, 12, 1, tzinfo=UTC), tuple(earlier[job.tag]), tuple(breaks[job.tag]), (), limits
        )
        doubts = {check.doubt for check in check_job(job, beside)}
        asked += bool(doubts & {Doubt.UNIT, Doubt.FLIPPED, Doubt.DOUBLED, Doubt.SIZE, Doubt.HOURS})
        earlier[job.tag].append(job)
    assert len(plant.jobs) > 1500
    assert asked < len(plant.jobs) / 100
