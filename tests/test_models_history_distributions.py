"""Every function against scipy.stats, which goes another way to it, at its edges too."""

from __future__ import annotations

import sys
from subprocess import run

import numpy as np
import pytest
from scipy import stats

from models.history import distributions as ours

P = np.array([1e-6, 0.01, 0.05, 0.3, 0.5, 0.9, 0.975, 1 - 1e-6])
DF = np.array([1.0, 2.5, 7.0, 40.0, 3000.0])


def test_normal_agrees_with_scipy() -> None:
    np.testing.assert_allclose(ours.normal_quantile(P), stats.norm.ppf(P), rtol=1e-12)
    np.testing.assert_allclose(ours.normal_cdf(stats.norm.ppf(P)), P, rtol=1e-9)


@pytest.mark.parametrize("df", DF)
def test_student_and_chi_square_and_f_agree_with_scipy(df: float) -> None:
    np.testing.assert_allclose(ours.t_quantile(P, df), stats.t.ppf(P, df), rtol=1e-6)
    np.testing.assert_allclose(
        ours.t_cdf(np.linspace(-5, 5, 11), df), stats.t.cdf(np.linspace(-5, 5, 11), df), rtol=1e-10
    )
    np.testing.assert_allclose(ours.chi2_quantile(P, df), stats.chi2.ppf(P, df), rtol=1e-8)
    x = stats.chi2.ppf(P, df)
    np.testing.assert_allclose(ours.chi2_cdf(x, df) + ours.chi2_sf(x, df), 1.0, rtol=1e-12)
    np.testing.assert_allclose(
        ours.f_sf(np.array([0.1, 1.0, 5.0]), 3.0, df), stats.f.sf([0.1, 1.0, 5.0], 3.0, df), rtol=1e-9
    )
    np.testing.assert_allclose(ours.f_quantile(0.9, 3.0, df), stats.f.ppf(0.9, 3.0, df), rtol=1e-8)


def test_infinite_degrees_of_freedom_are_the_normal_and_the_chi_square() -> None:
    infinite = np.array([np.inf])
    assert ours.t_quantile(0.975, infinite)[0] == pytest.approx(1.959963985, abs=1e-8)
    assert ours.t_cdf(1.0, infinite)[0] == pytest.approx(stats.norm.cdf(1.0))
    assert ours.f_sf(2.0, 4.0, infinite)[0] == pytest.approx(stats.chi2.sf(8.0, 4.0))


def test_beta_gamma_and_binomial_agree_with_scipy() -> None:
    np.testing.assert_allclose(ours.beta_quantile(P, 2.5, 7.0), stats.beta.ppf(P, 2.5, 7.0), rtol=1e-9)
    np.testing.assert_allclose(ours.beta_cdf(0.3, 2.5, 7.0), stats.beta.cdf(0.3, 2.5, 7.0), rtol=1e-12)
    np.testing.assert_allclose(ours.gamma_quantile(P, 1.7), stats.gamma.ppf(P, 1.7), rtol=1e-9)
    np.testing.assert_allclose(ours.gamma_cdf(0.9, 1.7), stats.gamma.cdf(0.9, 1.7), rtol=1e-12)
    for n in (1, 5, 40):
        x = np.arange(n + 1, dtype=float)
        np.testing.assert_allclose(ours.binomial_upper_tail(x, n, 0.2), stats.binom.sf(x - 1, n, 0.2), rtol=1e-9)


def test_the_table_of_t_quantiles_is_right_to_a_millionth() -> None:
    df = np.concatenate([np.linspace(1.0, 30.0, 500), [1e3, 1e6, np.inf]])
    for p in (0.05, 0.75, 0.9, 0.95, 0.975):
        exact = ours.t_quantile(p, df)
        np.testing.assert_allclose(ours.t_quantile_by_table(p, df), exact, rtol=3e-6)


def test_scipy_is_not_imported_until_a_function_needs_it() -> None:
    code = "import sys, models.history.engine; sys.exit(any(name.startswith('scipy') for name in sys.modules))"
    assert run([sys.executable, "-c", code], check=False).returncode == 0
