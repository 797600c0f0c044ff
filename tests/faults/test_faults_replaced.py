"""A book whose file is taken away, moved or replaced, or that is upgraded, while somebody has it open: nothing goes in and gets lost."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.app import create_app
from dashboard.desk import BookDesk
from models.commands.backup import back_up
from models.commands.record_job import record_job
from models.errors import BookReplacedError, DriftbookError, WrongRevisionError
from models.settings import Settings
from models.store import course
from models.store.course import Course
from models.store.engine import make_engine
from models.store.reader import Reader
from models.store.readiness import readiness
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.recorder import job_of, machines
from tests.seeded import bring_in, contents

LATER = NOW + timedelta(minutes=1)


@dataclass
class Served:
    settings: Settings
    engine: sa.Engine
    site: Site
    client: Any

    def record(self, number: int) -> None:
        record_job(self.engine, self.site, job_of(0, number), by="tester", now=LATER, bolts_tight=True)

    def answers(self) -> tuple[int, str]:
        """Give the status of readiness, and what the Month page shows."""
        call = {
            "output": "month-body.children",
            "outputs": {"id": "month-body", "property": "children"},
            "inputs": [
                {"id": "shell-page", "property": "data", "value": "/"},
                {"id": "shell-url", "property": "search", "value": ""},
                {"id": "shell-scheme", "property": "data", "value": "light"},
            ],
            "changedPropIds": ["shell-url.pathname"],
        }
        page = self.client.post("/_dash-update-component", json=call)
        return self.client.get("/readyz").status_code, page.get_data(as_text=True)

    def is_refused(self, how: str, shown: str = "") -> None:
        with pytest.raises(BookReplacedError, match=how) as told:
            self.record(9)
        assert "-wal" in told.value.remedy
        for _ in range(2):
            ready, page = self.answers()
            assert ready == 503
            assert (shown or how) in page


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    folder = tmp_path / "place"
    folder.mkdir()
    settings = Settings(book=str(folder / "book.db"))
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(3))
    assert bring_in(engine, site, sheet).written
    app = create_app(
        settings, Reader(engine), clock=lambda: LATER, desk=BookDesk(engine), probe=lambda: readiness(engine, settings)
    )
    served = Served(settings, engine, site, app.server.test_client())
    served.record(0)
    ready, page = served.answers()
    assert ready == 200
    assert "while it was open" not in page
    yield served
    engine.dispose()


# -- the same file, another book in it -------------------------------------------------------------------------------


@pytest.fixture
def sure_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Look with every question: nobody waits here for half a second to pass."""
    monkeypatch.setattr(course, "SURE_S", 0.0)


def put_over(served: Served, other: Path) -> None:
    """Write another book over the open one, as cp does: the file stays the same for whoever has it open."""
    with closing(sqlite3.connect(served.settings.path)) as plain:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    before = served.settings.path.stat().st_ino
    shutil.copyfile(other, served.settings.path)
    assert served.settings.path.stat().st_ino == before


@pytest.mark.usefixtures("sure_at_once")
@pytest.mark.parametrize("goes_on", [False, True])
def test_an_older_state_that_is_written_over_the_open_book_is_refused(
    served: Served, tmp_path: Path, *, goes_on: bool
) -> None:
    older = Settings(book=str(tmp_path / "older.db"), key=served.settings.key_path)
    back_up(served.settings, served.engine, older.path)
    served.record(1)
    assert served.answers()[0] == 200
    if goes_on:  # by another job, to the same number of entries
        engine = make_engine(older)
        record_job(engine, served.site, job_of(0, 7), by="tester", now=LATER, bolts_tight=True)
        with closing(sqlite3.connect(older.path)) as plain:
            plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        engine.dispose()
    put_over(served, older.path)
    served.is_refused("was set back or exchanged while it was open", "an older one lies in it")


@pytest.mark.usefixtures("sure_at_once")
def test_a_book_that_others_write_to_goes_on(served: Served) -> None:
    engine = make_engine(served.settings)
    for number in (1, 3, 5):
        record_job(engine, served.site, job_of(0, number), by="tester", now=LATER, bolts_tight=True)
        served.record(number + 1)
        assert served.answers()[0] == 200
        with closing(sqlite3.connect(served.settings.path)) as plain:
            plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # the file itself is written
    engine.dispose()
    assert len(contents(served.engine)["job"]) == 7


def test_a_connection_that_keeps_pages_in_memory_does_not_look_at_those(served: Served, tmp_path: Path) -> None:
    """One connection alone, with all its pages in memory and nothing beside the file that would say that it was written to."""
    older = tmp_path / "older.db"
    back_up(served.settings, served.engine, older)
    served.record(1)
    kept = Course(served.settings)
    with closing(sqlite3.connect(served.settings.path)) as plain:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with served.engine.connect() as connection:
        kept.take(connection.exec_driver_sql("SELECT size, root FROM tree_head ORDER BY size DESC LIMIT 1").one())
        for _ in range(2):
            kept.read_anew(connection, writes=True)
            kept.look(connection, writes=True)
        connection.rollback()
        shutil.copyfile(older, served.settings.path)
        kept.read_anew(connection, writes=True)
        with pytest.raises(BookReplacedError, match="was set back"):
            kept.look(connection, writes=True)


def together(path: Path) -> list[Path]:
    return [path.with_name(path.name + end) for end in ("", "-wal", "-shm")]


def test_a_file_that_was_taken_away_takes_no_job_and_no_empty_book_comes_in_its_place(served: Served) -> None:
    for path in together(served.settings.path):
        path.unlink()
    served.is_refused("was taken away")
    faults: list[BaseException] = []

    def work(number: int) -> None:
        try:
            served.record(number)
        except DriftbookError as fault:
            faults.append(fault)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(10, 26)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(faults) == len(threads)
    assert not served.settings.path.exists()


def test_a_file_that_came_back_is_worked_with_again(served: Served, tmp_path: Path) -> None:
    aside = tmp_path / "aside"
    aside.mkdir()
    before = contents(served.engine)
    for path in together(served.settings.path):
        path.rename(aside / path.name)
    served.is_refused("was taken away")
    for path in aside.iterdir():
        path.rename(served.settings.path.with_name(path.name))
    assert served.answers()[0] == 200
    assert contents(served.engine) == before
    served.record(1)


def test_another_file_in_its_place_gets_nothing_and_is_not_shown(served: Served, tmp_path: Path) -> None:
    other = Settings(book=str(tmp_path / "other.db"))
    make_site(other, name="Another Quay")
    whole = other.path.read_bytes()
    for path in together(served.settings.path)[1:]:
        path.rename(tmp_path / f"aside{path.suffix}")
    shutil.move(other.path, served.settings.path)
    served.is_refused("was replaced by another file")
    served.engine.dispose()
    assert served.settings.path.read_bytes() == whole


def test_a_command_that_comes_after_opens_what_is_there_then(served: Served, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    back_up(served.settings, served.engine, copy)
    served.record(1)
    held = contents(served.engine)
    for path in together(served.settings.path):
        path.rename(tmp_path / f"aside-{path.name}")
    shutil.move(copy, served.settings.path)
    anew = make_engine(served.settings)
    assert contents(anew) != held
    record_job(anew, served.site, job_of(0, 2), by="tester", now=LATER, bolts_tight=True)
    anew.dispose()


@pytest.mark.parametrize("by", ["0001_the_book", "9999_of_tomorrow"])
def test_whoever_opened_the_book_before_an_upgrade_writes_nothing_into_it_after(
    engine: sa.Engine, site: Site, tmp_path: Path, by: str
) -> None:
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(1))
    assert bring_in(engine, site, sheet).written
    record_job(engine, site, job_of(0, 0), by="tester", now=LATER, bolts_tight=True)
    with engine.connect() as connection:
        there = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    turn(engine, by)
    before = contents(engine)
    with pytest.raises(WrongRevisionError, match=f"revision {by} by now") as told:
        record_job(engine, site, job_of(0, 1), by="tester", now=LATER, bolts_tight=True)
    assert "start it again" in told.value.remedy
    assert contents(engine) == before
    turn(engine, str(there))
    record_job(engine, site, job_of(0, 1), by="tester", now=LATER, bolts_tight=True)


def turn(engine: sa.Engine, revision: str) -> None:
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        connection.execute(sa.text("UPDATE alembic_version SET version_num = :to"), {"to": revision})
