"""Book, People and Limits in a real browser: asked by keyboard, sent, gone back from, printed."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import ViewportSize, expect

from tests.browser_tools import LOOKS, Opened, served, walked
from tests.history_maker import MadeBook, made_book
from tests.test_dashboard_views_entry_view import amended_book

pytest_plugins = ["tests.plugin_browser"]
pytestmark = pytest.mark.browser

PATHS = {
    "book": "/book",
    "book of a machine": "/book?asset=P-106",
    "nothing answers": "/book?asset=zzz&from=x",
    "an entry": "/book/12",
    "limits in the book": "/book/2",
    "no such entry": "/book/777777",
    "people": "/people",
    "what rests": "/people?instrument=LX-02&since=2025-01-01",
    "limits": "/limits",
    "trial": "/limits?offset=80&angle=700",
}


@pytest.fixture(scope="module")
def amended_url() -> Iterator[str]:
    with served(amended_book()) as url:
        yield url


@LOOKS
def test_no_page_breaks_a_rule_of_accessibility_or_its_own_width(
    plant_url: str, opened: Opened, scheme: str, viewport: ViewportSize
) -> None:
    page = opened(f"{plant_url}/book", scheme=scheme, viewport=viewport)
    for path in walked(PATHS.values(), viewport):
        page.goto(f"{plant_url}{path}")
        page.locator("main h1").wait_for()
        page.wait_for_load_state("networkidle")
        broken = Axe().run(page).response["violations"]
        assert [(path, one["id"], one["nodes"][0]["html"]) for one in broken] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"], path


def test_the_book_is_asked_with_the_keyboard_alone(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/book?units=mil")
    page.wait_for_load_state("networkidle")
    expect(page.locator(".sentence")).to_contain_text("entries of this site")
    page.get_by_label("Machine", exact=True).focus()
    page.keyboard.type("p-106")
    expect(page.get_by_label("Machine", exact=True)).to_have_value("p-106")
    page.keyboard.press("Enter")
    expect(page.locator(".sentence")).to_contain_text("answer: machine P-106")
    assert page.url.endswith("/book?units=mil&asset=p-106")
    # The page was drawn anew, and the keyboard is where it was.
    expect(page.get_by_label("Machine", exact=True)).to_be_focused()
    page.get_by_label("Kind of entry").select_option("job amended")
    page.get_by_role("button", name="Show").focus()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_contain_text("No entry answers")
    expect(page.get_by_role("button", name="Show")).to_be_focused()
    page.go_back()
    expect(page.locator(".sentence")).to_contain_text("answer: machine P-106.")
    page.get_by_role("link", name="All entries").press("Enter")
    expect(page.locator(".sentence")).to_contain_text("entries of this site")
    assert page.url.endswith("/book?units=mil")
    page.locator("tbody th a").first.press("Enter")
    expect(page.locator("main h1")).to_contain_text("Entry")
    expect(page.locator("main")).to_be_focused()  # another page begins at its top


LONG_TAGS = """() => document.querySelectorAll("main .tag").forEach((one) => { one.textContent = "UNIT2-BFW-PUMP-B-STANDBY-" + "X".repeat(50); })"""


def test_a_choice_keeps_the_focus_and_is_told_and_long_tags_leave_room(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/offenders?window=all")
    told = page.locator("body > [role=status]")
    expect(page.locator(".sentence")).to_contain_text("looks on")
    expect(told).to_have_text("")
    page.get_by_role("link", name="over 1000 to 1500 rpm").press("Enter")
    chosen = page.locator("[aria-current=true]", has_text="over 1000 to 1500 rpm")
    expect(chosen).to_be_focused()
    expect(told).to_have_text(page.locator(".sentence").inner_text())
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{plant_url}/due")
    page.locator("main .tag").first.wait_for()
    why = page.locator(".due-list td.below").first.bounding_box()
    assert why is not None
    assert why["x"] + why["width"] <= 390, "why a machine is due needs no sliding"
    page.evaluate(LONG_TAGS)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    widest = (
        "Math.max(...[...document.querySelectorAll('main tbody th')].map((one) => one.getBoundingClientRect().width))"
    )
    assert page.evaluate(widest) < 0.55 * 390


def test_whoever_points_is_given_no_field_to_type_into(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/book")
    page.get_by_label("Machine", exact=True).fill("P-106")
    page.get_by_role("button", name="Show").click()
    expect(page.locator(".sentence")).to_contain_text("answer: machine P-106")
    expect(page.locator("body")).to_be_focused()


# A key, a second one before the page has settled after the first, and a third as soon as it has: a scanner types so.
SCANNED = """field => new Promise(done => {
  const key = text => document.execCommand("insertText", false, text);
  field.focus();
  key("p");
  setTimeout(() => { key("1"); setTimeout(() => done(field.value), 50); }, 0);
  key("-");
})"""


@pytest.mark.parametrize(
    ("path", "field"),
    [
        ("/book", "book-ask-asset"),
        ("/people", "people-ask-since"),
        ("/limits", "limits-ask-offset"),
        ("/record?asset=P-106", "rf-by"),
    ],
)
def test_what_a_scanner_types_stands_in_its_order(plant_url: str, opened: Opened, path: str, field: str) -> None:
    page = opened(f"{plant_url}{path}")
    page.wait_for_load_state("networkidle")
    typed = page.locator(f"#{field}")
    expect(typed).to_have_value("")
    assert typed.evaluate(SCANNED) == "p-1"


def test_pages_of_the_book_are_turned_and_a_new_question_begins_at_the_newest(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/book")
    newest = page.locator("tbody th a").first.text_content()
    page.get_by_role("link", name="older").click()
    expect(page.locator("tbody th a").first).not_to_have_text(str(newest))
    assert "before=" in page.url
    page.get_by_role("link", name="newer").click()
    expect(page.locator("tbody th a").first).to_have_text(str(newest))
    page.get_by_role("link", name="older").click()
    expect(page.locator("tbody th a").first).not_to_have_text(str(newest))
    page.get_by_label("Instrument").fill("LX-01")
    page.get_by_role("button", name="Show").click()
    expect(page.locator(".sentence")).to_contain_text("instrument LX-01")
    assert "before=" not in page.url


def test_an_amendment_opens_as_old_beside_new(amended_url: str, opened: Opened) -> None:
    page = opened(f"{amended_url}/book?kind=job-amended")
    page.locator("tbody th a").first.click()
    expect(page.locator("main h1")).to_have_text("Entry 6: job amended")
    expect(page.locator("main")).to_contain_text("sheet was misread")
    row = page.locator(".beside tbody tr", has_text="as-left, vertical offset")
    expect(row.locator("td")).to_have_text(["0.02 mm", "0.0203 mm"])
    page.get_by_role("link", name="5", exact=True).click()
    expect(page.locator(".sentence")).to_contain_text("entry 6 took its place")
    page.go_back()
    expect(page.locator("main h1")).to_have_text("Entry 6: job amended")


def test_within_three_clicks_an_auditor_finds_the_limits_of_a_job_and_who_adopted_them(
    plant_url: str, opened: Opened
) -> None:
    page = opened(plant_url)
    page.get_by_role("link", name="Book", exact=True).click()
    page.locator("tbody th a").first.click()
    expect(page.locator("main")).to_contain_text(re.compile(r"Judged under starter, version 1, adopted by .+ Source: "))


def test_what_rests_on_an_instrument_is_asked_and_sent(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/people")
    page.locator("select").select_option("LX-02")
    page.get_by_label("In question since").fill("2026-03-01")
    page.keyboard.press("Enter")
    told = page.locator("main [role=status].sentence")
    expect(told).to_contain_text("were measured with LX-02 from 1 Mar 2026 on")
    assert page.url.endswith("/people?instrument=LX-02&since=2026-03-01")
    said = told.text_content()
    page.reload()
    expect(told).to_have_text(str(said))
    expect(page.locator("select")).to_have_value("LX-02")


def test_a_trial_set_is_typed_in_the_units_of_the_page_and_means_the_same_in_others(
    plant_url: str, opened: Opened
) -> None:
    page = opened(f"{plant_url}/limits?units=mil")
    page.get_by_label("Offset factor [mil × rpm]").fill("3149.6")
    page.get_by_role("button", name="Judge again").click()
    told = page.locator("main [role=status].sentence")
    expect(told).to_contain_text("would change")
    said = str(told.text_content())
    assert "in=mil" in page.url
    page.get_by_role("link", name="mm", exact=True).click()
    expect(page.get_by_label("Offset factor [mm × rpm]")).to_have_value("80")
    expect(told).to_have_text(said)
    page.get_by_role("link", name="Without a trial").click()
    expect(told).to_have_count(0)


def test_without_its_script_the_form_still_asks(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/book")
    form = page.locator("form")
    assert form.get_attribute("method").upper() == "GET"  # type: ignore[union-attr]
    assert form.get_attribute("action") == "/book"


def test_the_pages_are_fit_for_paper(plant_url: str, opened: Opened) -> None:
    page = opened(f"{plant_url}/book")
    for path in ("/book?asset=P-106", "/people", "/limits?offset=80"):
        page.goto(f"{plant_url}{path}")
        page.locator("main h1").wait_for()
        page.wait_for_load_state("networkidle")
        page.emulate_media(media="print")
        expect(page.locator("form")).to_be_hidden()
        expect(page.locator(".sentence").first).to_be_visible()
        expect(page.locator("tbody tr").first).to_be_visible()
        assert len(page.pdf(format="A4")) > 10_000
        page.emulate_media(media="screen")


def test_a_book_of_one_job_and_one_without_a_site_open(opened: Opened) -> None:
    for book, text in ((MadeBook(no_site=True), "The book is empty"), (made_book(assets=1, years=1), "starter")):
        with served(book) as url:
            for path in ("/book", "/people", "/limits"):
                page = opened(f"{url}{path}")
                if text != "starter" or path == "/limits":
                    expect(page.locator("main")).to_contain_text(text)
