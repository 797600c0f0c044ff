"""A change of limits is not read as a change of the plant: both sides are judged by one set, and the chart starts anew."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest

from dashboard.components.month_counts import by_class, months_part
from dashboard.components.month_lists import returned_part
from dashboard.figures import control_chart
from dashboard.place import Place
from dashboard.reports.month_pictures import control_chart as printed_chart
from dashboard.reports.month_report import Room, month_data
from dashboard.views.month_chart_view import chart_words
from dashboard.views.month_jobs_view import FOUND, Asked, jobs_behind
from dashboard.views.month_view import MonthView, build
from dashboard.views.shares import Change
from models.history.columns import History
from models.history.runs import runs_of
from models.maths.judged import limits_for
from models.values.asset import Asset
from models.values.entry import AdoptedLimits
from models.values.job import Job
from models.values.story import JobLine
from tests.checked_pictures import checked
from tests.history_maker import STARTER, Misalignment, columns_of, job, line, ratio_of, site, story_of
from tests.test_models_history_one_set import TIGHT

TODAY = date(2026, 11, 18)
BEGAN = datetime(2020, 1, 1, tzinfo=UTC)
OLD = replace(STARTER, adopted_on=date(2020, 1, 1))
SETS = (AdoptedLimits(1, BEGAN, "desk", OLD), AdoptedLimits(2, BEGAN, "desk", TIGHT))
BETWEEN = Misalignment(offset_v=0.06)
"""At 1480 rpm within the starter's 0.081 mm, over half of it."""


def judged(done: Job, asset: Asset, entry: int) -> JobLine:
    """Judge a job by the set of its day."""
    made = line(done, asset, entry)
    if done.performed_at.date() < TIGHT.adopted_on:
        return made
    given = limits_for(TIGHT, asset.coupling, asset.limit_speed_rpm)
    found, left = (ratio_of(one, done.target, given, None) for one in (done.found, done.left))
    return replace(made, limits=given, found_ratio=found, left_ratio=left)


def plant(found: Misalignment = BETWEEN) -> History:
    """Machines that are all found the same, month after month: only the limits change."""
    stories, good = [], Misalignment(offset_v=0.01)
    for number in range(12):
        asset = Asset(f"P-{number}", speed_rpm=1480.0)
        jobs = [
            judged(
                job(asset.tag, f"{2024 + (10 + k) // 12}-{(10 + k) % 12 + 1:02d}-{5 + number:02d}T09:00", found, good if number else found),
                asset,
                100 * number + k + 1,
            )
            for k in range(24)
        ]  # fmt: skip
        stories.append(story_of(asset, jobs, asset_id=number + 1))
    return columns_of(stories)


def view_of(history: History, month: str, sets: Any = SETS, **more: Any) -> MonthView:
    return build(
        history, runs_of(history.jobs, history.breaks), date.fromisoformat(f"{month}-01"), TODAY, site=site(),
        instruments=(), limit_set=TIGHT, today_us=0, sets=sets, **more,
    )  # fmt: skip


@pytest.fixture(scope="module")
def history() -> History:
    return plant()


def test_a_change_of_limits_alone_is_no_sign_of_a_change(history: History) -> None:
    view = view_of(history, "2026-06")
    assert (view.found.count, view.found.n) == (12, 12)
    assert (view.found_before.count, view.found_before.n) == (144, 144)
    assert (view.found_change, view.left_change) == (Change.NO_SIGN, Change.NO_SIGN)
    assert "The limits were changed on 1 Mar 2026, to ‘tight’, version 1." in view.sentence
    assert "the twelve months before had 100\u202f% (144 of 144): no sign of a change." in view.sentence
    assert "chance" not in view.sentence.partition("The limits")[2]
    assert view_of(history, "2026-06", ()).found_change is Change.MORE, "what was said before"
    (own,) = [one for one in view.classes if one.found.known]
    assert (own.found_before.count, own.found_before.n, own.left_before.count) == (144, 144, 12)


def test_page_paper_and_list_say_the_same(history: History) -> None:
    view = view_of(history, "2026-06")
    told = "they stand as 36 of 144 over as found and 3 of 144 as left."
    place = Place("/", {})
    assert told in str(by_class(view, place, "light"))
    paper = month_data(view, Room())
    assert told in paper["classes"]["note"]
    assert paper["sentence"] == view.sentence
    assert any("by the limits of the month: 144 of 144" in text for key in paper["keys"] for text in key["below"])
    behind = jobs_behind(history, 2026 * 12 + 5, Asked(FOUND, before=True), TIGHT, most=200)
    assert (behind.over, behind.n) == (144, 144)
    assert "judged by ‘tight’, version 1" in behind.title
    assert behind.lines[-1].found_ratio > 1.0


def test_the_chart_is_marked_and_starts_anew(history: History) -> None:
    view = view_of(history, "2026-10")
    series = view.series
    row = series.months.tolist().index(date(2026, 3, 1))
    assert [(at, one.name) for at, one in series.since] == [(row, "tight")]
    assert not series.above.any()
    assert not series.run.any(), "a row of months does not go across a change of limits"
    assert np.isnan(series.centre[row:]).all(), "eight months are too few"
    words = chart_words(series)
    assert words.startswith("The limits were changed: Mar 2026, to ‘tight’, version 1. Mean, control limits")
    assert "Months with readings since: 8." in words
    assert "lasting" not in words
    picture = checked(control_chart.control_figure)(series, "light")
    assert [one.text for one in picture.layout.annotations] == ["other limits"]
    assert len(picture.layout.shapes) == 1
    assert ">other limits<" in printed_chart(series)
    assert "worked out by itself before and after" in str(months_part(view, Place("/", {}), "light"))


def test_a_month_in_which_the_limits_change_is_judged_by_them_whole(history: History) -> None:
    """Of 2026-03 all twelve jobs are by the new set; of a set that began on the 11th six of its own month are by the old."""
    later = replace(TIGHT, adopted_on=date(2026, 3, 1))
    view = view_of(history, "2026-03", (SETS[0], AdoptedLimits(2, BEGAN, "desk", later)))
    assert view.found_change is Change.NO_SIGN
    mixed = replace(history, jobs=replace(history.jobs))
    rows = np.flatnonzero((mixed.jobs.month == 2026 * 12 + 2) & (mixed.jobs.asset < 5))
    old = np.flatnonzero((mixed.jobs.month == 2026 * 12 + 1) & (mixed.jobs.asset < 5))
    for name in ("limits", "found_ratio", "left_ratio"):
        column = getattr(mixed.jobs, name).copy()
        column[rows] = column[old]
        mixed = replace(mixed, jobs=replace(mixed.jobs, **{name: column}))
    view = view_of(mixed, "2026-03")
    assert (view.found.count, view.found.n) == (7, 12), "as it stands in the book"
    assert "(144 of 144), and the month itself 12 of 12: no sign of a change." in view.sentence


def test_without_a_change_everything_is_as_it_was(history: History) -> None:
    for month in ("2026-02", "2025-06"):
        one, other = view_of(history, month), view_of(history, month, ())
        assert one.one_set is None
        said = [
            (view.sentence, str(view.classes), view.found_change, chart_words(view.series)) for view in (one, other)
        ]
        assert said[0] == said[1]
        assert not one.series.since


def test_what_came_back_by_the_limits_alone_is_told(history: History) -> None:
    """P-0 is left as it is found: within in February, over by the limits of March."""
    view = view_of(history, "2026-03")
    assert view.moved_limits == 1
    assert "Of these, 1 were left within the limits of that day" in str(returned_part(view, Place("/", {})))
    assert view_of(history, "2026-05").moved_limits == 0
