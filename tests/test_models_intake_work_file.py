"""A paper sheet as TOML: read whole, or every problem told with its key."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.console.book import starter_limits
from models.errors import UnreadableFileError
from models.intake.work_file import WorkFile, parse_work, read_work_file, shown_key
from models.maths.growth import MATERIALS
from models.units import MM_PER_INCH, MM_PER_MIL
from models.values.draft import RowDraft, Way
from models.values.kinds import Coupling
from models.values.limits import LimitsGiven

STARTER = starter_limits("tester")
RESULTS = 'method = "results"\nresults = { offset_v = 0.1, angle_v = 0.2, offset_h = 0, angle_h = "0,1" }\n'


def parse(text: str) -> WorkFile:
    return parse_work(text, "sheet.toml", STARTER)


def problems(text: str) -> list[str]:
    with pytest.raises(UnreadableFileError) as caught:
        parse(text)
    assert caught.value.remedy == "See: driftbook work --example"
    return [line.strip() for line in caught.value.message.splitlines()[1:]]


def test_numbers_stand_as_numbers_or_as_texts_with_a_unit() -> None:
    file = parse(RESULTS.replace("0.1,", '"4 mil",', 1))
    assert file.draft.results == (4 * MM_PER_MIL, 0.2, 0.0, 0.1)
    assert file.name == "sheet.toml"


def test_the_units_of_the_file_hold_for_plain_numbers() -> None:
    file = parse('units = "mil"\n' + RESULTS + "[feet]\nmovable = [10, { at = 30, shim_out = 20 }]\n")
    assert file.draft.results == (0.1 * MM_PER_MIL, 0.2, 0.0, 0.1)
    first, second = file.draft.feet_movable
    assert first == RowDraft(254.0)
    assert second.x_mm == pytest.approx(30 * MM_PER_INCH)
    assert second.shim_out_mm == pytest.approx(20 * MM_PER_MIL)
    assert file.display.length == "mil"


def test_without_limits_the_starter_rule_holds_and_says_so() -> None:
    file = parse(RESULTS + '[machine]\nspeed = 1500\ntag = "P-1"\n')
    assert file.limits == LimitsGiven(120 / 1500, 1000 / 1500, None, 0.05)
    assert file.limits_source.startswith("starter, version 1. A starting point")
    assert parse(RESULTS).limits.offset_mm is None, "no speed, no limit"
    spacer = parse(RESULTS + "[machine]\nspan = 200\n")
    assert spacer.asset.coupling is Coupling.SPACER
    assert spacer.limits.flex_mm_m == 0.5


def test_limits_of_the_file_come_with_their_source() -> None:
    file = parse(RESULTS + '[limits]\noffset = 0.07\nangle = "0.5 mrad"\neach_axis = true\nsource = "maker"\n')
    assert file.limits == LimitsGiven(0.07, 0.5, None, None, each_axis=True)
    assert file.limits_source == "maker"
    soft = parse(RESULTS + "[machine]\nspeed = 1500\n[limits]\nsoft_foot = 0.04\n")
    assert soft.limits.soft_foot_mm == 0.04
    assert soft.limits.offset_mm == pytest.approx(0.08)
    assert problems(RESULTS + "[limits]\noffset = 0.07\n") == ["limits.source: Missing: where these limits come from."]
    assert problems(RESULTS + '[limits]\noffset = -1\nsource = "x"\n') == [
        "limits.offset: '-1' is not a limit above 0."
    ]
    both = problems(RESULTS + '[limits]\noffset = 1\nflex_angle = 0.5\nsource = "x"\n')
    assert both == [
        "limits.flex_angle: A coupling is judged at its flex planes or at its centre (offset, angle), not at both."
    ]


def test_a_target_follows_from_growth() -> None:
    """CV-23. α of A36 steel and 304: Callister, 3rd ed., Table B.6; the products 0.2925 and 0.430 mm are derived."""
    text = (
        RESULTS
        + """
[growth]
movable = [{ at = 500, material = "steel A36, 1020", height = 500, cold = 20, hot = 70 }]
stationary = [{ at = 300, alpha = 17.2e-6, height = 500, cold = 20, hot = 70 }]
"""
    )
    file = parse(text)
    assert file.target.as_tuple() == pytest.approx((0.430 - 0.2925, 0, 0, 0))
    assert "estimate" in file.target_source


def test_growth_in_inches_and_degrees_fahrenheit() -> None:
    """CV-22. Inputs: Maintenance Technology, January 2003 (ja.scribd.com 53342145); 0.0044 in is derived."""
    text = (
        'units = "mil"\ntemperature = "F"\n'
        + RESULTS
        + """
[growth]
movable = [{ at = 10, alpha_per_f = 5.9e-6, height = 15, cold = 70, hot = 120 }]
"""
    )
    assert parse(text).target.offset_v / MM_PER_INCH == pytest.approx(-0.0044, abs=5e-5)


def test_growth_may_be_given_row_by_row_and_must_be_whole() -> None:
    rows = RESULTS + "[growth]\nmovable = [{ at = 200, up = 0.1 }, { at = 700, up = 0.3, right = 0.05 }]\n"
    target = parse(rows).target
    assert target.offset_v + target.angle_v * 0.7 == pytest.approx(-0.3)
    assert target.offset_h + target.angle_h * 0.7 == pytest.approx(-0.05)
    bad = RESULTS + "[growth]\nmovable = [{ at = 200, alpha = 1e-5 }]\n"
    assert problems(bad) == ["growth.movable[1]: Missing: 'up', or a material (or alpha) with height, cold and hot."]
    two = (
        RESULTS
        + f'[growth]\nmovable = [{{ at = 2, alpha = 1e-5, material = "{MATERIALS[0].name}", height = 1, cold = 1, hot = 2 }}]\n'
    )
    assert problems(two) == ["growth.movable[1]: Give one of material, alpha and alpha_per_f."]
    nowhere = RESULTS + "[growth]\nmovable = [{ up = 0.5 }, { up = 0.1 }, { at = 800, up = 0.1 }]\n"
    assert problems(nowhere) == [
        f"growth.movable[{row}].at: Missing: how far this row of feet lies from the coupling centre." for row in (1, 2)
    ]
    huge = RESULTS + "[growth]\nmovable = [{ at = 2, alpha = 1e-5, height = -1, cold = 1, hot = 2 }]\n"
    assert len(problems(huge)) == 2
    beside = RESULTS + "[target]\noffset_v = 1\n[growth]\nmovable = [{ at = 2, up = 1 }]\n"
    assert problems(beside) == ["growth: Give a target, or the growth that it follows from, not both."]
    same = RESULTS + "[growth]\nmovable = [{ at = 2, up = 1 }, { at = 2, up = 2 }]\n"
    assert problems(same) == ["growth: Rows of feet that grow differently must lie at different distances."]


def test_every_problem_is_told_at_once_with_its_key() -> None:
    text = """
method = "rim and face"
units = "furlong"
colour = 3
day = 2026-11-25
[[dial]]
plane = "0.O5"
sag = 2
top = [1]
[machine]
coupling = "spacer"
"""
    assert problems(text) == [
        "day: '2026-11-25' is not a number or a text.",
        "units: 'furlong' is not one of 'mm', 'mil'.",
        "machine: the machine has a spacer coupling: give the span between its flex planes.",
        "dial[1].sag_is: Missing: what the sag stands for, 'half' or 'full' roll-over reading.",
        "dial[1].bracket: Missing: the shaft that carries the bracket, 'stationary' or 'movable'.",
        "dial[1].plane: '0.O5' is not a number of distance.",
        "colour: There is no such key here. Is it spelled right?",
        "dial[1].top[1]: There is no such key here. Is it spelled right?",
    ]


def test_a_misspelled_key_is_not_passed_over() -> None:
    assert problems(RESULTS.replace("angle_v", "angel_v")) == [
        "results.angel_v: There is no such key here. Is it spelled right?"
    ]


def test_what_is_no_toml_or_no_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFileError, match=r"sheet\.toml is not TOML"):
        parse("top = 0,06")
    with pytest.raises(UnreadableFileError, match="cannot be read: No such file"):
        read_work_file(tmp_path / "none.toml", STARTER)
    latin = tmp_path / "latin.toml"
    latin.write_bytes('title = "Größe"'.encode("latin-1"))
    with pytest.raises(UnreadableFileError, match="not text in UTF-8"):
        read_work_file(latin, STARTER)


def test_a_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    path = tmp_path / "marked.toml"
    path.write_text(RESULTS, encoding="utf-8-sig")
    assert read_work_file(path, STARTER).draft.way is Way.RESULTS


def test_keys_are_shown_as_they_stand_in_the_file() -> None:
    assert shown_key("dial.1.readings.12") == "dial[1].readings[12]"
    assert shown_key("noise.reading") == "noise.reading"
