"""The forecast on the page is the engine's, for the day and the risk that were asked for."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom

from dashboard.components.asset_forecast import _held_sentence
from dashboard.views.asset_forecast_view import BY_CHANCE, build_forecast
from dashboard.views.asset_standing import OTHER_PLACES, rows_of
from models.history.engine import study_of
from models.history.forecast import forecast_at, reading_interval, recheck_of
from models.history.standing import NO_RUN, RETIRED
from models.units import Display
from models.values.limits import LimitsGiven
from tests.history_maker import NOW, made_book

HISTORY = made_book().history(1)
STUDY = study_of(HISTORY)
NOW_US = round(NOW.timestamp() * 1e6)
CAN = np.flatnonzero(STUDY.standing.can).tolist()
SHORT = next(one for one in CAN if not HISTORY.assets.spacer[one])
SPACER = next(one for one in CAN if HISTORY.assets.spacer[one])


def view(
    asset: int = SHORT, risk: float = 0.1, given: LimitsGiven | None = None, display: Display | None = None
) -> Any:
    return build_forecast(STUDY, HISTORY, asset, risk=risk, now_us=NOW_US, display=display or Display(), given=given)


@pytest.mark.parametrize("risk", [0.05, 0.1, 0.2])
def test_the_date_is_the_engines_for_the_chosen_risk(risk: float) -> None:
    whole = recheck_of(STUDY.standing, risk, STUDY.choices.site_months)
    for asset in CAN[:10]:
        one = view(asset, risk)
        days = (one.recheck - one.left_at) / timedelta(days=1)
        # Summer time moves the site's clock by an hour.
        assert days == pytest.approx(float(whole.days[asset]), abs=0.05)
        assert one.over_then == pytest.approx(float(whole.over[asset]))


@pytest.mark.parametrize("risk", [0.05, 0.1, 0.2])
def test_the_dates_of_all_machines_give_the_same_as_working_one_out(risk: float) -> None:
    whole = recheck_of(STUDY.standing, risk, STUDY.choices.site_months)
    for asset in CAN[:10]:
        known = build_forecast(STUDY, HISTORY, asset, risk=risk, now_us=NOW_US, display=Display(), known=whole)
        alone = view(asset, risk)
        for name in ("recheck", "over_then", "over_left", "why", "ever", "points", "components"):
            assert getattr(known, name) == getattr(alone, name)


def test_a_smaller_risk_never_waits_longer() -> None:
    for asset in CAN[:10]:
        five, ten, twenty = (view(asset, risk).recheck for risk in (0.05, 0.1, 0.2))
        assert five <= ten <= twenty


def test_today_is_the_engines_probability_on_this_day() -> None:
    one = view()
    since = (NOW_US - int(STUDY.standing.left_us[SHORT])) / 86_400e6
    assert one.over_today == pytest.approx(float(forecast_at(STUDY.standing, since).over[SHORT]))
    assert one.runs == STUDY.standing.n[SHORT]


@pytest.mark.parametrize("chance", [0.0, 0.5, 1.0])
def test_the_curve_begins_with_the_probability_of_having_been_left_over(chance: float) -> None:
    """Scatter about a rate for what was left, and about the step for the sentence beside it, gave two probabilities."""
    size = np.full_like(STUDY.standing.step, 0.5)
    standing = replace(
        STUDY.standing, reading=np.full_like(size, 0.3), step=size, step_variance=0.01 * size,
        step_chance=np.full(len(size), chance), step_factor=np.full(len(size), 0.2),
    )  # fmt: skip
    one = build_forecast(replace(STUDY, standing=standing), HISTORY, SHORT, risk=0.1, now_us=NOW_US, display=Display())
    assert 1e-4 < one.over_left < 0.9
    assert one.over[0] == pytest.approx(one.over_left)


def test_the_curve_begins_as_left_and_holds_today_and_the_next_check() -> None:
    for asset in CAN[:10]:
        one = view(asset)
        assert one.times[0] == np.datetime64(one.left_at, "s")
        assert one.times[-1] >= np.datetime64(one.today, "s")
        assert one.over.shape == one.low.shape == one.times.shape
        assert ((one.over >= 0) & (one.over <= 1)).all()
        whats = [point.what for point in one.points]
        assert "today" in whats or one.today.date() == one.recheck_on
        assert "recheck" in whats
        assert [point.on for point in one.points] == sorted(point.on for point in one.points)


def test_ever_over_is_no_less_than_over_at_the_end() -> None:
    for asset in CAN[:10]:
        one = view(asset)
        last = max(one.today.date(), one.recheck_on)
        at_the_end = next(point.over for point in one.points if point.on == last)
        assert one.ever >= at_the_end - 1e-9


def test_components_are_in_the_unit_that_is_shown() -> None:
    """1 mil = 0.0254 mm exactly; angularity has the same number in both."""
    mm, mil = view(), view(display=Display("mil"))
    assert [one.unit for one in mm.components] == ["mm", "mm/m", "mm", "mm/m"]
    assert [one.unit for one in mil.components] == ["mil", "mil/in", "mil", "mil/in"]
    assert mil.components[0].limit == pytest.approx(mm.components[0].limit / 0.0254)
    assert mil.components[1].high == pytest.approx(mm.components[1].high)
    scale = int(STUDY.material.scale_row[SHORT])
    assert mm.components[0].limit == pytest.approx(HISTORY.jobs.limits[scale, 0])


def test_the_band_of_a_component_is_the_back_tested_one() -> None:
    one = view()
    days = (max(one.today, one.recheck) - one.left_at) / timedelta(days=1)
    low, high = reading_interval(rows_of(STUDY.standing, SHORT, 1), np.array([days]), 0.8)
    first = one.components[0]
    assert first.low == pytest.approx(float(low[0, 0]) * first.limit, rel=1e-2)
    assert first.high == pytest.approx(float(high[0, 0]) * first.limit, rel=1e-2)
    assert first.expected == pytest.approx((first.low + first.high) / 2)


def test_a_spacer_is_forecast_at_its_flex_planes() -> None:
    assert [one.name for one in view(SPACER).components] == [f"asset.flex.{place}" for place in range(4)]
    assert {one.limit for one in view(SPACER).components} == {0.5}


def test_how_often_such_forecasts_held_is_the_back_tests_row_of_its_class() -> None:
    held = view().held
    fit = int(STUDY.grouping.fit[STUDY.material.series_now[SHORT]])
    assert held.share == STUDY.backtest.coverage[fit, 1]
    assert (held.low, held.high) == (STUDY.backtest.low[fit, 1], STUDY.backtest.high[fit, 1])
    assert (held.intervals, held.machines) == (STUDY.backtest.intervals[fit], STUDY.backtest.assets[fit])
    assert held.class_index == STUDY.grouping.label[fit]


def test_the_machines_own_record_stands_beside_that_of_its_class_and_a_worse_one_is_said() -> None:
    begin = int(STUDY.backtest.own_from_us[SHORT])
    own_held, own_tested = STUDY.backtest.own(SHORT, begin)
    held = view().held
    assert (held.own_held, held.own_tested) == (own_held.sum(), own_tested.sum())
    assert 0 < held.own_held <= held.own_tested
    share = STUDY.backtest.coverage[int(STUDY.grouping.fit[STUDY.material.series_now[SHORT]]), 1]

    def with_record(good: int, n: int) -> Any:
        table = np.zeros((2, len(HISTORY.assets), 4), np.int64)
        table[1, SHORT], table[0, SHORT] = 12, 10
        table[0, SHORT, 2], table[1, SHORT, 2] = good, n
        back = replace(STUDY.backtest, own_held=table[0], own_tested=table[1])
        return build_forecast(
            replace(STUDY, backtest=back), HISTORY, SHORT, risk=0.1, now_us=NOW_US, display=Display()
        ).held

    # Four components are looked at, so one of them has to be as rare as one in eighty.
    for good in range(13):
        worst = with_record(good, 12).worst
        assert (worst == (good, 12, "component.offset_h")) == (4.0 * binom.cdf(good, 12, share) <= BY_CHANCE)
    said = _held_sentence(with_record(4, 12))
    assert (
        "Of this machine's own, 34 of 48 intervals held. Of those for one component (Offset, horizontal) only 4 of 12 did"
        in said
    )
    assert "only" not in _held_sentence(with_record(10, 12))
    # A machine that was replaced has a record of its own since, or none.
    assert 0.9 * STUDY.backtest.intervals[-1] < STUDY.backtest.own_tested.sum() <= STUDY.backtest.intervals[-1]
    assert STUDY.backtest.own_held.sum() / STUDY.backtest.own_tested.sum() == pytest.approx(
        STUDY.backtest.coverage[-1, 1], abs=0.02
    )


def test_without_a_forecast_there_is_a_reason_and_nothing_else() -> None:
    retired = study_of(replace(HISTORY, assets=replace(HISTORY.assets, retired=np.ones(len(HISTORY.assets), bool))))
    one = build_forecast(retired, HISTORY, SHORT, risk=0.1, now_us=NOW_US, display=Display())
    assert (one.reason, one.recheck, one.times) == (RETIRED, None, None)
    first = HISTORY.jobs.take(np.flatnonzero(np.diff(HISTORY.jobs.asset, prepend=-1)))
    lonely = replace(HISTORY, jobs=first)
    assert build_forecast(study_of(lonely), lonely, SHORT, risk=0.1, now_us=NOW_US, display=Display()).reason == NO_RUN


def test_stricter_limits_are_reached_earlier() -> None:
    scale = int(STUDY.material.scale_row[SHORT])
    offset, angle = (float(x) for x in HISTORY.jobs.limits[scale, :2])
    wide, strict = view(given=LimitsGiven(2 * offset, 2 * angle)), view(given=LimitsGiven(0.8 * offset, 0.8 * angle))
    assert strict.recheck <= view().recheck <= wide.recheck
    assert strict.over_today > view().over_today > wide.over_today
    assert view(given=LimitsGiven(offset, angle)).over_today == pytest.approx(view().over_today)


def test_a_set_that_judges_other_places_carries_no_forecast() -> None:
    assert view(SPACER, given=LimitsGiven(0.05, 0.5)).reason == OTHER_PLACES


def test_why_says_what_set_the_date() -> None:
    reasons = {view(asset, risk).why for asset in CAN for risk in (0.05, 0.2)}
    assert reasons <= {"at once", "risk", "class", "site"}
    assert "risk" in reasons
    for asset in CAN:
        if view(asset).why == "at once":
            assert view(asset).over_left >= 0.1 - 1e-3
