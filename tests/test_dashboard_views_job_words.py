"""Codes of a job in words: differences, checks, limit sets, sources."""

from dashboard.views.job_words import checks_text, limit_set_text, source_text, told
from models.values.differences import TEXTS, Difference
from models.values.draft import WorkCheck
from models.values.job import COMPONENTS


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
