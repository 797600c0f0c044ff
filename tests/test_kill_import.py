"""An import that is killed at any moment leaves the book as it was, and can be done again."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import sqlalchemy as sa

from models.settings import Settings
from models.store.engine import make_engine
from seed_data.generate import generate, write
from tests.conftest import make_site
from tests.seeded import contents, seed

pytestmark = pytest.mark.slow

PROGRAM = """
import os, signal, sys
from datetime import UTC, datetime
from pathlib import Path
import sqlalchemy as sa
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import site_of
import models.commands.import_sheets as work
from models.commands.import_files import import_files
from tests.seeded import sources_of

work.BATCH = work.CHUNK = 100  # many batches, so that there are many moments between them
book, folder, at = Settings(book=sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
engine = make_engine(book)
with engine.connect() as connection:
    site = site_of(connection, None)
step = 0

def one_more(*_):
    global step
    step += 1
    if step == at:
        os.kill(os.getpid(), signal.SIGKILL)

def last(*_):
    print(step, flush=True)
    if at == 0:
        os.kill(os.getpid(), signal.SIGKILL)  # everything is written, nothing committed

sa.event.listen(engine, "before_cursor_execute", one_more)
sa.event.listen(engine, "after_cursor_execute", one_more)
sa.event.listen(engine, "commit", last)
names = ("people", "instruments", "assets", "breaks", "jobs")
sources = sources_of(site, *(folder / f"{name}.csv" for name in names))
print("ready", flush=True)
report = import_files(engine, site, sources, by="killed", now=datetime(2026, 11, 25, tzinfo=UTC))
print("written" if report.written else "not written", flush=True)
"""


def start(settings: Settings, folder: Path, at: int) -> subprocess.Popen[str]:
    """Start an import that kills itself before or after its ``at``-th statement; 0 is the commit, −1 never."""
    return subprocess.Popen(
        [sys.executable, "-c", PROGRAM, settings.book, str(folder), str(at)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[1],
    )


def kill_at(settings: Settings, folder: Path, at: int) -> str:
    with start(settings, folder, at) as process:
        said, _ = process.communicate(timeout=120)
    assert process.returncode == -signal.SIGKILL, said
    return said


def sizes(engine: sa.Engine) -> dict[str, int]:
    return {name: len(rows) for name, rows in contents(engine).items()}


def test_killing_an_import_at_six_random_points_leaves_the_book_as_it_was(settings: Settings, tmp_path: Path) -> None:
    site = make_site(settings)
    engine = make_engine(settings)
    seed(engine, site, tmp_path)
    plant = tmp_path / "plant"
    write(plant, generate())
    before = contents(engine)

    steps = int(kill_at(settings, plant, 0).split()[-1])
    assert contents(engine) == before, "killed at the commit"
    assert steps > 40
    for at in random.Random(20261125).sample(range(1, steps + 1), 6):
        kill_at(settings, plant, at)
        assert contents(engine) == before, f"killed at step {at} of {steps}"
    engine.dispose()


def test_a_kill_by_the_clock_leaves_all_or_nothing_and_the_import_can_be_done_again(
    settings: Settings, tmp_path: Path
) -> None:
    site = make_site(settings)
    engine = make_engine(settings)
    seed(engine, site, tmp_path)
    plant = tmp_path / "plant"
    write(plant, generate())
    before = sizes(engine)
    whole = before["job"] + len(generate().jobs)
    moments = random.Random(7)
    for _ in range(5):
        with start(settings, plant, -1) as process:
            assert process.stdout is not None
            assert process.stdout.readline().strip() == "ready"
            time.sleep(moments.uniform(0.0, 0.8))
            process.kill()
        assert sizes(engine)["job"] in {before["job"], whole}
    with start(settings, plant, -1) as process:
        process.communicate(timeout=120)
    assert process.returncode == 0
    after = contents(engine)
    assert len(after["job"]) == whole
    assert sorted(int(str(row[0])) for row in after["entry"]) == list(range(1, len(after["entry"]) + 1))
    engine.dispose()
