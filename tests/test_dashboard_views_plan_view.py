"""Dates by risk and by rule: each is the engine's, and says why."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dashboard.views.asset_forecast_view import build_forecast
from dashboard.views.plan_view import FAR_AHEAD, LONG_AGO, NO_FORECAST, ground_of, ground_with
from models.history.due import BY_INTERVAL
from models.history.engine import study_of
from models.history.forecast import BY_RISK, forecast_at, recheck_of
from models.history.late import twin
from models.history.months import add_months, local_days
from models.history.runs import US_PER_DAY
from models.history.standing import CAN, REASON_WORDS, RETIRED
from models.history.study_tables import study_tables
from models.units import Display
from tests.fleet import Plan as FleetPlan
from tests.fleet import make_fleet
from tests.history_maker import NOW, Misalignment, columns_of
from tests.test_dashboard_views_due_view import story

TODAY = date(2026, 11, 18)
US = int(NOW.timestamp() * 1e6)
GOOD, BAD = Misalignment(offset_v=0.02), Misalignment(offset_v=0.2)


@pytest.fixture(scope="module")
def fleet() -> Any:
    history, _ = make_fleet(7, FleetPlan(assets=120))
    study = study_of(history)
    last = int(history.jobs.performed_us.max())
    today = date.fromisoformat(str(local_days(np.array([last]), history.zone).astype("datetime64[D]")[0])) + timedelta(
        120
    )
    now = int(datetime(today.year, today.month, today.day, 12, tzinfo=UTC).timestamp()) * 1_000_000
    return history, study, today, now, ground_of(history, study, today, now, 12)


@pytest.mark.parametrize("risk", [0.05, 0.10, 0.20])
def test_on_the_date_the_risk_is_not_yet_passed_and_soon_after_it_is(fleet: Any, risk: float) -> None:
    """The probability of being over limit on the date, asked of the engine's own forecast, is the accepted risk."""
    history, study, _, _, ground = fleet
    recheck = recheck_of(study.standing, risk, 36)
    plan = ground.plan(recheck)
    by_risk = np.flatnonzero((recheck.basis == BY_RISK) & (recheck.days > 1))
    assert len(by_risk) > 20
    left = local_days(study.standing.left_us, history.zone)
    days = (plan.day - left).astype(float)
    assert (forecast_at(study.standing, np.maximum(days, 0.0)).over[by_risk] <= risk + 0.005).all()
    assert (forecast_at(study.standing, days + 1.0).over[by_risk] >= risk - 0.005).all()


def test_pages_and_study_name_one_day_and_it_is_the_sites(fleet: Any) -> None:
    """East of Greenwich a visit in the morning is of the day before there: study said that day, and the machine's page another."""
    history, study, today, now, ground = fleet
    history = replace(history, zone="Pacific/Auckland")
    plan = ground_with(history, study, ground.rule, today, now).plan(study.recheck)
    left = local_days(study.standing.left_us, history.zone)
    assert (left != study.standing.left_us // US_PER_DAY).any()
    stand = np.flatnonzero(study.standing.can)[:12].tolist()
    part = study.recheck.days[stand] % 1.0 + study.standing.left_us[stand] % US_PER_DAY / US_PER_DAY
    assert (part > 1.0).any(), "where days added to the moment come to the day after"
    for asset in stand:
        table = next(one for one in study_tables(history, study, asset=asset) if one.name == "forecast")
        row = dict(zip(table.columns, table.rows[0], strict=True))
        line = plan.lines([asset])[0]
        assert row["left on"] == str(np.datetime64(int(left[asset]), "D"))
        assert row["re-check on"] == line.due.isoformat()
        page = build_forecast(study, history, asset, risk=0.1, now_us=now, display=Display(), known=study.recheck)
        assert page.recheck_on == line.due
        assert line.due in {point.on for point in page.points if point.what == "recheck"}


@pytest.mark.parametrize("zone", ["Asia/Kolkata", "Asia/Kathmandu", "America/St_Johns"])
def test_a_date_of_the_rule_is_one_and_the_same_all_day(fleet: Any, zone: str) -> None:
    """Where days begin within an hour of UTC, days were counted from yesterday and added to today until that hour was over."""
    history, study, today, *_ = fleet
    history = replace(history, zone=zone, jobs=twin(history.jobs))
    midnight = int(datetime(today.year, today.month, today.day, tzinfo=ZoneInfo(zone)).timestamp()) * 1_000_000
    plans = [
        ground_of(history, study, today, midnight + minutes * 60_000_000, 12).plan(study.recheck, by_risk=False)
        for minutes in (1, 50, 720)
    ]
    assert all((plan.day == plans[-1].day).all() for plan in plans)
    rows = np.flatnonzero(plans[0].rule.reason == BY_INTERVAL)
    assert (plans[0].day[rows] == add_months(local_days(plans[0].rule.last_us[rows], zone), 12)).all()


def test_a_larger_risk_never_comes_earlier(fleet: Any) -> None:
    _, study, _, _, ground = fleet
    five, ten, twenty = (ground.plan(recheck_of(study.standing, risk, 36)).day for risk in (0.05, 0.10, 0.20))
    assert (five <= ten).all()
    assert (ten <= twenty).all()


def test_every_machine_is_in_one_list_only(fleet: Any) -> None:
    _, study, _, _, ground = fleet
    plan = ground.plan(study.recheck)
    now, soon, later = plan.rows(LONG_AGO, 0), plan.rows(1, 92), plan.rows(93, FAR_AHEAD)
    assert sorted([*now, *soon, *later]) == np.flatnonzero(plan.dated).tolist()
    assert (plan.count(LONG_AGO, 0), plan.count(1, 92)) == (len(now), len(soon))
    lines = plan.lines(soon.tolist())
    assert [one.due for one in lines] == sorted(one.due for one in lines)
    over = plan.over_now[now]
    assert (np.diff(over[np.isfinite(over)]) <= 0).all()


def test_what_carries_a_date_is_named(fleet: Any) -> None:
    _, study, _, _, ground = fleet
    plan = ground.plan(study.recheck)
    rows = np.flatnonzero(plan.dated)
    words = [line.why for line in plan.lines(rows.tolist())]
    assert all(words)
    by_risk = [why for why in words if why.startswith("reaches 10")]
    assert any("mostly its own" in why for why in by_risk) or any("what its class does" in why for why in by_risk)
    assert all("run" in why for why in by_risk)


def test_a_machines_own_runs_are_named_where_they_carry_its_rate(fleet: Any) -> None:
    _, study, _, _, ground = fleet
    kept = study.now(study.rates.kept)
    mostly, hardly = (kept > 0.5).all(axis=1), (kept < 0.5).all(axis=1)
    assert mostly.sum() > 5
    assert hardly.sum() > 5
    assert ground.own[mostly].all()
    assert not ground.own[hardly].any()


def plan_of(stories: Any, *, by_risk: bool = True) -> Any:
    history = columns_of(stories)
    study = study_of(history)
    return ground_of(history, study, TODAY, US, 12).plan(study.recheck, by_risk=by_risk)


def test_without_a_forecast_the_rule_holds_and_the_reason_is_said() -> None:
    stories = [
        story("A", "2025-12-10T09:00", GOOD, 1),
        story("B", "2026-11-01T09:00", BAD, 2),
        story("C", None, GOOD, 3),
    ]
    plan = plan_of(stories)
    assert not plan.forecast.any()
    assert plan.dated.tolist() == [True, True, False]
    first, second = plan.lines([0, 1])
    assert (first.due, first.days_left) == (date(2026, 12, 10), 22)
    assert first.why == "by the rule, as there is no forecast: no run is complete since it was installed or replaced"
    assert np.isnan(first.over_now)
    assert second.due == date(2026, 11, 1)
    rule = plan_of(stories, by_risk=False)
    assert [line.why for line in rule.lines([0, 1])] == [
        "interval since the last visit",
        "last visit left it over limit",
    ]
    assert [line.other for line in rule.lines([0, 1])] == [None, None]


def test_every_reason_of_the_engine_has_words() -> None:
    assert set(NO_FORECAST) == set(range(len(REASON_WORDS))) - {CAN, RETIRED}


def test_an_empty_history_has_no_dates() -> None:
    plan = plan_of([])
    assert (plan.count(LONG_AGO, FAR_AHEAD), plan.lines([])) == (0, ())
