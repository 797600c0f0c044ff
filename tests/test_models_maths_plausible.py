"""What is wrong with readings and distances is said in a sentence, with its field and how grave it is."""

from __future__ import annotations

import pytest

from models.maths.plausible import Doubt, Gravity, check_dial, check_dimensions, check_rows, open_checks
from models.maths.readings import Sweep, fit_sine
from models.units import MM_PER_MIL, Display
from models.values.draft import DialDraft, Draft, RowDraft, Way

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
