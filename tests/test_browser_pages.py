"""The pages in a real browser: what only a browser shows."""

import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, ViewportSize, expect

from models.units import Display
from tests.browser_tools import CALLS, LOOKS, NARROW, Opened, held_back, served, walked
from tests.history_maker import MadeBook, made_book

pytest_plugins = ["tests.plugin_browser"]
pytestmark = pytest.mark.browser

PATHS = {
    "month": "/?month=2026-10",
    "offenders": "/offenders?window=all",
    "machines": "/asset?q=pump",
    "asset": "/asset/P-106",
    "spacer": "/asset/P-104?typed=1",
    "unknown tag": "/asset/none",
    "bad choices": "/?month=2026-13&site=x&units=ell",
    "nowhere": "/nowhere",
}


@pytest.mark.parametrize("path", PATHS.values(), ids=PATHS.keys())
def test_a_page_loads_without_an_error_or_a_request_to_another_host(plant_url: str, opened: Opened, path: str) -> None:
    page = opened(f"{plant_url}{path}")
    page.wait_for_load_state("networkidle")
    assert page.locator('[data-title^="Share chart"]').count() == 0
    assert page.locator(".modebar-btn").count() == 0
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.title().endswith("driftbook")


# Links that are less high than a finger or a shaky hand wants; an act of its own, 'Sign off', is a finger high on a phone.
LOW = """(act) => [...document.querySelectorAll("main a[href], .foot a[href]")].filter((one) => one.getClientRects().length > 0
  && one.getBoundingClientRect().height < (one.matches(".act") ? act : 24)).map((one) => one.outerHTML)"""


@LOOKS
def test_no_page_breaks_a_rule_of_accessibility_or_its_own_width(
    plant_url: str, opened: Opened, scheme: str, viewport: ViewportSize
) -> None:
    page = opened(plant_url, scheme=scheme, viewport=viewport)
    for path in walked(PATHS.values(), viewport):
        page.goto(f"{plant_url}{path}")
        page.locator("main h1").wait_for()
        page.wait_for_load_state("networkidle")
        broken = Axe().run(page).response["violations"]
        assert [(path, one["id"], one["nodes"][0]["html"]) for one in broken] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"], path
        assert page.evaluate(LOW, 44 if viewport is NARROW else 24) == [], path


# The elements of a page without what draws itself, without marks of Dash, and without names that are made up anew each time.
DRAWN = """() => {
  const main = document.querySelector("main").cloneNode(true);
  main.querySelectorAll("[class*=mantine-]").forEach(one => one.remove());
  main.querySelectorAll(".waiting, .js-plotly-plot, .dash-graph, .ag-root-wrapper, [data-ag-theme-mode]").forEach(one => { one.innerHTML = ""; });
  main.querySelectorAll("*").forEach(one => { one.removeAttribute("data-dash-is-loading"); one.removeAttribute("style"); });
  const told = one => one.nodeType !== Node.ELEMENT_NODE ? one.textContent : "\\n<" + one.tagName
    + [...one.attributes].map(each => ` ${each.name}="${each.value}"`).sort().join("") + ">" + [...one.childNodes].map(told).join("");
  return told(main).replace(/ id="input-[a-z0-9]+"/g, "");
}"""


def test_what_is_sent_as_one_piece_is_drawn_as_dash_draws_each_element(
    plant_url: str, opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    def drawn(page: Page) -> str:
        page.wait_for_load_state("networkidle")
        expect(page.locator("main .waiting:visible, main .dash-graph--pending")).to_have_count(0)
        return str(page.evaluate(DRAWN))

    paths = ("/?month=2026-10", "/asset/P-104?typed=1", "/book/12", "/limits")
    ours = [drawn(opened(f"{plant_url}{path}")) for path in paths]
    with monkeypatch.context() as apart:
        apart.setattr("dashboard.opening.still", lambda parts: parts)
        with served(made_book()) as url:
            theirs = [drawn(opened(f"{url}{path}")) for path in paths]
    for path, one, other in zip(paths, ours, theirs, strict=True):
        assert len(one) > 1000
        assert one == other, path


def test_open_lists_break_no_rule_either(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/?month=2026-10")
    page.get_by_role("combobox", name="Month to show").click()
    expect(page.get_by_role("option", name="September 2026")).to_be_visible()
    assert [one["id"] for one in Axe().run(page).response["violations"]] == []
    page.keyboard.press("Escape")
    page.keyboard.press("Tab")
    page.locator("#shell-finder").fill("brine")
    expect(page.get_by_role("option", name=re.compile("P-101"))).to_be_visible()
    assert [one["id"] for one in Axe().run(page).response["violations"]] == []


def test_the_key_slash_finds_a_machine_without_a_mouse(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/offenders?units=mil")
    page.keyboard.press("/")
    page.keyboard.type("brine pump 5")
    expect(page.get_by_role("option", name=re.compile("P-105"))).to_be_visible()
    page.keyboard.press("Enter")
    expect(page.locator("main h1")).to_have_text("P-105 · Brine pump 5")
    assert page.url.endswith("/asset/P-105?units=mil")
    page.go_back()
    expect(page.locator("main h1")).to_have_text("Repeat offenders")
    # An answer that comes at the very moment at which a machine is taken: Mantine's box forgets what was taken.
    page.keyboard.press("/")
    page.keyboard.type("brine")
    taken = page.get_by_role("option", name=re.compile("P-105"))
    expect(taken).to_be_visible()
    taken.evaluate("""option => {
      option.click();
      window.dash_clientside.set_props("shell-finder", { data: [] });
    }""")
    expect(page.locator("main h1")).to_have_text("P-105 · Brine pump 5")
    expect(page.locator("#shell-finder")).to_have_value("")


def test_the_whole_tag_opens_its_machine_also_where_others_speak_of_it(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/record")
    offered = [
        {"value": f"/record?asset={tag}", "tag": tag, "label": label, "text": label.lower(), "asked": "p-106"}
        for tag, label in (("P-106", "P-106"), ("P-105", "beside P-106"))
    ]
    held = held_back(page, '"output":"record-choose.data"')
    page.locator("#record-choose").fill("p-106")
    page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    held[-1].fulfill(json={"multi": True, "response": {"record-choose": {"data": offered}}})
    expect(page.locator("main h1")).to_contain_text("P-106")
    assert page.url.endswith("/record?asset=P-106")
    page.unroute(CALLS)


def test_an_address_is_answered_once_and_nothing_goes_away_after_it(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/book")
    page.wait_for_load_state("networkidle")
    filled: list[str] = []
    page.on("request", lambda one: filled.extend(re.findall(r'"output":"([^"]*-body)\.', one.post_data or "")))

    def answered(title: str, *bodies: str) -> None:
        expect(page.locator("main h1")).to_contain_text(title)
        page.wait_for_timeout(300)  # a second question would have been asked by then
        assert sorted(filled) == sorted(bodies)
        filled.clear()

    page.get_by_label("Machine", exact=True).fill("P-106")
    page.keyboard.press("Enter")
    expect(page.locator(".sentence")).to_contain_text("answer: machine P-106")
    answered("Book", "book-body")
    page.locator("tbody th a").first.click()  # path and choices change at once
    answered("job recorded", "book-body")
    machine = ("asset-body", "asset-study-body", "asset-rest-body")
    page.get_by_role("link", name="The history of P-106").click()
    answered("P-106", *machine)
    page.locator("#shell-finder").fill("P-105")
    page.get_by_role("option", name=re.compile("P-105")).click()
    answered("P-105", *machine)


def test_a_month_is_picked_stepped_sent_and_gone_back_from(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/?month=2026-10")
    expect(page.locator("main h1")).to_have_text("October 2026")
    held = held_back(page, "month-body")
    page.get_by_role("link", name="earlier").click()
    page.get_by_role("combobox", name="Month to show").click()
    expect(page.get_by_role("option", name="March 2025", exact=True)).to_be_visible()
    assert held
    page.unroute(CALLS)  # what was held goes on
    expect(page.locator("main h1")).to_have_text("September 2026")
    assert page.url.endswith("?month=2026-09")
    page.get_by_role("option", name="March 2025", exact=True).click()  # the answer has not closed the list
    expect(page.locator("main h1")).to_have_text("March 2025")
    assert page.url.endswith("?month=2025-03")
    page.reload()
    expect(page.locator("main h1")).to_have_text("March 2025")
    page.go_back()
    expect(page.locator("main h1")).to_have_text("September 2026")
    page.go_back()
    expect(page.locator("main h1")).to_have_text("October 2026")
    page.set_viewport_size({"width": 390, "height": 844})
    page.locator("dl a[href*='jobs=found']").click()  # on a phone its list begins below the fold
    expect(page.locator("#month-behind h2")).to_be_in_viewport()


def test_window_and_speed_class_are_links_and_stand_in_the_address(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/offenders")
    page.get_by_role("link", name="all years").click()
    expect(page.locator(".chosen", has_text="all years")).to_be_visible()
    page.get_by_role("link", name="over 1800 to 3000 rpm").click()
    expect(page.locator(".chosen", has_text="over 1800 to 3000 rpm")).to_be_visible()
    assert page.url.endswith("/offenders?window=all&class=3000")
    page.go_back()
    expect(page.locator(".chosen", has_text="all").first).to_be_visible()
    assert page.url.endswith("/offenders?window=all")


def test_an_offender_leads_to_its_machine(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/offenders?window=all")
    first = page.locator("tbody a.tag").first
    tag = first.text_content()
    first.click()
    expect(page.locator("main h1")).to_contain_text(tag)
    expect(page.locator(".pages .here")).to_have_text("Machines")


def test_units_are_switched_on_every_page(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/asset/P-106")
    expect(page.locator("main")).to_contain_text("Offset, vertical [mm]")
    page.wait_for_load_state("networkidle")  # a click on what is being replaced is lost
    page.get_by_role("link", name="mil", exact=True).click()
    expect(page.locator("main")).to_contain_text("Offset, vertical [mil]")
    expect(page.locator("main")).not_to_contain_text("[mm]")
    page.get_by_role("link", name="Repeat offenders").click()
    expect(page.locator("main h1")).to_have_text("Repeat offenders")
    assert "units=mil" in page.url


def test_a_site_that_reads_mil_needs_no_switch(opened: Opened) -> None:
    with served(made_book(assets=3, display=Display("mil", "°F"))) as url:
        page = opened(f"{url}/asset/P-101")
        expect(page.locator("main")).to_contain_text("Offset, vertical [mil]")
        expect(page.locator("main")).to_contain_text("offset V [mil]")


def test_light_and_dark_are_switched_and_remembered(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/?month=2026-10", scheme="light")
    paper = "getComputedStyle(document.body).backgroundColor"
    light = page.evaluate(paper)
    unfolded = page.locator("main details.about")
    unfolded.nth(1).locator("summary").click()
    page.get_by_role("button", name="Light or dark").click()
    expect(page.locator("html")).to_have_attribute("data-mantine-color-scheme", "dark")
    expect(page.locator(".xtick text").first).to_have_css("fill", "rgb(171, 176, 183)")
    assert page.evaluate(paper) != light
    assert [one.evaluate("d => d.open") for one in unfolded.all()].index(True) == 1, "what was unfolded stays so"
    page.goto(f"{plant_url}/limits")
    field = page.locator("#limits-ask-offset")
    field.wait_for()
    expect(page.locator("html")).to_have_attribute("data-mantine-color-scheme", "dark")
    page.evaluate("document.querySelector('#limits-ask-offset').setAttribute('data-drawn', 'before')")
    field.fill("12 mil")  # not asked yet
    page.get_by_role("button", name="Light or dark").click()
    expect(field).not_to_have_attribute("data-drawn", "before")
    expect(field).to_have_value("12 mil")


def test_the_jobs_are_shown_as_typed_on_demand(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/asset/P-106")
    expect(page.locator(".ag-cell").first).to_be_visible()
    page.wait_for_load_state("networkidle")  # a click on what is being replaced is lost
    page.get_by_role("link", name="as typed").click()
    expect(page.locator(".ag-cell", has_text="2,5 mil").first).to_be_visible()


def test_every_chart_has_a_text_and_the_months_a_table(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/asset/P-106")
    page.locator(".js-plotly-plot").first.wait_for()
    assert page.locator("[role=img][aria-label] .js-plotly-plot").count() == page.locator(".js-plotly-plot").count() > 8
    page.goto(f"{plant_url}/?month=2026-10")
    page.locator(".chart-table summary").click()
    expect(page.locator(".chart-table tbody tr")).to_have_count(24)


def test_a_page_is_fit_for_paper(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/?month=2026-10")
    page.wait_for_load_state("networkidle")
    page.emulate_media(media="print")
    expect(page.locator(".tools")).to_be_hidden()
    expect(page.locator(".nav-slot")).to_be_hidden()
    expect(page.locator(".cautions")).to_be_visible()
    assert len(page.pdf(format="A4")) > 10_000


@pytest.mark.parametrize(
    ("book", "says"),
    [(MadeBook(no_site=True), "The book is empty"), (MadeBook(), "No job yet")],
    ids=["no site", "no job"],
)
def test_an_empty_book_says_what_to_do(opened: Opened, book: Any, says: str) -> None:
    with served(book) as url:
        for path in ("/", "/offenders", "/asset"):
            page = opened(f"{url}{path}")
            expect(page.locator("main")).to_contain_text(says)
            expect(page.locator("main code")).to_have_text("driftbook import FILE")


def test_cautions_and_the_last_entry_stand_on_every_page(plant_url: str, opened: Opened) -> None:
    page = opened(plant_url)
    for path in PATHS.values():
        page.goto(f"{plant_url}{path}")
        expect(page.locator("footer")).to_contain_text("lock out and tag")
        expect(page.locator("footer")).to_contain_text(re.compile(r"as of entry \d+"))


def test_two_links_pressed_before_an_answer_is_there_both_count(plant_url: str, opened: Opened) -> None:
    """Each link is written for the choices that the page shows; the second must not take the first back."""
    page = opened(f"{plant_url}/offenders")
    page.wait_for_load_state("networkidle")
    held = held_back(page, "shell-url")
    page.locator("main").get_by_role("link", name="12 months").click()
    expect(page).to_have_url(re.compile("window=12"))
    page.get_by_role("navigation", name="Unit of length").get_by_role("link", name="mil").click()
    expect(page).to_have_url(re.compile(r"window=12.*units=mil"))
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Due").click()
    expect(page).to_have_url(re.compile(r"/due\?units=mil$"))  # units go along, choices of another page do not
    page.go_back()
    assert held
    page.unroute(CALLS)  # what was held goes on
    expect(page.locator("main h1")).to_have_text("Repeat offenders")
    expect(page.get_by_role("navigation", name="Unit of length").locator("[aria-current]")).to_have_text("mil")
    expect(page.locator("main .chosen, main [aria-current=true]").first).to_contain_text("12 months")
    page.get_by_role("navigation", name="Unit of length").get_by_role("link", name="mm").click()
    expect(page).to_have_url(re.compile("window=12&units=mm"))
