"""The Month page: counts equal a plain recount, and its sentence says what they are."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from dashboard.components.month_counts import by_class
from dashboard.components.month_lists import left_over_part, listed_in
from dashboard.files.recheck_calendar import recheck_calendar
from dashboard.place import Place
from dashboard.reports.makers import Asking, review_of
from dashboard.reports.month_report import Room, month_data
from dashboard.views.asked_by_risk import AskedByRisk, asked_by_risk, risk_key, risk_sentence
from dashboard.views.month_view import build, returned_words, unsigned_words
from dashboard.views.plan_view import ground_of
from dashboard.views.shares import Change
from dashboard.writing import month as month_name
from models.errors import InvalidValueError
from models.history.columns import SPEED_BOUNDS_RPM
from models.history.engine import study_of
from models.history.runs import runs_of
from models.units import Display
from models.values.asset import Asset
from models.values.looked_at import LookedAt
from tests.history_maker import NOW, STARTER, Misalignment, Reason, columns_of, job, line, made_book, site, story_of

TODAY = date(2026, 11, 18)
US = int(NOW.timestamp() * 1e6)
PUMP = Asset("P-1", "Brine pump", "Intake", speed_rpm=1480.0)
GOOD, BAD = Misalignment(offset_v=0.02), Misalignment(offset_v=0.2)
"""Limit of the starter set at 1480 rpm: 120 / 1480 = 0.081 mm, so 0.02 is within and 0.2 over."""


def view_of(
    history: Any, chosen: Any = None, today: Any = TODAY, limit_set: Any = STARTER, instruments: Any = ()
) -> Any:
    runs = runs_of(history.jobs, history.breaks)
    return build(history, runs, chosen, today, site=site(), instruments=instruments, limit_set=limit_set, today_us=US)


def plain(book: Any) -> Any:
    """Lay the jobs out as a table and nothing else."""
    rows = []
    for story in book.stories:
        before = None
        for one in story.standing:
            speed = story.asset.speed_rpm
            rows.append(
                {
                    "tag": story.asset.tag,
                    "month": one.job.performed_at.strftime("%Y-%m"),
                    "class": sum(speed > bound for bound in SPEED_BOUNDS_RPM),
                    "found": one.found_ratio,
                    "left": one.left_ratio,
                    "before": before,
                    "broken": story.asset.tag == "P-106"
                    and any(b.on <= one.job.performed_at.date() for b in story.breaks),
                }
            )
            before = one.left_ratio
    return pd.DataFrame(rows)


@pytest.fixture(scope="module")
def book() -> Any:
    return made_book()


@pytest.mark.parametrize("month", ["2026-10", "2026-03", "2024-07"])
def test_counts_equal_a_plain_recount(book: Any, month: str) -> None:
    view = view_of(book.history(1), date.fromisoformat(f"{month}-01"))
    table = plain(book)
    here = table[table["month"] == month]
    assert view.jobs == len(here)
    assert view.machines == here["tag"].nunique()
    assert (view.found.count, view.found.n) == ((here["found"] > 1).sum(), here["found"].notna().sum())
    assert (view.left.count, view.left.n) == ((here["left"] > 1).sum(), here["left"].notna().sum())
    for one in view.classes:
        mine = here[here["class"] == one.index]
        assert (one.jobs, one.found.count, one.found.n) == (
            len(mine),
            (mine["found"] > 1).sum(),
            mine["found"].notna().sum(),
        )
        assert (one.left.count, one.left.n) == ((mine["left"] > 1).sum(), mine["left"].notna().sum())
    months = [str(m) for m in pd.period_range(end=pd.Period(month, "M") - 1, periods=12, freq="M")]
    before = table[table["month"].isin(months)]
    assert (view.found_before.count, view.found_before.n) == (
        (before["found"] > 1).sum(),
        before["found"].notna().sum(),
    )
    assert view.jobs_before == len(before)
    assert len(view.left_over) == (here["left"] > 1).sum()


def test_the_series_ends_with_the_month_and_holds_every_month(book: Any) -> None:
    view = view_of(book.history(1), date(2026, 10, 1))
    table = plain(book)
    months = [str(month) for month in view.series.months]
    assert months[0] == "2024-11"
    assert months[-1] == "2026-10"
    assert len(months) == 24
    expected = [(table["month"] == month).sum() for month in months]
    assert view.series.jobs.tolist() == expected


def test_returns_of_the_month_equal_a_plain_recount(book: Any) -> None:
    table = plain(book)
    for month in ("2026-08", "2026-06", "2025-10"):
        view = view_of(book.history(1), date.fromisoformat(f"{month}-01"))
        back = table[(table["month"] == month) & (table["before"] <= 1) & (table["found"] > 1)]
        assert sorted(one.tag for one in view.returned) == sorted(back["tag"])


def test_the_default_is_the_last_month_that_has_jobs(book: Any) -> None:
    history = book.history(1)
    last = int(history.jobs.month.max())
    assert view_of(history).month == date(last // 12, last % 12 + 1, 1)


def test_months_to_choose_reach_from_the_first_job_to_today(book: Any) -> None:
    view = view_of(book.history(1), date(2025, 1, 1), today=date(2027, 2, 3))
    assert view.months[0] == date(2027, 2, 1)
    assert view.months[-1] == min(date.fromisoformat(f"{m}-01") for m in plain(book)["month"])
    assert date(2025, 1, 1) in view.months


def test_a_month_without_jobs_is_told_from_one_that_has_not_begun_or_lies_before_the_book(book: Any) -> None:
    history = book.history(1)
    shown = {
        on: view_of(history, on, today=date(2027, 2, 3)) for on in (date(2031, 5, 1), date(2027, 2, 1), date(2027, 1, 1), date(1999, 2, 1))
    }  # fmt: skip
    first = date.fromisoformat(f"{min(plain(book)['month'])}-01")
    assert [(view.state, view.sentence) for view in shown.values()] == [
        ("ahead", "May 2031 has not begun: there is nothing to review."),
        ("too_few", "No job was done in February 2027. The month is not over."),
        ("too_few", "No job was done in January 2027."),
        ("too_few", f"The book holds no job of February 1999: the first one is of {month_name(first)}."),
    ]
    assert shown[date(2031, 5, 1)].months[:2] == (date(2031, 5, 1), date(2027, 2, 1))
    later = iter((history, made_book().history(1)))  # as if somebody wrote between two questions
    asking = Asking(SimpleNamespace(history=lambda _: next(later)), site(), Display(), NOW)  # type: ignore[arg-type]
    assert asking.history is asking.history is history
    with pytest.raises(InvalidValueError, match="The month 2031-05 has not begun"):
        review_of(asking, shown[date(2031, 5, 1)])


def test_an_empty_site_has_a_state_of_its_own() -> None:
    view = view_of(columns_of([]))
    assert (view.state, view.jobs, view.returned, view.due.lines) == ("empty", 0, (), ())
    assert view_of(columns_of([]), date(2031, 5, 1)).state == "ahead"


def test_one_job_says_so_and_claims_nothing() -> None:
    history = columns_of([story_of(PUMP, [line(job("P-1", "2026-10-05T09:00", None, GOOD), PUMP, 5)])])
    view = view_of(history)
    assert view.state == "ok"
    assert view.sentence == (
        "October 2026: 1 job on 1 machine. None of them had an as-found reading that could be judged. "
        "None of the machines that were measured afterwards was left over limit."
    )
    assert not view.found.known
    assert view.found_change is Change.UNKNOWN


def test_a_machine_that_came_back_is_listed_with_what_was_left_before() -> None:
    jobs = [
        line(job("P-1", "2026-04-01T09:00", None, GOOD), PUMP, 5),
        line(job("P-1", "2026-10-08T09:00", BAD, BAD), PUMP, 6),
    ]
    view = view_of(columns_of([story_of(PUMP, jobs)]))
    (one,) = view.returned
    assert (one.tag, one.day) == ("P-1", date(2026, 10, 8))
    assert one.found_ratio == pytest.approx(0.2 * 1480 / 120)
    assert one.was_left == pytest.approx(0.02 * 1480 / 120)
    assert one.days == pytest.approx(190)
    assert [visit.tag for visit in view.left_over] == ["P-1"]
    assert view.due.now == 1
    assert view.due.lines[0].why == "last visit left it over limit"


def test_a_clear_rise_is_said_and_a_month_that_is_not_over_too() -> None:
    machines = [Asset(f"P-{n}", speed_rpm=1480.0) for n in range(40)]
    stories = []
    for number, asset in enumerate(machines):
        jobs = [
            line(job(asset.tag, "2026-01-05T09:00", None, GOOD), asset, 10 * number + 1),
            line(job(asset.tag, "2026-06-05T09:00", GOOD, GOOD), asset, 10 * number + 2),
            line(job(asset.tag, "2026-11-05T09:00", BAD if number < 30 else GOOD, GOOD), asset, 10 * number + 3),
        ]
        stories.append(story_of(asset, jobs, asset_id=number + 1))
    view = view_of(columns_of(stories))
    assert view.found_change is Change.MORE
    assert "The month is not over." in view.sentence
    assert "more than chance would explain" in view.sentence
    assert "Over limit: 30 of 40 as-found readings, 75\u202f%" in view.sentence


def test_a_visit_just_before_midnight_counts_in_the_sites_own_month() -> None:
    """31 Oct 23:30 UTC is 31 Oct in Lisbon's winter time; 30 Sep 23:30 UTC is 1 Oct in its summer time."""
    late = job("P-1", "2026-10-01T00:30", None, GOOD)
    assert late.performed_at.isoformat().startswith("2026-09-30T23:30")
    assert view_of(columns_of([story_of(PUMP, [line(late, PUMP, 5)])])).month == date(2026, 10, 1)


def test_the_starter_set_is_named_as_a_starting_point() -> None:
    view = view_of(columns_of([]))
    assert "starting point to be replaced" in view.limits.warning
    assert "No limit set" in view_of(columns_of([]), limit_set=None).limits.text


def test_calibrations_that_ran_out_come_first(book: Any) -> None:
    view = view_of(book.history(1), instruments=book.instrument_list)
    assert [(one.serial, one.days_left) for one in view.calibrations] == [("LX-02", -262), ("LX-01", 13)]


def test_a_speed_that_is_not_known_has_a_line_only_where_it_has_jobs() -> None:
    unknown = Asset("P-9")
    history = columns_of(
        [story_of(unknown, [line(job("P-9", "2026-10-05T09:00", GOOD, GOOD, reason=Reason.PLANNED), unknown, 5)])]
    )
    assert view_of(history).classes[-1].index == -1
    assert "jobs=all&class=unknown" in str(by_class(view_of(history), Place("/", {}), "light"))
    assert view_of(columns_of([])).classes[-1].index == 5
    assert np.isnan(history.jobs.found_ratio).all()


def test_a_list_that_is_cut_keeps_its_worst_and_says_how_long_it_was(book: Any) -> None:
    history = book.history(1)
    runs = runs_of(history.jobs, history.breaks)

    def view(month: date, most: int | None) -> Any:
        return build(
            history, runs, month, TODAY, site=site(), instruments=(), limit_set=STARTER, today_us=US, most=most
        )

    longest = 0
    for month in (date(2026, 10, 1), date(2026, 3, 1), date(2024, 7, 1)):
        whole, cut = view(month, None), view(month, 1)
        for name in ("left_over", "returned"):
            every = getattr(whole, name)
            assert getattr(cut, name) == every[:1]
            assert getattr(cut, f"{name}_n") == getattr(whole, f"{name}_n") == len(every)
            longest = max(longest, len(every))
    assert longest > 1


def test_who_looked_is_counted_over_all_that_was_left_over_limit_and_sorted_before_it_is_cut() -> None:
    stories, worst = [], {}
    for number in range(30):
        pump, bad = replace(PUMP, tag=f"P-{number}"), Misalignment(offset_v=0.2 + number / 100)
        stories.append(
            story_of(pump, [line(job(pump.tag, "2026-10-05T09:00", bad, bad), pump, 100 + number)], asset_id=number + 1)
        )
        worst[100 + number] = pump.tag
    history = columns_of(stories)
    signed = range(108, 130)  # the 22 worst

    def look(entries: Sequence[int]) -> LookedAt:
        assert sorted(entries) == sorted(worst)
        return LookedAt({129: "Bo Tarn"}, {entry: "Ana Wick" for entry in entries if entry in signed})

    view = build(
        history, runs_of(history.jobs, history.breaks), date(2026, 10, 1), TODAY, site=site(), instruments=(),
        limit_set=STARTER, today_us=US, most=20, look=look,
    )  # fmt: skip
    assert (view.left_over_n, view.unreviewed, view.unsigned) == (30, 29, 8)
    assert unsigned_words(view) == "Without a sign-off: 8 of them; these come first."
    assert [visit.entry for visit in view.left_over] == [*range(107, 99, -1), *range(129, 117, -1)]
    first, whole = (str(left_over_part(view, Place("/", choices))) for choices in ({}, {"list": "all"}))
    assert "Not listed here: 10." in first
    assert "list=all" in first
    assert "Not listed here: 10." in whole, "the view was made for twenty"
    assert "list=all" not in whole
    paper = month_data(view, Room(left=20))["left"]
    assert [row[-2:] for row in (paper["rows"][0], paper["rows"][8])] == [["nobody yet"] * 2, ["Bo Tarn", "Ana Wick"]]
    assert [head[0] for head in paper["heads"]][-2:] == ["Reviewed by", "Signed off by"], "so many as the words count"
    assert (listed_in(Place("/", {})), listed_in(Place("/", {"list": "all"}))) == (20, 200)


def test_a_machine_that_came_back_twice_in_a_month_is_two_visits_of_one_machine() -> None:
    days = ("2026-09-01T09:00", "2026-10-05T09:00", "2026-10-25T09:00")
    history = columns_of([story_of(PUMP, [line(job("P-1", on, BAD, GOOD), PUMP, n) for n, on in enumerate(days)])])
    view = view_of(history, date(2026, 10, 1))
    assert (view.returned_n, view.returned_machines) == (2, 1)
    assert returned_words(view) == "2 visits of 1 machine"
    assert returned_words(view_of(history, date(2026, 9, 1))) == "0 visits"


def test_no_risk_is_claimed_for_machines_without_a_forecast() -> None:
    stories = [
        story_of(pump, [line(job(pump.tag, "2025-03-05T09:00", BAD, GOOD), pump, 100 + number)], asset_id=number + 1)
        for number, pump in enumerate(replace(PUMP, tag=f"P-{number}") for number in range(3))
    ]
    history = columns_of(stories)
    study = study_of(history)
    plan = ground_of(history, study, TODAY, US, 12).plan(study.recheck)
    asked = asked_by_risk(plan)
    assert asked == AskedByRisk(now=3, soon=0, now_ruled=3, soon_ruled=0, known=0, unknown=3)
    for none in (asked, replace(asked, now=0, now_ruled=0)):  # also before any date by the rule has come
        said, card = risk_sentence(none, 0.1), risk_key(none, 0.1, 3, 31)
        assert said.startswith("No risk is known, for no machine has a forecast. By the rule the date has come for")
        assert "10" not in said + card
        assert "by risk: not known" in card
    few = replace(asked, known=2)
    assert "by the rule: there is no forecast for them, so no risk is known." in risk_sentence(few, 0.1)
    some = risk_sentence(replace(few, now_ruled=1), 0.1)
    assert "reaches 10\u202f%, or, where there is no forecast, that of the rule (so for 1 of them)" in some
    assert "3 now, 3 of them by the rule" in risk_key(few, 0.1, 3, 31)
    own = replace(few, now=1, now_ruled=0)
    assert "rule" not in risk_sentence(own, 0.1)
    assert risk_sentence(own, 0.1).endswith("No forecast, so no known risk: 3 machines.")
    assert risk_key(own, 0.1, 3, 31).endswith("1 now, of 2 with a forecast")
    assert "No forecast" not in risk_sentence(replace(own, unknown=0), 0.1)
    text = recheck_calendar(history, site(), NOW).replace("\r\n ", "")
    assert text.count("BEGIN:VEVENT") == 3
    assert "by the rule of 12 months" in text
    assert "By the accepted risk" not in text
    assert "By the rule:" not in text
