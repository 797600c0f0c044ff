"""A second language fits: every page in a language that nobody speaks, at both widths.

Every text is longer, with accents, between brackets (``tests.pseudo_language``).  What stands outside of
brackets has to be data of the book, a number, a unit or a name; and nothing may be cut off or lie over another.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Page

from dashboard import shell
from dashboard.app import create_app
from dashboard.desk import BookDesk
from dashboard.words import ENGLISH, WORDS, say, speaking, spoken
from models.maths.growth import MATERIALS
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from tests.browser_tools import NARROW, WIDE, Opened, served_app
from tests.conftest import NOW
from tests.demo_book import demo_in
from tests.page_texts import cramped, open_all, settled, texts
from tests.pseudo_language import BEGIN, END, LONGER, pseudo, pseudo_language

pytest_plugins = ["tests.plugin_browser"]

PATHS = (
    "/?month=2026-10&jobs=found",
    "/?month=2019-01&units=ell&site=x",
    "/offenders?class=750",
    "/due?month=2026-12",
    "/asset?q=fan",
    "/asset/DS-P-204A?typed=1&limits=today",
    "/asset/BH-P-711A?units=mil&risk=20",
    "/asset/NO-SUCH",
    "/record",
    "/record?asset=SI-P-101A",
    "/book?kind=job-recorded&from=x",
    "/book/4",
    "/book/700",
    "/people?instrument=NV-D-004&since=2026-07-09",
    "/limits?offset=80&angle=700",
    "/no-such-page",
)

CODED = {"reason", "method", "coupling", "part", "active"}
"""Columns of the files that hold codes of the tool and no words of the plant."""

NAMES = ("driftbook", "mm", "mil", "in", "rpm", "kW", "demo")
"""Units and names that are the same in every language, and who wrote the demo."""

VERBATIM = ("pre.head",)
"""A signed note, letter by letter."""

_NESTED = re.compile(f"{BEGIN}[^{BEGIN}{END}]*{END}")
_WORD = re.compile(r"[^\W\d_]{2,}")
_NO_WORDS = re.compile(r"<[^<>]*>|%\{[^{}]*\}|\b[0-9a-f]{16,}\b|\b[\w-]+\.csv\b|\b\d+[LR]\b")
"""Markup, places that a figure fills in, fingerprints, names of files, feet."""
_QUOTED = re.compile(r"'[^']*'")
"""What somebody typed, repeated as it stands there."""


@dataclass(frozen=True, slots=True)
class Plant:
    """A reader of the demo in the language, and every text that the demo's files and the book's own records hold."""

    url: str
    data: re.Pattern[str]


def data_of(folder: Path, reader: Reader) -> re.Pattern[str]:
    said: set[str] = set()
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                said |= set(row)  # headings: on the page of an imported file
                said |= {part for name, cell in row.items() if name not in CODED for part in (cell, *cell.split("; "))}
    site = reader.sites()[0]
    sets = [one.limit_set for one in reader.limit_sets(site.site_id)]
    said |= {"NO-SUCH"}  # asked for in the address
    said |= {text for one in MATERIALS for text in (one.name, one.source)}
    said |= {site.name, site.code, site.zone, *(text for one in sets for text in (one.name, one.source, one.note))}
    words = sorted((text.strip() for text in said if _WORD.search(text)), key=len, reverse=True)
    return re.compile(r"(?<!\w)(?:" + "|".join(re.escape(word) for word in words) + r")(?!\w)")


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    folder = tmp_path_factory.mktemp("pseudo")
    settings: Settings = demo_in(folder, Display())
    engine = make_engine(settings)
    reader = Reader(engine)
    app = create_app(settings, reader, clock=lambda: NOW, desk=BookDesk(engine), language=pseudo_language())
    with served_app(app) as url:
        yield Plant(url, data_of(folder, reader))
    engine.dispose()


def outside(text: str) -> str:
    """Take out what stands between brackets, however deep."""
    before = ""
    while before != text:
        before, text = text, _NESTED.sub(" ", text)
    return text


def left_over(text: str, data: re.Pattern[str]) -> list[str]:
    """Give the words of a text that are neither translated nor data."""
    rest = data.sub(" ", _NO_WORDS.sub(" ", outside(text)))
    return [word for word in _WORD.findall(rest) if word not in NAMES]


def english(text: str, data: re.Pattern[str]) -> list[str]:
    """Give the words without any accent, also between brackets: English put into a sentence of the language."""
    rest = data.sub(" ", _NO_WORDS.sub(" ", _QUOTED.sub(" ", text)))
    return [word for word in _WORD.findall(rest) if word.isascii() and word not in NAMES]


def drawn_anew(page: Page, width: int) -> bool:
    """Wait until the figures have been drawn for another width; tell whether the page came down to it."""
    for _ in range(80):  # a question that the page asks itself again would be forbidden by its own security rules
        page.wait_for_timeout(250)
        if page.evaluate("document.documentElement.scrollWidth") <= width:
            return True
    return False


def inspect(page: Page, where: str, data: re.Pattern[str], faults: list[object]) -> None:
    open_all(page)
    said = [one for one in texts(page) if one.where not in VERBATIM]
    faults += [(where, one.where, one.text) for one in said if left_over(one.text, data)]
    for viewport in (WIDE, NARROW):
        page.set_viewport_size(viewport)
        settled(page)
        if not drawn_anew(page, viewport["width"]):
            wide = page.evaluate("document.documentElement.scrollWidth")
            faults.append((where, viewport["width"], f"the page is {wide} wide"))
        faults += [(where, viewport["width"], *one) for one in cramped(page)]
    page.set_viewport_size(WIDE)


def test_the_language_keeps_every_placeholder_and_is_longer() -> None:
    language = pseudo_language()
    assert set(language.words) == set(WORDS)
    assert pseudo("{a} of {b:.2f}<br>x") == "⟦{a} øøf {b:.2f}<br>xx⟧"
    long = [key for key, text in WORDS.items() if len(text) > 40]
    grown = sum(len(language.words[key]) for key in long) / sum(len(WORDS[key]) for key in long)
    assert 1.33 < grown < LONGER + 0.04


def test_a_language_ends_with_its_block_and_does_not_reach_another_application() -> None:
    assert spoken() is ENGLISH
    with speaking(pseudo_language()):
        assert say("word.found").startswith(BEGIN)
    assert say("word.found") == WORDS["word.found"]


def test_words_outside_of_the_table_are_found() -> None:
    data = re.compile("SI-P-101A")
    assert left_over("⟦a ⟦b⟧ {c}⟧ SI-P-101A · 3.5 mm, 12 rpm", data) == []
    assert left_over("⟦a⟧ SI-P-101A over limit", data) == ["over", "limit"]
    assert english("⟦'yesterday' îs ⟦ñøt ä day⟧ of SI-P-101A, 2 mm⟧", data) == ["day", "of"]


def test_every_page_is_walked() -> None:
    walked = {shell.page_of(path.partition("?")[0]) for path in PATHS}
    assert set(shell.PAGES) <= walked


@pytest.mark.browser
def test_every_page_is_in_the_language_and_nothing_breaks(plant: Plant, opened: Opened) -> None:
    page = opened(plant.url)
    page.set_default_timeout(90_000)  # the first page of a fleet on a busy machine
    faults: list[object] = []
    for path in PATHS:
        page.goto(plant.url + path)
        settled(page)
        inspect(page, path, plant.data, faults)
    assert not faults, "\n".join(str(fault) for fault in faults)


RAW = {
    "found.dial.1.top": "0", "found.dial.1.right": "0.02", "found.dial.1.bottom": "-0.05", "found.dial.1.left": "-0.07",
    "found.dial.1.plane": "-90", "found.dial.2.top": "0", "found.dial.2.right": "-0.14", "found.dial.2.bottom": "-0.25",
    "found.dial.2.left": "0.31", "found.dial.2.plane": "90", "soft_before.1": "0.12", "soft_before.2": "0.02",
    "soft_before.3": "0.01", "soft_before.4": "0.11", "instrument": "XX-1", "hours_run": "12 kg",
    "found.noise.reading": "0.O5", "performed": "yesterday",
}  # fmt: skip


@pytest.mark.browser
def test_the_form_of_a_job_answers_in_the_language_too(plant: Plant, opened: Opened) -> None:
    page = opened(f"{plant.url}/record?asset=SI-P-101A")
    settled(page)
    page.locator("select[name='found.method']").select_option("reverse indicator")
    page.locator("input[name='found.dial.1.top']").wait_for()
    open_all(page)
    for name, text in RAW.items():
        field = page.locator(f"input[name='{name}']")
        if field.count():
            field.fill(text)
    # An answer to the first keys comes before the one to the last.
    page.locator("span.told-bad", has_text="yesterday").wait_for(timeout=90_000)
    page.wait_for_timeout(600)
    page.wait_for_load_state("networkidle")
    faults: list[object] = []
    said = texts(page)
    assert sum(one.where in ("span.told", "li") for one in said) > 12  # what the models say
    told = [one for one in said if one.where in ("span.told", "li", "p.pattern", "p.note", "label")]
    assert any(one.where == "p.pattern" for one in told)
    faults += [(one.where, one.text) for one in told if english(one.text, plant.data)]
    inspect(page, "the form", plant.data, faults)
    assert not faults, "\n".join(str(fault) for fault in faults)
