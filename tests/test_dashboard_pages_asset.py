"""The page of one machine, part by part, as the browser asks for it."""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.components.asset_drift import way
from dashboard.components.asset_numbers import signed
from dashboard.ids import Shell
from dashboard.pages.asset import Ids
from dashboard.writing import chance
from models.history.direction import direction_words
from models.settings import Settings
from models.values.asset import Asset
from models.values.entry import AdoptedLimits
from models.values.limits import Judged, LimitRow, LimitSet
from models.values.story import AssetVersion
from tests.history_maker import NOW, STARTER, MadeBook, Misalignment, job, line, made_book, story_of
from tests.test_dashboard_pages import call, text_of

STRICT = LimitSet(
    "strict (invented)",
    "invented for this test",
    "desk",
    datetime(2025, 6, 1, tzinfo=UTC).date(),
    (LimitRow(Judged.OFFSET, per_rpm=60.0), LimitRow(Judged.ANGULARITY, per_rpm=500.0)),
)
PARTS = (Ids.BODY, Ids.STUDY, Ids.REST)
PUMP = Asset("P-101", "Brine pump", "Intake", speed_rpm=1480.0, feet_movable_mm=(300.0, 800.0))


class TwoSets(MadeBook):
    """A book whose site has adopted a second limit set."""

    def limit_sets(self, site_id: int) -> tuple[AdoptedLimits, ...]:
        then = datetime(2025, 6, 1, tzinfo=UTC)
        every = (AdoptedLimits(2, then, "desk", STARTER), AdoptedLimits(7, then, "desk", STRICT))
        return every if site_id == self.at_site.site_id else ()


@pytest.fixture(scope="module")
def client() -> Any:
    made = made_book()
    book = TwoSets(made.stories, made.at_site, made.instrument_list)
    return create_app(Settings(book="x.book"), book, clock=lambda: NOW).server.test_client()


def ask(client: Any, part: str, path: str, search: str = "") -> str:
    inputs = [
        {"id": Shell.PAGE, "property": "data", "value": path},
        {"id": Shell.URL, "property": "search", "value": search},
        {"id": Shell.SCHEME, "property": "data", "value": "light"},
    ]
    answer = call(client, f"{part}.children", inputs)
    assert answer.status_code == 200
    return str(text_of(answer))


def test_a_description_that_begins_later_is_told_with_what_it_changes() -> None:
    story = story_of(PUMP, [line(job("P-101", "2025-03-01T08:00", Misalignment(0.02, 0.1, 0.0, 0.0), None), PUMP, 5)])
    faster = replace(PUMP, speed_rpm=2970.0, driver="new motor", valid_from=date(2027, 6, 1))
    gone = replace(faster, retired=date(2028, 1, 1), valid_from=date(2028, 1, 1))
    later = (AssetVersion(6, NOW, "desk", gone), AssetVersion(7, NOW, "desk", faster))
    book = MadeBook([replace(story, versions=(*story.versions, *later))])
    said = ask(
        create_app(Settings(book="x.book"), book, clock=lambda: NOW).server.test_client(), Ids.BODY, "/asset/P-101"
    )
    assert (
        "From 1 Jun 2027 on another description holds. Driver: new motor; Running speed: 2970 rpm. A job is judged"
        in said
    )
    assert "From 1 Jan 2028 on another description holds. Retired: 1 Jan 2028. A job is judged" in said


@pytest.mark.parametrize("path", ["/asset/P-102", "/asset/P-104", "/asset/P-106", "/asset/P-108"])
@pytest.mark.parametrize(
    "search", ["", "?risk=5&limits=today", "?limits=7&risk=20", "?job=x&risk=y&limits=z", "?units=mil"]
)
def test_every_part_answers_for_every_choice(client: Any, path: str, search: str) -> None:
    for part in PARTS:
        assert "could not be made" not in ask(client, part, path, search)


def test_the_parts_hold_what_they_are_for(client: Any) -> None:
    top, study, rest = (ask(client, part, "/asset/P-102") for part in PARTS)
    assert "What was left last time" in top
    assert "Judge by" in top
    assert "When it will be over limit again" in study
    assert "Which way it moves" in study
    assert "What that suggests" in study
    assert "The two shafts on" in rest
    assert "Standing in the book" in rest


def test_the_list_of_machines_and_unknown_tags_have_one_part_only(client: Any) -> None:
    for path in ("/asset", "/asset/none"):
        assert '"H1"' in ask(client, Ids.BODY, path)
        for part in (Ids.STUDY, Ids.REST):
            assert '"children": null' in ask(client, part, path) or '"children":null' in ask(client, part, path)


def test_other_limits_are_said_plainly_and_change_the_verdicts(client: Any) -> None:
    book, strict = (ask(client, Ids.BODY, "/asset/P-102", search) for search in ("", "?limits=7"))
    assert "Another look" not in book
    assert (
        "Another look: every verdict on this page, the forecast included, is made by strict (invented), version 1"
        in strict
    )
    assert "verdicts differ from those in the book" in strict
    assert "0.061" in strict  # 60 / 985 rpm
    assert "strict (invented), version 1" in ask(client, Ids.REST, "/asset/P-102", "?limits=7")


def test_limits_of_today_are_said_too(client: Any) -> None:
    assert "0 of" in ask(client, Ids.BODY, "/asset/P-102", "?limits=today")


def test_the_risk_stands_in_the_forecast(client: Any) -> None:
    for risk in (5, 20):
        assert f"for an accepted risk of {risk}\u202f%" in ask(client, Ids.STUDY, "/asset/P-102", f"?risk={risk}")
    assert "for an accepted risk of 10\u202f%" in ask(client, Ids.STUDY, "/asset/P-102")


def test_how_often_such_forecasts_held_has_its_count_and_interval(client: Any) -> None:
    study = ask(client, Ids.STUDY, "/asset/P-102")
    assert "Past intervals that held" in study
    assert "intervals that promised 80\u202f%" in study
    assert "95\u202f% interval" in study


def test_one_job_has_no_forecast_and_says_why() -> None:
    book = MadeBook([story_of(PUMP, [line(job("P-101", "2026-10-05T09:00", None, Misalignment(0.02)), PUMP, 5)])])
    client = create_app(Settings(book="x.book"), book, clock=lambda: NOW).server.test_client()
    study = ask(client, Ids.STUDY, "/asset/P-101")
    assert "No forecast: no run is complete since it was installed" in study
    assert "no movement is known yet" in study
    assert "Nothing in the history suggests one of the usual causes" in study
    assert "Nothing was measured before the work" in ask(client, Ids.REST, "/asset/P-101")


def test_a_machine_without_a_job_has_its_top_only() -> None:
    client = create_app(Settings(book="x.book"), MadeBook([story_of(PUMP, [])]), clock=lambda: NOW).server.test_client()
    assert "Its history begins with the first job" in ask(client, Ids.BODY, "/asset/P-101")
    for part in (Ids.STUDY, Ids.REST):
        assert "null" in ask(client, part, "/asset/P-101")


def test_a_retired_machine_keeps_its_drift() -> None:
    made = made_book()
    first = made.stories[1]
    gone = replace(first, asset=replace(first.asset, retired=NOW.date()))
    book = MadeBook([made.stories[0], gone, *made.stories[2:]], made.at_site)
    client = create_app(Settings(book="x.book"), book, clock=lambda: NOW).server.test_client()
    study = ask(client, Ids.STUDY, "/asset/P-102")
    assert "No forecast: the machine is retired" in study
    assert "mean drift in a year" in study


def test_the_job_that_was_asked_for_is_drawn(client: Any) -> None:
    story = made_book().stories[1]
    first = story.standing[0]
    assert f"(entry {first.entry})" in ask(client, Ids.REST, "/asset/P-102", f"?job={first.entry}")
    last = story.standing[-1]
    assert f"(entry {last.entry})" in ask(client, Ids.REST, "/asset/P-102")


def test_what_cannot_be_read_in_the_address_is_said_once_on_top(client: Any) -> None:
    top = ask(client, Ids.BODY, "/asset/P-102", "?risk=7&job=99999&limits=none")
    for said in ("‘7’ is no risk", "entry ‘99999’", "‘none’ is no limit set"):
        assert said in top


def test_lengths_follow_the_unit_of_the_page(client: Any) -> None:
    study = ask(client, Ids.STUDY, "/asset/P-102", "?units=mil")
    assert "mil a year" in study
    assert "mm a year" not in study
    assert "[mm]" not in study
    assert "[mm]" not in ask(client, Ids.REST, "/asset/P-102", "?units=mil")


@pytest.mark.parametrize(("vertical", "horizontal"), [(-1.0, 0.0), (1.0, 1.0), (0.3, -1.0), (-0.5, 1.0), (0.0, 2.0)])
def test_a_direction_in_words_is_the_engines(vertical: float, horizontal: float) -> None:
    """Twin: models.history.direction.direction_words."""
    assert way(vertical, horizontal) == direction_words(vertical, horizontal)


def test_nothing_moves_nowhere() -> None:
    assert way(0.0, 0.0) == ""


def test_signed_numbers_have_a_minus_of_their_own_and_zero_has_no_sign() -> None:
    assert [signed(x, 2) for x in (0.126, -0.126, -0.001, float("nan"))] == ["+0.13", "−0.13", "0.00", "–"]


def test_a_probability_is_never_certain() -> None:
    assert [chance(p) for p in (0.0, 0.2, 1.0, float("nan"))] == [
        "below 0.5\u202f%", "20\u202f%", "above 99.5\u202f%", "–",
    ]  # fmt: skip
