"""The Record page in a real browser: a job from raw readings on a phone, nonsense, drafts, the keyboard, accessibility."""

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser_tools import LOOKS, NARROW, Watch, held_back

pytest_plugins = ["tests.plugin_browser", "tests.plugin_record"]
pytestmark = pytest.mark.browser

RAW = {
    "found.dial.1.right": "0.02",
    "found.dial.1.bottom": "-0.05",
    "found.dial.1.left": "-0.07",
    "found.dial.1.returned": "0",
    "found.dial.1.plane": "-90",
    "found.dial.2.right": "-0.14",
    "found.dial.2.bottom": "-0,25 mm",
    "found.dial.2.left": "-4.3 mil",
    "found.dial.2.plane": "90",
}
"""Readings of a reverse indicator over a spacer of 180 mm; invented."""


@pytest.fixture
def phone(phone: Page) -> Iterator[Page]:
    """Give a phone on which nothing may go wrong."""
    watch = Watch(phone)
    yield phone
    phone.close()
    assert watch.seen == []


def box(name: str) -> str:
    return f"#rf-{name.replace('.', '-').replace('_', '-')}"


def start(page: Page, address: str) -> None:
    page.goto(address)
    page.locator("#record-sections").wait_for()


def put(page: Page, name: str, text: str) -> None:
    at = page.locator(box(name))
    at.wait_for(state="attached")
    if not at.is_visible():
        page.locator("details:not([open])", has=at).first.locator("summary").first.click()
    at.fill(text)


def choose(page: Page, name: str, value: str) -> None:
    page.locator(box(name)).select_option(value)


def said(page: Page, name: str) -> Any:
    return page.locator(box(name).replace("#rf-", "#rs-"))


def fill_raw(page: Page) -> None:
    choose(page, "found.method", "reverse indicator")
    page.locator(box("found.dial.1.right")).wait_for()
    for name, text in RAW.items():
        put(page, name, text)


def record(page: Page) -> None:
    page.get_by_role("button", name=re.compile("^Record the")).click()


def test_a_job_from_raw_readings_is_recorded_on_a_phone_and_amended_and_the_machine_shows_both(
    book: Any, url: Any, phone: Any
) -> None:
    start(phone, f"{url}/record?asset=P-2")
    expect(phone.locator("main")).to_contain_text("found 1.03 over, left 0.75 within")
    expect(phone.locator("main")).to_contain_text("angle at each flex plane 0.50 mm/m")
    put(phone, "by", "Ana Wick")
    put(phone, "instrument", "D-1")
    phone.get_by_label("Isolated, locked out, tagged and tried").check()
    fill_raw(phone)
    expect(phone.locator("#record-result-found .verdict")).to_contain_text("over")
    expect(said(phone, "found.dial.2.left")).to_have_text("= −0.109 mm")
    expect(phone.locator("#record-result-found")).to_contain_text(re.compile(r"enlarged \d+ times across the shafts"))
    expect(phone.locator("#record-result-found .js-plotly-plot")).to_have_count(2)
    choose(phone, "left.method", "results")
    choose(phone, "left.tight", "yes")
    for name, text in {"offset_v": "0.01", "angle_v": "0.05", "offset_h": "-0.4 mil", "angle_h": "0,1"}.items():
        put(phone, f"left.results.{name}", text)
    expect(phone.locator("#record-status")).to_contain_text(
        re.compile(r"As found 1\.\d+ over\. As left 0\.\d+ within\.")
    )
    record(phone)
    expect(phone.locator("main h1")).to_have_text(re.compile(r"Recorded as entry \d+"))
    line = book.story().standing[-1]
    assert line.author == "Ana Wick"
    assert line.job.method.value == "reverse indicator"
    assert line.job.typed["found dial.2.left"] == "-4.3 mil"
    assert line.job.left.offset_h == pytest.approx(-0.4 * 0.0254)
    assert "isolated, locked and tried" in line.job.checks
    assert line.found_ratio > 1 > line.left_ratio
    phone.reload()
    expect(phone.locator("main h1")).to_have_text(f"Recorded as entry {line.entry}")
    assert len(book.story().standing) == 5

    phone.get_by_role("link", name="Something is wrong in it: amend it").click()
    expect(phone.locator(box("found.dial.2.left"))).to_have_value("-4.3 mil")
    expect(phone.locator("#record-open")).to_contain_text("the reason of the amendment")
    put(phone, "why", "9 o'clock of dial 2 was read wrongly")
    put(phone, "found.dial.2.left", "-4.8 mil")
    changed = phone.locator("#record-changed")
    expect(changed).to_contain_text("as-found, horizontal offset")
    expect(changed.locator("tbody tr").first.locator("td")).to_have_count(2)
    record(phone)
    expect(phone.locator("main")).to_contain_text(f"takes the place of entry {line.entry}")
    phone.get_by_role("link", name="The history of P-2").click()
    main = phone.locator("main")
    expect(main).to_contain_text("What was amended: 1")
    expect(main).to_contain_text("Reason: 9 o'clock of dial 2 was read wrongly")
    expect(main.locator(".amended")).to_contain_text("as-found, horizontal offset")
    expect(main.locator(".amended")).to_contain_text("by Ana Wick")
    assert len(book.story().standing) == 5
    assert book.story().jobs[-1].supersedes == line.entry


def nonsense(page: Page, name: str, sentence: str) -> None:
    expect(said(page, name)).to_contain_text(sentence)
    expect(page.locator("#record-open, #record-reasons").filter(has_text=sentence).first).to_be_attached()


def test_each_nonsense_gives_its_sentence_where_it_is_typed(url: Any, phone: Any) -> None:
    start(phone, f"{url}/record?asset=P-2")
    fill_raw(phone)
    put(phone, "found.dial.1.returned", "0.09")
    nonsense(phone, "found.dial.1.returned", "came back 0.090 mm away from its first reading")
    put(phone, "found.dial.1.left", "0.07")
    nonsense(phone, "found.dial.1", "they differ by")
    put(phone, "feet.movable.1.at", "0")
    nonsense(phone, "feet.movable.1.at", "lies at a distance of 0")
    expect(phone.locator(box("feet.movable.1.at"))).to_have_attribute("aria-invalid", "true")
    put(phone, "feet.movable.1.at", "")
    put(phone, "instrument", "D-9")
    nonsense(phone, "instrument", "ran out on 2026-01-01")
    put(phone, "performed", "11/05/2026 06:10")
    nonsense(phone, "performed", "can be 11 May 2026 or 5 Nov 2026. Which one is meant?")
    phone.get_by_role("button", name="5 Nov 2026").click()
    expect(phone.locator(box("performed"))).to_have_value("2026-11-05 06:10")
    expect(phone.locator(box("ref"))).to_have_value("P-2 2026-11-05 06:10")
    choose(phone, "found.method", "results")
    phone.locator(box("found.results.offset_v")).wait_for()
    for name, text in {"offset_v": "-0.04", "angle_v": "-0.30", "offset_h": "0.03", "angle_h": "-0.25"}.items():
        put(phone, f"found.results.{name}", text)
    expect(phone.locator("#record-reasons")).to_contain_text(
        "Against what was left last time, all signs are the other way round"
    )
    for name, text in {"offset_v": "0.08", "angle_v": "0.60", "offset_h": "-0.06", "angle_h": "0.50"}.items():
        put(phone, f"found.results.{name}", text)
    expect(phone.locator("#record-reasons")).to_contain_text("all of it is about twice as large")
    for words in ("Target: misalignment wanted while cold", "Work the target out from thermal growth"):
        phone.locator("summary", has_text=words).click()
    put(phone, "growth.movable.1.up", "0.1")
    phone.get_by_role("button", name="Take this over as the target").click()
    expect(phone.locator("#rs-growth")).to_contain_text("This is the target in the form.")
    expect(phone.locator(box("target.offset_v"))).to_have_value("−0.100 mm")
    put(phone, "found.results.offset_v", "1.4")
    nonsense(phone, "found.results.offset_v", "Is the unit right?")
    put(phone, "found.results.offset_v", "0,O5")
    nonsense(phone, "found.results.offset_v", "is not a number")
    expect(phone.locator("#record-status")).to_contain_text("Cannot be recorded yet")


def test_what_the_trade_would_still_record_goes_in_with_a_stated_reason_and_what_cannot_be_does_not(
    book: Any, url: Any, phone: Any
) -> None:
    start(phone, f"{url}/record?asset=P-2")
    put(phone, "by", "Bo Tarn")
    put(phone, "instrument", "D-9")
    for name, text in {"offset_v": "0.05", "angle_v": "0.30", "offset_h": "0.02", "angle_h": "0.20"}.items():
        put(phone, f"found.results.{name}", text)
    choose(phone, "left.method", "same")
    expect(phone.locator("#record-open")).to_contain_text(
        "with what it was measured"
    )  # what was used last time is not taken for it
    choose(phone, "found.by", "laser")
    record(phone)
    expect(phone.locator("#record-answer")).to_contain_text("Nothing was recorded.")
    assert len(book.story().standing) == 4
    reason = phone.get_by_label(re.compile("Why it is right all the same .calibration overdue."))
    reason.fill("checked against a gauge block")
    expect(phone.locator("#record-open")).to_contain_text("It can be recorded")
    record(phone)
    expect(phone.locator("main h1")).to_have_text(re.compile("Recorded as entry"))
    job = book.story().standing[-1].job
    assert job.typed["stated reason: calibration overdue"] == "checked against a gauge block"
    assert job.left == job.found


def test_a_draft_survives_a_closed_page_and_is_gone_after_recording(book: Any, url: Any, browser: Any) -> None:
    context = browser.new_context(viewport=NARROW)
    page = context.new_page()
    start(page, f"{url}/record?asset=F-1")
    put(page, "by", "Ana Wick")
    put(page, "found.results.offset_v", "2.5 mil")
    put(page, "found.results.angle_v", "0.2")
    page.close()
    page = context.new_page()
    start(page, f"{url}/record?asset=F-1&units=mil")
    expect(page.locator("main")).to_contain_text("was found in this browser")
    expect(page.locator(box("found.results.offset_v"))).to_have_value("2.5 mil")
    expect(page.locator(box("found.results.angle_v"))).to_have_value("0.2 mm/m")
    expect(said(page, "found.results.offset_v")).to_have_text("= +2.5 mil")
    start(page, f"{url}/record?asset=P-2")
    expect(page.locator(box("found.results.offset_v"))).to_have_value("")
    expect(page.locator(box("by"))).to_have_value("Ana Wick")
    lines = book.story("F-1").jobs
    at = page.evaluate(
        "Object.keys(localStorage).map(name => localStorage.getItem(name)).find(text => text.includes('2.5 mil'))"
    )
    assert json.loads(at)["begun"] == f"{lines[-1].entry}-{lines[-1].leaf[:16]}"
    start(page, f"{url}/record?asset=F-1")
    put(page, "found.results.offset_h", "0")
    put(page, "found.results.angle_h", "0")
    choose(page, "found.by", "other")
    choose(page, "left.method", "same")
    expect(page.locator("#record-open")).not_to_contain_text("Still missing")
    reason = page.get_by_label("Why it is right all the same (as-left over limit)")
    reason.fill("runs until ")
    expect(page.locator("#record-open")).to_contain_text("It can be recorded")
    reason.press("End")
    # The question is exchanged while it is answered, as where another job went in: no letter of a reason is put anywhere else.
    asked = [["another job meanwhile", "stated.meanwhile", "", "?"]]
    page.evaluate("asks => window.dash_clientside.set_props('record-asks', {data: asks})", asked)
    expect(page.get_by_role("heading", name="Into the book")).to_be_focused()
    page.keyboard.type("spring")
    expect(page.locator(box("by"))).to_have_value("Ana Wick")
    put(page, "notes", "x")
    expect(reason).to_have_value("runs until ")
    # One that only says it in other words keeps the focus, also where its field was touched twice.
    reason.click()
    reason.click()
    reason.press("End")
    asked = [["as-left over limit", reason.get_attribute("name"), "", "?"]]
    page.evaluate("asks => window.dash_clientside.set_props('record-asks', {data: asks})", asked)
    expect(page.locator("#record-reasons li")).to_have_text("?")
    expect(reason).to_be_focused()
    reason.fill("runs until the shutdown")
    expect(page.locator("#record-open")).to_contain_text("It can be recorded")
    page.get_by_role("button", name="Record the job").dblclick()
    expect(page.locator("main h1")).to_have_text(re.compile("Recorded as entry"))
    assert len(book.story("F-1").standing) == 2
    start(page, f"{url}/record?asset=F-1")
    expect(page.locator(box("found.results.offset_v"))).to_have_value("")
    expect(page.locator("main")).not_to_contain_text("was found in this browser")
    context.close()


def test_a_draft_can_be_thrown_away(url: Any, phone: Any) -> None:
    start(phone, f"{url}/record?asset=P-2")
    put(phone, "notes", "something")
    phone.reload()
    phone.get_by_role("button", name="Throw the draft away").click()
    phone.get_by_role("button", name="Throw it away? Touch once more").click()
    expect(phone.locator(box("notes"))).to_have_value("")
    expect(phone.locator("main")).not_to_contain_text("was found in this browser")


def test_a_job_is_recorded_with_the_keyboard_alone(book: Any, url: Any, phone: Any) -> None:
    start(phone, f"{url}/record?asset=P-2")
    phone.locator(box("by")).focus()
    phone.keyboard.type("Ana Wick")
    answers = iter(["0.05", "0.30", "0.02", "0.20"])
    for _ in range(80):
        phone.keyboard.press("Tab")
        here = phone.evaluate(
            "document.activeElement.name || document.activeElement.id || document.activeElement.tagName"
        )
        if here == "people":
            phone.keyboard.type("Bo Tarn")
        elif here == "rf-check-isolated":
            phone.keyboard.press("Space")
        elif here.startswith("found.results.") and "sd" not in here:
            phone.keyboard.type(next(answers))
        elif here == "found.by":
            phone.keyboard.press("l")
        elif here == "left.method":
            phone.keyboard.press("n")
            phone.keyboard.press("n")
        elif here == "record-save":
            break
    expect(phone.locator("#record-open")).to_contain_text("It can be recorded")
    phone.keyboard.press("Enter")
    expect(phone.locator("main h1")).to_have_text(re.compile("Recorded as entry"))
    job = book.story().standing[-1].job
    assert job.people == ("Bo Tarn",)
    assert job.found.as_tuple() == (0.05, 0.3, 0.02, 0.2)
    assert "isolated, locked and tried" in job.checks


@LOOKS
def test_the_page_breaks_no_rule_of_accessibility_and_not_its_width(
    url: Any, browser: Any, scheme: Any, viewport: Any
) -> None:
    context = browser.new_context(viewport=viewport, color_scheme=scheme)
    page = context.new_page()
    watch = Watch(page)
    start(page, f"{url}/record?asset=P-2")
    fill_raw(page)
    put(page, "found.dial.1.returned", "0.09")
    put(page, "found.dial.1.top", "x")
    for place, rise in enumerate(("0.02", "0.01", "0.12", "0.02"), start=1):
        put(page, f"soft_before.{place}", rise)
    expect(said(page, "found.dial.1.top")).to_contain_text("is not a number")
    for found in page.locator("details:not([open]) > summary").all():
        if found.is_visible():
            found.click()
    page.wait_for_load_state("networkidle")
    broken = Axe().run(page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"]) for one in broken] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    small = page.evaluate(
        "[...document.querySelectorAll('#record-form input:not([type=checkbox]), #record-form select, #record-form textarea, #record-form button')]"
        ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 44).map(e => e.id)"
    )
    assert small == []
    page.goto(f"{url}/record")
    page.locator("main h1").wait_for()
    page.wait_for_load_state("networkidle")
    assert [one["id"] for one in Axe().run(page).response["violations"]] == []
    context.close()
    assert watch.seen == []


def test_the_machine_is_chosen_by_any_part_of_its_name(url: Any, phone: Any) -> None:
    phone.goto(f"{url}/record?units=mil")
    way = phone.locator(".pages").get_by_role("link", name="Record", exact=True).bounding_box()
    assert way is not None
    assert way["x"] + way["width"] < 390
    phone.locator("#shell-finder").fill("f1")
    found = phone.get_by_role("option", name=re.compile("F-1"))
    found.wait_for()
    assert found.bounding_box()["width"] > 340  # type: ignore[index]
    phone.locator("#shell-finder").fill("")
    phone.get_by_label("Which machine?").fill("kiln")
    phone.get_by_role("option", name=re.compile("F-1")).click()
    expect(phone.locator("main h1")).to_have_text("Record a job · F-1 · kiln fan")
    assert phone.url.endswith("/record?units=mil&asset=F-1")
    expect(phone.locator("main")).to_contain_text("found 2.28 over")


def test_no_key_is_lost_in_the_box_and_enter_opens_nothing_out_of_an_older_list(url: str, phone: Page) -> None:
    phone.goto(f"{url}/record")
    chosen, options = phone.get_by_label("Which machine?"), phone.get_by_role("option")
    chosen.click()
    with phone.expect_response(lambda answer: "record-choose.data" in (answer.request.post_data or "")):
        phone.keyboard.type("n")
    expect(options).to_have_count(2)
    expect(chosen).to_have_value("n")
    held = held_back(phone, '"record-choose.data"')
    with phone.expect_request(lambda asked: "record-choose.data" in (asked.post_data or "")):
        phone.keyboard.type("e")
    expect(options).to_have_count(1)  # out of the older list, and on it stands a machine that matches
    phone.keyboard.press("Enter")
    phone.wait_for_timeout(300)
    assert phone.url.endswith("/record")
    expect(chosen).to_have_value("ne")
    # The answer to what stands in the box has one machine only: Enter was meant for it.
    held[-1].continue_()
    expect(phone.locator("main h1")).to_have_text("Record a job · P-2 · brine pump")


def test_letters_twice_as_large_do_not_make_a_phone_slide_sideways(url: str, browser: Any) -> None:
    context = browser.new_context(viewport=NARROW)
    page = context.new_page()
    for address in ("/record", "/record?asset=P-2", "/asset/P-2"):
        page.goto(f"{url}{address}")
        page.locator("main h1").wait_for()
        page.wait_for_load_state("networkidle")
        page.add_style_tag(content="html { font-size: 200% !important }")
        if "asset=" in address:
            for way in ("two faces", "readings around the shaft", "rim and face"):
                choose(page, "found.method", way)
                page.locator(box("found.dial.2.diameter")).wait_for()
                assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"], way
            fill_raw(page)
            expect(said(page, "found.dial.2.left")).to_have_text("= −0.109 mm")
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"], address
        # A reading of five characters is seen whole.
        small = page.evaluate(
            "[...document.querySelectorAll('.clock input')].filter(e => e.clientWidth < 150).map(e => e.id)"
        )
        assert small == [], address
    context.close()


def test_switching_light_and_dark_leaves_the_form_as_it_is(url: Any, phone: Any) -> None:
    start(phone, f"{url}/record?asset=P-2")
    put(phone, "notes", "half a sentence")
    phone.get_by_role("button", name="Light or dark").click()
    expect(phone.locator("html")).to_have_attribute("data-mantine-color-scheme", "dark")
    expect(phone.locator(box("notes"))).to_have_value("half a sentence")


def test_a_machine_leads_to_recording_and_to_amending(url: Any, phone: Any) -> None:
    phone.goto(f"{url}/asset/P-2")
    phone.get_by_role("link", name="Record a job").click()
    expect(phone.locator("main h1")).to_have_text("Record a job · P-2 · brine pump")
    phone.go_back()
    phone.locator("summary", has_text="Amend a job").click()
    phone.get_by_role("link", name=re.compile("4 Nov 2025")).click()
    expect(phone.locator("main h1")).to_have_text(re.compile(r"Amend entry \d+ · P-2"))
    expect(phone.locator(box("found.results.offset_v"))).to_have_value("0.055 mm")
    expect(phone.locator("#record-open")).to_contain_text("the form says what the book says already")
