"""What is proposed for a plant's own headings and words, and what is left to the person."""

from __future__ import annotations

import pytest

from models.intake.fields import FIELDS, Table, fields_of
from models.intake.headings import field_for, in_row, meaning_of, take_apart
from models.intake.proposing import Proposed, propose_columns
from models.intake.words import propose_word
from models.units import Display

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
        ("Pump No.", "tag", ""),
        ("Equip.", "tag", ""),
        ("AF offset Horz", "found_offset_h", ""),
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


def proposed(*names: str, length: str = "mm") -> list[Proposed]:
    return propose_columns(["tag", "date", *names], Table.JOBS, Display(length))[2:]


@pytest.mark.parametrize(
    ("heading", "key", "unit"),
    [
        ("found offset V [in mils]", "found_offset_v", "mil"), ("found offset V (in mil)", "found_offset_v", "mil"),
        ("found offset V {mil}", "found_offset_v", "mil"), ("found offset V mil.", "found_offset_v", "mil"),
        ("found_offset_v_mil", "found_offset_v", "mil"), ("found_offset_v_um", "found_offset_v", "µm"),
        ("found offset mils V", "found_offset_v", "mil"), ("found angle V [mils per ft]", "found_angle_v", "mil/ft"),
        ("found angle V (mm / m)", "found_angle_v", "mm/m"), ("found angle V mm / 100 mm", "found_angle_v", "mm/100mm"),
        ("found angle V [µrad]", "found_angle_v", "µm/m"), ("found offset V (+/-) [mil]", "found_offset_v", "mil"),
        ("Vertical offset before alignment (mil)", "found_offset_v", "mil"), ("found cold offset V", "found_offset_v", "mm"),
        ("SF 1L (µm)", "soft_before_1L", "µm"), ("soft foot front left after", "soft_after_1L", "mm"),
        ("soft foot as left 2 right", "soft_after_2R", "mm"), ("soft foot before 1 left", "soft_before_1L", "mm"),
    ],
)  # fmt: skip
def test_a_heading_that_is_understood_is_not_asked_about(heading: str, key: str, unit: str) -> None:
    (column,) = proposed(heading)
    assert column.field is not None
    assert (column.field.key, column.unit, set(column.asks)) == (key, unit, set())


@pytest.mark.parametrize(
    ("heading", "asks", "said"),
    [
        ("found offset V [1/100 mm]", "times unit", "'1/100 mm'"), ("found offset V [0.01mm]", "times unit", "'0.01mm'"),
        ("found offset V [mm/100]", "times unit", "'mm/100'"), ('found offset V [0.001"]', "times unit", "0.001"),
        ("found offset V [1/1000 in]", "times unit", "'1/1000 in'"), ("found offset V [hundredths]", "times unit", "'hundredths'"),
        ("found angle V [in/ft]", "times unit", "'in/ft'"), ('found angle V ["/ft]', "times unit", "/ft"), ("found angle V [deg]", "times unit", "'deg'"),
        ("found angle V [°]", "times unit", "'°'"), ("found angle V [mm]", "times unit", "'mm'"), ("found angle V [mils]", "times unit", "'mils'"),
        ("found offset V %", "times unit", "'%'"), ("found offset V [mm] (mil)", "times unit", "'mm mil'"),
        ("found offset V TIR [mm]", "times", "total indicator"), ("found offset V [mm] hot", "field", "'hot'"),
        ("pump found offset V", "field", "'pump'"), ("found offset V (+ = down)", "field", "down"), ("found offset V (-)", "field", "'-'"),
        ("cold offset V", "field", "'cold'"), ("found offset V before left", "field", "'found before left'"),
        ("soft foot 1 left", "field", "a side or 'as left'"), ("soft foot before 3", "field", "no side"),
        ("soft foot left 1L", "field", "before or after"),
    ],
)  # fmt: skip
def test_what_a_heading_leaves_open_is_asked_with_its_words(heading: str, asks: str, said: str) -> None:
    (column,) = proposed(heading)
    assert column.asks == {*asks.split()}
    assert said in column.why


@pytest.mark.parametrize("notation", [
    "{} / {}", "{}/{}", "{} /{}", "{}/ {}", "{} {}", "{}, {}", "{}_{}", "{} - {}", "{}-{}", "{}: {}", "{} = {}", "{} | {}", "{} in {}", "{}, unit {}",
    "{} ({})", "{}[{}]", "{} {{{}}}", "{} / [{}]", "{} in [{}]", "{} (unit: {})", "{} {}.",
])  # fmt: skip
def test_a_unit_is_read_in_every_usual_notation_and_nothing_is_asked(notation: str) -> None:
    for table, name, key, unit in (
        (Table.ASSETS, "running speed", "speed", "rpm"), (Table.ASSETS, "max rpm", "speed_max", "rpm"), (Table.ASSETS, "power", "power", "kW"),
        (Table.ASSETS, "movable foot row 1", "feet_movable_1", "mm"), (Table.ASSETS, "DBSE", "span", "in"),
        (Table.JOBS, "soft foot 1L", "soft_before_1L", "mm"), (Table.JOBS, "shim 1L", "move_v_1L", "mm"), (Table.JOBS, "hours run", "hours_run", "h"),
        (Table.JOBS, "temperature ambient", "temp_ambient", "°C"), (Table.JOBS, "offset V (found)", "found_offset_v", "mm"),
        (Table.JOBS, "as found offset V", "found_offset_v", "in"), (Table.JOBS, "angle V (found)", "found_angle_v", "mm/m"),
        (Table.JOBS, "as-left / angle / H", "left_angle_h", "mil/in"), (Table.JOBS, "target angle h", "target_angle_h", "mm/100mm"),
    ):  # fmt: skip
        # In no site's own units: a unit that is not read would be mil or °F.
        (column,) = propose_columns([notation.format(name, unit)], table, Display("mil", "°F"))
        assert column.field is not None, name
        assert (column.field.key, column.unit, column.why) == (key, unit, "")


@pytest.mark.parametrize("heading", [
    "offset V 1/100 mm", "offset V 0.01mm", "offset V 0,01 mm", "offset V 10 µm", "offset V (0.001 in)", "offset V (1 in)", "offset V mm / day",
    "offset V x100", "offset V 0.01", "angle V (inch/inch)", "angle V (mm/mm)", "angle V mm / mm", "angle V in / ft", "angle V inch per inch",
    "soft foot 1L 10 µm",
])  # fmt: skip
def test_what_stands_for_a_unit_and_is_none_is_asked_as_a_unit_with_or_without_brackets(heading: str) -> None:
    (column,) = proposed(f"found {heading}")
    assert (column.unit, column.asks) == ("", {"unit", "times"})


def test_a_unit_that_is_not_known_leaves_no_unit_and_a_machines_too() -> None:
    assert proposed("found offset V [hundredths]", length="mil")[0].unit == ""
    assert propose_columns(["max rpm (r/min)"], Table.ASSETS, Display("mm"))[0].unit == "rpm"
    (speed,) = propose_columns(["speed [%]"], Table.ASSETS, Display("mm"))
    assert (speed.unit, speed.asks) == ("", {"unit", "times"})


def test_what_is_about_a_reading_is_none_and_the_clear_one_of_two_wins() -> None:
    tolerance, found = proposed("vertical offset tolerance as found", "vertical offset as found")
    assert (tolerance.field, found.asks) == (None, frozenset())
    hot, cold = proposed("found offset V hot", "found offset V")
    assert hot.field is None
    assert cold.field is not None
    first, second = proposed("found offset V [mm]", "vertical offset as found [mm]")
    assert first.asks == second.asks == {"field"}
    assert "column D" in first.why
    first, second = proposed("found offset V [mm]", "found offset V [mil]")
    assert (first.unit, first.asks, second.field) == ("mm", frozenset(), None)


def test_nothing_of_the_template_is_asked_about() -> None:
    for table in Table:
        for display in (Display("mm", "°C"), Display("mil", "°F")):
            names = [field.heading_with_unit(display) for field in fields_of(table)]
            columns = propose_columns(names, table, display)
            assert [column.field for column in columns] == list(fields_of(table))
            assert not [column.why for column in columns if column.asks]


@pytest.mark.parametrize("sign", ["[", "(", "12:", "mm ", "/", "- "])
def test_a_heading_that_is_longer_than_any_is_none_and_takes_no_time(sign: str) -> None:
    """Once: a heading of 20,000 brackets took more than a minute."""
    found = take_apart(sign * 100_000)
    assert (found.words, found.unit) == ((), "")
    assert len(found.text) <= 300


def test_a_text_without_a_letter_names_no_field_and_is_not_taken_apart() -> None:
    texts = [
        "",
        "1",
        "0.017",
        "-0.02",
        "2024-05-01",
        "2024-05-01 10:30",
        "[″]",
        '(")',
        "(°)",
        "[%]",
        "№ 4",
        "1/8",
        "#",
        "1 2 3",
        "±",
    ]
    assert in_row([*texts, "Machine", "as found V offset"]) == [take_apart("Machine"), take_apart("as found V offset")]
    assert not [text for text in texts for table in Table if meaning_of(take_apart(text), table) is not None]
    own = {name for field in FIELDS for name in (field.heading, *field.other)}
    assert not [name for name in own if not any(map(str.isalpha, name))]
