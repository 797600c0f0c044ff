"""The first page of a new hour or day of a large book does not wait: it was prepared before."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import Any

import pytest

from dashboard import ahead, making
from dashboard.ahead import AHEAD_S, TURN_S, Ahead, until_work
from dashboard.app import create_app
from dashboard.context import context
from dashboard.kept import known
from dashboard.pages import due, month, offenders
from dashboard.views import offenders_view, plan_view
from dashboard.words import say
from models.settings import Settings
from tests.history_maker import NOW, made_book
from tests.test_dashboard_pictures import show, text, wait_for_whole, write_job


@pytest.mark.parametrize(("now_s", "wait_s"), [(0.0, 780.0), (779.0, 1.0), (780.0, 900.0), (900.0, 780.0)])
def test_work_begins_before_each_quarter(now_s: float, wait_s: float) -> None:
    assert until_work(now_s) == wait_s
    assert (now_s + wait_s + AHEAD_S) % TURN_S == 0.0


class Worker:
    def __init__(self) -> None:
        self.told: list[float] = []
        self.done = threading.Event()

    def work(self, later_s: float) -> None:
        self.told.append(later_s)
        if len(self.told) == 1:
            raise OSError("the disk is gone for a moment")
        self.done.set()


def threads() -> int:
    return sum(one.name == "driftbook-ahead" for one in threading.enumerate())


def test_it_goes_on_after_a_fault_and_ends_with_its_object(monkeypatch: pytest.MonkeyPatch) -> None:
    before = threads()
    said: list[str] = []
    monkeypatch.setattr(ahead.LOG, "exception", said.append)  # a record of the log would hold the object
    monkeypatch.setattr(ahead, "until_work", lambda _: 0.01)
    worker = Worker()
    work = Ahead(worker.work)
    for _ in range(3):
        work.begin()
    assert worker.done.wait(20)
    assert set(worker.told) == {AHEAD_S + 1.0}
    assert threads() == before + 1
    assert len(said) == 1
    del worker
    for _ in range(500):
        if threads() == before:
            break
        threading.Event().wait(0.01)
    assert threads() == before


@pytest.mark.parametrize("prepared", [True, False])
def test_pages_of_the_next_hour_and_day_find_what_they_need_also_after_a_job(
    monkeypatch: pytest.MonkeyPatch, prepared: bool
) -> None:
    monkeypatch.setattr("dashboard.picture.QUICK", 1)
    monkeypatch.setattr(making, "QUIET_S", 1e6)
    monkeypatch.setattr(making, "LONGEST_S", 1e6)
    made, now = made_book(assets=6), [NOW]
    app = create_app(Settings(book="x.book"), made, clock=lambda: now[0])
    with app.server.app_context():
        pictures = context().pictures
        wait_for_whole(pictures, made)
    for which, later in enumerate((timedelta(hours=1), timedelta(days=1))):
        if prepared:
            pictures.prepare(later.total_seconds())
        write_job(made, which)
        now[0] += later

        def anew(*_given: Any, **_named: Any) -> Any:
            raise AssertionError("made anew while a page waits")

        with monkeypatch.context() as apart:
            apart.setattr(plan_view, "_ground", anew)
            apart.setattr(offenders_view, "rank", anew)
            for page in (month, due) if later < timedelta(days=1) else (month, due, offenders):
                assert (say("error.title") in text(show(app, page))) is not prepared, page
    assert any(
        key[0] == "ground" for key in known(pictures.of(made, made.at_site.site_id).history) if isinstance(key, tuple)
    )
