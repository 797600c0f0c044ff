"""What each person left held: planted work that comes back is found, and nobody else is told to do better than it is."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from models.history.columns import BoolArray
from models.history.effects import Holding
from models.history.holding import holding_by_others
from models.history.material import service_of
from models.history.return_rates import return_rates
from models.history.returns import present_looks
from models.history.runs import runs_of
from tests.fleet import job_columns, no_breaks

MACHINES, VISITS, PEOPLE = 40, 13, 5


def fleet(rng: np.random.Generator, times: float, *, owned: float | None = None) -> tuple[Holding, BoolArray]:
    """Machines that differ, a visit about every year by anybody; what the first person leaves comes back so many times as often.

    With ``owned`` the first person works as all others do, and has this share of the visits of eight machines that themselves
    come back so many times as often, and no other.
    """
    asset = np.repeat(np.arange(MACHINES), VISITS)
    gap = rng.uniform(0.3, 1.7, (MACHINES, VISITS))
    person = rng.integers(0, PEOPLE, (MACHINES, VISITS))
    rate = rng.gamma(3.0, 0.08, (MACHINES, 1)) * np.where(person == 0, times, 1.0)
    if owned is not None:
        bad, person = np.arange(MACHINES)[:, None] < 8, rng.integers(1, PEOPLE, (MACHINES, VISITS))
        person = np.where(bad & (rng.random((MACHINES, VISITS)) < owned), 0, person)
        rate = np.where(bad, 0.24 * times, 0.24) + 0.0 * gap
    back = rng.random((MACHINES, VISITS)) < -np.expm1(-rate * np.roll(gap, -1, axis=1))
    found = np.where(np.roll(back, 1, axis=1), 1.4, 0.6)
    jobs = job_columns(
        asset, 365.25 * np.cumsum(gap, axis=1).ravel(), person=person.ravel(), found_ratio=found.ravel(),
        left_ratio=np.full(asset.size, 0.3), found=np.full((asset.size, 4), 0.01), left=np.zeros((asset.size, 4)),
    )  # fmt: skip
    runs, classes = runs_of(jobs, no_breaks()), np.zeros(MACHINES, np.int64)
    rows = np.flatnonzero(present_looks(jobs, no_breaks(), runs))
    _, years, _ = service_of(runs, rows, MACHINES)
    rates = return_rates(runs.asset[rows], years, runs.returned[rows], classes)
    return holding_by_others(jobs, no_breaks(), runs, rates, classes, PEOPLE)


def test_work_that_comes_back_is_found_and_nobody_else_is_told_apart_for_it() -> None:
    """By the binomial law: more than the bound would come in one of 10,000 if one innocent in ten were told."""
    rng = np.random.default_rng(3)
    ratios, told, innocent = [], 0, 0
    for _ in range(12):
        held, out = fleet(rng, 4.0)
        told += int(out[0])
        innocent += int((held.q[1:] <= 0.10).sum())
        ratios.append(held.ratio)
    assert told >= 11
    assert innocent <= binom.ppf(0.9999, 48, 0.10)
    # With the one's returns counted in, the others read 0.75.
    of_one, of_others = np.mean(ratios, axis=0)[0], np.mean(ratios, axis=0)[1:]
    assert of_one > 1.5
    assert abs(of_others.mean() - 1.0) < 0.1


@pytest.mark.parametrize("owned", [1.0, 0.9])
def test_who_has_the_bad_machines_is_not_taken_for_the_cause(owned: float) -> None:
    """Counted with their own machines, forty of a hundred such fleets had them stand out, at twice what was to be expected."""
    rng = np.random.default_rng(3)
    taken = 0
    for _ in range(12):
        held, out = fleet(rng, 4.0, owned=owned)
        taken += int(out[0])
        if owned == 1.0:
            assert held.jobs[0] == 0
            assert np.isnan(held.q[0])
    assert taken <= 1


def test_who_stands_out_is_not_in_the_ratio_of_all() -> None:
    held, out = fleet(np.random.default_rng(3), 4.0)
    assert out.tolist() == [True] + [False] * 4
    assert held.common == pytest.approx(held.observed[1:].sum() / held.expected[1:].sum())


def test_where_all_work_alike_nobody_is_taken_out_too_often() -> None:
    rng = np.random.default_rng(4)
    taken = [fleet(rng, 1.0)[1].any() for _ in range(24)]
    assert sum(taken) <= binom.ppf(0.9999, 24, 0.10)
