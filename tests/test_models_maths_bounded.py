"""Bounded least squares against an independent library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import LinearConstraint, lsq_linear, minimize

from models.maths.bounded import least_squares_within


@pytest.mark.parametrize("seed", range(60))
def test_bounds_on_each_unknown_give_what_an_independent_library_gives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    k = int(rng.integers(1, 5))
    matrix, wanted = rng.normal(size=(k + int(rng.integers(0, 3)), k)), rng.normal(size=0)
    wanted = rng.normal(size=matrix.shape[0]) * 2
    lower, upper = -rng.uniform(0, 1, k), rng.uniform(0.001, 1, k)
    lower[rng.random(k) < 0.2] = -np.inf
    upper[rng.random(k) < 0.2] = np.inf
    got = least_squares_within(matrix, wanted, np.eye(k), lower, upper)
    twin = lsq_linear(matrix, wanted, (lower, upper), method="bvls", tol=1e-14)
    assert got == pytest.approx(twin.x, abs=1e-7)


@pytest.mark.parametrize("seed", range(15))
def test_bounded_combinations_give_what_an_independent_optimiser_gives(seed: int) -> None:
    """A third row of feet lies between the other two: a combination of both unknowns."""
    rng = np.random.default_rng(seed)
    matrix, wanted = rng.normal(size=(2, 2)), rng.normal(size=2) * 2
    rows = np.array([[1, 0], [0.6, 0.4], [0, 1.0]])
    lower, upper = -rng.uniform(0.01, 1, 3), rng.uniform(0.01, 1, 3)
    got = least_squares_within(matrix, wanted, rows, lower, upper)
    assert got is not None
    assert (rows @ got >= lower - 1e-9).all()
    assert (rows @ got <= upper + 1e-9).all()
    twin = minimize(
        lambda p: float(((matrix @ p - wanted) ** 2).sum()), np.zeros(2), method="SLSQP",
        constraints=[LinearConstraint(rows, lower, upper)], options={"ftol": 1e-15, "maxiter": 500},
    )  # fmt: skip
    assert np.linalg.norm(matrix @ got - wanted) == pytest.approx(np.sqrt(twin.fun), abs=1e-6)
    assert np.linalg.norm(matrix @ got - wanted) <= np.sqrt(twin.fun) + 1e-9


def test_among_equally_good_answers_the_smallest_is_given() -> None:
    free = np.full(3, np.inf)
    got = least_squares_within(np.array([[1.0, 1.0, 1.0]]), np.array([3.0]), np.eye(3), -free, free)
    assert got == pytest.approx([1, 1, 1])
    got = least_squares_within(np.array([[1.0, 1.0, 1.0]]), np.array([3.0]), np.eye(3), -free, np.array([0.5, 9, 9]))
    assert got == pytest.approx([0.5, 1.25, 1.25])


def test_a_fixed_unknown_stays_where_it_is() -> None:
    got = least_squares_within(np.eye(2), np.array([1.0, 2.0]), np.eye(2), np.array([0.0, -9.0]), np.array([0.0, 9.0]))
    assert got == pytest.approx([0.0, 2.0])


def test_bounds_that_contradict_have_no_answer() -> None:
    rows = np.array([[1.0], [1.0]])
    assert least_squares_within(np.eye(1), np.ones(1), rows, np.array([0.0, 2.0]), np.array([1.0, 3.0])) is None
