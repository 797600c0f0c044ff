"""A disk that is full or read-only: what was recorded stays, what was not is said, and it goes on afterwards."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.cli import main
from models.commands.backup import back_up
from models.commands.record_job import record_job
from models.commands.restore import restore
from models.errors import BackupError, BookReadOnlyError, NoRoomError
from models.settings import Settings
from models.store.backup import check_file
from models.store.engine import make_engine
from models.store.file_open import read_only_if_it_must
from models.store.reader import Reader
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.faults.conftest import Disk
from tests.recorder import job_of, machines
from tests.seeded import bring_in, contents

LATER = NOW + timedelta(minutes=1)


@dataclass
class Filled:
    settings: Settings
    engine: sa.Engine
    site: Site
    disk: Disk
    elsewhere: Path

    def record(self, number: int) -> None:
        record_job(self.engine, self.site, job_of(0, number), by="tester", now=LATER, bolts_tight=True)


@pytest.fixture
def book(disk: Disk, tmp_path: Path) -> Iterator[Filled]:
    settings = Settings(book=str(disk.path / "book.db"), key=tmp_path / "book.key")
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(3))
    assert bring_in(engine, site, sheet).written
    yield Filled(settings, engine, site, disk, tmp_path)
    engine.dispose()


def test_a_full_disk_refuses_a_job_in_words_keeps_all_and_goes_on_when_there_is_room(book: Filled) -> None:
    book.record(0)
    before = contents(book.engine)
    filler = book.disk.fill()
    refused = None
    for number in range(1, 200):  # what SQLite has set aside beside the book may hold a few more
        try:
            book.record(number)
        except NoRoomError as fault:
            refused = fault
            break
        before = contents(book.engine)
    assert refused is not None
    assert "disk of the book" in refused.message
    assert "Make room" in refused.remedy
    assert contents(book.engine) == before
    story = Reader(book.engine).story(book.site.site_id, "M-0")
    assert story is not None
    assert len(story.jobs) == len(before["job"])  # reading goes on

    filler.unlink()
    book.record(len(before["job"]))
    assert len(contents(book.engine)["job"]) == len(before["job"]) + 1
    book.engine.dispose()
    assert check_file(book.settings.path, {}).checked.unsealed == 0


def test_an_import_that_fills_the_disk_leaves_nothing_of_itself(book: Filled) -> None:
    sheet = book.elsewhere / "more.csv"
    head, *rows = machines(30_000).splitlines()
    long = "text " * 100
    named = (row.replace("M-", "N-").replace("made for a test", long) for row in rows)
    sheet.write_text("\n".join([head, *named]) + "\n")
    before = contents(book.engine)
    with pytest.raises(NoRoomError):
        bring_in(book.engine, book.site, sheet)
    assert contents(book.engine) == before
    book.record(0)
    assert len(contents(book.engine)["job"]) == 1


def test_the_command_says_it_without_a_traceback(
    book: Filled, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    sheet = tmp_path / "many.csv"
    sheet.write_text(machines(60_000).replace("M-", "X-"))
    book.disk.fill()
    assert main(["import", str(sheet), "--book", str(book.settings.path), "--by", "tester"]) == 2
    said = capsys.readouterr().err
    assert "is full" in said
    assert "Make room on that disk" in said
    assert "Traceback" not in said


@pytest.mark.parametrize("room", [0, 192 << 10], ids=["none", "too little"])
def test_a_backup_onto_a_full_disk_leaves_nothing_behind(disk: Disk, settings: Settings, room: int) -> None:
    """From a file and from a server: what is said names the folder that was given, not the file that nobody knows."""
    make_site(settings)
    engine = make_engine(settings)
    filler = disk.fill()
    with filler.open("r+b") as stream:
        stream.truncate(filler.stat().st_size - room)
    there = sorted(disk.path.iterdir())
    with pytest.raises(BackupError, match=r"full|No space") as told:
        back_up(settings, engine, disk.path / "copy.db")
    engine.dispose()
    assert sorted(disk.path.iterdir()) == there
    assert f"The backup cannot be written to {disk.path}: " in told.value.message
    assert "-o FILE" in told.value.remedy
    for wrong in (".driftbook-", "making", "recorded", "The book"):
        assert wrong not in str(told.value)


def test_a_backup_taken_back_onto_a_full_disk_leaves_nothing_behind(
    disk: Disk, sqlite_book: Settings, tmp_path: Path
) -> None:
    make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    made = back_up(sqlite_book, engine, tmp_path / "copy.db").path
    engine.dispose()
    filler = disk.fill()
    with filler.open("r+b") as stream:
        stream.truncate(filler.stat().st_size - (64 << 10))
    there = sorted(disk.path.iterdir())
    with pytest.raises(BackupError, match=r"The book cannot be made in .*: its disk is full") as told:
        restore(made, Settings(book=str(disk.path / "again.db")))
    assert ".driftbook-" not in str(told.value)
    assert sorted(disk.path.iterdir()) == there


def test_a_disk_that_becomes_read_only_refuses_in_words_can_be_backed_up_and_goes_on(
    book: Filled, capsys: pytest.CaptureFixture[str]
) -> None:
    book.record(0)
    book.engine.dispose()
    before = contents(book.engine)
    book.engine.dispose()
    book.disk.mount_again("ro")
    with pytest.raises(BookReadOnlyError) as told:
        book.record(1)
    assert "mount the disk for writing" in told.value.remedy
    made = back_up(book.settings, book.engine, book.elsewhere / "saved.db")  # now is when a backup is wanted
    assert made.copied.checked.entries == len(before["entry"])
    _read_by_command(book)
    capsys.readouterr()
    assert contents(book.engine) == before  # by a connection that stays in the pool
    book.disk.mount_again("rw")
    book.record(1)
    assert len(contents(book.engine)["job"]) == 2


def test_a_book_is_not_read_past_jobs_that_wait_beside_it_nor_while_somebody_may_write(tmp_path: Path) -> None:
    settings = Settings(book=str(tmp_path / "book.db"))
    make_site(settings)
    fault = sqlite3.OperationalError("unable to open database file")
    fault.sqlite_errorname = "SQLITE_CANTOPEN"
    read_only_if_it_must(settings, fault, sqlite3.connect).close()
    wal, shm = (tmp_path / f"book.db{end}" for end in ("-wal", "-shm"))
    wal.write_bytes(b"")
    shm.write_bytes(b"\0" * 4096)  # what a full disk leaves of a try
    read_only_if_it_must(settings, fault, sqlite3.connect).close()
    wal.write_bytes(b"\0" * 32)
    with pytest.raises(BookReadOnlyError, match=r"newest entries wait in book\.db-wal") as told:
        read_only_if_it_must(settings, fault, sqlite3.connect)
    assert "Copy book.db and book.db-wal together" in told.value.remedy
    wal.unlink()
    shm.write_bytes(b"\0" * (32 << 10))
    with pytest.raises(sqlite3.OperationalError, match="unable to open"):
        read_only_if_it_must(settings, fault, sqlite3.connect)


def test_jobs_that_wait_beside_a_book_are_seen_by_whatever_link_it_is_called(tmp_path: Path) -> None:
    """Two links in a row, the second relative, in a folder that is one: SQLite keeps its files beside the book itself."""
    for name in ("real", "links"):
        (tmp_path / name).mkdir()
    make_site(Settings(book=str(tmp_path / "real" / "book.db")))
    (tmp_path / "links" / "plant.db").symlink_to("../real/book.db")
    (tmp_path / "folder").symlink_to(tmp_path / "links")
    (tmp_path / "today.db").symlink_to(tmp_path / "folder" / "plant.db")
    settings = Settings(book=str(tmp_path / "today.db"))
    fault = sqlite3.OperationalError("attempt to write a readonly database")
    fault.sqlite_errorname = "SQLITE_READONLY"
    read_only_if_it_must(settings, fault, sqlite3.connect).close()
    waiting = tmp_path / "real" / "book.db-wal"
    waiting.write_bytes(b"\0" * 32)
    with pytest.raises(BookReadOnlyError, match=r"today\.db cannot be opened") as told:
        read_only_if_it_must(settings, fault, sqlite3.connect)
    assert f"Copy {tmp_path / 'real' / 'book.db'} and {waiting} together" in told.value.remedy


def test_a_folder_without_room_for_the_backup_is_said(tmp_path: Path) -> None:
    settings = Settings(book=str(tmp_path / "book.db"))
    make_site(settings)
    engine = make_engine(settings)
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    with pytest.raises(BackupError, match="cannot be written"):
        back_up(settings, engine, blocked / "copy.db")
    engine.dispose()


def _read_by_command(book: Filled) -> None:
    """Read and back up a book whose files -wal and -shm are not there and cannot be made."""
    place = book.settings.path
    assert [one.name for one in place.parent.iterdir() if one.name.startswith("book.db-")] == []
    saved = book.elsewhere / "by-command.db"
    for typed in (["backup", "-o", str(saved)], ["verify"], ["head"], ["table", "due"]):
        assert main([*typed, "--book", str(place)]) == 0
    assert saved.stat().st_size > 0


def test_what_is_read_from_a_full_disk_is_whole(book: Filled, capsys: pytest.CaptureFixture[str]) -> None:
    for number in range(5):
        book.record(number)
    book.engine.dispose()
    book.disk.fill()
    _read_by_command(book)
    capsys.readouterr()
    with pytest.raises(NoRoomError, match="is full"):
        book.record(5)
    # Not as usual: on a full disk SQLite has no room for what it keeps beside a book.
    with closing(sqlite3.connect(f"{book.settings.path.as_uri()}?immutable=1", uri=True)) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert plain.execute("SELECT count(*) FROM job").fetchone() == (5,)
