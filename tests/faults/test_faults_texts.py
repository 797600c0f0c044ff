"""Texts of a book whose bytes changed on the disk: told as damage by every command that reads them, and never printed."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from dashboard.cli import main
from models.commands.backup import back_up
from models.errors import UndecodableTextError
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from tests.conftest import make_site
from tests.recorder import machines
from tests.seeded import bring_in

KNOWN = "made for a test"
"""The description of every machine, in its row and in its statement."""


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Settings:
    monkeypatch.chdir(tmp_path)
    settings = Settings(book=str(tmp_path / "book.db"))
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(40))
    assert bring_in(engine, site, sheet).written
    engine.dispose()
    return settings


def spoil(path: Path, table: str, column: str) -> None:
    """Let one text of a table hold bytes that are no UTF-8, without a word to SQLite: its page stays well formed."""
    with closing(sqlite3.connect(path)) as plain:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        kept = plain.execute(
            f"SELECT CAST({column} AS BLOB) FROM {table} WHERE {column} LIKE ? LIMIT 1", (f"%{KNOWN}%",)
        ).fetchone()[0]
    data = path.read_bytes()
    assert data.count(kept) == 1 or table != "statement"
    at = data.index(kept)
    with path.open("r+b") as stream:
        stream.seek(at + kept.index(KNOWN.encode()))
        stream.write(b"made for \xff\xfe\xfdest")
    with closing(sqlite3.connect(path)) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_backup_with_a_text_that_is_none_makes_no_book_and_says_nothing_of_its_rows(
    book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    engine = make_engine(book)
    made = back_up(book, engine, tmp_path / "copy.db")
    engine.dispose()
    spoil(made.path, "statement", "said")
    assert main(["restore", str(made.path), "--book", str(tmp_path / "again.db")]) == 2
    said = capsys.readouterr().err
    assert f"The backup {made.path} is damaged: a text in column said is not written in UTF-8." in said
    assert "No book was made. Take another backup." in said
    assert "driftbook verify" in said
    assert_tells_no_row(said, tmp_path)
    assert not (tmp_path / "again.db").exists()


@pytest.mark.parametrize("command", ["backup", "export", "move"])
@pytest.mark.parametrize(("table", "column"), [("statement", "said"), ("asset_version", "description")])
def test_commands_that_read_the_whole_book_tell_it_as_damage(
    book: Settings, command: str, table: str, column: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spoil(book.path, table, column)
    out = {"backup": ["-o", "out.db"], "export": ["out"], "move": ["--to", "out.db"]}[command]
    assert main([command, *out, "--book", book.book]) == 2
    said = capsys.readouterr().err
    assert f"The book {book.path} is damaged: a text in column {column} is not written in UTF-8." in said
    assert "driftbook restore FILE" in said
    assert "driftbook verify" in said
    assert ".driftbook-" not in said
    assert_tells_no_row(said, tmp_path)
    assert not list(tmp_path.glob("out*"))
    assert main(["verify", "--book", book.book]) == 1, "verify goes on, and names it"
    assert "entry" in capsys.readouterr().out


def test_a_page_that_reads_such_a_text_gets_the_same_words(book: Settings) -> None:
    spoil(book.path, "asset_version", "description")
    engine = make_engine(book)
    with pytest.raises(UndecodableTextError) as told:
        Reader(engine).history(1)
    assert KNOWN[:8] not in str(told.value)
    engine.dispose()


def test_a_text_that_was_asked_for_by_no_plain_name_is_not_printed_either(book: Settings) -> None:
    spoil(book.path, "asset_version", "description")
    engine = make_engine(book)
    with engine.connect() as connection, pytest.raises(UndecodableTextError, match="a text is not") as told:
        connection.exec_driver_sql("SELECT description || ' ' FROM asset_version").all()
    assert KNOWN[:8] not in str(told.value)
    engine.dispose()


@pytest.mark.parametrize("command", ["site", "verify", "backup", "upgrade", "init"])
def test_names_of_tables_that_cannot_be_read_are_told_as_damage(
    book: Settings, command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """SQLite's own message then holds the bytes, and Python's driver cannot make a text of it."""
    spoil_schema(book.path)
    more = {"init": ["--site", "Second", "--zone", "UTC"]}.get(command, [])
    assert main([command, "--book", book.book, *more]) == 2
    said = capsys.readouterr().err
    assert f"The book {book.path} is damaged: the names of its tables cannot be read." in said
    assert_tells_no_row(said, tmp_path)


def test_a_backup_with_names_that_cannot_be_read_is_told_as_damaged(
    book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    engine = make_engine(book)
    made = back_up(book, engine, tmp_path / "copy.db")
    engine.dispose()
    spoil_schema(made.path)
    assert main(["restore", str(made.path), "--book", str(tmp_path / "again.db")]) == 2
    said = capsys.readouterr().err
    assert f"The backup {made.path} is damaged: the names of its tables cannot be read." in said
    assert "Take another backup" in said
    assert_tells_no_row(said, tmp_path)


def spoil_schema(path: Path) -> None:
    """Let the name and the text of a trigger be what nobody can read."""
    with closing(sqlite3.connect(path)) as plain:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = path.read_bytes()
    text = data.index(b"CREATE TRIGGER guard_entry_update")
    name = data.rindex(b"guard_entry_update", 0, text)
    with path.open("r+b") as stream:
        stream.seek(text)
        stream.write(b"CRXATE")
        stream.seek(name)
        stream.write(b"guard_\xcc\xff")


def assert_tells_no_row(said: str, folder: Path) -> None:
    assert KNOWN[:8] not in said
    assert "M-" not in said
    assert "did not work" not in said
    assert not (folder / "driftbook-fault.log").exists()
