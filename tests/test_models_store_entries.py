"""Entries on both engines: what answers is what a plain walk through the tables finds; pages join without a gap."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from models.commands.amend_job import amend_job, void_job
from models.store.entries import COUNTED
from models.store.reader import Reader
from models.values.asset import Asset, MachineBreak
from models.values.entry import EntryFilter, ImportedFile, KeySet, Thing
from models.values.job import Misalignment
from models.values.kinds import Kind
from models.values.limits import LimitSet
from models.values.people import Account, Instrument, Person
from models.values.story import JobLine, Signoff, Site
from tests.conftest import NOW
from tests.seeded import FILES, bring_in, contents, seed, vouch, write

LATER = NOW + timedelta(hours=5)
WHY = "sides of the sheet were swapped"


@pytest.fixture
def book(engine: sa.Engine, site: Site, tmp_path: Path) -> Any:
    """Give a reader of a seeded book in which one job was amended, and one amended and then voided."""
    seed(engine, site, tmp_path)
    changed = "serial,description,calibrated,calibration due\nD-1,dial set,2025-12-01,2026-12-01\n"
    assert bring_in(engine, site, *write(tmp_path, changed=changed)).written
    story = Reader(engine).story(site.site_id, "P-1")
    second = next(line for line in story.jobs if line.job.ref == "J2")
    amend_job(engine, site, second.entry, replace(second.job, left=Misalignment(0.021, 0.1, 0.01, -0.05), reviewer="Cleo Marsh"),
              by="Bo Tarn", now=LATER, why=WHY)  # fmt: skip
    third = next(line for line in Reader(engine).story(site.site_id, "P-2").jobs if line.job.ref == "J3")
    void_job(engine, site, third.entry, by="Bo Tarn", now=LATER + timedelta(minutes=1), why="done on another machine")
    return Reader(engine)


def numbers(book: Reader, asked: EntryFilter | None = None, **how: Any) -> list[int]:
    page = book.entries(1, asked or EntryFilter(), **how)
    assert page.count == len(page.lines) or how or page.older or page.newer
    return [line.number for line in page.lines]


def plain(engine: sa.Engine) -> list[Any]:
    """Lay the tables of jobs and entries out, for walking through them by hand."""
    from models.tables.every import metadata

    with engine.connect() as connection:
        rows = connection.execute(sa.select(metadata.tables["entry"])).mappings().all()
        jobs = {row["entry"]: row for row in connection.execute(sa.select(metadata.tables["job"])).mappings()}
    return [(row, jobs.get(row["number"])) for row in rows]


def test_without_a_question_every_entry_answers_the_newest_first(book: Reader, engine: sa.Engine) -> None:
    found = numbers(book, most=1000)
    assert found == sorted((row["number"] for row, _ in plain(engine)), reverse=True)
    page = book.entries(1, EntryFilter(), most=1000)
    assert (page.count, page.more, page.older, page.newer) == (len(found), False, False, False)
    assert page.count < COUNTED


@pytest.mark.parametrize("most", [1, 4, 7, 100])
def test_pages_join_without_a_gap_in_both_directions(book: Reader, most: int) -> None:
    every = numbers(book, most=1000)
    down: list[int] = []
    page = book.entries(1, EntryFilter(), most=most)
    while True:
        down += [line.number for line in page.lines]
        if not page.older:
            break
        page = book.entries(1, EntryFilter(), before=down[-1], most=most)
        assert page.newer
    assert down == every
    up = [line.number for line in page.lines]
    while page.newer:
        page = book.entries(1, EntryFilter(), after=up[0], most=most)
        assert page.older
        up = [line.number for line in page.lines] + up
    assert up[-len(every) :] == every


def test_the_ends_of_the_book_are_told(book: Reader) -> None:
    every = numbers(book, most=1000)
    beyond = book.entries(1, EntryFilter(), before=1, most=5)
    assert (beyond.lines, beyond.older, beyond.newer) == ((), False, True)
    above = book.entries(1, EntryFilter(), after=every[0], most=5)
    assert (above.lines, above.older, above.newer) == ((), True, False)


def test_a_machine_is_found_with_its_jobs_descriptions_and_replacements(book: Reader, engine: sa.Engine) -> None:
    page = book.entries(1, EntryFilter(tag="P-2"))
    assert {line.kind for line in page.lines} == {
        Kind.ASSET_ADDED,
        Kind.BREAK_RECORDED,
        Kind.JOB_RECORDED,
        Kind.JOB_AMENDED,
    }
    assert {line.name for line in page.lines} == {"P-2"}
    assert all(line.thing is Thing.MACHINE for line in page.lines)
    jobs = [row["number"] for row, job in plain(engine) if job is not None and job["ref"] == "J3"]
    assert {line.number for line in page.lines if line.done_at} == set(jobs)
    assert numbers(book, EntryFilter(tag="p-2")) == []


PEOPLE: dict[str, Any] = {
    "Bo Tarn": lambda row, job: row["author"] == "Bo Tarn" or (job is not None and "Bo Tarn" in job["people"]),
    "Ana Wick": lambda _row, job: job is not None and "Ana Wick" in job["people"],
    "Cleo Marsh": lambda _row, job: job is not None and job["reviewer"] == "Cleo Marsh",
    "tester": lambda row, _job: row["author"] == "tester",
    "An": lambda _row, _job: False,
    'x" OR 1=1 --': lambda _row, _job: False,
    "%": lambda _row, _job: False,
}
"""Names, and whether an entry with its job is theirs."""


def test_a_person_is_found_as_author_aligner_and_reviewer(book: Reader, engine: sa.Engine) -> None:
    walked = plain(engine)
    for person, theirs in PEOPLE.items():
        page = book.entries(1, EntryFilter(person=person), most=1000)
        spoken_of = {line.number for line in page.lines if line.thing is Thing.PERSON and line.name == person}
        expected = {row["number"] for row, job in walked if theirs(row, job)}
        assert {line.number for line in page.lines} == expected | spoken_of, person
        assert bool(spoken_of) == (person in {"Bo Tarn", "Ana Wick"})


def test_an_instrument_is_found_with_its_calibrations_and_jobs(book: Reader) -> None:
    page = book.entries(1, EntryFilter(instrument="D-1"))
    assert sum(line.thing is Thing.INSTRUMENT for line in page.lines) == 2
    assert sum(line.instrument == "D-1" for line in page.lines) == 5  # three jobs, an amendment, a voiding
    assert numbers(book, EntryFilter(instrument="D-2")) == []


def test_a_kind_is_found_whole(book: Reader, engine: sa.Engine) -> None:
    for kind in Kind:
        expected = sorted((row["number"] for row, _ in plain(engine) if row["kind"] == str(kind)), reverse=True)
        assert numbers(book, EntryFilter(kind=kind)) == expected


def test_a_job_number_gives_every_version_also_by_a_number_it_once_had(
    book: Reader, engine: sa.Engine, site: Site
) -> None:
    assert len(numbers(book, EntryFilter(ref="J2"))) == 2
    first = next(line for line in book.story(1, "P-1").jobs if line.job.ref == "J1")
    amend_job(engine, site, first.entry, replace(first.job, ref="J1-B"), by="t", now=LATER + timedelta(hours=1), why="number was misread")  # fmt: skip
    assert numbers(book, EntryFilter(ref="J1")) == numbers(book, EntryFilter(ref="J1-B"))
    assert len(numbers(book, EntryFilter(ref="J1"))) == 2
    assert numbers(book, EntryFilter(ref="J")) == []


def test_days_are_those_of_recording_or_of_the_work(book: Reader) -> None:
    late = book.entries(1, EntryFilter(recorded_from=LATER))
    assert {line.kind for line in late.lines} == {Kind.JOB_AMENDED}
    assert len(late.lines) == 2
    assert len(numbers(book, EntryFilter(recorded_from=LATER, recorded_before=LATER + timedelta(seconds=1)))) == 1
    spring = EntryFilter(done_from=datetime(2025, 1, 1, tzinfo=UTC), done_before=datetime(2025, 4, 1, tzinfo=UTC))
    assert {line.detail for line in book.entries(1, spring).lines} == {"J2"}


def test_entries_of_a_file_and_questions_together(book: Reader) -> None:
    file = next(
        line for line in book.entries(1, EntryFilter(kind=Kind.FILE_IMPORTED), most=99).lines if line.name == "jobs.csv"
    )
    mine = book.entries(1, EntryFilter(file=file.number), most=99).lines
    assert {line.file for line in mine} == {"jobs.csv"}
    assert {line.row for line in mine if line.detail == "J1"} == {"2"}
    both = book.entries(1, EntryFilter(file=file.number, tag="P-1", kind=Kind.JOB_RECORDED, person="Ana Wick"))
    assert [line.detail for line in both.lines] == ["J2", "J1"]


def test_a_line_says_who_with_what_under_which_limits_and_what_became_of_it(book: Reader) -> None:
    new, old = book.entries(1, EntryFilter(ref="J2")).lines
    assert (old.kind, new.kind) == (Kind.JOB_RECORDED, Kind.JOB_AMENDED)
    assert (old.superseded_by, new.supersedes) == (new.number, old.number)
    assert (new.why, new.author, new.people, new.instrument) == (WHY, "Bo Tarn", ("Ana Wick", "Bo Tarn"), "D-1")
    assert new.limit_set == "starter 1"
    assert (new.file, new.row) == ("", "")
    assert old.done_at == datetime(2025, 3, 4, 9, 30, tzinfo=UTC)
    assert (old.file, old.row) == ("jobs.csv", "3")
    assert [line.void for line in book.entries(1, EntryFilter(ref="J3")).lines] == [True, False]


def test_another_site_sees_nothing(book: Reader) -> None:
    assert book.entries(2, EntryFilter()).lines == ()
    assert book.entry(2, 1) is None
    assert book.entry(1, 10_000) is None


def test_each_entry_tells_what_it_says(book: Reader, engine: sa.Engine, site: Site) -> None:
    vouch(engine, site)
    kinds: dict[Kind, type] = {
        Kind.SITE_SET: Site, Kind.ASSET_ADDED: Asset, Kind.BREAK_RECORDED: MachineBreak, Kind.PERSON_ADDED: Person,
        Kind.INSTRUMENT_ADDED: Instrument, Kind.INSTRUMENT_CHANGED: Instrument, Kind.LIMITS_ADOPTED: LimitSet,
        Kind.JOB_RECORDED: JobLine, Kind.JOB_AMENDED: JobLine, Kind.FILE_IMPORTED: ImportedFile,
        Kind.SIGNED_OFF: Signoff, Kind.ACCOUNT_ADDED: Account, Kind.KEY_SET: KeySet,
    }  # fmt: skip
    seen = set()
    for number in numbers(book, most=1000):
        story = book.entry(site.site_id, number)
        assert story.line.number == number
        assert isinstance(story.now, kinds[story.line.kind])
        assert (story.before is not None) == (story.line.kind in {Kind.JOB_AMENDED, Kind.INSTRUMENT_CHANGED})
        seen.add(story.line.kind)
    assert seen == set(kinds)


def test_an_amendment_stands_beside_what_it_replaces(book: Reader) -> None:
    new, old = (book.entry(1, line.number) for line in book.entries(1, EntryFilter(ref="J2")).lines)
    assert (old.now.job.left.offset_v, new.now.job.left.offset_v) == (0.02, 0.021)
    assert new.before.job == old.now.job
    assert (
        [one.entry for one in old.versions] == [one.entry for one in new.versions] == [old.line.number, new.line.number]
    )
    assert new.judged_by.limit_set.name == "starter"
    assert (new.judged_by.author, new.judged_by.entry) == ("tester", 2)


def test_a_new_calibration_stands_beside_the_one_before(book: Reader) -> None:
    changed = book.entries(1, EntryFilter(kind=Kind.INSTRUMENT_CHANGED)).lines[0]
    story = book.entry(1, changed.number)
    assert (str(story.before.due), str(story.now.due)) == ("2027-01-01", "2026-12-01")
    assert [str(one.due) for one in book.instrument_versions(1)] == ["2027-01-01", "2026-12-01"]


def test_a_file_tells_its_digest_its_rows_and_how_it_was_read(book: Reader, tmp_path: Path) -> None:
    import hashlib

    line = next(x for x in book.entries(1, EntryFilter(kind=Kind.FILE_IMPORTED), most=9).lines if x.name == "jobs.csv")
    file = book.entry(1, line.number).now
    assert file.sha256 == hashlib.sha256((tmp_path / "jobs.csv").read_bytes()).hexdigest()
    assert (file.rows_read, file.rows_taken, file.rows_refused) == (3, 3, 0)
    assert line.detail == "3"
    columns = file.mapping[""]["columns"]
    assert [column[0] for column in columns] == FILES["jobs"].splitlines()[0].split(",")


def test_people_and_limit_sets_are_told(book: Reader, site: Site) -> None:
    assert [(one.name, one.qualification) for one in book.people(1)] == [("Ana Wick", "millwright"), ("Bo Tarn", "")]
    only = book.limit_sets(site.site_id)[0]
    assert (only.limit_set.name, only.limit_set.adopted_by, only.author) == ("starter", "tester", "tester")
    assert only.limit_set.starter
    assert only.limit_set == book.limit_set(site.site_id)


def test_reading_changes_nothing(book: Reader, engine: sa.Engine) -> None:
    before = contents(engine)
    numbers(book, EntryFilter(person="Bo Tarn", tag="P-1", instrument="D-1", kind=Kind.JOB_AMENDED))
    assert contents(engine) == before
