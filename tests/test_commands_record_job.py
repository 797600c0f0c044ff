"""Recording a job: one transaction, one entry, judged by the limits of its day; refused with what to do."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from models.commands.init_book import say_limit_set
from models.commands.record_job import DoubtfulJobError, record_job, ref_for
from models.errors import ConflictError, DriftbookError, UnknownNameError
from models.maths.plausible import Doubt
from models.store.reader import Reader
from models.store.unit import writing
from models.values.draft import WorkCheck, stated_reasons
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Method, Reason
from models.values.limits import Judged, LimitRow, LimitSet
from models.values.story import JobLine, Site
from tests.conftest import NOW
from tests.seeded import bring_in, contents, seed, write

JOB = Job(
    "T-1", "P-1", datetime(2026, 10, 1, 9, 30, tzinfo=UTC), "Europe/Lisbon", Reason.PLANNED,
    people=("Ana Wick", "Cato Ryn"), instrument="D-7", method=Method.REVERSE_INDICATOR, work_order="W-88",
    found=Misalignment(0.05, 0.3, -0.05, 0.2), left=Misalignment(0.02, 0.1, 0.01, -0.05),
    target=Misalignment(-0.01, 0.0, 0.0, 0.0), soft_before=FeetValues((0.02, 0.01, 0.09, 0.01)),
    moves_v=FeetValues((-0.1, -0.1, -0.2, -0.2)), temp_movable_c=31.5, hours_run=8000.0,
    checks=(WorkCheck.LEFT_WHEN_TIGHT, WorkCheck.GUARDS), notes="windy", typed={"found_offset_v": "50 µm"},
)  # fmt: skip


@pytest.fixture
def book(engine: sa.Engine, site: Site, tmp_path: Path) -> sa.Engine:
    seed(engine, site, tmp_path)
    return engine


def record(book: sa.Engine, site: Site, job: Job, **more: Any) -> JobLine:
    return record_job(book, site, job, by="Ana Wick", now=NOW, **more)


def lines(book: sa.Engine, site: Site, tag: str = "P-1") -> tuple[JobLine, ...]:
    story = Reader(book).story(site.site_id, tag)
    assert story is not None
    return story.jobs


def refused(book: sa.Engine, site: Site, job: Job, **more: Any) -> DriftbookError:
    before = contents(book)
    with pytest.raises(DriftbookError) as caught:
        record(book, site, job, **more)
    assert contents(book) == before, "a refused job leaves nothing behind"
    return caught.value


def test_a_job_is_one_entry_and_unknown_names_have_their_own(book: sa.Engine, site: Site) -> None:
    head = Reader(book).head()
    line = record(book, site, JOB)
    with book.connect() as connection:
        kinds = connection.exec_driver_sql(
            f"SELECT number, kind, author FROM entry WHERE number > {head} ORDER BY number"
        )
        assert [tuple(row) for row in kinds] == [
            (head + 1, "person added", "Ana Wick"),
            (head + 2, "instrument added", "Ana Wick"),
            (head + 3, "job recorded", "Ana Wick"),
        ]
    assert (line.entry, line.job_id) == (head + 3, head + 3)
    head = Reader(book).head()
    again = record(book, site, replace(JOB, ref="T-2", performed_at=JOB.performed_at + timedelta(days=1)))
    assert again.entry == head + 1, "the second time everybody is known"


def test_what_comes_out_of_the_book_is_what_went_in(book: sa.Engine, site: Site) -> None:
    line = record(book, site, JOB)
    stored = next(x for x in lines(book, site) if x.entry == line.entry)
    assert stored == line
    assert stored.job == JOB
    assert stored.author == "Ana Wick"
    assert stored.recorded_at == NOW
    assert stored.limit_set == "starter, version 1"
    assert stored.left_ratio == pytest.approx(
        max(((0.03**2 + 0.01**2) ** 0.5) / (120 / 1485), (0.1**2 + 0.05**2) ** 0.5 / (1000 / 1485))
    )


def test_it_is_judged_by_the_limits_of_its_day_and_the_machine_as_it_was(
    book: sa.Engine, site: Site, tmp_path: Path
) -> None:
    faster = "tag,description,coupling,running speed [rpm],valid from\nP-1,cooling water pump,short flexible,2970,2026-10-10\n"
    assert bring_in(book, site, *write(tmp_path, faster=faster)).written
    first = LimitSet("first", "invented", "tester", date(2026, 9, 1), (LimitRow(Judged.OFFSET, per_rpm=100.0),))
    tighter = LimitSet("own", "invented", "tester", date(2026, 10, 20), (LimitRow(Judged.OFFSET, value=0.02),))
    with writing(book, site.site_id, "tester", NOW) as unit:
        say_limit_set(unit, site.site_id, first)
        say_limit_set(unit, site.site_id, tighter)

    def on(day: int) -> JobLine:
        moment = datetime(2026, 10, day, 9, tzinfo=UTC)
        reasons = {str(doubt): "late entry" for doubt in (Doubt.LEFT_OVER, Doubt.EARLIER, Doubt.HOURS)}
        return record(book, site, replace(JOB, ref=f"D{day}", performed_at=moment), stated_reasons=reasons)

    assert on(5).limits.offset_mm == pytest.approx(100 / 1485)
    assert on(15).limits.offset_mm == pytest.approx(100 / 2970)
    assert on(25).limits.offset_mm == 0.02
    assert on(25 + 1).limit_set == "own, version 1"


def test_typing_and_importing_the_same_job_judge_it_alike(book: sa.Engine, site: Site, tmp_path: Path) -> None:
    typed = record(book, site, replace(JOB, target=Misalignment(), instrument="D-1"))
    sheet = (
        "job,tag,performed at,reason,found offset V [mm],found angle V [mm/m],found offset H [mm],found angle H [mm/m],"
        "left offset V [mm],left angle V [mm/m],left offset H [mm],left angle H [mm/m]\n"
        "S-1,P-1,2026-10-02 09:30,planned,0.05,0.3,-0.05,0.2,0.02,0.1,0.01,-0.05\n"
    )
    assert bring_in(book, site, *write(tmp_path, sheet=sheet)).written
    imported = next(x for x in lines(book, site) if x.job.ref == "S-1")
    assert (imported.limits, imported.found_ratio, imported.left_ratio) == (
        typed.limits,
        typed.found_ratio,
        typed.left_ratio,
    )


def test_a_job_without_a_number_is_named_by_machine_and_time_as_an_imported_one(
    book: sa.Engine, site: Site, tmp_path: Path
) -> None:
    sheet = "tag,performed at,reason,left offset V [mm],left angle V [mm/m],left offset H [mm],left angle H [mm/m]\n"
    assert bring_in(book, site, *write(tmp_path, sheet=sheet + "P-1,2026-07-02 09:30,repair,0,0,0,0\n")).written
    imported = max(lines(book, site), key=lambda line: line.entry).job
    assert ref_for("P-1", imported.performed_at, site.zone) == imported.ref == "P-1 2026-07-02 09:30"


def test_an_unknown_machine_is_refused(book: sa.Engine, site: Site) -> None:
    fault = refused(book, site, replace(JOB, tag="P-77"))
    assert isinstance(fault, UnknownNameError)
    assert fault.message == "The site Test Quay has no machine 'P-77'."
    assert "assets.csv" in fault.remedy


def test_a_number_that_is_taken_is_refused_and_a_second_save_is_told_from_a_clash(book: sa.Engine, site: Site) -> None:
    line = record(book, site, JOB)
    same = refused(book, site, JOB)
    assert isinstance(same, ConflictError)
    assert same.message == f"Job 'T-1' is in the book already, with the same content, as entry {line.entry}."
    other = refused(book, site, replace(JOB, tag="P-2"))
    assert "is taken by entry" in other.message
    assert "amendment" in other.remedy


def test_a_time_in_the_future_stops_whatever_is_stated(book: sa.Engine, site: Site) -> None:
    late = replace(JOB, performed_at=NOW + timedelta(minutes=1))
    fault = refused(book, site, late, stated_reasons={"in the future": "clock is wrong"})
    assert "has not come yet" in fault.message
    assert fault.remedy == "Correct what is wrong."


def test_what_needs_a_reason_is_refused_without_one_and_keeps_it_with_one(book: sa.Engine, site: Site) -> None:
    over = replace(JOB, left=Misalignment(0.2, 0.1, 0.01, -0.05))
    fault = refused(book, site, over)
    assert isinstance(fault, DoubtfulJobError)
    assert [check.doubt for check in fault.checks] == [Doubt.LEFT_OVER]
    assert "What is left is over limit, at 2.6 times the limit." in fault.message
    assert "state a reason for 'as-left over limit'" in fault.remedy
    assert refused(book, site, over, stated_reasons={"as-left over limit": "  "}), "a blank is no reason"
    line = record(book, site, over, stated_reasons={"as-left over limit": "no shims left,  again on Monday"})
    stored = next(x for x in lines(book, site) if x.entry == line.entry)
    assert stated_reasons(stored.job.typed) == {"as-left over limit": "no shims left, again on Monday"}
    assert stored.job.typed["found_offset_v"] == "50 µm"
    assert stored.left_ratio is not None
    assert stored.left_ratio > 1


def test_a_calibration_that_ran_out_names_the_instrument(book: sa.Engine, site: Site, tmp_path: Path) -> None:
    old = "serial,description,calibrated,calibration due\nD-2,old dial set,2024-01-01,2025-01-01\n"
    assert bring_in(book, site, *write(tmp_path, old=old)).written
    fault = refused(book, site, replace(JOB, instrument="D-2"))
    assert "instrument D-2 (old dial set) ran out on 2025-01-01" in fault.message
    record(book, site, replace(JOB, instrument="D-2"), stated_reasons={"calibration overdue": "the only set there was"})


def test_the_question_about_the_bolts_can_be_answered(book: sa.Engine, site: Site) -> None:
    unasked = replace(JOB, checks=())
    assert "before the last bolt was tight" in refused(book, site, unasked, bolts_tight=False).message
    record(book, site, unasked)


def test_swapped_signs_against_the_last_as_left_are_asked_about(book: sa.Engine, site: Site) -> None:
    record(book, site, replace(JOB, left=Misalignment(0.03, 0.3, -0.04, 0.2)))
    flipped = replace(
        JOB, ref="T-2", performed_at=NOW - timedelta(days=1), found=Misalignment(-0.03, -0.3, 0.04, -0.2), left=None
    )  # fmt: skip
    assert "all signs are the other way round" in refused(book, site, flipped).message
    record(book, site, flipped, stated_reasons={"signs swapped": "read twice, it is so"})


def test_the_history_sees_the_job(book: sa.Engine, site: Site) -> None:
    reader = Reader(book)
    before = len(reader.history(site.site_id).jobs.entry)
    line = record(book, site, JOB)
    jobs = reader.history(site.site_id).jobs
    assert len(jobs.entry) == before + 1
    assert line.entry in jobs.entry


def test_instruments_people_and_moves_are_held_against_what_the_book_knows(book: sa.Engine, site: Site) -> None:
    doubted = replace(
        JOB, instrument="d-1", people=("Ana Wick, Bo Tarn",), left=JOB.found, moves_v=FeetValues((8.0, 8.0, 15.0, 15.0))
    )
    fault = refused(book, site, doubted)
    assert isinstance(fault, DoubtfulJobError)
    asked = {check.doubt for check in fault.checks}
    assert asked == {Doubt.ALIKE_INSTRUMENT, Doubt.SEVERAL_PEOPLE, Doubt.MOVE, Doubt.MOVED_NOTHING}
    line = record(book, site, doubted, stated_reasons={str(doubt): "so it was" for doubt in asked})
    assert stated_reasons(line.job.typed) == {str(doubt): "so it was" for doubt in asked}
    later = replace(doubted, ref="T-2", performed_at=JOB.performed_at + timedelta(days=1), moves_v=FeetValues())
    assert record(book, site, later).job.instrument == "d-1", "what was said to be another one is known now"


def test_a_turned_sign_of_the_shims_is_refused_without_a_reason(book: sa.Engine, site: Site) -> None:
    at_limit = replace(JOB, found=Misalignment(0.11, 0.3, -0.05, 0.2), moves_v=FeetValues((0.13, 0.13, 0.21, 0.21)))
    fault = refused(book, site, at_limit)
    assert "row 2 of the movable machine went +0.210 mm" in fault.message
    assert "'moves against the change'" in fault.remedy
    assert (
        record(book, site, replace(at_limit, moves_v=FeetValues((-0.13, -0.13, -0.21, -0.21)))).left_ratio is not None
    )
