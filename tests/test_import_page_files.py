"""Files that are sent to be imported: what is taken, for how long it is kept, and when it goes."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import xlsxwriter

from dashboard.importing import looking, sent_files
from dashboard.importing.sent_files import SentFile, SentFiles, plain_name
from models.errors import DriftbookError, UnreadableFileError
from models.intake.reading import read_sheets
from models.settings import Settings
from tests.conftest import NOW
from tests.import_page import (
    GOOD,
    HEAD,
    OWN,
    do,
    refs,
    send,
    sent,
    shown,
)
from tests.record_book import Opened, open_book


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(replace(sqlite_book, mappings=tmp_path / "mappings"), tmp_path) as opened:
        yield opened


def test_a_file_can_be_thrown_away_also_when_it_is_done_or_cannot_be_read(book: Opened) -> None:
    client = book.app.server.test_client()
    first, second, third = sent(client, GOOD), sent(client, "Dear all,\n", "a.csv"), sent(client, OWN, "b.csv")
    assert do(client, first, "all").status_code == 303
    listed = shown(client.get("/import"))
    assert [listed.count(name) for name in ("jobs.csv", "a.csv", "b.csv")] == [0, 1, 1]
    assert "Sent, and not imported yet" in listed
    for where in (first, second, third):
        assert do(client, where, "drop").headers["Location"] == "/import?site=test-quay"
        assert client.get(where).status_code == 404
    assert "Sent, and not imported yet" not in shown(client.get("/import"))


def test_a_sheet_of_very_many_columns_is_not_looked_at(book: Opened) -> None:
    wide = GOOD.replace("job,tag", "job," + "x," * 501 + "tag")
    client = book.app.server.test_client()
    assert "more than 500 columns" in shown(client.get(sent(client, wide)))
    # Not a cell of it is looked at for a heading: that took seconds for a line of some megabytes.
    assert "more than 500 columns" in shown(client.get(sent(client, "a," * 5000)))


def test_a_disk_without_room_is_told_and_what_is_in_the_book_all_the_same(
    book: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = book.app.server.test_client()
    where = sent(client, GOOD)

    def full(*_given: Any, **_named: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(sent_files, "_write", full)
    assert "could not be kept on the server (No space left on device)" in shown(send(client, GOOD))
    answer = do(client, where, "all")
    assert answer.status_code == 200
    assert "1 record went into the book" in shown(answer)
    assert refs(book)[-1] == "K1"


def test_an_encoding_can_be_said(book: Opened) -> None:
    client = book.app.server.test_client()
    text = GOOD.replace("Ana Wick", "Łukasz Żak").encode("cp1250")
    guessed = shown(client.get(sent(client, text)))
    assert "which is a guess" in guessed
    where = send(client, text, encoding="cp1250").headers["Location"]
    page = shown(client.get(where))
    assert "a guess" not in page
    assert do(client, where, "all").status_code == 303
    assert book.story("P-2").jobs[-1].job.people == ("Łukasz Żak",)
    assert send(client, GOOD, encoding="klingon").status_code == 303


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("jobs.pdf", "%PDF", "jobs.pdf is no file that is read here"),
        ("", "x", "No file was chosen"),
        ("empty.csv", "", "empty.csv is empty"),
        ("letter.csv", "Dear all,\nthe pump is aligned.\n", "no row of headings"),
        ("broken.xlsx", "PK not a workbook", "does not end as a workbook does"),
    ],
)
def test_what_is_no_file_to_import_is_told_and_nothing_is_written(
    book: Opened, name: str, content: str, told: str
) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    answer = send(client, content, name)
    assert told in shown(answer if answer.status_code == 400 else client.get(answer.headers["Location"]))
    assert book.reader.head() == head


def test_a_file_that_is_too_long_is_not_kept(book: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sent_files, "MOST_BYTES", 100)
    answer = send(book.app.server.test_client(), GOOD)
    assert answer.status_code == 400
    assert "jobs.csv is longer than" in shown(answer)
    monkeypatch.undo()
    monkeypatch.setattr(sent_files, "MOST_UNFOLDED", 1000)
    stream = io.BytesIO()
    openpyxl.Workbook().save(stream)
    assert "a.xlsx is longer than" in shown(send(book.app.server.test_client(), stream.getvalue(), "a.xlsx"))
    assert list((tmp_path / "mappings" / "sent").iterdir()) == []


def test_a_workbook_is_read_once_and_not_at_all_where_its_cells_repeat_too_much_text(
    book: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    """18 KB, one text of 32,000 letters in 8,000 cells, took 2.9 GiB and 86 s, half of it for a second reading."""
    reads: list[str] = []

    def counted(path: Path, **how: Any) -> Any:
        reads.append(path.name)
        return read_sheets(path, **how)

    monkeypatch.setattr(looking, "read_sheets", counted)
    stream = io.BytesIO()
    made = xlsxwriter.Workbook(stream)
    sheet = made.add_worksheet()
    for place, row in enumerate((HEAD, GOOD.removeprefix(HEAD).replace("Ana Wick", "a" * 30_000))):
        sheet.write_row(place, 0, row.strip().split(","))
    made.close()
    client = book.app.server.test_client()
    where = sent(client, stream.getvalue(), "a.xlsx")
    assert "repeats long texts" not in shown(client.get(where))
    assert reads == ["a.xlsx"]
    monkeypatch.setattr(looking, "MOST_TEXT", 29_000)
    assert "a.xlsx repeats long texts" in shown(client.get(where))


def test_a_file_that_was_cut_before_it_was_sent_is_told_by_what_it_is(book: Opened) -> None:
    client = book.app.server.test_client()
    page = shown(client.get(sent(client, GOOD + 'K3,P-2,2026-07-04 09:00,planned,"Ana W')))
    assert "1 error in 1 row" in page


def test_files_go_after_a_day_and_are_those_of_who_sent_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def kept(files: SentFiles, login: str = "a", name: str = "a.csv") -> SentFile:
        return files.take(io.BytesIO(b"x"), name, site_id=1, login=login)

    files = SentFiles(tmp_path, NOW)
    one = kept(files)
    assert files.find(one.secret, site_id=1, login="a") == one
    assert files.find(one.secret, site_id=2, login="a") is None
    assert files.find(one.secret, site_id=1, login="b") is None
    assert (one.path.parent.parent.stat().st_mode & 0o077) == 0
    late = SentFiles(tmp_path, NOW + timedelta(days=2000))
    two = kept(late)
    assert late.find(one.secret, site_id=1, login="a") is None
    assert files.find(two.secret, site_id=1, login="a") is None, "sent by a clock that ran ahead: not kept for years"
    when = (NOW - timedelta(days=2)).timestamp()
    os.utime(two.folder / "about.json", (when, when))
    two.renew(tmp_path)  # looked at just now
    assert files.find(two.secret, site_id=1, login="a") is None, "a day at most, whether or not somebody sends another"
    when = NOW.timestamp()
    os.utime(two.folder / "about.json", (when, when))
    assert files.find(two.secret, site_id=1, login="a") == two
    monkeypatch.setattr(sent_files, "MOST_WAITING", 1)
    with pytest.raises(DriftbookError, match="Too many files"):
        kept(files, name="b.csv")
    two.finish({})
    three = kept(files)
    assert files.waiting(site_id=1, login="a") == [three]
    assert kept(files, "b").login == "b", "who else sends something is not kept waiting"
    monkeypatch.setattr(sent_files, "MOST_ROOM", 1)
    with pytest.raises(DriftbookError, match="Too many files"):
        kept(files, "c")
    with pytest.raises(UnreadableFileError):
        files.take(io.BytesIO(b""), "x.exe", site_id=1, login="a")


def test_a_mended_file_takes_the_place_of_the_one_that_waits_with_how_it_is_read(tmp_path: Path) -> None:
    def kept(name: str = "a.csv") -> SentFile:
        return SentFiles(tmp_path, NOW).take(io.BytesIO(b"x"), name, site_id=1, login="a")

    waits, other = kept(), kept("b.csv")
    (waits.mappings / "a.toml").write_text("corrected", encoding="utf-8")
    waits.correct()
    mended = kept()
    assert {one.secret for one in SentFiles(tmp_path, NOW).waiting(site_id=1, login="a")} == {
        mended.secret,
        other.secret,
    }
    mended.renew(tmp_path)
    assert (mended.mappings / "a.toml").read_text(encoding="utf-8") == "corrected"
    with mended.alone():  # in another window it goes into the book just now
        kept()
        assert mended.path.exists()


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("../../etc/jobs.csv", "jobs.csv"),
        (r"C:\plant\jobs 2026.xlsx", "jobs 2026.xlsx"),
        ("a\x00b?.csv", "a-b-.csv"),
        ("..", ""),
        ("x" * 300 + ".csv", "x" * 120 + ".csv"),
        ("界" * 100 + ".csv", "界" * 40 + ".csv"),
    ],
)
def test_a_name_is_no_path(given: str, name: str) -> None:
    assert plain_name(given) == name
