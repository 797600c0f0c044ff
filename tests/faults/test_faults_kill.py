"""Processes that are killed with signal 9: while they record, while they back up; what was acknowledged is there."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.console.endings import STOPPED
from models.commands.backup import back_up
from models.settings import Settings
from models.store.copying import check_copy, one_state
from models.store.engine import make_engine
from models.tables.jobs import JobRow
from models.whole_files import making_book
from tests.conftest import NOW, make_site
from tests.recorder import job_of, machines
from tests.seeded import bring_in

ROOT = Path(__file__).parents[2]
JOBS = 25
AT = (NOW + timedelta(minutes=1)).isoformat()


def start(settings: Settings, *, first: int = 0, workers: int = 2, patience: float = 0) -> subprocess.Popen[str]:
    asked = [settings.book, str(first), str(workers), str(JOBS), "--at", AT, "--patience", str(patience)]
    return subprocess.Popen(
        [sys.executable, "-m", "tests.recorder", *asked], stdout=subprocess.PIPE, text=True, cwd=ROOT
    )


def plant(settings: Settings, folder: Path, count: int) -> sa.Engine:
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = folder / "machines.csv"
    sheet.write_text(machines(count))
    assert bring_in(engine, site, sheet).written
    return engine


def refs(engine: sa.Engine) -> list[str]:
    with engine.connect() as connection:
        return sorted(connection.scalars(sa.select(JobRow.ref)))


def acknowledged(said: str) -> set[str]:
    lines = said.splitlines()
    assert not [line for line in lines if line.startswith("no ")], lines
    return {line.removeprefix("ok ") for line in lines if line.startswith("ok ")}


def test_recorders_that_are_killed_at_random_moments_lose_nothing_that_was_acknowledged(
    settings: Settings, tmp_path: Path
) -> None:
    engine = plant(settings, tmp_path, 2)
    moments = random.Random(20261125)
    told: set[str] = set()
    for _ in range(2):
        with start(settings) as process:
            assert process.stdout is not None
            assert process.stdout.readline().strip() == "ready"
            time.sleep(moments.uniform(0.0, 0.25))
            process.kill()
            said, _ = process.communicate(timeout=60)
        assert process.returncode == -signal.SIGKILL or "done" in said
        told |= acknowledged(said)
        assert told <= set(refs(engine)), "an acknowledged job is missing"
    with start(settings) as process:
        said, _ = process.communicate(timeout=120)
    assert acknowledged(said) == {job_of(w, n).ref for w in range(2) for n in range(JOBS)}
    assert refs(engine) == sorted(acknowledged(said)), "none twice, none lost"
    with one_state(engine) as connection:
        assert check_copy(connection, {}).unsealed == 0
    engine.dispose()


BACKUP = """
import sys, time
from dashboard.cli import main
from models.commands import backup
def checking(*given):
    print("checking", flush=True)
    time.sleep(60)
backup.check_by_restoring = checking
sys.argv[1:] = ["backup", "--book", sys.argv[1], "-o", sys.argv[2]]
sys.exit(main())
"""


def test_a_backup_that_is_stopped_or_killed_leaves_no_copy_of_the_book(sqlite_book: Settings, tmp_path: Path) -> None:
    make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    target, other = tmp_path / "saved" / "copy.db", tmp_path / "saved" / "other.db"
    for how, code in ((signal.SIGKILL, -signal.SIGKILL), (signal.SIGTERM, STOPPED)):
        with subprocess.Popen(
            [sys.executable, "-c", BACKUP, sqlite_book.book, str(target)], stdout=subprocess.PIPE, text=True, cwd=ROOT
        ) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == "checking\n"
            making = list(target.parent.glob(".driftbook-*/making.db"))
            assert len(making) == 1, "what was left by one that was killed is gone"
            if how == signal.SIGTERM:
                back_up(sqlite_book, engine, other)
                assert making[0].exists(), "what another process is at stays"
            process.send_signal(how)
        assert process.returncode == code
    assert list(target.parent.iterdir()) == [other]
    engine.dispose()


def test_what_a_killed_backup_left_goes_also_where_the_one_that_clears_it_away_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    unlink, left = os.unlink, tmp_path / ".driftbook-killed"
    for stopped_at in (1, 2, 3):
        left.mkdir(exist_ok=True)
        for name in (".lock", "making.db", "restored.db"):
            (left / name).touch()
        calls = iter(range(1, 9))

        def unlinked(*what: Any, calls: Iterator[int] = calls, stopped_at: int = stopped_at, **how: Any) -> None:
            if next(calls) == stopped_at:
                raise KeyboardInterrupt
            unlink(*what, **how)

        with monkeypatch.context() as stopped:
            stopped.setattr(os, "unlink", unlinked)
            with pytest.raises(KeyboardInterrupt), making_book(tmp_path):
                pass
        with making_book(tmp_path):
            pass
        assert not list(left.glob("*.db")), stopped_at


def test_a_backup_that_is_made_while_others_record_is_whole(settings: Settings, tmp_path: Path) -> None:
    engine = plant(settings, tmp_path, 2)
    with start(settings) as process:
        assert process.stdout is not None
        process.stdout.readline()
        reader = threading.Thread(target=process.stdout.read)
        reader.start()
        time.sleep(0.2)
        made = back_up(settings, engine, tmp_path / "copy.db")
        reader.join(60)
    assert made.copied.checked.unsealed == 0
    assert made.copied.checked.entries > 0
    engine.dispose()


@pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
def test_recorders_whose_connections_are_cut_lose_nothing_and_record_nothing_twice(
    settings: Settings, tmp_path: Path
) -> None:
    """The small form of ``tests.benchmarks.recorders``: the server throws everybody out while they record."""
    engine = plant(settings, tmp_path, 6)
    administrator = sa.create_engine(settings.url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with start(settings, workers=6, patience=60) as process:
        assert process.stdout is not None
        lines: list[str] = []
        listener = threading.Thread(target=lambda: lines.extend(process.stdout or ()))
        listener.start()
        for cut in range(1, 5):
            while sum(line.startswith("ok") for line in lines) < cut * 20 and listener.is_alive():
                time.sleep(0.01)
            with administrator.connect() as connection:
                connection.exec_driver_sql(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                    "WHERE datname = current_database() AND pid <> pg_backend_pid()"
                )
        listener.join(120)
    said = "".join(lines)
    assert "done" in said
    assert acknowledged(said) == {job_of(w, n).ref for w in range(6) for n in range(JOBS)}
    assert refs(engine) == sorted(acknowledged(said)), "none twice, none lost"
    with one_state(engine) as connection:
        assert check_copy(connection, {}).unsealed == 0
    engine.dispose()
