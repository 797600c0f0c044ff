"""What people type into a form is understood in its own unit or the site's, and kept as typed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.intake.typed import TypedForm, TypedProblem, read_draft, read_misalignment, read_number
from models.units import MM_PER_MIL, Display, Quantity
from models.values.draft import DialDraft, RowDraft, Way
from models.values.job import Misalignment

MM, MIL = Display("mm"), Display("mil", "°F")


@pytest.mark.parametrize(
    ("text", "display", "value", "kept"),
    [
        ("2.5 mil", MM, 2.5 * MM_PER_MIL, "2.5 mil"),
        ("0,06 mm", MIL, 0.06, "0,06 mm"),
        ("-3", MIL, -3 * MM_PER_MIL, "-3 mil"),
        ("−0.05", MM, -0.05, "−0.05 mm"),
        ("+ 60 µm", MM, 0.06, "+ 60 µm"),
        ("0.01 in", MM, 0.254, "0.01 in"),
    ],
)
def test_a_number_is_read_in_its_own_unit_or_the_sites(text: str, display: Display, value: float, kept: str) -> None:
    form = TypedForm({"results.offset_v": text}, display)
    assert form.number("results.offset_v", Quantity.OFFSET) == pytest.approx(value)
    assert form.typed == {"results.offset_v": kept}
    assert form.problems == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("abc", "'abc' is not a number of offset."),
        ("0.O5", "'0.O5' is not a number of offset."),
        ("3 kg", "'kg' is not a unit of offset"),
        ("-0.16x", "'x' is not a unit of offset"),
        ("0.1.1", "'0.1.1' is not a number."),
        ("1,234", "is the comma a decimal sign?"),
        ("3 °C", "unit of offset"),
    ],
)
def test_what_is_not_understood_is_a_problem_with_its_field(text: str, says: str) -> None:
    parsed, problem = read_number("dial.1.top", text, Quantity.OFFSET, MM)
    assert parsed is None
    assert problem is not None
    assert problem.field == "dial.1.top"
    assert says in problem.text


def test_a_blank_is_neither_a_number_nor_a_problem() -> None:
    assert read_number("x", "  ", Quantity.OFFSET, MM) == (None, None)
    draft = read_draft(form := TypedForm({"method": "results"}, MM))
    assert draft.results == (None, None, None, None)
    assert form.problems == []


@given(st.floats(-5, 5).map(lambda x: round(x, 3)))
def test_a_change_of_units_changes_nothing(mil: float) -> None:
    plain = TypedForm({"a": str(mil)}, MIL).number("a", Quantity.OFFSET)
    own = TypedForm({"a": f"{mil} mil"}, MM).number("a", Quantity.OFFSET)
    assert plain == own == pytest.approx(mil * MM_PER_MIL)


def test_a_form_of_clock_readings_becomes_a_draft() -> None:
    given_texts = {
        "method": "reverse indicator", "seen_from": "stationary", "moves": "both", "span": "180",
        "dial.1.top": "0", "dial.1.right": "2 mil", "dial.1.bottom": "0,1", "dial.1.left": "", "dial.1.returned": "0",
        "dial.1.plane": "-90", "dial.1.bracket": "movable", "dial.1.sag": "0.1", "dial.1.sag_is": "half",
        "dial.2.top": "0", "dial.2.plane": "90", "dial.2.bracket": "Stationary Shaft", "noise.reading": "5 µm",
        "soft_foot.1": "0.02", "soft_foot.3": "0.09", "feet.movable.1.at": "200", "feet.movable.1.shim_out": "0.5",
        "feet.movable.2": "600", "feet.stationary.1": "150",
    }  # fmt: skip
    draft = read_draft(form := TypedForm(given_texts, MM))
    assert form.problems == []
    assert draft.way is Way.REVERSE_INDICATOR
    assert draft.seen_from == "stationary machine"
    assert draft.moves == "both machines"
    assert draft.dials[0] == DialDraft(
        readings_mm=(0.0, 2 * MM_PER_MIL, 0.1, None), opposite_mm=(None,) * 4, returned_mm=0.0, plane_mm=-90.0,
        carried_by="movable shaft", sag_mm=0.1,
    )  # fmt: skip
    assert draft.dials[1].carried_by == "stationary shaft"
    assert draft.reading_sd_mm == pytest.approx(0.005)
    assert draft.soft_foot_mm == (0.02, None, 0.09)
    assert draft.feet_movable == (RowDraft(200.0, shim_out_mm=0.5), RowDraft(600.0))
    assert draft.feet_stationary == (RowDraft(-150.0),), "typed without a sign, as on every sheet"
    assert draft.typed["dial.1.right"] == "2 mil"
    assert draft.typed["dial.1.bottom"] == "0,1 mm"
    assert form.unknown() == ()


def test_lists_of_angles_and_readings_become_a_draft() -> None:
    given_texts = {"method": "readings around the shaft", "dial.1.plane": "50", "dial.1.bracket": "stationary"}
    for place, (angle, reading) in enumerate(((-40, "0"), (0, "1 mil"), (30, "")), start=1):
        given_texts |= {f"dial.1.angles.{place}": f"{angle}°", f"dial.1.readings.{place}": reading}
    draft = read_draft(form := TypedForm(given_texts, MM))
    assert form.problems == []
    assert draft.dials[0].angles_deg == (-40.0, 0.0, 30.0)
    assert draft.dials[0].readings_mm == (0.0, MM_PER_MIL, None)


@pytest.mark.parametrize(
    ("more", "problem"),
    [
        ({"method": ""}, TypedProblem("method", "", "the method")),
        # A stray swept diameter does not make a face of a rim: which shaft carries the bracket has to be said.
        ({"dial.1.bracket": "", "dial.1.diameter": "200"}, TypedProblem("dial.1.bracket", "", "the shaft that carries the bracket, 'stationary' or 'movable'")),
        ({"dial.1.bracket": ""}, TypedProblem("dial.1.bracket", "", "the shaft that carries the bracket, 'stationary' or 'movable'")),
        ({"dial.1.sag": "0.1"}, TypedProblem("dial.1.sag_is", "", "what the sag stands for, 'half' or 'full' roll-over reading")),
        ({"seen_from": "above"}, None),
        ({"feet.movable.1.left": "1"}, TypedProblem("feet.movable.1.at", "", "the distance of this row of feet")),
        ({"dial.1.readings.1": "0.1"}, None),
        ({"dial.1.angles.1": "north"}, None),
    ],
)  # fmt: skip
def test_what_a_method_cannot_do_without_is_a_problem(more: dict[str, str], problem: TypedProblem | None) -> None:
    base = {"method": "reverse indicator", "dial.1.bracket": "movable", "dial.1.top": "0"}
    form = TypedForm(base | more, MM)
    read_draft(form)
    assert form.problems
    if problem is not None:
        assert form.problems == [problem]
    assert all(p.text.endswith(".") for p in form.problems)


def test_a_target_may_be_given_in_part() -> None:
    form = TypedForm({"target.offset_v": "-3", "target.angle_h": "0.1 mm/m"}, MIL)
    assert read_misalignment(form, "target") == Misalignment(-3 * MM_PER_MIL, 0.0, 0.0, 0.1)
    assert read_misalignment(form, "limit") is None


def test_fields_that_nobody_asked_for_are_told() -> None:
    form = TypedForm({"method": "results", "color": "red"}, MM)
    read_draft(form)
    assert form.unknown() == ("color",)
