"""What a command writes beside the book: whole or not at all, over nothing that it did not make, and a full disk is told alike by all."""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path

import pytest

from dashboard.cli import main
from dashboard.console.whole import PACKAGE as PACKED
from dashboard.console.whole import PAPER, check_over, put_over
from models import whole_files
from models.errors import ConflictError, KeyFileError
from models.ledger.keys import make_key
from models.settings import Settings
from models.store.column_files import SITE_FILE, read_columns, sites_in
from models.store.engine import make_engine
from models.whole_files import add_whole, give_name, write_new
from tests.conftest import make_site
from tests.faults.conftest import Disk
from tests.import_page import BAD, OWN
from tests.seeded import seed

LABELS = ("report", "labels", "P-1", "--address", "http://plant.test", "-o")
PACKAGE = ("history", "P-1", "--no-pdf", "--package")
FULL = "its disk is full.\nMake room on that disk and do it again, or name another place: "
ONLY_READ = "its disk can only be read.\nMount that disk for writing, or name another place: "


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> tuple[str, str]:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    seed(engine, site, tmp_path)
    engine.dispose()
    return ("--book", sqlite_book.book)


def test_neither_book_nor_key_nor_anything_else_is_replaced_by_a_paper_or_a_package(
    book: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = Path(book[1])
    assert main(["head", *book, "-o", str(tmp_path / "heads.txt")]) == 0
    assert main(["export", *book, str(tmp_path / "whole.zip")]) == 0
    (tmp_path / "notes.pdf").write_text("no PDF")
    (tmp_path / "empty.pdf").touch()
    (tmp_path / "really.pdf").write_bytes(b"%PDF-1.7")
    (tmp_path / "linked.pdf").symlink_to("really.pdf")
    (tmp_path / "book.link").symlink_to(file)
    (tmp_path / "nowhere.link").symlink_to("nothing")
    beside = [Path(f"{file}{end}") for end in ("", ".key", "-wal", "-shm", "-journal")]
    others = [
        *(tmp_path / name for name in ("heads.txt", "whole.zip", "notes.pdf", "empty.pdf", "linked.pdf")),
        *(tmp_path / name for name in ("book.link", "nowhere.link", "FOLDER")),
    ]
    (tmp_path / "FOLDER").mkdir()
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    there = sorted(tmp_path.iterdir())
    settings = Settings(book=book[1])
    for path in (*beside, *others):
        own = path in beside or path.name == "book.link"
        told = "belongs to the book" if own else "is there already and is not overwritten: it is"
        for kind in (PAPER, PACKED):
            with pytest.raises(ConflictError, match=re.escape(f"{path} {told}")):
                check_over(path, kind, "-o FILE", settings)
            with pytest.raises(ConflictError):
                put_over(path, b"", kind, "-o FILE", settings)
    monkeypatch.setattr("dashboard.console.reporting.print_pdf", lambda _paper: pytest.fail("it is said before"))
    monkeypatch.setattr("dashboard.console.proving.package_of", lambda *_given, **_named: pytest.fail("the same"))
    monkeypatch.chdir(file.parent)
    capsys.readouterr()
    for command, name in (
        (LABELS, file.name),
        (LABELS, str(tmp_path / "heads.txt")),
        (PACKAGE, f"../{file.parent.name}/{file.name}.key"),
        (PACKAGE, f"{file.name}-wal"),
        (["head", "-o"], f"{file.name}-wal"),
        (["calendar", "-o"], f"{file.name}-shm"),
        (["export"], f"{file.name}-wal"),
        (["backup", "-o"], f"{file.name}-journal"),
    ):
        assert main([*command, name, *book]) == 2
        assert capsys.readouterr().err.startswith(f"driftbook: {name} ")
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before
    assert sorted(tmp_path.iterdir()) == there


def test_an_older_paper_and_an_older_package_make_place_for_a_newer_one(
    book: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paper, package = tmp_path / "labels.pdf", tmp_path / "P-1.zip"
    paper.write_bytes(b"%PDF-1.7 an older one")
    for _ in range(2):
        assert main([*LABELS, str(paper), *book]) == 0
        assert main([*PACKAGE, str(package), *book]) == 0
    assert paper.stat().st_size > 1_000
    assert main([*PACKAGE, str(paper), *book]) == 2
    assert "it is not the package of a machine" in capsys.readouterr().err


def test_a_template_that_was_filled_is_not_emptied_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["template", "--csv", str(tmp_path / "forms")]) == 0
    filled = tmp_path / "forms" / "jobs.csv"
    filled.write_text("filled")
    for other in filled.parent.iterdir():
        if other != filled:
            other.unlink()
    capsys.readouterr()
    assert main(["template", "--csv", str(tmp_path / "forms")]) == 2
    assert "jobs.csv is there already and is not overwritten" in capsys.readouterr().err
    assert [path.name for path in filled.parent.iterdir()] == ["jobs.csv"]
    assert filled.read_text() == "filled"


def test_a_disk_that_takes_nothing_is_told_alike_and_keeps_what_it_has(
    book: tuple[str, str], disk: Disk, capsys: pytest.CaptureFixture[str]
) -> None:
    place = disk.path
    assert main(["columns", str(place / "columns"), *book]) == 0
    for path, data in ((place / "labels.pdf", b"%PDF-1.7"), (place / "heads.txt", b"")):
        path.write_bytes(data)
    disk.fill()
    before = {path: path.read_bytes() for path in place.rglob("*") if path.is_file()}
    for how, told in (("rw", FULL), ("ro", ONLY_READ)):
        disk.mount_again(how)
        capsys.readouterr()
        for command, name, elsewhere in (
            (["table", "due", "-o"], "due.csv", "-o NAME"),
            (["calendar", "-o"], "checks.ics", "-o NAME"),
            (["head", "-o"], "new.txt", "-o FILE"),
            (["head", "-o"], "heads.txt", "-o FILE"),
            (["export"], "whole.zip", "driftbook export FOLDER|FILE.zip"),
            (LABELS, "labels.pdf", "-o FILE"),
            (PACKAGE, "P-1.zip", "--package FILE"),
            (["columns"], "columns", "driftbook columns FOLDER"),
            (["template"], "t.xlsx", "driftbook template NAME.xlsx"),
            (["template", "--csv"], "csv", "--csv FOLDER"),
        ):
            assert main([*command, str(place / name), *(book if command[0] != "template" else ())]) == 2, command
            what = f"{place / name}{'/test-quay' if command == ['columns'] else ''}"
            assert f"driftbook: {what} cannot be written: {told}{elsewhere}.\n" in capsys.readouterr().err
        assert main(["backup", "-o", str(place / "copy.db"), *book]) == 2
        reason = told.partition(".")[0]
        assert f"The backup cannot be written to {place}: {reason}." in capsys.readouterr().err
        with pytest.raises(KeyFileError, match=reason):
            make_key(place / "book.key")
    assert {path: path.read_bytes() for path in place.rglob("*") if path.is_file()} == before
    (site,) = sites_in(place / "columns")
    assert len(read_columns(site)[1].jobs) == 3


def test_a_mapping_that_cannot_be_kept_and_rows_that_cannot_come_back_are_told_with_what_to_do(
    book: tuple[str, str], disk: Disk, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet, bad = disk.path / "mine.csv", disk.path / "jobs.csv"
    sheet.write_text(OWN)
    bad.write_text(BAD)
    kept = disk.path / "mappings"
    kept.mkdir()
    monkeypatch.setenv("DRIFTBOOK_MAPPINGS", str(kept))
    for how, why in (("rw", FULL), ("ro", ONLY_READ)):
        disk.fill()
        disk.mount_again(how)
        assert main(["import", str(sheet), *book]) == 2
        said = capsys.readouterr().err
        assert f"driftbook: {kept}/mine-" in said
        assert f"{why}DRIFTBOOK_MAPPINGS=FOLDER.\n" in said
        assert main(["import", str(bad), "--accept-good", *book]) == 2
        assert f"beside it: {why.partition('.')[0]}; nothing was imported." in capsys.readouterr().err
        assert sorted(path.name for path in disk.path.iterdir() if path.suffix) == ["jobs.csv", "mine.csv"]
        assert list(kept.iterdir()) == []


def test_what_nobody_expected_of_a_full_disk_is_told_in_the_same_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("dashboard.console.book.workbook", full)
    assert main(["template"]) == 2
    assert capsys.readouterr().err == (
        "driftbook: The output cannot be written: its disk is full.\n"
        "Make room on that disk and do it again. Nothing half-done is in the book.\n"
    )
    assert list(tmp_path.iterdir()) == []


def test_a_head_of_which_a_part_went_onto_the_disk_is_taken_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    heads, full = tmp_path / "heads.txt", OSError(errno.ENOSPC, "full")
    heads.write_bytes(b"a head\n")

    def fails(_handle: int) -> None:
        assert heads.stat().st_size > 7, "it is all there but not yet kept"
        raise full

    with monkeypatch.context() as patched:
        patched.setattr(whole_files.os, "fsync", fails)
        with pytest.raises(OSError, match="full"):
            add_whole(heads, b"\nanother\n")
    assert heads.read_bytes() == b"a head\n"
    linked = tmp_path / "link"
    linked.symlink_to("elsewhere.txt")
    for line in (b"one\n", b"two\n"):
        add_whole(linked, line)
    assert (tmp_path / "elsewhere.txt").read_bytes() == b"one\ntwo\n"
    assert linked.is_symlink()


def test_a_name_that_was_taken_meanwhile_is_not_replaced_with_links_or_without(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken = tmp_path / f"{'n' * 250}.csv"  # as long as a name may be
    taken.write_bytes(b"theirs")
    for _ in range(2):
        with pytest.raises(FileExistsError) as told:
            write_new(taken, b"ours")
        assert told.value.filename == str(taken)
        monkeypatch.setattr(whole_files.os, "link", lambda *_: (_ for _ in ()).throw(PermissionError("no links here")))
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [b"theirs"]
    made = tmp_path / "made"
    made.write_bytes(b"ours")
    give_name(made, tmp_path / "free")
    assert (tmp_path / "free").read_bytes() == b"ours"


def test_columns_that_cannot_be_made_leave_those_that_are_there(
    book: tuple[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["columns", str(tmp_path / "out"), *book]) == 0
    (site,) = sites_in(tmp_path / "out")
    before = {path.name: path.read_bytes() for path in site.iterdir()}
    assert {name.partition("-")[0] for name in before} == {"jobs", "assets", "breaks", SITE_FILE, ".lock"}

    def settle(path: Path) -> None:
        if path.name.startswith("site-"):
            raise OSError(errno.EDQUOT, "Disk quota exceeded")

    monkeypatch.setattr("models.store.column_files._settle", settle)
    assert main(["columns", str(tmp_path / "out"), *book]) == 2
    assert {path.name: path.read_bytes() for path in site.iterdir()} == before
