"""What is wrong with readings and distances is said in a sentence, with its field and how grave it is."""

from __future__ import annotations

import pytest

from models.intake.checking_jobs import is_odd
from models.maths.plausible import (
    Doubt,
    Gravity,
    check_dial,
    check_dimensions,
    check_planes,
    check_rises,
    check_rows,
    open_checks,
)
from models.maths.readings import Sweep, fit_sine
from models.units import MM_PER_MIL, Display
from models.values.draft import CarriedBy, DialDraft, Draft, RowDraft, Way

MM = Display("mm")
MIL = Display("mil")


def clock(*readings: float | None, returned: float | None = None) -> DialDraft:
    return DialDraft(readings_mm=readings, returned_mm=returned)


def told(dial: DialDraft, display: Display = MM) -> list[tuple[Doubt, Gravity, str]]:
    return [(check.doubt, check.gravity, check.field) for check in check_dial("dial.1", dial, display)]


@pytest.mark.parametrize("readings", [(5, 11, 0, -5), (0, -12, -19, -6)])
def test_sums_that_a_worked_example_accepts_are_accepted(readings: tuple[float, ...]) -> None:
    """CV-7. scribd.com/doc/232786113: 5 against 6 and −19 against −18 mil, each accepted."""
    assert told(clock(*(x * MM_PER_MIL for x in readings))) == []


def test_sums_that_differ_need_a_reason_and_the_sentence_holds_both() -> None:
    (check,) = check_dial("dial.2", clock(0.0, 0.05, 0.20, 0.05), MM)
    assert (check.doubt, check.gravity, check.field) == (Doubt.SUMS, Gravity.REASON, "dial.2")
    assert "together are 0.200 mm" in check.sentence
    assert "0.100 mm: they differ by 0.100 mm" in check.sentence


def test_three_of_four_readings_have_no_sum_to_check() -> None:
    assert told(clock(0.0, 0.05, 0.20, None)) == []


def test_a_dial_that_does_not_come_back_needs_a_reason() -> None:
    """The dial must return to zero: US Bureau of Reclamation, FIST 4-1A, pp. 22 and 24."""
    assert told(clock(0.0, 0.1, 0.2, 0.1, returned=0.03)) == [(Doubt.NOT_CLOSED, Gravity.REASON, "dial.1.returned")]
    assert told(clock(0.0, 0.1, 0.2, 0.1, returned=0.01)) == []
    assert told(clock(None, 0.1, 0.2, 0.1, returned=0.03)) == [], "no first reading to come back to"


@pytest.mark.parametrize(
    ("arc", "gravity"), [(40, Gravity.STOP), (90, Gravity.REASON), (150, Gravity.NOTE), (180, None), (270, None)]
)
def test_the_shorter_the_sweep_the_graver(arc: float, gravity: Gravity | None) -> None:
    dial = DialDraft(angles_deg=(0.0, arc / 2, arc), readings_mm=(0.0, 0.01, 0.02))
    assert told(dial) == ([] if gravity is None else [(Doubt.SHORT_ARC, gravity, "dial.1")])


def test_an_outlier_is_named_by_the_number_of_its_reading_although_others_are_blank() -> None:
    angles = tuple(float(x) for x in range(0, 360, 30))
    readings: list[float | None] = [0.001 * (-1) ** n for n in range(12)]
    readings[2], readings[7] = None, 0.5
    dial = DialDraft(angles_deg=angles, readings_mm=tuple(readings))
    taken, read = zip(*dial.taken, strict=True)
    fit = fit_sine(Sweep(taken, read))
    fields = {check.doubt: check.field for check in check_dial("dial.1", dial, MM, fit)}
    assert fields[Doubt.OUTLIER] == "dial.1.readings.8"


def test_feet_stand_on_their_side_of_the_coupling_and_not_in_it() -> None:
    found = check_rows([RowDraft(0.0), RowDraft(-300.0), RowDraft(500.0), RowDraft(500.5), RowDraft()], "movable", MM)
    assert [(check.doubt, check.gravity, check.field) for check in found] == [
        (Doubt.FOOT_DISTANCE, Gravity.STOP, "feet.movable.1.at"),
        (Doubt.FOOT_DISTANCE, Gravity.STOP, "feet.movable.2.at"),
        (Doubt.FOOT_DISTANCE, Gravity.STOP, "feet.movable.4.at"),
    ]
    assert check_rows([RowDraft(-300.0), RowDraft(-700.0)], "stationary", MM) == ()
    assert len(check_rows([RowDraft(300.0)], "stationary", MM)) == 1


def test_distances_that_cannot_be_stop() -> None:
    same = Draft(Way.REVERSE_INDICATOR, dials=(DialDraft(plane_mm=50.0), DialDraft(plane_mm=50.5)))
    assert [check.field for check in check_dimensions(same)] == ["dial.2.plane"]
    face = Draft(Way.RIM_FACE, dials=(DialDraft(plane_mm=50.0), DialDraft(diameter_mm=0.0)), span_mm=-1.0)
    assert [check.field for check in check_dimensions(face)] == ["span", "dial.2.diameter"]


def test_sentences_are_in_the_units_of_the_site() -> None:
    (check,) = check_dial("dial.1", clock(0.0, 0.05, 0.20, 0.05), MIL)
    assert "7.9 mil" in check.sentence
    assert "mm" not in check.sentence


def test_a_reason_answers_what_needs_one_and_never_what_stops() -> None:
    checks = (
        *check_dial("dial.1", clock(0.0, 0.05, 0.20, 0.05), MM),
        *check_rows([RowDraft(0.0)], "movable", MM),
        *check_dial("dial.2", DialDraft(angles_deg=(0.0, 75.0, 150.0), readings_mm=(0.0, 0.0, 0.0)), MM),
    )
    assert [check.doubt for check in open_checks(checks)] == [Doubt.SUMS, Doubt.FOOT_DISTANCE]
    assert [check.doubt for check in open_checks(checks, ["sums differ", "foot distance"])] == [Doubt.FOOT_DISTANCE]


STATIONARY, MOVABLE = "stationary shaft", "movable shaft"


def planes(way: Way, *dials: tuple[float | None, CarriedBy], diameter: float | None = None) -> list[tuple[str, str]]:
    drafts = [DialDraft(plane_mm=plane, carried_by=carrier) for plane, carrier in dials]
    if diameter is not None:
        drafts[-1:] = [DialDraft(plane_mm=drafts[-1].plane_mm, carried_by=drafts[-1].carried_by, diameter_mm=diameter)]
    checks = check_planes(Draft(way, dials=tuple(drafts)), MM)
    assert {(check.doubt, check.gravity) for check in checks} <= {(Doubt.HUB_SIDE, Gravity.REASON)}
    return [
        (check.field, "should be below 0" if "should be below 0" in check.sentence else "above") for check in checks
    ]


def test_a_forgotten_minus_is_asked_about_at_its_own_dial() -> None:
    """The bracket on the movable shaft sweeps the stationary hub, which lies before the coupling centre (x < 0)."""
    reverse = Way.REVERSE_INDICATOR
    assert planes(reverse, (-70, MOVABLE), (80, STATIONARY)) == []
    assert planes(reverse, (70, MOVABLE), (80, STATIONARY)) == [("dial.1.plane", "should be below 0")]
    assert planes(reverse, (-70, MOVABLE), (-80, STATIONARY)) == [("dial.2.plane", "above")]
    assert planes(reverse, (70, MOVABLE), (-80, STATIONARY)) == [
        ("dial.1.plane", "should be below 0"), ("dial.2.plane", "above"),
    ]  # fmt: skip
    assert planes(reverse, (-80, STATIONARY), (70, MOVABLE)) == [
        ("dial.1.plane", "above"), ("dial.2.plane", "should be below 0"),
    ]  # fmt: skip
    assert planes(Way.RIM_FACE, (50, MOVABLE), (None, STATIONARY)) == [("dial.1.plane", "should be below 0")]
    assert planes(Way.RIM_FACE, (-50, STATIONARY), (None, STATIONARY)) == [("dial.1.plane", "above")]
    (check,) = check_planes(Draft(reverse, dials=(DialDraft(plane_mm=70.0, carried_by=MOVABLE),)), MM)
    assert "Dial 1 runs on the stationary hub" in check.sentence
    assert "+70" in check.sentence
    assert "was a minus forgotten" in check.sentence


def test_what_can_be_is_not_asked_about() -> None:
    reverse = Way.REVERSE_INDICATOR
    assert planes(reverse, (80, STATIONARY), (-70, MOVABLE)) == [], "the other order of the dials"
    assert planes(reverse, (0, MOVABLE), (150, STATIONARY)) == [], "counted from the plane of one dial"
    assert planes(reverse, (None, MOVABLE), (None, STATIONARY)) == [], "not typed yet"
    assert planes(reverse, (-900, MOVABLE), (1100, STATIONARY)) == [], "over a long spacer"
    assert planes(Way.RIM_FACE, (-50, MOVABLE), (-50, STATIONARY)) == [], "the second one runs on a face"
    assert planes(Way.AROUND, (-60, STATIONARY), (60, STATIONARY)) == [], "one bracket with two sensors"
    assert planes(Way.AROUND, (60, MOVABLE), (90, STATIONARY)) == [("dial.1.plane", "should be below 0")]
    assert planes(Way.AROUND, (60, MOVABLE), (90, STATIONARY), diameter=200) == [], "one runs on a face"
    assert planes(Way.RESULTS) == planes(Way.FACE_FACE, (None, STATIONARY), (None, STATIONARY)) == []


def test_rises_are_asked_about_by_the_same_bounds_as_in_an_imported_sheet() -> None:
    rises = (0.02, -0.10, 0.03, 5.0, None, 30.0)
    told_of = [(c.doubt, c.gravity, c.field) for c in check_rises(rises, "soft_before", MM)]
    assert told_of == [
        (Doubt.RISE, Gravity.REASON, "soft_before.2"), (Doubt.RISE, Gravity.REASON, "soft_before.4"),
        (Doubt.RISE, Gravity.STOP, "soft_before.6"),
    ]  # fmt: skip
    negative, odd, impossible = (c.sentence for c in check_rises(rises, "soft_before", MM))
    assert "foot 1R is −0.100 mm" in negative
    assert "Is the sign right?" in negative
    assert "foot 2R is +5.000 mm; it is at most 1.000 mm as a rule. Is the unit right?" in odd
    assert "no foot rises by more than 25.000 mm" in impossible
    for rise in (-0.001, -0.0, 0.0, 0.5, 1.0, 1.001, 25.0, 26.0, -30.0):
        assert bool(check_rises((rise,), "soft_after", MM)) is is_odd("soft", rise), rise
