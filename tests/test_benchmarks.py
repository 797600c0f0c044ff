"""The benchmarks' own tools: a tiled book is a book in every table, and nobody waits for a picture for ever."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dashboard import pictures
from dashboard.app import create_app
from models.history.columns import History
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.values.entry import EntryFilter
from tests.benchmarks.big_book import END, write_files
from tests.benchmarks.callbacks import whole_picture
from tests.benchmarks.import_peers import apart
from tests.benchmarks.tiled_book import tile
from tests.conftest import make_site
from tests.history_maker import MadeBook, made_book
from tests.seeded import seed

TIMES = 3


def test_no_day_of_a_big_book_lies_behind_its_end(tmp_path: Path) -> None:
    """An import refuses a day to come: the book could be made on some days only."""
    _, breaks, _, jobs = write_files(tmp_path, 200, 100)
    for path, column, least in ((breaks, 1, 1), (jobs, 2, 150)):
        days = [line.split(",")[column] for line in path.read_text(encoding="utf-8").splitlines()[1:]]
        assert len(days) >= least
        assert max(days) <= str(END)


@pytest.fixture
def tiled(sqlite_book: Settings, tmp_path: Path) -> tuple[Path, Path]:
    """Give a small book and the one that was made of it."""
    site, source = make_site(sqlite_book), Path(sqlite_book.book)
    engine = make_engine(sqlite_book)
    seed(engine, site, tmp_path)
    engine.dispose()
    target = tmp_path / "tiled.db"
    assert tile(source, target, TIMES) == 3 * TIMES
    return source, target


def asked(path: Path, question: str) -> list[Any]:
    with sqlite3.connect(path) as book:
        found = book.execute(question).fetchall()
    book.close()
    return found


def test_a_tiled_book_has_every_machine_again_under_numbers_without_a_gap(tiled: tuple[Path, Path]) -> None:
    source, target = tiled
    assert asked(target, "PRAGMA foreign_key_check") == []
    numbers = [row[0] for row in asked(target, "SELECT number FROM entry ORDER BY number")]
    assert numbers == list(range(1, len(numbers) + 1))
    schema = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name"
    assert asked(target, schema) == asked(source, schema)
    with pytest.raises(sqlite3.IntegrityError, match="is history"):
        asked(target, "DELETE FROM job")
    site = Reader(make_engine(Settings(book=str(source)))).sites()[0].site_id
    before, after = (Reader(make_engine(Settings(book=str(path)))) for path in (source, target))
    old, new = before.history(site), after.history(site)
    assert (len(new.jobs), len(new.assets), len(new.breaks.asset)) == tuple(
        TIMES * n for n in (len(old.jobs), len(old.assets), len(old.breaks.asset))
    )
    n = len(old.assets)
    for again in range(TIMES):
        mine = new.jobs.take(new.jobs.asset // n == again)
        for name in ("found", "left", "left_ratio", "performed_us", "person", "soft_before"):
            np.testing.assert_array_equal(getattr(mine, name), getattr(old.jobs, name))
        mark = f"-{again}" if again else ""
        for number, tag in enumerate(old.assets.tag.tolist()):
            assert new.assets.tag[again * n + number] == f"{tag}{mark}"
            was, now = before.story(site, tag), after.story(site, f"{tag}{mark}")
            assert was is not None
            assert now is not None
            assert [line.job.ref for line in now.jobs] == [f"{line.job.ref}{mark}" for line in was.jobs]
            assert [line.job.found for line in now.jobs] == [line.job.found for line in was.jobs]
    page = after.entries(site, EntryFilter(tag=f"P-1-{TIMES - 1}"))
    assert {line.detail for line in page.lines} >= {f"J1-{TIMES - 1}", f"J2-{TIMES - 1}"}


def test_the_rows_of_a_book_go_in_as_mapped_objects_in_a_process_of_their_own(
    tiled: tuple[Path, Path], tmp_path: Path
) -> None:
    """Only there it shows whether all tables are known to which the three point."""
    apart("mapped", tiled[0], tmp_path / "mapped.db")
    for table in ("entry", "job", "statement"):
        question = f"SELECT count(*) FROM {table}"
        assert asked(tmp_path / "mapped.db", question) == asked(tiled[0], question)


def test_the_source_of_a_tiled_book_stays_as_it_is(sqlite_book: Settings, tmp_path: Path) -> None:
    site, source = make_site(sqlite_book), Path(sqlite_book.book)
    engine = make_engine(sqlite_book)
    seed(engine, site, tmp_path)
    engine.dispose()
    was = source.read_bytes()
    tile(source, tmp_path / "tiled.db", 2)
    assert source.read_bytes() == was
    with pytest.raises(SystemExit, match="there already"):
        tile(source, tmp_path / "tiled.db", 2)


class Unread(MadeBook):
    """A book whose history cannot be read before a gate is open."""

    def __init__(self, made: MadeBook) -> None:
        super().__init__(made.stories, made.at_site, made.instrument_list, made.limits)
        self.gate = threading.Event()

    def history(self, site_id: int) -> History:
        assert self.gate.wait(20)
        return super().history(site_id)


def test_a_benchmark_waits_for_a_picture_no_longer_than_it_was_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboard.picture.QUICK", 1)
    monkeypatch.setattr(pictures, "PATIENCE_S", 0.05)
    book: Any = Unread(made_book(assets=4))
    app = create_app(Settings(), book)
    with pytest.raises(SystemExit, match=r"nothing was read yet.*--patience"):
        whole_picture(app, book, 0.3)
    book.gate.set()
    assert len(whole_picture(app, book, 60.0).jobs)
