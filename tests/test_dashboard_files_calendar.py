"""The calendar of re-check dates, read by an independent parser, and its secret addresses."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import icalendar
import pytest
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st
from werkzeug.test import TestResponse

from dashboard.app import create_app
from dashboard.cli import main
from dashboard.context import KEY
from dashboard.fetch import recheck_for, study_for
from dashboard.files.calendar_feed import DayEvent, escaped, folded, write_calendar
from dashboard.files.recheck_calendar import recheck_calendar
from dashboard.kept import pin
from dashboard.views.plan_view import FAR_AHEAD, LONG_AGO, ground_of
from dashboard.writing import count
from models.errors import ConflictError, UnknownNameError
from models.history.engine import study_of
from models.settings import Settings
from models.store.calendar_addresses import Address, end_addresses, find_address, make_address, read_addresses
from models.store.engine import make_engine
from models.store.reader import Reader
from models.store.unit import writing
from models.tables.accounts import AccountVersionRow
from models.values.kinds import Kind
from models.values.story import Site
from tests.conftest import make_site
from tests.history_maker import NOW, MadeBook, made_book
from tests.seeded import seed, vouch

TODAY = date(2026, 11, 18)


@pytest.fixture(scope="module")
def book() -> MadeBook:
    return made_book()


def parsed(text: str) -> icalendar.Calendar:
    calendar = icalendar.Calendar.from_ical(text)
    assert isinstance(calendar, icalendar.Calendar)
    assert calendar.errors == []
    assert [event.errors for event in calendar.events if event.errors] == []
    return calendar


@pytest.mark.parametrize("by", ["risk", "rule"])
def test_an_independent_parser_reads_every_date_of_the_due_list(book: MadeBook, by: str) -> None:
    history = book.history(book.at_site.site_id)
    calendar = parsed(recheck_calendar(history, book.at_site, NOW, by=by))
    assert calendar["VERSION"] == "2.0"
    assert calendar["METHOD"] == "PUBLISH"
    assert calendar["REFRESH-INTERVAL"].dt == timedelta(hours=12)
    ground = ground_of(history, study_for(history), TODAY, round(NOW.timestamp() * 1e6), book.at_site.interval_months)
    plan = ground.plan(recheck_for(history, 0.1), by_risk=by == "risk")
    lines = {line.tag: line for line in plan.lines(plan.rows(LONG_AGO, FAR_AHEAD).tolist())}
    assert len(calendar.events) == len(lines) > 30
    for event in calendar.events:
        tag = str(event["SUMMARY"]).rpartition(" of ")[2]
        line = lines.pop(tag)
        assert event.start == max(line.due, TODAY)
        assert event.end - event.start == timedelta(days=1)
        assert type(event.start) is date, "a whole day, not midnight of some zone"
        assert event["DTSTAMP"].dt == NOW
        assert str(event["SUMMARY"]).startswith("Overdue") == (line.days_left < 0)
        assert line.why in str(event["DESCRIPTION"])
        assert line.description in str(event["DESCRIPTION"])
        assert ("within" in str(event["DESCRIPTION"])) or ("over" in str(event["DESCRIPTION"]))
        assert str(event["STATUS"]) in {"CONFIRMED", "TENTATIVE"}
    assert lines == {}


def test_a_forecast_date_says_so_when_its_averages_do_not_know_the_last_jobs_yet() -> None:
    book = made_book()
    history = book.history(book.at_site.site_id)
    study = study_of(history)
    until = study.fleet.until
    pin(history, "study", replace(study, fleet=replace(study.fleet, until=until - 1)))
    events = parsed(recheck_calendar(history, book.at_site, NOW, by="risk")).events
    said = f"Averages of classes and calibration are up to entry {count(until - 1)}."
    by_forecast = [event for event in events if str(event["STATUS"]) == "TENTATIVE"]
    assert 0 < len(by_forecast) < len(events)
    for event in events:
        assert (said in str(event["DESCRIPTION"])) == (event in by_forecast)
    pin(history, "study", study)
    whole = parsed(recheck_calendar(history, book.at_site, NOW, by="risk")).events
    assert not any("Averages of classes" in str(event["DESCRIPTION"]) for event in whole)


def test_a_machine_keeps_its_event_whatever_its_day(book: MadeBook) -> None:
    history = book.history(book.at_site.site_id)
    first = parsed(recheck_calendar(history, book.at_site, NOW, by="risk"))
    later = parsed(recheck_calendar(history, book.at_site, NOW + timedelta(days=40), by="rule"))
    uids = [{str(e["UID"]): str(e["SUMMARY"]).rpartition(" of ")[2] for e in one.events} for one in (first, later)]
    assert uids[0] == uids[1]
    assert len(uids[0]) == len(first.events)


TEXTS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")) | st.sampled_from("\n,;\\:\"'é–😀 "), max_size=200
)


@given(TEXTS, TEXTS, st.lists(TEXTS.filter(lambda text: text.strip() != ""), max_size=3))
def test_any_text_comes_through_folding_and_escaping(summary: str, description: str, kinds: list[str]) -> None:
    event = DayEvent("u@driftbook", date(2026, 1, 2), summary, description, "CONFIRMED", kinds=tuple(kinds))
    text = write_calendar(summary, [event], NOW)
    for line in text.split("\r\n"):
        assert len(line.encode()) <= 75
        assert "\n" not in line
    (read,) = parsed(text).events
    assert str(read["SUMMARY"]) == summary
    assert str(read["DESCRIPTION"]) == description
    if kinds:
        assert [str(kind) for kind in read["CATEGORIES"].cats] == kinds


def test_folding_and_escaping_by_the_letter_of_the_standard() -> None:
    """RFC 5545: TEXT of 3.3.11, folding of 3.1 (an 'é' is two octets and is never cut)."""
    assert escaped("a,b;c\\d\r\ne\x00") == "a\\,b\\;c\\\\d\\ne"
    parts = list(folded("é" * 75))
    assert [len(part.encode()) for part in parts] == [74, 75, 3]
    assert "".join(part.removeprefix(" ") for part in parts) == "é" * 75


# -- secret addresses -------------------------------------------------------------------------------------------------


@pytest.fixture
def served(sqlite_book: Settings, tmp_path: Path) -> tuple[FlaskClient, Settings, Site]:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    seed(engine, site, tmp_path)
    app = create_app(sqlite_book, Reader(engine), clock=lambda: datetime(2026, 11, 25, 9, tzinfo=UTC))
    return app.server.test_client(), sqlite_book, site


def test_a_secret_address_gives_the_calendar_and_an_ended_one_nothing(
    served: tuple[FlaskClient, Settings, Site],
) -> None:
    client, settings, site = served
    engine = make_engine(settings)
    secret, address = make_address(engine, site.site_id, "Ana Wick", NOW)
    answer = client.get(f"/calendar/{secret}.ics")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer.headers["Cache-Control"] == "private, no-cache"
    calendar = parsed(answer.text)
    assert {str(event["SUMMARY"])[-3:] for event in calendar.events} == {"P-1", "P-2"}
    assert str(calendar.events[0]["URL"]).startswith("http://localhost/asset/P-")
    by_rule = parsed(client.get(f"/calendar/{secret}.ics?by=rule").text)
    assert "by the rule of 12 months" in str(by_rule.events[0]["DESCRIPTION"])
    with pytest.raises(ConflictError, match="works already"):
        make_address(engine, site.site_id, "Ana  Wick", NOW)
    with engine.connect() as connection:
        (held,) = read_addresses(connection, site.site_id)
        assert (held.person, held.ended, held.number) == ("Ana Wick", None, address.number)
        stored = connection.exec_driver_sql("SELECT secret_hash FROM calendar_address").scalar_one()
    assert secret not in stored, "the book keeps the hash only"
    assert end_addresses(engine, site.site_id, "Ana Wick", NOW) == 1
    ended, unknown = client.get(f"/calendar/{secret}.ics"), client.get("/calendar/nothing.ics")
    assert (ended.status_code, ended.data) == (unknown.status_code, unknown.data) == (404, unknown.data)
    assert client.get(f"/calendar/{secret[:-1]}.ics").status_code == 404
    assert client.get(f"/calendar/{'x' * 5000}.ics").status_code == 404
    assert client.get(f"/calendar/{stored}.ics").status_code == 404, "whoever reads the hash has no address"
    with pytest.raises(UnknownNameError, match="No address"):
        end_addresses(engine, site.site_id, "Ana Wick", NOW)
    engine.dispose()


def test_a_calendar_that_says_the_same_is_the_same(served: tuple[FlaskClient, Settings, Site], monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    client, settings, site = served
    here = client.application.config[KEY]
    engine = make_engine(settings)
    secret, _ = make_address(engine, site.site_id, "Ana Wick", NOW)
    path, first = f"/calendar/{secret}.ics?by=rule", datetime(2026, 11, 25, 9, tzinfo=UTC)

    def asked(at: datetime, tag: str = "") -> TestResponse:
        monkeypatch.setitem(client.application.config, KEY, replace(here, clock=lambda: at))
        return client.get(path, headers={"If-None-Match": tag} if tag else {})

    one, later = asked(first), asked(first + timedelta(hours=1))
    assert one.data == later.data, "no event looks changed"
    assert {event["DTSTAMP"].dt for event in parsed(later.text).events} == {first}
    same = asked(first + timedelta(hours=2), one.headers["ETag"])
    assert (same.status_code, same.data, same.headers["ETag"]) == (304, b"", one.headers["ETag"])
    # On another day an overdue date stands on that day.
    other = asked(first + timedelta(days=400), one.headers["ETag"])
    assert (other.status_code, other.headers["ETag"] == one.headers["ETag"]) == (200, False)
    assert {event["DTSTAMP"].dt for event in parsed(other.text).events} == {first + timedelta(days=400)}
    end_addresses(engine, site.site_id, "Ana Wick", NOW)
    assert asked(first, one.headers["ETag"]).status_code == 404, "the tag opens nothing"
    engine.dispose()


def test_an_address_ends_with_the_account_it_belongs_to(served: tuple[FlaskClient, Settings, Site]) -> None:
    client, settings, site = served
    engine = make_engine(settings)
    vouch(engine, site)
    with pytest.raises(UnknownNameError, match="There is no account 'Ana Wick'"):
        make_address(engine, site.site_id, "Ana Wick", NOW)
    secret, address = make_address(engine, site.site_id, "cleo", NOW)
    assert address.person == "Cleo Marsh"
    assert client.get(f"/calendar/{secret}.ics").status_code == 200
    assert address.account_id is not None
    with writing(engine, site.site_id, "tester", NOW) as unit:
        entry = unit.append(Kind.ACCOUNT_CHANGED, address.account_id)
        unit.add(AccountVersionRow, (entry, site.site_id, address.account_id, "Cleo Marsh", "", "[]", False, None))
    assert client.get(f"/calendar/{secret}.ics").status_code == 404
    with engine.connect() as connection:
        assert find_address(connection, secret) is None
    engine.dispose()


def test_the_command_writes_the_file_and_makes_and_ends_addresses(
    served: tuple[FlaskClient, Settings, Site],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    client, settings, _ = served
    book = ["--book", settings.book]
    path = tmp_path / "checks.ics"
    assert main(["calendar", *book, "-o", str(path), "--by", "rule"]) == 0
    with monkeypatch.context() as changed:
        changed.setattr("dashboard.picture.QUICK", 1)  # a large book: the command waits for its study
        assert main(["calendar", *book, "-o", str(tmp_path / "large.ics"), "--by", "rule"]) == 0
    assert len(parsed(path.read_bytes().decode()).events) == 2
    assert main(["calendar", *book, "-o", str(path)]) == 2
    assert main(["calendar", "address", "Bo Tarn", *book]) == 0
    said = capsys.readouterr().out
    secret = said.split("/calendar/")[1].split(".ics")[0]
    assert client.get(f"/calendar/{secret}.ics").status_code == 200
    assert main(["calendar", "list", *book]) == 0
    assert main(["calendar", "end", "Bo Tarn", *book]) == 0
    assert main(["calendar", "list", *book]) == 0
    said = capsys.readouterr().out
    assert "Bo Tarn: made" in said
    assert "works" in said
    assert "ended" in said
    assert secret not in said
    late = Address(1, None, 1, "Bo Tarn", datetime(2026, 7, 1, 23, 30, tzinfo=UTC), None)
    with monkeypatch.context() as changed:
        changed.setattr("dashboard.console.calendars.read_addresses", lambda *_: (late,))
        assert main(["calendar", "list", *book]) == 0
    assert "made 2026-07-02, works" in capsys.readouterr().out, "the site's day"
    assert client.get(f"/calendar/{secret}.ics").status_code == 404
    assert main(["calendar", "address", *book]) == 2
