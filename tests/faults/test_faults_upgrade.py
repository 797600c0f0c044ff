"""Upgrades that cannot be finished, and books of another revision: nothing is changed, nothing is left, and it is said what to do."""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.cli import main
from models.commands.backup import back_up
from models.commands.restore import restore
from models.commands.upgrade_book import upgrade_book
from models.errors import BookBusyError, NoRoomError, WrongRevisionError
from models.settings import Settings
from models.store.copy_aside import PART
from models.store.engine import make_engine
from models.store.revision import downgrade, needed_revision, revision_of, revisions, upgrade
from models.store.verify import verify_book
from tests.conftest import make_site
from tests.faults.conftest import Disk
from tests.recorder import machines
from tests.seeded import bring_in, contents

ROOT = Path(__file__).parents[2]
FIRST = revisions()[0]
FUTURE = "9999_from_the_future"


def at_revision(settings: Settings) -> str | None:
    engine = make_engine(settings)
    try:
        return revision_of(engine)
    finally:
        engine.dispose()


def say_revision(settings: Settings, name: str) -> None:
    engine = make_engine(settings)
    with engine.begin() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = :name"), {"name": name})
    engine.dispose()


def beside(path: Path) -> list[str]:
    """Give the files of a folder but those that SQLite keeps beside a book that is open."""
    return sorted(one.name for one in path.parent.iterdir() if not one.name.endswith(("-wal", "-shm")))


def plant(settings: Settings, folder: Path, count: int) -> None:
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = folder / "machines.csv"
    sheet.write_text(machines(count))
    assert bring_in(engine, site, sheet).written
    engine.dispose()


@pytest.mark.parametrize("revision", [FUTURE, FIRST])
def test_no_site_is_put_into_a_book_of_another_revision(
    settings: Settings, revision: str, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(settings)
    if revision == FIRST:
        downgrade(settings, FIRST)
    else:
        say_revision(settings, revision)
    engine = make_engine(settings)
    before = _entries(engine)
    assert main(["init", "--book", settings.book, "--site", "Second", "--zone", "UTC", "--by", "tester"]) == 2
    said = capsys.readouterr().err
    assert revision in said
    assert ("a newer one wrote it" if revision == FUTURE else "driftbook upgrade") in said
    assert "did not work" not in said
    assert _entries(engine) == before
    engine.dispose()


def _entries(engine: sa.Engine) -> int:
    with engine.connect() as connection:
        return int(connection.exec_driver_sql("SELECT count(*) FROM entry").scalar_one())


def test_an_upgrade_of_a_newer_book_is_refused_before_anything_is_copied(
    settings: Settings, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    make_site(settings)
    say_revision(settings, FUTURE)
    there = beside(tmp_path / "any")
    assert main(["upgrade", "--book", settings.book, "--by", "tester"]) == 2
    said = capsys.readouterr().err
    assert f"is at revision {FUTURE}, which this version does not know: a newer one wrote it" in said
    assert "driftbook --version" in said
    assert beside(tmp_path / "any") == there
    with pytest.raises(WrongRevisionError):
        upgrade(settings)
    assert at_revision(settings) == FUTURE


def test_a_backup_of_a_newer_book_is_refused_by_file_and_by_server(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    made = back_up(sqlite_book, engine, tmp_path / "copy.db").path
    engine.dispose()
    say_revision(Settings(book=str(made)), FUTURE)
    assert main(["restore", str(made), "--book", str(tmp_path / "new.db")]) == 2
    said = capsys.readouterr().err
    assert "copy.db is at revision 9999" in said
    assert "a newer one wrote it" in said
    assert "driftbook upgrade" not in said
    assert not (tmp_path / "new.db").exists()
    with pytest.raises(WrongRevisionError, match="a newer one"):
        restore(made, Settings(book="postgresql://nobody@nowhere/none"))


def test_a_server_of_an_older_revision_takes_no_backup(
    settings: Settings, sqlite_template: Path, tmp_path: Path
) -> None:
    if settings.is_file:
        pytest.skip("a file that is there is never restored into")
    backup = tmp_path / "backup.db"
    backup.write_bytes(sqlite_template.read_bytes())
    downgrade(settings, FIRST)
    with pytest.raises(WrongRevisionError, match=f"is at revision {FIRST}; this version needs"):
        restore(backup, settings)


def test_what_belongs_to_an_upgrade_is_done_with_it_or_neither_is(settings: Settings, tmp_path: Path) -> None:
    make_site(settings)
    downgrade(settings, FIRST)

    def broken(connection: sa.Connection) -> None:
        connection.exec_driver_sql("DELETE FROM alembic_version")
        raise RuntimeError("the power went")

    with pytest.raises(RuntimeError, match="the power went"):
        upgrade(settings, then=broken)
    assert at_revision(settings) == FIRST
    if settings.is_file:
        assert len(list(tmp_path.glob("*.before-*"))) == 1, "what went wrong is not known: the copy stays"


def test_a_copy_aside_that_does_not_fit_leaves_nothing(disk: Disk, capsys: pytest.CaptureFixture[str]) -> None:
    settings = Settings(book=str(disk.path / "book.db"))
    plant(settings, disk.path, 400)
    downgrade(settings, FIRST)
    filler = disk.fill()
    with filler.open("r+b") as stream:  # what SQLite keeps beside a book that is only read has room
        stream.truncate(filler.stat().st_size - (256 << 10))
    there = beside(settings.path)
    assert settings.path.stat().st_size > 256 << 10
    assert main(["upgrade", "--book", settings.book, "--by", "tester"]) == 2
    said = capsys.readouterr().err
    assert "no room beside the book" in said
    assert "Nothing was changed. Make room" in said
    assert f"driftbook upgrade --book {settings.path}" in said
    assert beside(settings.path) == there
    assert at_revision(settings) == FIRST
    filler.unlink()
    assert main(["upgrade", "--book", settings.book, "--by", "tester"]) == 0


def test_an_upgrade_that_does_not_fit_leaves_the_book_as_it_was_and_no_copy(
    disk: Disk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """There is room for the copy and for the new tables, and none for the statements of all entries."""
    settings = Settings(book=str(disk.path / "book.db"), key=tmp_path / "book.key")
    plant(settings, tmp_path, 6_000)
    downgrade(settings, FIRST)
    with closing(sqlite3.connect(settings.path)) as plain:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        plain.execute("VACUUM")
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    size = settings.path.stat().st_size
    filler = disk.fill()
    with filler.open("r+b") as stream:
        stream.truncate(filler.stat().st_size - size - (2 << 20))
    there = beside(settings.path)
    assert main(["upgrade", "--book", settings.book, "--by", "tester"]) == 2
    said = capsys.readouterr().err
    assert "is full: it was not upgraded" in said
    assert "The book is as it was before. Make room on that disk, then type the same again." in said
    assert beside(settings.path) == there
    assert at_revision(settings) == FIRST
    filler.unlink()
    assert main(["upgrade", "--book", settings.book, "--by", "tester"]) == 0
    assert "Sealed 6,0" in capsys.readouterr().out
    engine = make_engine(settings)
    with engine.connect() as connection:
        assert verify_book(connection).faults() == 0
    engine.dispose()


UPGRADE = """
import sys
from models.commands.upgrade_book import upgrade_book
from models.settings import Settings
print("ready", flush=True)
upgrade_book(Settings(book=sys.argv[1]), has_backup=True)
print("done", flush=True)
"""


def test_an_upgrade_that_is_killed_has_happened_with_its_seals_or_has_not(settings: Settings, tmp_path: Path) -> None:
    plant(settings, tmp_path, 1_500)
    downgrade(settings, FIRST)
    moments = random.Random(11)
    for longest in (0.15, 0.4, 0.8):
        with subprocess.Popen(
            [sys.executable, "-c", UPGRADE, settings.book], stdout=subprocess.PIPE, text=True, cwd=ROOT
        ) as process:
            assert process.stdout is not None
            assert process.stdout.readline().strip() == "ready"
            time.sleep(moments.uniform(longest / 2, longest))
            process.kill()
        found = at_revision(settings)
        assert found in {FIRST, needed_revision()}
        if found == needed_revision():
            break
    for copy in tmp_path.glob("*.before-*"):
        if PART not in copy.suffix:  # what has no name of its own yet is no copy, nor is what SQLite wrote beside it
            with closing(sqlite3.connect(copy)) as plain:
                assert plain.execute("SELECT count(*) FROM asset").fetchone() == (1_500,)
    upgrade_book(settings, has_backup=True)
    engine = make_engine(settings)
    with engine.connect() as connection:
        assert verify_book(connection).faults() == 0
    engine.dispose()


def test_a_new_book_that_does_not_fit_is_taken_away(disk: Disk) -> None:
    disk.fill()
    there = beside(disk.path / "book.db")
    with pytest.raises(NoRoomError, match="it was not made"):
        make_site(Settings(book=str(disk.path / "book.db")))
    assert beside(disk.path / "book.db") == there


def test_a_book_that_others_write_to_is_said_to_be_busy_and_leaves_no_copy(
    sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_site(sqlite_book)
    downgrade(sqlite_book, FIRST)
    monkeypatch.setattr("models.store.engine.BUSY_MS", 50)
    with closing(sqlite3.connect(sqlite_book.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(BookBusyError, match="is busy"):
            upgrade(sqlite_book)
        other.execute("ROLLBACK")
    assert not list(tmp_path.glob("*.before-*"))
    assert at_revision(sqlite_book) == FIRST


def test_copies_of_the_same_second_have_names_of_their_own_and_are_whole(sqlite_book: Settings) -> None:
    make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    before = contents(engine)
    copies = [upgrade(sqlite_book) for _ in range(4)]
    assert len(set(copies)) == 4
    assert not list(sqlite_book.path.parent.glob("*.part"))
    for copy in copies:
        assert copy is not None
        other = make_engine(Settings(book=str(copy)))
        assert contents(other) == before
        other.dispose()
    engine.dispose()


def test_books_and_copies_of_them_are_for_their_owner(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """They hold hashes of passwords; what SQLite keeps beside a book holds the same rows."""
    settings = Settings(book=str(tmp_path / "new" / "book.db"))
    plant(settings, tmp_path, 3)
    engine = make_engine(settings)
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        connection.exec_driver_sql("DELETE FROM login_session")
        names = {one.name: one.stat().st_mode & 0o777 for one in settings.path.parent.iterdir()}
        assert {f"book.db{end}" for end in ("", "-wal", "-shm")} <= set(names)
        assert set(names.values()) == {0o600}, names
    engine.dispose()
    target = tmp_path / "moved.db"
    assert main(["move", "--book", settings.book, "--to", str(target)]) == 0
    assert target.stat().st_mode & 0o777 == 0o600
    settings.path.chmod(0o644)
    copy = upgrade(settings)
    assert copy is not None
    assert copy.stat().st_mode & 0o777 == 0o600
    assert settings.path.stat().st_mode & 0o777 == 0o644, "the rights of a book that is there are its owner's matter"
    settings.path.parent.chmod(0o755)
    for rights, told in ((0o644, True), (0o660, False)):
        settings.path.chmod(rights)
        capsys.readouterr()
        assert main(["upgrade", "--book", settings.book]) == 0
        assert (f"chmod 600 {settings.path} (" in capsys.readouterr().out) == told
    settings.path.chmod(0o644)
    settings.path.parent.chmod(0o700)  # nobody else gets to it
    assert main(["upgrade", "--book", settings.book]) == 0
    assert "chmod" not in capsys.readouterr().out


def test_a_folder_that_takes_no_book_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    asked = ["init", "--book", str(blocked / "book.db"), "--site", "First", "--zone", "UTC", "--by", "tester"]
    assert main(asked) == 2
    said = capsys.readouterr().err
    assert "cannot be made" in said
    assert "did not work" not in said


def test_the_needed_revision_is_the_last_of_one_line() -> None:
    assert revisions()[-1] == needed_revision()
    assert FIRST == "0001_the_book"
    assert list(revisions()) == sorted(revisions())
