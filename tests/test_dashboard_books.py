"""The pages on real books: an empty one, one of a few jobs, and the demo."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from dashboard import shell
from dashboard.app import create_app
from dashboard.ids import Shell
from dashboard.pages import asset
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from tests.conftest import NOW, make_site
from tests.demo_book import demo_in
from tests.seeded import seed
from tests.test_dashboard_pages import ADDRESSES, call, fill, text_of


def client_of(settings: Settings, reader: Reader) -> FlaskClient:
    return create_app(settings, reader, clock=lambda: NOW).server.test_client()


@pytest.fixture
def small(sqlite_book: Settings, tmp_path: Path) -> Iterator[FlaskClient]:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    seed(engine, site, tmp_path)
    yield client_of(sqlite_book, Reader(engine))
    engine.dispose()


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FlaskClient]:
    settings = demo_in(tmp_path_factory.mktemp("demo"), Display("mil", "°F"))
    engine = make_engine(settings)
    yield client_of(settings, Reader(engine))
    engine.dispose()


def answer(client: FlaskClient, pathname: str, search: str) -> str:
    response = fill(client, shell.page_of(pathname), pathname, search)
    assert response.status_code == 200
    text = text_of(response)
    assert "could not be made" not in text
    return text


def test_a_book_without_a_site_answers_on_every_page(sqlite_book: Settings) -> None:
    engine = make_engine(sqlite_book)
    client = client_of(sqlite_book, Reader(engine))
    for pathname, search in ADDRESSES:
        assert "The book is empty" in answer(client, pathname, search)
    engine.dispose()


def test_a_site_without_a_job_answers_on_every_page(sqlite_book: Settings) -> None:
    make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    client = client_of(sqlite_book, Reader(engine))
    for pathname, search in ADDRESSES:
        text = answer(client, pathname, search)
        assert "No job yet" in text or "Tag not known" in text
    engine.dispose()


def rest(client: FlaskClient, search: str) -> str:
    """Give the last part of the page of P-1, which holds the jobs."""
    inputs = [
        {"id": Shell.PAGE, "property": "data", "value": "/asset/P-1"},
        {"id": Shell.URL, "property": "search", "value": search},
        {"id": Shell.SCHEME, "property": "data", "value": "light"},
    ]
    response = call(client, f"{asset.Ids.REST}.children", inputs)
    assert response.status_code == 200
    return str(text_of(response))


def test_a_few_jobs_are_shown_as_they_were_typed_and_in_the_sites_units(small: FlaskClient) -> None:
    text = answer(small, "/asset/P-1", "")
    assert "cooling water pump" in text
    assert "2 jobs since 4 Mar 2024" in text
    assert '"found_offset_v": 0.12' in rest(small, "")
    assert '"found_offset_v": "0.12' in rest(small, "?typed=1")
    mil = rest(small, "?units=mil")
    assert '"found_offset_v": 4.7' in mil  # 0.12 / 0.0254 = 4.724


def test_a_replaced_coupling_is_marked(small: FlaskClient) -> None:
    assert "coupling replaced" in answer(small, "/asset/P-2", "")


@pytest.mark.slow
def test_every_page_answers_on_the_demo(demo: FlaskClient) -> None:
    for pathname, search in [
        *ADDRESSES,
        ("/asset/AL-P-421B", ""),
        ("/asset/DS-P-206A", "?typed=1"),
        ("/asset", "?q=kelp"),
    ]:
        answer(demo, pathname, search)


@pytest.mark.slow
def test_the_demo_in_mil_shows_no_millimetre(demo: FlaskClient) -> None:
    text = answer(demo, "/asset/AL-P-421B", "")
    assert "[mil]" in text
    assert "[mm" not in text
    assert " mm" not in text.replace("1 mil = 0.0254 mm; 1 mm/m = 1 mil/in", "").replace("Stored are mm, mm/m", "")
