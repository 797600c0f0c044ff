"""Soft foot: published worksheets, a slow twin, and patterns for four, six and eight feet."""

from __future__ import annotations

import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import InvalidValueError
from models.maths.judged import AT_LIMIT
from models.maths.soft_foot import Pattern, assess, excess, spread
from models.units import MM_PER_INCH, MM_PER_MIL

LIMIT = 2 * MM_PER_MIL
RISES = st.lists(st.one_of(st.none(), st.floats(-0.5, 1.0)), min_size=4, max_size=8).filter(lambda r: len(r) % 2 == 0)


def test_four_feet_as_in_the_bureau_of_reclamation_worksheet() -> None:
    """CV-12. US Bureau of Reclamation, FIST 4-1A, p. 17: rises 0.005 and three times 0.002 in, shim 0.003 in."""
    found = assess([x * MM_PER_INCH for x in (0.005, 0.002, 0.002, 0.002)], LIMIT)
    assert found.pattern is Pattern.ONE
    assert found.shims_mm == pytest.approx([0.003 * MM_PER_INCH, 0, 0, 0])
    assert found.spread_mm == pytest.approx(0.003 * MM_PER_INCH)


def test_six_legs_as_in_the_bureau_of_reclamation_manual() -> None:
    """CV-13. US Bureau of Reclamation, FIST 2-1, p. 18: 0.025 and five times 0.015 in, shim 0.010 in."""
    found = assess([x * MM_PER_INCH for x in (0.015, 0.015, 0.025, 0.015, 0.015, 0.015)], LIMIT)
    assert found.shims_mm[2] == pytest.approx(0.010 * MM_PER_INCH)
    assert sum(found.shims_mm) == pytest.approx(found.shims_mm[2])


def test_feet_that_differ_by_exactly_the_limit_are_not_high() -> None:
    """McMillan, Rotating Machinery, p. 125 of the digital copy: shim if feet differ by more than 2 mil."""
    assert assess([0.05, 0.0, 0.0, 0.0], 0.05).pattern is Pattern.NONE
    assert assess([0.0501, 0.0, 0.0, 0.0], 0.05).pattern is Pattern.ONE
    for hundredths in range(60):  # decimals whose difference is a bit more than the limit in the machine's numbers
        low = hundredths / 100.0
        assert not any(assess([low, low, round(low + 0.05, 2), low], 0.05).high)
    assert assess([0.6 * MM_PER_MIL / 0.3] * 4, 2 * MM_PER_MIL).pattern is Pattern.NONE


@pytest.mark.parametrize(
    ("rises", "pattern"),
    [
        ([0.2, 0, 0, 0.18], Pattern.DIAGONAL),
        ([0, 0.2, 0.18, 0], Pattern.DIAGONAL),
        ([0.2, 0, 0.18, 0], Pattern.ONE_SIDE),
        ([0, 0.2, 0, 0.2], Pattern.ONE_SIDE),
        ([0.2, 0.18, 0, 0], Pattern.ONE_END),
        ([0, 0, 0.2, 0.2], Pattern.ONE_END),
        ([0.2, 0.2, 0.2, 0], Pattern.SEVERAL),
        ([0.2, 0.2, 0.2, 0.2], Pattern.ALL),
        ([0.01, 0.02, 0.0, 0.03], Pattern.NONE),
        ([0.2, 0, 0, 0, 0, 0.2], Pattern.DIAGONAL),
        ([0, 0.2, 0, 0.2, 0, 0.2], Pattern.ONE_SIDE),
        ([0, 0, 0.2, 0.2, 0, 0], Pattern.SEVERAL),
        ([0, 0, 0, 0, 0, 0, 0.2, 0.2], Pattern.ONE_END),
        ([0, 0.3, 0, 0, 0, 0, 0.3, 0], Pattern.DIAGONAL),
        ([0.08, 0.02, 0.02, 0.07], Pattern.DIAGONAL),  # the second of them at the limit: similar, and rocking
        ([0.02, 0.071, 0.08, 0.02], Pattern.DIAGONAL),
        ([0.08, 0.02, 0.02, 0.05], Pattern.ONE),  # half way: as near to the low ones
        ([0.08, 0.06, 0.02, 0.06], Pattern.ONE),  # more than the diagonal one stands near it
        ([0.08, 0.02, 0.02, None], Pattern.ONE),
        ([0.2, None, 0.2, None], Pattern.UNKNOWN),
        ([0.2, None, 0.3, None, 0.0, None], Pattern.SEVERAL),  # nobody looked at the other side
    ],
)
def test_a_pattern_is_named_by_how_the_high_feet_lie(rises: list[float | None], pattern: Pattern) -> None:
    """Patterns: common practice, no source; wording is 'suggests', never a diagnosis."""
    found = assess(rises, 0.05)
    assert found.pattern is pattern
    assert (not found.suggests) or found.suggests.startswith("suggests ")


def test_of_two_diagonal_feet_only_the_larger_is_shimmed() -> None:
    """Common practice, no source."""
    found = assess([0.2, 0.0, 0.0, 0.18], 0.05)
    assert [shim > 0 for shim in found.shims_mm] == [True, False, False, False]
    assert found.shims_mm[0] == pytest.approx(0.2)


def test_nothing_is_shimmed_where_the_pattern_suggests_strain() -> None:
    assert set(assess([0.2, 0.2, 0, 0], 0.05).shims_mm) == {0.0}


def test_two_measured_feet_say_nothing_and_why() -> None:
    found = assess([0.2, None, None, 0.0], 0.05)
    assert found.spread_mm is None
    assert "2 of 4" in found.reason
    assert np.isnan(spread(np.array([[0.2, np.nan, np.nan, 0.0]]))).all()


@pytest.mark.parametrize("rises", [[], [0.1, 0.2, 0.3], [0.1, float("nan"), 0, 0]])
def test_feet_that_cannot_be_are_refused(rises: list[float]) -> None:
    with pytest.raises(InvalidValueError):
        assess(rises, 0.05)


def test_a_limit_of_zero_is_refused() -> None:
    with pytest.raises(InvalidValueError):
        assess([0, 0, 0, 0], 0.0)


@given(st.lists(RISES, min_size=0, max_size=5))
def test_spread_and_excess_are_those_of_a_slow_twin(rows: list[list[float | None]]) -> None:
    width = 8
    table = np.full((len(rows), width), np.nan)
    for i, row in enumerate(rows):
        table[i, : len(row)] = [np.nan if x is None else x for x in row]
    fast, each = spread(table), excess(table)
    for i, row in enumerate(rows):
        known = [x for x in row if x is not None]
        if len(known) < 3:
            assert np.isnan(fast[i])
            assert np.isnan(each[i]).all()
            continue
        assert fast[i] == max(known) - min(known)
        for place, x in enumerate(row):
            if x is not None:
                others = [y for k, y in enumerate(row) if k != place and y is not None]
                assert each[i, place] == pytest.approx(x - statistics.median(others), abs=1e-12)
        if len(row) % 2 == 0:  # the sheet and the history by one rule
            assert any(assess(row, 0.05).high) == bool(fast[i] > 0.05 * (1.0 + AT_LIMIT))


@given(RISES.filter(lambda r: sum(x is not None for x in r) >= 3), st.floats(-1, 1))
def test_raising_all_feet_alike_changes_no_difference(rises: list[float | None], by: float) -> None:
    lifted = [None if x is None else x + by for x in rises]
    assert assess(lifted, 0.05).spread_mm == pytest.approx(assess(rises, 0.05).spread_mm, abs=1e-12)
