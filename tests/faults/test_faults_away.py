"""A database server that is stopped, frozen, or takes no writing, under a running server: who is told what, and what is logged."""

from __future__ import annotations

import itertools
import json
import os
import signal
import socket
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.api.operations import ABOUT, PREFIX
from dashboard.app import create_app
from dashboard.auth.access import Access
from dashboard.away import away_of
from dashboard.context import system_clock
from dashboard.ids import RecordIds, Shell
from dashboard.words import say
from models.errors import (
    BookBusyError,
    BookCrowdedError,
    BookReplacedError,
    BookStateError,
    BookUnreachableError,
    NoRoomError,
)
from models.settings import Pool, Settings
from models.store import tokens
from models.store.engine import make_engine
from models.store.pool import pool_use
from models.store.reader import Reader
from models.store.readiness import readiness
from models.store.revision import upgrade
from models.store.roles import within_rights
from models.store.silence import ASK_S, SILENT_S, Attention, answers
from models.store.watch import AGAIN_S, Watch
from models.values.roles import Role
from tests.auth_book import PASSWORD, AuthBook, callback_body, enter, mark_of
from tests.auth_book import open_book as open_auth_book
from tests.conftest import NOW
from tests.faults.conftest import Disk
from tests.faults.test_faults_server import served
from tests.history_maker import MadeBook
from tests.replica_servers import PORTS, Servers, servers

pytestmark = pytest.mark.skipif(
    "DRIFTBOOK_TEST_PG_URL" in os.environ or os.name == "nt",
    reason="a server that is stopped is one whose files are at hand",
)
_numbers = itertools.count(1)
TEMPLATE = "driftbook_template"
HTML = {"Accept": "text/html"}


@pytest.fixture(scope="module")
def database() -> Iterator[Servers]:
    with servers(copy=False) as made:
        made.ask("main", f"CREATE DATABASE {TEMPLATE}")
        upgrade(Settings(book=made.url("main", TEMPLATE)))
        yield made


@dataclass
class Plant:
    """A book with accounts on a database server of its own, and a program's token."""

    database: Servers
    settings: Settings
    book: AuthBook
    token: str

    @contextmanager
    def away(self) -> Iterator[None]:
        self.database.stop("main", "fast")
        try:
            yield
        finally:
            self.database.start("main")


@pytest.fixture
def plant(database: Servers, tmp_path: Path) -> Iterator[Plant]:
    name = f"book_{next(_numbers)}"
    database.ask("main", f"CREATE DATABASE {name} TEMPLATE {TEMPLATE}")
    settings = Settings(
        book=database.url("main", name), mappings=tmp_path / "mappings", key=tmp_path / "k", cache="off"
    )
    book = open_auth_book(settings, tmp_path, passwords=True)
    login = book.accounts[Role.RECORDER].login
    token = tokens.make_token(
        book.engine, book.site.site_id, login=login, name="press", roles=[Role.RECORDER], now=NOW
    )[0]
    yield Plant(database, settings, book, token)
    book.engine.dispose()


@dataclass(frozen=True)
class Answer:
    status: int
    text: str
    headers: Any
    seconds: float

    @property
    def said(self) -> Any:
        return json.loads(self.text)


def ask(address: str, headers: dict[str, str] | None = None, body: object = None) -> Answer:
    data = None if body is None else json.dumps(body).encode()
    given = {"Content-Type": "application/json"} | (headers or {})
    began = time.monotonic()
    try:
        with urllib.request.urlopen(urllib.request.Request(address, data, given), timeout=60) as answer:
            status, text, sent = answer.status, answer.read().decode(), answer.headers
    except urllib.error.HTTPError as refused:
        with refused:
            status, text, sent = refused.code, refused.read().decode(), refused.headers
    return Answer(status, text, sent, time.monotonic() - began)


@dataclass(frozen=True)
class Running:
    """A server of the book as a process of its own: its address, what a browser and a program send, and its log when it has ended."""

    address: str
    browser: dict[str, str]
    program: dict[str, str]
    log: list[str]

    def page(self, path: str = "/book") -> Answer:
        return ask(f"{self.address}{path}", self.browser | HTML)

    def monitor(self, path: str, headers: dict[str, str] | None = None) -> Answer:
        return ask(f"{self.address}{path}", headers)

    def api(self, path: str, body: object = None) -> Answer:
        return ask(f"{self.address}{PREFIX}{path}", self.program, body)

    def told(self, words: str) -> list[str]:
        return [line for line in self.log if words in line]


@contextmanager
def running(plant: Plant) -> Iterator[Running]:
    environ = {"DRIFTBOOK_KEY": str(plant.settings.key), "DRIFTBOOK_CACHE": "off"}
    command = ("-m", "dashboard.cli", "serve", "--book", plant.settings.book, "--port", "0", "--log", "text")
    with served(*command, environ=environ) as (process, address):
        session = Access(plant.book.engine, system_clock).open(plant.book.accounts[Role.ENGINEER], "127.0.0.1", "in")
        made = Running(address, {"Cookie": f"driftbook={session}"}, {"Authorization": f"Bearer {plant.token}"}, [])
        yield made
        process.send_signal(signal.SIGTERM)
        made.log.extend(process.communicate(timeout=60)[1].splitlines())


def callback(plant: Plant, output: str) -> dict[str, Any]:
    return callback_body(plant.book.app, output)


def test_a_database_that_is_away_is_503_for_everybody_and_two_lines_in_the_log(plant: Plant) -> None:
    with running(plant) as server:
        assert server.page().status == 200
        assert server.api("/sites").status == 200
        with plant.away():
            for headers in (None, server.browser):
                alive = server.monitor("/healthz", headers)
                assert (alive.status, alive.said) == (200, {"well": True})
                ready = server.monitor("/readyz", headers)
                assert ready.status == 503
                assert ready.said == {"ready": False, "book": False, "revision": False, "writable": False}
            assert server.monitor("/assets/driftbook.css", server.browser).status == 200
            pages = [server.page(), server.page("/"), server.page("/sign-in"), server.page("/table/due.csv")]
            programs = [server.api("/sites"), server.api("/due"), server.api("/jobs", JOB)]
            callbacks = [
                ask(f"{server.address}/_dash-update-component", server.browser, callback(plant, f"{one}.children"))
                for one in ("book-body", RecordIds.ANSWER)
            ]
            figures = server.monitor("/metrics").text
        back = server.page()
        assert back.status == 200, "the first request after the start is answered"
        assert server.api("/sites").status == 200
    for answer in (*pages, *programs):
        assert answer.status == 503
        assert int(answer.headers["Retry-After"]) > 0
    for answer in programs:
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert (answer.said["code"], answer.said["detail"]) == ("book-away", say("away.gone"))
    for answer in pages:
        assert say("away.gone") in answer.text
    assert [answer.status for answer in callbacks] == [200, 200], "503 would have the page load itself again for ever"
    for answer, name in zip(callbacks, ("book-body", RecordIds.ANSWER), strict=True):
        assert answer.said["sideUpdate"] == {Shell.NOTICE: {"children": say("away.gone")}}
        assert say("away.gone") in json.dumps(answer.said["response"][name]["children"])
    assert say("away.kept") in callbacks[1].text
    for answer in (*pages, *programs, *callbacks):
        assert "PGSQL" not in answer.text
        assert str(plant.database.folder) not in answer.text
    for answer in (*pages, *programs, callbacks[0]):
        assert "form" not in answer.text.replace("format", "").replace("form-action", "").replace("</form", "").replace(
            "<form", ""
        )
    assert 'driftbook_requests_total{kind="interface",status="5xx"} 3' in figures
    assert "driftbook_book_reachable 0" in figures
    away, back_again = server.told("The book is away"), server.told("The book is back")
    assert (len(away), len(back_again)) == (1, 1), server.log
    assert all("WARNING driftbook.book" in line for line in (*away, *back_again))
    assert str(plant.database.folder) in away[0], "whoever runs the server is told which database"
    assert not server.told("Traceback")
    assert not server.told("ERROR")


def test_a_frozen_database_keeps_neither_monitors_nor_all_pages_waiting(plant: Plant) -> None:
    with running(plant) as server:
        assert server.page().status == 200
        with plant.database.frozen("main"):
            alive, ready = server.monitor("/healthz", server.browser), server.monitor("/readyz")
            assert (alive.status, ready.status) == (200, 503)
            assert alive.seconds < 1.0
            assert ready.seconds < 5.0
            came: list[Answer] = []
            askers = [threading.Thread(target=lambda: came.append(server.page())) for _ in range(20)]
            for asker in askers:
                asker.start()
            for asker in askers:
                asker.join(60)
            later = [server.page(), server.api("/sites"), server.monitor("/healthz"), server.monitor("/readyz")]
        assert [answer.status for answer in came] == [503] * 20
        # One that finds the line silent waits for it and asks; the eight threads do so side by side, and then all are told at once.
        assert max(answer.seconds for answer in came) < 3 * (SILENT_S + ASK_S)
        assert [answer.status for answer in later] == [503, 503, 200, 503]
        until = time.monotonic() + 30
        while server.page().status != 200:
            assert time.monotonic() < until, "it does not come back"
            time.sleep(0.2)
    assert len(server.told("The book is away")) == 1
    assert len(server.told("The book is back")) == 1
    assert not server.told("Traceback")


def test_a_long_question_is_waited_for_while_the_server_is_there(plant: Plant) -> None:
    engine = make_engine(plant.settings)
    Attention(engine, silent_s=0.2)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT 7 FROM pg_sleep(1.5)").scalar() == 7
        assert answers(str(plant.database.folder), PORTS["main"])
        with plant.database.frozen("main"):
            assert not answers(str(plant.database.folder), PORTS["main"], 0.3)
            with pytest.raises(BookUnreachableError):
                connection.exec_driver_sql("SELECT 1")
    engine.dispose()


def test_a_server_on_the_network_is_heard_or_not() -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        assert not answers("127.0.0.1", silent.getsockname()[1], 0.3), (
            "it takes the line, as the system of a frozen server does"
        )
        talker = threading.Thread(target=_say_no, args=(silent,))
        talker.start()
        assert answers("127.0.0.1", silent.getsockname()[1], 5.0)
        talker.join()
        port = silent.getsockname()[1]
    assert not answers("127.0.0.1", port, 0.3)


def _say_no(server: socket.socket) -> None:
    for _ in range(2):  # the line that was given up before stands in front
        line, _address = server.accept()
        with line:
            if line.recv(8) == b"\x00\x00\x00\x08\x04\xd2\x16\x2f":  # SSLRequest of PostgreSQL's protocol 3.0
                line.sendall(b"N")


def test_when_all_connections_are_in_use_it_is_busy_and_no_fault(plant: Plant) -> None:
    engine = make_engine(replace(plant.settings, pool=Pool(size=1, extra=0, wait_s=1)))
    app = create_app(plant.settings, Reader(engine))
    client = app.server.test_client()
    assert client.get(f"{PREFIX}/sites", headers={"Authorization": f"Bearer {plant.token}"}).status_code == 200
    with engine.connect():
        program = client.get(f"{PREFIX}/sites", headers={"Authorization": f"Bearer {plant.token}"})
        page = client.post("/_dash-update-component", json=callback(plant, "book-body.children"))
        file = client.get("/table/due.csv", headers=HTML)
    engine.dispose()
    assert (program.status_code, program.get_json()["code"]) == (503, "busy")
    assert program.get_json()["detail"] == say("away.crowded")
    assert (page.status_code, page.get_json()["sideUpdate"][Shell.NOTICE]["children"]) == (200, say("away.crowded"))
    assert (file.status_code, say("away.crowded") in file.text) == (503, True)


def test_a_pool_without_a_free_connection_is_told_in_the_log_and_to_a_monitor(
    sqlite_book: Settings, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    book = open_auth_book(sqlite_book, tmp_path)
    client, engine = book.signed_in(Role.READER), book.engine
    assert client.get("/readyz").status_code == 200
    assert "driftbook_pool_connections_used 0\n" in client.get("/metrics").text
    use = pool_use(engine)
    assert use is not None
    engine.pool._timeout = 0  # type: ignore[attr-defined]
    with ExitStack() as kept:
        for _ in range(use.most):
            kept.enter_context(engine.connect())
        page, ready = client.get("/table/due.csv", headers=HTML), client.get("/readyz", headers=HTML)
        figures = client.get("/metrics").text.splitlines()
    assert page.status_code == 503
    assert (ready.status_code, ready.get_json()["crowded"]) == (503, True), (
        "a monitor gets its own form, whatever it takes"
    )
    assert f"driftbook_pool_connections_used {use.most}" in figures
    assert "# TYPE driftbook_pool_turned_away_total counter" in figures
    assert int(next(line for line in figures if line.startswith("driftbook_pool_turned_away_total")).split()[1]) >= 2
    said = [record.getMessage() for record in caplog.records if record.name == "driftbook.book"]
    assert len(said) == 1
    assert f"this process may have {use.most}, all were in use" in said[0]
    assert client.get("/readyz").get_json()["ready"] is True
    engine.dispose()


def test_a_server_that_takes_no_more_connections_is_not_called_away(
    settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    if settings.is_file:
        pytest.skip("a file has no such limit")
    owner = make_engine(settings)
    with owner.begin() as connection:
        connection.exec_driver_sql("CREATE ROLE crowded LOGIN CONNECTION LIMIT 0")
    try:
        of_role = sa.make_url(settings.url).set(username="crowded").render_as_string(hide_password=False)
        engine = make_engine(replace(settings, book=of_role))
        watch = Watch(engine)
        for _ in range(2):
            with pytest.raises(BookCrowdedError) as refused:
                engine.connect()
            watch.noticed(refused.value)
        app = create_app(settings, MadeBook(), probe=lambda: within_rights(engine, readiness(engine, settings)))
        ready = app.server.test_client().get("/readyz")
    finally:
        with owner.begin() as connection:
            connection.exec_driver_sql("DROP ROLE crowded")
        owner.dispose()
    assert "takes no more connections" in refused.value.message
    assert not watch.away
    assert (ready.status_code, ready.get_json()["crowded"]) == (503, True)
    said = [record for record in caplog.records if record.name == "driftbook.book"]
    assert len(said) == 2, "by the one watch, asked twice, and by that of the server"
    told = away_of(refused.value)
    assert told is not None
    assert (told.code, told.text) == ("busy", say("away.crowded"))


JOB = {
    "bolts_tight": True,
    "job": {
        "ref": "R-1", "tag": "P-1", "reason": "planned", "performed_at": "2026-10-01T08:00:00+00:00",
        "found": {"offset_v_mm": 0.11, "angle_v_mm_m": 0.3, "offset_h_mm": 0.02, "angle_h_mm_m": 0.1},
        "left": {"offset_v_mm": 0.01, "angle_v_mm_m": 0.1, "offset_h_mm": -0.01, "angle_h_mm_m": 0.05},
    },
}  # fmt: skip


def test_a_job_that_a_full_disk_refuses_is_no_wrong_job_and_goes_in_later(
    disk: Disk, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    settings = Settings(book=str(disk.path / "book.db"), key=tmp_path / "k", mappings=tmp_path / "m", cache="off")
    book = open_auth_book(settings, tmp_path)
    login = book.accounts[Role.RECORDER].login
    token = tokens.make_token(book.engine, book.site.site_id, login=login, name="press", roles=[Role.RECORDER], now=NOW)
    headers = {"Authorization": f"Bearer {token[0]}", "Idempotency-Key": "one"}
    client = book.browser()
    filler = disk.fill()
    refused = [client.post(f"{PREFIX}/jobs", json=JOB, headers=headers) for _ in range(2)]
    for answer in refused:
        assert (answer.status_code, answer.get_json()["code"]) == (503, "book-not-writable"), answer.text
        assert answer.get_json()["detail"] == say("away.full")
        assert str(disk.path) not in answer.text
    filler.unlink()
    assert client.post(f"{PREFIX}/jobs", json=JOB, headers=headers).status_code == 201
    book.engine.dispose()
    assert len([one for one in caplog.records if "is full" in one.getMessage()]) == 1


@pytest.mark.parametrize("kind", [*BookStateError.__subclasses__(), BookReplacedError])
def test_no_state_of_a_book_tells_where_it_lies(kind: type[BookStateError]) -> None:
    if kind is BookBusyError:  # says what somebody else does, and names no place
        return
    said = away_of(kind("The book postgresql://…@db.example:5432/plant is not there.", remedy="Look at /var/plant."))
    assert said is not None
    assert said.code in ABOUT
    assert not {"db.example", "5432", "/var/plant"} & set(f"{said.text} {said.remedy}".replace(":", " ").split())


def test_forms_say_that_the_book_is_away_and_not_that_they_are_wrong(plant: Plant) -> None:
    book = plant.book
    client = book.browser()
    mark = mark_of(client.get("/sign-in").get_data(as_text=True))
    signed = book.signed_in(Role.ADMINISTRATOR)
    account = f"/accounts/{book.accounts[Role.READER].account_id}"
    own = mark_of(signed.get(account).get_data(as_text=True))
    with plant.away():
        answers = [
            client.post("/sign-in", data={"mark": mark, "login": "rea.dee", "password": PASSWORD}),
            signed.post(f"{account}/sessions", data={"mark": own}),
            signed.get(account, headers=HTML),
        ]
    for answer in answers:
        text = answer.get_data(as_text=True)
        assert (answer.status_code, answer.headers["Retry-After"]) == (503, "10")
        assert say("away.gone") in text
        assert str(plant.database.folder) not in text
    assert f'href="{account}?"' in answers[2].get_data(as_text=True) or f'href="{account}"' in answers[2].get_data(
        as_text=True
    )
    assert enter(book.browser(), "rea.dee", PASSWORD).status_code == 303


def test_the_log_says_what_changed_and_not_how_often(caplog: pytest.LogCaptureFixture) -> None:
    now = [0.0]
    engine = sa.create_engine("sqlite://")
    watch = Watch(engine, lambda: now[0])
    gone, full = BookUnreachableError("It is gone."), NoRoomError("It is full.")
    with engine.connect() as connection:
        for _ in range(5):
            watch.noticed(gone)
        now[0] = 7.0
        assert watch.away
        connection.exec_driver_sql("SELECT 1")
        connection.exec_driver_sql("SELECT 1")
    assert not watch.away
    for _ in range(5):
        watch.noticed(full)
    now[0] += AGAIN_S
    watch.noticed(full)
    engine.dispose()
    said = [record.getMessage() for record in caplog.records if record.name == "driftbook.book"]
    assert said == [
        "The book is away or refuses: It is gone.",
        "The book is back: it answers again, after 7 s.",
        "The book is away or refuses: It is full.",
        "The book is away or refuses: It is full.",
    ]
