"""Limit units against the judgement of single jobs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.history.limit_space import in_limit_units, judged_rows, ratio_in_limit_units
from models.maths.limits import limit_ratio
from models.units import Quantity, to_stored
from tests.fleet import Plan, job_columns, make_fleet

FINITE = st.floats(-2, 2, allow_nan=False)


@given(st.lists(FINITE, min_size=4, max_size=4), st.booleans(), st.booleans())
def test_the_ratio_in_limit_units_is_the_limit_ratio(values: list[float], spacer: bool, each: bool) -> None:
    deviation = np.array([values])
    limits = np.array([[np.nan, np.nan, 0.5, 0.05]]) if spacer else np.array([[0.08, 0.67, np.nan, 0.05]])
    span, each_axis = np.array([180.0 if spacer else np.nan]), np.array([each])
    size = in_limit_units(deviation, limits, span)
    expected = limit_ratio(deviation, limits, each_axis, span)
    assert ratio_in_limit_units(size, each_axis)[0] == pytest.approx(expected[0], rel=1e-12, abs=1e-15)


@given(st.lists(FINITE, min_size=4, max_size=4), st.lists(FINITE, min_size=4, max_size=4))
def test_the_way_to_limit_units_is_linear(a: list[float], b: list[float]) -> None:
    limits, span = np.array([[np.nan, np.nan, 0.5, np.nan]]), np.array([140.0])
    one, two = np.array([a]), np.array([b])
    both = in_limit_units(one - two, limits, span)
    np.testing.assert_allclose(both, in_limit_units(one, limits, span) - in_limit_units(two, limits, span), atol=1e-9)


def test_mil_and_millimetres_give_the_same_limit_units() -> None:
    limits, span = np.array([[0.0508, 0.5, np.nan, np.nan]]), np.array([np.nan])
    in_mil = np.array(
        [[to_stored(2.0, "mil", Quantity.OFFSET), to_stored(0.5, "mil/in", Quantity.ANGULARITY), 0.0, 0.0]]
    )
    np.testing.assert_allclose(in_limit_units(in_mil, limits, span), [[1.0, 1.0, 0.0, 0.0]], rtol=1e-12)


def test_a_limit_of_zero_judges_nothing() -> None:
    size = in_limit_units(np.ones((1, 4)), np.array([[0.0, 1.0, np.nan, np.nan]]), np.array([np.nan]))
    assert np.isnan(size[0, [0, 2]]).all()
    assert size[0, 1] == 1.0


def test_the_planted_fleet_is_in_its_own_limit_units() -> None:
    jobs = make_fleet(1, Plan(assets=30))[0].jobs
    size = in_limit_units(jobs.left - jobs.target, jobs.limits, jobs.span_mm)
    np.testing.assert_allclose(ratio_in_limit_units(size, jobs.each_axis), jobs.left_ratio, rtol=1e-9)


def test_the_last_job_with_limits_gives_the_unit() -> None:
    limits = [[0.1, 1, np.nan, np.nan], [0.2, 1, np.nan, np.nan], [np.nan] * 4, [np.nan] * 4]
    assert judged_rows(job_columns([0, 0, 0, 1], [0, 1, 2, 3], limits=limits), 3).tolist() == [1, -1, -1]
