"""Repeat offenders: looks and returns equal a plain recount; one of one does not come first."""

import math
from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Any

import pytest

from dashboard.pages.offenders import looked_for
from dashboard.views.offender_filters import Filters
from dashboard.views.offenders_before_view import Before, earlier_words, gone_words
from dashboard.views.offenders_view import Wider, build
from models.history.engine import study_of
from models.history.runs import runs_of
from models.values.asset import Asset, MachineBreak
from models.values.kinds import Coupling, Part
from tests.history_maker import STARTER, Misalignment, columns_of, job, line, made_book, site, story_of

TODAY = date(2026, 11, 18)
GOOD, BAD = Misalignment(offset_v=0.02), Misalignment(offset_v=0.2)


def view_of(history: Any, window: Any = 24, speed: Any = None, most: int = 30, **filters: str) -> Any:
    return build(
        history, runs_of(history.jobs, history.breaks), window, speed, TODAY, site=site(), limit_set=STARTER, most=most,
        filters=Filters(**filters),
    )  # fmt: skip


def machine(tag: str, founds: Any, number: int, speed: Any = 1480.0, first_year: Any = 2016) -> Any:
    asset = Asset(tag, speed_rpm=speed)
    jobs = [line(job(tag, f"{first_year}-01-05T09:00", None, GOOD), asset, 100 * number)]
    for place, found in enumerate(founds, start=1):
        jobs.append(line(job(tag, f"{first_year + place}-01-05T09:00", found, GOOD), asset, 100 * number + place))
    return story_of(asset, jobs, asset_id=number)


def recount(book: Any, since: Any) -> Any:
    """Count looks and returns since the last break by walking through each machine's jobs, one pair after the other."""
    result = {}
    for story in book.stories:
        jobs = story.standing
        for before, now in pairwise(jobs):
            broken = any(before.job.performed_at.date() < b.on for b in story.breaks)
            if broken or now.job.performed_at.date() < since or before.left_ratio is None or now.found_ratio is None:
                continue
            if before.left_ratio <= 1:
                looks, returns = result.get(story.asset.tag, (0, 0))
                result[story.asset.tag] = (looks + 1, returns + (now.found_ratio > 1))
    return result


def test_looks_and_returns_equal_a_plain_recount() -> None:
    book = made_book()
    view = view_of(book.history(1), window=36, most=1000)
    expected = recount(book, date(2023, 11, 18))
    assert view.since == date(2023, 11, 18)
    assert view.looks == sum(looks for looks, _ in expected.values())
    assert view.returns == sum(returns for _, returns in expected.values())
    assert {one.tag: (one.looks, one.returns) for one in view.lines} == {t: c for t, c in expected.items() if c[1]}
    assert view.machines == len(expected)


def test_one_of_one_does_not_come_before_four_of_five() -> None:
    history = columns_of([machine("ONE", [BAD], 1), machine("FOUR", [BAD, BAD, GOOD, BAD, BAD], 2)])
    view = view_of(history, window=None)
    assert [one.tag for one in view.lines] == ["FOUR", "ONE"]
    four, one = view.lines
    assert (four.returns, four.looks, one.returns, one.looks) == (4, 5, 1, 1)
    assert one.bound < four.bound
    assert one.low < one.rate < one.high
    assert four.seen == pytest.approx(4 / four.years)
    assert four.years == pytest.approx(5.0, abs=0.01)
    assert four.first == date(2017, 1, 5)
    assert four.last == date(2021, 1, 5)
    assert four.worst_ratio == pytest.approx(0.2 * 1480 / 120)
    assert view.repeated == 1


def test_the_ranking_is_that_of_the_engine() -> None:
    history = made_book().history(1)
    study = study_of(history)
    view = build(history, study.runs, None, None, TODAY, site=site(), limit_set=STARTER, most=1000, study=study)
    order = study.return_rates.ranking()
    assert [one.tag for one in view.lines] == [str(history.assets.tag[row]) for row in order]
    for shown, row in zip(view.lines, order.tolist(), strict=True):
        rate = study.return_rates.rate
        assert (shown.rate, shown.bound, shown.low, shown.high) == (
            rate.mean[row],
            rate.bound[row],
            rate.low[row],
            rate.high[row],
        )
        assert len(shown.suggests) == study.patterns.suggested[row].sum()
    assert [one.bound for one in view.lines] == sorted((one.bound for one in view.lines), reverse=True)


def test_filters_of_the_machine_and_of_who_left_it() -> None:
    book = made_book()
    history = book.history(1)
    for name, of_story in (
        ("area", lambda s: s.asset.area),
        ("coupling", lambda s: "spacer" if s.asset.coupling is Coupling.SPACER else "short"),
    ):
        for asked in {of_story(story) for story in book.stories}:
            view = view_of(history, window=None, most=1000, **{name: asked})
            mine = type(book)([story for story in book.stories if of_story(story) == asked])
            wanted = recount(mine, date(1990, 1, 1))
            assert {one.tag: (one.looks, one.returns) for one in view.lines} == {
                t: c for t, c in wanted.items() if c[1]
            }
    for person in history.people:
        looks = 0
        for story in book.stories:
            for before, now in pairwise(story.standing):
                broken = any(before.job.performed_at.date() < b.on for b in story.breaks)
                judged = before.left_ratio is not None and now.found_ratio is not None
                looks += bool(not broken and judged and before.left_ratio <= 1 and before.job.people[0] == person)
        assert view_of(history, window=None, person=person).looks == looks
    assert (
        sum(view_of(history, window=None, instrument=one).looks for one in history.instruments)
        == view_of(history, window=None).looks
    )


def test_window_and_speed_class_can_be_chosen() -> None:
    history = columns_of(
        [
            machine("SLOW", [BAD, BAD], 1, speed=985.0, first_year=2023),
            machine("FAST", [BAD], 2, speed=2960.0, first_year=2016),
        ]
    )
    assert [one.tag for one in view_of(history, window=None, speed=3).lines] == ["FAST"]
    assert [one.tag for one in view_of(history, window=24).lines] == ["SLOW"]
    assert view_of(history, window=24).looks == 1


def test_a_machine_with_a_new_base_is_ranked_by_what_came_since() -> None:
    """FOUR came back four times before its base was renewed and once since; GONE only before."""
    base = MachineBreak("FOUR", date(2020, 6, 1), Part.BASE, "grouted anew")
    four = replace(machine("FOUR", [BAD, BAD, GOOD, BAD, GOOD, GOOD, BAD], 1), breaks=(base,))
    gone = replace(machine("GONE", [BAD, BAD, GOOD, GOOD, GOOD, GOOD], 2), breaks=(replace(base, tag="GONE"),))
    other = machine("TWO", [BAD, GOOD, GOOD, BAD], 3)
    history = columns_of([four, gone, other])
    view = view_of(history, window=None)
    assert [one.tag for one in view.lines] == ["TWO", "FOUR"]
    row = view.lines[1]
    assert (row.returns, row.looks) == (1, 2)
    assert row.before == Before("FOUR", date(2020, 6, 1), 4, 3)
    assert view.lines[0].before is None
    assert (view.earlier.looks, view.earlier.returns) == (8, 5)
    assert view.earlier.gone == (Before("GONE", date(2020, 6, 1), 4, 2),)
    study = study_of(history)
    assert study.return_rates.returns.tolist() == [1, 0, 2]
    assert study.return_counts.looks.tolist() == [2, 1, 4]
    assert earlier_words(view.earlier).endswith("does not count: 8 looks; 5 of them found it over limit again.")
    assert "GONE (2 of 4)." in gone_words(view.earlier.gone)
    # Asked for a window after the break nothing is left out, and nothing is told.
    assert earlier_words(view_of(history, window=24).earlier) == ""


def test_minutes_are_no_rate_in_a_year_and_do_not_come_first() -> None:
    """SOON was found over two minutes after it was left: 262,980 times that is a year (8766 h of 60 min ÷ 2), and says nothing."""
    soon = Asset("SOON", speed_rpm=1480.0)
    jobs = [job("SOON", "2026-10-05T09:00", None, GOOD), job("SOON", "2026-10-05T09:02", BAD, GOOD)]
    pair = story_of(soon, [line(one, soon, 300 + place) for place, one in enumerate(jobs)], asset_id=3)
    history = columns_of([pair, machine("ONE", [BAD], 1), machine("TWO", [BAD, GOOD], 2)])
    view = view_of(history, window=None)
    assert [one.tag for one in view.lines][-1] == "SOON"
    assert [one.again for one in view.lines] == [False, False, True]
    last = view.lines[-1]
    assert math.isnan(last.seen)
    assert last.years * 365.25 * 24 * 60 == pytest.approx(2.0)
    assert not any(math.isnan(one.seen) for one in view.lines[:2])
    # Thirty days of the calendar are an hour less where the clock went forward meanwhile.
    spring = [job("SOON", "2026-03-10T08:00", None, GOOD), job("SOON", "2026-04-09T08:00", BAD, GOOD)]
    pair = story_of(soon, [line(one, soon, 300 + place) for place, one in enumerate(spring)], asset_id=3)
    assert view_of(columns_of([pair]), window=None).lines[0].seen == pytest.approx(365.25 * 24 / (30 * 24 - 1))


@pytest.mark.parametrize(
    ("days", "text"),
    [(0.0, "less than a minute"), (2 / 1440, "2 minutes"), (1 / 24, "1 hour"), (47 / 24, "47 hours"), (2.0, "2 days"), (30 - 1 / 24, "30 days"), (89.0, "89 days"), (365.25, "1.0 years")],
)  # fmt: skip
def test_time_is_written_in_what_it_is_counted_in(days: float, text: str) -> None:
    assert looked_for(days / 365.25) == text


def test_states() -> None:
    assert view_of(columns_of([])).state == "empty"
    one = columns_of([machine("ONE", [], 1)])
    assert (view_of(one).state, view_of(one).wider) == ("too_few", ())
    # Only what helps is named: another person's looks, or all years, or both together.
    few = columns_of([machine("OK", [GOOD], 1), machine("FAST", [GOOD, BAD], 2, speed=2960.0, first_year=2023)])
    assert view_of(few, window=12).wider == (Wider("window", 3),)
    assert view_of(few, window=36, speed=1).wider == (Wider("window", 1), Wider("class", 2))
    assert view_of(few, window=12, speed=1, area="Somewhere").wider == (Wider("", 3),)
    good = view_of(columns_of([machine("OK", [GOOD], 1)]), window=None)
    assert (good.state, good.lines) == ("ok", ())
    assert good.sentence == "In 1 look on 1 machine, none found a machine over limit that had been left within it."
