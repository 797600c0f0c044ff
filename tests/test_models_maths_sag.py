"""Bar sag with both meanings of the word."""

from __future__ import annotations

import pytest

from models.errors import InvalidValueError
from models.maths.clock import check_sums
from models.maths.readings import clock_sweep, fit_sine
from models.maths.sag import NO_SAG, Sag, SagMeaning, take_out_sag
from models.units import MM_PER_INCH, MM_PER_MIL

CLOCK = (0.0, 90.0, 180.0, 270.0)


def test_sides_get_one_sag_and_the_bottom_two() -> None:
    """CV-8. civilengineeringhandbook.tk/centrifugal-pumps-3/actual-reading.html: offset 8 mil, sums 16 = 16."""
    raw = [x * MM_PER_MIL for x in (0, 5, 10, 5)]
    true = take_out_sag(CLOCK, raw, Sag(3 * MM_PER_MIL, SagMeaning.HALF))
    assert true == pytest.approx([x * MM_PER_MIL for x in (0, 8, 16, 8)])
    assert abs(fit_sine(clock_sweep(*true)).vertical_mm) == pytest.approx(8 * MM_PER_MIL)
    assert check_sums(*true).difference_mm == pytest.approx(0, abs=1e-12)


def test_a_one_sided_sag_of_minus_four_corrects_the_bottom_by_eight() -> None:
    """CV-9. Bloch & Geitner, Machinery Component Maintenance and Repair, p. 186: +0.160 becomes +0.168 in."""
    sag = Sag(-0.004 * MM_PER_INCH, SagMeaning.HALF)
    bottom = take_out_sag([180.0], [0.160 * MM_PER_INCH], sag)
    assert bottom == pytest.approx([0.168 * MM_PER_INCH])


def test_the_whole_roll_over_reading_is_added_to_the_bottom() -> None:
    """CV-10. US Bureau of Reclamation, FIST 4-1A, p. 17: the roll-over reads 2 × sag, add 2 × sag to the bottom."""
    rolled = 0.12
    assert take_out_sag([180.0], [0.5], Sag(rolled, SagMeaning.FULL)) == pytest.approx([0.5 + rolled])
    assert take_out_sag([180.0], [0.5], Sag(rolled, SagMeaning.HALF)) == pytest.approx([0.5 + 2 * rolled])


def test_both_meanings_of_one_bar_agree() -> None:
    half, full = Sag(0.03, SagMeaning.HALF, 0.001), Sag(0.06, SagMeaning.FULL, 0.002)
    assert half.true_mm == pytest.approx(full.true_mm)
    assert half.true_uncertainty_mm == pytest.approx(full.true_uncertainty_mm)
    assert NO_SAG.true_mm == 0.0


@pytest.mark.parametrize(("value", "u"), [(float("nan"), 0.0), (0.1, -0.1), (0.1, float("inf"))])
def test_a_sag_that_is_no_number_is_refused(value: float, u: float) -> None:
    with pytest.raises(InvalidValueError):
        Sag(value, SagMeaning.HALF, u)
