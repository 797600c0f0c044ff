"""What is to be checked: the site's rule of the calendar, laid out for reading."""

from datetime import date, timedelta
from typing import Any

from dashboard.views.due_view import calibrations, due_list
from models.values.asset import Asset
from models.values.people import Instrument
from tests.history_maker import NOW, Misalignment, columns_of, job, line, story_of

TODAY = date(2026, 11, 18)
US = int(NOW.timestamp() * 1e6)
GOOD, BAD = Misalignment(offset_v=0.02), Misalignment(offset_v=0.2)


def story(tag: str, when: str, left: Any, number: int, **more: Any) -> Any:
    asset = Asset(tag, f"pump {tag}", "Intake", speed_rpm=1480.0, **more)
    jobs = [line(job(tag, when, None, left), asset, number)] if when else []
    return story_of(asset, jobs, asset_id=number)


def test_what_is_due_comes_first_then_what_falls_due_and_the_rest_is_left_out() -> None:
    history = columns_of(
        [
            story("A", "2025-12-10T09:00", GOOD, 1),  # due 10 Dec 2026: in 22 days
            story("B", "2025-10-01T09:00", GOOD, 2),  # due 1 Oct 2026: 48 days late
            story("C", "2026-09-01T09:00", GOOD, 3),  # due in September 2027
            story("D", "2026-11-01T09:00", BAD, 4),  # left over limit: due at once
            story("E", None, GOOD, 5),  # never measured
            story("G", "2026-11-18T09:00", BAD, 7),  # left over limit today: due today, as the page Due says
            story("F", "2020-01-01T09:00", GOOD, 6, retired=date(2021, 1, 1)),
        ]
    )
    due = due_list(history, TODAY, 12)
    assert [(one.tag, one.days_left) for one in due.lines] == [("B", -48), ("D", -17), ("G", 0), ("A", 22)]
    assert (due.now, due.soon, due.never, due.in_service) == (3, 1, 1, 6)
    assert due.lines[0].due == date(2026, 10, 1)
    assert due.lines[0].last == date(2025, 10, 1)
    assert due.lines[1].why == "last visit left it over limit"


def test_calibrations_are_listed_by_date_and_far_ones_are_left_out() -> None:
    instruments = (
        Instrument("far", due=TODAY + timedelta(days=63)),
        Instrument("near", due=TODAY + timedelta(days=62)),
        Instrument("late", due=TODAY - timedelta(days=1)),
        Instrument("none"),
    )
    assert [(one.serial, one.days_left) for one in calibrations(instruments, TODAY)] == [("late", -1), ("near", 62)]
