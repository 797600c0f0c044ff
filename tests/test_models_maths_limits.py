"""Judgement: limits for a machine, and the limit ratio."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.console.book import starter_limits
from models.errors import UnreadableFileError
from models.intake.limit_file import read_limit_set
from models.maths.judged import limits_for, ratio_of
from models.maths.limits import flex_angles, limit_ratio
from models.values.kinds import Coupling
from models.values.limits import Combine, Judged, LimitRow, LimitSet, LimitsGiven

STARTER = starter_limits("tester")
NAN = float("nan")


def ratio(deviation: tuple[float, ...], limits: tuple[float, ...], *, each: bool = False, span: float = NAN) -> float:
    return float(limit_ratio(np.array([deviation]), np.array([limits]), np.array([each]), np.array([span]))[0])


def one(rows: list[LimitRow]) -> LimitSet:
    return LimitSet("own", "tests", "tester", date(2026, 1, 1), tuple(rows))


def test_the_starter_rule_falls_with_speed_and_is_capped_at_750_rpm() -> None:
    """Source: this project's own rule (design, limit set): 120 / rpm mm, 1000 / rpm mm/m, capped at 750 rpm."""
    at_1500 = limits_for(STARTER, Coupling.SHORT, 1500.0)
    assert (at_1500.offset_mm, at_1500.angle_mm_m) == (pytest.approx(0.08), pytest.approx(1000 / 1500))
    slow = limits_for(STARTER, Coupling.SHORT, 300.0)
    assert (slow.offset_mm, slow.angle_mm_m) == (pytest.approx(0.16), pytest.approx(1000 / 750))
    assert limits_for(STARTER, Coupling.SHORT, 750.0) == slow


def test_a_spacer_coupling_is_judged_at_its_flex_planes_at_any_speed() -> None:
    for speed in (None, 990.0, 3600.0):
        given_ = limits_for(STARTER, Coupling.SPACER, speed)
        assert (given_.offset_mm, given_.angle_mm_m, given_.flex_mm_m, given_.soft_foot_mm) == (None, None, 0.5, 0.05)


def test_flex_plane_rule_of_half_a_mil_per_inch() -> None:
    """CV-29: 0.5 mil per inch of separation; 10 in give 5 mil (254 mm → 0.127 mm).

    Source of the rule: C. Jackson, chapter on alignment with proximity probes; the product is derived.
    """
    limit = limits_for(STARTER, Coupling.SPACER, 3000.0).flex_mm_m
    assert limit is not None
    assert limit * 254.0 / 1000.0 == pytest.approx(0.127, abs=1e-12)


def test_flex_angles_of_the_worked_example() -> None:
    """CV-26 (derived in the project's trade reference): y(0) 0.10 mm, slope 0.5 mm/m, span 200 mm.

    There x = 0 lies at the stationary flex plane; here at the coupling centre, so the offset is 0.10 + 0.5·0.1 = 0.15 mm.
    """
    alpha, beta, _, _ = flex_angles(np.array([[0.15, 0.5, 0.0, 0.0]]), np.array([200.0]))[0]
    assert (alpha, beta) == (pytest.approx(1.0), pytest.approx(-0.5))


@given(st.lists(st.floats(-2, 2), min_size=4, max_size=4), st.floats(50, 2000))
def test_the_two_flex_angles_add_up_to_the_angularity(deviation: list[float], span: float) -> None:
    angles = flex_angles(np.array([deviation]), np.array([span]))[0]
    assert angles[0] + angles[1] == pytest.approx(deviation[1], abs=1e-9)
    assert angles[2] + angles[3] == pytest.approx(deviation[3], abs=1e-9)


def test_the_resultant_is_judged_and_not_each_axis() -> None:
    assert ratio((0.06, 0.0, 0.08, 0.0), (0.1, NAN, NAN, NAN)) == pytest.approx(1.0)
    assert ratio((0.06, 0.0, 0.08, 0.0), (0.1, NAN, NAN, NAN), each=True) == pytest.approx(0.8)


def test_the_largest_of_all_that_is_judged_counts() -> None:
    assert ratio((0.05, 1.5, 0.0, 0.0), (0.1, 1.0, NAN, 0.05)) == pytest.approx(1.5)


def test_exactly_at_the_limit_is_within() -> None:
    assert ratio((0.1, 0.0, 0.0, 0.0), (0.1, 1.0, NAN, NAN)) == 1.0


def _at_the_limit() -> list[tuple[tuple[float, float, float, float], LimitsGiven, float | None]]:
    """Give deviations that lie at their limit in decimals: by a target, as resultant, in mil, at a flex plane."""
    found = []
    for hundredths in range(-40, 41):
        target = hundredths / 100.0
        for limit in (0.04, 0.06, 0.08):
            deviation = round(target + limit, 2) - target
            found.append(((deviation, 0.0, 0.0, 0.0), LimitsGiven(limit, None, None, None, False), None))
            found.append(((0.0, 0.0, 0.0, -deviation * 10.0), LimitsGiven(None, limit * 10.0, None, None, True), None))
            found.append(((deviation * 0.6, 0.0, -deviation * 0.8, 0.0), LimitsGiven(limit), None))
            mil = (deviation * 1000.0 * 0.0254, 0.0, 0.0, 0.0)
            found.append((mil, LimitsGiven(round(limit * 25.4, 6)), None))
            flex = LimitsGiven(None, None, limit * 5.0, None, False)
            found.append(((deviation * 0.1, deviation * 8.0, 0.0, 0.0), flex, 100.0))
    return [*found, ((0.525, 0.0, 0.70, 0.0), LimitsGiven(0.875), None)]


def test_at_the_limit_in_decimals_is_a_ratio_of_one_in_both_ways() -> None:
    """0.14 against a target of 0.10 is 0.04 and a bit in the machine's numbers; a limit of 0.04 holds all the same."""
    cases = _at_the_limit()
    assert sum(abs(deviation[0]) > (given_.offset_mm or 9.0) for deviation, given_, _ in cases) > 60
    assert {ratio_of(*case) for case in cases} == {1.0}
    limits = np.array(
        [(given_.offset_mm, given_.angle_mm_m, given_.flex_mm_m, None) for _, given_, _ in cases], dtype=np.float64
    )
    deviation, span = np.array([case[0] for case in cases]), np.array([case[2] for case in cases], dtype=np.float64)
    each = np.array([given_.each_axis for _, given_, _ in cases])
    assert set(limit_ratio(deviation, limits, each, span).tolist()) == {1.0}
    # What can be measured still counts: a hundred-thousandth of a millimetre more is over, and one less is within.
    for size in (0.04 + 1e-5, 0.04 - 1e-5, 0.04 + 1e-9, 0.04 - 1e-9):
        more = ratio_of((size, 0.0, 0.0, 0.0), LimitsGiven(0.04), None)
        assert more is not None
        assert (more > 1.0) == (size > 0.04)
        assert more == ratio((size, 0.0, 0.0, 0.0), (0.04, NAN, NAN, NAN)) != 1.0


def test_nothing_measured_or_nothing_judged_gives_no_ratio_and_no_warning() -> None:
    assert np.isnan(ratio((NAN, NAN, NAN, NAN), (0.1, 1.0, NAN, NAN)))
    assert np.isnan(ratio((0.1, 0.0, 0.0, 0.0), (NAN, NAN, NAN, 0.05)))
    assert limit_ratio(np.zeros((0, 4)), np.zeros((0, 4)), np.zeros(0, dtype=bool), np.zeros(0)).shape == (0,)


def test_a_spacer_ratio_takes_the_worse_plane() -> None:
    # offset 0.15, slope 0.5, span 200: planes 1.0 and −0.5 mm/m (CV-26), limit 0.5 → 2.0
    assert ratio((0.15, 0.5, 0.0, 0.0), (NAN, NAN, 0.5, NAN), span=200.0) == pytest.approx(2.0)


def test_a_row_for_the_coupling_comes_before_one_for_any_and_bands_end_at_their_upper_bound() -> None:
    rows = [
        LimitRow(Judged.OFFSET, value=0.2),
        LimitRow(Judged.OFFSET, Coupling.SHORT, above_rpm=0, upto_rpm=1500, value=0.1),
        LimitRow(Judged.OFFSET, Coupling.SHORT, above_rpm=1500, upto_rpm=3000, value=0.05, combine=Combine.EACH),
    ]
    limit_set = one(rows)
    assert limits_for(limit_set, Coupling.SHORT, 1500.0).offset_mm == 0.1
    faster = limits_for(limit_set, Coupling.SHORT, 1500.1)
    assert (faster.offset_mm, faster.each_axis) == (0.05, True)
    assert limits_for(limit_set, Coupling.SHORT, 3600.0).offset_mm == 0.2
    assert limits_for(limit_set, Coupling.SPACER, 1500.0).offset_mm == 0.2
    assert limits_for(limit_set, Coupling.SHORT, None).offset_mm == 0.2
    # A band begins above its lower bound, also where no other one ends there.
    assert limits_for(one(rows[2:]), Coupling.SHORT, 1500.0).offset_mm is None


def test_only_rows_that_judge_a_machine_say_whether_its_axes_are_judged_together() -> None:
    """A spacer is not judged at its centre, so a row for offsets has no say; a mixed set is judged by the stricter way."""
    centre = LimitRow(Judged.OFFSET, value=0.1, combine=Combine.EACH)
    flex = LimitRow(Judged.FLEX_ANGLE, Coupling.SPACER, value=0.5)
    assert not limits_for(one([centre, flex]), Coupling.SPACER, 1500.0).each_axis
    assert limits_for(one([centre, flex]), Coupling.SHORT, 1500.0).each_axis
    mixed = one([centre, LimitRow(Judged.ANGULARITY, value=1.0)])
    assert not limits_for(mixed, Coupling.SHORT, 1500.0).each_axis
    soft = one([centre, LimitRow(Judged.SOFT_FOOT, value=0.05)])
    assert limits_for(soft, Coupling.SHORT, 1500.0).each_axis


MIXED = """name = "m"
source = "made for a test"
[[row]]
judged = "offset"
value = 0.1
combine = "each"
[[row]]
judged = "angularity"
coupling = "short flexible"
value = 1.0
"""


def test_a_set_that_would_judge_a_machine_in_two_ways_is_refused_with_what_to_do(tmp_path: Path) -> None:
    path = tmp_path / "set.toml"
    path.write_text(MIXED)
    with pytest.raises(UnreadableFileError, match="give both rows the same 'combine'"):
        read_limit_set(path, adopted_by="A", adopted_on=date(2026, 1, 1))
    path.write_text(MIXED + 'combine = "each"\n[[row]]\njudged = "flex angle"\ncoupling = "spacer"\nvalue = 0.5\n')
    assert len(read_limit_set(path, adopted_by="A", adopted_on=date(2026, 1, 1)).rows) == 3
    path.write_text(
        MIXED.replace("value = 1.0", "value = 1.0\nabove_rpm = 1500").replace(
            "value = 0.1", "value = 0.1\nupto_rpm = 1500"
        )
    )
    assert len(read_limit_set(path, adopted_by="A", adopted_on=date(2026, 1, 1)).rows) == 2, (
        "they never judge one machine"
    )


def test_a_machine_of_unknown_speed_gets_no_limit_that_depends_on_speed() -> None:
    assert limits_for(STARTER, Coupling.SHORT, None).offset_mm is None


@given(
    st.lists(st.lists(st.floats(-1, 1), min_size=4, max_size=4), min_size=1, max_size=8),
    st.floats(0.01, 1),
    st.floats(0.1, 2),
    st.floats(0, 6.283),
)
def test_turning_the_axes_and_scaling_do_what_they_must(
    rows: list[list[float]], offset: float, angle: float, turn: float
) -> None:
    deviation = np.array(rows)
    n = len(rows)
    limits = np.tile([offset, angle, NAN, NAN], (n, 1))
    flat, none = np.zeros(n, dtype=bool), np.full(n, NAN)
    before = limit_ratio(deviation, limits, flat, none)
    cos, sin = np.cos(turn), np.sin(turn)
    turned = np.stack(
        [
            cos * deviation[:, 0] - sin * deviation[:, 2],
            cos * deviation[:, 1] - sin * deviation[:, 3],
            sin * deviation[:, 0] + cos * deviation[:, 2],
            sin * deviation[:, 1] + cos * deviation[:, 3],
        ],
        axis=1,
    )
    np.testing.assert_allclose(limit_ratio(turned, limits, flat, none), before, atol=1e-9)
    np.testing.assert_allclose(limit_ratio(2 * deviation, limits, flat, none), 2 * before, rtol=1e-12)
    np.testing.assert_allclose(limit_ratio(deviation, 2 * limits, flat, none), before / 2, rtol=1e-12)


_SIZES = st.floats(-3.0, 3.0) | st.integers(-3000, 3000).map(lambda size: size / 1000.0)
_BOUNDS = st.none() | st.floats(0.001, 5.0)


@given(
    st.tuples(_SIZES, _SIZES, _SIZES, _SIZES),
    st.builds(LimitsGiven, _BOUNDS, _BOUNDS, _BOUNDS, _BOUNDS, st.booleans()),
    st.none() | st.floats(20.0, 2000.0),
)
def test_one_ratio_in_plain_numbers_is_that_of_the_arrays_to_the_last_bit(
    deviation: tuple[float, float, float, float], limits: LimitsGiven, span: float | None
) -> None:
    bounds = (limits.offset_mm, limits.angle_mm_m, limits.flex_mm_m, limits.soft_foot_mm)
    many = ratio(
        deviation,
        tuple(NAN if bound is None else bound for bound in bounds),
        each=limits.each_axis,
        span=NAN if span is None else span,
    )
    one_alone = ratio_of(deviation, limits, span)
    assert (NAN if one_alone is None else one_alone).hex() == many.hex()


def test_many_ratios_are_those_of_one_after_the_other() -> None:
    """A thousandth of all pairs has another resultant by ``math.hypot``; none may have one here."""
    chance = np.random.default_rng(29)
    deviations = chance.normal(0.0, 0.1, (20_000, 4))
    given_ = LimitsGiven(0.05, 0.4, None, None, each_axis=False)
    limits = np.tile([0.05, 0.4, NAN, NAN], (len(deviations), 1))
    many = limit_ratio(deviations, limits, np.zeros(len(deviations), dtype=bool), np.full(len(deviations), NAN))
    assert [ratio_of(tuple(one), given_, None) for one in deviations.tolist()] == many.tolist()
