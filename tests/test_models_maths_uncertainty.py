"""Uncertainty: the worked examples of the GUM, pooled repeats, and feet."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from models.errors import InvalidValueError
from models.maths.uncertainty import (
    coverage_factor,
    effective_df,
    feet_uncertainty,
    from_repeats,
    pooled_sd,
    propagate,
    reading_noise,
)

PUBLISHED = Path(__file__).parent / "published"
GUM = json.loads((PUBLISHED / "uncertainty_decision.json").read_text())


def test_correlated_inputs_as_in_gum_h2() -> None:
    """GUM, JCGM 100:2008, H.2; u(X) prints 0.295, exact arithmetic gives 0.2956 (results seen in a secondary copy)."""
    data = GUM["gum_h2"]
    observed = np.array([data["V"], np.array(data["I_mA"]) / 1000, data["phi"]])
    covariance = np.cov(observed) / observed.shape[1]

    def impedance(z: np.ndarray) -> np.ndarray:
        v, i, phi = z
        return np.array([v / i * math.cos(phi), v / i * math.sin(phi), v / i])

    out, spread = propagate(impedance, observed.mean(axis=1), covariance)
    published = data["published"]
    assert out == pytest.approx([published["R"], published["X"], published["Z"]], abs=0.0006)
    assert np.sqrt(np.diag(spread)) == pytest.approx([published["uR"], published["uX"], published["uZ"]], abs=0.0007)


def test_effective_degrees_of_freedom_as_in_gum_h1() -> None:
    """GUM, JCGM 100:2008, H.1: 32 nm, 16 degrees of freedom (truncated; seen in a secondary copy)."""
    data = GUM["gum_h1"]
    assert math.sqrt(sum(u * u for u in data["u"])) == pytest.approx(data["published"]["uc"], abs=0.5)
    assert math.floor(effective_df(data["u"], data["dof"])) == data["published"]["veff"]


def test_pooled_standard_deviation_of_a_gauge_study() -> None:
    """Readings: NIST e-Handbook 2.6.1, MPC61.DAT, wafer 140, probe 2362; the pooled value is computed for this project.

    The file gives the standard deviation of six readings at a time; six readings with that standard deviation stand in.
    """
    lines = [row for row in (PUBLISHED / "nist_gauge_mpc61.csv").read_text().splitlines() if not row.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if (row["wafer"], row["probe"]) == ("140", "2362")]
    shape = np.array([-1, 1, -1, 1, -1, 1]) / math.sqrt(6 / 5)
    groups = [list(float(row["average"]) + float(row["sd"]) * shape) for row in rows]
    wanted = json.loads((PUBLISHED / "own_reference_values.json").read_text())["mpc441_wafer140_probe2362_pooled_sd"]
    sd, df = pooled_sd(groups)
    assert df == wanted["df"]
    assert sd == pytest.approx(wanted["value"], rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_pooling_is_the_residual_of_a_fit_with_one_mean_a_job(seed: int) -> None:
    rng = np.random.default_rng(seed)
    groups = [list(rng.normal(rng.normal(0, 5), 0.02, n)) for n in (2, 3, 1, 5, 2)]
    sd, df = pooled_sd(groups)
    rss = sum(float(np.var(g)) * len(g) for g in groups)
    assert (sd, df) == (pytest.approx(math.sqrt(rss / 8)), 8)


def test_nothing_repeated_gives_no_standard_deviation() -> None:
    assert pooled_sd([]) == (None, 0)
    assert pooled_sd([[1.0], [2.0]]) == (None, 0)


def test_repeats_give_their_own_covariance() -> None:
    values = np.random.default_rng(5).normal(0, 1, (6, 4)) * [0.01, 0.05, 0.01, 0.05]
    got = from_repeats(values)
    assert got.covariance == pytest.approx(np.cov(values.T))
    assert got.mean == pytest.approx(values.mean(axis=0))
    assert (got.n, got.df) == (6, 5)


def test_one_measurement_has_no_covariance_and_says_why() -> None:
    got = from_repeats(np.array([[0.1, 0.2, 0.3, 0.4]]))
    assert got.covariance is None
    assert "once" in got.reason
    with pytest.raises(InvalidValueError):
        from_repeats(np.empty((0, 4)))


def test_resolution_adds_a_twelfth_of_its_square() -> None:
    """JCGM 100:2008, 4.3.7 (clause number from memory): a step a adds a²/12."""
    assert reading_noise(0.003, 0.01) == pytest.approx(math.sqrt(0.003**2 + 0.01**2 / 12))


@given(st.integers(0, 2**32 - 1))
def test_a_linear_function_is_propagated_exactly(seed: int) -> None:
    rng = np.random.default_rng(seed)
    a, root = rng.normal(size=(3, 5)), rng.normal(size=(5, 5))
    cov = root @ root.T
    values = rng.normal(size=5) * 100
    out, spread = propagate(lambda z: a @ z, values, cov)
    assert out == pytest.approx(a @ values)
    assert spread == pytest.approx(a @ cov @ a.T, rel=1e-6, abs=1e-6)


@given(st.integers(0, 2**32 - 1))
def test_the_uncertainty_at_a_foot_is_that_of_offset_plus_angle_times_distance(seed: int) -> None:
    rng = np.random.default_rng(seed)
    m, root = rng.normal(size=4), rng.normal(size=(4, 4)) * 0.01
    cov = root @ root.T
    x = np.array([200.0, 900.0])
    got = feet_uncertainty(m, cov, x, 2.0)
    for foot in range(2):
        full = np.zeros((5, 5))
        full[:4, :4], full[4, 4] = cov, 4.0
        _, spread = propagate(
            lambda z: np.array([z[0] + z[1] * z[4] / 1000, z[2] + z[3] * z[4] / 1000]), np.append(m, x[foot]), full
        )
        assert got[foot] == pytest.approx(np.sqrt(np.diag(spread)), rel=1e-5)


@pytest.mark.parametrize("df", [1, 2, 5, 16, 60, 900, 2000, 1e6, math.inf])
@pytest.mark.parametrize("p", [0.6827, 0.95, 0.99])
def test_coverage_factors_are_students(p: float, df: float) -> None:
    """JCGM 100:2008, G.6.4; twin: an independent library."""
    wanted = stats.norm.ppf((1 + p) / 2) if math.isinf(df) else stats.t.ppf((1 + p) / 2, df)
    assert coverage_factor(p, df) == pytest.approx(wanted, rel=2e-6)


def test_broken_degrees_of_freedom_are_rounded_down_and_none_are_refused() -> None:
    assert coverage_factor(0.95, 16.7) == coverage_factor(0.95, 16)
    assert effective_df([0.1], [math.inf]) == math.inf
    for p, df in ((0.95, 0.5), (1.0, 5), (0.0, 5)):
        with pytest.raises(InvalidValueError):
            coverage_factor(p, df)
