"""A page never shows a number without its unit, its count or its window: all pages of the demo are walked for it.

The rules stand in ``tests.shown_numbers``.  What the server sends is walked: pages, figures with their axes and hovers,
the grid with the headings of its columns.  The browser only draws it, so none is needed.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from dash import html
from dash._utils import to_json
from flask.testing import FlaskClient

from dashboard import shell
from dashboard.app import create_app
from dashboard.components.chart import chart
from dashboard.components.pieces import key_number, key_numbers
from dashboard.components.tables import Column, grid, table
from dashboard.desk import BookDesk
from dashboard.ids import RecordIds, Shell
from dashboard.pages import asset, record
from models.maths.growth import MATERIALS
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from tests.conftest import NOW
from tests.demo_book import demo_in
from tests.shown_numbers import left_of, shown
from tests.still_trees import put_together
from tests.test_dashboard_pages import call

ADDRESSES = (
    "/?month=2026-10&jobs=found",
    "/?month=2026-10&jobs=done",
    "/?month=2020-12&units=mil",
    "/?month=2019-01",
    "/offenders",
    "/offenders?window=all&class=750&area=Sea+intake&list=all",
    "/due?month=2026-12",
    "/due?by=rule&list=all",
    "/asset",
    "/asset/SI-P-101A",
    "/asset/DS-P-204A?typed=1&limits=today&units=mil",
    "/asset/BH-P-711A?risk=20",
    "/asset/AL-P-403B",
    "/record",
    "/record?asset=DS-P-204A",
    "/book",
    "/book?asset=SI-P-101A&units=mil",
    "/book/3",
    "/book/4",
    "/book/700",
    "/people?instrument=NV-D-004&since=2026-07-09",
    "/people?units=mil",
    "/limits?offset=80&angle=700",
    "/limits?units=mil&years=all&set=2",
)

NO_NAMES = {
    "found",
    "left",
    "target",
    "soft",
    "move",
    "power",
    "running",
    "highest",
    "spacer",
    "movable",
    "stationary",
    "hours",
    "temperature",
}
"""Beginnings of columns of the files that hold numbers: only the others name things."""


@dataclass(frozen=True, slots=True)
class Plant:
    client: FlaskClient
    names: re.Pattern[str]


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    folder = tmp_path_factory.mktemp("units")
    settings: Settings = demo_in(folder, Display())
    engine = make_engine(settings)
    reader = Reader(engine)
    app = create_app(settings, reader, clock=lambda: NOW, desk=BookDesk(engine))
    yield Plant(app.server.test_client(), names_of(folder, reader))
    engine.dispose()


def names_of(folder: Path, reader: Reader) -> re.Pattern[str]:
    """Give what the plant calls its machines, people, instruments, jobs and notes; a name may hold a digit."""
    said: set[str] = set()
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                said |= {
                    cell
                    for name, cell in row.items()
                    if name.split()[0] not in NO_NAMES and re.search(r"[A-Za-z]", cell or "")
                }
    site = reader.sites()[0]
    said |= {text for one in MATERIALS for text in (one.name, one.source)}
    said |= {one.limit_set.source for one in reader.limit_sets(site.site_id)} | {site.name, site.code}
    words = sorted((text for text in said if re.search(r"\d", text)), key=len, reverse=True)
    return re.compile(r"(?<![\w-])(?:" + "|".join(re.escape(word) for word in words) + r")(?![\w-])")


def trees(client: FlaskClient, address: str) -> Iterator[Any]:
    """Give all that the server sends for an address, the frame included."""
    pathname, _, query = address.partition("?")
    search = f"?{query}" if query else ""
    place = [
        {"id": Shell.PAGE, "property": "data", "value": pathname},
        {"id": Shell.URL, "property": "search", "value": search},
    ]
    asked = [*place, {"id": Shell.SCHEME, "property": "data", "value": "light"}]
    page = shell.page_of(pathname)
    assert page is not None
    bodies = (asset.Ids.BODY, asset.Ids.STUDY, asset.Ids.REST) if page is asset else (page.Ids.BODY,)
    for body in bodies:
        answer = call(client, f"{body}.children", asked)
        assert answer.status_code == 200, (address, body)
        yield put_together(answer.get_json()["response"][body]["children"])
    frame = call(client, f"..{Shell.NAV}.children...{Shell.HEAD}.children..", place).get_json()["response"]
    yield from (part["children"] for part in frame.values())
    if page is record and "asset=" in search:
        yield from _form(client, place)


def _form(client: FlaskClient, place: list[dict[str, Any]]) -> Iterator[Any]:
    """Give the form of a job, and what it says while one is typed."""
    draft = [{"id": RecordIds.DRAFT, "property": "data", "value": {}}]
    form = call(client, f"{RecordIds.FORM}.children", draft, place).get_json()["response"][RecordIds.FORM]["children"]
    yield form
    typed = {
        "found.method": "results", "found.offset_v": "0.35", "found.angle_v": "0.2", "found.offset_h": "0.1", "found.angle_h": "0.1",
        "left.method": "results", "left.offset_v": "0.02", "left.angle_v": "0.05", "left.offset_h": "0", "left.angle_h": "0.1",
        "soft_before.1L": "0.12", "soft_before.1R": "0.01", "soft_before.2L": "0.02", "soft_before.2R": "0.11", "performed": "2026-11-24 10:00",
    }  # fmt: skip
    outputs = (
        RecordIds.RESULT_FOUND, RecordIds.RESULT_LEFT, RecordIds.SOFT_BEFORE, RecordIds.SOFT_AFTER, RecordIds.SAID, RecordIds.STATUS,
        RecordIds.OPEN, RecordIds.ASKS, RecordIds.CHANGED,
    )  # fmt: skip
    data = {RecordIds.SAID, RecordIds.ASKS}
    output = "...".join(f"{one}.{'data' if one in data else 'children'}" for one in outputs)
    given = [
        {"id": RecordIds.TYPED, "property": "data", "value": typed},
        {"id": Shell.SCHEME, "property": "data", "value": "light"},
    ]
    state = [*place, {"id": RecordIds.ASKS, "property": "data", "value": None}]
    answer = call(client, f"..{output}..", given, state)
    assert answer.status_code == 200
    yield from (part["children"] for name, part in answer.get_json()["response"].items() if name not in data)


def faults_of(tree: Any, where: str, names: re.Pattern[str] | None = None) -> list[tuple[str, str, str]]:
    found = {(one.where, one.text, rest) for one in shown(tree, where) if (rest := one.untold(names))}
    return sorted(found)


def test_every_page_is_walked() -> None:
    assert {shell.page_of(one.partition("?")[0]) for one in ADDRESSES} == set(shell.PAGES)


@pytest.mark.parametrize("address", ADDRESSES)
def test_no_number_stands_without_its_unit_its_count_or_its_window(plant: Plant, address: str) -> None:
    sent = list(trees(plant.client, address))
    assert any(re.search(r"\d", one.text) for one in shown(sent[0], address)), "the page itself was walked"
    faults = [fault for tree in sent for fault in faults_of(tree, address, plant.names)]
    assert not faults, "\n".join(str(fault) for fault in faults)


def planted(*children: object) -> Any:
    """Give components as the server would send them."""
    return json.loads(to_json(html.Div(list(children))))


def rests(*children: object) -> list[str]:
    return [rest for _, _, rest in faults_of(planted(*children), "planted")]


@pytest.mark.parametrize(
    "text",
    [
        "7 of 26 readings were over limit: 27\u202f%.",
        "October 2026: 27 jobs on 27 machines.",
        "offset V +0.221, H +0.097 mm; angularity V −0.18, H +0.10 mm/m",
        "95\u202f% interval −0.177 to −0.080 mm a year",
        "1.42 over",
        "9 Oct 2026, 14:05",
        "entry 2286 of the book",
        "starter, version 1",
        "Intervals are Wilson's (1927), and Newcombe 1998",
    ],
)
def test_a_number_with_what_it_needs_is_told(text: str) -> None:
    assert rests(html.P(text)) == []


@pytest.mark.parametrize(
    "text",
    [
        "The drift was 0.35.",
        "Left at 0.02",
        "7 were over limit",
        "27 in October 2026",
        "It moved 0.12 up and 3 mm down",
        "from 14 to 46",
    ],
)
def test_a_bare_number_is_found(text: str) -> None:
    assert len(rests(html.P(text))) == 1


def test_a_bare_column_key_number_axis_hover_word_and_grid_are_found() -> None:
    def cells(head: str) -> Any:
        return table("Planted", [Column("Machine"), Column(head, number=True)], [["P", "0.35"]])

    assert rests(cells("Offset [mm]")) == []
    assert rests(cells("Offset")) == ["0.35"]
    assert rests(key_numbers(key_number("Jobs done", "27", "in the month"))) == []
    assert rests(key_numbers(key_number("Drift", "0.35", "in the month"))) == ["0.35"]

    def drawn(title: str, *, hover: str = "%{y:.2f} mm", **more: Any) -> Any:
        trace = {
            "type": "scatter",
            "x": [1.0, 2.0],
            "y": [0.1, 0.2],
            "mode": "markers",
            "name": "as found",
            "hovertemplate": hover,
        }
        layout = {"xaxis": {"title": {"text": "speed [rpm]"}}, "yaxis": {"title": {"text": ""}}, **more}
        return chart({"data": [trace], "layout": layout}, title=title, says="a picture", height=100)

    assert rests(drawn("Offset [mm]")) == []
    assert rests(drawn("Offset")) == ["9"]
    assert rests(drawn("Offset [mm]", hover="%{y:.2f}")) == ["9"]
    assert rests(drawn("Offset [mm]", annotations=[{"text": "limit 0.08"}])) == ["limit 0.08"]
    column = {"headerName": "left", "children": [{"field": "a", "headerName": "offset V [mm]"}]}
    assert rests(grid("g", [column], [{"a": 0.35}], "planted")) == []
    column["children"][0]["headerName"] = "offset V"  # type: ignore[index]
    assert rests(grid("g", [column], [{"a": 0.35}], "planted")) == ["0.35"]


def test_a_name_of_the_plant_is_no_number_and_its_neighbour_is() -> None:
    names = re.compile(r"(?<![\w-])(?:SI-P-101A)(?![\w-])")
    assert left_of("SI-P-101A stands", names).strip() == "stands"
    assert "5" in left_of("SI-P-101A 5", names)
