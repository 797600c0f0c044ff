"""Serving: warmed up or not at all, and a port that is taken is said in plain words."""

import logging
import socket
import threading
import urllib.request
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from dashboard.app import create_app
from dashboard.cli import main
from dashboard.console.serving import _warn_of_threads
from dashboard.server import Ending, NotReadyError, open_server, port_of, serve, warm_up
from models.errors import DriftbookError
from models.settings import Settings
from models.store.pool import PoolUse
from models.store.turns import TURNS
from tests.history_maker import NOW, MadeBook, made_book


def app_of(book: Any) -> Any:
    return create_app(Settings(book="x.book"), book, clock=lambda: NOW)


class HeadlessBook(MadeBook):
    def head(self) -> None:
        raise RuntimeError("no such table")


def test_an_application_that_is_not_well_is_not_served() -> None:
    with pytest.raises(NotReadyError, match="did not start"):
        warm_up(app_of(HeadlessBook()))


def test_a_port_that_is_taken_is_said_with_a_remedy() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(DriftbookError, match="cannot be opened") as error:
            open_server(app_of(MadeBook()), "127.0.0.1", taken.getsockname()[1])
    assert "--port" in error.value.remedy


def test_serving_says_its_address_and_answers_there() -> None:
    ready, address = threading.Event(), []

    def on_ready(url: str) -> None:
        address.append(url)
        ready.set()

    threading.Thread(target=serve, args=(app_of(made_book(assets=3)), "127.0.0.1", 0, on_ready), daemon=True).start()
    assert ready.wait(20)
    with urllib.request.urlopen(f"{address[0]}healthz", timeout=10) as answer:
        assert answer.status == 200
        assert answer.headers["Server"] is None or "waitress" not in answer.headers["Server"].lower()


@pytest.mark.parametrize(
    ("threads", "is_file", "said"), [(12, False, ""), (13, False, "POOL_EXTRA"), (13, True, "fewer threads.")]
)
def test_more_threads_than_connections_are_told(
    threads: int, is_file: bool, said: str, caplog: pytest.LogCaptureFixture
) -> None:
    _warn_of_threads(threads, PoolUse(0, 12), is_file=is_file)
    assert said in caplog.text if said else caplog.text == ""


def test_an_end_takes_its_time_and_no_more_and_the_log_says_what_was_cut_off(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr("dashboard.server.GRACE_S", 0.0)
    app, runs, let_go = app_of(MadeBook()), threading.Event(), threading.Event()

    def slow() -> str:
        runs.set()
        let_go.wait(20)
        return "too late"

    app.server.add_url_rule("/slow", endpoint="health_slow", view_func=slow)
    server, given = open_server(app, "127.0.0.1", 0), []
    monkeypatch.setattr(server.task_dispatcher, "shutdown", lambda **named: given.append(named))
    ending = Ending(server)
    with (
        socket.create_connection(("127.0.0.1", port_of(server)), timeout=20) as line,
        caplog.at_level(logging.INFO, logger="driftbook.server"),
    ):
        runner = threading.Thread(target=ending.run)
        runner.start()
        line.sendall(b"GET /slow HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert runs.wait(20)
        ending.tell()
        runner.join(20)
    let_go.set()
    server.close()
    assert given == [{"timeout": 0.0}], "what ends requests gets no time of its own"
    said = [(record.levelname, record.getMessage()) for record in caplog.records if record.name == "driftbook.server"]
    assert [level for level, _ in said] == ["INFO", "WARNING"]
    assert said[0][1].endswith("what runs is answered first, for 0 s at most: 1 request.")
    assert said[1][1].endswith("1 request cut off.")


def test_why_a_server_with_a_log_of_json_does_not_start_stands_in_that_log(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    capsys: pytest.CaptureFixture[str],
) -> None:
    for name in (
        "dashboard.logs.write_json",
        "dashboard.security.install_log",
    ):  # they would change the log of all tests
        monkeypatch.setattr(name, lambda: None)
    typed = ["serve", "--book", str(tmp_path / "no.db"), "--port", "0"]
    assert main(typed) == 2
    assert "driftbook: There is no book" in capsys.readouterr().err
    assert main([*typed, "--log", "json"]) == 2
    assert capsys.readouterr().err == ""
    (record,) = [record for record in caplog.records if record.name == "driftbook.server"]
    assert record.levelname == "ERROR"
    assert record.getMessage().startswith("It does not start, or cannot go on: There is no book at ")


def test_port_zero_takes_any_free_port() -> None:
    server = open_server(app_of(MadeBook()), "127.0.0.1", 0, threads=5)
    try:
        assert port_of(server) > 0
        assert TURNS.most == 3, "two threads never wait for a turn to write"
    finally:
        server.close()


def test_connections_that_browsers_keep_open_keep_nobody_out() -> None:
    ready, address = threading.Event(), []

    def on_ready(url: str) -> None:
        address.append(url)
        ready.set()

    threading.Thread(target=serve, args=(app_of(MadeBook()), "127.0.0.1", 0, on_ready), daemon=True).start()
    assert ready.wait(20)
    with ExitStack() as kept:
        for _ in range(150):  # waitress itself stops at 100, for as long as they stay open
            one = kept.enter_context(socket.create_connection(("127.0.0.1", urlsplit(address[0]).port), timeout=10))
            one.sendall(b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            assert one.recv(4_000).startswith(b"HTTP/1.1 200")
        with urllib.request.urlopen(f"{address[0]}healthz", timeout=10) as answer:
            assert answer.status == 200
