"""What every page asks first, and that nothing is computed twice."""

import threading
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from dashboard.app import create_app
from dashboard.fetch import recheck_for, runs_for, scene, study_for
from dashboard.kept import MOST, keep
from models.settings import Settings
from tests.history_maker import MadeBook, made_book, site


def test_today_is_the_day_of_the_site_not_of_the_server() -> None:
    late = datetime(2026, 11, 18, 23, 30, tzinfo=UTC)
    book = MadeBook(at_site=replace(site(), zone="Pacific/Auckland"))
    app = create_app(Settings(book="x.book"), book, clock=lambda: late)
    with app.server.app_context():
        seen = scene("/", "")
    assert seen.today == date(2026, 11, 19)
    assert seen.now_us == int(late.timestamp() * 1e6)


def test_a_book_without_a_site_is_seen_as_such() -> None:
    app = create_app(Settings(book="x.book"), MadeBook(no_site=True))
    with app.server.app_context():
        seen = scene("/", "?site=x")
        assert seen.site is None
        with pytest.raises(LookupError):
            _ = seen.required


def test_runs_of_the_same_columns_are_computed_once() -> None:
    history = made_book(assets=4).history(1)
    other = made_book(assets=4).history(1)
    assert runs_for(history) is runs_for(history)
    assert runs_for(history) is not runs_for(other)
    for number in range(12):
        runs_for(made_book(assets=1, seed=number).history(1))
    assert len(runs_for(history)) > 0


def test_a_study_and_its_dates_are_computed_once_for_each_risk() -> None:
    history = made_book(assets=6).history(1)
    study = study_for(history)
    assert study_for(history) is study
    assert recheck_for(history, study.choices.risk) is study.recheck
    five, twenty = recheck_for(history, 0.05), recheck_for(history, 0.20)
    assert recheck_for(history, 0.05) is five
    assert (five.risk, twenty.risk) == pytest.approx((0.05, 0.20))


def test_two_readers_that_ask_at_once_compute_once() -> None:
    history = made_book(assets=1).history(1)
    begun, seen, calls = threading.Barrier(4), [], []

    def slow() -> object:
        calls.append(1)
        threading.Event().wait(0.05)
        return object()

    def ask() -> None:
        begun.wait()
        seen.append(keep(history, "slow", slow))

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(calls) == 1
    assert len({id(one) for one in seen}) == 1


def test_what_failed_is_tried_again_and_what_nobody_asks_for_goes() -> None:
    history = made_book(assets=1).history(1)

    def fail() -> int:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        keep(history, "value", fail)
    assert keep(history, "value", lambda: 3) == 3
    for number in range(MOST):
        keep(history, f"other {number}", lambda: 0)
    assert keep(history, "value", lambda: 4) == 4
