"""Thermal growth: published coefficients and the sign of the target."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import InvalidValueError
from models.maths.dials import Carrier, expected_rim
from models.maths.geometry import after_moves, deviation, line_at
from models.maths.growth import MATERIALS, PER_K_OF_PER_F, Material, RowGrowth, growth, target_from_growth
from models.units import MM_PER_INCH, MM_PER_MIL
from models.values.job import Misalignment

BY_NAME = {material.name: material for material in MATERIALS}
UP = st.floats(-0.5, 1.5)


def test_cast_iron_over_fifty_degrees_fahrenheit() -> None:
    """CV-22. Inputs: Maintenance Technology, January 2003; product derived (the printed result is not visible)."""
    got = growth(5.9e-6 * PER_K_OF_PER_F, 15 * MM_PER_INCH, 50 / PER_K_OF_PER_F)
    assert got / MM_PER_INCH == pytest.approx(0.0044, abs=0.00005)


def test_steel_and_stainless_steel_over_fifty_kelvin() -> None:
    """CV-23. Coefficients: Callister, 3rd ed., Table B.6; products derived."""
    assert growth(BY_NAME["steel A36, 1020"].alpha_per_k, 500, 50) == pytest.approx(0.2925)
    assert growth(BY_NAME["stainless steel 304"].alpha_per_k, 500, 50) == pytest.approx(0.430)


def test_a_hundred_feet_of_carbon_steel() -> None:
    """CV-24. ASME II-D 2001, Table TE-1: 1.0 in per 100 ft from 70 to 200 °F at a mean of 6.7e-6/°F; 1.045 derived."""
    got = growth(6.7e-6 * PER_K_OF_PER_F, 1200 * MM_PER_INCH, 130 / PER_K_OF_PER_F) / MM_PER_INCH
    assert got == pytest.approx(1.045, abs=0.0005)
    assert got == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(
    ("name", "per_f"),
    [
        ("steel A36, 1020", 6.5), ("steel 1040", 6.3), ("grey cast iron G1800 to G4000", 6.3),
        ("ductile iron 60-40-18", 6.2), ("stainless steel 304", 9.6), ("stainless steel 316", 8.8),
        ("aluminium 6061", 13.1), ("cast aluminium 356.0", 11.9), ("bearing bronze C93200", 10.0),
    ],
)  # fmt: skip
def test_the_table_agrees_with_its_other_column(name: str, per_f: float) -> None:
    """Callister, 3rd ed., Table B.6, prints each coefficient per °C and, rounded to 0.1, per °F."""
    assert BY_NAME[name].alpha_per_k / PER_K_OF_PER_F * 1e6 == pytest.approx(per_f, abs=0.051)
    assert all(material.source for material in MATERIALS)


def test_a_machine_that_grows_more_is_set_lower_and_its_dials_show_it() -> None:
    """CV-16 for the sign. McMillan, Rotating Machinery, p. 181: an axis wanted +5 at S, +2 at A reads STIR +10, ATIR −4.

    A stationary machine that grows 5 mil over S and 2 mil over A more than the movable one asks for that axis.
    """
    span = 10 * MM_PER_INCH
    target = target_from_growth([], [RowGrowth(0.001, 5 * MM_PER_MIL), RowGrowth(span, 2 * MM_PER_MIL)])
    s = expected_rim(target, np.array([0.0, 180.0]), 0.0, Carrier.MOVABLE)[1]
    a = expected_rim(target, np.array([0.0, 180.0]), span, Carrier.STATIONARY)[1]
    assert [s / MM_PER_MIL, a / MM_PER_MIL] == pytest.approx([10, -4], abs=1e-3)


def test_a_pump_that_grows_wants_its_motor_high() -> None:
    """Stationary pump +0.30 mm, movable motor +0.10 mm, both evenly: the cold motor stands 0.20 mm too high, on purpose."""
    target = target_from_growth([RowGrowth(300, 0.10)], [RowGrowth(-300, 0.30)])
    assert target.as_tuple() == pytest.approx((0.20, 0, 0, 0))


@given(UP, UP, UP, UP, UP, UP)
def test_a_machine_set_to_its_target_is_straight_when_hot(
    a: float, b: float, c: float, d: float, e: float, f: float
) -> None:
    x = np.array([250.0, 900.0])
    target = target_from_growth(
        [RowGrowth(x[0], a, e), RowGrowth(x[1], b, f)], [RowGrowth(-x[0], c), RowGrowth(-x[1], d)]
    )
    hot = after_moves(
        target,
        movable=(x, np.array([a, b]), np.array([e, f])),
        stationary=(-x, np.array([c, d]), np.zeros(2)),
    )
    assert hot.as_tuple() == pytest.approx((0, 0, 0, 0), abs=1e-9)


@given(UP, UP)
def test_judged_against_its_target_a_machine_on_target_deviates_by_nothing(a: float, b: float) -> None:
    target = target_from_growth([RowGrowth(250, a), RowGrowth(900, b)])
    assert deviation(target, target) == Misalignment()
    feet = line_at(np.array([target.as_tuple()]), np.array([250.0, 900.0]))[0, :, 0]
    assert feet == pytest.approx([-a, -b], abs=1e-9)  # foot by foot the growth, taken off


def test_a_machine_with_one_row_or_none_grows_evenly_or_not_at_all() -> None:
    assert target_from_growth([]) == Misalignment()
    assert target_from_growth([RowGrowth(400, 0.2, 0.1)]).as_tuple() == pytest.approx((-0.2, 0, -0.1, 0))


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InvalidValueError):
        growth(1e-5, -1, 50)
    with pytest.raises(InvalidValueError):
        growth(1e-5, float("nan"), 50)
    with pytest.raises(InvalidValueError):
        Material("steel, typed per million", 11.7, "invented for this test")
    with pytest.raises(InvalidValueError):
        target_from_growth([RowGrowth(400, 0.2), RowGrowth(400, 0.3)])
