"""Trend of recurrences against Dataplot, MIL-HDBK-189 and the reliability documentation."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.families.links import CLogLog
from statsmodels.genmod.generalized_linear_model import GLM

from models.history.recurrence import laplace, look_ages, power_law, recurrence_of

PUBLISHED = Path(__file__).parent / "published"
TREND = json.loads((PUBLISHED / "nist_trend_tests.json").read_text(encoding="utf-8"))
CROW = json.loads((PUBLISHED / "crow_amsaa.json").read_text(encoding="utf-8"))


def test_laplace_of_the_hahn_data() -> None:
    """NIST Dataplot, RELIABILITY TRENDS TEST on HAHN.DAT: z 3.416969 (single precision)."""
    data = TREND["hahn"]
    t = np.array(data["times"], dtype=float)
    got = laplace(t, np.zeros(len(t), int), np.array([data["t_end"]], dtype=float))
    assert got.z[0] == pytest.approx(data["published"]["laplace_z"], rel=3e-6)


def test_laplace_of_the_case_study() -> None:
    """own_reference_values.json (computed for this project)."""
    own = json.loads((PUBLISHED / "own_reference_values.json").read_text(encoding="utf-8"))[
        "nist_case_study_trend_tests"
    ]
    data = TREND["case_study"]
    t = np.array(data["times"], dtype=float)
    got = laplace(t, np.zeros(len(t), int), np.array([data["t_end"]], dtype=float))
    assert got.z[0] == pytest.approx(own["laplace"], rel=1e-12)
    fit = power_law(t, np.zeros(len(t), int), np.array([data["t_end"]], dtype=float))
    assert fit.shape_ml == pytest.approx(own["beta_mle"], rel=1e-12)
    # e-Handbook 8.4.5 (seen in a secondary copy): BetaHat of growth .516494 is 1 minus the unbiased shape.
    assert 1.0 - fit.shape == pytest.approx(data["published"]["beta_handbook_growth"], abs=5e-7)


def test_laplace_and_power_law_when_the_last_event_ends_the_watch() -> None:
    """reliability (Python) documentation, ROCOF: U 2.409, beta 1.588, 3 decimals."""
    data = CROW["rocof"]
    t = np.cumsum(np.array(data["tbf"], dtype=float))
    unit, end = np.zeros(len(t), int), np.array([t[-1]])
    assert laplace(t, unit, end, at_event=True).z[0] == pytest.approx(data["published"]["U"], abs=5e-4)
    fit = power_law(t[:-1], unit[:-1], end)
    assert len(t) / ((len(t) - 1) / fit.shape_ml) == pytest.approx(data["published"]["beta"], abs=5e-4)


def test_the_handbooks_power_law_comes_out() -> None:
    """MIL-HDBK-189 (1981), Appendix C (seen in a secondary copy)."""
    data = CROW["milhdbk189_c"]
    t = np.array(data["times"])
    fit = power_law(t, np.zeros(len(t), int), np.array([data["T"]]))
    assert fit.shape_ml == pytest.approx(data["published"]["beta"], abs=5e-11)
    assert fit.scale == pytest.approx(data["published"]["lam"], abs=5e-11)
    assert fit.shape == pytest.approx(data["published"]["beta_unbiased"], rel=1e-12)
    assert fit.low < fit.shape_ml < fit.high


def test_the_test_keeps_its_size_from_four_events() -> None:
    """statistics of the project, section 3(c): 0.047 at n = 4 (computed)."""
    rng = np.random.default_rng(1)
    t = rng.random((50_000, 4))
    got = laplace(t.ravel(), np.repeat(np.arange(50_000), 4), np.ones(50_000))
    assert np.mean(got.p <= 0.05) == pytest.approx(0.047, abs=0.003)


def test_returns_that_come_faster_give_a_positive_z_and_three_are_too_few() -> None:
    years = np.ones(12)
    returned = np.array([0, 0, 0, 0, 1, 0, 1, 1, 1, 1, 1, 1], bool)
    got = recurrence_of(np.array([0] * 12), years, returned, 2)
    assert got.z[0] > 1.5
    assert np.isnan(recurrence_of(np.zeros(3, int), np.ones(3), np.ones(3, bool), 1).z[0])
    assert np.isnan(got.p[1])
    assert np.isnan(power_law(np.ones(2), np.zeros(2, int), np.ones(1)).shape)


@pytest.mark.parametrize(
    ("years", "rate"),
    [([2.0] * 6 + [0.25] * 12, 2.0), ([1.0] * 12, 1.0), ([0.25] * 12 + [2.0] * 6, 1.0), ([0.2] * 40, 0.6)],
)
def test_a_constant_rate_seldom_looks_like_a_trend_whatever_the_looks(years: list[float], rate: float) -> None:
    """Long looks nearly always show a return: by their middles 17 % of the first case speeded up, and 0.3 % of the second moved."""
    units, looks = 4000, len(years)
    length = np.tile(years, units)
    returned = np.random.default_rng(11).random(units * looks) < -np.expm1(-rate * length)
    got = recurrence_of(np.repeat(np.arange(units), looks), length, returned, units)
    p = got.p[~np.isnan(got.p)]
    assert len(p) > 0.6 * units
    assert binom.ppf(0.001, len(p), 0.020) <= np.count_nonzero(p <= 0.05) <= binom.ppf(0.999, len(p), 0.055)
    assert np.count_nonzero(p <= 0.01) <= binom.ppf(0.999, len(p), 0.016)


def test_the_trend_of_looks_is_the_score_test_of_a_generalised_linear_model() -> None:
    rng = np.random.default_rng(12)
    years = np.exp(rng.normal(-0.3, 0.8, 30))
    returned = rng.random(30) < -np.expm1(-0.7 * years)
    got = recurrence_of(np.zeros(30, int), years, returned, 1)
    age = np.cumsum(years) - 0.5 * years
    asked = {"family": Binomial(CLogLog()), "offset": np.log(years)}
    common = GLM(returned.astype(float), np.ones((30, 1)), **asked).fit(tol=1e-12).params
    both = GLM(returned.astype(float), np.column_stack([np.ones(30), age]), **asked)
    at = np.append(common, 0.0)
    slope, information = both.score(at), -both.hessian(at, observed=False)
    assert got.z[0] ** 2 * 30.0 / 29.0 == pytest.approx(float(slope @ np.linalg.solve(information, slope)), rel=1e-6)


def test_where_every_look_showed_a_return_there_is_no_trend() -> None:
    got = recurrence_of(np.repeat([0, 1], 6), np.ones(12), np.append(np.ones(6, bool), np.arange(6) > 1), 2)
    assert np.isnan([got.z[0], got.p[0]]).all()
    assert got.n.tolist() == [6, 4]
    assert got.z[1] > 1.5
    assert np.isnan(recurrence_of(np.zeros(8, int), np.zeros(8), np.arange(8) > 2, 1).z[0])


def test_the_shape_is_the_likeliest_pair_only_where_all_were_watched_equally_long() -> None:
    """The slope of the joint log-likelihood in the shape, at the scale that goes with it."""
    rng = np.random.default_rng(13)
    unit = np.repeat(np.arange(6), 5)

    def slope(event: np.ndarray, end: np.ndarray) -> float:
        fit = power_law(event, unit, end)
        whole = end**fit.shape_ml
        return float(len(event) / fit.shape_ml + np.log(event).sum() - fit.scale * (whole * np.log(end)).sum())

    assert slope(rng.random(30) * 4.0, np.full(6, 4.0)) == pytest.approx(0.0, abs=1e-9)
    unequal = np.array([1.0, 2.0, 3.0, 5.0, 8.0, 9.0])
    assert abs(slope(rng.random(30) * unequal[unit], unequal)) > 0.5


def test_time_between_looks_does_not_count() -> None:
    asset, years = np.array([0, 0, 0, 0, 1, 1, 1, 1]), np.array([1.0, 2, 1, 3, 9, 9, 9, 9])
    back = np.array([1, 1, 1, 1, 0, 0, 0, 0], bool)
    asset, years, back = np.append([0], asset), np.append([2.5], years), np.append([False], back)
    alone = recurrence_of(asset[:5], years[:5], back[:5], 1)
    assert recurrence_of(asset, years, back, 2).z[0] == alone.z[0]


def test_ages_count_the_looks_alone_and_put_a_return_in_the_middle_of_its_look() -> None:
    event, unit, end = look_ages(np.array([0, 0, 2]), np.array([1.0, 2.0, 4.0]), np.array([False, True, True]), 3)
    assert event.tolist() == [2.0, 2.0]
    assert unit.tolist() == [0, 2]
    assert end.tolist() == [3.0, 0.0, 4.0]
