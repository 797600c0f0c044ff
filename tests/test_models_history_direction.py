"""Direction: Hotelling's published values, size on fleets without drift, power on fleets with it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from models.history.direction import NO_DIRECTION, ONE_WAY, TOO_FEW, _quadratic, direction_words
from models.history.engine import study_of
from tests.fleet import Plan, make_fleet

TESTS = json.loads((Path(__file__).parent / "published" / "direction_tests.json").read_text(encoding="utf-8"))


def test_the_quadratic_form_is_hotellings() -> None:
    """Johnson & Wichern, sweat data (seen in a secondary copy): T2 9.74, p .06493; mean and covariance computed."""
    block = TESTS["hotelling_sweat"]
    covariance, n, p = np.array(block["covariance"]), block["n"], block["p"]
    sd = np.sqrt(np.diag(covariance))
    correlation = np.eye(4)
    correlation[:3, :3] = covariance / np.outer(sd, sd)
    z = np.full((1, 4), np.nan)
    z[0, :3] = np.sqrt(n) * (np.array(block["mean"]) - np.array(block["mu0"])) / sd
    value, count = _quadratic(z, correlation[None], np.zeros(1, int), (0, 1, 2, 3))
    t2 = value[0] * count[0]
    assert t2 == pytest.approx(block["T2_unrounded"], abs=5e-7)
    assert stats.f.sf(t2 * (n - p) / (p * (n - 1)), p, n - p) == pytest.approx(block["published"]["p"], abs=5e-6)


def test_the_two_dimensional_example() -> None:
    """Johnson & Wichern, example 5.1 (memory): T2 = 7/9."""
    block = TESTS["hotelling_2d"]
    x = np.array(block["X"], dtype=float)
    covariance = np.cov(x.T)
    sd = np.sqrt(np.diag(covariance))
    correlation = np.eye(4)
    correlation[:2, :2] = covariance / np.outer(sd, sd)
    z = np.full((1, 4), np.nan)
    z[0, :2] = np.sqrt(3) * (x.mean(axis=0) - np.array(block["mu0"])) / sd
    value, count = _quadratic(z, correlation[None], np.zeros(1, int), (0, 1))
    assert value[0] * count[0] == pytest.approx(block["published"]["T2"], rel=1e-12)


@pytest.mark.parametrize("heavy", [True, False])
def test_a_fleet_without_drift_raises_no_more_alarms_than_stated(heavy: bool) -> None:
    alarms, small, tested = 0, 0, 0
    for seed in range(24):
        study = study_of(make_fleet(9000 + seed, Plan(assets=120, jobs_high=12, rate_sd=0.0, heavy=heavy))[0])
        alarms += bool((study.directions.verdict == ONE_WAY).any())
        p = study.directions.p[~np.isnan(study.directions.p)]
        small, tested = small + int((p <= 0.05).sum()), tested + len(p)
    assert alarms <= 5  # 10 % of 24 is 2.4; six or more would come by chance in 28 of 1,000
    assert small / tested <= 0.055


def test_planted_directions_are_found_and_few_runs_say_so() -> None:
    history, truth = make_fleet(5, Plan(assets=400, jobs_low=3, jobs_high=12, settling_share=0.3, rate_sd=0.6))
    study = study_of(history)
    verdict = np.where(study.material.series_now >= 0, study.directions.verdict[study.material.series_now], TOO_FEW)
    moving = np.abs(truth.rate).max(axis=1) > 0.5
    enough = verdict != TOO_FEW
    assert np.mean(verdict[moving & enough] == ONE_WAY) > 0.7
    still = (truth.rate == 0.0).all(axis=1)
    flagged = verdict == ONE_WAY
    assert np.sum(flagged & still) / max(np.sum(flagged), 1) <= 0.10
    assert (study.directions.n[study.directions.verdict == NO_DIRECTION] >= 3).all()


def test_directions_are_said_in_words() -> None:
    assert direction_words(-1.0, 0.0) == "down"
    assert direction_words(0.5, 0.5) == "up and to the right"
    assert direction_words(-0.1, -1.0) == "to the left"
    assert direction_words(0.0, 0.0) == "nowhere"
    assert direction_words(float("nan"), 1.0) == "nowhere"
