"""What every page asks first, and that nothing is computed twice."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from dashboard.app import create_app
from dashboard.fetch import runs_for, scene
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
