"""What people left over limit: against a count by hand, a test of another make, and fleets in which nobody differs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import betabinom, binom

from models.history.left_over import LeftOver, _cells, left_over_of, own_left, upper_tail
from tests.fleet import job_columns

MACHINES, PEOPLE, JOBS = 60, 4, 450


def plant(rng: np.random.Generator, times: float = 1.0) -> LeftOver:
    """Machines of three speed classes that differ; the first person leaves more over, by this factor."""
    group = rng.integers(0, 3, MACHINES)
    share = np.array([0.02, 0.04, 0.10])[group]
    share = rng.beta(8.0 * share, 8.0 * (1.0 - share))
    asset, person = np.sort(rng.integers(0, MACHINES, JOBS)), rng.integers(0, PEOPLE, JOBS)
    chance = np.minimum(share[asset] * np.where(person == 0, times, 1.0), 1.0)
    left = np.where(rng.random(JOBS) < chance, 1.5, 0.3)
    jobs = job_columns(
        asset, np.arange(JOBS), person=person, left_ratio=left, speed_class=group[asset], found=np.ones((JOBS, 4))
    )
    return left_over_of(jobs, PEOPLE)


def test_only_jobs_with_an_as_left_of_their_own_count() -> None:
    jobs = job_columns(
        np.arange(4), np.zeros(4), person=np.zeros(4), left_ratio=[1.2, 1.2, np.nan, 0.4],
        found=[[0.2, 0, 0, 0], [0.2, 0, 0, 0], [0.1, 0, 0, 0], [np.nan] * 4],
        left=[[0.2, 0, 0, 0], [0.19, 0, 0, 0], [np.nan] * 4, [0.01, 0, 0, 0]],
    )  # fmt: skip
    assert own_left(jobs).tolist() == [False, True, False, True]
    found = left_over_of(jobs, 2)
    assert (found.share.count.tolist(), found.share.n.tolist()) == ([1, 0], [2, 0])
    assert np.isnan(found.expected).all()


def test_what_is_expected_is_what_others_left_on_the_same_machine() -> None:
    """Two machines with many jobs each: nothing is drawn to the class, and the person's own jobs count nowhere."""
    asset = np.repeat([0, 1], 400)
    person = np.tile(np.repeat([0, 1], [20, 380]), 2)
    over = np.zeros(800, dtype=bool)
    over[20:210] = True  # others: half of the first machine's
    over[400:410] = True  # the person: half of the second's, of which others left none
    jobs = job_columns(
        asset, np.arange(800), person=person, left_ratio=np.where(over, 2.0, 0.5), found=np.ones((800, 4))
    )
    found = left_over_of(jobs, 2)
    assert found.share.count.tolist() == [10, 190]
    assert found.expected[0] == pytest.approx(10.0, abs=0.1)
    assert found.p[0] > 0.3


def test_jobs_of_few_machines_say_less_of_their_class_than_as_many_of_many() -> None:
    """By chance: with beta(0.5, 2) machines, 50 jobs each on four of them know their class with the error of a mean of four shares and their jobs."""
    few, many = (
        _cells(np.ones(200, np.int64), np.repeat(np.arange(machines), 200 // machines), np.zeros(200, np.int64), over)
        for machines, over in ((4, np.repeat([1.0, 0.0, 0.0, 0.0], 50)), (200, np.arange(200) % 4 == 0))
    )
    assert many.crowding[0] == pytest.approx(1.0)
    # Variance of a mean of k machines of m jobs each, as a multiple of that of k·m jobs alone: 1 + (m − 1) ρ, ρ = 1/(size + 1).
    rho, rng = 1.0 / (few.size + 1.0), np.random.default_rng(8)
    a, b = 0.25 * few.size, 0.75 * few.size
    means = rng.binomial(50, rng.beta(a, b, (40_000, 4))).mean(axis=1) / 50.0
    assert few.crowding[0] == pytest.approx(1.0 + 49.0 * rho)
    assert few.crowding[0] == pytest.approx(means.var() / (0.25 * 0.75 / 200.0), rel=0.05)


def test_what_is_not_known_of_a_class_of_few_machines_is_in_the_variance() -> None:
    """Written out: 30 jobs on a machine of one's own are expected over as the class is, and the class is four machines of others."""
    asset = np.concatenate([np.repeat(np.arange(4), 50), np.full(30, 4)])
    over = np.concatenate([np.repeat([1.0, 0.0, 0.0, 0.0], 50), np.arange(30) % 5 == 0])
    cells = _cells(np.repeat([1, 0], [200, 30]), asset, np.zeros(230, np.int64), over)
    mean, variance = cells.expect(0, cells.of_others(np.ones(2, np.bool_)), counted=True)
    worth = 0.5 / (50.5 / 201.0)
    share = 50.5 / (200.0 + worth)
    binomial = share * (1.0 - share)
    class_error = binomial / (200.0 + worth + 1.0) * cells.crowding[0]
    assert cells.crowding[0] > 2.0
    assert mean == pytest.approx(30.0 * share)
    assert variance == pytest.approx(30.0 * binomial + 900.0 * binomial / (cells.size + 1.0) + 900.0 * class_error)


def test_who_leaves_more_over_is_found_and_spoils_nobodys_figure() -> None:
    rng = np.random.default_rng(2)
    named = others = 0
    for _ in range(20):
        found = plant(rng, times=5.0)
        named += int(found.q[0] <= 0.10)
        others += int((found.q[1:] <= 0.10).sum())
        assert found.expected[0] < found.share.count[0]
    assert named >= 17
    assert others <= binom.ppf(0.9999, 60, 0.10)


def test_nobody_is_named_too_often_where_all_leave_alike() -> None:
    """By the binomial law: more than the bound would come in one of 10,000 if one fleet in ten had a name."""
    rng = np.random.default_rng(3)
    fleets = 80
    found = [plant(rng) for _ in range(fleets)]
    assert sum(bool((one.q <= 0.10).any()) for one in found) <= binom.ppf(0.9999, fleets, 0.10)
    p = np.concatenate([one.p for one in found])
    assert (p <= 0.05).sum() <= binom.ppf(0.9999, len(p), 0.05)


def test_many_jobs_on_a_machine_of_ones_own_are_no_sign() -> None:
    """Nobody differs, but the first person has a machine nearly alone: what that machine is like is not known from others."""
    rng = np.random.default_rng(5)
    asset = np.concatenate([np.zeros(152, int), np.repeat(np.arange(1, 40), 6)])
    person = np.concatenate([np.repeat([0, 1], [150, 2]), 1 + np.arange(234) % 3])
    low = 0
    for _ in range(60):
        over = rng.random(len(asset)) < rng.beta(1.0, 4.0, 40)[asset]
        left, found = np.where(over, 1.5, 0.3), np.ones((len(asset), 4))
        jobs = job_columns(asset, np.arange(len(asset)), person=person, left_ratio=left, found=found)
        low += int(left_over_of(jobs, 4).p[0] <= 0.01)
    assert low <= binom.ppf(0.999, 60, 0.01)


@pytest.mark.parametrize(("n", "share", "alike"), [(34, 0.03, 0.02), (200, 0.4, 0.1), (12, 0.5, 0.3)])
def test_the_tail_is_the_beta_binomial_one(n: int, share: float, alike: float) -> None:
    """scipy's beta-binomial distribution; with the binomial variance or less it is the binomial one."""
    a, b = share * (1.0 / alike - 1.0), (1.0 - share) * (1.0 / alike - 1.0)
    variance = float(betabinom.var(n, a, b))
    for count in (0, 1, n // 3, n):
        tail = float(betabinom.sf(count - 1, n, a, b))
        assert upper_tail(count, n, n * share, variance) == pytest.approx(tail, rel=1e-7, abs=1e-12)
        plain = float(binom.sf(count - 1, n, share))
        assert upper_tail(count, n, n * share, 0.5 * n * share * (1 - share)) == pytest.approx(
            plain, rel=1e-4, abs=1e-12
        )


def test_nobody_and_one_alone_cannot_be_compared() -> None:
    for people in (0, 1):
        jobs = job_columns(np.arange(30), np.zeros(30), person=np.full(30, people - 1), found=np.ones((30, 4)))
        found = left_over_of(jobs, people)
        assert np.isnan(found.expected).all()
        assert np.isnan(found.q).all()
