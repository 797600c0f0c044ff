"""One machine's forecast as a limit ratio, and carried over to other limits."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.views.asset_standing import OTHER_PLACES, ratio_band, row_of, rows_of, under_other_limits
from models.history.engine import study_of
from models.history.forecast import forecast_at, reading_interval
from models.history.standing import COARSE, NOT_JUDGED
from models.values.limits import LimitsGiven
from tests.history_maker import made_book

HISTORY = made_book().history(1)
STUDY = study_of(HISTORY)
CAN = np.flatnonzero(STUDY.standing.can).tolist()
NAN = float("nan")


def alone(**changes: Any) -> Any:
    """Give a machine that stays where it was left; its readings have a standard deviation of 0.1 limits."""
    one = rows_of(STUDY.standing, CAN[0], 1)
    values: dict[str, Any] = {
        "left": np.zeros((1, 4)),
        "rate": np.zeros((1, 4)),
        "rate_variance": np.zeros((1, 4)),
        "walk": np.zeros((1, 4)),
        "reading": np.full((1, 4), 0.005),  # a reading and the as-left before it: twice this
        "df": np.array([np.inf]),
        "each_axis": np.array([False]),
        "level_factor": np.ones((1, 3)),
    }
    return replace(one, **{**values, **changes})


def test_a_machine_is_found_by_its_number_in_the_book() -> None:
    assert row_of(HISTORY, 3) == 2
    assert row_of(HISTORY, 999) == -1


def test_the_row_of_a_machine_is_repeated() -> None:
    many = rows_of(STUDY.standing, CAN[1], 3)
    assert len(many.n) == 3
    np.testing.assert_array_equal(many.left[2], STUDY.standing.left[CAN[1]])


def test_the_band_at_one_place_without_drift_is_that_of_a_rayleigh_distribution() -> None:
    """Quantile of Rayleigh: s √(−2 ln(1 − q)), with s = 0.1 (derived from the normal distribution of two axes)."""
    nowhere = np.array([[0.0, NAN, 0.0, NAN]])
    low, middle, high = ratio_band(alone(left=nowhere), np.zeros(1))
    wanted = 0.1 * np.sqrt(-2.0 * np.log(1.0 - np.array([0.1, 0.5, 0.9])))
    np.testing.assert_allclose([low[0], middle[0], high[0]], wanted, rtol=0.08)


def test_a_band_without_any_doubt_is_the_ratio_itself() -> None:
    """Left at 0.3 and 0.4 limits: √(0.3² + 0.4²) = 0.5 as a resultant, 0.4 with each axis by itself."""
    sure = {"left": np.array([[0.3, 0.0, 0.4, 0.0]]), "reading": np.full((1, 4), 1e-13)}
    np.testing.assert_allclose(ratio_band(alone(**sure), np.zeros(1)), 0.5, atol=1e-3)
    np.testing.assert_allclose(ratio_band(alone(**sure, each_axis=np.array([True])), np.zeros(1)), 0.4, atol=1e-3)


@given(st.sampled_from(CAN), st.floats(0.0, 2000.0))
def test_a_band_is_in_order_and_above_nothing(asset: int, days: float) -> None:
    low, middle, high = ratio_band(rows_of(STUDY.standing, asset, 1), np.array([days]))
    assert 0.0 <= low[0] <= middle[0] <= high[0]


def given_for(asset: int, times: float) -> tuple[np.ndarray, float, LimitsGiven]:  # type: ignore[type-arg]
    scale = int(STUDY.material.scale_row[asset])
    limits = HISTORY.jobs.limits[scale]
    offset, angle, flex, soft = (None if np.isnan(x) else times * float(x) for x in limits)
    return limits, float(HISTORY.jobs.span_mm[scale]), LimitsGiven(offset, angle, flex, soft)


def test_other_limits_give_what_a_study_under_them_gives() -> None:
    """Twin: the same history with every limit 1.25 times as wide, studied from the beginning."""
    wider = study_of(
        replace(
            HISTORY,
            jobs=replace(
                HISTORY.jobs,
                limits=1.25 * HISTORY.jobs.limits,
                found_ratio=HISTORY.jobs.found_ratio / 1.25,
                left_ratio=HISTORY.jobs.left_ratio / 1.25,
            ),
        )
    )
    days = np.array([400.0])
    for asset in CAN[:12]:
        moved, reason, limits = under_other_limits(rows_of(STUDY.standing, asset, 1), *given_for(asset, 1.25))
        assert reason == 0
        np.testing.assert_allclose(limits[:3], 1.25 * given_for(asset, 1.0)[0][:3])
        twin = rows_of(wider.standing, asset, 1)
        np.testing.assert_allclose(forecast_at(moved, days).over, forecast_at(twin, days).over, rtol=0.02, atol=0.002)


@given(st.sampled_from(CAN), st.floats(0.5, 4.0))
def test_what_a_reading_will_be_in_millimetres_does_not_depend_on_the_limit(asset: int, times: float) -> None:
    before = rows_of(STUDY.standing, asset, 1)
    moved, _, _ = under_other_limits(before, *given_for(asset, times))
    day = np.array([300.0])
    for old, new in zip(reading_interval(before, day), reading_interval(moved, day), strict=True):
        np.testing.assert_allclose(old, times * new)


def test_limits_that_cannot_be_used_give_a_reason() -> None:
    one = rows_of(STUDY.standing, CAN[0], 1)
    limits = np.array([0.1, 1.0, NAN, 0.05])
    assert under_other_limits(one, limits, NAN, LimitsGiven())[1] == NOT_JUDGED
    assert under_other_limits(one, limits, 140.0, LimitsGiven(flex_mm_m=0.5))[1] == OTHER_PLACES
    assert under_other_limits(one, limits, NAN, LimitsGiven(1e-5, 1e-4))[1] == COARSE
    assert under_other_limits(one, limits, NAN, LimitsGiven(0.1, 1.0))[1] == 0


def test_each_axis_by_itself_is_taken_from_the_other_limits() -> None:
    one = rows_of(STUDY.standing, CAN[0], 1)
    moved, _, _ = under_other_limits(one, np.array([0.1, 1.0, NAN, 0.05]), NAN, LimitsGiven(0.1, 1.0, each_axis=True))
    assert moved.each_axis.tolist() == [True]
    assert one.each_axis.tolist() == [False]
    assert moved.left == pytest.approx(one.left, nan_ok=True)
