"""A long import that hangs: who records is told that the book is busy, everybody else goes on reading, and a command can be stopped."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa

from models.settings import Settings
from models.store import engine as engines
from models.store import turns
from models.store.engine import make_engine
from models.store.turns import take_turn
from tests.fuzz.api_book import API, JOB, bearer, serving, tokened


@contextmanager
def hanging(settings: Settings) -> Iterator[None]:
    """Be another process that writes and does not come to an end."""
    engine = make_engine(settings)
    with engine.connect().execution_options(write=True) as connection, connection.begin() as transaction:
        take_turn(connection)
        try:
            yield
        finally:
            transaction.rollback()
    engine.dispose()


def status(url: str, job: dict[str, object] | None = None, secret: str = "") -> int:
    body = (
        None
        if job is None
        else json.dumps({"job": job, "stated_reasons": {"before the last job": "handed in late"}}).encode()
    )
    asked = urllib.request.Request(url, body, bearer(secret) | {"Content-Type": "application/json"})
    try:
        with urllib.request.urlopen(asked, timeout=60) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as refused:
        return refused.code


def test_while_an_import_hangs_eight_recorders_do_not_keep_readers_out(settings: Settings, tmp_path: Path) -> None:
    with tokened(settings, tmp_path) as (opened, secret), serving(opened.app) as url, ThreadPoolExecutor(8) as people:
        jobs = [
            JOB | {"ref": f"WO-2{n}", "performed_at": f"2026-11-{10 + n}T09:30:00+00:00", "hours_run": None}
            for n in range(8)
        ]
        with hanging(settings):
            waiting = [people.submit(status, f"{url}{API}/jobs", job, secret) for job in jobs]
            refused = 0
            while refused < 2:  # two find no place and come back at once; the others wait, and hold their threads
                refused = sum(one.done() for one in waiting)
            assert status(f"{url}/healthz") == 200
            assert status(f"{url}{API}/due", secret=secret) == 200
            assert not all(one.done() for one in waiting)
        told = sorted(one.result() for one in waiting)
        assert told == [201] * 6 + [503] * 2


def test_whoever_waits_is_told_after_a_while_that_the_book_is_busy(
    settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engines, "BUSY_MS", 200)
    monkeypatch.setattr(turns, "SOON_S", 0.1)
    with tokened(settings, tmp_path) as (opened, secret), serving(opened.app) as url:
        with hanging(settings):
            assert status(f"{url}{API}/jobs", JOB, secret) == 503
        assert status(f"{url}{API}/jobs", JOB, secret) == 201


def test_a_command_that_is_stopped_while_the_book_answers_has_lost_no_database(engine: sa.Engine) -> None:
    def stop(*_given: object) -> None:
        raise KeyboardInterrupt

    with engine.connect() as connection:
        sa.event.listen(engine, "do_execute", stop)
        try:
            with pytest.raises(KeyboardInterrupt):
                connection.exec_driver_sql("SELECT 1")
        finally:
            sa.event.remove(engine, "do_execute", stop)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT 1").scalar() == 1
