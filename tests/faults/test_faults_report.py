"""A process that dies while it makes a long paper: the old paper or the new one stands there, never half of one."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from models.settings import Settings
from models.store.engine import make_engine
from models.whole_files import write_whole
from tests.conftest import make_site
from tests.faults.conftest import Disk
from tests.seeded import contents, seed

ROOT = Path(__file__).parents[2]


MAKER = """
import os, signal, sys, threading
from dashboard.reports import press
made = press.print_pdf

def killed_within(*given, **named):
    threading.Timer(0.002, os.kill, (os.getpid(), signal.SIGKILL)).start()
    while True:
        made(*given, **named)  # a long paper: made again and again until the kill comes

press.print_pdf = killed_within
from dashboard.cli import main
sys.exit(main(["report", "asset", "P-1", "--book", sys.argv[1], "-o", sys.argv[2]]))
"""


def test_a_paper_whose_maker_is_killed_leaves_the_one_before_as_it_was(sqlite_book: Settings, tmp_path: Path) -> None:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    seed(engine, site, tmp_path)
    before = contents(engine)
    engine.dispose()
    paper = tmp_path / "asset.pdf"
    paper.write_bytes(b"%PDF-1.7 the old paper")
    there = sorted(tmp_path.iterdir())
    done = subprocess.run([sys.executable, "-c", MAKER, sqlite_book.book, str(paper)], check=False, cwd=ROOT)
    assert done.returncode == -signal.SIGKILL
    assert paper.read_bytes() == b"%PDF-1.7 the old paper"
    assert [path for path in sorted(tmp_path.iterdir()) if path not in there and "driftbook.db" not in path.name] == []
    engine = make_engine(sqlite_book)
    assert contents(engine) == before
    engine.dispose()


def test_a_file_that_does_not_fit_on_the_disk_leaves_the_old_one(disk: Disk) -> None:
    paper = disk.path / "paper.pdf"
    write_whole(paper, b"old")
    disk.fill()
    with pytest.raises(OSError, match="space"):
        write_whole(paper, b"x" * (1 << 20))
    assert paper.read_bytes() == b"old"
    assert [path.name for path in disk.path.iterdir() if path.name.startswith(".paper")] == []


def test_a_file_is_killed_in_mid_write_without_trace_in_its_place(tmp_path: Path) -> None:
    paper = tmp_path / "paper.pdf"
    paper.write_bytes(b"old")
    program = (
        "import os, signal, sys; from pathlib import Path; import models.whole_files as whole\n"
        "made = os.fsync\n"
        "os.fsync = lambda handle: os.kill(os.getpid(), signal.SIGKILL)\n"
        "whole.write_whole(Path(sys.argv[1]), b'new' * 1000000)"
    )
    done = subprocess.run([sys.executable, "-c", program, str(paper)], check=False, cwd=ROOT)
    assert done.returncode == -signal.SIGKILL
    assert paper.read_bytes() == b"old"
