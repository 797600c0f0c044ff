"""A real streaming replica: pages are read from it, and what happens when it is behind, killed, back, or none of this book."""

from __future__ import annotations

import itertools
import logging
import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.desk import BookDesk
from dashboard.ids import RecordIds
from dashboard.pages import book, offenders, record
from models.errors import InvalidValueError
from models.settings import Settings, read_settings
from models.store import replica as replicas
from models.store.engine import REPLICA_S, make_engine
from models.store.reader import Reader
from models.store.readiness import readiness
from models.store.replica import Replica, Standing
from models.store.revision import upgrade
from models.store.silence import ASK_S
from tests.conftest import make_site
from tests.record_book import Opened, open_book
from tests.replica_servers import Servers, servers
from tests.test_dashboard_pages import fill, text_of
from tests.test_dashboard_pages_record import Form, results

pytestmark = pytest.mark.skipif(
    "DRIFTBOOK_TEST_PG_URL" in os.environ or os.name == "nt",
    reason="a replica is made of a server whose files are at hand",
)
_numbers = itertools.count(1)
TEMPLATE = "driftbook_template"


@pytest.fixture(scope="module")
def both() -> Iterator[Servers]:
    with servers() as made:
        made.ask("main", f"CREATE DATABASE {TEMPLATE}")
        upgrade(Settings(book=made.url("main", TEMPLATE)))
        yield made


class Plant:
    """An invented book on the main server, its replica, and the application that reads from it."""

    def __init__(self, book: Opened, settings: Settings, main: sa.Engine, both: Servers) -> None:
        self.book, self.both = book, both
        there = settings.replica
        assert there is not None
        both.caught_up()
        self.replica = Replica(book.reader, there)
        self.book.app = create_app(
            settings, book.reader, clock=book.clock, desk=BookDesk(main), replica=self.replica,
            probe=lambda: readiness(main, settings),
        )  # fmt: skip
        self.asked: dict[str, list[str]] = {"main": [], "copy": []}
        for name, engine in (("main", main), ("copy", self.replica._engine)):
            self._count(name, engine)

    def _count(self, name: str, engine: sa.Engine) -> None:
        @sa.event.listens_for(engine, "before_cursor_execute")
        def _keep(_c: object, _u: object, statement: str, *_: object) -> None:
            self.asked[name].append(statement)

    def client(self, browser: str = "one") -> FlaskClient:
        client = self.book.app.server.test_client()
        client.environ_base["HTTP_USER_AGENT"] = browser
        return client

    def page(self, client: FlaskClient, search: str = "", path: str = "/book") -> str:
        page = {"/book": book, "/offenders": offenders, "/record": record}[path]
        return str(text_of(fill(client, page, path, search)))

    def record(self, client: FlaskClient) -> int:
        form = Form(self.book, "?asset=P-2")
        form.client = client
        answer = form.send(form.fields() | results())
        return int(answer["sideUpdate"][RecordIds.HANDED]["data"]["entry"])

    def questions(self, name: str) -> int:
        """Give how many questions about machines and jobs a server was asked; and forget them."""
        asked = [one for one in self.asked[name] if " job" in one or " asset_version" in one]
        self.asked[name].clear()
        return len(asked)


@pytest.fixture
def plant(both: Servers, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Plant]:
    monkeypatch.setattr(replicas, "AGAIN_S", 0.0)
    monkeypatch.setattr("dashboard.copies.PATIENCE_S", 0.2)
    name = f"book_{next(_numbers)}"
    both.ask("main", f"CREATE DATABASE {name} TEMPLATE {TEMPLATE}")
    settings = Settings(
        book=both.url("main", name), mappings=tmp_path / "mappings", key=tmp_path / "k", cache="off",
        read_from=both.url("copy", name),
    )  # fmt: skip
    with open_book(settings, tmp_path) as opened:
        made = Plant(opened, settings, opened.reader.engine, both)
        yield made
        # A thread that still reads for a picture gives its connection back to nobody, once the engine is closed.
        for thread in threading.enumerate():
            if thread.name == "driftbook-picture":
                thread.join(30)
        made.replica.close()


def test_what_only_shows_is_read_from_the_replica_and_the_rest_from_the_main_server(plant: Plant) -> None:
    client = plant.client()
    plant.page(client)
    assert plant.questions("copy") > 0
    assert plant.questions("main") == 0
    assert client.get("/report/asset/P-2.pdf").status_code == 200
    assert client.get("/table/entries.csv").status_code == 200
    assert plant.questions("copy") > 0
    assert plant.questions("main") == 0
    form = Form(plant.book, "?asset=P-2")
    assert "Bo Tarn" in form.body()
    assert client.get("/report/sheet/P-2.pdf").status_code == 200
    assert client.get("/api/v1/assets").status_code in {200, 401}
    assert plant.questions("copy") == 0
    assert plant.questions("main") > 0
    entry = plant.record(client)
    assert plant.questions("copy") == 0
    plant.both.caught_up()
    assert f"/book/{entry}" in plant.page(client)


def test_a_page_says_up_to_which_entry_it_shows_and_what_became_of_an_own_job(plant: Plant) -> None:
    mine, other = plant.client("mine"), plant.client("other")
    before = plant.book.reader.head()
    plant.both.ask("copy", "SELECT pg_wal_replay_pause()")
    try:
        entry = plant.record(mine)
        seen = plant.page(mine)
        assert f"Your entry {entry} is in the book" in seen
        assert f"has come to entry {before}" in seen
        assert f"shows the book up to entry {before} of {entry}" in plant.page(other)
        assert "shows the book up to entry" in plant.page(other, path="/offenders")
        assert f"Recorded as entry {entry}" in plant.page(mine, f"?asset=P-2&saved={entry}", "/record")
    finally:
        plant.both.ask("copy", "SELECT pg_wal_replay_resume()")
    plant.both.caught_up()
    for client in (mine, other):
        seen = plant.page(client)
        assert "a copy of the book" not in seen
        assert f"/book/{entry}" in seen


def test_the_first_page_after_a_job_waits_a_moment_for_the_replica(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dashboard.copies.PATIENCE_S", 20.0)
    client = plant.client()
    entry = plant.record(client)
    seen = plant.page(client)
    assert f"/book/{entry}" in seen
    assert "a copy of the book" not in seen


def test_a_killed_replica_is_done_without_and_used_again_when_it_is_back(
    plant: Plant, caplog: pytest.LogCaptureFixture
) -> None:
    client = plant.client()
    plant.page(client)
    assert client.get("/readyz").get_json() == {
        "ready": True, "book": True, "revision": True, "writable": True, "replica": True
    }  # fmt: skip
    assert f"driftbook_replica_entries {plant.book.reader.head()}\n" in client.get("/metrics").text
    plant.both.stop("copy")
    try:
        plant.questions("copy"), plant.questions("main")
        with caplog.at_level(logging.WARNING):
            seen = plant.page(client, "?units=mil")  # the same question would be answered from what was kept
        assert "imported" in seen
        assert "a copy of the book" not in seen
        assert "The book is away" not in caplog.text
        assert plant.questions("main") > 0
        assert "is not used, all is read from the book's own server" in caplog.text
        answer = client.get("/readyz")
        assert answer.status_code == 200
        assert answer.get_json()["replica"] is False
        assert "driftbook_replica_used 0\n" in client.get("/metrics").text
        entry = plant.record(client)
        assert f"/book/{entry}" in plant.page(client)
    finally:
        plant.both.start("copy")
    plant.both.caught_up()
    plant.questions("copy"), plant.questions("main")
    assert f"/book/{entry}" in plant.page(client, "?units=mil")
    assert plant.questions("copy") > 0
    assert client.get("/readyz").get_json()["replica"] is True


def test_a_frozen_replica_is_left_after_a_moment(plant: Plant, caplog: pytest.LogCaptureFixture) -> None:
    client = plant.client()
    plant.page(client)
    began = time.monotonic()
    with plant.both.frozen("copy"), caplog.at_level(logging.WARNING):
        assert "imported" in plant.page(client, "?units=mil")
        assert client.get("/readyz").status_code == 200
        took = time.monotonic() - began
        again = time.monotonic()
        assert "imported" in plant.page(client, "?units=mm")
        took_again = time.monotonic() - again
    assert took < 4 * (REPLICA_S + ASK_S)
    assert took_again < took
    assert "is not used, all is read from the book's own server" in caplog.text
    assert "The book is away" not in caplog.text


def test_a_replica_that_dies_in_the_middle_of_a_request_costs_nobody_an_answer(
    plant: Plant, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    client = plant.client()
    plant.page(client)
    head = plant.book.reader.head()
    plant.both.stop("copy")
    # As if it had answered a moment ago: the request begins on it and finds it gone.
    monkeypatch.setattr(Replica, "look", lambda _self: Standing(head, head))
    try:
        for page in (offenders, book):
            answer = fill(client, page, page.PATH, "?units=mil")
            assert answer.status_code == 200
            assert "does not answer" not in text_of(answer)
            assert "sideUpdate" not in answer.get_json()
        assert "The book is away" not in caplog.text, "it is the replica that is away"
        assert client.get("/table/entries.csv").status_code == 200
        assert client.get("/report/asset/P-2.pdf").status_code == 200
        assert plant.questions("main") > 0
    finally:
        plant.both.start("copy")


def test_without_the_main_server_pages_go_on_showing_and_say_so(plant: Plant) -> None:
    client = plant.client()
    plant.page(client)
    head = plant.book.reader.head()
    plant.both.stop("main")
    try:
        seen = plant.page(client, "?units=mil")
        assert "imported" in seen
        assert (
            f"server does not answer. This page is read from a copy of the book and shows it up to entry {head};"
            in seen
        )
        assert client.get("/readyz").status_code == 503
    finally:
        plant.both.start("main")
    assert "does not answer" not in plant.page(client, "?units=mil")
    entry = plant.record(client)
    plant.both.caught_up()
    assert f"/book/{entry}" in plant.page(client)


def test_pages_of_a_large_book_are_pictures_of_the_server_that_they_are_read_from(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A picture of one server must not be held against the entries of the other: it would be made again without end."""
    monkeypatch.setattr("dashboard.picture.QUICK", 5)
    made: list[str] = []
    for name, book_of in (("main", plant.book.reader), ("copy", plant.replica.book)):
        monkeypatch.setattr(book_of, "history", _noted(book_of.history, made, name))
    client = plant.client()
    before = plant.book.reader.head()
    _until(lambda: "P-2" in plant.page(client, path="/offenders"))
    assert set(made) == {"copy"}
    plant.both.ask("copy", "SELECT pg_wal_replay_pause()")
    entry = plant.record(client)
    assert f"Your entry {entry} is in the book" in plant.page(client, path="/offenders")
    made.clear()
    time.sleep(0.3)
    assert made == []  # nothing is made anew while nothing comes
    plant.both.stop("copy")
    try:
        _until(lambda: "P-2" in plant.page(client, path="/offenders"))
        assert set(made) <= {"main"}
        assert plant.questions("main") > 0
        assert "a copy of the book" not in plant.page(client, path="/offenders")
    finally:
        plant.both.start("copy")
    plant.both.caught_up()
    _until(lambda: "up to entry" not in plant.page(client, path="/offenders"))
    standing = plant.replica.look()
    assert standing == Standing(entry, entry)
    assert entry > before


def _noted(ask: Callable[[int], Any], into: list[str], name: str) -> Callable[[int], Any]:
    def asked(site_id: int) -> Any:
        into.append(name)
        return ask(site_id)

    return asked


def _until(holds: Callable[[], bool]) -> None:
    until = time.monotonic() + 30
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.05)


@pytest.mark.parametrize(
    ("address", "told"),
    [
        (lambda both, _name: both.url("copy", "other_book"), "It holds another book"),
        (lambda both, _name: both.url("copy", TEMPLATE), "It holds no head of the book yet"),
        (lambda both, name: both.url("main", name), "It takes writing by itself"),
    ],
    ids=["another book", "an empty book", "no replica"],
)
def test_what_is_no_replica_of_this_book_is_not_read(
    plant: Plant, tmp_path: Path, caplog: pytest.LogCaptureFixture, address: Callable[..., str], told: str
) -> None:
    both = plant.both
    if "other" in told or "another" in told:
        both.ask("main", "DROP DATABASE IF EXISTS other_book")
        both.ask("main", f"CREATE DATABASE other_book TEMPLATE {TEMPLATE}")
        with open_book(Settings(book=both.url("main", "other_book"), key=tmp_path / "o"), tmp_path, units="mil"):
            pass
        both.caught_up()
    name = str(sa.make_url(plant.book.reader.engine.url).database)
    found = Replica(plant.book.reader, Settings(book=address(both, name)))
    with caplog.at_level(logging.WARNING):
        assert found.look() is None
        assert found.look() is None
    assert told in caplog.text
    assert caplog.text.count(told) == 1  # said once, not at each request
    found.close()


def test_a_replica_that_was_set_back_is_not_read(plant: Plant, caplog: pytest.LogCaptureFixture) -> None:
    assert plant.replica.look() is not None
    plant.replica._seen += 5
    with caplog.at_level(logging.WARNING):
        assert plant.replica.look() is None
    assert "gone back" in caplog.text
    plant.replica._seen -= 5
    assert plant.replica.look() is not None


def test_only_one_request_waits_for_a_replica_that_is_tried_again(plant: Plant) -> None:
    plant.replica._used = False
    assert plant.replica._trying.acquire(blocking=False)
    assert plant.replica.look() is None
    plant.replica._trying.release()
    assert plant.replica.look() is not None


def test_writing_on_the_replica_is_refused_whatever_it_is(plant: Plant) -> None:
    with pytest.raises(Exception, match="read-only"), plant.replica._engine.begin() as connection:
        connection.exec_driver_sql("INSERT INTO site (id, code) VALUES (9, 'x')")


def test_a_replica_that_is_away_at_the_start_is_told_once_and_as_the_replica(
    sqlite_book: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    found = Replica(
        Reader(engine), Settings(book="postgresql://127.0.0.1:9/plant")
    )  # the port of 'discard': nobody listens
    with caplog.at_level(logging.INFO, logger="driftbook.replica"):
        assert found.look() is None
    found.close()
    engine.dispose()
    (said,) = [record.getMessage() for record in caplog.records if record.name == "driftbook.replica"]
    assert said.startswith(
        "The replica postgresql://127.0.0.1:9/plant is not used, all is read from the book's own server: "
    )
    assert "of the book does not answer" not in said


def test_only_a_book_on_a_server_has_a_replica(tmp_path: Path) -> None:
    there = read_settings("postgresql://h/a", environ={"DRIFTBOOK_READ_FROM": " postgresql://h2/a "}).replica
    assert there is not None
    assert there.url == "postgresql+psycopg://h2/a"
    assert read_settings("postgresql://h/a", environ={}).replica is None
    for address, read_from in ((str(tmp_path / "a.db"), "postgresql://h/a"), ("postgresql://h/a", "b.db")):
        with pytest.raises(InvalidValueError, match="replica"):
            _ = Settings(book=address, read_from=read_from).replica


def test_a_promoted_replica_is_left(both: Servers, plant: Plant, caplog: pytest.LogCaptureFixture) -> None:
    """The last test of this file: afterwards the two servers are two books."""
    client = plant.client()
    plant.page(client)
    both.promote()
    plant.questions("copy"), plant.questions("main")
    with caplog.at_level(logging.WARNING):
        assert "imported" in plant.page(client, "?units=mil")
    assert "It takes writing by itself" in caplog.text
    assert plant.questions("main") > 0
