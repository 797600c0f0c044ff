"""All pages at once: the contract of a page, ids, skeletons, and an answer to every first call."""

import ast
import importlib
import json
import pkgutil
from pathlib import Path
from typing import Any

import pytest

import dashboard.pages
from dashboard import shell
from dashboard.app import create_app
from dashboard.components import elements as html
from dashboard.ids import Shell
from dashboard.pages import asset, offenders
from models.settings import Settings
from models.units import Display
from models.values.asset import Asset
from tests.history_maker import NOW, MadeBook, Misalignment, job, line, made_book, site, story_of

MODULES = [
    importlib.import_module(f"dashboard.pages.{found.name}") for found in pkgutil.iter_modules(dashboard.pages.__path__)
]
PUMP = Asset("P-101", "Brine pump", "Intake", speed_rpm=1480.0, feet_movable_mm=(300.0, 800.0))


def one_job() -> Any:
    return MadeBook([story_of(PUMP, [line(job("P-101", "2026-10-05T09:00", None, Misalignment(0.02)), PUMP, 5)])])


BOOKS = {
    "no site": MadeBook(no_site=True),
    "no machine": MadeBook(),
    "no job": MadeBook([story_of(PUMP, [])]),
    "one job": one_job(),
    "many": made_book(),
    "many in mil": made_book(display=Display("mil", "°F")),
}
ADDRESSES = [
    ("/", ""),
    ("/", "?month=2026-10"),
    ("/", "?month=1999-01"),
    ("/", "?month=nonsense&units=ell&site=x"),
    ("/offenders", ""),
    ("/offenders", "?window=all&class=3600"),
    ("/offenders", "?window=-1&class=warp"),
    ("/", "?month=2026-10&jobs=found&class=1500&before=1"),
    ("/", "?jobs=nothing"),
    ("/offenders", "?window=all&area=Intake&coupling=short&instrument=none&person=none&list=all"),
    ("/due", ""),
    ("/due", "?by=rule&month=2026-12"),
    ("/due", "?risk=5&list=all&month=x&by=hope"),
    ("/due", "?risk=7"),
    ("/asset", ""),
    ("/asset", "?q=pump"),
    ("/asset", "?q=zzz"),
    ("/asset/P-101", ""),
    ("/asset/P-101", "?typed=1&units=mil"),
    ("/asset/none%20such%2F%3Cb%3E", ""),
]


@pytest.fixture(scope="module")
def clients() -> Any:
    return {
        name: create_app(Settings(book="x.book"), book, clock=lambda: NOW).server.test_client()
        for name, book in BOOKS.items()
    }


def call(client: Any, output: str, inputs: Any, state: Any = ()) -> Any:
    """Ask for an output as the browser does."""
    outputs = output.strip(".").split("...")
    single = len(outputs) == 1
    described = [dict(zip(("id", "property"), one.split("."), strict=True)) for one in outputs]
    body = {
        "output": output,
        "outputs": described[0] if single else described,
        "inputs": inputs,
        "changedPropIds": [f"{inputs[0]['id']}.{inputs[0]['property']}"],
        "state": list(state),
    }
    return client.post("/_dash-update-component", json=body)


def text_of(answer: Any) -> Any:
    """Give the answer with its characters as they are: Dash writes a slash as an escape."""
    return json.dumps(answer.get_json(), ensure_ascii=False)


def fill(client: Any, page: Any, pathname: str, search: str, scheme: str = "light") -> Any:
    inputs = [
        {"id": Shell.PAGE, "property": "data", "value": pathname},
        {"id": Shell.URL, "property": "search", "value": search},
        {"id": Shell.SCHEME, "property": "data", "value": scheme},
    ]
    return call(client, f"{page.Ids.BODY}.children", inputs)


def parts_of_pages(client: Any, search: str = "") -> dict[str, Any]:
    """Give what fills the body of each page, and the three parts of a machine's, by their ids."""
    found = {page.Ids.BODY: fill(client, page, page.PATH, search) for page in MODULES}
    for part in (asset.Ids.BODY, asset.Ids.STUDY, asset.Ids.REST):
        inputs = [
            {"id": Shell.PAGE, "property": "data", "value": "/asset/P-101"},
            {"id": Shell.URL, "property": "search", "value": ""},
            {"id": Shell.SCHEME, "property": "data", "value": "light"},
        ]
        found[f"a machine's {part}"] = call(client, f"{part}.children", inputs)
    return {name: answer.get_json()["response"][name.split()[-1]]["children"] for name, answer in found.items()}


def ids_of(component: Any) -> Any:
    if isinstance(component, (list, tuple)):
        for one in component:
            yield from ids_of(one)
    elif hasattr(component, "to_plotly_json"):
        if getattr(component, "id", None):
            yield component.id
        yield from ids_of(getattr(component, "children", None))


@pytest.mark.parametrize("page", MODULES, ids=lambda page: page.__name__)
def test_a_page_keeps_the_contract(page: Any) -> None:
    assert page.PATH.startswith("/")
    assert page.NAME in dashboard.words.WORDS
    assert isinstance(page.ORDER, int)
    assert page.Ids.BODY
    assert callable(page.register)
    prefix = page.__name__.rpartition(".")[2]
    values = [value for name, value in vars(page.Ids).items() if not name.startswith("_")]
    assert all(value.startswith(f"{prefix}-") for value in values)


def test_every_page_stands_in_the_header_once() -> None:
    assert set(shell.PAGES) == set(MODULES)
    assert len({page.PATH for page in MODULES}) == len(MODULES)


def test_ids_are_unique_over_the_frame_and_all_pages() -> None:
    values = [
        value
        for owner in (Shell, *(page.Ids for page in MODULES))
        for name, value in vars(owner).items()
        if not name.startswith("_")
    ]
    assert len(values) == len(set(values))
    in_layout = [*ids_of(shell.layout()), *(one for page in MODULES for one in ids_of(page.layout()))]
    assert len(in_layout) == len(set(in_layout))
    assert set(in_layout) <= set(values)


@pytest.mark.parametrize("page", MODULES, ids=lambda page: page.__name__)
def test_a_layout_is_a_skeleton_and_needs_no_application(page: Any) -> None:
    layout = page.layout()
    assert isinstance(layout, html.Div)
    assert len(json.dumps(layout.to_plotly_json(), default=lambda one: one.to_plotly_json())) < 1000


def test_pages_know_neither_numpy_nor_pandas_nor_sql() -> None:
    for page in MODULES:
        tree = ast.parse(Path(page.__file__).read_text(encoding="utf-8"))
        names = {
            (alias.name if isinstance(node, ast.Import) else node.module or "").split(".")[0]
            for node in ast.walk(tree)
            if isinstance(node, (ast.Import, ast.ImportFrom))
            for alias in node.names
        }
        assert not names & {"numpy", "pandas", "sqlalchemy", "flask", "plotly"}, page.__name__


@pytest.mark.parametrize("book", BOOKS)
@pytest.mark.parametrize(("pathname", "search"), ADDRESSES)
def test_every_page_answers_on_every_book(clients: Any, book: str, pathname: str, search: str) -> None:
    page = shell.page_of(pathname)
    answer = fill(clients[book], page, pathname, search)
    assert answer.status_code == 200
    text = answer.get_data(as_text=True)
    assert "could not be made" not in text
    assert '"H1"' in text


@pytest.mark.parametrize("page", MODULES, ids=lambda page: page.__name__)
def test_a_page_stays_silent_on_the_address_of_another(clients: Any, page: Any) -> None:
    other = "/offenders" if page.PATH != "/offenders" else "/"
    assert fill(clients["many"], page, other, "").status_code == 204
    assert fill(clients["many"], page, page.PATH, "", scheme=None).status_code == 204


def test_one_month_of_looks_is_one_month(clients: Any) -> None:
    told = text_of(fill(clients["many"], offenders, "/offenders", "?window=1"))
    assert "1 month" in told
    assert "1 months" not in told


@pytest.mark.parametrize("book", BOOKS)
def test_the_frame_answers_on_every_book(clients: Any, book: Any) -> None:
    inputs = [
        {"id": Shell.URL, "property": "pathname", "value": "/"},
        {"id": Shell.URL, "property": "search", "value": "?units=mil"},
    ]
    answer = call(clients[book], f"..{Shell.NAV}.children...{Shell.HEAD}.children..", inputs)
    assert answer.status_code == 200
    text = text_of(answer)
    assert "Repeat offenders" in text
    assert "/offenders?units=mil" in text


def test_a_site_can_be_chosen_where_there_are_several() -> None:
    book = MadeBook(more_sites=(site(site_id=2, code="DUN"),))
    client = create_app(Settings(book="x.book"), book, clock=lambda: NOW).server.test_client()
    inputs = [
        {"id": Shell.URL, "property": "pathname", "value": "/"},
        {"id": Shell.URL, "property": "search", "value": ""},
    ]
    assert "/?site=DUN" in text_of(call(client, f"..{Shell.NAV}.children...{Shell.HEAD}.children..", inputs))


def test_a_path_that_leads_nowhere_has_a_page(clients: Any) -> None:
    asked = [{"id": Shell.URL, "property": "pathname", "value": "/nowhere"}]
    answer = call(clients["many"], f"..{Shell.CONTENT}.children...{Shell.PAGE}.data..", asked)
    assert "There is no such page" in answer.get_data(as_text=True)
    assert shell.page_of("/assets-of-mine") is None
    assert shell.page_of(None).PATH == "/"


def test_the_finder_offers_machines_with_their_addresses(clients: Any) -> None:
    inputs = [{"id": Shell.FINDER, "property": "searchValue", "value": "p-10"}]
    state = [
        {"id": Shell.URL, "property": "pathname", "value": "/"},
        {"id": Shell.URL, "property": "search", "value": "?units=mil"},
    ]
    offered = call(clients["many"], f"{Shell.FINDER}.data", inputs, state).get_json()["response"][Shell.FINDER]["data"]
    assert offered[0]["value"] == "/asset/P-101?units=mil"
    assert len(offered) == 9
    assert shell.offer("", "/", "") == shell.offer(None, "/", "") == []


def test_the_numbers_of_two_books_in_one_process_do_not_mix(clients: Any) -> None:
    many, one = (
        fill(clients[name], shell.page_of("/"), "/", "?month=2026-10").get_data(as_text=True)
        for name in ("many", "one job")
    )
    assert "October 2026: 1 job on 1 machine" in one
    assert "October 2026: 1 job on 1 machine" not in many


def test_units_change_every_length_on_the_page_and_no_ratio(clients: Any) -> None:
    page = shell.page_of("/asset/P-102")
    mm, mil = (text_of(fill(clients["many"], page, "/asset/P-102", f"?units={unit}")) for unit in ("mm", "mil"))
    assert "[mil]" in mil
    assert "[mil/in]" in mil
    assert "[mm]" not in mil
    assert "[mm/m]" not in mil
    assert "[mil]" not in mm
    assert "within" in mm
