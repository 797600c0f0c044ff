"""Forecast, re-check day and 'ever over': planted truth, twins, and a reason where there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm, t

from models.history import forecast, passage
from models.history.columns import History
from models.history.conformal import LEVELS, depth_of
from models.history.engine import Choices, Study, study_of
from models.history.forecast import (
    BY_CLASS,
    BY_RISK,
    BY_SITE,
    NONE,
    forecast_at,
    forecast_curve,
    reading_interval,
    recheck_of,
    rechecks_of,
)
from models.history.limit_space import limit_sizes
from models.history.moderation import effective_df
from models.history.passage import ever_over
from models.history.predictions import next_drift
from models.history.standing import (
    CAN,
    COARSE,
    NO_LEFT,
    NO_RUN,
    NO_VISIT,
    NOT_JUDGED,
    REASON_WORDS,
    REPLACED,
    RETIRED,
    SMALL_CLASS,
    Standing,
    standing_of,
)  # fmt: skip
from models.history.steps import Usual, steps_of
from models.history.sums import Sums, parts_of
from tests.fleet import Plan, break_columns, make_fleet
from tests.fleet_report import coverage, recheck_outcome, step_claims


def standing(left: list[float], rate: list[float], **given: object) -> Standing:
    base = {
        "left": np.array([left]), "left_us": np.zeros(1, int), "rate": np.array([rate]), "rate_variance": np.full((1, 4), 1e-12),
        "walk": np.full((1, 4), 0.04), "reading": np.full((1, 4), 1e-10), "df": np.array([np.inf]), "duty": np.ones(1),
        "each_axis": np.zeros(1, bool), "longest_days": np.array([3650.0]), "factor": np.ones(1),
        "level_factor": np.ones((1, 3)), "n": np.array([5]), "reason": np.zeros(1, int),
        "step_chance": np.zeros(1), "step_factor": np.ones(1),
        **{name: np.zeros((1, 4)) for name in ("step", "step_rate", "step_variance", "step_both", "step_rate_variance")},
    }  # fmt: skip
    return Standing(**{**base, **given})  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def plant() -> tuple[History, Study]:
    history, _ = make_fleet(51, Plan(assets=300, jobs_low=2, jobs_high=9, break_share=0.0))
    return history, study_of(history)


def test_intervals_and_risk_keep_their_word_on_a_planted_fleet() -> None:
    plan = Plan(assets=6000, jobs_low=2, jobs_high=9, break_share=0.0)
    history, truth = make_fleet(52, plan)
    study = study_of(history)
    for level in (0.8, 0.9):
        assert np.mean(coverage(study, truth, plan, level)[study.standing.can]) == pytest.approx(level, abs=0.02)
    over, asked = recheck_outcome(study, truth, plan)
    assert asked.sum() > 4000
    assert np.mean(over[asked]) == pytest.approx(0.10, abs=0.02)
    np.testing.assert_allclose(study.recheck.over[asked], 0.10, atol=0.002)


def test_one_axis_is_the_normal() -> None:
    one = standing(
        [0.2, np.nan, 0.0, np.nan],
        [0.5, 0.0, 0.0, 0.0],
        each_axis=np.ones(1, bool),
        walk=np.array([[0.04, 1, 1e-12, 1]]),
    )
    got = forecast_at(one, 365.25)
    expected = norm.sf((1.0 - 0.7) / 0.2) + norm.cdf((-1.0 - 0.7) / 0.2)
    assert got.over[0] == pytest.approx(expected, rel=1e-6)
    assert got.mean[0, 0] == pytest.approx(0.7)
    assert got.sd[0, 0] == pytest.approx(0.2, rel=1e-6)


def test_ever_over_is_the_inverse_gaussian_on_one_axis_and_more_than_over_on_the_day() -> None:
    """First passage of a Brownian motion with drift at one edge (inverse Gaussian); the other edge is far away."""
    one = standing(
        [0.2, np.nan, 0.0, np.nan],
        [0.5, 0.0, 0.0, 0.0],
        each_axis=np.ones(1, bool),
        walk=np.array([[0.04, 1, 1e-12, 1]]),
    )
    got = ever_over(one, np.zeros(1, int), np.array([365.25]), courses=20_000)[0]
    gap, rate, sd = 0.8, 0.5, 0.2
    exact = norm.cdf((rate - gap) / sd) + np.exp(2 * rate * gap / sd**2) * norm.cdf((-rate - gap) / sd)
    assert got == pytest.approx(exact, abs=0.01)
    assert got > forecast_at(one, 365.25).over[0]
    assert ever_over(one, np.zeros(1, int), np.array([365.25]), seed=4) == ever_over(
        one, np.zeros(1, int), np.array([365.25]), seed=4
    )


def test_what_happens_between_two_steps_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """With two steps for sixty: the bridge between them makes first passage exact for one edge."""
    monkeypatch.setattr(passage, "STEPS", 2)
    one = standing(
        [0.2, np.nan, 0.0, np.nan],
        [0.5, 0.0, 0.0, 0.0],
        each_axis=np.ones(1, bool),
        walk=np.array([[0.16, 1, 1e-12, 1]]),
    )
    got = ever_over(one, np.zeros(1, int), np.array([365.25]), courses=20_000)[0]
    gap, rate, sd = 0.8, 0.5, 0.4
    exact = norm.cdf((rate - gap) / sd) + np.exp(2 * rate * gap / sd**2) * norm.cdf((-rate - gap) / sd)
    assert got == pytest.approx(exact, abs=0.012)


def test_the_interval_is_the_one_that_was_tested_on_the_past(plant: tuple[History, Study]) -> None:
    """Drift after so long as the back-test foretells it, times the factor of class, depth and level."""
    study, years = plant[1], 0.7
    stand, fits = study.standing, study.fits
    rows = np.flatnonzero(stand.can)
    series = study.material.series_now[rows]
    fit, n = study.grouping.fit[series], study.rates.n[series]
    factors = np.linspace(0.7, 1.6, study.predictions.factors.factor.size).reshape(
        study.predictions.factors.factor.shape
    )
    stand = standing_of(
        plant[0].jobs, plant[0].assets, study.material, rates=study.rates, fits=fits, grouping=study.grouping,
        factors=replace(study.predictions.factors, factor=factors),
    )  # fmt: skip
    _, variance, chance = next_drift(
        fits, fit, rate=study.rates.shrunk[series], rate_variance=study.rates.shrunk_se[series] ** 2, factor=study.rates.factor[series],
        years=np.full(len(rows), years), sizes=limit_sizes(plant[0].jobs, study.material.scale_row), asset=rows,
    )  # fmt: skip
    df = effective_df(study.rates.df[series], chance, variance)
    for at, level in enumerate(LEVELS):
        low, high = reading_interval(stand, 365.25 * years / stand.duty, level)
        half = t.ppf(0.5 + level / 2.0, df) * factors[fit, depth_of(n), at]
        np.testing.assert_allclose(0.5 * (high - low)[rows], half[:, None] * np.sqrt(variance), rtol=1e-5)


def test_a_limit_for_each_axis_is_met_no_sooner_than_one_on_the_resultant() -> None:
    circle, square = (
        standing([0.6, 0, 0.6, 0], [0.1] * 4),
        standing([0.6, 0, 0.6, 0], [0.1] * 4, each_axis=np.ones(1, bool)),
    )
    assert forecast_at(circle, 200.0).over[0] > forecast_at(square, 200.0).over[0]
    assert (
        ever_over(circle, np.zeros(1, int), np.array([200.0]))[0]
        > ever_over(square, np.zeros(1, int), np.array([200.0]))[0]
    )


def test_the_recheck_day_is_where_the_risk_is_reached() -> None:
    one = standing([0.1, 0, 0, 0], [0.4, 0, 0, 0])
    for risk in (0.02, 0.1, 0.3):
        got = recheck_of(one, risk, site_months=120)
        assert got.basis[0] == BY_RISK
        assert forecast_at(one, got.days[0]).over[0] == pytest.approx(risk, abs=0.002)
    assert recheck_of(one, 0.02).days[0] < recheck_of(one, 0.3).days[0]


def test_no_recheck_day_is_late_or_more_than_a_day_early() -> None:
    """Held against halving; machines that were left well and move fast kept one end of the search where it was."""
    rng, n = np.random.default_rng(54), 60
    fast = np.repeat([1.0, 8.0, 60.0], n // 3)
    one = standing([0.0] * 4, [0.0] * 4)
    many = Standing(**{name: getattr(one, name)[np.zeros(n, int)] for name in Standing.__slots__})
    many = replace(
        many, left=rng.uniform(-0.3, 0.3, (n, 4)), rate=rng.normal(0.0, 0.3, (n, 4)) * fast[:, None],
        rate_variance=0.01 * np.repeat(fast[:, None], 4, 1), walk=0.03 * np.repeat(fast[:, None], 4, 1),
        reading=np.full((n, 4), 1e-4), df=rng.choice([3.0, 12.0, np.inf], n),
    )  # fmt: skip
    for risk in (0.02, 0.1, 0.3):
        got = recheck_of(many, risk, site_months=120)
        assert (got.basis == BY_RISK).all()
        low, high = np.maximum(got.days - 3.0, 0.0), got.days + 3.0
        for _ in range(8):
            middle = 0.5 * (low + high)
            over = forecast_at(many, middle).over >= risk
            low, high = np.where(over, low, middle), np.where(over, middle, high)
        assert (got.days - high).max() < 0.05
        assert (got.days - high).min() > -1.0
        np.testing.assert_allclose(forecast_at(many, got.days).over, risk, atol=0.01)


def test_caps_say_which_of_them_it_was_and_left_over_is_at_once() -> None:
    quiet = standing([0.0] * 4, [0.0] * 4, walk=np.full((1, 4), 1e-6))
    assert recheck_of(quiet, 0.1, site_months=24).basis[0] == BY_SITE
    assert recheck_of(quiet, 0.1, site_months=24).days[0] == pytest.approx(730.5)
    assert recheck_of(replace(quiet, longest_days=np.array([100.0])), 0.1).basis[0] == BY_CLASS
    assert recheck_of(replace(quiet, longest_days=np.array([100.0])), 0.1).days[0] == 150.0
    over = recheck_of(standing([1.5, 0, 0, 0], [0.0] * 4), 0.1)
    assert over.days[0] == 0.0
    assert over.over_left[0] == pytest.approx(1.0)


def test_half_the_duty_is_twice_the_time() -> None:
    full, half = (
        standing([0.1, 0, 0, 0], [0.4, 0, 0, 0]),
        standing([0.1, 0, 0, 0], [0.4, 0, 0, 0], duty=np.array([0.5])),
    )
    assert forecast_at(full, 100.0).over[0] == pytest.approx(forecast_at(half, 200.0).over[0], rel=1e-9)


def test_a_reading_is_less_certain_than_the_position(plant: tuple[History, Study]) -> None:
    study = plant[1]
    true, read = forecast_at(study.standing, 180.0), forecast_at(study.standing, 180.0, as_read=True)
    assert (read.sd >= true.sd)[study.standing.can].all()
    assert np.mean(read.sd > true.sd) > 0.5
    low, high = reading_interval(study.standing, 180.0, 0.9)
    narrow_low, narrow_high = reading_interval(study.standing, 180.0, 0.5)
    can = study.standing.can
    assert ((high - low) > (narrow_high - narrow_low))[can].all()


def test_every_reason_is_given_in_words(plant: tuple[History, Study]) -> None:
    history = plant[0]
    jobs, assets = history.jobs, history.assets
    last = np.zeros(300, int)
    last[jobs.asset] = np.arange(len(jobs))
    left, limits = jobs.left.copy(), jobs.limits.copy()
    left[last[1]] = np.nan
    limits[jobs.asset == 2, :3] = np.nan
    keep = (jobs.asset != 3) & ((jobs.asset != 4) | (np.arange(len(jobs)) == last[4]))
    breaks = break_columns([5], [jobs.performed_us[last[5]] / 86_400e6 + 1])
    retired = assets.retired.copy()
    retired[0] = True
    limits[jobs.asset == 6, :2] *= 1e-3
    limits[jobs.asset == 6, 2] *= 1e-3
    changed = replace(
        history,
        jobs=replace(jobs, left=left, limits=limits).take(keep),
        breaks=breaks,
        assets=replace(assets, retired=retired),
    )
    study = study_of(changed)
    reason = study.standing.reason
    assert reason[[0, 1, 2, 3, 4, 5]].tolist() == [RETIRED, NO_LEFT, NOT_JUDGED, NO_VISIT, NO_RUN, REPLACED]
    assert (reason[7:] == CAN).sum() > 250
    assert np.isnan(study.recheck.days[:6]).all()
    assert (study.recheck.basis[:6] == NONE).all()
    assert all(REASON_WORDS[code] for code in reason[:6].tolist())
    assert np.isnan(forecast_at(study.standing, 100.0).over[:6]).all()


def test_a_small_fleet_has_no_forecast_and_a_coarse_reading_none_either(plant: tuple[History, Study]) -> None:
    small = study_of(make_fleet(53, Plan(assets=12))[0])
    assert set(small.standing.reason.tolist()) <= {SMALL_CLASS, NO_RUN, REPLACED}
    study = study_of(plant[0], Choices(reading_mm=(0.2, 2.0, 0.2, 2.0)))
    assert (study.standing.reason == COARSE).sum() > 200


def test_a_curve_is_the_forecast_date_by_date(plant: tuple[History, Study]) -> None:
    standing_now = plant[1].standing
    asset = int(np.flatnonzero(standing_now.can)[3])
    days = np.array([0.0, 30.0, 400.0])
    curve = forecast_curve(standing_now, asset, days)
    for k, day in enumerate(days.tolist()):
        assert curve.over[k] == pytest.approx(forecast_at(standing_now, day).over[asset], rel=1e-12)


def test_a_few_assets_on_all_days_at_once_come_out_as_day_by_day(monkeypatch: pytest.MonkeyPatch) -> None:
    study = study_of(make_fleet(8, Plan(assets=60))[0])
    rows = np.flatnonzero(study.standing.can)[:12]
    few = Standing(**{name: getattr(study.standing, name)[rows] for name in Standing.__slots__})
    together = recheck_of(few, 0.1)
    monkeypatch.setattr(forecast, "FEW", 0)
    one_by_one = recheck_of(few, 0.1)
    for name in ("days", "over", "over_left", "basis"):
        assert np.array_equal(getattr(together, name), getattr(one_by_one, name), equal_nan=True), name
        assert np.array_equal(getattr(together, name), getattr(study.recheck, name)[rows], equal_nan=True), name


@pytest.mark.parametrize("few", [1, 5, 12, 40])
def test_several_risks_at_once_come_out_as_one_by_one(plant: tuple[History, Study], few: int) -> None:
    rows = np.arange(few)  # assets without a forecast among them
    some = Standing(**{name: getattr(plant[1].standing, name)[rows] for name in Standing.__slots__})
    risks = (0.05, 0.1, 0.2)
    together = rechecks_of(some, risks, site_months=48)
    for risk, one in zip(risks, together, strict=True):
        alone = recheck_of(some, risk, site_months=48)
        assert one.risk == alone.risk == pytest.approx(risk)
        for name in ("days", "over", "over_left", "basis", "reason"):
            assert np.array_equal(getattr(one, name), getattr(alone, name), equal_nan=name != "reason"), name
    assert rechecks_of(some, ()) == []


def test_a_machine_that_steps_is_forecast_with_its_step_and_one_that_moves_with_time_without() -> None:
    """By rate alone 0.3 and 56 % of those that step were claimed to be over a month and a year later; true are 40 and 45."""
    for (kind, when), (claimed, over) in step_claims(6500, 240, 15).items():
        within = 0.1 if kind == "steps" else 0.015
        assert len(claimed) >= 30
        assert np.mean(claimed) == pytest.approx(np.mean(over), abs=within), (kind, when)


def stepping(chance: float, **given: object) -> Standing:
    rows = {
        "step": np.array([[0.9, 0.0, 0.0, 0.0]]),
        "step_variance": np.full((1, 4), 0.01),
        "step_chance": np.array([chance]),
    }
    return standing([0.1, 0, 0, 0], [0.0] * 4, **{**rows, **given})


def test_the_risk_is_the_mean_of_that_with_a_step_and_that_without() -> None:
    never, always, half = (forecast_at(stepping(chance), 90.0).over[0] for chance in (0.0, 1.0, 0.5))
    assert always > 0.45
    assert half == pytest.approx(0.5 * (never + always), rel=1e-9)
    both = forecast_at(stepping(0.5), 90.0)
    assert both.mean[0, 0] == pytest.approx(0.1 + 0.45)
    step_sd = np.sqrt(0.04 * 90.0 / 365.25 + 0.01 / 2.0 + 0.25 * 0.9**2)
    assert both.sd[0, 0] == pytest.approx(step_sd, rel=1e-6)


def test_a_step_that_reaches_the_risk_is_due_as_soon_as_it_runs_and_not_called_left_over() -> None:
    got = recheck_of(stepping(1.0), 0.1)
    assert got.basis[0] == BY_RISK
    assert got.days[0] == 0.0
    assert got.over_left[0] < 0.001
    assert got.over[0] == pytest.approx(forecast_at(stepping(1.0), 0.0).over[0])
    assert recheck_of(stepping(0.05), 0.1).days[0] > 100.0
    ever = ever_over(stepping(1.0), np.zeros(1, int), np.array([60.0]))[0]
    assert ever > forecast_at(stepping(1.0), 60.0).over[0] - 0.02
    assert ever_over(stepping(0.0), np.zeros(1, int), np.array([60.0]))[0] < 0.01


def test_what_was_left_is_read_with_the_scatter_of_a_step_where_one_comes() -> None:
    """A reading that scatters by half a limit about a rate scatters by a tenth about the step: ratio 0.1 was not left over."""
    restless = {"reading": np.full((1, 4), 0.25), "step_factor": np.array([0.04])}
    by_rate, half, stepped = (recheck_of(stepping(chance, **restless), 0.1).over_left[0] for chance in (0.0, 0.5, 1.0))
    assert by_rate > 0.2
    assert stepped < 1e-6
    assert half == pytest.approx(0.5 * by_rate, rel=1e-5)


def test_a_step_that_repeats_closely_is_forecast_as_large_as_it_was() -> None:
    """By rate the runs scatter twenty times as much as about their step; that scatter drew the step to two thirds."""
    years = np.array([20.0, 400.0, 45.0, 700.0, 90.0, 300.0, 35.0, 500.0, 60.0])[:, None] / 365.25
    drift = 1.85 + np.array([0.04, 0.03, -0.1, 0.02, -0.1, 0.12, -0.14, 0.18, 0.01])[:, None]
    weight = np.full_like(drift, 1.0 / 0.06)
    sums = Sums(*(part.sum(axis=0)[:, None] for part in parts_of(np.ones_like(drift), weight, years, drift)))
    row = np.ones(1)
    usual = Usual(
        np.zeros((1, 1)), np.full((1, 1), 1e-4), np.full((1, 1), 0.01), np.ones((1, 1, 1)), np.zeros((1, 1, 1)), 4.0 * row, row
    )  # fmt: skip
    steps = steps_of(sums, usual, 0.03 * row, 20.0 * row)
    assert steps.chance[0] > 0.95
    assert steps.step[0, 0] == pytest.approx(drift.mean(), abs=2.0 * np.sqrt(steps.step_variance[0, 0]))
    assert steps.step[0, 0] > 1.75
