"""Calibrations and what rests on them: counts equal a plain walk through the jobs."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dashboard.views.people_view import PeopleView, build, held_for
from models.values.people import Instrument, Person
from tests.history_maker import ZONE, MadeBook, made_book

TODAY = date(2026, 11, 18)


@pytest.fixture(scope="module")
def book() -> MadeBook:
    return made_book()


def view_of(book: MadeBook, **how: Any) -> PeopleView:
    return build(book.history(1), book.instrument_versions(1), book.people(1), TODAY, **how)


def plain(book: MadeBook) -> list[Any]:
    """Give every job that counts with its day and machine."""
    return [
        (story.asset.tag, line, line.job.performed_at.astimezone(ZoneInfo(ZONE)).date())
        for story in book.stories
        for line in story.standing
    ]


def test_jobs_are_counted_by_what_the_calibration_was_on_their_day(book: MadeBook) -> None:
    view = view_of(book)
    dated = {one.serial: one for one in book.instrument_list if one.due}
    jobs = plain(book)
    late = [row for row in jobs if row[1].job.instrument in dated and row[2] > dated[row[1].job.instrument].due]
    held = [
        row for row in jobs
        if row[1].job.instrument in dated
        and dated[row[1].job.instrument].calibrated <= row[2] <= dated[row[1].job.instrument].due
    ]  # fmt: skip
    assert (view.late, view.known, view.not_known) == (
        len(late),
        len(late) + len(held),
        len(jobs) - len(late) - len(held),
    )
    assert view.late > 3
    lasts = {tag: line for tag, line, _ in jobs}
    assert view.last_word == sum(any(line is row[1] for row in late) for line in lasts.values())
    assert view.machines == len(lasts)
    assert [row.entry for row in view.late_rows] == [
        line.entry for _, line, _ in sorted(late, key=lambda row: row[1].job.performed_at, reverse=True)
    ][: len(view.late_rows)]
    for row in view.late_rows:
        assert row.late_days == (row.on - dated[row.serial].due).days > 0


def test_instruments_stand_in_alphabetical_order_with_their_days(book: MadeBook) -> None:
    view = view_of(book)
    assert [line.serial for line in view.instruments] == ["D-07", "LX-01", "LX-02"]
    assert [line.days_left for line in view.instruments] == [None, 13, -262]
    assert (view.good, view.soon) == (1, 1)
    assert "It has run out for LX-02." in view.sentence
    assert "The book gives no date for D-07." in view.sentence
    for line in view.instruments:
        assert line.jobs == sum(row[1].job.instrument == line.serial for row in plain(book))


def test_the_last_day_of_a_calibration_is_a_good_one(book: MadeBook) -> None:
    view = build(book.history(1), [Instrument("LX-01", "", date(2026, 1, 1), TODAY)], (), TODAY)
    assert (view.good, view.instruments[0].days_left) == (1, 0)


@pytest.mark.parametrize("since", [None, date(2026, 1, 1), date(2031, 1, 1)])
def test_what_rests_on_an_instrument_is_found_by_a_plain_search_too(book: MadeBook, since: date | None) -> None:
    view = view_of(book, chosen="LX-01", since=since, most=1000)
    assert view.resting is not None
    start = since or date(2025, 12, 1)
    jobs = plain(book)
    mine = [row for row in jobs if row[1].job.instrument == "LX-01" and row[2] >= start]
    assert view.resting.jobs == len(mine) == len(view.resting.rows)
    assert view.resting.machines == len({row[0] for row in mine})
    lasting = {
        tag for tag, line, _ in mine
        if not any(
            other.job.performed_at > line.job.performed_at and other.job.instrument != "LX-01"
            for name, other, _ in jobs if name == tag
        )
    }  # fmt: skip
    assert view.resting.last_word == len(lasting)
    marks = [row.since is None for row in view.resting.rows]
    assert marks == sorted(marks, reverse=True)
    if not mine:
        assert view.resting.sentence == "No job in the book was measured with LX-01 from 1 Jan 2031 on."


def test_an_instrument_without_a_date_puts_all_its_jobs_in_question(book: MadeBook) -> None:
    view = view_of(book, chosen="D-07")
    assert view.resting is not None
    assert "in all the years of the book" in view.resting.sentence
    assert view_of(book, chosen="nothing").resting is None


def test_people_stand_in_alphabetical_order_with_the_jobs_that_name_them_first(book: MadeBook) -> None:
    view = build(book.history(1), (), (Person("zed"), *book.people(1), Person("Abe", "reviews")), TODAY)
    assert [line.name for line in view.people] == sorted((line.name for line in view.people), key=str.casefold)
    counted = {line.name: line.jobs for line in view.people}
    assert counted["zed"] == counted["Abe"] == 0
    assert sum(counted.values()) == len(plain(book))
    assert all(line.last is None or line.last <= TODAY + timedelta(days=1) for line in view.people)


def test_a_book_without_people_and_instruments_is_empty() -> None:
    empty = MadeBook()
    assert view_of(empty).state == "empty"
    view = build(empty.history(1), (Instrument("L-1"),), (), TODAY)
    assert (view.state, view.late, view.known) == ("ok", 0, 0)
    assert "Of no job does the book know" in view.sentence


def test_what_is_counted_over_all_jobs_is_counted_once_for_all_questions(book: MadeBook) -> None:
    history, versions = book.history(1), book.instrument_versions(1)
    held = held_for(history, versions)
    for how in ({}, {"chosen": "LX-01"}, {"most": 2}):
        view = build(history, versions, book.people(1), TODAY, **how)
        assert held_for(history, versions) is held
        assert len(view.late_rows) == min(view.late, how.get("most", 20))
    assert held.by_state.sum() == len(history.jobs)
    # Another calibration is another answer.
    assert held_for(history, versions[:-1]) is not held
