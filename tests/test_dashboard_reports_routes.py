"""The addresses of the papers: what they give in every state of a book, what they refuse, and the command beside them."""

from __future__ import annotations

import io
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from dashboard.app import create_app
from dashboard.cli import main
from dashboard.components import papers
from dashboard.console.reporting_parser import METHODS, SIZES
from dashboard.place import Place
from dashboard.reports import paths, routes
from dashboard.reports.press import PAPERS
from dashboard.roles import ROUTES
from dashboard.version import program
from models.settings import Settings
from models.values.asset import Asset
from models.values.draft import Way
from models.values.roles import Permission
from tests.history_maker import NOW, MadeBook, Misalignment, job, line, made_book, story_of
from tests.papers import codes_of, page_sizes, pages_of, text_of
from tests.record_book import open_book

PUMP = Asset("P-101", "Brine pump", "Intake", speed_rpm=1480.0, feet_movable_mm=(300.0, 800.0))
SLASHED = Asset("A/B 7#", "Two blanks", "Süd & Nord", speed_rpm=990.0)
FIRST = line(job("P-101", "2026-10-05T09:00", None, Misalignment(0.02)), PUMP, 5)
BOOKS = {
    "no site": MadeBook(no_site=True),
    "no machine": MadeBook(),
    "no job": MadeBook([story_of(PUMP, []), story_of(SLASHED, [])]),
    "one job": MadeBook([story_of(PUMP, [FIRST])]),
    "many": made_book(),
}


@pytest.fixture(scope="module")
def clients() -> Any:
    return {
        name: create_app(Settings(book="x.book"), book, clock=lambda: NOW).server.test_client()
        for name, book in BOOKS.items()
    }


def ask(clients: Any, book: str, address: str) -> Any:
    return clients[book].get(address, base_url="http://plant-server:8750")


@pytest.mark.parametrize("book", ["no machine", "no job", "one job", "many"])
def test_the_review_is_two_pages_at_most_in_every_state(clients: Any, book: str) -> None:
    answer = ask(clients, book, "/report/month/2026-10.pdf")
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    pages = pages_of(answer.data)
    assert 1 <= len(pages) <= 2
    assert "Alignment review, October 2026" in pages[0]
    assert "isolate it, lock out and tag" in pages[-1]


def test_every_address_gives_a_paper_that_is_not_kept_by_anybody_between(clients: Any) -> None:
    tag = str(made_book().stories[0].asset.tag)
    for address in (
        f"/report/asset/{tag}.pdf",
        f"/report/sheet/{tag}.pdf",
        f"/report/sheet/{tag}.pdf?fill=1",
        f"/report/labels.pdf?tag={tag}",
    ):
        answer = ask(clients, "many", address)
        assert answer.status_code == 200, address
        assert answer.data.startswith(b"%PDF")
        assert answer.headers["Cache-Control"] == "private, no-store"
        assert answer.headers["Content-Disposition"].startswith("inline; filename=")
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    ("book", "address", "status", "says"),
    [
        ("no site", "/report/month/2026-10.pdf", 404, "no site"),
        ("many", "/report/month/2026-13.pdf", 404, "2026-13"),
        ("many", "/report/month/2099-01.pdf", 400, "has not begun"),
        ("many", "/report/month/hello.pdf", 404, "written like 2026-10"),
        ("many", "/report/asset/none.pdf", 404, "none"),
        ("many", "/report/sheet/none.pdf", 404, "none"),
        ("one job", "/report/sheet/P-101.pdf?date=tomorrow", 400, "tomorrow"),
        ("one job", "/report/sheet/P-101.pdf?method=guess", 400, "guess"),
        ("one job", "/report/sheet/P-101.pdf?paper=a5", 400, "a4 or letter"),
        ("one job", "/report/labels.pdf?area=nowhere", 404, "nowhere"),
        ("one job", "/report/labels.pdf?tag=x", 404, "x"),
        ("no machine", "/report/labels.pdf", 404, "no machine"),
    ],
)
def test_what_cannot_be_printed_is_told_in_words(clients: Any, book: str, address: str, status: int, says: str) -> None:
    answer = ask(clients, book, address)
    assert answer.status_code == status
    assert answer.mimetype == "text/plain"
    assert says in answer.get_data(as_text=True)


def test_choices_stand_in_the_address(clients: Any) -> None:
    plain = ask(
        clients, "one job", "/report/sheet/P-101.pdf?date=2027-02-03&paper=letter&method=two-faces&units=mil"
    ).data
    told = text_of(plain)
    assert page_sizes(plain) == {(612, 792)}
    assert "2027-02-03" in told
    assert "Dial 1, at the stationary end" in told
    assert "in mil or with its unit" in told
    assert codes_of(plain) == ["http://plant-server:8750/record?asset=P-101"]


def test_a_tag_with_a_slash_and_a_blank_has_its_papers_and_labels(clients: Any) -> None:
    place = Place("/asset", {"units": "mm"})
    history = ask(clients, "no job", paths.history_path(place, SLASHED.tag))
    sheet = ask(clients, "no job", paths.sheet_path(place, SLASHED.tag, fill=1))
    labels = ask(clients, "no job", paths.labels_path(place, area="süd & nord"))
    assert [one.status_code for one in (history, sheet, labels)] == [200, 200, 200]
    assert "A/B 7#" in text_of(history.data)
    assert codes_of(labels.data) == ["http://plant-server:8750/asset/A%2FB%207%23"]
    assert PdfReader(io.BytesIO(sheet.data)).get_fields()


def test_too_many_labels_are_left_to_the_command(clients: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(routes, "MOST_LABELS", 1)
    answer = ask(clients, "no job", "/report/labels.pdf")
    assert answer.status_code == 400
    assert "driftbook report labels" in answer.get_data(as_text=True)


def test_every_address_stands_in_the_table_of_roles(clients: Any) -> None:
    rules = {
        rule.endpoint for rule in clients["many"].application.url_map.iter_rules() if str(rule).startswith("/report/")
    }
    assert rules == set(routes.ROUTES)
    assert all(ROUTES[endpoint] is Permission(word) for endpoint, word in routes.ROUTES.items())


def test_the_command_knows_every_way_and_every_size() -> None:
    assert tuple(routes.way_code(way) for way in Way) == METHODS
    assert tuple(PAPERS) == SIZES
    for method in METHODS:
        assert routes.way_code(routes.read_way(method) or Way.RESULTS) == method


def test_the_command_writes_what_was_asked_for(
    sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRIFTBOOK_ADDRESS", raising=False)
    book = ("--book", sqlite_book.book)
    with open_book(sqlite_book, tmp_path):
        assert main(["report", "month", "--month", "2025-11", *book]) == 0
        assert main(["report", "asset", "P-2", *book, "-o", "own name.pdf"]) == 0
        assert main(["report", "sheet", "F-1", *book, "--date", "2026-12-01", "--paper", "letter"]) == 0
        assert "The sheet has no code" in capsys.readouterr().out
        assert main(["report", "sheet", "P-2", *book, "--fillable", "--address", "http://plant:1"]) == 0
        assert main(["report", "labels", "P-2", *book, "--address", "http://127.0.0.1:8750"]) == 0
        assert "only this very machine" in capsys.readouterr().out.replace("\n", " ")
        assert main(["report", "labels", *book]) == 2
        assert "8750" in capsys.readouterr().err
        assert main(["report", "asset", "none", *book]) == 2
        assert main(["report", "month", "soon", *book]) == 2
        assert main(["report", "month", "2025-11", "--month", "2025-10", *book]) == 2
        assert main(["report", "asset", "P-2", *book, "-o", "no/such/folder/x.pdf"]) == 2
    made = {path.name: path.read_bytes() for path in tmp_path.glob("*.pdf")}
    assert set(made) == {"review-2025-11.pdf", "own name.pdf", "sheet-F-1.pdf", "sheet-P-2.pdf", "labels.pdf"}
    history, review = text_of(made["own name.pdf"]), text_of(made["review-2025-11.pdf"])
    assert "Alignment history of P-2" in history
    assert f"Made by {program()}; for a command on the server" in history
    assert f"made by {program()}; for a command on the server. It bears no root" in review
    assert page_sizes(made["sheet-F-1.pdf"]) == {(612, 792)}
    assert codes_of(made["labels.pdf"]) == ["http://127.0.0.1:8750/asset/P-2"]
    assert PdfReader(io.BytesIO(made["sheet-P-2.pdf"])).get_fields()


def test_every_paper_that_a_page_offers_is_there(clients: Any) -> None:
    place = Place("/asset", {"units": "mil"})
    offered = [
        *hrefs_of(papers.month_papers(date(2026, 10, 1), place)),
        *hrefs_of(papers.asset_papers(PUMP.tag, place)),
        *hrefs_of(papers.due_papers(place)),
    ]
    assert len(offered) == 6
    for href in offered:
        answer = ask(clients, "one job", href)
        assert (answer.status_code, answer.mimetype) == (200, "application/pdf"), href
        assert "units=mil" in href, "the units of the page go along"


def hrefs_of(part: Any) -> list[str]:
    return [child.href for child in part.children if hasattr(child, "href")]
