"""Persons and instruments: a planted bias is found, and none is named without one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, gamma

from models.history.classes import group_series
from models.history.columns import History
from models.history.effects import Effects, effects_of, expected_returns, holding_of
from models.history.engine import study_of
from models.history.material import material_of
from models.history.runs import runs_of
from tests.fleet import Plan, asset_columns, job_columns, make_fleet, no_breaks

PLAN = Plan(assets=250, jobs_low=4, jobs_high=10, spacer_share=0.0, rate_sd=0.1)


def of_persons(history: History) -> Effects:
    study = study_of(history)
    return effects_of(study.runs, study.material, study.grouping, history.jobs.person, len(history.people))


def test_a_person_who_reads_too_high_is_found_with_the_size() -> None:
    effects = of_persons(make_fleet(81, replace(PLAN, biased_person_mm=0.02))[0])
    assert effects.q[0, 0] < 0.05
    assert effects.raw[0, 0] == pytest.approx(0.02, abs=0.006)
    assert effects.low[0, 0] > 0.0
    assert (effects.q[1:] > 0.05).all()
    assert 0.0 < effects.drawn[0, 0] < effects.raw[0, 0]
    assert (effects.drawn_low < effects.drawn_high).all()


@pytest.mark.parametrize("people", [3, 4, 8])
def test_the_interval_of_who_reads_too_high_holds_what_was_planted(people: int) -> None:
    """One of few reads 3.7 errors too high: of the intervals that were drawn to the median, half left that out.

    By the binomial law, fewer than the bound in one of 10,000 if each held with probability 0.9.
    """
    rng = np.random.default_rng(people)
    looks, held = 240, 0
    left = rng.integers(0, people, looks)
    found = (left + rng.integers(1, people, looks)) % people
    jobs = job_columns(np.repeat(np.arange(looks), 2), np.tile([0.0, 300.0], looks))
    runs = runs_of(jobs, no_breaks())
    material = material_of(jobs, no_breaks(), runs, asset_columns(looks))
    grouping = group_series(np.ones(looks, np.int64), np.arange(looks))
    who = np.stack([left, found], axis=1).ravel()
    size = 3.7 * 0.02 * np.sqrt(people / looks / 2.0)
    planted = size * ((found == 0).astype(float) - (left == 0))
    tries = 60
    for _ in range(tries):
        drift = np.zeros((looks, 4))
        drift[:, 0] = planted + rng.normal(0.0, 0.02, looks)
        effects = effects_of(replace(runs, drift=drift), material, grouping, who, people)
        held += int(effects.low[0, 0] <= size <= effects.high[0, 0])
    assert held >= binom.ppf(1e-4, tries, 0.9), held / tries


def test_nobody_is_named_where_all_read_alike() -> None:
    named = sum(bool((of_persons(make_fleet(8100 + seed, PLAN)[0]).q <= 0.10).any()) for seed in range(12))
    assert named <= 3  # 10 % of 12 is 1.2; four or more would come by chance in 26 of 1,000


def test_fewer_than_ten_jobs_give_no_effect() -> None:
    history, _ = make_fleet(82, PLAN)
    person = history.jobs.person.copy()
    person[person == 7] = 6
    rows = np.flatnonzero(history.jobs.asset == 3)[:2]
    person[rows] = 7
    effects = of_persons(replace(history, jobs=replace(history.jobs, person=person)))
    assert np.isnan(effects.raw[7]).all()
    assert np.isfinite(effects.raw[6]).all()


def test_one_person_alone_and_nobody_known_say_nothing() -> None:
    history, _ = make_fleet(83, PLAN)
    for who in (0, -1):
        jobs = replace(history.jobs, person=np.full(len(history.jobs), who))
        assert np.isnan(of_persons(replace(history, jobs=jobs)).raw).all()


def test_work_that_does_not_hold_is_found_against_what_was_to_be_expected() -> None:
    rng = np.random.default_rng(5)
    who, expected = rng.integers(0, 6, 3000), rng.uniform(0.02, 0.4, 3000)
    chance = np.where(who == 2, np.minimum(2.0 * expected, 1.0), expected)
    got = holding_of(who, expected, rng.random(3000) < chance, 7)
    assert got.q[2] < 0.01
    assert got.drawn[2] == pytest.approx(2.0, abs=0.35)
    assert (got.q[[0, 1, 3, 4, 5]] > 0.05).all()
    assert np.isnan(got.ratio[6])
    assert got.ratio[2] == pytest.approx(got.observed[2] / got.expected[2])
    low, high = gamma.ppf(0.05, got.observed[2]), gamma.ppf(0.95, got.observed[2] + 1)
    assert [got.low[2], got.high[2]] == pytest.approx([low / got.expected[2], high / got.expected[2]])
    assert got.common == pytest.approx(got.observed.sum() / got.expected.sum())
    assert got.jobs[6] == 0


def test_a_machine_that_stood_still_half_the_time_has_half_the_chances_to_come_back() -> None:
    """Written out: rates are of running years; asset 1 runs half the year, and asset 2 has no counter."""
    day = np.tile(365.25 * np.arange(4), 3)
    hours = np.concatenate([8766.0 * np.arange(4), 4383.0 * np.arange(4), np.full(4, np.nan)])
    jobs = job_columns(np.repeat(np.arange(3), 4), day, hours_run=hours, found_ratio=np.full(12, 0.5))
    runs = runs_of(jobs, no_breaks())
    rows, expected = expected_returns(runs, runs.looked, np.array([0.4, 0.4, 0.4]))
    assert rows.tolist() == list(range(9))
    whole, half = 1.0 - np.exp(-0.4), 1.0 - np.exp(-0.2)
    np.testing.assert_allclose(expected, np.repeat([whole, half, whole], 3), rtol=1e-12)
