"""A list whose headings are not understood: somebody says what it holds and what each column is, and it is read as any other."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from models.settings import Settings
from tests.import_page import after, do, form_of, sent, shown
from tests.record_book import Opened, open_book

LIST = """Planta Norte;;;;;;;;
;;;;;;;;
Equipo;Fecha;Técnico;DV hallada (1/100 mm);AV hallada (mm/100 mm);DH hallada (1/100 mm);AH hallada (mm/100 mm);Calce delantero;<b>Obs</b>
P-2;13/05/2026;Ana Wick;12,5;0,03;-4,0;0,02;2,5;todo bien
P-2;02/06/2026;Ana Wick;8,0;0,02;3,5;-0,01;1,5;
"""
"""Offsets in hundredths of a millimetre, days before months, decimal commas; one column whose heading says no unit."""

FIELDS = {
    0: "tag", 1: "performed", 2: "people", 3: "found_offset_v", 4: "found_angle_v", 5: "found_offset_h", 6: "found_angle_h", 7: "move_v_1L", 8: "notes",
}  # fmt: skip
CHOSEN = {f"r0s0.c{at}.field": f"jobs.{key}" for at, key in FIELDS.items()}


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(replace(sqlite_book, mappings=tmp_path / "mappings"), tmp_path) as opened:
        yield opened


def test_a_list_in_another_language_is_said_read_imported_and_known_again(book: Opened) -> None:
    client, head = book.app.server.test_client(), book.reader.head()
    where = sent(client, LIST, "lista.csv")
    page = client.get(where).get_data(as_text=True)
    assert "Say it yourself" in page
    assert "<b>Obs" not in page
    assert re.search(r'name="row" value="3" checked', page), "the widest row is proposed"
    for wrong, told in (
        ({"holds": "", "row": "3"}, "It is not said what the list holds"),
        ({"holds": "jobs", "row": "x"}, "It is not said in which row"),
        ({"holds": "jobs", "row": "77"}, "Row 77 of lista.csv cannot be that of the headings"),
        ({"holds": "jobs", "row": "3", "sheet": "other"}, "There is no such sheet"),
    ):
        answer = do(client, where, "say", **wrong)
        assert answer.status_code == 409
        assert told in shown(answer)
        assert "Say it yourself" in shown(answer)
    asked = shown(after(client, do(client, where, "say", holds="jobs", row="3", sheet="")))
    assert "No column is ‘tag’ yet" in asked
    assert "No column is ‘performed at’ yet" in asked
    # What was chosen stays in the form where something of it cannot be.
    typed = {**form_of(client.get(where).get_data(as_text=True)), **CHOSEN}
    answer = do(client, where, "correct", **{**typed, "r0s0.c0.field": ""})
    assert "Say which column is ‘tag’" in shown(answer)
    assert form_of(answer.get_data(as_text=True))["r0s0.c4.field"] == "jobs.found_angle_v"
    # Units that no heading states are asked for, one answer for all of a kind; the file tells its dates and its decimal sign.
    page = after(client, do(client, where, "correct", **typed)).get_data(as_text=True)
    typed = form_of(page)
    assert (typed["r0s0.decimal"], typed["r0s0.order"]) == (",", "day first")
    assert (typed["r0s0.c3.unit"], typed["r0s0.c4.unit"], typed["r0s0.c7.unit"]) == ("?", "mm/100mm", "?")
    typed |= {"r0s0.c3.unit": "mm", "r0s0.c3.times": "0.01", "r0s0.c7.unit": "mm", "r0s0.c7.times": "0.01"}
    page = shown(after(client, do(client, where, "correct", **typed)))
    assert "All of it is good: 2 records would go in" in page
    assert "13 May 2026 – 2 Jun 2026" in page
    assert book.reader.head() == head
    assert do(client, where, "all").status_code == 303
    job = book.story("P-2").jobs[-2].job
    assert job.found is not None
    assert (job.found.offset_v, job.found.angle_v, job.found.offset_h) == pytest.approx((0.125, 0.3, -0.04))
    # The next list of theirs, with one more line above, is read so without a question.
    later = "Otra\n" + LIST.replace("2026", "2025")
    page = shown(client.get(sent(client, later, "otra.csv")))
    assert "All of it is good: 2 records would go in" in page
    assert "It is read as was confirmed" in page
    # A list that was taken for another kind is said to be what it is.
    where = sent(
        client,
        "Machine;Name;Fecha;found offset V [mm];found angle V [mm/m];found offset H [mm];found angle H [mm/m]\nP-2;pump;23/03/2024;0,1;0,2;0,1;0,2\n",
        "lista.csv",
    )
    assert "machines, headings in row 1" in shown(client.get(where))
    page = after(client, do(client, where, "say", holds="jobs", row="1", sheet="")).get_data(as_text=True)
    assert form_of(page)["r0s0.c0.field"] == "jobs.tag"
    typed = {**form_of(page), "r0s0.c2.field": "jobs.performed"}
    assert "1 record would go in" in shown(after(client, do(client, where, "correct", **typed)))


def test_hundredths_of_a_millimetre_over_a_rim_are_halved_where_they_are_asked_about(book: Opened) -> None:
    client = book.app.server.test_client()
    where = sent(client, LIST.replace("Planta Norte", "TIR").replace(";2,5;", ";;").replace(";1,5;", ";;"), "lista.csv")
    page = after(client, do(client, where, "say", holds="jobs", row="3", sheet=""))
    page = after(client, do(client, where, "correct", **(form_of(page.get_data(as_text=True)) | CHOSEN)))
    typed = form_of(page.get_data(as_text=True))
    assert (typed["r0s0.c3.unit"], typed["r0s0.c3.times"], typed["r0s0.c7.times"]) == ("?", "?", "1")
    assert "half of a hundredth of it" in shown(page)
    typed |= {"r0s0.c3.unit": "mm", "r0s0.c3.times": "0.005", "r0s0.c7.unit": "mm"}
    assert "2 records would go in" in shown(after(client, do(client, where, "correct", **typed)))
    assert do(client, where, "all").status_code == 303
    found = book.story("P-2").jobs[-2].job.found
    assert found is not None
    assert (found.offset_v, found.angle_v, found.offset_h) == pytest.approx((0.0625, 0.3, -0.02))
