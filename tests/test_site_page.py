"""The page of how a site is set: what holds and since when, a form that does what the command does, and what it refuses."""

from __future__ import annotations

import html
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.app import create_app
from dashboard.cli import main
from dashboard.views.site_view import build
from models.commands.accounts import change_account
from models.commands.set_site import set_site
from models.errors import ConflictError, InvalidValueError, OtherVersionError, OvertakenError
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.store.verify import verify_book
from models.units import Display
from models.values.decision import DecisionRule, Rule
from models.values.roles import AtSite, Role
from models.values.story import Site, SiteSetting
from tests.auth_book import AuthBook, hidden_of
from tests.auth_book import open_book as open_auth_book
from tests.conftest import NOW, make_site
from tests.record_book import Opened, open_book
from tests.test_auth_pages import fill

LATER = NOW + timedelta(hours=1)
HELD = {
    "name": "Test Quay", "zone": "Europe/Lisbon", "length": "mm", "temperature": "°C", "interval": "12",
    "rule": "simple acceptance", "confidence": "95", "by": "Cy Vale",
}  # fmt: skip
"""What stands in the form of a site that was never set anew."""


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as opened:
        yield opened


@pytest.fixture
def signed(sqlite_book: Settings, tmp_path: Path) -> Iterator[AuthBook]:
    made = open_auth_book(sqlite_book, tmp_path)
    yield made
    made.engine.dispose()


def text_of(answer: Any) -> str:
    return html.unescape(answer.get_data(as_text=True))


def held(opened: Opened) -> SiteSetting:
    return opened.reader.site_settings(opened.site.site_id)[-1]


def sent(client: Any, at: str = "/site", **typed: str) -> Any:
    return client.post(at, data=HELD | hidden_of(client.get(at).get_data(as_text=True)) | typed)


# -- in the book ---------------------------------------------------------------------------------------------------


def test_a_form_changes_the_setting_that_it_was_made_from_or_nothing(engine: sa.Engine, site: Site) -> None:
    reader = Reader(engine)
    (first,) = reader.site_settings(site.site_id)
    assert (first.author, first.why, first.site, len(first.leaf)) == ("tester", "", site, 64)
    form: Any = {"by": "Ana Wick", "now": LATER, "why": " it \0 is so ", "made_from": first.leaf}
    changed = set_site(engine, site, interval_months=6, rule=DecisionRule(Rule.GUARDED), **form)
    now = reader.site_settings(site.site_id)[-1]
    assert (now.site, now.author, now.why, now.recorded_at) == (changed, "Ana Wick", "it is so", LATER)
    with pytest.raises(OvertakenError, match=f"Ana Wick has set the site meanwhile, by entry {now.entry}"):
        set_site(engine, site, zone="Europe/Madrid", **form)
    for leaf in ("", "00" * 32):
        with pytest.raises(OtherVersionError, match="An older state of the book was put back"):
            set_site(engine, changed, zone="Europe/Madrid", **form | {"made_from": leaf})
    form["made_from"] = now.leaf
    with pytest.raises(ConflictError, match="set so already"):
        set_site(engine, changed, interval_months=6, **form)
    with pytest.raises(InvalidValueError, match="needs a reason"):
        set_site(engine, changed, interval_months=7, **form | {"why": "  "})
    with pytest.raises(InvalidValueError, match="needs the name"):
        set_site(engine, changed, interval_months=7, **form | {"by": " \u200b"})
    assert [one.entry for one in reader.site_settings(site.site_id)] == [first.entry, now.entry]
    # The rule stays where a later setting does not change it, and a command needs neither form nor reason.
    set_site(engine, changed, name="South Quay", by="Bo Tarn", now=LATER)
    last = reader.site_settings(site.site_id)[-1].site
    assert (last.name, last.rule, last.interval_months) == ("South Quay", DecisionRule(Rule.GUARDED), 6)
    with engine.connect() as connection:
        assert verify_book(connection).faults() == 0


def test_each_value_stands_with_the_entry_that_set_it_last() -> None:
    site = Site(1, "quay", "Quay", "UTC", Display())
    second = replace(site, display=Display("mil"), rule=DecisionRule(Rule.GUARDED, 0.975))
    settings = [
        SiteSetting(1, NOW, "A", "", site),
        SiteSetting(5, NOW, "B", "as asked", second),
        SiteSetting(9, LATER, "C", "back", replace(second, display=Display())),
        SiteSetting(11, LATER, "D", "", replace(second, display=Display())),
    ]
    view = build(settings)
    lines = {one.name: (one.value, one.entry, one.author, one.why) for one in view.lines}
    assert lines["Unit of length"] == ("mm", 9, "C", "back")
    assert lines["Decision rule"] == ("guarded, 97.5\u202f%", 5, "B", "as asked")
    assert lines["Name"] == ("Quay", 1, "A", "set when the site was made")
    assert "Code" not in lines
    assert [one.entry for one in view.versions] == [11, 9, 5, 1]
    assert view.versions[0].changes == ("the same again",)
    assert view.versions[1].changes == ("Unit of length: mm, before mil",)
    assert len(view.versions[3].changes) == len(view.lines) == 6


# -- the page ------------------------------------------------------------------------------------------------------


def test_the_form_sets_the_site_once_however_often_it_is_tapped(settings: Settings, tmp_path: Path) -> None:
    with open_book(settings, tmp_path) as opened:
        client = opened.app.server.test_client()
        page = text_of(client.get("/site"))
        for text in ("How Test Quay is set", "Europe/Lisbon", "Nothing that is recorded is converted", "each job of an imported list is undecided",
                     "the name is believed", 'href="/book/1"', "set when the site was made"):  # fmt: skip
            assert text in page
        data = HELD | hidden_of(page) | {"name": " South  Quay", "length": "mil", "rule": "guarded", "confidence": "97,5 %", "why": "sold"}  # fmt: skip
        first, second = (client.post("/site", data=data) for _ in range(2))
        now = held(opened)
        assert [one.headers["Location"] for one in (first, second)] == [f"/site?set={now.entry}"] * 2
        assert len(opened.reader.site_settings(opened.site.site_id)) == 2
        assert (now.site.name, now.site.display, now.site.rule) == ("South Quay", Display("mil"), DecisionRule(Rule.GUARDED, 0.975))  # fmt: skip
        assert (now.author, now.why) == ("Cy Vale", "sold")
        shown = text_of(client.get(f"/site?set={now.entry}"))
        assert f"This was set, by entry {now.entry}" in shown
        assert "Unit of length: mil, before mm" in shown
        assert "This was set" not in text_of(client.get("/site?set=1"))


def test_it_does_what_the_command_does(book: Opened, tmp_path: Path) -> None:
    other = Settings(book=str(tmp_path / "other.db"))
    asked = {"zone": "Europe/Madrid", "temperature": "°F", "interval": "6", "rule": "guarded", "confidence": "99.9"}
    assert sent(book.app.server.test_client(), why="as asked", **asked).status_code == 303
    told = ["--book", str(other.book), "--by", "Cy Vale"]
    assert main(["init", "--site", "Test Quay", "--zone", "Europe/Lisbon", *told]) == 0
    words = ["--zone", "Europe/Madrid", "--temperature", "F", "--interval", "6", "--rule", "guarded"]
    assert main(["site", *words, "--confidence", "99.9", "--why", "as asked", *told]) == 0
    engine = make_engine(other)
    there, here = Reader(engine).site_settings(1)[-1], held(book)
    engine.dispose()
    assert (there.site, there.author, there.why) == (here.site, here.author, here.why)
    assert there.site.rule == DecisionRule(Rule.GUARDED, 0.999)


@pytest.mark.parametrize(
    ("typed", "status", "told"),
    [
        ({}, 409, "the site is set so already"),
        ({"confidence": ""}, 409, "the site is set so already"),
        ({"rule": "guarded", "confidence": "50"}, 400, "above 50 % and below 100 %"),
        ({"rule": "guarded", "confidence": "100"}, 400, "above 50 % and below 100 %"),
        ({"rule": "guarded", "confidence": "nan"}, 400, "above 50 % and below 100 %"),
        ({"rule": "guarded", "confidence": "high"}, 400, "‘high’ is no confidence"),
        ({"rule": "guarded", "confidence": ""}, 400, "‘’ is no confidence"),
        ({"confidence": "90"}, 400, "Simple acceptance asks for no confidence"),
        ({"interval": "0"}, 400, "at least one month"),
        ({"interval": "1201"}, 400, "which are 1200 months"),
        ({"interval": "six"}, 400, "‘six’ is no interval"),
        ({"zone": "Europe/Berln"}, 400, "Near to it: Europe/Berlin"),
        ({"zone": ""}, 400, "is not a time zone"),
        ({"name": " -- "}, 400, "needs a name"),
        ({"name": "other works"}, 409, "already holds the site 'Other Works'"),
        ({"length": "cubit"}, 400, "in mm or mil"),
        ({"interval": "6", "why": " "}, 400, "needs a reason"),
        ({"interval": "6", "by": " "}, 400, "needs the name of who"),
        ({"interval": "6", "mark": "0" * 64}, 400, "not made for this browser"),
    ],
)
def test_what_is_refused_is_told_and_nothing_is_written(
    book: Opened, sqlite_book: Settings, typed: dict[str, str], status: int, told: str
) -> None:
    make_site(sqlite_book, name="Other Works")
    client, head = book.app.server.test_client(), book.reader.head()
    answer = sent(client, **({"why": "a very good reason"} | typed))
    assert (answer.status_code, told in text_of(answer)) == (status, True)
    assert book.reader.head() == head
    if typed.get("why", "x").strip():
        assert 'value="a very good reason"' in answer.get_data(as_text=True)


def test_what_somebody_else_set_meanwhile_is_told_and_the_form_cannot_be_sent_any_more(
    book: Opened, sqlite_book: Settings
) -> None:
    other = make_site(sqlite_book, name="Other Works")
    client = book.app.server.test_client()
    page = client.get("/site").get_data(as_text=True)
    data = HELD | hidden_of(page) | {"interval": "6", "why": "mine"}
    assert ">Set the site so<" in page
    set_site(book.reader.engine, book.site, zone="Europe/Madrid", by="Ana Wick", now=LATER, why="moved")
    now = held(book)
    answer = client.post("/site", data=data)
    text = text_of(answer)
    assert answer.status_code == 409
    assert f"Ana Wick has set the site meanwhile, by entry {now.entry}" in text
    assert 'value="mine"' in text
    assert ">Set the site so<" not in text
    # A form of one site sets no other, and one of a book that was put back sets nothing.
    for at, leaf in ((f"/site?site={other.code}", data["leaf"]), ("/site", "ab" * 32)):
        refused = client.post(at, data=data | {"leaf": leaf})
        assert (refused.status_code, "does not hold what this was made from" in text_of(refused)) == (409, True)
    assert held(book).entry == now.entry
    assert book.reader.site_settings(other.site_id)[-1].site.interval_months == 12


def test_the_way_there_stands_where_one_looks_for_it(signed: AuthBook) -> None:
    client = signed.signed_in(Role.READER)
    for key, path in (("book-body.children", "/book"), ("book-body.children", "/book/1"), ("limits-body.children", "/limits")):  # fmt: skip
        assert '"/site"' in fill(client, signed, key, path), path
    assert '"/site"' in fill(client, signed, "..shell-nav.children...shell-head.children..", "/due")


# -- who may -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", list(Role))
def test_all_see_how_the_site_is_set_and_its_administrators_set_it_in_their_own_name(
    signed: AuthBook, role: Role
) -> None:
    client, reader = signed.signed_in(role), Reader(signed.engine)
    page = text_of(client.get("/site"))
    assert "Europe/Lisbon" in page
    assert (">Set the site so<" in page, "An administrator of this site can change it" in page) == (
        role is Role.ADMINISTRATOR,
        role is not Role.ADMINISTRATOR,
    )
    answer = sent(client, interval="6", why="as asked", by="Somebody Else")
    now = reader.site_settings(signed.site.site_id)[-1]
    if role is not Role.ADMINISTRATOR:
        assert (answer.status_code, now.site.interval_months) == (403, 12)
        return
    assert (answer.status_code, now.site.interval_months, now.author, now.why) == (303, 6, "Adm Ine", "as asked")


def test_an_administrator_of_one_site_sees_another_that_they_may_read_and_sets_it_not(signed: AuthBook) -> None:
    second = make_site(Settings(book=str(signed.engine.url.database)), name="Other Quay")
    client, at = signed.signed_in(Role.ADMINISTRATOR), "/site?site=other-quay"
    data = hidden_of(client.get("/site").get_data(as_text=True)) | HELD | {"interval": "6", "why": "x"}
    assert client.post(at, data=data).status_code == 404
    reads = AtSite(second.site_id, "Adm Ine", roles=(Role.READER,))
    change_account(signed.engine, second, "adm.ine", reads, by="t", now=NOW)
    assert client.post(at, data=data).status_code == 403
    page = text_of(client.get(at))
    assert "How Other Quay is set" in page
    assert ">Set the site so<" not in page
    assert Reader(signed.engine).site_settings(second.site_id)[-1].site.interval_months == 12


def test_where_nothing_can_be_written_it_only_shows(sqlite_book: Settings, tmp_path: Path) -> None:
    with open_book(sqlite_book, tmp_path) as opened:
        client = create_app(sqlite_book, opened.reader, clock=lambda: NOW).server.test_client()
        page = text_of(client.get("/site"))
        assert "Europe/Lisbon" in page
        assert "This server only shows the book" in page
        assert sent(client, why="x", interval="6").status_code in {400, 404}
        assert client.get("/site?site=nowhere").status_code == 404
        assert held(opened).entry == 1


def test_an_empty_book_has_no_site_to_set(sqlite_book: Settings) -> None:
    engine = make_engine(sqlite_book)
    client = create_app(sqlite_book, Reader(engine), clock=lambda: NOW).server.test_client()
    assert client.get("/site").status_code == 404
    engine.dispose()
