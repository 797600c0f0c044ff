"""Predictions of the past use nothing of their future; conformal factors and the back-test keep their word."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.stats import binom

from models.history.backtest import FAILED, HELD, TOO_FEW, backtest_of, clustered_share, kupiec_ratio
from models.history.classes import group_series
from models.history.conformal import LEVELS, conformal_factors, conformal_rank, depth_of
from models.history.drift import fit_classes, rates_of
from models.history.intervals import wilson
from models.history.material import Material, material_of
from models.history.moderation import effective_df
from models.history.predictions import _origins, next_drift, predict_past
from models.history.runs import runs_of
from models.history.sums import sums_of
from tests.fleet import DAY_US, Plan, break_columns, make_fleet


def drawn(seed: int, **plan: object) -> Material:
    history, _ = make_fleet(seed, Plan(**{"assets": 150, "jobs_high": 10, **plan}))  # type: ignore[arg-type]
    return material_of(history.jobs, history.breaks, runs_of(history.jobs, history.breaks), history.assets)


def one_class(material: Material) -> object:
    return group_series(np.zeros(len(material.series_asset), np.int64), np.unique(material.series))


def test_what_happens_later_changes_no_earlier_prediction() -> None:
    material = drawn(41)
    grouping = one_class(material)
    before = predict_past(material, grouping)  # type: ignore[arg-type]
    origin = _origins(material)[4]
    wild = material.drift.copy()
    wild[material.end_us > origin] *= 3.0
    after = predict_past(replace(material, drift=wild), grouping)  # type: ignore[arg-type]
    early = material.start_us[before.row] < origin
    again = np.isin(after.row, before.row[early])
    assert early.sum() > 50
    np.testing.assert_array_equal(before.mean[early], after.mean[again])
    np.testing.assert_array_equal(before.half[early], after.half[again])


def test_the_factor_of_a_prediction_rests_on_what_had_ended_on_its_own_day() -> None:
    material = drawn(41)
    grouping = one_class(material)
    origin, following = _origins(material)[2:4]
    wild = np.where((material.end_us > origin)[:, None], 3.0, 1.0) * material.drift

    def factors(drift: np.ndarray) -> np.ndarray:
        """Give the factor of each prediction of the year from the origin on, read off its half-widths."""
        past = predict_past(replace(material, drift=drift), grouping)  # type: ignore[arg-type]
        year = (material.start_us[past.row] >= origin) & (material.start_us[past.row] < following)
        quantile = stats.t.ppf(0.5 + np.array(LEVELS) / 2.0, past.df[year, None])
        return np.asarray(past.half[year] / np.sqrt(past.variance[year])[:, :, None] / quantile[:, None, :])

    before, after = factors(material.drift), factors(wild)
    assert len(before) > 50
    assert np.abs(before[:, 0, 1] - 1.0).min() > 0.01
    np.testing.assert_allclose(before, after, rtol=1e-3)


def test_one_prediction_is_that_of_the_obvious_way() -> None:
    material = drawn(42)
    grouping = one_class(material)
    got = predict_past(material, grouping)  # type: ignore[arg-type]
    origins = _origins(material)
    for k in (0, len(got) // 2, len(got) - 1):
        row = got.row[k]
        origin = origins[origins <= material.start_us[row]][-1]
        fits = fit_classes(material, grouping, material.end_us <= origin)  # type: ignore[arg-type]
        mine = (material.series == material.series[row]) & (np.arange(len(material)) < row)
        series = len(material.series_asset)
        sums = sums_of(material, fits.variance, grouping.fit, mine, series)  # type: ignore[attr-defined]
        rates = rates_of(sums, fits, grouping.fit)  # type: ignore[attr-defined]
        s = material.series[row]
        mean, variance, _ = next_drift(
            fits, np.zeros(1, int), rate=rates.shrunk[[s]], rate_variance=rates.shrunk_se[[s]] ** 2,
            factor=rates.factor[[s]], years=material.years[[row]],
        )  # fmt: skip
        np.testing.assert_allclose(got.mean[k], mean[0], rtol=1e-7)
        np.testing.assert_allclose(got.variance[k], variance[0], rtol=1e-7)


def test_a_machine_is_judged_by_the_intervals_of_what_stands_there_now() -> None:
    """Counted by hand; of the machine that is gone none counts, nor does any once a later replacement is in the book."""
    history, _ = make_fleet(46, Plan(assets=120, jobs_low=6, jobs_high=10, break_share=0.0))
    jobs = history.jobs
    rows = [np.flatnonzero(jobs.asset == one) for one in range(3)]
    # Each machine is replaced before its second last visit but two, its last one, and never.
    breaks = break_columns(
        [0, 1], [jobs.performed_us[rows[0][-4]] / DAY_US - 1, jobs.performed_us[rows[1][-1]] / DAY_US - 1]
    )
    material = material_of(jobs, breaks, runs_of(jobs, breaks), history.assets)
    past = predict_past(material, one_class(material))  # type: ignore[arg-type]
    result = backtest_of(past, material, 2)
    inside = np.abs(past.error) <= past.half[:, :, LEVELS.index(0.8)]
    for one, since in ((0, jobs.performed_us[rows[0][-4]]), (1, None), (2, jobs.performed_us[rows[2][0]])):
        mine = material.asset[past.row] == one
        if since is not None:
            mine &= material.start_us[past.row] >= since
        held, tested = result.own(one, None if since is None else int(since))
        assert tested.tolist() == (
            [0] * 4 if since is None else (mine[:, None] & ~np.isnan(past.error)).sum(axis=0).tolist()
        )
        assert held.tolist() == ([0] * 4 if since is None else (mine[:, None] & inside).sum(axis=0).tolist())
    assert (material.asset[past.row] == 1).any()
    assert result.own(2, int(jobs.performed_us[rows[2][0]]))[1].sum() > 0
    assert result.own(2, int(jobs.performed_us[rows[2][-2]]))[1].sum() == 0
    assert result.own(len(history.assets), None)[1].sum() == 0


@pytest.mark.parametrize("heavy", [True, False])
def test_coverage_on_its_own_past_is_what_it_says(heavy: bool) -> None:
    material = drawn(43, assets=1200, heavy=heavy)
    result = backtest_of(predict_past(material, one_class(material)), material, 2)  # type: ignore[arg-type]
    np.testing.assert_allclose(result.coverage[-1], LEVELS, atol=0.02)
    assert (result.low[-1] < result.coverage[-1]).all()
    assert result.verdict[-1] == HELD
    assert result.loss[-1] < result.loss_class[-1]
    assert result.loss[-1] < result.loss_zero[-1]
    np.testing.assert_allclose(result.pit[-1], 0.1, atol=0.02)
    np.testing.assert_array_equal(result.coverage[0], result.coverage[1])


def test_a_class_whose_intervals_do_not_hold_fails() -> None:
    material = drawn(44, assets=400)
    past = predict_past(material, one_class(material))  # type: ignore[arg-type]
    narrow = replace(past, half=past.half * 0.4)
    assert backtest_of(narrow, material, 2).verdict.tolist() == [FAILED, FAILED]
    # The bound that pages quote: what held of 90 % intervals is below 85 % for certain, or they are believed.
    for narrower, wanted in ((0.78, FAILED), (0.85, HELD)):
        result = backtest_of(replace(past, half=past.half * narrower), material, 2)
        assert 0.82 < result.high[-1, -1] < 0.88
        assert (result.verdict[-1] == FAILED) == (result.high[-1, -1] < 0.85) == (wanted == FAILED)


def test_too_little_past_is_said() -> None:
    material = drawn(45, assets=20)
    past = predict_past(material, one_class(material))  # type: ignore[arg-type]
    assert len(past) == 0
    result = backtest_of(past, material, 1)
    assert result.verdict.tolist() == [TOO_FEW]
    assert (result.low == 0).all()


def test_the_conformal_rank_needs_nine_for_ninety_per_cent() -> None:
    """Statistics of the project, section 1: 9 calibration intervals for 90 %, 19 for 95 %."""
    assert np.isnan(conformal_rank(np.arange(8.0), 0.90))
    assert conformal_rank(np.arange(9.0), 0.90) == 8.0
    assert np.isnan(conformal_rank(np.arange(18.0), 0.95))
    assert conformal_rank(np.arange(19.0), 0.95) == 18.0


def test_factors_take_their_own_stratum_when_it_has_scores_enough() -> None:
    rng = np.random.default_rng(1)
    score = np.abs(rng.normal(size=(900, 4, 3)))
    depth = np.repeat([0, 1], [700, 200])
    score[depth == 0] *= 2.0
    got = conformal_factors(score, depth, np.zeros(900, np.int64), 2)
    assert got.factor[0, 0, 1] == pytest.approx(2 * 1.2816, rel=0.06)
    assert got.factor[0, 1, 1] == pytest.approx(1.2816, rel=0.09)
    assert got.factor[0, 3, 1] == got.factor[1, 2, 1]
    few = conformal_factors(score[:10], depth[:10], np.zeros(10, np.int64), 2)
    assert (few.factor == 1.0).all()
    assert depth_of(np.array([0, 1, 2, 3, 4, 7, 8, 30])).tolist() == [0, 0, 1, 1, 2, 2, 3, 3]


def test_kupiecs_ratio_is_the_computed_one() -> None:
    """own_reference_values.json: 5 of 250 at 1 % (computed; 1.9568 is also a textbook value, from memory)."""
    own = json.loads((Path(__file__).parent / "published" / "own_reference_values.json").read_text(encoding="utf-8"))[
        "kupiec_example"
    ]
    assert kupiec_ratio(own["exceptions"], own["T"], own["p"]) == pytest.approx(own["LR"], rel=1e-12)
    assert kupiec_ratio(25, 250, 0.10) == pytest.approx(0.0, abs=1e-12)
    assert kupiec_ratio(0, 50, 0.10) > 0


def test_intervals_of_one_asset_count_as_fewer() -> None:
    rng = np.random.default_rng(2)
    asset = np.repeat(np.arange(50), 4)
    held = np.repeat(rng.random(50) < 0.8, 4)[:, None] * np.ones((1, 4), bool)
    counted = np.ones((200, 4), bool)
    _, low, high = clustered_share(held, counted, asset)
    _, alone_low, alone_high = clustered_share(held, counted, np.arange(200))
    assert high - low > 1.5 * (alone_high - alone_low)


def test_a_variance_of_which_half_is_sure_has_four_times_the_degrees_of_freedom() -> None:
    assert effective_df(np.array([5.0]), np.full((1, 4), 0.5), np.ones((1, 4)))[0] == 20.0
    assert stats.t.ppf(0.9, 20) < stats.t.ppf(0.9, 5)


def test_limits_of_a_share_hold_with_few_machines() -> None:
    """True shares that differ by machine (beta, mean 0.85), 30 runs of one component each; asked 95 %, with the binomial law's bound."""
    rng = np.random.default_rng(21)
    for machines in (2, 3, 5, 10):
        asset, counted = np.repeat(np.arange(machines), 30), np.zeros((machines * 30, 4), bool)
        counted[:, 0] = True
        covered = 0
        for _ in range(300):
            share = rng.beta(17.0, 3.0, machines)
            held = counted & (rng.random(machines * 30) < share[asset])[:, None]
            _, low, high = clustered_share(held, counted, asset)
            covered += low <= 0.85 <= high
        assert covered >= binom.ppf(0.001, 300, 0.95)


@pytest.mark.parametrize("machines", [2, 3, 5])
def test_few_machines_count_by_the_variance_between_them(machines: int) -> None:
    """Clusters of one size: the textbook's variance of a mean, with n - 1; then Wilson with t in the place of z."""
    rng = np.random.default_rng(machines)
    held = rng.random((machines * 30, 4)) < np.repeat(np.linspace(0.6, 0.9, machines), 30)[:, None]
    share, low, high = clustered_share(held, held | True, np.repeat(np.arange(machines), 30))
    each = held.reshape(machines, -1).mean(axis=1)
    assert share == pytest.approx(each.mean())
    trials = share * (1.0 - share) / (np.var(each, ddof=1) / machines)
    trials *= (stats.norm.ppf(0.975) / stats.t.ppf(0.975, machines - 1)) ** 2
    assert (low, high) == tuple(
        pytest.approx(float(end[0])) for end in wilson(np.array([share * trials]), np.array([trials]))
    )


def test_where_every_interval_held_each_machine_counts_once() -> None:
    held = np.ones((90, 4), bool)
    share, low, high = clustered_share(held, held, np.repeat([0, 4, 9], 30))
    assert (share, high) == (1.0, 1.0)
    assert low == pytest.approx(float(wilson(np.array([3]), np.array([3]))[0][0]))
    # One machine tells nothing of how machines differ; alike by chance, they count no more than their trials do.
    half = np.tile([[True, True, False, True]], (90, 1))
    _, low, high = clustered_share(half, half | True, np.zeros(90, int))
    assert (low, high) == tuple(pytest.approx(float(end[0])) for end in wilson(np.array([0.75]), np.array([1.0])))
    _, low, high = clustered_share(half, half | True, np.repeat([0, 4, 9], 30))
    assert 0.55 < low < 0.75 - 0.05
    assert 0.75 + 0.05 < high < 0.9
