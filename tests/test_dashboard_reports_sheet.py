"""The field sheet: one page for every way of measuring, in the order of the Record page, with a code and fields to fill in."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from pypdf import PdfReader

from dashboard.components import record_form as form
from dashboard.reports.field_sheet import way_of_last
from dashboard.reports.forms import fillable_pdf
from dashboard.reports.press import ask_of, print_pdf
from dashboard.views.record_fields import AFTER, BEFORE, STAGES, check_name, stage_names
from models.units import Display
from models.values.draft import Way, WorkCheck
from models.values.kinds import Reason
from tests.papers import claims_of, codes_of, page_sizes, pages_of
from tests.report_book import LONG_TAG, NASTY, asset, sheet_of, story

NOT_ON_PAPER = ("noise.", "sag_sd", "opposite_")
"""Uncertainties that nobody writes down at the machine; the dial opposite is asked for at two faces only."""


@pytest.mark.parametrize("way", list(Way))
@pytest.mark.parametrize("size", ["a4", "letter"])
def test_it_is_one_page_for_every_way_of_measuring(way: Way, size: str) -> None:
    pdf = print_pdf(sheet_of(story(3), way, size=size))
    assert len(pages_of(pdf)) == 1
    assert page_sizes(pdf) == {{"a4": (595, 842), "letter": (612, 792)}[size]}


def test_it_is_one_page_with_long_names_six_rows_and_a_spacer() -> None:
    told = story(2, long=True, nasty=True, rows=6, spacer=True)
    for way in (Way.FACE_FACE, Way.AROUND):
        pages = pages_of(print_pdf(sheet_of(told, way, size="letter")))
        assert len(pages) == 1
        assert LONG_TAG.replace("-", "") in pages[0].replace("-", "").replace(" ", "")
        assert "6L" in pages[0]


def test_it_tells_what_was_left_the_target_the_limits_and_their_source() -> None:
    told = pages_of(print_pdf(sheet_of(story(4), Way.REVERSE_INDICATOR)))[0]
    assert "Offset, vertical [mm] +0.004 +0.010 0.000" in told
    assert "limit ratio found 0.50 within, left 0.33 within" in told
    assert "Limits: offset 0.120 mm, angularity 1.00 mm/m, soft foot 0.050 mm; vertical and horizontal together" in told
    assert "ours, version 1, adopted by the tests" in told
    assert "Source: made up for the tests" in told
    assert "Feet, movable 300 · 600 mm" in told
    assert "2026-12-01" in told
    seen = story(4)
    looked = replace(seen, jobs=(*seen.jobs[:3], replace(seen.jobs[3], job=replace(seen.jobs[3].job, left=None))))
    told = pages_of(print_pdf(sheet_of(looked, Way.REVERSE_INDICATOR)))[0]
    assert "As left: not measured on that visit; last measured on" in told
    assert "offset V +0.010, H −0.030 mm" in told


def test_isolation_comes_first_and_guards_come_last() -> None:
    told = pages_of(print_pdf(sheet_of(story(2), Way.RIM_FACE)))[0]
    order = [
        "isolate it, lock out and tag, and try to start it", "1 The visit", "2 Before the work", "Isolated, locked out, tagged and tried", "3 As found",
        "4 Soft foot before the work", "5 What was moved", "6 As left", "7 Soft foot after the work", "8 After the work", "Guards back on",
        "9 Conditions and notes", "guards back on, locks and tags off",
    ]  # fmt: skip
    places = [told.index(text) for text in order]
    assert places == sorted(places)
    assert BEFORE[0] is WorkCheck.ISOLATED
    assert AFTER[-1] is WorkCheck.GUARDS


def names_on_page(shown: Any) -> Iterator[str]:
    """Walk a part of the Record page and give the names of its fields in their order."""
    if isinstance(shown, list | tuple):
        for one in shown:
            yield from names_on_page(one)
        return
    told = getattr(shown, "to_plotly_json", None)
    if told is None:
        return
    props = told()["props"]
    name = props.get("data-field") or props.get("name")
    if isinstance(name, str):
        yield name
    yield from names_on_page(props.get("children"))


@pytest.mark.parametrize("way", list(Way))
def test_fields_have_the_names_and_the_order_of_the_record_page(way: Way) -> None:
    described, display = asset(), Display()
    fields = {"found.method": way.value, "left.method": way.value}
    for stage in STAGES:
        wanted = [
            name
            for name in names_on_page(form.measure_part(stage, fields, described, display))
            if name.startswith(f"{stage}.")
        ]
        assert wanted, "the Record page names its fields"
        on_paper = [
            told["name"]
            for told in _in_order(sheet_of(story(2), way, fillable=True))
            if told["name"].startswith(f"{stage}.")
        ]
        typed = [name for name in wanted if not any(part in name for part in NOT_ON_PAPER)]
        mine = [name for name in on_paper if name in typed]
        assert mine == [name for name in typed if name in mine], "the same order"
        chosen = {name.rpartition(".")[0] for name in on_paper if name not in typed}
        assert set(typed) <= set(mine) | chosen, "every field has its place, a choice as one box an answer"


def _in_order(paper: Any) -> list[dict[str, Any]]:
    from dashboard.reports.forms import in_typing_order

    return in_typing_order(ask_of(paper, "field"))


@pytest.mark.parametrize("way", list(Way))
def test_every_field_of_a_method_is_known_to_the_reader_of_the_form(way: Way) -> None:
    names = {f"{stage}.{name}" for stage in STAGES for name in stage_names(way)}
    for told in ask_of(sheet_of(story(2), way, fillable=True), "field"):
        name = told["name"]
        if name.startswith(("found.dial", "left.dial", "found.results", "left.results")):
            assert name in names or name.rpartition(".")[0] in names, name


def test_the_code_opens_the_page_on_which_a_job_is_recorded() -> None:
    assert codes_of(print_pdf(sheet_of(story(1), Way.RESULTS))) == ["http://plant:8750/record?asset=P-7"]
    assert codes_of(print_pdf(sheet_of(story(1), Way.RESULTS, address=""))) == []


def test_the_way_of_the_last_visit_is_taken() -> None:
    assert way_of_last(story(2)) is Way.REVERSE_INDICATOR
    assert way_of_last(story(0)) is Way.RESULTS


def test_a_machine_without_a_job_has_a_sheet() -> None:
    told = pages_of(print_pdf(sheet_of(story(0), Way.RESULTS, display=Display("mil", "°F"))))[0]
    assert "No job of this machine is in the book yet." in told
    assert "Offset, vertical [mil]" in told
    assert "[°F]" in told


def test_the_variant_to_fill_in_has_every_field_where_its_box_lies() -> None:
    paper = sheet_of(story(2, nasty=True), Way.REVERSE_INDICATOR, fillable=True)
    boxes, pdf = ask_of(paper, "field"), fillable_pdf(paper)
    reader = PdfReader(io.BytesIO(pdf))
    fields = reader.get_fields()
    assert fields is not None
    assert set(fields) == {told["name"].replace(".", "_") for told in boxes}
    assert [name for name in fields if not name.startswith("reason_")][:6] == [
        "by", "performed", "people", "instrument", "work_order", "ref",
    ]  # fmt: skip
    assert list(fields)[2:8] == [f"reason_{reason.value}" for reason in Reason]
    first = [name for name in fields if name.startswith("found_dial_1_")][:5]
    assert first == [f"found_dial_1_{place}" for place in ("top", "right", "bottom", "left", "returned")]
    assert fields["performed"].value == "2026-12-01"
    assert fields["check_isolated"]["/FT"] == "/Btn"
    page = reader.pages[0]
    wide, high = float(page.mediabox.width), float(page.mediabox.height)
    corners = [[float(x) for x in one.get_object()["/Rect"]] for one in page["/Annots"]]
    assert len(corners) == len(boxes)
    for left, low, right, top in corners:
        assert 0 < left < right < wide
        assert 0 < low < top < high
    for one in page["/Annots"]:
        assert one.get_object()["/TU"], "each field says what it is for"
    assert len({tuple(one) for one in corners}) == len(corners)
    assert not any(a[0] < b[2] - 0.5 and b[0] < a[2] - 0.5 and a[1] < b[3] - 0.5 and b[1] < a[3] - 0.5 for i, a in enumerate(corners) for b in corners[:i]), "no field lies over another"  # fmt: skip


def test_the_variant_to_fill_in_claims_no_standard() -> None:
    paper = sheet_of(story(2), Way.RESULTS, fillable=True)
    assert claims_of(fillable_pdf(paper))["pdfaid:part"] == ""
    assert claims_of(print_pdf(sheet_of(story(2), Way.RESULTS)))["pdfaid:part"] == "2"


def test_notes_are_cut_and_never_read_as_markup() -> None:
    told = pages_of(print_pdf(sheet_of(story(2, nasty=True), Way.RESULTS)))[0]
    assert "#panic() ] *x* _y_ $z$" in told
    assert NASTY.split()[0] in told
    assert check_name(WorkCheck.ISOLATED) == "check.isolated"
