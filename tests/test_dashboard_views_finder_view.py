"""Finding a machine by any part of what is known of it."""

from datetime import date
from typing import Any

import pytest

from dashboard.views.finder_view import MOST, build, match
from models.values.asset import Asset
from tests.history_maker import Misalignment, columns_of, job, line, made_book, story_of


@pytest.fixture(scope="module")
def history() -> Any:
    return made_book().history(1)


def tags(history: Any, asked: str) -> Any:
    return [str(history.assets.tag[row]) for row in match(history.assets, asked)]


def test_a_part_of_a_tag_a_description_a_train_and_an_area_all_find(history: Any) -> None:
    assert tags(history, "105")[0] == "P-105"
    assert "P-105" in tags(history, "BRINE pump 5")
    assert tags(history, "T03") == ["P-105", "P-106"]
    assert set(tags(history, "intake brine")) < set(tags(history, "intake"))


def test_the_tag_itself_comes_first_and_tags_that_begin_with_it_next() -> None:
    stories = [story_of(Asset(tag, description), [], asset_id=n) for n, (tag, description) in enumerate(
        [("X-1", "spare of P-1"), ("AP-1", ""), ("P-10", ""), ("P-1", "")], start=1)]  # fmt: skip
    assert tags(columns_of(stories), "p-1") == ["P-1", "P-10", "AP-1", "X-1"]


def test_nothing_typed_gives_all_and_nonsense_none(history: Any) -> None:
    assert len(tags(history, "  ")) == len(history.assets)
    assert tags(history, "zzz") == []


def test_the_list_tells_the_last_visit_and_how_many_there_were() -> None:
    asset = Asset("P-1", "pump", speed_rpm=1480.0)
    jobs = [
        line(job("P-1", "2025-01-05T09:00", None, Misalignment(0.01)), asset, 1),
        line(job("P-1", "2026-01-05T09:00", Misalignment(0.2), Misalignment(0.06)), asset, 2),
    ]
    view = build(columns_of([story_of(asset, jobs), story_of(Asset("P-2"), [], asset_id=2)]), "p-")
    first, second = view.lines
    assert (first.tag, first.jobs, first.last) == ("P-1", 2, date(2026, 1, 5))
    assert first.left_ratio == pytest.approx(0.06 * 1480 / 120)
    assert (second.jobs, second.last) == (0, None)
    assert (view.found, view.machines) == (2, 2)


def test_a_long_list_is_cut_and_says_how_long_it_is() -> None:
    stories = [story_of(Asset(f"M{n:04d}"), [], asset_id=n + 1) for n in range(MOST + 30)]
    view = build(columns_of(stories), "m")
    assert (len(view.lines), view.found) == (MOST, MOST + 30)


@pytest.mark.parametrize("asked", ["p204", "P 204", "p-204", "P\u2011204", "204 brine", "p204 brine", "p20"])
def test_blanks_dashes_and_capitals_of_a_tag_do_not_matter(asked: str) -> None:
    stories = [story_of(Asset(tag, words), [], asset_id=n) for n, (tag, words) in enumerate(
        [("AP 204", "brine"), ("P-204B", "brine"), ("P-204", "brine"), ("F-1", "fan 20 4")], start=1)]  # fmt: skip
    found = tags(columns_of(stories), asked)
    assert sorted(found) == ["AP 204", "P-204", "P-204B"]
    if "204" in asked and "brine" not in asked:
        assert found == ["P-204", "P-204B", "AP 204"]
    assert tags(columns_of(stories), "-") == ["P-204B", "P-204", "F-1"]
