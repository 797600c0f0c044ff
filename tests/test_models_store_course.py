"""The course of a book: what a restored database, or another book, looks like to whoever keeps what they read."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import sqlalchemy as sa

from models.errors import BookReplacedError
from models.settings import Settings
from models.store import course
from models.store.engine import make_engine
from models.store.reader import Reader
from models.store.unit import writing
from models.values.story import Site
from tests.conftest import NOW
from tests.kept_book import cut_off
from tests.test_models_store_unit import add_person


@pytest.fixture(autouse=True)
def _sure_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(course, "SURE_S", 0.0)


@pytest.fixture
def other(settings: Settings, engine: sa.Engine) -> Iterator[sa.Engine]:
    """Give the engine of who restores a database: the same address, another process."""
    del engine
    made = make_engine(settings)
    yield made
    made.dispose()


def set_back(other: sa.Engine, to: int) -> None:
    with other.connect().execution_options(write=True) as connection, connection.begin():
        cut_off(connection, to)


@pytest.mark.parametrize("keeps", ["history", "entries", "story"])
@pytest.mark.parametrize("again", [False, True], ids=["shorter", "as long, by other entries"])
def test_whoever_keeps_what_they_read_is_told_that_the_book_was_set_back(
    engine: sa.Engine, other: sa.Engine, site: Site, keeps: str, *, again: bool
) -> None:
    reader = Reader(engine)
    before = add_person(engine, site, "Ana Wick")
    add_person(engine, site, "Bo Lund")
    {
        "history": lambda: reader.history(site.site_id),
        "entries": lambda: reader.prepare(site.site_id),
        "story": lambda: reader.story(site.site_id, "none of that tag"),
    }[keeps]()
    set_back(other, before)
    if again:
        add_person(other, site, "Cy Orr")
    for _ in range(2):
        with pytest.raises(BookReplacedError, match="was set back or exchanged"):
            reader.history(site.site_id)
        with pytest.raises(BookReplacedError), writing(engine, site.site_id, "tester", NOW):
            pass
    assert Reader(other).head() == before + again


def test_what_was_written_just_before_is_known_by_the_next_question(
    engine: sa.Engine, other: sa.Engine, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(course, "SURE_S", 3600.0)
    reader = Reader(engine)
    reader.history(site.site_id)
    before = reader.head()
    add_person(engine, site, "Ana Wick")
    assert reader.head() > before
    set_back(other, before)
    with pytest.raises(BookReplacedError), writing(engine, site.site_id, "tester", NOW):
        pass


def test_who_keeps_nothing_asks_nothing(engine: sa.Engine, other: sa.Engine, site: Site) -> None:
    """A command writes what it has to, and ends: the revision and the numbers are asked for behind the lock all the same."""
    before = Reader(engine).head()
    add_person(engine, site, "Ana Wick")
    set_back(other, before)
    assert Reader(engine).head() == before
    assert add_person(engine, site, "Bo Lund") == before + 1
