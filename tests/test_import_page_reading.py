"""How a file that was sent is read: proposed, corrected for this file, confirmed by importing it, and kept for later ones."""

from __future__ import annotations

import csv
import html
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest

from models.settings import Settings
from tests.import_page import (
    GOOD,
    OWN,
    after,
    do,
    form_of,
    mapping_of,
    offset_of,
    sent,
    shown,
    was_of,
)
from tests.record_book import Opened, open_book


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(replace(sqlite_book, mappings=tmp_path / "mappings"), tmp_path) as opened:
        yield opened


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
    # With one column more it is another list: what was answered is the guess, and where it is from is said.
    wider = later.replace("Equipment;", "Spare;Equipment;").replace("\nP-2", "\n;P-2").replace("\nF-1", "\n;F-1")
    where = sent(client, wider, "july.csv")
    page = client.get(where)
    assert "To answer first: 2 questions" in shown(page)
    assert f"{kept.name}, confirmed for this site, reads the same heading in mil × -1; by itself" in shown(page)
    typed = form_of(page.get_data(as_text=True))
    assert (typed["r0s0.c5.unit"], typed["r0s0.c7.unit"], typed["r0s0.c7.times"]) == ("?", "?", "?")
    typed |= {"r0s0.c5.unit": "mil", "r0s0.c7.unit": "mil", "r0s0.c7.times": "-1"}
    assert do(client, where, "correct", **typed).status_code == 303
    assert f"as confirmed for the same heading in {kept.name}" in shown(client.get(where))


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
    where, own = (sent(client, plain.replace("2026-05", month), f"{month}.csv") for month in ("2026-08", "2026-09"))
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
    names, *lines = OWN.splitlines()
    where = sent(client, "\n".join([f"{names};Running speed [rpm]", *(f"{line};1500" for line in lines)]))
    typed = form_of(client.get(where).get_data(as_text=True))
    assert ("r0s0.c8.unit" in typed, "r0s0.c8.times" in typed) == (True, False), "a choice of one is none"
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
    assert "would go in" in shown(client.get(sent(client, OWN, "own.csv")))
    own = mapping_of(tmp_path, where).name
    (folder / own).write_text("confirmed = maybe")
    answer = client.get(sent(client, OWN, "own.csv"))
    assert answer.status_code == 409
    assert "cannot be used" in shown(answer)


def test_a_new_word_in_a_list_that_was_confirmed_is_asked_for(book: Opened) -> None:
    client = book.app.server.test_client()
    assert do(client, sent(client, OWN.replace("grumbling", "PM")), "all").status_code == 303
    page = client.get(sent(client, OWN.replace("2026-05", "2026-09"))).get_data(as_text=True)
    assert "‘grumbling’ means" in html.unescape(page)


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


def test_filled_columns_that_are_left_out_are_named_until_the_reading_is_confirmed(book: Opened) -> None:
    client = book.app.server.test_client()
    head = "Tag No;Speed rpm;Front feet;Back feet;third feet row;Grease;Empty"
    where = sent(client, f"{head}\nK-1;1480;200;600;900;EP2;\n", "register.csv")
    page = shown(client.get(where))
    assert "All of it is good: 1 record would go in" in page
    note = "1 filled column is left out: F ('Grease'). Where it says something that the book keeps, say what it is"
    assert f"note register.csv {note}" in page
    assert do(client, where, "all").status_code == 303
    assert book.story("K-1").asset.feet_movable_mm == (200.0, 600.0, 900.0)
    assert "left out: F" not in shown(client.get(sent(client, f"{head}\nK-2;1480;200;600;900;EP2;\n", "register.csv")))


def test_what_a_heading_leaves_open_is_answered_on_the_page_once_for_all_that_say_the_same(book: Opened) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    where = sent(
        client,
        OWN.replace("grumbling", "PM")
        .replace("offset V", "offset V [hundredths]")
        .replace("offset H", "offset H [hundredths]"),
    )
    page = client.get(where)
    assert "To answer first: 1 question" in shown(page)
    assert "its heading says 'hundredths' where a unit stands" in shown(page)
    assert 'value="all"' not in page.get_data(as_text=True)
    typed = form_of(page.get_data(as_text=True))
    assert (typed["r0s0.c4.unit"], typed["r0s0.c6.unit"]) == ("?", "?")
    for does in ("all", "good", "mend"):
        assert "To answer first: 1 question" in shown(do(client, where, does, **typed))
    assert book.reader.head() == head
    assert do(client, where, "correct", **{**typed, "r0s0.c4.unit": "mm", "r0s0.c4.times": "0.01"}).status_code == 303
    typed = form_of(client.get(where).get_data(as_text=True))
    assert (typed["r0s0.c6.unit"], typed["r0s0.c6.times"]) == ("mm", "0.01")
    assert do(client, where, "all", **typed).status_code == 303
    assert offset_of(book) == pytest.approx(0.025)
    # A sign that somebody turned is that of its own column.
    where = sent(client, OWN.replace("offset V", "offset V [tenths]").replace("offset H", "offset H [tenths]"))
    typed = form_of(client.get(where).get_data(as_text=True)) | {"r0s0.c4.unit": "mm", "r0s0.c4.times": "-1"}
    assert do(client, where, "correct", **typed).status_code == 303
    typed = form_of(client.get(where).get_data(as_text=True))
    assert (typed["r0s0.c4.times"], typed["r0s0.c6.unit"], typed["r0s0.c6.times"]) == ("-1", "?", "?")
    # A unit alone is no answer: hundredths as they stand would be a hundred times too large.
    where = sent(client, OWN.replace("offset V", "offset V [mm/100]"))
    typed = form_of(client.get(where).get_data(as_text=True)) | {"r0s0.c4.unit": "mm"}
    assert do(client, where, "correct", **typed).status_code == 303
    page = client.get(where)
    assert form_of(page.get_data(as_text=True))["r0s0.c4.times"] == "?"
    assert "To answer first: 1 question" in shown(page)
    assert do(client, where, "correct", **{**typed, "r0s0.c4.times": "-0.01"}).status_code == 303
    page = client.get(where)
    assert form_of(page.get_data(as_text=True))["r0s0.c4.times"] == "-0.01"
    assert "a hundredth of it (1/100), sign turned round" in shown(page)
    # A half is of its own column too: feet are not read off over a rim.
    where = sent(
        client, OWN.replace("offset V", "offset V [thousandths]").replace("offset H", "offset H [thousandths]")
    )
    typed = form_of(client.get(where).get_data(as_text=True)) | {"r0s0.c4.unit": "mm", "r0s0.c4.times": "0.5"}
    assert do(client, where, "correct", **typed).status_code == 303
    typed = form_of(client.get(where).get_data(as_text=True))
    assert (typed["r0s0.c4.times"], typed["r0s0.c6.unit"], typed["r0s0.c6.times"]) == ("0.5", "?", "?")
    # So are tenths beside hundredths, and nothing goes for all where the answers are not one.
    where = sent(client, OWN.replace("offset V", "offset V [1/10 mm]").replace("offset H", "offset H [1/100 mm]"))
    typed = form_of(client.get(where).get_data(as_text=True)) | {"r0s0.c4.unit": "mm", "r0s0.c4.times": "0.1"}
    assert do(client, where, "correct", **typed).status_code == 303
    assert form_of(client.get(where).get_data(as_text=True))["r0s0.c6.unit"] == "?"
    where = sent(
        client, "Log in mils\nMachine;Date;Found offset V;Found offset H;Left offset V\nP-1;2026-05-04;1;2;3\n"
    )
    page = client.get(where)
    assert shown(page).count("row 1 above the headings says 'mils'") == 1
    assert shown(page).count("as for 'Found offset V': one answer goes for all") == 2
    typed = form_of(page.get_data(as_text=True)) | {"r0s0.c2.unit": "mil", "r0s0.c3.unit": "mm"}
    assert do(client, where, "correct", **typed).status_code == 303
    assert form_of(client.get(where).get_data(as_text=True))["r0s0.c4.unit"] == "?"


def test_a_column_that_is_said_to_be_a_reading_is_asked_for_its_unit(book: Opened) -> None:
    client = book.app.server.test_client()
    where = sent(
        client,
        OWN.replace("As found offset V", "As found offset V;Spare [1/100 mm]")
        .replace(";2,5;", ";2,5;7;")
        .replace(";4,0;", ";4,0;7;"),
    )
    typed = form_of(client.get(where).get_data(as_text=True))
    assert do(client, where, "correct", **{**typed, "r0s0.c5.field": "jobs.left_offset_v"}).status_code == 303
    assert "says '1/100 mm' where a unit stands" in shown(client.get(where))
    typed = form_of(client.get(where).get_data(as_text=True))
    assert do(client, where, "correct", **{**typed, "r0s0.c5.field": ""}).status_code == 303
    assert "?" not in form_of(client.get(where).get_data(as_text=True)).values()
