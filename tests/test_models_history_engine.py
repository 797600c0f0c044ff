"""The whole engine: degenerate histories give reasons, never a warning; order and numbering change nothing."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.history import forecast, predictions
from models.history.columns import AssetColumns, BreakColumns, History, JobColumns
from models.history.engine import Choices, Study, study_of
from models.history.forecast import forecast_at
from models.history.returns import present_looks
from models.history.standing import COARSE
from tests.fleet import Plan, asset_columns, job_columns, make_fleet, no_breaks, shuffled


def plant(jobs: JobColumns, assets: int, breaks: BreakColumns | None = None) -> History:
    return History(1, "UTC", jobs, breaks or no_breaks(), asset_columns(assets), (), ())


def check(study: Study, assets: int) -> None:
    """Nothing that a screen shows without a reason is NaN."""
    can = study.standing.can
    over = forecast_at(study.standing, 200.0).over
    assert np.isfinite(over[can]).all()
    assert np.isfinite(study.recheck.days[can]).all()
    assert (study.standing.reason[~can] > 0).all()
    known = (study.rates.reason == 0)[:, None] & np.isfinite(study.rates.raw)
    assert np.isfinite(study.rates.shrunk[known]).all()
    assert np.isfinite(study.rates.low[known]).all()
    assert study.standing.n.shape == (assets,)
    assert study.patterns.suggested.shape == (assets, 5)


@pytest.mark.parametrize(
    "jobs",
    [
        job_columns([], []),
        job_columns([0], [1]),
        job_columns([0, 0], [1, 1]),
        job_columns([0, 0, 0, 0], [1, 2, 3, 4]),
        job_columns(
            [0] * 6, [0, 100, 200, 300, 400, 500], found=np.full((6, 4), np.nan), found_ratio=np.full(6, np.nan)
        ),
        job_columns([0] * 6, [0, 100, 200, 300, 400, 500], left=np.full((6, 4), np.nan), left_ratio=np.full(6, np.nan)),
        job_columns([0, 0, 1, 1], [0, 100, 0, 50], limits=np.zeros((4, 4))),
        job_columns([0, 0, 1, 1], [0, 100, 0, 50], limits=np.full((4, 4), np.nan), found_ratio=np.full(4, np.nan)),
        job_columns([0] * 3, [0, 100, 200], found=[[0.0] * 4, [25.4] * 4, [0.0] * 4], found_ratio=[0, 254, 0]),
        job_columns([0] * 3, [0, 100, 200], speed_class=[-1] * 3, speed_rpm=[np.nan] * 3, hours_run=[5, 5, 5]),
    ],
    ids=["none", "one", "no time", "identical", "no as-found", "no as-left", "limit 0", "no limit", "25.4", "no speed"],
)
def test_degenerate_histories_give_reasons_and_no_warning(jobs: JobColumns) -> None:
    check(study_of(plant(jobs, 2)), 2)


def test_a_fleet_of_identical_readings_and_one_with_a_jump_go_through() -> None:
    history, _ = make_fleet(91, Plan(assets=80))
    jobs = history.jobs
    still = replace(jobs, found=np.where(np.isnan(jobs.found), np.nan, 0.01), left=np.full_like(jobs.left, 0.01))
    check(study_of(replace(history, jobs=still)), 80)
    jump = jobs.found.copy()
    jump[7] *= 25.4
    check(study_of(replace(history, jobs=replace(jobs, found=jump))), 80)
    together = replace(jobs, performed_us=np.zeros(len(jobs), np.int64))
    check(study_of(replace(history, jobs=together)), 80)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_histories_with_holes_go_through(seed: int) -> None:
    rng = np.random.default_rng(seed)
    history, _ = make_fleet(seed, Plan(assets=45, jobs_low=1, jobs_high=6, break_share=0.3, hours_share=0.5))
    jobs = history.jobs
    found, left, limits = jobs.found.copy(), jobs.left.copy(), jobs.limits.copy()
    found[rng.random(len(jobs)) < 0.2] = np.nan
    left[rng.random(len(jobs)) < 0.1] = np.nan
    limits[rng.random(len(jobs)) < 0.2, 0] = np.nan
    limits[rng.random(len(jobs)) < 0.1] = 0.0
    changed = replace(jobs, found=found, left=left, limits=limits, soft_before=np.full(len(jobs), np.nan))
    check(study_of(replace(history, jobs=changed), Choices(smallest=5)), 45)


def test_renumbering_the_assets_changes_nothing() -> None:
    history, _ = make_fleet(92, Plan(assets=150))
    other, order = shuffled(history, 1)
    one, two = study_of(history), study_of(other)
    np.testing.assert_allclose(two.recheck.days, one.recheck.days[order], rtol=1e-5)
    np.testing.assert_allclose(two.return_rates.rate.bound, one.return_rates.rate.bound[order], rtol=1e-6)
    np.testing.assert_array_equal(two.patterns.suggested, one.patterns.suggested[order])
    np.testing.assert_allclose(two.now(two.directions.q), one.now(one.directions.q)[order], rtol=1e-6)
    np.testing.assert_array_equal(two.ratio_trend.p, one.ratio_trend.p[order])
    np.testing.assert_allclose(two.backtest.coverage, one.backtest.coverage, rtol=1e-9)


def test_a_class_of_its_own_is_the_same_alone_as_in_the_fleet() -> None:
    history, _ = make_fleet(93, Plan(assets=240, people=1, break_share=0.0))
    classes = np.arange(240) % 2
    whole = study_of(history, asset_class=classes)
    rows = np.flatnonzero(np.isin(history.jobs.asset, np.flatnonzero(classes == 0)))
    jobs = history.jobs.take(rows)
    jobs = replace(jobs, asset=jobs.asset // 2)
    names = AssetColumns.__slots__
    half = AssetColumns(**{name: getattr(history.assets, name)[classes == 0] for name in names})
    part = replace(history, jobs=jobs, assets=replace(half, asset=np.arange(120)))
    alone = study_of(part, asset_class=np.zeros(120, np.int64))
    np.testing.assert_allclose(alone.now(alone.rates.shrunk), whole.now(whole.rates.shrunk)[classes == 0], rtol=1e-7)
    np.testing.assert_allclose(alone.return_rates.rate.bound, whole.return_rates.rate.bound[classes == 0], rtol=1e-6)
    np.testing.assert_array_equal(alone.ratio_trend.slope, whole.ratio_trend.slope[classes == 0])


def test_a_new_job_of_one_asset_leaves_the_own_figures_of_the_others() -> None:
    history, _ = make_fleet(94, Plan(assets=100))
    last = int(np.flatnonzero(history.jobs.asset == 40)[-1])
    fewer = replace(history, jobs=history.jobs.take(np.delete(np.arange(len(history.jobs)), last)))
    before, after = study_of(fewer), study_of(history)
    others = np.arange(100) != 40
    np.testing.assert_array_equal(before.ratio_trend.slope[others], after.ratio_trend.slope[others])
    np.testing.assert_array_equal(before.return_counts.low[others], after.return_counts.low[others])
    np.testing.assert_array_equal(before.runs.drift[before.runs.asset != 40], after.runs.drift[after.runs.asset != 40])
    # What is drawn towards the class moves a little, and no more than a little.
    same = others & before.standing.can & after.standing.can
    assert np.nanmax(np.abs(before.standing.rate - after.standing.rate)[same]) < 0.05


def test_every_part_is_frozen_and_says_what_it_is() -> None:
    study = study_of(make_fleet(95, Plan(assets=40))[0])
    for field in fields(study):
        part = getattr(study, field.name)
        if field.name == "until":
            continue
        assert type(part).__doc__
        assert type(part).__dataclass_params__.frozen


def test_only_machines_whose_own_limit_is_too_narrow_for_the_reading_have_no_forecast() -> None:
    """Too few of each speed for a fit of their own; twice 0.021 mm is more than the limit at 3550 rpm, a third of that at 985."""
    quiet = {"sigma_m": 0.0, "sigma_w": 0.1, "rate_sd": 0.05, "spacer_share": 0.0, "break_share": 0.0}
    plan = Plan(assets=60, jobs_low=6, jobs_high=8, reading_mm=(0.021, 0.05), **quiet)  # type: ignore[arg-type]
    history, _ = make_fleet(97, plan)
    study = study_of(history, Choices(smallest=60))
    assert study.grouping.label.tolist() == [-1]
    fast = history.assets.speed_rpm > 3000.0
    assert (study.standing.reason[fast] == COARSE).all()
    assert study.standing.can[history.assets.speed_rpm < 2000.0].all()
    assert fast.sum() > 2


def test_planned_visits_are_counted_apart() -> None:
    history, _ = make_fleet(96, Plan(assets=200, reactive=0.4))
    study = study_of(history)
    assert study.planned_rates.looks.sum() < study.return_rates.looks.sum()
    planned = present_looks(history.jobs, history.breaks, study.runs) & ~study.runs.noticed
    assert study.planned_rates.looks.sum() == planned.sum()
    assert study.planned_rates.returns.sum() == (planned & study.runs.returned).sum()


def assert_the_same_study(one: Any, other: Any, path: str = "study") -> None:
    if is_dataclass(one):
        for part in fields(one):
            assert_the_same_study(getattr(one, part.name), getattr(other, part.name), f"{path}.{part.name}")
    elif isinstance(one, np.ndarray):
        assert one.dtype == other.dtype, path
        assert np.array_equal(one, other, equal_nan=one.dtype.kind == "f"), path
    elif isinstance(one, tuple):
        assert len(one) == len(other), path
        for place, (a, b) in enumerate(zip(one, other, strict=True)):
            assert_the_same_study(a, b, f"{path}[{place}]")
    else:
        assert one == other or (one != one and other != other), path  # noqa: PLR0124 - NaN


def without(history: History, rows: Any) -> History:
    """Give the history before some of its jobs were recorded."""
    stays = np.ones(len(history.jobs), dtype=bool)
    stays[rows] = False
    return replace(history, jobs=history.jobs.take(stays))


@pytest.mark.parametrize("which", ["newest", "oldest", "many", "first visit", "other limits"])
def test_a_study_that_takes_over_what_did_not_change_is_the_study_from_nothing(
    which: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    history, _ = make_fleet(8, Plan(assets=260, jobs_low=3, hours_share=0.3))
    jobs = history.jobs
    newest = np.argsort(jobs.performed_us)[::-1]
    last_of = np.append(np.flatnonzero(np.diff(jobs.asset)), len(jobs) - 1)
    taken = {
        "newest": newest[:1],
        "oldest": newest[-1:],
        "many": newest[:40],
        "first visit": last_of[:1],
        "other limits": newest[:1],
    }[which]
    if which == "other limits":
        # The last judged visit sets the unit of all drifts of its machine: the past of that machine reads otherwise.
        limits = jobs.limits.copy()
        limits[taken] *= 1.5
        history = replace(history, jobs=replace(jobs, limits=limits))
    before = study_of(without(history, taken))
    expected = study_of(history)
    fitted: list[int] = []
    fitting = predictions.fit_classes

    def counted(*given: Any) -> Any:
        fitted.append(1)
        return fitting(*given)

    monkeypatch.setattr(predictions, "fit_classes", counted)
    got = study_of(history, before=before)
    assert_the_same_study(got, expected)
    if which == "newest":
        assert len(fitted) <= 2, (len(fitted), len(expected.predictions.fits))  # the last origins only, and all
    assert forecast.unchanged(expected.standing, expected.standing).all()


def test_origins_are_taken_over_where_no_class_borrows_the_fit_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    history, _ = make_fleet(8, Plan(assets=90))
    taken, one_class = np.argsort(history.jobs.performed_us)[::-1][:3], np.zeros(90, np.int64)
    before = study_of(without(history, taken), asset_class=one_class)
    assert np.isnan(before.predictions.fits[-1].fits.variance.reference[-1]).all()
    fitted: list[int] = []
    fitting = predictions.fit_classes

    def counted(*given: Any) -> Any:
        fitted.append(1)
        return fitting(*given)

    monkeypatch.setattr(predictions, "fit_classes", counted)
    study_of(history, asset_class=one_class, before=before)
    assert len(fitted) <= 1


def test_a_study_with_other_choices_takes_nothing_over() -> None:
    history, _ = make_fleet(9, Plan(assets=80))
    before = study_of(history, Choices(risk=0.2))
    assert_the_same_study(study_of(history, before=before), study_of(history))
