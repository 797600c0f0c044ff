"""Amending and voiding: a new version supersedes the old one, and both stay readable."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from dashboard.views.asset_choices import judged_again
from dashboard.views.job_words import told_versions
from models.commands.amend_job import amend_job, take_back_job, void_job
from models.commands.record_job import record_job
from models.errors import ConflictError, DriftbookError, InvalidValueError, UnknownNameError
from models.history.whatif import judge_again
from models.store.reader import Reader
from models.store.verify import verify_book
from models.values.differences import differences
from models.values.draft import stated_reasons
from models.values.job import Job, Misalignment
from models.values.story import JobLine, Site
from tests.conftest import NOW
from tests.seeded import bring_in, contents, seed, write
from tests.test_commands_record_job import JOB

SLOWER = "tag,coupling,running speed [rpm],valid from\nP-1,short flexible,600,2020-01-01\n"
LATER = NOW + timedelta(hours=1)
BETTER = replace(JOB, found=Misalignment(-0.05, 0.3, -0.05, 0.2), people=("Dara Holm",))


@pytest.fixture
def book(engine: sa.Engine, site: Site, tmp_path: Path) -> sa.Engine:
    seed(engine, site, tmp_path)
    return engine


@pytest.fixture
def old(book: sa.Engine, site: Site) -> JobLine:
    return record_job(book, site, JOB, by="Ana Wick", now=NOW)


def amend(book: sa.Engine, site: Site, entry: int, job: Job, why: str = "sign was wrong", **more: Any) -> JobLine:
    return amend_job(book, site, entry, job, by="Bo Tarn", now=LATER, why=why, **more)


def lines(book: sa.Engine, site: Site) -> dict[int, JobLine]:
    story = Reader(book).story(site.site_id, "P-1")
    assert story is not None
    return {line.entry: line for line in story.jobs}


def refused(book: sa.Engine, site: Site, entry: int, job: Job, **more: Any) -> DriftbookError:
    before = contents(book)
    with pytest.raises(DriftbookError) as caught:
        amend(book, site, entry, job, **more)
    assert contents(book) == before
    return caught.value


def test_both_versions_stay_readable_with_who_and_why(book: sa.Engine, site: Site, old: JobLine) -> None:
    new = amend(book, site, old.entry, BETTER)
    story = lines(book, site)
    assert story[old.entry] == replace(old, superseded_by=new.entry), "the old version is as it was"
    assert story[new.entry] == new
    assert (new.job_id, new.supersedes, new.author, new.why_amended) == (
        old.job_id,
        old.entry,
        "Bo Tarn",
        "sign was wrong",
    )
    assert new.recorded_at == LATER
    assert new.job == BETTER
    assert [(d.key, d.old, d.new) for d in differences(old.job, new.job, site.display)] == [
        ("people", "Ana Wick; Cato Ryn", "Dara Holm"), ("found.offset_v", "+0.050 mm", "−0.050 mm")
    ]  # fmt: skip


def test_only_the_newest_version_counts(book: sa.Engine, site: Site, old: JobLine) -> None:
    new = amend(book, site, old.entry, BETTER)
    reader = Reader(book)
    story = reader.story(site.site_id, "P-1")
    assert story is not None
    standing = [line.entry for line in story.standing]
    assert new.entry in standing
    assert old.entry not in standing
    entries = reader.history(site.site_id).jobs.entry
    assert new.entry in entries
    assert old.entry not in entries


def test_the_entry_says_that_it_amends_and_why(book: sa.Engine, site: Site, old: JobLine) -> None:
    new = amend(book, site, old.entry, BETTER)
    with book.connect() as connection:
        row = connection.exec_driver_sql(
            f"SELECT kind, subject, supersedes, why FROM entry WHERE number = {new.entry}"
        ).one()
    assert tuple(row) == ("job amended", old.job_id, old.entry, "sign was wrong")


def test_a_version_that_was_amended_already_is_refused_and_the_entry_named(
    book: sa.Engine, site: Site, old: JobLine
) -> None:
    new = amend(book, site, old.entry, BETTER)
    fault = refused(book, site, old.entry, replace(BETTER, notes="other"))
    assert isinstance(fault, ConflictError)
    assert fault.message == f"Entry {old.entry} was amended already, by entry {new.entry} of Bo Tarn."
    third = amend(book, site, new.entry, replace(BETTER, notes="other"))
    assert third.job_id == old.job_id
    assert set(lines(book, site)) >= {old.entry, new.entry, third.entry}


def test_an_amendment_that_changes_nothing_is_refused(book: sa.Engine, site: Site, old: JobLine) -> None:
    assert (
        "Nothing was changed"
        in refused(book, site, old.entry, replace(JOB, typed={"found_offset_v": "0.05 mm"})).message
    )


@pytest.mark.parametrize("why", ["", "  \n "])
def test_a_reason_is_needed(book: sa.Engine, site: Site, old: JobLine, why: str) -> None:
    assert refused(book, site, old.entry, BETTER, why=why).message == "An amendment needs a reason."
    with pytest.raises(InvalidValueError, match=r"Voiding a job needs a reason\."):
        void_job(book, site, old.entry, by="Bo Tarn", now=LATER, why=why)


def test_a_job_stays_with_its_machine(book: sa.Engine, site: Site, old: JobLine) -> None:
    fault = refused(book, site, old.entry, replace(BETTER, tag="P-2"))
    assert "cannot move it to P-2" in fault.message
    assert "Void it" in fault.remedy


def test_an_entry_that_is_no_job_is_refused(book: sa.Engine, site: Site, old: JobLine) -> None:
    for entry in (1, old.entry + 100):
        assert isinstance(refused(book, site, entry, BETTER), UnknownNameError)


def test_a_new_number_must_be_free_and_its_own_is(book: sa.Engine, site: Site, old: JobLine) -> None:
    assert "is taken by entry" in refused(book, site, old.entry, replace(BETTER, ref="J1")).message
    renamed = amend(book, site, old.entry, replace(BETTER, ref="T-1a"))
    back = amend(book, site, renamed.entry, replace(BETTER, ref="T-1"))
    assert back.job.ref == "T-1"


def test_what_was_doubtful_before_is_not_asked_again_but_what_is_new_is(book: sa.Engine, site: Site) -> None:
    over = replace(JOB, left=Misalignment(0.2, 0.1, 0.01, -0.05))
    reasons = {"as-left over limit": "no shims left"}
    old = record_job(book, site, over, by="Ana Wick", now=NOW, stated_reasons=reasons)
    noted = amend(book, site, old.entry, replace(over, notes="calm"))
    assert stated_reasons(noted.job.typed) == reasons, "it still holds"
    earlier = replace(over, notes="calm", performed_at=JOB.performed_at.replace(year=2025, month=3, day=4))
    assert (
        "The last job"
        not in refused(book, site, noted.entry, replace(earlier, performed_at=LATER + timedelta(1))).message
    )
    mended = amend(book, site, noted.entry, replace(JOB, notes="calm"))
    assert stated_reasons(mended.job.typed) == {}, "nothing is over limit any more"
    fault = refused(book, site, mended.entry, replace(over, notes="calm"))
    assert "over limit" in fault.message


def test_an_older_job_is_amended_without_being_asked_about_its_date(book: sa.Engine, site: Site) -> None:
    record_job(book, site, JOB, by="Ana Wick", now=NOW)
    first = next(line for line in lines(book, site).values() if line.job.ref == "J1")
    new = amend(book, site, first.entry, replace(first.job, notes="the very first"))
    assert new.job.notes == "the very first"


def test_a_void_job_counts_nowhere_and_can_be_taken_back(book: sa.Engine, site: Site, old: JobLine) -> None:
    void = void_job(book, site, old.entry, by="Bo Tarn", now=LATER, why="wrong machine")
    story = lines(book, site)
    assert story[void.entry] == void
    assert void.void
    assert void.job == JOB
    assert story[old.entry].superseded_by == void.entry
    reader = Reader(book)
    assert not {old.entry, void.entry} & set(reader.history(site.site_id).jobs.entry)
    with pytest.raises(ConflictError, match="is void already"):
        void_job(book, site, void.entry, by="Bo Tarn", now=LATER, why="again")
    with pytest.raises(ConflictError, match=f"is void, by entry {void.entry} of Bo Tarn"):
        void_job(book, site, old.entry, by="Bo Tarn", now=LATER, why="again")
    with pytest.raises(ConflictError, match="nothing to amend"):
        amend(book, site, void.entry, JOB, why="it was the right machine")
    back = take_back_job(book, site, void.entry, by="Bo Tarn", now=LATER, why="it was the right machine")
    assert not back.void
    assert back.entry in reader.history(site.site_id).jobs.entry


def test_an_imported_job_can_be_amended(book: sa.Engine, site: Site) -> None:
    line = next(line for line in lines(book, site).values() if line.job.ref == "J2")
    new = amend(book, site, line.entry, replace(line.job, hours_run=12.0))
    assert new.supersedes == line.entry
    assert lines(book, site)[line.entry].source == "jobs.csv, row 3"


def test_a_job_that_is_taken_back_counts_as_it_stood_whatever_is_known_of_its_machine_since(
    book: sa.Engine, site: Site, old: JobLine, tmp_path: Path
) -> None:
    """The speed is put right from before the job on: only a version that says something new of the machine is judged anew."""
    bring_in(book, site, *write(tmp_path, assets=SLOWER))
    gone = void_job(book, site, old.entry, by="Bo Tarn", now=LATER, why="twice")
    back = take_back_job(book, site, gone.entry, by="Bo Tarn", now=LATER, why="was right")
    for line in (gone, back):
        assert (line.limits, line.found_ratio, line.left_ratio, line.limit_set) == (
            old.limits, old.found_ratio, old.left_ratio, old.limit_set,
        )  # fmt: skip
    assert lines(book, site)[back.entry] == back
    assert back.judged_as == old.judged_as
    with book.connect() as connection:
        assert verify_book(connection).faults() == 0
    noted = amend(book, site, back.entry, replace(JOB, notes="only a note"))
    assert noted.limits != old.limits
    told = {one.field: (one.old, one.new) for one in told_versions(back, noted, site.display)}
    assert told["notes"] == ("windy", "only a note")
    assert set(told) == {"notes", "limits it is judged by", "limit ratio as-found", "limit ratio as-left"}


def test_the_page_of_a_machine_and_the_page_of_limits_judge_the_same_jobs_alike(
    book: sa.Engine, site: Site, old: JobLine, tmp_path: Path
) -> None:
    bring_in(book, site, *write(tmp_path, assets=SLOWER))
    reader = Reader(book)
    story, limit_set = reader.story(site.site_id, "P-1"), reader.limit_set(site.site_id)
    assert story is not None
    assert limit_set is not None
    again = [(line.found_ratio, line.left_ratio) for line in judged_again(story, limit_set).standing]
    jobs = reader.history(site.site_id).jobs
    mine = np.flatnonzero(np.isin(jobs.entry, [line.entry for line in story.standing]))
    there = judge_again(jobs, limit_set, mine)
    shown = zip(there.found_ratio.tolist(), there.left_ratio.tolist(), strict=True)
    assert [tuple(None if x != x else x for x in pair) for pair in shown] == again  # noqa: PLR0124 - NaN
    assert old.entry in [line.entry for line in story.standing]
