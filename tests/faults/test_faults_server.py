"""A running server: what a monitor is told, what is logged, and how it ends."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.logs import JsonFormatter
from dashboard.metrics import BOUNDS_S, Metrics, kind_of
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.store.readiness import readiness
from tests.conftest import make_site
from tests.faults.conftest import Disk
from tests.history_maker import MadeBook

ROOT = Path(__file__).parents[2]

SLOW = """
import sys, time
import dashboard.app as app_module
made = app_module.create_app
def create_app(*given, **named):
    app = made(*given, **named)
    from dashboard import roles
    def slow():
        open(sys.argv[2], "w").close()
        time.sleep(1.5)
        return "answered whole"
    app.server.add_url_rule("/slow", endpoint="health_slow", view_func=slow)
    return app
app_module.create_app = create_app
from dashboard.cli import main
sys.exit(main(["serve", "--book", sys.argv[1], "--port", "0", "--log", "json"]))
"""


@contextmanager
def served(*arguments: str, environ: dict[str, str] | None = None) -> Iterator[tuple[subprocess.Popen[str], str]]:
    with subprocess.Popen(
        [sys.executable, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
        env=os.environ | {"PYTHONUNBUFFERED": "1", "COLUMNS": "300"} | (environ or {}),
    ) as process:  # fmt: skip
        assert process.stdout is not None
        line = process.stdout.readline()
        address = next(word for word in line.split() if word.startswith("http://"))
        try:
            yield process, address.rstrip("/")
        finally:
            process.kill()


def asked(address: str, headers: dict[str, str] | None = None) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(urllib.request.Request(address, headers=headers or {}), timeout=30) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as refused:
        with refused:
            return refused.code, refused.read().decode()


def test_a_server_that_is_told_to_end_answers_what_is_running_and_logs_without_secrets(
    sqlite_book: Settings, tmp_path: Path
) -> None:
    make_site(sqlite_book)
    mark = tmp_path / "running"
    with served("-c", SLOW, sqlite_book.book, str(mark)) as (process, address):
        assert asked(f"{address}/readyz") == (200, asked(f"{address}/readyz")[1])
        assert json.loads(asked(f"{address}/readyz")[1]) == {
            "ready": True,
            "book": True,
            "revision": True,
            "writable": True,
        }
        assert asked(f"{address}/?password=hunter2&site=test-quay")[0] == 200
        status, text = asked(f"{address}/metrics")
        assert status == 200
        assert 'driftbook_requests_total{kind="page",status="2xx"} 1' in text
        assert "driftbook_book_entries 3" in text
        assert "driftbook_book_writable 1" in text
        came: list[Any] = []
        runner = threading.Thread(target=lambda: came.append(asked(f"{address}/slow")))
        runner.start()
        until = time.monotonic() + 20
        while not mark.exists() and time.monotonic() < until:
            time.sleep(0.02)
        process.send_signal(signal.SIGTERM)
        runner.join(20)
        assert came == [(200, "answered whole")]
        _, errors = process.communicate(timeout=20)
        assert process.returncode == 0
    lines = [json.loads(line) for line in errors.splitlines() if line.startswith("{")]
    pages = [line for line in lines if line.get("path") == "/"]
    assert [(line["method"], line["status"], line["level"]) for line in pages] == [("GET", 200, "info")]
    assert pages[0]["ms"] > 0
    assert any(line.get("path") == "/slow" and line["ms"] > 1000 for line in lines)
    assert "hunter2" not in errors
    told = [line["message"] for line in lines if line["logger"] == "driftbook.server"]
    assert [message.partition(" ")[0] for message in told] == ["Started:", "Told", "Ended,"]
    assert f"at {address}/, with 8 threads" in told[0]
    assert told[1].endswith("for 20 s at most: 1 request.")
    assert told[2].endswith("0 requests cut off.")


def test_the_figures_are_given_to_this_machine_or_for_the_token(monkeypatch: pytest.MonkeyPatch) -> None:
    client = create_app(Settings(book="x.book"), MadeBook()).server.test_client()
    answer = client.get("/metrics")
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "text/plain; version=0.0.4; charset=utf-8")
    far = {"REMOTE_ADDR": "192.0.2.7"}
    assert client.get("/metrics", environ_overrides=far).status_code == 404
    monkeypatch.setenv("DRIFTBOOK_METRICS_TOKEN", "a long one")
    assert client.get("/metrics").status_code == 404
    for given, status in (("Bearer a long one", 200), ("Bearer another", 404), ("a long one", 404)):
        answer = client.get("/metrics", environ_overrides=far, headers={"Authorization": given})
        assert answer.status_code == status


def test_a_book_that_is_gone_or_full_or_old_is_not_ready(disk: Disk) -> None:
    settings = Settings(book=str(disk.path / "book.db"), key=disk.path / "key")
    make_site(settings)
    engine = make_engine(settings)
    client = create_app(settings, Reader(engine), probe=lambda: readiness(engine, settings)).server.test_client()
    assert client.get("/readyz").status_code == 200
    filler = disk.fill()
    answer = client.get("/readyz")
    assert (answer.status_code, answer.get_json()["writable"], answer.get_json()["book"]) == (503, False, True)
    assert client.get("/healthz").status_code == 200  # the server itself is well and goes on showing
    filler.unlink()
    assert client.get("/readyz").status_code == 200
    engine.dispose()
    settings.path.write_bytes(b"no book at all" * 100)
    answer = client.get("/readyz")
    assert (answer.status_code, answer.get_json()["book"]) == (503, False)
    engine.dispose()


def test_figures_are_written_as_the_text_format_asks() -> None:
    """Prometheus, *Exposition formats*, text format: HELP and TYPE before the samples, buckets that add up to +Inf."""
    metrics = Metrics()
    for seconds in (0.001, 0.02, 0.3, 99.0):
        metrics.begin()
        metrics.end("/offenders", 200, seconds)
    metrics.begin()
    metrics.end("/api/v1/sites", 404, 0.5)
    lines = metrics.text({"driftbook_book_entries": 12.0}).splitlines()
    buckets = [line for line in lines if line.startswith('driftbook_request_seconds_bucket{kind="page"')]
    assert [int(line.split()[-1]) for line in buckets] == [1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4]
    assert len(buckets) == len(BOUNDS_S) + 1
    assert 'driftbook_request_seconds_count{kind="page"} 4' in lines
    assert 'driftbook_requests_total{kind="interface",status="4xx"} 1' in lines
    assert "driftbook_requests_in_progress 0" in lines
    assert "driftbook_book_entries 12" in lines
    seen: set[str] = set()
    for line in lines:
        if line.startswith("# TYPE"):
            name = line.split()[2]
            assert name not in seen
            seen.add(name)


def test_kinds_of_requests_are_few() -> None:
    assert {kind_of(path) for path in ("/", "/asset/P-101.A/x", "/offenders")} == {"page"}
    assert kind_of("/_dash-update-component") == "callback"
    assert kind_of("/readyz") == "monitor"
    assert kind_of("/report/month.pdf") == "file"


def test_json_lines_hold_no_secrets_and_no_breaks() -> None:
    import logging

    record = logging.LogRecord(
        "driftbook.book", logging.WARNING, "x", 1, "token=%s\nsecond", ("abcdefgh12345678",), None
    )
    line = JsonFormatter("%(message)s").format(record)
    assert "abcdefgh" not in line
    assert json.loads(line)["level"] == "warning"
    assert "\n" not in line
