"""What is proposed for a plant's own headings and words, and what is left to the person."""

from __future__ import annotations

import pytest

from models.intake.fields import FIELDS, Table
from models.intake.headings import field_for, take_apart
from models.intake.words import propose_word

_FIELDS = {(field.table, field.key): field for field in FIELDS}


@pytest.mark.parametrize(
    ("heading", "key", "unit"),
    [
        ("As found offset H", "found_offset_h", ""),
        ("AF Angle H", "found_angle_h", ""),
        ("af angle h", "found_angle_h", ""),
        ("As found offset (H)", "found_offset_h", ""),
        ("As left angle [H] (mm/m)", "left_angle_h", "mm/m"),
        ("As found offset H mm", "found_offset_h", "mm"),
        ("As found offset V", "found_offset_v", ""),
        ("hours run [h]", "hours_run", "h"),
        ("Running hours h", "hours_run", "h"),
        ("Hour meter (H)", "hours_run", "H"),
        ("run hours hrs", "hours_run", "hrs"),
    ],
)
def test_an_h_is_horizontal_unless_the_heading_speaks_of_hours(heading: str, key: str, unit: str) -> None:
    apart = take_apart(heading)
    field = field_for(apart, Table.JOBS)
    assert field is not None
    assert (field.key, apart.unit) == (key, unit)


@pytest.mark.parametrize(
    ("word", "meaning"),
    [
        ("PM", "planned"), ("PM yearly", "planned"), ("Planned check", "planned"), ("High vibration", "condition"),
        ("vib high", "condition"), ("after repair", "repair"), ("Repairs", "repair"), ("new", "installation"),
        ("first", "installation"), ("bearing change DE", "repair"), ("planned shutdown", "planned"),
    ],
)  # fmt: skip
def test_words_that_are_understood(word: str, meaning: str) -> None:
    assert propose_word(word, _FIELDS[Table.JOBS, "reason"]) == meaning


@pytest.mark.parametrize(
    "word",
    ["unplanned", "unscheduled", "Not planned", "non-planned", "explanation asked", "new bearings", "emergency shutdown",
     "vibration after repair", "first look", "renewed"],
)  # fmt: skip
def test_nothing_is_proposed_where_a_word_only_stands_in_another_or_is_denied(word: str) -> None:
    assert propose_word(word, _FIELDS[Table.JOBS, "reason"]) == ""
