"""While the estimates over all machines follow the last jobs, everything that leaves says up to which entry they go."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace

import openpyxl
import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.kept import pin
from dashboard.writing import count
from models.history.engine import Study, study_of
from models.settings import Settings
from tests.history_maker import NOW, MadeBook, made_book
from tests.papers import pages_of, text_of


@pytest.fixture(scope="module")
def book() -> MadeBook:
    return made_book()


@pytest.fixture(scope="module")
def study(book: MadeBook) -> Study:
    return study_of(book.history(book.at_site.site_id))


@pytest.fixture
def behind(book: MadeBook, study: Study) -> Iterator[str]:
    """Let the estimates be three entries behind; gives the words for it."""
    history = book.history(book.at_site.site_id)
    until = study.fleet.until - 3
    pin(history, "study", replace(study, fleet=replace(study.fleet, until=until)))
    yield f"Averages of classes and calibration are up to entry {count(until)}."
    pin(history, "study", study)


@pytest.fixture
def client(book: MadeBook) -> FlaskClient:
    return create_app(Settings(book="plant.db"), book, clock=lambda: NOW).server.test_client()


def _about(workbook: bytes) -> str:
    """Give all texts of all sheets: what a table rests on stands beside it."""
    book = openpyxl.load_workbook(io.BytesIO(workbook), read_only=True)
    return "\n".join(str(cell) for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row if cell)


def test_papers_say_it_on_every_page(client: FlaskClient, book: MadeBook, behind: str) -> None:
    tag = str(book.stories[0].asset.tag)
    for address in ("/report/month/2026-10.pdf", f"/report/asset/{tag}.pdf"):
        pages = pages_of(client.get(address, base_url="http://plant:8750").data)
        assert all(behind in " ".join(page.split()) for page in pages), address


def test_a_paper_without_estimates_does_not_speak_of_them(client: FlaskClient, book: MadeBook, behind: str) -> None:
    tag = str(book.stories[0].asset.tag)
    sheet = text_of(client.get(f"/report/sheet/{tag}.pdf", base_url="http://plant:8750").data)
    assert behind not in " ".join(sheet.split())


def test_tables_say_it(client: FlaskClient, behind: str) -> None:
    for name in ("due", "offenders"):
        assert behind in _about(client.get(f"/table/{name}.xlsx").data), name
        told = client.get(f"/table/{name}.csv").headers["Driftbook-Estimates"]
        assert f"up to entry {count(int(told))}." in behind


def test_nothing_says_it_when_they_have_followed(client: FlaskClient, book: MadeBook, study: Study) -> None:
    pin(book.history(book.at_site.site_id), "study", study)
    table = client.get("/table/due.xlsx")
    assert "Driftbook-Estimates" not in table.headers
    told = _about(table.data)
    told += text_of(client.get("/report/month/2026-10.pdf", base_url="http://plant:8750").data)
    assert "Averages of classes and calibration" not in " ".join(told.split())
