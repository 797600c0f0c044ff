"""The jobs behind a number are those that were counted, and no others."""

from datetime import date
from typing import Any

import pytest

from dashboard.place import read_place
from dashboard.views.month_jobs_view import FOUND, JOBS, LEFT, MOST, Asked, asking, jobs_behind, read_asked
from tests.history_maker import made_book
from tests.test_dashboard_figures_shares import month_of

MONTH = 2026 * 12 + 9


@pytest.fixture(scope="module")
def history() -> Any:
    return made_book().history(1)


@pytest.mark.parametrize("kind", [FOUND, LEFT])
def test_counts_of_the_list_are_those_of_the_page(history: Any, kind: str) -> None:
    view = month_of(history, date(2026, 10, 1))
    for line in (*view.classes, view.total):
        index = line.index if line.index >= -1 else None
        for before, share in ((False, getattr(line, kind)), (True, getattr(line, f"{kind}_before"))):
            behind = jobs_behind(history, MONTH, Asked(kind, index, before))
            assert (behind.over, behind.n) == (share.count, share.n), (line.name, before)
            assert len(behind.lines) == min(share.n, MOST)
            ratios = [getattr(one, f"{kind}_ratio") for one in behind.lines]
            assert ratios == sorted(ratios, reverse=True)


def test_all_jobs_of_the_month_in_order_of_time(history: Any) -> None:
    view = month_of(history, date(2026, 10, 1))
    behind = jobs_behind(history, MONTH, Asked(JOBS))
    assert behind.n == view.jobs
    assert [one.day for one in behind.lines] == sorted(one.day for one in behind.lines)
    assert all((one.day.year, one.day.month) == (2026, 10) for one in behind.lines)


def test_a_question_survives_the_way_through_the_address() -> None:
    for asked in (Asked(JOBS), Asked(FOUND, 3), Asked(LEFT, 5, True), Asked(FOUND, -1, True)):
        address = read_place("/", "").here(**asking(asked.kind, asked.speed_class, before=asked.before))
        assert read_asked(read_place("/", address.removeprefix("/"))).value == asked


def test_what_is_no_number_of_the_page_is_said() -> None:
    assert read_asked(read_place("/", "")).value is None
    read = read_asked(read_place("/", "?jobs=wrong"))
    assert read.value is None
    assert "wrong" in read.problem
    assert read_asked(read_place("/", "?jobs=found&class=9")).problem


def test_the_title_says_what_of_when_and_how_fast(history: Any) -> None:
    title = jobs_behind(history, MONTH, Asked(FOUND, 1, True)).title
    assert title == "as-found readings that were judged, twelve months before October 2026, over 1000 to 1500 rpm"
