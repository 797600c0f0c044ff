"""A machine that is renamed, or was recorded twice, keeps its whole history under either tag."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.console.changing import merged_lines
from models.commands.change_asset import merge_assets, rename_asset
from models.commands.record_job import DoubtfulJobError, record_job
from models.errors import ConflictError, InvalidValueError, UnknownNameError
from models.maths.plausible import Doubt
from models.store.reader import Reader
from models.values.entry import EntryFilter
from models.values.kinds import Kind
from models.values.merging import kept_of, merged_reason
from models.values.story import Site
from tests.conftest import NOW
from tests.seeded import ASSETS, BREAKS, JOBS, bring_in, contents, seed, write
from tests.test_commands_record_job import JOB


def test_a_renamed_machine_is_found_by_both_tags(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    book = Reader(engine)
    before = book.story(1, "P-1")
    entry = rename_asset(engine, site, "P-1", "P-101", by="desk", now=NOW, why="new tags for the whole plant")
    new, old = book.story(1, "P-101"), book.story(1, "P-1")
    assert before is not None
    assert new is not None
    assert new == old
    assert new.asset.tag == "P-101"
    assert new.versions[-1].entry == entry
    assert [line.entry for line in new.jobs] == [line.entry for line in before.jobs]
    assert {line.job.tag for line in new.jobs} == {"P-101"}
    assert "P-101" in [str(tag) for tag in book.history(1).assets.tag]
    by_new, by_old = (book.entries(1, EntryFilter(tag=tag)) for tag in ("P-101", "P-1"))
    assert [line.number for line in by_new.lines] == [line.number for line in by_old.lines]
    assert {line.name for line in by_new.lines} == {"P-101"}
    assert by_new.lines[0].why == "new tags for the whole plant"


def test_sheets_with_the_old_or_the_new_tag_go_to_the_same_machine(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    rename_asset(engine, site, "P-1", "P-101", by="desk", now=NOW, why="new tags")
    before = contents(engine)
    assert not bring_in(engine, site, *write(tmp_path, again=ASSETS), *write(tmp_path, jobs=JOBS)).written
    assert contents(engine) == before
    head = JOBS.splitlines()[0]
    later = f"{head}\nJ8,P-1,2026-03-04 09:30,planned,Ana Wick,D-1,0.05,0,0,0,0.01,0.1,0,0,,,,,\nJ9,P-101,2026-06-04 09:30,planned,Ana Wick,D-1,0.05,0,0,0,0.01,0.1,0,0,,,,,\n"
    report = bring_in(engine, site, *write(tmp_path, later=later))
    assert report.written, report.problems
    story = Reader(engine).story(1, "P-101")
    assert story is not None
    assert {"J1", "J2", "J8", "J9"} == {line.job.ref for line in story.jobs}
    wears = f"{BREAKS}P-1,2026-01-10,coupling,worn\nP-101,2026-02-10,coupling,worn\n"
    assert bring_in(engine, site, *write(tmp_path, wears=wears)).written
    story = Reader(engine).story(1, "P-101")
    assert story is not None
    assert len(story.breaks) == 2


@pytest.mark.parametrize(
    ("tag", "new", "why", "error"),
    [
        ("P-1", "P-2", "x", ConflictError),
        ("P-1", "P-1", "x", ConflictError),
        ("P-1", " ", "x", InvalidValueError),
        ("P-1", "P-9", "  ", InvalidValueError),
        ("P-7", "P-9", "x", UnknownNameError),
    ],
)
def test_a_tag_that_cannot_be_given_is_refused(
    engine: sa.Engine, site: Site, tmp_path: Path, tag: str, new: str, why: str, error: type[Exception]
) -> None:
    seed(engine, site, tmp_path)
    before = contents(engine)
    with pytest.raises(error):
        rename_asset(engine, site, tag, new, by="desk", now=NOW, why=why)
    assert contents(engine) == before


def test_two_records_of_one_machine_become_one_history(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    assert bring_in(engine, site, *write(tmp_path, wears=f"{BREAKS}P-1,2025-01-10,base,cracked\n")).written
    book = Reader(engine)
    first, second = book.story(1, "P-1"), book.story(1, "P-2")
    assert first is not None
    assert second is not None
    jobs_before = len(book.history(1).jobs.entry)
    done = merge_assets(engine, site, "P-2", "P-1", by="desk", now=NOW, why="the same pump in two lists")
    assert (len(done.moved), done.breaks, done.doubled, done.unsure) == (1, 1, (), ())
    kept, given_up = book.story(1, "P-1"), book.story(1, "P-2")
    assert kept is not None
    assert given_up is not None
    assert {line.job.ref for line in kept.standing} == {"J1", "J2", "J3"}
    moved = next(line for line in kept.standing if line.job.ref == "J3")
    old = second.jobs[0]
    assert moved.supersedes == old.entry
    assert "the same pump in two lists" in moved.why_amended
    # The old version is readable from both sides, and counts in neither.
    assert next(line for line in kept.jobs if line.entry == old.entry).superseded_by == moved.entry
    assert [(line.entry, line.superseded_by) for line in given_up.jobs] == [(old.entry, moved.entry)]
    assert [str(one.part) for one in kept.breaks] == ["base", "coupling"], "another part of the very day is another one"
    # Judged as the kept machine was on that day: its coupling has another limit.
    assert moved.limits == next(line for line in kept.jobs if line.job.ref == "J1").limits
    history = Reader(engine).history(1)
    assert len(history.jobs.entry) == jobs_before
    assert given_up.asset.retired == NOW.date()
    assert book.history(1).head == history.head
    shown = book.entry(1, moved.entry)
    assert shown is not None
    assert [line.entry for line in shown.versions] == [old.entry, moved.entry]
    assert shown.line.kind is Kind.JOB_AMENDED
    with pytest.raises(ConflictError, match="was merged into P-1 already, and nothing was recorded under it since"):
        merge_assets(engine, site, "P-2", "P-1", by="desk", now=NOW, why="again")
    with pytest.raises(ConflictError, match="one record"):
        merge_assets(engine, site, "P-1", "P-1", by="desk", now=NOW, why="again")


def test_a_job_that_both_records_hold_counts_once_after_a_merge(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    head, _, twin, *_ = JOBS.splitlines()
    rest = twin.removeprefix("J2,P-1,")
    lines = [
        f"K1,P-2,{rest}read from the old list",
        f"K2,P-2,{rest.replace('0.12,0.3,-0.05,0.2', '0.085,0,0,0').replace('2025-03-04 09:30', '2024-03-04 09:30')}",
        f"K3,P-2,{rest.replace('09:30', '11:00')}",
    ]
    assert bring_in(engine, site, *write(tmp_path, jobs="\n".join([head, *lines, ""]))).written
    done = merge_assets(engine, site, "P-2", "P-1", by="desk", now=NOW, why="one pump, two lists")
    story = Reader(engine).story(1, "P-1")
    assert story is not None
    assert {line.job.ref for line in story.standing} == {"J1", "J2", "J3", "K2", "K3"}, "J2 and K1 are one visit"
    (one,) = done.doubled
    assert (one.job.job.ref, one.job.void, one.there.job.ref, one.differs) == ("K1", True, "J2", ("notes",))
    void = next(line for line in story.jobs if line.entry == one.job.entry)
    assert void.void
    assert void.why_amended.endswith(f"one pump, two lists; this job doubles job J2 (entry {one.there.entry})")
    assert void.limits == one.there.limits, "judged as the kept machine was: so it counts if it is taken back"
    assert [(two.job.job.ref, two.there.job.ref, two.same_moment) for two in done.unsure] == [
        ("K2", "J1", True),
        ("K3", "J2", False),
    ]
    assert len(Reader(engine).history(1).jobs) == 5
    said = " ".join(merged_lines(done, "P-2", "P-1", "UTC"))
    assert "3 jobs and 1 replacement of it" in said
    assert "1 job of P-2 stood with P-1 already" in said
    assert "it also says, or says otherwise: notes" in said
    assert f'driftbook void {done.unsure[0].job.entry} --why "…"' in said
    assert "the verdict of 1 job changed" in said, "within as a spacer, over as a short coupling"


def test_what_came_under_the_old_tag_afterwards_is_brought_over_by_merging_again(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    book = Reader(engine)
    merge_assets(engine, site, "P-2", "P-1", by="desk", now=NOW, why="the same pump in two lists")
    rename_asset(engine, site, "P-1", "P-101", by="desk", now=NOW, why="new tags")
    job = replace(JOB, tag="P-2", ref="J9", performed_at=NOW - timedelta(hours=2))
    with pytest.raises(DoubtfulJobError, match="P-2 was merged into P-101 and is out of service since") as told:
        record_job(engine, site, job, by="Ana Wick", now=NOW)
    stated = {str(check.doubt): "typed from the old list" for check in told.value.checks}
    assert Doubt.RETIRED in stated
    late = record_job(engine, site, job, by="Ana Wick", now=NOW, stated_reasons=stated)
    older = replace(job, ref="J8", performed_at=NOW - timedelta(days=90))
    with pytest.raises(DoubtfulJobError, match="Record it on P-101"):
        record_job(engine, site, older, by="Ana Wick", now=NOW)
    given_up = book.story(1, "P-2")
    assert given_up is not None
    assert (given_up.merged_into, len(given_up.standing)) == ("P-101", 1)
    versions = given_up.versions
    done = merge_assets(engine, site, "P-2", "P-101", by="desk", now=NOW + timedelta(days=3), why="the rest")
    assert (len(done.moved), done.breaks) == (1, 0)
    kept, given_up = book.story(1, "P-101"), book.story(1, "P-2")
    assert kept is not None
    assert given_up is not None
    assert not given_up.standing
    assert given_up.versions == versions, "it is out of service since it was merged, not since today"
    (moved,) = [line for line in kept.standing if line.job.ref == "J9"]
    assert (moved.supersedes, moved.why_amended) == (late.entry, "P-2 and P-101 are one machine: the rest")
    assert Reader(engine).history(1).jobs.entry.tolist() == book.history(1).jobs.entry.tolist()


def test_a_record_that_was_given_up_is_merged_with_no_other_and_nothing_into_it(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    more = "tag,description,running speed [rpm],retired\nP-3,other pump,1480,\nP-4,gone pump,1480,2026-01-02\n"
    assert bring_in(engine, site, *write(tmp_path, more=more)).written
    merge_assets(engine, site, "P-2", "P-1", by="desk", now=NOW, why="the same pump in two lists")
    before = contents(engine)
    for double, kept, said in (
        ("P-2", "P-3", "P-2 was merged into P-1"),
        ("P-1", "P-2", "P-2 was merged into P-1"),
        ("P-3", "P-2", "P-2 was merged into P-1"),
        ("P-4", "P-1", "P-4 is out of service since 2026-01-02"),
        ("P-1", "P-4", "P-4 is out of service since 2026-01-02"),
    ):
        with pytest.raises(ConflictError, match=said) as told:
            merge_assets(engine, site, double, kept, by="desk", now=NOW, why="x")
        assert told.value.remedy
    assert contents(engine) == before
    gone = Reader(engine).story(1, "P-4")
    assert gone is not None
    assert gone.merged_into == ""


@pytest.mark.parametrize(
    ("reason", "double", "kept"),
    [
        (merged_reason("P-1 OLD", "P-1", "x"), "P-1 OLD", "P-1"),
        (merged_reason("A and B", "C and D", "A and B are one machine: x"), "A and B", "C and D"),
        (merged_reason("A", "B", "x"), "B", ""),
        ("taken out of service", "P-1", ""),
        ("P-1 and P-2 were scrapped", "P-1", ""),
        ("", "P-1", ""),
    ],
)
def test_the_reason_of_a_merge_names_the_machine_that_was_kept(reason: str, double: str, kept: str) -> None:
    assert kept_of(reason, double) == kept
