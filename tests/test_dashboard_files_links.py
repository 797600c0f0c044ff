"""Under each table stands where to take it from, and every such address answers with the very table of the page."""

from __future__ import annotations

import csv
import io
import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.components.take import take
from dashboard.files.tables import TABLES
from dashboard.kept import shelf_of
from dashboard.pages import asset, book, due, limits, month, offenders, people
from dashboard.place import Place
from dashboard.views.groups_view import Alike, Groups
from models.settings import Settings
from tests.history_maker import NOW, made_book
from tests.test_dashboard_pages import call, fill, text_of

SHOWN: list[tuple[Any, str, str, str, str]] = [
    (month, "/", "?month=2026-09&jobs=all", "month-classes month-chart month-jobs due instruments", "month-classes month=2026-09"),
    (offenders, "/offenders", "?window=all&area=Intake", "offenders funnel", "offenders window=all&area=Intake"),
    (due, "/due", "?risk=5&list=all", "due due-loads forecast-held", "due risk=5"),
    (asset, "/asset", "?q=pump", "machines", "machines q=pump"),
    (book, "/book", "?asset=P-102", "entries", "entries asset=P-102"),
    (people, "/people", "?instrument=LX-02", "people people-left instruments instrument-jobs late-jobs effects repeatability", "instrument-jobs instrument=LX-02"),
    (limits, "/limits", "?offset=80&angle=700", "limit-sets what-if limit-curve", "what-if offset=80&angle=700"),
]  # fmt: skip
"""Page, address, the tables that stand on it, and what the address of one of them says."""


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app(Settings(book="plant.db"), made_book(), clock=lambda: NOW).server.test_client()


def addresses(answer: str) -> set[str]:
    return {one.replace("\\u0026", "&") for one in re.findall(r'"href": "(/table/[^"]+)"', answer)}


def name_of(address: str) -> str:
    return address.removeprefix("/table/").partition(".")[0]


@pytest.mark.parametrize(("page", "path", "query", "wanted", "kept"), SHOWN, ids=[one[3].split()[0] for one in SHOWN])
def test_every_table_of_a_page_can_be_taken_with_its_choices(
    client: FlaskClient, page: Any, path: str, query: str, wanted: str, kept: str
) -> None:
    found = addresses(text_of(fill(client, page, path, query)))
    names = {name_of(address) for address in found}
    assert set(wanted.split()) <= names <= set(TABLES)
    name, choices = kept.split()
    assert f"/table/{name}.csv?{choices}" in found
    for address in found:
        if ".csv" in address:  # the other forms of every table are fetched elsewhere
            assert client.get(address).status_code == 200, address


def test_groups_that_move_alike_can_be_taken_where_there_are_any() -> None:
    """The made plant has none: one is put in."""
    made = made_book()
    shelf = shelf_of(made.history(1))
    one = Alike("instrument", "LX-02", 0, 0.012, 0.008, 0.016, 0.0, 114, 0, 0.01)
    shelf.pinned["groups"] = Groups((one,), 3, 20, 3)
    client = create_app(Settings(book="plant.db"), made, clock=lambda: NOW).server.test_client()
    found = addresses(text_of(fill(client, offenders, "/offenders", "?window=all")))
    assert "/table/groups.csv?window=all" in found
    assert "LX-02" in client.get("/table/groups.csv").text


def test_the_page_of_a_machine_gives_its_jobs_and_runs(client: FlaskClient) -> None:
    found: set[str] = set()
    for output in (asset.Ids.BODY, asset.Ids.STUDY, asset.Ids.REST):
        inputs = [
            {"id": "shell-page", "property": "data", "value": "/asset/P-102"},
            {"id": "shell-url", "property": "search", "value": "?units=mil"},
            {"id": "shell-scheme", "property": "data", "value": "light"},
        ]
        found |= addresses(text_of(call(client, f"{output}.children", inputs)))
    of_a_machine = {name for name in TABLES if name.startswith("asset-")}
    assert of_a_machine <= {name_of(address) for address in found}
    for address in found:
        assert "asset=P-102" in address
        assert client.get(address).status_code == 200
    (jobs,) = [address for address in found if address.startswith("/table/asset-jobs.csv")]
    heading, *rows = csv.reader(io.StringIO(client.get(jobs).data.decode("utf-8-sig"), newline=""))
    assert "found offset V [mil]" in heading
    assert {row[heading.index("tag")] for row in rows} == {"P-102"}


def test_the_line_names_each_form_and_keeps_the_choices() -> None:
    line = take("due", Place("/due", {"risk": "5", "list": "all"}), list=None)
    links = [part for part in line.children if hasattr(part, "href")]
    assert [link.children for link in links] == ["CSV", "XLSX", "Parquet"]
    assert [link.href for link in links] == [f"/table/due.{form}?risk=5" for form in ("csv", "xlsx", "parquet")]
