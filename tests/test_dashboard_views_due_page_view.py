"""The Due page: its counts are those of the dates, and its claims those of the back-test."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from dashboard.pages.due import _loads, _now_caption
from dashboard.place import read_place
from dashboard.views.calendar_view import MOST as MOST_IN_DAY
from dashboard.views.due_page_view import MOST, RISK, RISKS, RULE, Load, build, promised, read_risk, read_way
from dashboard.views.plan_view import Plan as Plan_
from dashboard.views.plan_view import ground_of
from models.history.due import due_by_rule
from models.history.engine import study_of
from models.history.forecast import recheck_of
from models.history.months import local_days
from tests.fleet import Plan, make_fleet
from tests.history_maker import NOW, STARTER, columns_of, site
from tests.test_dashboard_views_due_view import GOOD, story

TODAY = date(2026, 11, 18)


@pytest.fixture(scope="module")
def fleet() -> Any:
    history, _ = make_fleet(11, Plan(assets=150))
    last = local_days(history.jobs.performed_us.max(keepdims=True), history.zone).astype("datetime64[D]")
    return history, study_of(history), date.fromisoformat(str(last[0])) + timedelta(90)


def view_us(today: Any) -> int:
    return int(datetime(today.year, today.month, today.day, 12, tzinfo=UTC).timestamp()) * 1_000_000


def view_of(history: Any, study: Any, today: Any, by: str = RISK, risk: int = 10, **more: Any) -> Any:
    return build(
        history, study, lambda accepted: recheck_of(study.standing, accepted, 36), by, risk, more.pop("month", None), today,
        site=site(), limit_set=STARTER, today_us=view_us(today), **more,
    )  # fmt: skip


def test_a_smaller_risk_asks_for_more_visits(fleet: Any) -> None:
    view = view_of(*fleet)
    assert [load.risk for load in view.loads] == list(RISKS)
    now = [load.now for load in view.loads]
    assert now == sorted(now, reverse=True)
    assert view.now_n == view.loads[1].now
    assert view.now_n + view.soon_n + view.later_n == view.in_service - view.never


@pytest.mark.parametrize("risk", RISKS)
def test_the_chosen_risk_decides_the_list(fleet: Any, risk: int) -> None:
    view = view_of(*fleet, risk=risk, everything=True)
    load = next(one for one in view.loads if one.risk == risk)
    assert (len(view.now), view.now_n, view.soon_n) == (load.now, load.now, load.quarter)
    assert f"reaches {risk}\u202f%" in view.sentence


def test_the_list_speaks_of_machines_without_a_forecast_only_where_it_has_some(fleet: Any) -> None:
    view = replace(view_of(*fleet), ruled=Load(0, 0, 0, 0))
    assert "without a forecast" not in _now_caption(view)
    assert "without a forecast" in _now_caption(replace(view, ruled=Load(0, 1, 0, 0)))


def test_by_the_rule_the_dates_are_those_of_the_calendar(fleet: Any) -> None:
    history, study, today = fleet
    view = view_of(history, study, today, by=RULE, everything=True)
    due = due_by_rule(history.jobs, history.breaks, history.assets, today=today, zone=history.zone, interval_months=12)
    wanted = {str(tag): int(left) for tag, left in zip(history.assets.tag, due.days_left, strict=True)}
    assert view.now
    assert all(line.days_left == wanted[line.tag] <= 0 for line in view.now)
    assert view.rule_load.now == view.now_n == sum(left <= 0 for left in wanted.values())


def test_the_calendar_holds_what_falls_into_its_month(fleet: Any) -> None:
    history, study, today = fleet
    month = (today.replace(day=1) + timedelta(days=40)).replace(day=1)
    view = view_of(history, study, today, month=month, everything=True)
    listed = [one for one in (*view.now, *view.soon) if (one.due.year, one.due.month) == (month.year, month.month)]
    assert view.calendar.n == len(listed)
    for week in view.calendar.weeks:
        for day in week:
            assert day.n == sum(one.due == day.on for one in listed)


def test_the_calendar_opens_where_the_next_date_is(fleet: Any) -> None:
    view = view_of(*fleet, by=RULE)
    assert view.soon
    assert view.calendar.month == view.soon[0].due.replace(day=1)
    assert view.calendar.n


def test_how_often_forecasts_held_is_the_back_tests_own_figure(fleet: Any) -> None:
    _, study, _ = fleet
    view = view_of(*fleet)
    test = study.backtest
    fleet_line = view.held[0]
    assert fleet_line.name == "all machines"
    assert fleet_line.share == tuple(test.coverage[-1])
    assert (fleet_line.n, fleet_line.machines) == (test.intervals[-1], test.assets[-1])
    level = promised().index(0.8)
    assert fleet_line.low[level] <= fleet_line.share[level] <= fleet_line.high[level]


def test_machines_without_a_forecast_are_counted_by_reason() -> None:
    history = columns_of([story("A", "2025-12-10T09:00", GOOD, 1), story("C", None, GOOD, 2)])
    view = view_of(history, study_of(history), TODAY)
    assert {(one.reason, one.n, one.tags) for one in view.no_forecast} == {
        ("no run is complete since it was installed or replaced", 1, ("A",)),
        ("no visit is in the book yet", 1, ("C",)),
    }
    assert (view.never, view.in_service, view.held, view.forecasts) == (1, 2, (), 0)
    assert view.sentence.startswith("No risk is known")
    shown = str(_loads(view, read_place("/due", "")))
    assert "every date is that of the rule" in shown
    assert shown.count("'–'") == 9, "no number stands beside a risk"


def test_an_empty_site_has_a_state_of_its_own() -> None:
    history = columns_of([])
    view = view_of(history, study_of(history), NOW.date())
    assert (view.state, view.now, view.soon, view.calendar.n) == ("empty", (), (), 0)


def test_lists_are_cut_unless_all_is_asked_for(fleet: Any) -> None:
    assert len(view_of(*fleet).now) <= MOST < len(view_of(*fleet, everything=True).now)


def test_choices_come_from_the_address_and_what_is_none_is_said() -> None:
    assert read_risk(read_place("/due", "")).value == 10
    assert read_risk(read_place("/due", "?risk=5")).value == 5
    assert read_way(read_place("/due", "?by=rule")).value == RULE
    for asked in ("7", "5%", "²", "05"):
        read = read_risk(read_place("/due", f"?risk={asked}"))
        assert read.value == 10
        assert read.problem
    assert read_way(read_place("/due", "?by=hope")).problem
    assert np.isclose(promised(), (0.5, 0.8, 0.9)).all()


def test_the_calendar_writes_no_machine_out_but_for_its_tag(fleet: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[int] = []
    lines = Plan_.lines

    def counted(self: Any, rows: Any) -> Any:
        written.append(len(rows))
        return lines(self, rows)

    monkeypatch.setattr(Plan_, "lines", counted)
    history, study, today = fleet
    view = view_of(history, study, today)
    listed = view.calendar.n
    assert listed > 0
    assert sum(written) <= 2 * MOST + 1
    assert sum(written) > 1
    # The same machines on the same days as the lines say.
    monkeypatch.setattr(Plan_, "lines", lines)
    plan = ground_of(history, study, today, view_us(today), 12).plan(study.recheck)
    first = (view.calendar.month - today).days
    every = plan.lines(plan.rows(first, first + 31).tolist())
    for day in (day for week in view.calendar.weeks for day in week if day.inside):
        tags = [line.tag for line in every if line.due == day.on]
        assert (day.n, day.tags) == (len(tags), tuple(tags[:MOST_IN_DAY]))
