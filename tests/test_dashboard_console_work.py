"""``driftbook work``: paper sheets of published examples, the examples that it prints, and what it says of nonsense."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from dashboard.cli import main
from dashboard.console.work import ratio_text
from dashboard.console.work_examples import EXAMPLES
from models.units import MM_PER_INCH, MM_PER_MIL

MIL = 'units = "mil"\n'


def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, *options: str) -> tuple[int, str]:
    path = tmp_path / "sheet.toml"
    path.write_text(text, encoding="utf-8")
    status = main(["work", str(path), *options])
    told = capsys.readouterr()
    return status, told.out + told.err


def worked(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str) -> dict[str, Any]:
    status, told = run(tmp_path, capsys, text, "--json")
    assert status == 0, told
    data: dict[str, Any] = json.loads(told)
    return data


def corrections(data: dict[str, Any], unit: float = MM_PER_MIL) -> list[float]:
    return [foot["shim_mm"] / unit for foot in data["feet"]]


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_example_works_as_it_is_printed(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["work", "--example", name]) == 0
    text = capsys.readouterr().out
    assert text == EXAMPLES[name]
    assert "invented" in text
    assert "lock it out" in text
    status, told = run(tmp_path, capsys, text)
    assert status == 0
    for expected in ("vertical offset", "× the limit", "What each foot needs", "Put the guards back on"):
        assert expected in told
    assert "cannot be recorded" not in told
    assert "needs a stated reason" not in told
    assert worked(tmp_path, capsys, text)["limit_ratio"] > 0


def test_the_help_shows_how_to_begin(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["work", "--help"])
    assert ended.value.code == 0
    told = capsys.readouterr().out
    assert "driftbook work --example reverse-indicator > sheet.toml" in told
    for name in EXAMPLES:
        assert name in told


def test_example_without_a_name_is_the_reverse_indicator(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["work", "--example"]) == 0
    assert capsys.readouterr().out == EXAMPLES["reverse-indicator"]


def test_rim_and_face_of_a_published_data_sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CV-1. Bloch & Geitner, Machinery Component Maintenance and Repair, pp. 193, 198, 199: lower 0.021 and 0.074 in.

    The ratios of foot distance to diameter, 2.25 and 9.75, are inferred from the printed terms; the diameter is free.
    """
    text = (
        MIL
        + """
method = "rim and face"
[[dial]]
bracket = "stationary"
plane = 0
top = 0
right = -5.5
bottom = -11
left = -5.5
[[dial]]
diameter = 4
top = 0
right = -3.5
bottom = -7     # the gap is wider at the bottom and lets the plunger out
left = -3.5
[feet]
movable = [9, 39]
"""
    )
    assert corrections(worked(tmp_path, capsys, text)) == pytest.approx([-21.2, -73.8], abs=0.06)


def test_reverse_indicator_of_a_published_example(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CV-3. Bloch & Geitner, Machinery Component Maintenance and Repair, p. 203: lower 0.003, raise 0.007 in."""
    text = (
        MIL
        + """
method = "reverse indicator"
[[dial]]
bracket = "movable"
plane = 0
top = 0
right = 12
bottom = 24
left = 12
[[dial]]
bracket = "stationary"
plane = 14
top = 0
right = -7
bottom = -14
left = -7
[feet]
movable = [26, 52]
"""
    )
    assert corrections(worked(tmp_path, capsys, text)) == pytest.approx([-2.7, 6.6], abs=0.06)


def test_sag_is_taken_out_under_either_meaning(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CV-8. civilengineeringhandbook.tk: raw bottom +10, sides +5, true sag 3 mil: the offset is 8 mil."""
    for sag in ('sag = 3\nsag_is = "half"', 'sag = 6\nsag_is = "full"'):
        dial = f'bracket = "movable"\ntop = 0\nright = 5\nbottom = 10\nleft = 5\n{sag}\n'
        text = f'{MIL}method = "reverse indicator"\n[[dial]]\nplane = 0\n{dial}[[dial]]\nplane = 10\n{dial}'
        data = worked(tmp_path, capsys, text)
        assert data["result"]["offset_v_mm"] / MM_PER_MIL == pytest.approx(8.0)
        assert data["result"]["angle_v_mm_m"] == pytest.approx(0.0)


def test_two_faces_take_the_float_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CV-11. Bloch & Geitner, Machinery Component Maintenance and Repair, p. 212: half of −0.014 is 0.007 in, top wider.

    Both dials zeroed with the first one at the bottom; the sides and the swept diameter of 14 in are ours, so that the
    gap of 7 mil at one end of the spacer is an angle of −0.5 mil/in.
    """
    text = (
        MIL
        + """
method = "two faces"
[machine]
coupling = "spacer"
span = 10
[[dial]]
diameter = 14
top = -10
right = -3.5
bottom = 0
left = -3.5
opposite_top = 4
opposite_right = 3.5
opposite_bottom = 0
opposite_left = 3.5
[[dial]]
diameter = 14
top = 0
right = 0
bottom = 0
left = 0
"""
    )
    angles = worked(tmp_path, capsys, text)["flex_angles"]
    assert angles["stationary_v_mm_m"] == pytest.approx(-0.5)
    assert angles["stationary_h_mm_m"] == pytest.approx(0.0, abs=1e-12)
    assert angles["movable_v_mm_m"] == pytest.approx(0.0, abs=1e-12)


def test_readings_around_half_a_turn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CV-27, derived: 0.050, −0.0010, −0.0510, −0.050 at 0, 60, 120, 180° make vertical 0.050, horizontal −0.030."""
    sweep = 'angles = [0, 60, 120, 180]\nreadings = [0.050, -0.0010, -0.0510, -0.050]\nbracket = "stationary"\n'
    text = f'method = "readings around the shaft"\n[[dial]]\nplane = -50\n{sweep}[[dial]]\nplane = 50\n{sweep}'
    result = worked(tmp_path, capsys, text)["result"]
    assert result["offset_v_mm"] == pytest.approx(0.050, abs=5e-4)
    assert result["offset_h_mm"] == pytest.approx(-0.030, abs=5e-4)
    assert result["angle_v_mm_m"] == pytest.approx(0.0, abs=1e-9)


def test_results_give_the_shims_of_the_reverse_indicator_example(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """CV-4. Bloch & Geitner, p. 203: −0.0015 and +0.0185 in over 14 in; 0.0356 south, and 0.0728 (derived)."""
    text = (
        MIL + f'method = "results"\nresults = {{ offset_v = 0, angle_v = 0, offset_h = -1.5, angle_h = {20 / 14} }}\n'
    )
    data = worked(tmp_path, capsys, text + "[feet]\nmovable = [26, 52]\n")
    assert [foot["side_mm"] / MM_PER_INCH for foot in data["feet"]] == pytest.approx([-0.0356, -0.0728], abs=6e-5)


def test_soft_foot_of_six_legs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CV-13. US Bureau of Reclamation, FIST 2-1, p. 18: 0.025 and five × 0.015 in ask for a shim of 0.010 in."""
    text = MIL + 'method = "results"\nsoft_foot = [25, 15, 15, 15, 15, 15]\n'
    text += "results = { offset_v = 0, angle_v = 0, offset_h = 0, angle_h = 0 }\n"
    shims = worked(tmp_path, capsys, text)["soft_foot"]["shims_mm"]
    assert [x / MM_PER_INCH for x in shims] == pytest.approx([0.010, 0, 0, 0, 0, 0])
    _, told = run(tmp_path, capsys, text)
    assert "foot 1L rises 25.0 mil; shim 10.0 mil" in told
    assert "suggests" in told


def test_mm_and_mil_say_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mil = (
        'units = "mil"\nmethod = "results"\nresults = { offset_v = 3, angle_v = 0.5, offset_h = -2, angle_h = 0.25 }\n'
    )
    mm = 'method = "results"\nresults = { offset_v = "3 mil", angle_v = "0.5 mrad", offset_h = -0.0508, angle_h = "0.025 mm/100mm" }\n'
    machine = "[machine]\nspeed = 1485\n"
    first, second = (worked(tmp_path, capsys, text + machine) for text in (mil, mm))
    assert first["result"] == pytest.approx(second["result"])
    assert first["limit_ratio"] == pytest.approx(second["limit_ratio"])


def test_a_remainder_and_a_held_row_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = 'method = "results"\nresults = { offset_v = 0.2, angle_v = 0, offset_h = 0, angle_h = 0 }\n'
    _, told = run(tmp_path, capsys, text + "[feet]\nmovable = [{ at = 200, shim_out = 0.05 }, 600]\n")
    assert "take out 0.050, its end" in told
    assert "The feet do not go further; what remains: vertical offset" in told
    assert "Not judged" in told
    text = (
        'units = "mil"\nmethod = "results"\nresults = { offset_v = 3.3, angle_v = 0.41, offset_h = 0, angle_h = 0 }\n'
    )
    limits = '[limits]\noffset = 2.7\nangle = 0.56\nsource = "a test"\n'
    _, told = run(tmp_path, capsys, text + limits + "[feet]\nmovable = [{ at = 8, shim_out = 0 }, 24]\n")
    assert "stays, its end" in told
    assert "put in 1.7" in told
    assert "That is within: 0.92 × the limit, the smallest that they allow." in told
    assert "comes second" not in told
    limits = '[limits]\nangle = 0.56\nsource = "a test"\n'
    _, told = run(tmp_path, capsys, text + limits + "[feet]\nmovable = [{ at = 8, shim_out = 0 }, 24]\n")
    assert "That is within: 0.00 × the limit" in told
    assert "There is no limit for the offset, so it comes second" in told


def test_a_flex_limit_without_a_span_says_what_it_judges(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = 'method = "results"\nmachine.speed = 1500\nresults = { offset_v = 0.2, angle_v = 0, offset_h = 0, angle_h = 0 }\n'
    _, told = run(tmp_path, capsys, text + '[limits]\nflex_angle = 0.5\nsource = "a test"\n')
    assert "Not judged: a limit of the flex angle judges a spacer coupling" in told
    assert "under [machine]" in told


def test_bad_readings_are_told_with_their_key_and_worked_out_all_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (
        EXAMPLES["reverse-indicator"]
        .replace("right = 0.02", "right = 0.32")
        .replace("returned = 0 ", "returned = 0.05 ")
    )
    status, told = run(tmp_path, capsys, text)
    assert status == 0
    assert "needs a stated reason: Top and bottom together are −0.050 mm" in told
    assert "(dial[1])" in told
    assert "(dial[1].returned)" in told
    assert "× the limit" in told


def test_nonsense_ends_with_status_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = EXAMPLES["results"].replace("[200, 600]", "[0, 600]")
    status, told = run(tmp_path, capsys, text)
    assert status == 1
    assert "cannot be recorded: Row 1 of the movable machine lies at a distance of 0" in told
    assert "(feet.movable[1].at)" in told
    half = 'method = "results"\nresults = { offset_v = 0.2 }\n'
    status, told = run(tmp_path, capsys, half)
    assert status == 1
    assert "No result. Still missing: vertical angularity" in told
    status, told = run(tmp_path, capsys, half, "--json")
    assert status == 1
    assert json.loads(told)["result"] is None


def test_a_file_that_cannot_be_read_ends_with_status_two(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, told = run(tmp_path, capsys, "top = 0,06")
    assert status == 2
    assert "driftbook work --example" in told
    assert main(["work"]) == 2
    assert "no file to work out" in capsys.readouterr().err


def test_markup_in_a_title_is_only_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, told = run(tmp_path, capsys, EXAMPLES["results"].replace("Results as", "[bold]Results[/] as"))
    assert "[bold]Results[/] as" in told


def test_a_ratio_is_written_so_that_its_verdict_can_be_seen() -> None:
    assert [ratio_text(x) for x in (0.5, 1.0, 1.004, 1.00001, 1.0000001)] == [
        "0.50",
        "1.00",
        "1.004",
        "1.000010",
        "1.000000",
    ]
