"""Entries in words: who, when, what about, why, where from."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from dashboard.asked import read_asked
from dashboard.place import read_place
from dashboard.views.book_view import BookView, build, line_of
from models.values.entry import EntryLine, EntryPage
from models.values.kinds import Kind
from tests.history_maker import ZONE, made_book, site

AT = datetime(2026, 7, 1, 7, 30, tzinfo=UTC)
JOB = EntryLine(
    12, AT, "desk", Kind.JOB_RECORDED, "P-101", "2026-7", done_at=AT, zone=ZONE, people=("Ana", "Bo"), instrument="L-1",
    limit_set="starter 1", file_entry=3, file="jobs.csv", row="7",
)  # fmt: skip


def view_of(query: str, page: EntryPage | None = None) -> BookView:
    asked = read_asked(read_place("/book", query), ZONE, ("P-101",), ("Ana",), ("L-1",))
    return build(page or EntryPage((JOB,), older=False, newer=False, count=1), asked, site())


def test_a_job_is_told_in_one_line_on_the_sites_clock() -> None:
    line = line_of(JOB, ZONE)
    assert (line.recorded, line.author, line.kind) == ("1 Jul 2026, 08:30", "by desk", "job recorded")
    assert (line.name, line.about) == ("P-101", "job 2026-7, 1 Jul 2026, 08:30")
    assert line.work == "Ana, Bo · with L-1 · limits: starter, version 1"
    assert (line.source, line.file_entry) == ("jobs.csv, row 7", 3)


def test_what_became_of_an_entry_is_told() -> None:
    assert line_of(replace(JOB, superseded_by=20), ZONE).change == "replaced by entry 20"
    changed = line_of(replace(JOB, kind=Kind.JOB_AMENDED, supersedes=7, void=True, file="", file_entry=None), ZONE)
    assert changed.change == "says that the job is void; takes the place of entry 7"
    assert changed.source == "not from a file"


@pytest.mark.parametrize(
    ("line", "about"),
    [
        (EntryLine(1, AT, "d", Kind.BREAK_RECORDED, "P-1", "base", on=date(2024, 5, 6)), "base, 6 May 2024"),
        (EntryLine(1, AT, "d", Kind.LIMITS_ADOPTED, "starter", "2", on=date(2024, 5, 6)), "version 2, from 6 May 2024"),
        (EntryLine(1, AT, "d", Kind.FILE_IMPORTED, "jobs.csv", "12345"), "rows taken: 12\u202f345"),
        (EntryLine(1, AT, "d", Kind.PERSON_ADDED, "Ana"), "person"),
    ],
)
def test_other_entries_tell_what_they_are_about(line: EntryLine, about: str) -> None:
    assert line_of(line, ZONE).about == about


def test_every_kind_can_be_told() -> None:
    for kind in Kind:
        assert line_of(EntryLine(1, AT, "d", kind, "x", "base" if kind is Kind.BREAK_RECORDED else "1"), ZONE).kind


def test_the_sentence_repeats_the_question() -> None:
    text = view_of(
        "?asset=P-101&person=Ana&instrument=L-1&job=2026-7&kind=job-recorded&file=3&from=2026&to=2026-07&dates=done"
    ).sentence
    for part in (
        "1 entry answer",
        "machine P-101",
        "person Ana",
        "instrument L-1",
        "job 2026-7",
        "job recorded",
        "file of entry 3",
    ):
        assert part in text
    assert "work done from 2026" in text
    assert "work done up to 2026-07" in text
    assert "recorded from 2026" in view_of("?from=2026").sentence
    assert not view_of("").filtered
    assert view_of("?kind=job-recorded").filtered


def test_a_count_that_was_cut_is_said_to_be_more() -> None:
    page = EntryPage((JOB,), older=True, newer=False, count=10_000, more=True)
    assert view_of("", page).sentence.startswith("More than 10\u202f000 entries")
    assert view_of("?person=Ana", page).sentence.startswith("More than 10\u202f000 entries answer")
    assert (view_of("", page).older, view_of("", page).newer) == (12, None)


def test_no_entry_is_a_state_of_its_own() -> None:
    view = view_of("?person=nobody", EntryPage((), older=False, newer=False, count=0))
    assert view.state == "too_few"
    assert view.caption == ""


def test_a_whole_small_book_is_numbered() -> None:
    book = made_book(assets=1, years=1)
    asked = read_asked(read_place("/book", ""), ZONE, (), (), ())
    view = build(book.entries(1, asked.filter), asked, book.at_site)
    assert f"numbered 1 to {view.lines[0].number}" in view.sentence
