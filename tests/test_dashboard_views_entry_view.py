"""One entry in words: what it says, what it changed, and how a job was judged."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from dashboard.views.entry_view import EntryView, build
from dashboard.views.said_fields import fields_of
from models.units import Display
from models.values.asset import Asset, MachineBreak
from models.values.entry import EntryLine, EntryStory, ImportedFile, Said
from models.values.job import FeetValues
from models.values.kinds import Coupling, Kind, Part
from models.values.people import Instrument, Person
from tests.history_maker import STARTER, MadeBook, Misalignment, job, line, site, story_of

AT = datetime(2026, 7, 1, 7, 30, tzinfo=UTC)
PUMP = Asset("P-101", "Brine pump", "Intake", speed_rpm=1480.0, feet_movable_mm=(300.0, 800.0))
SPACED = replace(PUMP, coupling=Coupling.SPACER, span_mm=140.0, valid_from=date(2024, 1, 1))
MAPPING = {
    "": {"holds": "jobs", "header_row": 1, "decimal": ",", "dates": "day first", "encoding": "utf-8", "delimiter": "\t",
         "columns": [["Versatz V", "jobs.found_offset_v", "mm", -1.0], ["Farbe", "", "", 1.0]], "words": {"ja": "yes"}},
}  # fmt: skip


def told(kind: Kind, now: Said, before: Said | None = None, display: Display | None = None) -> EntryView:
    return build(
        EntryStory(EntryLine(9, AT, "desk", kind, "P-101", why="it was so"), now, before), site(), display or Display()
    )


def amended_book() -> MadeBook:
    first = line(job("P-101", "2026-10-05T09:00", Misalignment(0.1), Misalignment(0.02), ref="J"), PUMP, 5)
    second = line(
        replace(first.job, left=Misalignment(0.0203), notes="read again"),
        PUMP, 6, supersedes=5, why_amended="sheet was misread",
    )  # fmt: skip
    second = replace(second, job_id=5, recorded_at=first.recorded_at + timedelta(days=1))
    return MadeBook([story_of(PUMP, [replace(first, superseded_by=6), second])])


def test_a_job_shows_what_was_typed_its_readings_and_the_stated_reason() -> None:
    typed = {"found dial.1.top": "7.5 mil", "temp_movable_c": "28,5 °C", "stated reason: soft foot": "plates were worn"}
    done = job("P-101", "2026-10-05T09:00", Misalignment(0.1), Misalignment(0.02), temp_movable_c=28.5, typed=typed)
    view = told(Kind.JOB_RECORDED, line(done, PUMP, 5))
    assert list(view.typed.values()) == ["28,5 °C"]
    (name,) = view.typed
    assert dict(view.says)[name] == "– / 28.5 °C / –"
    assert view.readings == (
        ("as found, dial 1, 12 o'clock, top", "7.5 mil"),
        ("Reason stated (soft foot)", "plates were worn"),
    )
    assert told(Kind.PERSON_ADDED, Person("Ana Wick")).readings == ()


def test_an_amendment_shows_old_beside_new_field_by_field() -> None:
    book = amended_book()
    story = book.entry(1, 6)
    assert story is not None
    view = build(story, site(), Display())
    assert [(one.field, one.old, one.new) for one in view.changes] == [
        ("notes", "–", "read again"),
        ("as-left, vertical offset", "0.02 mm", "0.0203 mm"),
    ]
    assert view.change_caption == "Entry 5 beside entry 6"
    assert view.why == "sheet was misread"
    assert "takes the place of entry 5" in view.sentence
    assert [one.stands for one in view.versions] == ["replaced by entry 6", "counts"]
    assert view.says


def test_the_old_version_says_that_it_no_longer_counts() -> None:
    story = amended_book().entry(1, 5)
    assert story is not None
    view = build(story, site(), Display())
    assert "It no longer counts: entry 6 took its place." in view.sentence
    assert view.changes == ()


def test_a_verdict_comes_with_the_set_its_version_who_adopted_it_and_its_source() -> None:
    story = amended_book().entry(1, 6)
    assert story is not None
    text = " ".join(build(story, site(), Display()).verdict)
    assert "Judged under starter, version 1, adopted by nobody yet with effect from 1 Jan 2020" in text
    assert "(entry 2). Source: this project's own rule, no standard." in text
    assert (
        "offset 0.081 mm, angularity 0.68 mm/m, soft foot 0.050 mm" in text
    )  # 120 / 1480 and 1000 / 1480: the starter rule
    assert "As found 1.23 over; as left 0.25 within" in text  # 0.1 and 0.0203 ÷ (120 / 1480)
    mil = " ".join(build(story, site(), Display("mil")).verdict)
    assert "offset 3.2 mil" in mil  # 120 / 1480 / 0.0254
    assert build(story, site(), Display()).starter
    assert "No limit set was in force" in " ".join(build(replace(story, judged_by=None), site(), Display()).verdict)


def test_a_changed_description_shows_every_field_and_marks_what_differs() -> None:
    view = told(Kind.ASSET_CHANGED, SPACED, PUMP)
    differ = {one.field for one in view.changes if one.differs}
    assert differ == {"Holds from", "Coupling", "Span between the flex planes"}
    assert view.says == ()
    assert len(view.changes) == len(fields_of(PUMP, Display()))
    assert (
        next(one.new for one in told(Kind.ASSET_CHANGED, SPACED, PUMP, Display("mil")).changes if "Span" in one.field)
        == "5.5 in"
    )


def test_rows_that_one_version_of_a_set_has_and_the_other_has_not_stand_beside_a_dash() -> None:
    shorter = replace(STARTER, rows=STARTER.rows[:2], version=2)
    view = told(Kind.LIMITS_ADOPTED, shorter, STARTER)
    assert [(one.field, one.new) for one in view.changes if one.new == "–"][-2:] == [("Row 3", "–"), ("Row 4", "–")]


@pytest.mark.parametrize(
    ("kind", "said", "text"),
    [
        (Kind.SITE_SET, site(), "Europe/Lisbon"),
        (Kind.BREAK_RECORDED, MachineBreak("P-101", date(2024, 5, 6), Part.BASE, "cracked"), "cracked"),
        (Kind.PERSON_ADDED, Person("Ana", "millwright", active=False), "no"),
        (Kind.INSTRUMENT_ADDED, Instrument("L-1", "set", date(2025, 1, 1), date(2026, 1, 1)), "1 Jan 2026"),
        (
            Kind.LIMITS_ADOPTED,
            STARTER,
            "Offset, any coupling, speed all: 120 mm ÷ rpm, at most 0.160 mm (as at 750 rpm)",
        ),
        (Kind.ASSET_ADDED, PUMP, "300 mm; 800 mm"),
    ],
)
def test_every_thing_is_told_field_by_field(kind: Kind, said: Said, text: str) -> None:
    view = told(kind, said)
    assert text in dict.fromkeys(value for _, value in view.says)
    assert all(name and value for name, value in view.says)


def test_a_job_is_told_with_its_units() -> None:
    given = job("P-101", "2026-10-05T09:00", Misalignment(0.0254, 0.5), None, moves_v=FeetValues((0.1, None, -0.05, 0.0)), temp_ambient_c=20.0)  # fmt: skip
    fields = dict(fields_of(line(given, PUMP, 5), Display("mil", "°F")))
    assert fields["As found"] == "offset V +1.0, H 0.0 mil; angularity V +0.50, H 0.00 mil/in"
    assert fields["As left"] == "not measured"
    assert fields["Temperature: stationary, movable, air"] == "– / – / 68 °F"
    assert fields["Shim, feet 1L 1R 2L 2R …"].split() == ["+3.9", "–", "−2.0", "0.0", "mil"]
    assert fields["Work order"] == "–"


def test_a_file_is_told_with_its_digest_and_how_each_column_was_read() -> None:
    view = told(Kind.FILE_IMPORTED, ImportedFile("jobs.csv", "ab" * 32, 12_000, 11_999, 1, MAPPING))
    assert "12\u202f000 rows read, 11\u202f999 of them taken into the book, 1 of them refused." in view.sentence
    assert ("SHA-256 digest", "ab" * 32) in view.says
    sheet = view.sheets[0]
    assert sheet.title == "Holds: jobs"
    assert (
        sheet.form == "Headings in row 1; encoding utf-8; columns parted by ‘Tab’; decimal sign: ,; dates: day first."
    )
    assert sheet.words == "Words read as: ja = yes."
    assert sheet.columns == (("Versatz V", "found offset v", "mm", "× −1"), ("Farbe", "left out", "", ""))
