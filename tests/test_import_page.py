"""Importing a file through the browser: looked at first, corrected, put into the book once, and nothing of half a file."""

from __future__ import annotations

import csv
import html
import io
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import openpyxl
import pytest

from dashboard.importing import sent_files
from dashboard.importing.sent_files import SentFile, SentFiles, plain_name
from models.errors import DriftbookError, UnreadableFileError
from models.settings import Settings
from models.store.verify import verify_book
from models.values.roles import Role
from tests.auth_book import AuthBook, mark_of
from tests.auth_book import open_book as open_auth_book
from tests.conftest import NOW
from tests.record_book import Opened, open_book

HEAD = "job,tag,performed at,reason,people,found offset V [mm],found angle V [mm/m],found offset H [mm],found angle H [mm/m],left offset V [mm],left angle V [mm/m],left offset H [mm],left angle H [mm/m]\n"
GOOD = HEAD + "K1,P-2,2026-05-04 09:00,planned,Ana Wick,0.05,0.3,0.02,0.2,0.01,0.1,-0.01,0.05\n"
BAD = GOOD + "K2,P-2,2026-06-04 09:00,planned,Ana Wick,five,0.3,0.02,0.2,0.01,0.1,-0.01,0.05\n"
OWN = (
    "Equipment;Date;Reason;People;As found offset V;As found angle V;As found offset H;As found angle H\n"
    "P-2;2026-05-13;PM;Ana Wick;2,5;0,3;1,0;0,2\n"
    "F-1;2026-05-14;grumbling;Ana Wick;4,0;0,3;1,0;0,2\n"
)
"""A plant's own list of jobs: offsets without a unit, which are mil there, and a word that nobody can guess."""


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(replace(sqlite_book, mappings=tmp_path / "mappings"), tmp_path) as opened:
        yield opened


def send(client: Any, content: str | bytes, name: str = "jobs.csv", **more: str) -> Any:
    body = content.encode() if isinstance(content, str) else content
    return send_form(client, client.get("/import").get_data(as_text=True), (io.BytesIO(body), name), **more)


def send_form(client: Any, page: str, file: tuple[io.BytesIO, str], **more: str) -> Any:
    """Send the form to which a file is given as a browser does: where it says, with what it holds."""
    form = re.search(r'<form action="([^"]+)"[^>]*enctype="multipart/form-data"[^>]*>.*?</form>', page, re.DOTALL)
    assert form, page[-2000:]
    held = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form[0]))
    return client.post(html.unescape(form[1]), data={**held, "file": file, **more})


def sent(client: Any, content: str | bytes, name: str = "jobs.csv") -> str:
    """Send a file, and give the address at which it is looked at."""
    answer = send(client, content, name)
    assert answer.status_code == 303, shown(answer)
    return str(answer.headers["Location"])


def shown(answer: Any) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))))


def do(client: Any, where: str, does: str, **typed: str) -> Any:
    mark = mark_of(client.get(where).get_data(as_text=True))
    return client.post(where, data={"mark": mark, "does": does, "by": "Bo Tarn", **typed})


def after(client: Any, answer: Any) -> Any:
    """Follow where a form that was sent leads, as a browser does."""
    assert answer.status_code == 303
    return client.get(answer.headers["Location"])


def was_of(page: str) -> str:
    """Read by which way of reading the page was made."""
    was = re.search(r'name="was" value="([0-9a-f]+)"', page)
    assert was
    return was[1]


def offset_of(book: Opened, tag: str = "P-2") -> float:
    """Give the as-found vertical offset of the last job. [mm]"""
    found = book.story(tag).jobs[-1].job.found
    assert found is not None
    return float(found.offset_v or 0.0)


def refs(book: Opened, tag: str = "P-2") -> list[str]:
    return [line.job.ref for line in book.story(tag).jobs]


def form_of(page: str) -> dict[str, str]:
    """Read the form in which the reading is corrected, as a browser would send it."""
    found = {}
    for name, inner in re.findall(r'<select [^>]*?name="([^"]+)"[^>]*>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected', inner) or re.search(r'<option value="([^"]*)"', inner)
        assert chosen, name
        found[name] = html.unescape(chosen[1])
    return found


def mapping_of(tmp_path: Path, where: str) -> Path:
    """Give the file in which the reading of a sent file is corrected."""
    return next((tmp_path / "mappings" / "sent" / secret_of(where) / "mappings").glob("*.toml"))


def secret_of(where: str) -> str:
    """Give the secret in the address at which a file is looked at."""
    return urlsplit(where).path.rpartition("/")[2]


def test_a_file_is_looked_at_first_and_goes_in_once_however_often_it_is_tapped(book: Opened) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    where = sent(client, GOOD)
    page = shown(client.get(where))
    assert "All of it is good: 1 record would go in. Nothing is in the book yet." in page
    assert book.reader.head() == head
    answer = do(client, where, "all")
    assert answer.headers["Location"] == where
    told = shown(client.get(where))
    assert (
        f"1 record went into the book, entries {head + 1} to {head + 2}" in told
        or "1 record went into the book" in told
    )
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


def test_a_plants_own_sheet_is_proposed_corrected_and_confirmed_by_importing(book: Opened, tmp_path: Path) -> None:
    client = book.app.server.test_client()
    where = sent(client, OWN, "pumps of the plant.csv")
    page = client.get(where).get_data(as_text=True)
    assert "grumbling" in page
    assert "1 error in 1 row" in shown(client.get(where))
    typed = form_of(page)
    assert typed["r0s0.c4.field"] == "jobs.found_offset_v"
    assert typed["r0s0.c4.unit"] == "mm"
    words = {name: html.unescape(word) for name, word in re.findall(r'for="(r0s0\.w\d+)">‘([^’]+)’', page)}
    place = {word: name for name, word in words.items()}
    typed |= {"r0s0.c4.unit": "mil", "r0s0.c6.unit": "mil", "r0s0.c6.times": "-1", place["grumbling"]: "condition"}
    assert do(client, where, "correct", **typed).status_code == 303
    assert list((tmp_path / "mappings").glob("*.toml")) == [], "it is that file's own until it is in the book"
    assert "2 records would go in" in shown(client.get(where))
    assert do(client, where, "all").status_code == 303
    kept = next((tmp_path / "mappings").glob("*.toml"))
    assert "confirmed = true" in kept.read_text()
    found = book.story("P-2").jobs[-1].job.found
    assert found is not None
    assert found.offset_v == pytest.approx(2.5 * 0.0254)
    assert found.offset_h == pytest.approx(-0.0254)
    assert book.story("F-1").jobs[-1].job.reason == "condition"
    later = OWN.replace("2026-05", "2026-06").replace("2,5", "3,0")
    again = client.get(sent(client, later, "june.csv")).get_data(as_text=True)
    assert "is read as was confirmed for earlier files" in again
    assert "2 records would go in" in html.unescape(re.sub(r"<[^>]+>", "", again))


def test_a_confirmed_reading_that_is_corrected_is_kept_beside_and_asked_again(book: Opened, tmp_path: Path) -> None:
    client = book.app.server.test_client()
    where = sent(client, OWN.replace("grumbling", "PM"))
    assert do(client, where, "all").status_code == 303
    kept = next((tmp_path / "mappings").glob("*.toml"))
    kept.write_text("# offsets of the old sheet are total readings\n" + kept.read_text())
    where = sent(client, OWN.replace("grumbling", "PM").replace("2026-05", "2026-07"))
    typed = form_of(client.get(where).get_data(as_text=True))
    assert do(client, where, "correct", **{**typed, "r0s0.c4.times": "0.5"}).status_code == 303
    assert kept.read_text().startswith("# offsets of the old sheet")
    assert "by importing you confirm it" in shown(client.get(where))
    assert do(client, where, "all").status_code == 303
    assert kept.with_suffix(".toml.before").read_text().startswith("# offsets of the old sheet")
    assert "times = 0.5" in kept.read_text()
    found = book.story("P-2").jobs[-1].job.found
    assert found is not None
    assert found.offset_v == pytest.approx(1.25)


def test_what_was_corrected_and_not_looked_at_does_not_go_in_otherwise(book: Opened) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    where = sent(client, OWN.replace("grumbling", "PM"))
    typed = form_of(client.get(where).get_data(as_text=True)) | {"r0s0.c4.unit": "mil", "r0s0.c6.unit": "mil"}
    answer = after(client, do(client, where, "all", **typed))
    assert "The reading was corrected: look at what would go in now" in shown(answer)
    assert book.reader.head() == head
    assert do(client, where, "all", **form_of(answer.get_data(as_text=True))).status_code == 303
    assert offset_of(book) == pytest.approx(0.0635)


def test_a_form_of_an_older_window_changes_nothing(book: Opened) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    where = sent(client, OWN.replace("grumbling", "PM"))
    page = client.get(where).get_data(as_text=True)
    typed = form_of(page)
    assert do(client, where, "correct", was=was_of(page), **{**typed, "r0s0.c4.unit": "mil"}).status_code == 303
    for does in ("correct", "all"):
        answer = after(client, do(client, where, does, was=was_of(page), **typed))
        assert "changed in another window meanwhile" in shown(answer)
    assert 'value="mil" selected' in client.get(where).get_data(as_text=True)
    assert book.reader.head() == head


def test_files_that_wait_beside_each_other_are_read_in_one_way(book: Opened, tmp_path: Path) -> None:
    client, plain = book.app.server.test_client(), OWN.replace("grumbling", "PM")
    may, june, july = (
        sent(client, plain.replace("2026-05", month), f"{month}.csv") for month in ("2026-05", "2026-06", "2026-07")
    )
    older = client.get(june).get_data(as_text=True)
    typed = form_of(client.get(may).get_data(as_text=True)) | {"r0s0.c4.unit": "mil", "r0s0.c6.unit": "mil"}
    # One corrects July for itself, before May is confirmed in another way.
    assert do(client, july, "correct", **{**typed, "r0s0.c4.unit": "µm"}).status_code == 303
    assert do(client, may, "correct", **typed).status_code == 303
    assert do(client, may, "all").status_code == 303
    assert offset_of(book) == pytest.approx(0.0635)
    # What stands in the form of June was made before that: it is told, and June is read as May was.
    answer = after(client, do(client, june, "all", was=was_of(older), **form_of(older)))
    assert "changed in another window meanwhile" in shown(answer)
    page = answer.get_data(as_text=True)
    assert do(client, june, "all", was=was_of(page), **form_of(page)).status_code == 303
    assert offset_of(book) == pytest.approx(0.0635)
    assert do(client, july, "all").status_code == 303
    assert offset_of(book) == pytest.approx(0.0025)
    assert "is not kept for later ones" in shown(client.get(july))
    # Two confirmed ways of reading the same headings would stop every later file.
    assert len(list((tmp_path / "mappings").glob("*.toml"))) == 1
    later = shown(client.get(sent(client, plain.replace("2026-05", "2026-09"), "later.csv")))
    assert "All of it is good" in later


def test_a_reading_that_somebody_else_changes_is_that_of_files_that_wait(book: Opened, tmp_path: Path) -> None:
    client, plain = book.app.server.test_client(), OWN.replace("grumbling", "PM")
    assert do(client, sent(client, plain), "all").status_code == 303
    kept = next((tmp_path / "mappings").glob("*.toml"))
    where, own = (sent(client, plain.replace("2026-05", month)) for month in ("2026-08", "2026-09"))
    typed = form_of(client.get(own).get_data(as_text=True))
    assert do(client, own, "correct", **{**typed, "r0s0.c4.unit": "µm"}).status_code == 303
    changed = kept.read_text().replace('unit = "mm"', 'unit = "mil"')
    kept.write_text(changed)
    assert do(client, where, "all").status_code == 303
    assert offset_of(book) == pytest.approx(0.0635)
    # The one that was corrected keeps its own reading, and does not write over what was changed meanwhile.
    assert do(client, own, "all").status_code == 303
    assert offset_of(book) == pytest.approx(0.0025)
    assert kept.read_text() == changed
    assert "is not kept for later ones" in shown(client.get(own))


def test_what_does_not_go_in_is_not_confirmed(book: Opened, tmp_path: Path) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    where = sent(client, OWN)
    typed = form_of(client.get(where).get_data(as_text=True))
    assert do(client, where, "correct", **{**typed, "r0s0.c4.times": "-1"}).status_code == 303
    assert do(client, where, "all").status_code == 303
    assert book.reader.head() == head
    assert "confirmed = false" in mapping_of(tmp_path, where).read_text()
    assert "by importing you confirm it" in shown(client.get(where))


def test_remarks_in_a_mapping_stay_where_nothing_was_corrected(book: Opened, tmp_path: Path) -> None:
    client = book.app.server.test_client()
    assert do(client, sent(client, OWN.replace("grumbling", "PM")), "all").status_code == 303
    kept = next((tmp_path / "mappings").glob("*.toml"))
    kept.write_text(kept.read_text() + "# our own remark\n")
    where = sent(client, OWN.replace("2026-05", "2026-08"))
    page = client.get(where).get_data(as_text=True)
    assert "grumbling" in page
    assert do(client, where, "good", was=was_of(page), **form_of(page)).status_code == 303
    assert "1 record went into the book" in shown(client.get(where))
    assert "our own remark" in kept.read_text()
    # Each time that it is corrected, the one before stays beside it under a name of its own.
    for month, meaning in (("2026-09", "condition"), ("2026-10", "failure")):
        where = sent(client, OWN.replace("2026-05", month))
        page = client.get(where).get_data(as_text=True)
        word = re.search(r'for="(r0s0\.w\d+)">[^<]*grumbling', page)
        assert word
        assert do(client, where, "correct", **form_of(page) | {word[1]: meaning}).status_code == 303
        assert do(client, where, "all").status_code == 303
    assert len(list((tmp_path / "mappings").glob("*.toml.before*"))) == 2
    assert "our own remark" in next((tmp_path / "mappings").glob("*.toml.before")).read_text()


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
    assert do(client, sent(client, other), "all").status_code == 303
    head = book.reader.head()
    assert do(client, where, "all").status_code == 303
    assert book.reader.head() == head
    assert "1 error in 1 row" in shown(client.get(where))


def test_a_column_without_which_no_row_can_be_read_is_not_left_out(book: Opened, tmp_path: Path) -> None:
    client = book.app.server.test_client()
    where = sent(client, OWN)
    typed = form_of(client.get(where).get_data(as_text=True))
    for column, name in ((0, "tag"), (1, "performed at")):
        answer = do(client, where, "correct", **{**typed, f"r0s0.c{column}.field": ""})
        assert answer.status_code == 409
        assert f"Say which column is ‘{name}’" in shown(answer)
    # Nor does it read what only rows of another table say.
    assert do(client, where, "correct", **{**typed, "r0s0.c3.field": "people.qualification"}).status_code == 303
    assert "qualification" not in mapping_of(tmp_path, where).read_text()


def test_a_mapping_that_cannot_be_read_stops_its_own_files_only(book: Opened, tmp_path: Path) -> None:
    client, folder = book.app.server.test_client(), tmp_path / "mappings"
    where = sent(client, OWN.replace("grumbling", "PM\x01\x1b"))
    assert do(client, where, "correct", **form_of(client.get(where).get_data(as_text=True))).status_code == 303
    assert "would go in" in shown(client.get(where))
    folder.mkdir(exist_ok=True)
    (folder / "broken-000000000000.toml").write_bytes(b"\xff\xfe = no mapping \x01")
    (folder / "folder.toml").mkdir()
    assert "would go in" in shown(client.get(sent(client, OWN)))
    own = mapping_of(tmp_path, where).name
    (folder / own).write_text("confirmed = maybe")
    answer = client.get(sent(client, OWN))
    assert answer.status_code == 409
    assert "cannot be used" in shown(answer)


def test_a_new_word_in_a_list_that_was_confirmed_is_asked_for(book: Opened) -> None:
    client = book.app.server.test_client()
    assert do(client, sent(client, OWN.replace("grumbling", "PM")), "all").status_code == 303
    page = client.get(sent(client, OWN.replace("2026-05", "2026-09"))).get_data(as_text=True)
    assert "‘grumbling’ means" in html.unescape(page)


def test_a_file_can_be_thrown_away_also_when_it_is_done_or_cannot_be_read(book: Opened) -> None:
    client = book.app.server.test_client()
    first, second, third = sent(client, GOOD), sent(client, "Dear all,\n"), sent(client, OWN)
    assert do(client, first, "all").status_code == 303
    listed = shown(client.get("/import"))
    assert listed.count("jobs.csv") == 2
    assert "Sent, and not imported yet" in listed
    for where in (first, second, third):
        assert do(client, where, "drop").headers["Location"] == "/import?site=test-quay"
        assert client.get(where).status_code == 404
    assert "Sent, and not imported yet" not in shown(client.get("/import"))


def test_a_wide_sheet_is_corrected_whole(book: Opened) -> None:
    more = [f"remark {number} {'of the shift ' * 8}" for number in range(220)]
    lines = [line + "," + ",".join("x" * 20 for _ in more) for line in GOOD.strip().split("\n")]
    lines[0] = (
        GOOD.split("\n")[0].replace("job,", "Job No,").replace("found offset V [mm]", "As found offset V")
        + ","
        + ",".join(more)
    )
    client = book.app.server.test_client()
    where = sent(client, "\n".join(lines) + "\n")
    typed = form_of(client.get(where).get_data(as_text=True))
    assert len(typed) > 220
    assert do(client, where, "correct", **{**typed, "r0s0.c5.unit": "mil"}).status_code == 303
    assert form_of(client.get(where).get_data(as_text=True))["r0s0.c5.unit"] == "mil"


def test_a_sheet_of_very_many_columns_is_not_looked_at(book: Opened) -> None:
    wide = GOOD.replace("job,tag", "job," + "x," * 501 + "tag")
    client = book.app.server.test_client()
    assert "more than 500 columns" in shown(client.get(sent(client, wide)))


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


def test_another_sites_reading_is_shown_and_can_be_corrected_for_this_one(book: Opened, tmp_path: Path) -> None:
    client, folder = book.app.server.test_client(), tmp_path / "mappings"
    stated = OWN.replace("grumbling", "PM").replace("offset V", "offset V [mm]").replace("offset H", "offset H [mm]")
    stated = stated.replace("angle V", "angle V [mm/m]").replace("angle H", "angle H [mm/m]")
    assert do(client, sent(client, stated), "all").status_code == 303
    kept = next(folder.glob("*.toml"))
    kept.write_text(kept.read_text().replace('site = "Test Quay"', 'site = "Elsewhere"'))
    assert "Elsewhere" in kept.read_text()
    where = sent(client, stated.replace("2026-05", "2026-10"))
    page = client.get(where).get_data(as_text=True)
    assert "as another site of this book reads such files" in page
    assert "Elsewhere" not in page
    assert do(client, where, "correct", **(form_of(page) | {"r0s0.c4.times": "-1"})).status_code == 303
    assert do(client, where, "all").status_code == 303
    found = book.story("P-2").jobs[-1].job.found
    assert found is not None
    assert found.offset_v == pytest.approx(-2.5)
    assert "Elsewhere" in kept.read_text()
    assert len(list(folder.glob("*.toml"))) == 2


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


def test_two_columns_cannot_be_the_same_and_no_sheet_left_is_told(book: Opened, tmp_path: Path) -> None:
    client = book.app.server.test_client()
    where = sent(client, OWN)
    typed = form_of(client.get(where).get_data(as_text=True))
    kept = mapping_of(tmp_path, where)
    before = kept.read_text()
    answer = do(client, where, "correct", **{**typed, "r0s0.c6.field": typed["r0s0.c4.field"]})
    assert answer.status_code == 409
    assert "cannot both be ‘found offset V’. Leave one of them out." in shown(answer)
    assert kept.read_text() == before
    assert "No sheet would be left" in shown(do(client, where, "correct", **typed, **{"r0s0.out": "1"}))
    # What no list offers changes nothing.
    assert do(client, where, "correct", **{**typed, "r0s0.c4.unit": "furlong", "r0s0.c4.times": "7"}).status_code == 303
    assert "furlong" not in kept.read_text()
    for odd in ("correctx", "nothing"):
        assert do(client, where, odd).status_code == 303


def test_a_sheet_of_a_workbook_is_left_out_and_taken_back(book: Opened) -> None:
    client, made = book.app.server.test_client(), openpyxl.Workbook()
    first, second = made.active, made.create_sheet("old")
    assert first is not None
    first.title = "new"
    for line in csv.reader(io.StringIO(OWN), delimiter=";"):
        first.append(line)
        second.append([cell.replace("2026", "2021") for cell in line])
    stream = io.BytesIO()
    made.save(stream)
    where = sent(client, stream.getvalue(), "both.xlsx")
    page = client.get(where).get_data(as_text=True)
    typed = form_of(page)
    assert do(client, where, "correct", **typed, **{"r0s1.out": "1"}).status_code == 303
    assert "both.xlsx › old" not in client.get(where).get_data(as_text=True).partition("What was noticed")[0]
    typed = form_of(client.get(where).get_data(as_text=True))
    assert do(client, where, "correct", **typed, r0back0="1").status_code == 303
    again = form_of(client.get(where).get_data(as_text=True))
    assert do(client, where, "correct", **again, **{"r0s1.out": "1"}).status_code == 303
    typed = form_of(client.get(where).get_data(as_text=True))
    assert do(client, where, "correct", **typed, r0back0="1").status_code == 303
    assert "both.xlsx › old" in client.get(where).get_data(as_text=True).partition("What was noticed")[0]


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


def test_a_file_that_was_cut_before_it_was_sent_is_told_by_what_it_is(book: Opened) -> None:
    client = book.app.server.test_client()
    page = shown(client.get(sent(client, GOOD + 'K3,P-2,2026-07-04 09:00,planned,"Ana W')))
    assert "1 error in 1 row" in page


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


def test_files_go_after_a_day_and_are_those_of_who_sent_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def kept(files: SentFiles, login: str = "a") -> SentFile:
        return files.take(io.BytesIO(b"x"), "a.csv", site_id=1, login=login)

    files = SentFiles(tmp_path, NOW)
    one = kept(files)
    assert files.find(one.secret, site_id=1, login="a") == one
    assert files.find(one.secret, site_id=2, login="a") is None
    assert files.find(one.secret, site_id=1, login="b") is None
    assert (one.path.parent.parent.stat().st_mode & 0o077) == 0
    late = SentFiles(tmp_path, NOW + timedelta(days=2000))
    two = kept(late)
    assert late.find(one.secret, site_id=1, login="a") is None
    when = (NOW - timedelta(days=2)).timestamp()
    os.utime(two.folder / "about.json", (when, when))
    two.renew(tmp_path)  # looked at just now
    assert files.find(two.secret, site_id=1, login="a") is None, "a day at most, whether or not somebody sends another"
    when = NOW.timestamp()
    os.utime(two.folder / "about.json", (when, when))
    assert files.find(two.secret, site_id=1, login="a") == two
    monkeypatch.setattr(sent_files, "MOST_WAITING", 1)
    with pytest.raises(DriftbookError, match="Too many files"):
        kept(files)
    two.finish({})
    three = kept(files)
    assert files.waiting(site_id=1, login="a") == [three]
    assert kept(files, "b").login == "b", "who else sends something is not kept waiting"
    monkeypatch.setattr(sent_files, "MOST_ROOM", 1)
    with pytest.raises(DriftbookError, match="Too many files"):
        kept(files, "c")
    with pytest.raises(UnreadableFileError):
        files.take(io.BytesIO(b""), "x.exe", site_id=1, login="a")


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
