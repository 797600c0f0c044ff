"""Effects of names beside mean rates of classes: held against generalised least squares written out, and what nothing tells."""

from __future__ import annotations

import numpy as np
import pytest

from models.history.name_fit import NameFit


def test_it_is_generalised_least_squares_with_the_rate_of_each_class_beside_the_names() -> None:
    """Written out with the whole covariance matrix: a machine's runs share its departure from the class."""
    rng = np.random.default_rng(3)
    n, machines, names = 90, 14, 5
    series = np.sort(rng.integers(0, machines, n))
    fit = np.where(np.arange(machines) < 6, 2, 7)[series]
    left, found = rng.integers(0, names, n), rng.integers(0, names, n)
    years, variance, drift = rng.uniform(0.2, 2.0, n), rng.uniform(0.5, 2.0, n), rng.normal(0.0, 1.0, n)
    between = np.array([0.7, 0.1])
    of_class = (fit == 7).astype(np.int64)
    covariance = np.diag(variance) + np.where(
        series[:, None] == series, between[of_class] * np.outer(years, years), 0.0
    )
    design = np.zeros((n, names + 2))
    np.add.at(design, (np.arange(n), found), 1.0)
    np.add.at(design, (np.arange(n), left), -1.0)
    design[np.arange(n), names + of_class] = years
    weight = np.linalg.inv(covariance)
    inverse = np.linalg.pinv(design.T @ weight @ design, rcond=1e-10, hermitian=True)
    expected = (inverse @ design.T @ weight @ drift)[:names]
    layout = NameFit(left, found, years, series, fit, names)
    assert layout.fits.tolist() == [2, 7]
    assert (layout.compared() == 0).all()
    effect, errors = layout.weigh(variance, between).solve(drift, np.zeros(2))
    centre = np.eye(names) - 1.0 / names
    np.testing.assert_allclose(centre @ effect, centre @ expected, atol=1e-10)
    np.testing.assert_allclose(centre @ errors @ centre, centre @ inverse[:names, :names] @ centre, atol=1e-10)


def pairs(*runs: tuple[int, int, float], series: list[int] | None = None) -> NameFit:
    """Lay out runs by who left and who found them and after how many years; each of a machine of its own."""
    left, found, years = (np.array(column) for column in zip(*runs, strict=True))
    own = np.arange(len(runs)) if series is None else np.array(series)
    return NameFit(
        left, found, years.astype(float), own, np.zeros(len(runs), np.int64), int(max(left.max(), found.max())) + 1
    )


@pytest.mark.parametrize(
    ("runs", "first"),
    [
        ([(0, 1, 1.0), (0, 1, 1.0), (0, 1, 1.0)], [0, 1]),  # a step of all after one time is a rate
        ([(0, 1, 1.0), (0, 1, 1.002), (0, 1, 1.0)], [0, 1]),  # nearly so
        ([(0, 1, 1.0), (0, 1, 1.0), (0, 0, 1.0)], [0, 0]),  # the rate is known from runs of one name
        ([(0, 1, 1.0), (0, 1, 2.0), (0, 1, 0.5)], [0, 0]),  # it grows with time, a step does not
        ([(0, 1, 1.0), (1, 0, 1.0), (2, 3, 1.0), (3, 2, 1.0)], [0, 0, 2, 2]),  # no run joins the two pairs
        ([(1, 2, 1.0), (2, 1, 1.0), (2, 1, 1.0), (0, 0, 1.0)], [0, 1, 1]),  # who only follows himself
    ],
)  # fmt: skip
def test_only_names_whose_difference_is_told_are_compared(runs: list[tuple[int, int, float]], first: list[int]) -> None:
    assert pairs(*runs).compared().tolist() == first


def test_degrees_of_freedom_count_every_rate_and_name_that_was_estimated() -> None:
    runs = [(0, 1, 1.0), (1, 0, 1.0), (0, 0, 1.0), (0, 1, 1.0), (1, 2, 1.0)]
    assert pairs(*runs, series=[0, 0, 0, 1, 1]).free == 5 - 2 - 2
    assert pairs(*runs).free == 5 - 1 - 2, "machines with one run each have no rate of their own to take away"


def test_no_run_at_all_compares_nobody() -> None:
    none = np.zeros(0, np.int64)
    assert NameFit(none, none, np.zeros(0), none, none, 3).compared().tolist() == [0, 1, 2]
