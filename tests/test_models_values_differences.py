"""Two versions of a job side by side."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from models.units import Display
from models.values.differences import Difference, differences
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Reason

OLD = Job(
    "J1", "P-1", datetime(2026, 10, 1, 9, tzinfo=UTC), "Europe/Lisbon", Reason.PLANNED,
    people=("Ana Wick",), found=Misalignment(0.12, 0.3, -0.05, 0.2), left=Misalignment(), hours_run=100.0,
)  # fmt: skip
MM, MIL = Display("mm"), Display("mil", "°F")


def test_the_same_job_has_none() -> None:
    assert differences(OLD, replace(OLD, typed={"found_offset_v": "0,12 mm"}), MM) == ()


def test_each_field_is_told_in_the_units_of_the_site() -> None:
    new = replace(
        OLD, people=("Ana Wick", "Bo Tarn"), found=Misalignment(-0.12, 0.3, -0.05, 0.2), notes="sign", temp_ambient_c=20.0,
        performed_at=datetime(2026, 10, 2, 9, tzinfo=UTC), soft_after=FeetValues((0.0254, None, 0.1)),
    )  # fmt: skip
    assert differences(OLD, new, MIL) == (
        Difference("performed_at", "2026-10-01 10:00 Europe/Lisbon", "2026-10-02 10:00 Europe/Lisbon"),
        Difference("people", "Ana Wick", "Ana Wick; Bo Tarn"),
        Difference("notes", "–", "sign"),
        Difference("found.offset_v", "+4.7 mil", "−4.7 mil"),
        Difference("soft_after.1L", "–", "+1.0 mil"),
        Difference("soft_after.2L", "–", "+3.9 mil"),
        Difference("temp_ambient_c", "–", "68 °F"),
    )


def test_a_stage_that_comes_or_goes_is_told_number_by_number() -> None:
    told = differences(OLD, replace(OLD, left=None), MM)
    assert [(d.key, d.old, d.new) for d in told][:2] == [
        ("left.offset_v", "0.000 mm", "–"), ("left.angle_v", "0.00 mm/m", "–")
    ]  # fmt: skip
    assert len(told) == 4


def test_the_rounding_of_the_arithmetic_is_no_change() -> None:
    one, other = (
        replace(OLD, left=Misalignment(x), soft_after=FeetValues((x, None)))
        for x in (0.009999999999999998, 0.009999999999999997)
    )
    assert differences(one, other, MM) == ()


def test_a_change_below_what_is_shown_is_shown_all_the_same() -> None:
    (told,) = differences(OLD, replace(OLD, found=Misalignment(0.1201, 0.3, -0.05, 0.2)), MM)
    assert (told.old, told.new) == ("0.12 mm", "0.1201 mm")
