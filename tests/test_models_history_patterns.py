"""Causes: the planted ones are found, and nothing is claimed where nothing was planted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from models.history.columns import History
from models.history.engine import Study, study_of
from models.history.evidence import AGAINST, FOR, OPEN, _percent, evidence_for
from models.history.patterns import (
    CAUSE_WORDS,
    LOOSE_BOLTS,
    PIPE_STRAIN,
    SETTLING,
    SOFT_FOOT,
    THERMAL_TARGET,
    _soft_foot,
    rest_of,
    soft_p,
)
from models.maths.soft_foot import spread
from tests.fleet import Plan, Truth, make_fleet

PLAN = Plan(assets=300, jobs_low=3, jobs_high=12, rate_sd=0.02, causes_each=15)


@pytest.fixture(scope="module")
def plant() -> tuple[History, Truth, Study]:
    history, truth = make_fleet(71, PLAN)
    return history, truth, study_of(history)


@pytest.mark.parametrize(
    ("cause", "power"),
    [(SETTLING, 0.6), (PIPE_STRAIN, 0.6), (THERMAL_TARGET, 0.6), (SOFT_FOOT, 0.6), (LOOSE_BOLTS, 0.2)],
)
def test_a_planted_cause_is_found_and_seldom_claimed_elsewhere(
    plant: tuple[History, Truth, Study], cause: int, power: float
) -> None:
    _, truth, study = plant
    suggested = study.patterns.suggested[:, cause]
    here = truth.cause == cause
    assert np.mean(suggested[here]) >= power
    assert np.sum(suggested & ~here) <= max(0.25 * suggested.sum(), 1)


def test_nothing_is_claimed_where_nothing_was_planted() -> None:
    claims = np.zeros(5)
    for seed in range(12):
        study = study_of(make_fleet(7100 + seed, replace(PLAN, causes_each=0, rate_sd=0.0))[0])
        claims += study.patterns.suggested.any(axis=0)
    assert (claims <= 4).all()  # 10 % of 12 is 1.2; five or more would come by chance in 4 of 1,000


def test_the_shape_tells_a_step_from_a_movement_in_time(plant: tuple[History, Truth, Study]) -> None:
    _, truth, study = plant
    ratio = study.now(study.shapes.log_ratio)
    assert np.nanmedian(ratio[truth.cause == SETTLING]) < -1.0
    assert np.nanmedian(ratio[truth.cause == PIPE_STRAIN]) > 1.0
    assert abs(np.nanmedian(ratio[truth.cause == -1])) < 0.3


def test_a_movement_that_follows_the_temperature_suggests_the_target() -> None:
    history, _ = make_fleet(
        72, replace(PLAN, causes_each=0, rate_sd=0.0, jobs_low=8, spacer_share=0.0, break_share=0.0)
    )
    jobs = history.jobs
    rng = np.random.default_rng(1)
    warm = rng.uniform(20.0, 60.0, len(jobs))
    affected = jobs.asset < 10
    found = jobs.found.copy()
    left = jobs.left.copy()
    shift = np.where(affected, 0.0004 * (warm - 20.0) * jobs.limits[:, 0] / 0.01, 0.0)
    found[:, 0] += shift
    left[:, 0] += shift
    # As-found and as-left of one visit were read at one temperature, so the drift follows its change.
    temperatures = replace(
        jobs, found=found, left=left, temp_movable_c=warm, temp_stationary_c=np.full(len(jobs), 20.0)
    )
    study = study_of(replace(history, jobs=temperatures))
    suggested = study.patterns.suggested[:, THERMAL_TARGET]
    assert suggested[:10].sum() >= 7
    assert suggested[10:].sum() <= 2
    assert np.nanmedian(study.patterns.warm_slope[:10]) == pytest.approx(0.04, abs=0.01)
    # The better of two tests is paid for: of the others no more than one in ten has p <= 0.1, by the binomial law.
    others = study.patterns.p[10:, THERMAL_TARGET]
    assert np.nansum(others <= 0.1) <= binom.ppf(0.999, np.isfinite(others).sum(), 0.1)


def test_one_case_of_soft_foot_in_ten_is_usual_where_others_have_none() -> None:
    over, looks = np.array([2, 0, 0]), np.array([8, 30, 30])
    assert rest_of(over, looks).tolist() == [0.10, 0.10, 0.10]
    assert rest_of(np.array([2, 20, 20]), looks)[0] == pytest.approx(40 / 60)
    assert soft_p(over, looks)[0] == pytest.approx(binom.sf(1, 8, 0.10))


def test_the_evidence_names_its_jobs_and_what_would_settle_it(plant: tuple[History, Truth, Study]) -> None:
    history, truth, study = plant
    asset = int(np.flatnonzero(study.patterns.suggested[:, SETTLING] & (truth.cause == SETTLING))[0])
    lines = evidence_for(asset, history.jobs, study.runs, history.assets, study.material, patterns=study.patterns,
                         directions=study.directions, shapes=study.shapes, feet=study.feet,
                         step_chance=float(study.standing.step_chance[asset]))  # fmt: skip
    assert len(lines) == 5
    first = lines[0]
    assert first.stance == FOR
    assert first.cause == CAUSE_WORDS[SETTLING]
    assert first.weight >= 1.0
    assert "drifts one way" in first.text
    mine = set(history.jobs.entry[history.jobs.asset == asset].tolist())
    for line in lines:
        assert set(line.entries) <= mine
        assert line.settles
        assert line.stance in {FOR, AGAINST, OPEN}
        assert "nan" not in line.text


def test_an_asset_without_runs_has_words_and_no_numbers() -> None:
    history, _ = make_fleet(73, replace(PLAN, causes_each=0, jobs_low=1, jobs_high=3))
    study = study_of(history)
    for asset in range(40):
        lines = evidence_for(asset, history.jobs, study.runs, history.assets, study.material, patterns=study.patterns,
                             directions=study.directions, shapes=study.shapes, feet=study.feet,
                         step_chance=float(study.standing.step_chance[asset]))  # fmt: skip
        assert all("nan" not in line.text for line in lines)


def test_a_foot_that_rises_by_just_the_limit_is_not_counted() -> None:
    lows = np.arange(60) / 100.0
    rises = np.stack([lows, lows, np.round(lows + 0.05, 2), lows], axis=1)
    jobs, _ = make_fleet(74, replace(PLAN, assets=20, causes_each=0))
    some = replace(
        jobs.jobs,
        **{name: getattr(jobs.jobs, name)[:60] for name in jobs.jobs.__slots__} | {"soft_before": spread(rises)},
    )
    over, looks = _soft_foot(some, 20)
    assert (over.sum(), looks.sum()) == (0, 60)


@pytest.mark.parametrize(
    ("share", "written"),
    [
        (1.0, "100"),
        (0.996, "100"),
        (0.5, "50"),
        (0.0996, "10"),
        (0.0312, "3.1"),
        (0.00021, "0.021"),
        (3e-7, "below 0.01"),
    ],
)
def test_a_share_of_the_fleet_is_written_without_powers_of_ten(share: float, written: str) -> None:
    assert _percent(share) == written
