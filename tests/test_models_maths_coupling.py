"""Rules about couplings, each as printed by its source."""

from __future__ import annotations

import pytest

from models.errors import InvalidValueError
from models.maths.coupling import angle_shim, combined_allowance, flex_plane_deviation, maker_formula_example
from models.units import MM_PER_INCH, MM_PER_MIL


def test_the_shim_that_closes_a_gap() -> None:
    """CV-14. Carrier 17/19EX chiller manual: D 5 in, L 30 in, net face 0.012 in, shim 0.072 in."""
    got = angle_shim(0.012 * MM_PER_INCH, 5 * MM_PER_INCH, 30 * MM_PER_INCH)
    assert got == pytest.approx(0.072 * MM_PER_INCH)


def test_the_shim_at_one_bolt() -> None:
    """CV-15. Millwright's Guide, 2nd ed.: face +0.012 in, 6 in, swept diameter 12 in, 0.006 in."""
    got = angle_shim(0.012 * MM_PER_INCH, 12 * MM_PER_INCH, 6 * MM_PER_INCH)
    assert got == pytest.approx(0.006 * MM_PER_INCH)


def test_three_kinds_of_misalignment_share_one_allowance() -> None:
    """CV-20. US Army TM 10-4320-307-24, p. 3-16: both acceptable, 0.83 and 0.96; the rule 'sum ≤ 1' is derived."""
    first = combined_allowance([(0.035, 0.098), (0.007, 0.047), (0.020, 0.061)])
    second = combined_allowance([(1.48, 2.5), (0.34, 1.2), (0.13, 1.56)])
    assert [first, second] == pytest.approx([0.83, 0.96], abs=0.005)
    assert max(first, second) <= 1


def test_a_makers_formula() -> None:
    """CV-21. Flender N-EUPEX D manual, p. 16: the table prints 0.2; 0.174 derived."""
    got = maker_formula_example(68, 1500)
    assert got == pytest.approx(0.174, abs=0.0005)
    assert round(got, 1) == 0.2
    assert maker_formula_example(68, 100) == maker_formula_example(68, 250)


def test_the_rule_for_flex_planes() -> None:
    """CV-29. Rule: C. Jackson, chapter on alignment with proximity probes; product derived: 10 in, 5 mil, 0.127 mm."""
    assert flex_plane_deviation(10 * MM_PER_INCH) == pytest.approx(5 * MM_PER_MIL)
    assert flex_plane_deviation(254.0) == pytest.approx(0.127)


def test_nothing_is_allowed_by_a_diameter_or_an_allowance_of_zero() -> None:
    with pytest.raises(InvalidValueError):
        angle_shim(0.1, 0.0, 100)
    with pytest.raises(InvalidValueError):
        combined_allowance([(0.1, 0.0)])
