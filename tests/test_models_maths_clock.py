"""Clock readings: the published sheets and what each check cannot see."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import InvalidValueError
from models.maths.clock import check_return, check_sums, rezero, total_reading
from models.maths.sag import Sag, SagMeaning, take_out_sag
from models.units import MM_PER_INCH, MM_PER_MIL

READING = st.floats(-2.0, 2.0)


def mils(*values: float) -> list[float]:
    return [value * MM_PER_MIL for value in values]


def test_two_shafts_are_valid_and_can_be_zeroed_at_another_position() -> None:
    """CV-6. Piotrowski, Shaft Alignment Handbook, 3rd ed., Fig. 8.10 (labels hard to read; shaft 2, W and B derived)."""
    for (top, east, west, bottom), zeroed in (
        ((0, -50, 10, -40), (50, 0, 60, 10)),
        ((0, 30, -10, 20), (-30, 0, -40, -10)),
    ):
        t, e, w, b = mils(top, east, west, bottom)
        check = check_sums(t, e, b, w)
        assert check.difference_mm == pytest.approx(0, abs=1e-12)
        assert check.agrees
        assert rezero([t, e, w, b], 1) == pytest.approx(mils(*zeroed))


@pytest.mark.parametrize(
    ("top", "bottom", "left", "right", "sums"), [(5, 0, -5, 11, (5, 6)), (0, -19, -6, -12, (-19, -18))]
)
def test_sums_one_mil_apart_are_accepted(
    top: float, bottom: float, left: float, right: float, sums: tuple[float, float]
) -> None:
    """CV-7. scribd.com/doc/232786113: each 1 mil off, accepted at up to 1 mil."""
    t, b, lft, r = mils(top, bottom, left, right)
    check = check_sums(t, r, b, lft, share=0.0)
    assert [check.top_bottom_mm, check.left_right_mm] == pytest.approx(mils(*sums))
    assert check.agrees
    assert not check_sums(t, r, b, lft, allowance_mm=0.9 * MM_PER_MIL, share=0.0).agrees


def test_the_total_reading_spans_both_directions() -> None:
    """CV-28. US Army TM 55-1905-242-14 and TM 5-3810-305-23."""
    assert total_reading([0.0, 0.002 * MM_PER_INCH, -0.004 * MM_PER_INCH]) == pytest.approx(0.006 * MM_PER_INCH)
    assert total_reading([x * MM_PER_INCH for x in (0, 0.003, -0.002, 0.003)]) == pytest.approx(0.005 * MM_PER_INCH)


@given(READING, READING)
def test_the_total_reading_of_a_sweep_through_the_offset_is_twice_the_offset(offset: float, zero: float) -> None:
    """Project trade reference, 2.1: TIR = 2 × offset."""
    assert total_reading([zero + offset, zero, zero - offset, zero]) == pytest.approx(2 * abs(offset), abs=1e-12)


@given(st.tuples(READING, READING, READING, READING), st.integers(0, 3))
def test_moving_the_zero_changes_neither_differences_nor_checks(r: tuple[float, ...], at: int) -> None:
    moved = rezero(r, at)
    assert moved[at] == 0.0
    assert total_reading(moved) == pytest.approx(total_reading(r), abs=1e-12)
    before, after = check_sums(r[0], r[1], r[2], r[3]), check_sums(moved[0], moved[1], moved[2], moved[3])
    assert after.difference_mm == pytest.approx(before.difference_mm, abs=1e-12)


@given(st.tuples(READING, READING, READING, READING), st.floats(0, 1))
def test_the_sum_check_cannot_see_sag(r: tuple[float, ...], sag: float) -> None:
    """Project trade reference, 2.3, derived."""
    free = take_out_sag((0, 90, 180, 270), r, Sag(sag, SagMeaning.HALF))
    assert check_sums(*free).difference_mm == pytest.approx(check_sums(*r).difference_mm, abs=1e-12)


def test_a_dial_that_does_not_come_back_is_told() -> None:
    """US Bureau of Reclamation, FIST 4-1A, pp. 22 and 24; allowance: ASME B89.1.10, reported second-hand."""
    assert check_return(0.0, 0.0127).agrees
    assert not check_return(0.0, -0.02).agrees
    assert check_return(0.1, 0.13).difference_mm == pytest.approx(0.03)


def test_the_residual_is_a_quarter_of_the_difference() -> None:
    """Project trade reference, 2.2: e = (T + B − L − R)/4."""
    assert check_sums(0.1, 0.2, 0.3, 0.4).residual_mm == pytest.approx(-0.05)


def test_no_readings_have_no_total_and_no_zero() -> None:
    with pytest.raises(InvalidValueError):
        total_reading([])
    for at in (-1, 4):
        with pytest.raises(InvalidValueError):
            rezero([0, 0, 0, 0], at)


def test_large_sums_may_differ_by_a_tenth_of_the_larger() -> None:
    """Common practice, no source."""
    assert check_sums(0.0, 0.25, 0.55, 0.25).agrees  # 0.55 and 0.50: a tenth of 0.55 is 0.055
    assert not check_sums(0.0, 0.25, 0.56, 0.25).agrees  # 0.06 is more than 0.056
