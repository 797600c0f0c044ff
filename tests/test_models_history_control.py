"""Control charts against the e-Handbook."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from models.history.control import (
    FIRM,
    PROVISIONAL,
    TOO_FEW,
    Frozen,
    ewma_chart,
    individuals_chart,
    log_median_ratio,
    p_prime_chart,
    runs_on_one_side,
)
from tests.fleet import job_columns

PUBLISHED = Path(__file__).parent / "published"
SPC = json.loads((PUBLISHED / "nist_spc.json").read_text(encoding="utf-8"))


def test_individuals_chart_is_the_handbooks() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2 (seen in a secondary copy)."""
    block = SPC["individuals"]
    chart = individuals_chart(np.array(block["x"]))
    published = block["published"]
    assert chart.centre == pytest.approx(published["mean"], abs=5e-5)
    assert chart.upper[0] == pytest.approx(published["ucl"], abs=5e-5)
    assert chart.lower[0] == pytest.approx(published["lcl"], abs=5e-5)
    assert chart.sigma * 1.128 == pytest.approx(published["mr_bar"], abs=5e-5)
    assert chart.standing == TOO_FEW


def test_ewma_chart_is_the_handbooks() -> None:
    """e-Handbook 6.3.2.4 (seen in a secondary copy): 20 values to 2 decimals; the printed lower limit is truncated."""
    block = SPC["ewma"]
    agreed = Frozen(block["ewma0"], block["s"])
    chart = ewma_chart(np.array(block["x"]), block["lam"], agreed, exact=False)
    np.testing.assert_allclose(chart.value, block["published"]["z"], atol=5.1e-3)
    assert chart.upper[0] == pytest.approx(block["published"]["ucl"], abs=5e-5)
    assert chart.lower[0] == pytest.approx(block["published"]["lcl"], abs=1e-4)
    growing = ewma_chart(np.array(block["x"]), block["lam"], agreed)
    assert (np.diff(growing.upper) > 0).all()
    assert not chart.beyond.any()


def test_p_chart_is_the_handbooks_and_p_prime_the_computed_one() -> None:
    """e-Handbook 6.3.3.2 (limits seen in a secondary copy); p′ in own_reference_values.json (computed)."""
    block = SPC["p_chart"]
    counts = np.array(block["counts"])
    n = np.full(len(counts), block["n"])
    plain = p_prime_chart(counts, n, laney=False)
    assert plain.centre == pytest.approx(block["published"]["center"], abs=5e-8)
    assert plain.upper[0] == pytest.approx(block["published"]["ucl"], abs=5e-8)
    assert plain.lower[0] == pytest.approx(block["published"]["lcl"], abs=5e-8)
    own = json.loads((PUBLISHED / "own_reference_values.json").read_text(encoding="utf-8"))[
        "laney_p_prime_on_p_chart_data"
    ]
    laney = p_prime_chart(counts, n)
    assert laney.sigma_z == pytest.approx(own["sigma_z"], rel=1e-12)
    assert laney.upper[0] == pytest.approx(own["ucl"], rel=1e-12)
    assert laney.lower[0] == own["lcl"]
    assert plain.standing == FIRM


def test_months_that_really_differ_alarm_the_plain_chart_but_not_p_prime() -> None:
    """Statistics of the project, section 3(d) (computed): 3.98 against 0.09 false alarms in 24 months."""
    rng = np.random.default_rng(1)
    plain, laney = 0, 0
    for _ in range(150):
        n = rng.integers(250, 550, 24)
        count = rng.binomial(n, np.clip(rng.normal(0.2, 0.04, 24), 0.01, 0.9))
        plain += p_prime_chart(count, n, laney=False).beyond.sum()
        laney += p_prime_chart(count, n).beyond.sum()
    assert plain / 150 == pytest.approx(4.0, abs=0.6)
    assert laney / 150 < 0.25


def test_eight_on_one_side_are_a_signal_and_a_gap_neither_ends_nor_makes_it() -> None:
    gap = np.array([1.0] * 7 + [np.nan] + [1.0, 1.0, -1.0])
    assert np.flatnonzero(runs_on_one_side(gap)).tolist() == [8, 9]
    assert not runs_on_one_side(np.zeros(20)).any()
    assert runs_on_one_side(np.zeros(0)).shape == (0,)


def test_the_run_length_of_three_sigma_with_eight_on_one_side() -> None:
    """own_reference_values.json: ARL0 152.73 (computed); here by the chain of states 'so many in a row on this side'."""
    own = json.loads((PUBLISHED / "own_reference_values.json").read_text(encoding="utf-8"))["run_rule_arl0"]["1+4"]
    inside = 0.5 - 0.001349898031630095
    step = np.zeros((14, 14))
    for side in (0, 1):
        for length in range(7):
            if length < 6:
                step[side * 7 + length, side * 7 + length + 1] = inside
            step[side * 7 + length, (1 - side) * 7] = inside
    steps = np.linalg.solve(np.eye(14) - step, np.ones(14))
    assert 1.0 + 2 * inside * steps[0] == pytest.approx(own, rel=1e-9)
    rng = np.random.default_rng(3)
    z = rng.standard_normal(400_000)
    signal = (np.abs(z) > 3) | runs_on_one_side(z)
    # A run that has signalled is begun anew: only first signals of independent stretches are counted.
    stretches = signal.reshape(-1, 2000)
    first = np.where(stretches.any(axis=1), stretches.argmax(axis=1) + 1, 2000)
    assert np.mean(first) == pytest.approx(own, rel=0.2)


def test_frozen_limits_stay_where_they_were_put() -> None:
    agreed = Frozen(0.2, 0.0, sigma_z=1.5)
    chart = p_prime_chart(np.array([40, 90]), np.array([200, 200]), agreed)
    assert chart.centre == 0.2
    assert chart.beyond.tolist() == [False, True]
    assert chart.standing == FIRM


def test_empty_months_small_counts_and_nothing_at_all_are_said() -> None:
    count, n = np.array([0, 2, 0] + [1] * 10), np.array([0, 10, 0] + [12] * 10)
    chart = p_prime_chart(count, n)
    assert np.isnan(chart.value[0])
    assert not chart.beyond[0]
    assert np.isfinite(chart.tail[3:]).all()
    assert chart.standing == TOO_FEW
    assert p_prime_chart(np.full(15, 3), np.full(15, 20)).standing == PROVISIONAL
    empty = p_prime_chart(np.zeros(3, int), np.zeros(3, int))
    assert empty.n == 0
    assert not empty.beyond.any()
    assert not individuals_chart(np.full(3, np.nan)).beyond.any()
    assert p_prime_chart(np.zeros(5, int), np.full(5, 9)).centre == 0.0


def test_the_median_of_each_month() -> None:
    jobs = job_columns([0, 1, 2, 3], [0, 1, 2, 40], found_ratio=[0.5, 2.0, 1.0, 0.0])
    first = int(jobs.month[0])
    got = log_median_ratio(jobs, np.array([first, first + 1, first + 2]))
    assert got[0] == pytest.approx(0.0)
    assert got[1] == pytest.approx(np.log(1e-3))
    assert np.isnan(got[2])


def test_a_share_of_none_or_of_all_has_no_spread_and_no_warning() -> None:
    n = np.array([4, 9, 1, 0, 7])
    for count in (np.zeros(5, dtype=np.int64), n):
        chart = p_prime_chart(count, n)
        assert chart.sigma_z == 1.0
        assert not chart.beyond.any()
