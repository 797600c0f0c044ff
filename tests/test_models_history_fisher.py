"""Fisher's exact test against counting with whole numbers, scipy and what has to hold by its meaning."""

from fractions import Fraction
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import fisher_exact as scipys

from models.history.fisher import fisher_exact


def counted(count: int, n: int, count_before: int, n_before: int) -> float:
    """The same by whole numbers: every table with these sums, none rounded."""
    had, every = count + count_before, n + n_before
    ways = {k: comb(n, k) * comb(n_before, had - k) for k in range(max(0, had - n_before), min(n, had) + 1)}
    return float(Fraction(sum(way for way in ways.values() if way <= ways[count]), comb(every, had)))


def test_the_lady_who_tastes_tea() -> None:
    """Three of four against one of four: 34 of 70. Source: R. A. Fisher (1935), The Design of Experiments, chapter 2,
    from memory, not verified against a copy; the number by counting: 1 + 16 of the 70 choices on either side."""
    assert fisher_exact(3, 4, 1, 4) == pytest.approx(34 / 70, rel=1e-12)


@pytest.mark.parametrize("n", [*range(8), 23])
def test_it_agrees_with_scipy_and_with_counting(n: int) -> None:
    for n_before in (*range(8), 40):
        for count in range(n + 1):
            for count_before in range(n_before + 1):
                table = [[count, n - count], [count_before, n_before - count_before]]
                ours = fisher_exact(count, n, count_before, n_before)
                assert ours == pytest.approx(counted(count, n, count_before, n_before), rel=1e-9)
                assert ours == pytest.approx(scipys(table)[1] if n and n_before else 1.0, rel=1e-9)


@pytest.mark.parametrize(
    ("count", "n", "before", "n_before"), [(300, 10_000, 4_100, 120_000), (5_000, 9_900, 60_000, 120_000)]
)
def test_large_numbers_are_met_too(count: int, n: int, before: int, n_before: int) -> None:
    theirs = scipys([[count, n - count], [before, n_before - before]])[1]
    assert fisher_exact(count, n, before, n_before) == pytest.approx(theirs, rel=1e-6)


@given(st.integers(0, 60), st.integers(0, 60), st.data())
def test_it_is_a_chance_and_does_not_mind_which_group_or_property_comes_first(
    n: int, m: int, data: st.DataObject
) -> None:
    a, b = data.draw(st.integers(0, n)), data.draw(st.integers(0, m))
    p = fisher_exact(a, n, b, m)
    assert 0.0 < p <= 1.0
    assert fisher_exact(b, m, a, n) == pytest.approx(p, rel=1e-9)
    assert fisher_exact(n - a, n, m - b, m) == pytest.approx(p, rel=1e-9)
