"""The sine through readings: published values, factors per arc, an independent fit, and what is refused."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from models.errors import InvalidValueError
from models.maths.readings import Finding, SeenFrom, Sweep, clock_sweep, fit_sine, sweep_arc

PUBLISHED = Path(__file__).parent / "published"
SMALL = st.floats(-1.0, 1.0)


def sine(angles: np.ndarray, mean: float, vertical: float, horizontal: float) -> tuple[float, ...]:
    radians = np.deg2rad(angles)
    return tuple(mean + vertical * np.cos(radians) + horizontal * np.sin(radians))


def even(arc: float, n: int) -> np.ndarray:
    return np.arange(n) * (360.0 / n if arc == 360 else arc / (n - 1))


@st.composite
def positions(draw: st.DrawFn) -> np.ndarray:
    arc = draw(st.floats(65.0, 355.0))
    n = draw(st.integers(3, 12))
    return draw(st.floats(-720.0, 720.0)) + np.linspace(0.0, arc, n)


def test_four_rounded_readings_of_a_half_turn() -> None:
    """CV-27, derived: vertical 0.050, horizontal −0.030 from readings rounded to 0.0001."""
    fit = fit_sine(Sweep((0, 60, 120, 180), (0.050, -0.0010, -0.0510, -0.050)))
    assert fit.vertical_mm == pytest.approx(0.050, abs=0.0005)
    assert fit.horizontal_mm == pytest.approx(-0.030, abs=0.0005)
    assert fit.residual_rms_mm < 0.0001
    assert fit.arc_deg == pytest.approx(180)


@pytest.mark.parametrize(
    ("arc", "n", "vertical", "horizontal"),
    [
        (360, 5, 0.63, 0.63), (180, 5, 0.58, 1.09), (120, 5, 1.24, 1.90), (90, 5, 2.67, 2.67), (60, 5, 6.96, 4.14),
        (90, 3, 3.04, 3.04),
    ],
)  # fmt: skip
def test_the_standard_error_grows_as_the_arc_shrinks(arc: float, n: int, vertical: float, horizontal: float) -> None:
    """Project trade reference, 2.2, derived there; the column for 40° is left out: below 60° a sweep is refused."""
    fit = fit_sine(Sweep(tuple(even(arc, n)), (0.0,) * n), noise_mm=1.0)
    assert fit.vertical_se_mm == pytest.approx(vertical, abs=0.005)
    assert fit.horizontal_se_mm == pytest.approx(horizontal, abs=0.005)


def test_the_factors_are_those_computed_for_this_project() -> None:
    """own_reference_values.json, sine_fit_sd_factors: computed for this project, recomputed here by another fit."""
    rows = json.loads((PUBLISHED / "own_reference_values.json").read_text())["sine_fit_sd_factors"]["rows"]
    for row in rows:
        angles = even(row["arc_deg"], row["N"])
        fit = fit_sine(Sweep(tuple(angles), (0.0,) * row["N"]), noise_mm=1.0)
        assert [fit.vertical_se_mm, fit.horizontal_se_mm] == pytest.approx(row["sd"][1:], rel=1e-9)
        design = np.stack([np.ones_like(angles), np.cos(np.deg2rad(angles)), np.sin(np.deg2rad(angles))], axis=1)
        again = np.sqrt(np.diag(np.linalg.inv(design.T @ design)))
        assert again == pytest.approx(row["sd"], rel=1e-6)


def test_clock_readings_are_half_differences_and_the_residual_is_the_sum_check() -> None:
    """Project trade reference, 2.2, derived: b = (T − B)/2, c = (R − L)/2, e = (T + B − L − R)/4."""
    fit = fit_sine(clock_sweep(0.0, 0.11, -0.30, -0.37))
    assert fit.vertical_mm == pytest.approx(0.15)
    assert fit.horizontal_mm == pytest.approx(0.24)
    error = (0.0 - 0.30 - 0.11 + 0.37) / 4
    assert fit.residuals_mm == pytest.approx([error, -error, error, -error])
    assert fit.residual_sd_mm == pytest.approx(2 * abs(error))
    assert fit.df == 1
    assert fit.arc_deg == pytest.approx(270)
    assert Finding.FEW_FOR_NOISE in fit.findings
    assert Finding.FEW_FOR_NOISE not in fit_sine(clock_sweep(0.0, 0.11, -0.30, -0.37), 0.01).findings


@given(positions(), SMALL, SMALL, SMALL)
def test_readings_from_a_known_sine_give_it_back(angles: np.ndarray, mean: float, v: float, h: float) -> None:
    fit = fit_sine(Sweep(tuple(angles), sine(angles, mean, v, h)))
    assert [fit.mean_mm, fit.vertical_mm, fit.horizontal_mm] == pytest.approx([mean, v, h], abs=1e-10)
    assert fit.residual_rms_mm < 1e-11
    assert fit.outlier is None


@given(positions(), SMALL, SMALL)
def test_from_the_other_end_left_and_right_are_exchanged(angles: np.ndarray, v: float, h: float) -> None:
    here = fit_sine(Sweep(tuple(angles), sine(angles, 0, v, h)), 0.01)
    there = fit_sine(Sweep(tuple(-angles), sine(angles, 0, v, h), SeenFrom.STATIONARY), 0.01)
    assert there.vertical_mm == pytest.approx(here.vertical_mm, abs=1e-9)
    assert there.horizontal_mm == pytest.approx(here.horizontal_mm, abs=1e-9)
    assert there.unit_covariance == pytest.approx(here.unit_covariance, rel=1e-6, abs=1e-9)


@given(positions(), st.integers(0, 2**32 - 1))
def test_a_quarter_turn_of_the_clock_exchanges_vertical_and_horizontal(angles: np.ndarray, seed: int) -> None:
    readings = tuple(np.random.default_rng(seed).normal(0, 0.1, angles.size))
    fit = fit_sine(Sweep(tuple(angles), readings), 0.01)
    turned = fit_sine(Sweep(tuple(angles - 90.0), readings), 0.01)
    assert turned.vertical_mm == pytest.approx(fit.horizontal_mm, abs=1e-8)
    assert turned.horizontal_mm == pytest.approx(-fit.vertical_mm, abs=1e-8)
    assert turned.vertical_se_mm == pytest.approx(fit.horizontal_se_mm, rel=1e-6)
    assert turned.inflation == pytest.approx(fit.inflation, rel=1e-6)
    assert turned.arc_deg == pytest.approx(fit.arc_deg)


@given(positions().filter(lambda a: a.size > 3), st.integers(0, 2**32 - 1))
def test_the_fit_is_that_of_an_independent_library(angles: np.ndarray, seed: int) -> None:
    readings = np.random.default_rng(seed).normal(0, 0.1, angles.size)
    fit = fit_sine(Sweep(tuple(angles), tuple(readings)))
    radians = np.deg2rad(angles)
    twin = sm.OLS(readings, np.stack([np.ones_like(radians), np.cos(radians), np.sin(radians)], axis=1)).fit()
    assert [fit.mean_mm, fit.vertical_mm, fit.horizontal_mm] == pytest.approx(list(twin.params), rel=1e-6, abs=1e-8)
    assert [fit.vertical_se_mm, fit.horizontal_se_mm] == pytest.approx(list(twin.bse[1:]), rel=1e-6)
    assert fit.residual_sd_mm == pytest.approx(math.sqrt(twin.mse_resid))


def test_the_standard_error_is_what_repeated_sweeps_scatter() -> None:
    rng = np.random.default_rng(20)
    angles = np.linspace(20.0, 140.0, 6)
    clean = np.array(sine(angles, 0.0, 0.2, -0.1))
    fits = [fit_sine(Sweep(tuple(angles), tuple(clean + rng.normal(0, 0.01, 6))), 0.01) for _ in range(4000)]
    assert np.std([fit.vertical_mm for fit in fits]) == pytest.approx(fits[0].vertical_se_mm, rel=0.04)
    assert np.std([fit.horizontal_mm for fit in fits]) == pytest.approx(fits[0].horizontal_se_mm, rel=0.04)


@pytest.mark.parametrize(
    ("angles", "arc"),
    [
        ((0, 90, 180, 270), 270),
        ((350, 10, 30), 40),
        ((0, 120, 240), 240),
        ((-90, 0, 90), 180),
        ((0, 360, 720), 0),
        ((), 0),
    ],
)
def test_the_arc_is_a_turn_less_the_largest_gap(angles: tuple[float, ...], arc: float) -> None:
    assert sweep_arc(angles) == pytest.approx(arc)


@pytest.mark.parametrize(
    ("arc", "finding"), [(100, Finding.SMALL_ARC), (150, Finding.SHORT_ARC), (180, None), (270, None)]
)
def test_a_short_sweep_is_named(arc: float, finding: Finding | None) -> None:
    found = set(fit_sine(Sweep(tuple(np.linspace(0, arc, 5)), (0.0,) * 5), 0.01).findings)
    assert found == ({finding} if finding else set())


def test_readings_that_lie_close_together_are_named_whatever_their_arc() -> None:
    assert Finding.POORLY_SPREAD in fit_sine(Sweep((0, 2, 180), (0, 0, 0)), 0.01).findings


def test_from_a_half_turn_to_a_quarter_turn_the_error_grows_several_fold() -> None:
    half = fit_sine(Sweep(tuple(np.linspace(0, 180, 5)), (0.0,) * 5))
    quarter = fit_sine(Sweep(tuple(np.linspace(0, 90, 5)), (0.0,) * 5))
    assert 3 < quarter.inflation / half.inflation < 5
    assert fit_sine(clock_sweep(0, 0, 0, 0)).inflation == pytest.approx(1.0)


@pytest.mark.parametrize("angles", [(0, 90), (0, 90, 90.5), (0, 90, 450), (0, 20, 40), (0, 29, 59), (350, 10, 45), ()])
def test_too_few_positions_and_too_small_arcs_are_refused(angles: tuple[float, ...]) -> None:
    with pytest.raises(InvalidValueError):
        fit_sine(Sweep(angles, (0.0,) * len(angles)))


def test_sixty_degrees_are_still_accepted() -> None:
    assert fit_sine(Sweep((0, 30, 60), (0, 0, 0))).arc_deg == pytest.approx(60)


def test_what_is_no_reading_is_refused() -> None:
    with pytest.raises(InvalidValueError):
        Sweep((0, 90), (0.1,))
    with pytest.raises(InvalidValueError):
        Sweep((0, 90, 180), (0.1, math.nan, 0))
    with pytest.raises(InvalidValueError):
        fit_sine(clock_sweep(0, 0, 0, 0), noise_mm=0.0)


def test_three_readings_leave_no_residual_and_no_standard_error() -> None:
    fit = fit_sine(Sweep((0, 120, 240), (0.1, 0.0, -0.2)))
    assert fit.residual_sd_mm is None
    assert fit.vertical_se_mm is None
    assert fit.horizontal_se_mm is None


def test_one_wrong_reading_is_named_and_stays_in() -> None:
    angles = even(360, 12)
    readings = np.array(sine(angles, 0.0, 0.2, 0.1)) + np.random.default_rng(3).normal(0, 0.002, 12)
    assert fit_sine(Sweep(tuple(angles), tuple(readings))).outlier is None
    readings[7] += 0.1
    fit = fit_sine(Sweep(tuple(angles), tuple(readings)))
    assert fit.outlier == 7
    assert Finding.OUTLIER in fit.findings
    assert fit.n == 12


def test_good_sweeps_are_seldom_called_bad() -> None:
    """The test of the worst reading is made at a risk of 5 % for the whole sweep."""
    rng = np.random.default_rng(4)
    angles = tuple(even(360, 8))
    flagged = [fit_sine(Sweep(angles, tuple(rng.normal(0, 0.01, 8)))).outlier is not None for _ in range(2000)]
    assert 0.03 < np.mean(flagged) <= 0.06


def test_a_scatter_far_above_the_instruments_is_named() -> None:
    assert Finding.POOR_FIT in fit_sine(clock_sweep(0, 0.1, 0, 0), 0.005).findings
