"""Importing a file through the browser: looked at first, put into the book once, and nothing of half a file."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from dashboard.importing.sent_files import SentFiles
from models.commands.set_site import set_site
from models.settings import Settings
from models.store.verify import verify_book
from models.values.roles import Role
from tests.auth_book import AuthBook, mark_of
from tests.auth_book import open_book as open_auth_book
from tests.conftest import NOW
from tests.import_page import (
    BAD,
    GOOD,
    OWN,
    after,
    do,
    form_of,
    refs,
    secret_of,
    sent,
    shown,
    was_of,
)
from tests.record_book import Opened, open_book


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(replace(sqlite_book, mappings=tmp_path / "mappings"), tmp_path) as opened:
        yield opened


def test_a_file_is_looked_at_first_and_goes_in_once_however_often_it_is_tapped(book: Opened) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    where = sent(client, GOOD)
    page = shown(client.get(where))
    assert "All of it is good: 1 record would go in. Nothing is in the book yet." in page
    assert book.reader.head() == head
    answer = do(client, where, "all")
    assert answer.headers["Location"] == where
    told = shown(client.get(where))
    assert f"1 record went into the book, entries {head + 1} to {head + 2}" in told
    after = book.reader.head()
    assert refs(book)[-1] == "K1"
    mark = mark_of(client.get("/import").get_data(as_text=True))
    assert client.post(where, data={"mark": mark, "does": "all", "by": "Bo Tarn"}).status_code == 200
    assert book.reader.head() == after
    with book.reader.engine.connect() as connection:
        assert verify_book(connection).faults() == 0
    assert "The book holds all of it already" in shown(client.get(sent(client, GOOD)))


def test_the_days_of_the_jobs_are_told_as_their_dates_are_understood(book: Opened) -> None:
    """A file of the first days of a month reads two ways all through; whoever reads the days sees which was taken."""
    client = book.app.server.test_client()
    rows = [OWN.splitlines()[0]] + [f"P-2;{day};PM;Ana Wick;2,5;0,3;1,0;0,2" for day in ("03.02.2026", "05.02.2026")]
    where = sent(client, "\n".join(rows) + "\n")
    assert "Jobs done" in shown(client.get(where))
    assert "3 Feb 2026 – 5 Feb 2026" in shown(client.get(where))
    form = {**form_of(client.get(where).get_data(as_text=True)), "r0s0.order": "month first"}
    was = was_of(client.get(where).get_data(as_text=True))
    corrected = shown(after(client, do(client, where, "correct", was=was, **form)))
    assert "2 Mar 2026 – 2 May 2026" in corrected


def test_what_is_taken_as_left_as_found_is_said_before_and_after(book: Opened) -> None:
    client = book.app.server.test_client()
    where = sent(client, GOOD.replace("0.01,0.1,-0.01,0.05", ",,,"))
    note = "note jobs.csv 1 planned job gives an as-found, no as-left and no move: it counts as left as found (row 2)."
    assert note in shown(client.get(where))
    assert do(client, where, "all").status_code == 303
    assert note in shown(client.get(where))


def test_it_is_asked_what_becomes_of_a_visit_that_the_book_holds_under_another_number(book: Opened) -> None:
    client = book.app.server.test_client()
    do(client, sent(client, GOOD), "all")
    head, again = book.reader.head(), GOOD.replace("K1", "K9").replace("2026-05-04 09:00", "2026-05-04")
    where = sent(client, again + "K8,P-2,2026-05-05,planned,Ana Wick,0.05,0.3,0.02,0.2,0.01,0.1,-0.01,0.05\n")
    page = shown(client.get(where))
    assert f"job K1 (entry {head}) of this machine has the same readings on the same day (2026-05-04 09:00)" in page
    assert "1 row: the book, or an earlier row, holds a job of that machine and day with the same readings" in page
    unsaid = do(client, where, "all", same_visit="")
    assert (unsaid.status_code, book.reader.head()) == (409, head)
    assert "Say beside ‘Import’ what becomes of rows that may be a visit that the book holds" in shown(unsaid)
    assert do(client, where, "all", same_visit="leave").status_code == 303
    assert refs(book)[-1] == "K8"
    assert "K9" not in refs(book)
    otherwise = client.get(sent(client, GOOD.replace("0.05,0.3", "0.06,0.3")))
    assert "found offset V [mm]: the sheet 0.06 mm, the book 0.05 mm" in shown(otherwise)
    assert re.search(rf'<a href="/record\?[^"]*amend={head}"', otherwise.get_data(as_text=True)), "the way to amend it"
    alone = sent(client, again)
    do(client, alone, "all", same_visit="leave")
    assert "The book holds all of it already" in shown(client.get(alone))
    do(client, sent(client, again), "all", same_visit="take")
    assert "K9" in refs(book)


def test_another_clock_of_the_site_since_the_look_is_told_and_nothing_goes_in(book: Opened) -> None:
    client = book.app.server.test_client()
    where = sent(client, GOOD)
    clock = re.search(r'name="clock" value="([^"]+)"', client.get(where).get_data(as_text=True))
    assert clock
    set_site(book.reader.engine, book.site, by="tester", now=NOW, zone="Europe/Berlin")
    head = book.reader.head()
    for does in ("all", "good", "correct", "mend"):
        answer = do(client, where, does, clock=clock[1])
        assert answer.status_code == 409
        told = shown(answer)
        assert (
            "The clock of Test Quay was set from Europe/Lisbon to Europe/Berlin since you looked at this file" in told
        )
        assert "Nothing was imported" in told
    assert book.reader.head() == head
    again = re.search(r'name="clock" value="([^"]+)"', answer.get_data(as_text=True))
    assert again
    assert do(client, where, "all", clock=again[1]).status_code == 303
    assert f"{book.story().jobs[-1].job.performed_at.astimezone(UTC):%H:%M}" == "07:00", "9 o'clock of the new clock"
    assert do(client, where, "drop", clock=clock[1]).status_code == 303, "thrown away it can be by any clock"


def test_a_row_that_is_wrong_comes_back_in_a_file_that_can_be_mended_and_sent(book: Opened) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    where = sent(client, BAD)
    page = shown(client.get(where))
    assert "1 error in 1 row. 1 record would go in without these." in page
    assert "jobs.csv, row 3, column F (found offset V [mm])" in page
    assert "Import the good rows only into Test Quay: 1 record" in page
    assert do(client, where, "all").status_code == 303, "an import of everything is refused as a whole"
    assert book.reader.head() == head
    assert do(client, where, "good").status_code == 303
    link = re.search(r'href="(/import/[^"]+\.csv[^"]*)"', client.get(where).get_data(as_text=True))
    assert link
    back = client.get(link[1])
    assert back.headers["Content-Disposition"].startswith("attachment; filename=jobs.to-mend.csv")
    rows = list(csv.reader(io.StringIO(back.get_data(as_text=True).lstrip("\ufeff"))))
    assert [row[0] for row in rows] == ["job", "K2"]
    assert rows[0][-1] == "what to mend"
    back.close()
    mended = "\n".join(",".join(cell.replace("five", "0.06") for cell in row[:-1]) for row in rows) + "\n"
    assert do(client, sent(client, mended, "jobs.to-mend.csv"), "all").status_code == 303
    assert refs(book)[-2:] == ["K1", "K2"]


def test_the_key_enter_throws_nothing_away_and_the_name_is_typed_once(book: Opened) -> None:
    client = book.app.server.test_client()
    where = sent(client, OWN)
    page = client.get(where).get_data(as_text=True)
    assert re.findall(r'name="does" value="(\w+)"', page)[0] == "correct"
    assert do(client, where, "correct", **form_of(page)).status_code == 303
    assert 'name="by" type="text" value="Bo Tarn"' in client.get(where).get_data(as_text=True)


def test_rows_come_back_to_be_mended_also_where_none_is_good(book: Opened) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    where = sent(client, GOOD.replace("0.05,0.3", "five,0.3"))
    assert "Give 1 row back as a file to mend" in shown(client.get(where))
    page = after(client, do(client, where, "mend"))
    assert "To mend and send again, 1 row" in shown(page)
    assert "Give 1 row back" not in shown(page)
    link = re.search(r'href="(/import/[^"]+\.csv\?[^"]+)"', page.get_data(as_text=True))
    assert link
    with client.get(link[1]) as given:
        assert "five" in given.get_data(as_text=True)
    assert book.reader.head() == head


def test_a_hidden_sheet_is_told_and_a_wide_plan_beside_the_list_stops_nothing(book: Opened) -> None:
    client = book.app.server.test_client()
    made = openpyxl.Workbook()
    jobs, plan = made.active, made.create_sheet("plan")
    jobs.title = "jobs"
    for row in csv.reader(io.StringIO(GOOD)):
        jobs.append(row)
    plan.append([f"week {number}" for number in range(600)])
    jobs.sheet_state = "hidden"
    made.active = 1
    body = io.BytesIO()
    made.save(body)
    page = shown(client.get(sent(client, body.getvalue(), "jobs.xlsx")))
    assert "All of it is good: 1 record" in page
    assert "the workbook hides this sheet; it was read all the same" in page


def test_what_went_wrong_meanwhile_is_not_called_done(book: Opened) -> None:
    client = book.app.server.test_client()
    where = sent(client, GOOD)
    other = GOOD.replace("0.05,0.3", "0.07,0.3")
    assert do(client, sent(client, other, "other.csv"), "all").status_code == 303
    head = book.reader.head()
    assert do(client, where, "all").status_code == 303
    assert book.reader.head() == head
    assert "1 error in 1 row" in shown(client.get(where))


def test_a_fault_of_the_program_is_a_number_and_nothing_of_its_cause(
    book: Opened, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    client = book.app.server.test_client()
    where = sent(client, GOOD)

    def broken(*_given: Any) -> None:
        raise RuntimeError("row 17 of a table")

    monkeypatch.setattr("dashboard.importing.shown.look", broken)
    answer = client.get(where, headers={"Accept": "text/html"})
    assert answer.status_code == 500
    number = re.search(r"reference ([0-9a-f]{8})", shown(answer))
    assert number
    assert "row 17" not in shown(answer)
    assert f"reference {number[1]}: row 17 of a table" in caplog.text
    assert number[1] not in str(client.get(where, headers={"Accept": "application/json"}).get_json())


def test_a_form_of_another_browser_or_without_its_name_does_nothing(book: Opened) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    assert client.post("/import", data={"file": (io.BytesIO(GOOD.encode()), "a.csv")}).status_code == 400
    where = sent(client, GOOD)
    assert client.post(where, data={"does": "all", "by": "Bo Tarn"}).status_code == 400
    assert do(client, where, "all", by="  ").status_code == 400
    assert "Say who imports it" in shown(do(client, where, "all", by=" "))
    for path in (
        "/import/none",
        f"/import/{'x' * 22}",
        where.replace("?", "/jobs.csv?"),
        where.replace("?", "/about.json?"),
    ):
        assert client.get(path).status_code == 404, path
    assert book.reader.head() == head
    assert do(client, where, "drop").headers["Location"] == "/import?site=test-quay"
    assert client.get(where).status_code == 404


def test_while_somebody_imports_it_a_second_tap_is_told_so(book: Opened, tmp_path: Path) -> None:
    client = book.app.server.test_client()
    where = sent(client, GOOD)
    found = SentFiles(tmp_path / "mappings", NOW).find(secret_of(where), site_id=book.site.site_id, login="")
    assert found is not None
    mark = mark_of(client.get("/import").get_data(as_text=True))
    with found.alone() as first, found.alone() as second:
        assert (first, second) == (True, False)
        answer = client.post(where, data={"mark": mark, "does": "all", "by": "Bo Tarn"})
        assert answer.status_code == 409
        assert "It is being imported" in shown(answer)
        # Whoever only looks is told so too, and the page comes again by itself.
        page = client.get(where)
        assert "It is being imported" in shown(page)
        assert page.headers["Refresh"] == f"3; url={where}"
    assert do(client, where, "all").status_code == 303


def test_the_template_can_be_taken_filled_and_sent(book: Opened) -> None:
    client = book.app.server.test_client()
    answer = client.get("/import/template.xlsx?units=mil")
    made = openpyxl.load_workbook(io.BytesIO(answer.get_data()))
    headings = [cell.value for cell in made["jobs"][1]]
    assert "found offset V [mil]" in headings
    row = {"job": "T1", "tag": "P-2", "performed at": "2026-08-04 09:00", "reason": "planned", "people": "Ana Wick",
           "found offset V [mil]": 2, "found angle V [mil/in]": 0.3, "found offset H [mil]": 1, "found angle H [mil/in]": 0.2}  # fmt: skip
    made["jobs"].append([row.get(str(name)) for name in headings])
    stream = io.BytesIO()
    made.save(stream)
    page = shown(client.get(sent(client, stream.getvalue(), "filled.xlsx")))
    assert "1 record would go in" in page
    assert "It is the template" in page


@pytest.fixture
def signed(sqlite_book: Settings, tmp_path: Path) -> Iterator[AuthBook]:
    made = open_auth_book(replace(sqlite_book, mappings=tmp_path / "mappings"), tmp_path)
    yield made
    made.engine.dispose()


def test_importing_is_for_engineers_in_their_own_name_and_their_files_are_their_own(signed: AuthBook) -> None:
    for role in set(Role) - {Role.ENGINEER}:
        assert signed.signed_in(role).get("/import").status_code == 403, role
    client = signed.signed_in(Role.ENGINEER)
    where = sent(client, GOOD)
    assert "You import it as Eng Lund" in shown(client.get(where))
    assert do(client, where, "all", by="Somebody Else").status_code == 303
    line = signed.app.server.test_client()
    assert "/sign-in" in line.get(where, headers={"Accept": "text/html"}).headers["Location"]
    from models.store.reader import Reader

    story = Reader(signed.engine).story(signed.site.site_id, "P-2")
    assert story is not None
    assert story.jobs[-1].author == "Eng Lund"
    for role in set(Role) - {Role.ENGINEER}:
        assert signed.signed_in(role).get(where).status_code == 403
