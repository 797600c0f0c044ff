"""The unit of work: whole or nothing, numbers without a gap, one writer at a time."""

from __future__ import annotations

import threading
import time
from datetime import datetime
from pathlib import Path

import pytest
import sqlalchemy as sa

from models.errors import BookBusyError
from models.settings import Settings
from models.store import engine as engines
from models.store import turns
from models.store.engine import make_engine
from models.store.turns import TURNS
from models.store.unit import insert_statement, writing
from models.tables.base import from_microseconds, to_microseconds
from models.tables.book import EntryRow
from models.tables.every import MAPPED
from models.tables.people import PersonRow, PersonVersionRow
from models.values.kinds import Kind
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.seeded import contents, seed


def add_person(engine: sa.Engine, site: Site, name: str) -> int:
    with writing(engine, site.site_id, "tester", NOW) as unit:
        entry = unit.append(Kind.PERSON_ADDED)
        unit.add(PersonRow, (entry, site.site_id, name))
        unit.add(PersonVersionRow, (entry, site.site_id, entry, name, "", True))
    return entry


def test_an_exception_leaves_nothing(engine: sa.Engine, site: Site) -> None:
    before = contents(engine)
    with pytest.raises(RuntimeError), writing(engine, site.site_id, "tester", NOW) as unit:  # noqa: PT012
        unit.append(Kind.PERSON_ADDED)
        unit.flush()
        raise RuntimeError
    assert contents(engine) == before


def test_a_rehearsal_leaves_nothing(engine: sa.Engine, site: Site) -> None:
    before = contents(engine)
    with writing(engine, site.site_id, "tester", NOW, rehearse=True) as unit:
        unit.append(Kind.PERSON_ADDED)
        unit.flush()
    assert contents(engine) == before


def test_many_writers_make_one_line_of_numbers(engine: sa.Engine, site: Site) -> None:
    faults: list[BaseException] = []

    def work(worker: int) -> None:
        try:
            for n in range(10):
                add_person(engine, site, f"{worker}-{n}")
        except BaseException as fault:  # noqa: BLE001 - told to the test's own thread
            faults.append(fault)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults
    numbers = sorted(int(str(row[0])) for row in contents(engine)["entry"])
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(contents(engine)["person"]) == 60


def test_a_busy_book_says_so(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    site = make_site(settings)
    monkeypatch.setattr(engines, "BUSY_MS", 50)
    first, second = make_engine(settings), make_engine(settings)
    with writing(first, site.site_id, "a", NOW), pytest.raises(BookBusyError, match="busy"):
        add_person(second, site, "b")
    first.dispose()
    second.dispose()


def test_whoever_comes_when_all_places_are_taken_is_told_at_once_that_the_book_is_busy(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(turns, "SOON_S", 0.05)
    monkeypatch.setattr(TURNS, "most", 2)
    site = make_site(settings)
    first, second = make_engine(settings), make_engine(settings)
    told: list[BaseException] = []

    def wait() -> None:
        try:
            add_person(second, site, "waited")
        except BaseException as fault:  # noqa: BLE001 - told to the test's own thread
            told.append(fault)

    waiter = threading.Thread(target=wait)
    with writing(first, site.site_id, "a", NOW):
        waiter.start()
        while TURNS.taken < 2:
            time.sleep(0.01)
        began = time.monotonic()
        with pytest.raises(BookBusyError, match="busy"):
            add_person(second, site, "refused")
        assert time.monotonic() - began < engines.BUSY_MS / 1000 / 2
    waiter.join()
    assert not told
    assert [row[2] for row in contents(first)["person"]] == ["waited"]
    add_person(second, site, "later")
    assert TURNS.taken == 0
    first.dispose()
    second.dispose()


def test_the_reader_sees_nothing_of_an_open_transaction(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    before = contents(engine)
    with writing(engine, site.site_id, "tester", NOW) as unit:
        entry = unit.append(Kind.PERSON_ADDED)
        unit.add(PersonRow, (entry, site.site_id, "unseen"))
        unit.flush()
        assert contents(engine) == before
    assert len(contents(engine)["person"]) == len(before["person"]) + 1


def test_plain_inserts_name_every_column_in_order(engine: sa.Engine) -> None:
    for row in MAPPED:
        statement = insert_statement(row, engine.dialect)
        for column in row.__table__.columns:
            assert column.name in statement
    assert insert_statement(EntryRow, engine.dialect).startswith("INSERT INTO entry (number, site_id, at_us, ")


def test_moments_are_exact_to_the_microsecond_and_need_a_zone() -> None:
    moment = datetime.fromisoformat("1999-12-31T23:59:59.999999+05:30")
    assert from_microseconds(to_microseconds(moment)) == moment
    with pytest.raises(ValueError, match="without a zone"):
        to_microseconds(datetime(2026, 1, 1))  # noqa: DTZ001 - that is the point
