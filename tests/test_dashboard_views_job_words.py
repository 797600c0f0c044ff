"""Codes of a job in words: differences, checks, limit sets, sources."""

from dataclasses import replace
from datetime import UTC, datetime

from dashboard.views.job_words import checks_text, limit_set_text, source_text, told, told_jobs
from models.units import Display
from models.values.differences import TEXTS, Difference
from models.values.draft import WorkCheck
from models.values.job import COMPONENTS, Job, Misalignment
from models.values.kinds import Reason

JOB = Job("J1", "P-1", datetime(2026, 10, 1, 9, tzinfo=UTC), "Europe/Lisbon", Reason.PLANNED, left=Misalignment())


def test_every_field_that_can_differ_has_a_name() -> None:
    keys = [
        "performed_at", *TEXTS, *(f"{stage}.{part}" for stage in ("found", "left", "target") for part in COMPONENTS),
        "soft_before.1L", "soft_after.2R", "moves_v.1L", "moves_h.3R", "temp_stationary_c", "temp_movable_c", "temp_ambient_c", "hours_run",
    ]  # fmt: skip
    coded = {"reason": "planned", "method": "laser"}
    names = [one.field for one in told(Difference(key, coded.get(key, "a"), coded.get(key, "b")) for key in keys)]
    assert len(set(names)) == len(keys)
    assert "as-found, vertical offset" in names
    assert "soft foot after the work, foot 2R" in names


def test_checks_of_the_list_have_words_and_others_stand_as_written() -> None:
    assert checks_text([WorkCheck.GUARDS, "shaft earthing seen to"]) == "Guards back on; shaft earthing seen to"
    assert all(checks_text([check]) for check in WorkCheck)


def test_a_limit_set_is_named_with_its_version_in_either_form() -> None:
    assert limit_set_text("starter, version 1") == limit_set_text("starter 1") == "starter, version 1"
    assert limit_set_text("") == ""
    assert limit_set_text("works rule") == "works rule"


def test_a_source_is_file_and_row_or_nothing() -> None:
    assert source_text("jobs.csv, row 7") == "jobs.csv, row 7"
    assert source_text("") == ""


def test_what_an_amendment_changes_holds_the_readings_and_not_the_rounding_of_arithmetic() -> None:
    typed = {
        "left method": "rim and face",
        "left dial.1.right": "0.01 mm",
        "left dial.1.bottom": "0,02 mm",
        "left dial.2.side": "front of the hub",
    }
    old = replace(JOB, left=Misalignment(0.009999999999999998), typed=typed)
    new = replace(
        JOB,
        left=Misalignment(0.009999999999999997, 0.0, 0.01),
        typed=typed | {"left dial.1.right": "0.03 mm", "left dial.1.bottom": "0.020 mm"},
    )
    assert [(one.field, one.old, one.new) for one in told_jobs(old, new, Display())] == [
        ("as-left, horizontal offset", "0.000 mm", "+0.010 mm"), ("as left, dial 1, 3 o'clock", "0.01 mm", "0.03 mm")
    ]  # fmt: skip
    other = replace(new, typed={"left method": "two faces", "left dial.1.right": "1 mm"})
    assert [one.old for one in told_jobs(old, other, Display())][1:] == ["rim and face"], (
        "of another method each reading is another thing"
    )
