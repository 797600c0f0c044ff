"""Bytes of a book that change on their disk: found when it is opened, backed up or restored, and said in words."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.cli import main
from models.commands.backup import back_up
from models.commands.restore import restore
from models.errors import BackupError, BookDamagedError, BookExistsError, DriftbookError, UnreadableFileError
from models.settings import Settings
from models.store.engine import make_engine
from models.store.verify import verify_book
from tests.conftest import make_site
from tests.recorder import machines
from tests.seeded import bring_in, contents


@pytest.fixture
def book(tmp_path: Path) -> Settings:
    settings = Settings(book=str(tmp_path / "book.db"))
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(400))
    assert bring_in(engine, site, sheet).written
    engine.dispose()
    return settings


def page_of(path: Path, name: str) -> tuple[int, int]:
    """Give where the root page of a table or index stands in the file, and how long a page is."""
    with closing(sqlite3.connect(path)) as plain:
        size = plain.execute("PRAGMA page_size").fetchone()[0]
        root = plain.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (name,)).fetchone()[0]
    return (root - 1) * size, size


def flip(path: Path, start: int, length: int) -> None:
    """Turn every bit of some bytes round."""
    with path.open("r+b") as stream:
        stream.seek(start)
        old = stream.read(length)
        stream.seek(start)
        stream.write(bytes(byte ^ 0xFF for byte in old))


def refused(settings: Settings, target: Path) -> DriftbookError:
    engine = make_engine(settings)
    try:
        with pytest.raises((BackupError, BookDamagedError)) as told:
            back_up(settings, engine, target)
    finally:
        engine.dispose()
    assert not target.exists()
    assert list(target.parent.glob(".driftbook-*")) == []
    return told.value


@pytest.mark.parametrize("name", ["entry", "statement", "asset_version", "ix_entry_site_id_at_us"])
def test_a_damaged_page_is_told_and_no_backup_is_made_of_it(book: Settings, name: str, tmp_path: Path) -> None:
    start, size = page_of(book.path, name)
    flip(book.path, start, size // 4)
    told = refused(book, tmp_path / "copy.db")
    assert "damaged" in told.message
    assert "driftbook restore" in told.remedy


def test_the_first_page_is_told_when_the_book_is_opened(
    book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    flip(book.path, 100, 60)
    assert main(["site", "--book", str(book.path)]) == 2
    said = capsys.readouterr().err
    assert "Traceback" not in said
    assert "book.db" in said
    refused(book, tmp_path / "copy.db")


def test_a_damaged_page_is_told_by_a_command_that_reads_it(book: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    start, size = page_of(book.path, "site_version")
    flip(book.path, start, size)
    assert main(["site", "--book", str(book.path)]) == 2
    said = capsys.readouterr().err
    assert "is damaged" in said
    assert "driftbook restore" in said
    assert "Traceback" not in said


def test_verify_names_the_entries_of_a_damaged_page_and_looks_at_all_others(
    book: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    start, size = page_of(book.path, "statement")
    root = book.path.read_bytes()[start : start + size]
    last_leaf = int.from_bytes(root[8:12], "big")  # of an interior page its right-most child
    flip(book.path, (last_leaf - 1) * size, size // 4)
    assert main(["verify", "--json", "--book", str(book.path)]) == 1
    said = json.loads(capsys.readouterr().out)
    gone = next(one for one in said["findings"] if one["fault"] == "unreadable" and one["entry"])
    assert 3 < gone["entry"] < gone["upto"] == said["entries"], "only its own entries"
    assert said["intact"] == gone["entry"] - 1
    assert main(["verify", "--book", str(book.path)]) == 1
    told = capsys.readouterr().out
    assert f"entries {gone['entry']} to {gone['upto']} cannot be looked at" in told
    assert "driftbook restore" in told

    flip(book.path, *page_of(book.path, "book_key"))  # nothing can be held against anything without it
    assert main(["verify", "--book", str(book.path)]) == 2
    assert "driftbook verify" not in capsys.readouterr().err


def test_verify_looks_at_every_entry_though_all_indexes_are_damaged(
    book: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    """No index is needed to hold an entry against its statement."""
    with closing(sqlite3.connect(book.path)) as plain:
        names = [row[0] for row in plain.execute("SELECT name FROM sqlite_master WHERE type = 'index'")]
    for name in names:
        flip(book.path, *page_of(book.path, name))
    assert main(["verify", "--json", "--book", str(book.path)]) == 1
    said = json.loads(capsys.readouterr().out)
    assert said["intact"] == said["entries"] > 400
    assert {one["fault"] for one in said["findings"]} == {"unreadable"}
    assert {"entry", "limit_row"} < {one["table"] for one in said["findings"]}
    assert main(["verify", "--book", str(book.path)]) == 1
    told = capsys.readouterr().out
    assert "entry: a page of it, or of one of its indexes, is damaged" in told
    assert "driftbook restore" in told


def test_no_stretch_reads_a_whole_table_while_the_file_is_whole(book: Settings) -> None:
    engine = make_engine(book)
    asked: list[tuple[str, Any]] = []
    sa.event.listen(engine, "before_cursor_execute", lambda *given: asked.append((given[2], given[3])))
    with engine.connect() as connection:
        verify_book(connection)
        stretches = [one for one in asked if "BETWEEN" in one[0]]
        assert len(stretches) > 10
        for question, given in stretches:
            plan = [row[3] for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {question}", given)]
            assert [line for line in plan if line.startswith("SCAN")] == [], question
    engine.dispose()


@pytest.mark.parametrize("beside", ["", "ix_entry_site_id_at_us"])
def test_verify_goes_on_where_the_last_page_of_the_entries_is_damaged(
    book: Settings, beside: str, capsys: pytest.CaptureFixture[str]
) -> None:
    start, size = page_of(book.path, "entry")
    root = book.path.read_bytes()[start : start + size]
    flip(book.path, (int.from_bytes(root[8:12], "big") - 1) * size, size // 4)
    if beside:
        flip(book.path, *page_of(book.path, beside))
    assert main(["verify", "--json", "--book", str(book.path)]) == 1
    said = json.loads(capsys.readouterr().out)
    gone = next(one for one in said["findings"] if one["fault"] == "unreadable" and one["entry"])
    assert said["entries"] == gone["upto"] > 400, "heads and statements say how far the numbers run"
    assert said["intact"] == gone["entry"] - 1 > 100


def test_a_value_that_changed_within_a_whole_page_is_found_by_its_statement(book: Settings, tmp_path: Path) -> None:
    """SQLite itself cannot see this: the page is well formed, and only says something else."""
    data = book.path.read_bytes()
    start, _ = page_of(book.path, "asset_version")
    text = b"made for a test"
    at = data.find(text, start)
    assert at > 0
    with book.path.open("r+b") as stream:
        stream.seek(at)
        stream.write(b"made for a jest")
    with closing(sqlite3.connect(book.path)) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    told = refused(book, tmp_path / "copy.db")
    assert "column" in told.message
    assert "driftbook verify" in told.remedy


def test_a_backup_is_the_book_and_comes_back_as_it_was(book: Settings, tmp_path: Path) -> None:
    engine = make_engine(book)
    before = contents(engine)
    made = back_up(book, engine, tmp_path / "copy.db")
    with pytest.raises(BookExistsError, match="not overwritten"):
        back_up(book, engine, made.path)
    with pytest.raises(BookExistsError, match="not overwritten"):
        restore(made.path, book)
    engine.dispose()
    assert made.path.stat().st_mode & 0o077 == 0
    again = Settings(book=str(tmp_path / "again.db"))
    assert restore(made.path, again) is not None
    engine = make_engine(again)
    assert contents(engine) == before
    engine.dispose()


def test_a_damaged_backup_makes_no_book(book: Settings, tmp_path: Path) -> None:
    engine = make_engine(book)
    made = back_up(book, engine, tmp_path / "copy.db")
    engine.dispose()
    start, size = page_of(made.path, "entry")
    flip(made.path, start, size // 2)
    with pytest.raises(BookDamagedError, match=r"copy\.db is damaged"):
        restore(made.path, Settings(book=str(tmp_path / "again.db")))
    assert not (tmp_path / "again.db").exists()
    (tmp_path / "cut.db").write_bytes(made.path.read_bytes()[:1000])
    (tmp_path / "none.db").write_text("tag,description\n")
    for name in ("cut.db", "none.db", "missing.db"):
        with pytest.raises(DriftbookError):
            restore(tmp_path / name, Settings(book=str(tmp_path / "again.db")))
    with closing(sqlite3.connect(tmp_path / "other.db")) as plain:
        plain.execute("CREATE TABLE something (x)")
    with pytest.raises(UnreadableFileError, match="holds no book"):
        restore(tmp_path / "other.db", Settings(book=str(tmp_path / "again.db")))
    assert not (tmp_path / "again.db").exists()


@pytest.mark.usefixtures("book")
def test_the_commands_say_what_a_backup_holds_and_what_it_does_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    assert main(["backup", "--book", "book.db"]) == 0
    said = capsys.readouterr().out
    made = next(tmp_path.glob("book-*.backup.db"))
    assert made.name in said
    assert "taken back once and is whole" in said
    assert "key file is not in it" in said
    assert b"PRIVATE KEY" not in made.read_bytes()
    head = said.splitlines()[2:5]
    assert main(["restore", made.name, "--book", "again.db"]) == 0
    said = capsys.readouterr().out
    assert said.splitlines()[2:5] == head, "the same head is told, to be held against one that was kept elsewhere"
    assert f"The key file {tmp_path / 'again.db.key'} is not there" in said
    assert 'driftbook key --set --why "…"' in said
    assert main(["key", "--set", "--why", "the old one was lost", "--by", "tester", "--book", "again.db"]) == 0
    capsys.readouterr()
    for way in ("stop the server", "end in -wal and -shm", "only then"):
        assert way in said
    assert main(["restore", made.name, "--book", "again.db"]) == 2
    said = capsys.readouterr().err
    assert "not overwritten" in said
    for way in ("stop the server", "end in -wal and -shm", "only then"):
        assert way in said
    assert main(["grants", "--role", "app", "--apply", "--book", "again.db"]) == 2
    assert "has no roles" in capsys.readouterr().err
    assert main(["grants", "--role", "app"]) == 0
    assert "GRANT SELECT, INSERT ON public.site, public.entry" in capsys.readouterr().out
