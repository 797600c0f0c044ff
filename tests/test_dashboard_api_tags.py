"""An entity tag of the interface names what is answered: also what changes without an entry."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any, cast

import pytest

from dashboard import making
from dashboard.api import reads, routes
from dashboard.api.access import Caller
from dashboard.context import KEY, Context
from dashboard.pictures import Pictures
from dashboard.views.asset_forecast_view import build_forecast
from models.settings import Settings
from models.values.roles import Account, AtSite, Role
from tests.conftest import make_site
from tests.fuzz.api_book import API, JOB, Program, bearer, tokened

SHOWING_ESTIMATES = ("/due?within=3660", "/assets/P-2")


@pytest.fixture
def program(sqlite_book: Settings, tmp_path: Path) -> Iterator[Program]:
    with tokened(sqlite_book, tmp_path) as (opened, secret):
        yield Program(opened, secret)


def answer(program: Program, path: str, tag: str = "") -> Any:
    held = {"If-None-Match": tag} if tag else {}
    return program.opened.app.server.test_client().get(API + path, headers=bearer(program.secret, **held))


def pictures_of(program: Program) -> Pictures:
    return cast("Context", program.opened.app.server.config[KEY]).pictures


def test_an_answer_with_dates_that_are_not_the_last_word_bears_a_tag_of_its_own(
    program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new job shows at once, while averages are those of before: who sent that tag later was told that nothing had changed."""
    monkeypatch.setattr(
        Pictures, "_start", lambda *_: None
    )  # the thread that makes the whole study: here it works when it is told
    answer(program, "/due")
    assert program.post("/jobs", {"job": JOB}).status_code == 201
    at_once = {path: answer(program, path) for path in SHOWING_ESTIMATES}
    for path, told in at_once.items():
        assert told.get_json()["estimates_head"] < told.get_json()["head"]
        assert answer(program, path, told.headers["ETag"]).status_code == 304
    monkeypatch.setattr(making, "QUIET_S", 0.0)
    pictures, book, site_id = pictures_of(program), program.opened.reader, program.opened.site.site_id
    pictures._make(book, site_id, pictures._held(site_id), threading.Event())
    for path, told in at_once.items():
        followed = answer(program, path, told.headers["ETag"])
        assert followed.status_code == 200
        assert followed.get_json()["estimates_head"] == followed.get_json()["head"] == told.get_json()["head"]
        assert answer(program, path, followed.headers["ETag"]).status_code == 304


def test_chances_are_those_of_the_hour_that_the_tag_names(program: Program, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def build(*given: Any, now_us: int, **named: Any) -> Any:
        asked.append(now_us)
        return build_forecast(*given, now_us=now_us, **named)

    monkeypatch.setattr(reads, "build_forecast", build)
    first = {path: answer(program, path) for path in (*SHOWING_ESTIMATES, "/assets")}
    program.opened.now += timedelta(minutes=59)
    for path, told in first.items():
        same = answer(program, path)
        assert (same.headers["ETag"], same.get_json()) == (told.headers["ETag"], told.get_json())
    assert len(set(asked)) == 1, "this book has no forecast: the moment for which it is asked tells"
    program.opened.now += timedelta(minutes=1)
    statuses = {path: answer(program, path, told.headers["ETag"]).status_code for path, told in first.items()}
    assert statuses == {"/due?within=3660": 200, "/assets/P-2": 200, "/assets": 304}


def test_the_sites_of_one_account_are_not_those_of_another(
    program: Program, sqlite_book: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, other = program.opened.site.site_id, make_site(sqlite_book, name="Other Quay").site_id
    tags = []
    for roles in ((first,), (first, other)):
        account = Account(1, "ana", {site: AtSite(site, "Ana Wick", roles=(Role.READER,)) for site in roles})
        monkeypatch.setattr(routes, "who_asks", lambda _engine, account=account: Caller(account=account))
        given = answer(program, "/sites")
        assert len(given.get_json()["items"]) == len(roles)
        tags.append(given.headers["ETag"])
    assert tags[0] != tags[1]


def test_what_is_written_while_an_answer_is_made_stands_under_no_tag_of_after_it(
    program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A setting that was read before an entry stood under the tag of after it, and stayed with whoever asked."""
    from models.commands.set_site import set_site

    opened = program.opened
    read = type(opened.reader).sites

    def sites(self: Any) -> Any:
        found = read(self)
        monkeypatch.undo()
        set_site(opened.reader.engine, opened.site, interval_months=6, by="tester", now=opened.now)
        return found

    monkeypatch.setattr(type(opened.reader), "sites", sites)
    old = answer(program, "/due?by=rule")
    assert old.get_json()["interval_months"] == 12
    new = answer(program, "/due?by=rule", old.headers["ETag"])
    assert (new.status_code, new.get_json()["interval_months"]) == (200, 6)
