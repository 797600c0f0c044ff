"""Chance in a picture: limits against an independent binomial, and one of one is inside them."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from dashboard.views.funnel_view import INNER, NAMED, OUTER, funnel_of


def tags(n: int) -> Any:
    return np.array([f"P-{i}" for i in range(n)], dtype=object)


def funnel(looks: Any, returns: Any) -> Any:
    return funnel_of(np.array(looks), np.array(returns), tags(len(looks)))


def test_one_of_one_is_no_exception_and_eight_of_nine_is() -> None:
    made = funnel([1] * 10 + [9] * 40 + [9], [1] * 5 + [0] * 5 + [2] * 40 + [8])
    by_count = {(point.returns, point.looks): point for point in made.points}
    assert by_count[1, 1].beyond == 0
    assert by_count[1, 1].machines == 5
    assert by_count[8, 9].beyond == 1
    assert by_count[8, 9].tags == ("P-50",)
    assert made.above == 1


@given(st.lists(st.tuples(st.integers(0, 25), st.floats(0, 1)), min_size=2, max_size=40))
@settings(max_examples=60, deadline=None)
def test_a_machine_is_beyond_exactly_where_the_binomial_tail_says_so(drawn: Any) -> None:
    """Twin: scipy's binomial distribution, machine by machine."""
    looks = [n for n, _ in drawn]
    returns = [round(n * share) for n, share in drawn]
    made = funnel(looks, returns)
    if made is None:
        assert sum(returns) in {0, sum(looks)}
        return
    share = sum(returns) / sum(looks)
    for point in made.points:
        above, below = binom.sf(point.returns - 1, point.looks, share), binom.cdf(point.returns, point.looks, share)
        if min(abs(above - OUTER), abs(below - OUTER)) < 1e-9:
            continue
        assert point.beyond == (1 if above < OUTER else -1 if below < OUTER else 0)
        limit = made.outer_high[point.looks - 1]
        assert (point.beyond == 1) == (point.share > limit)
        if min(abs(above - INNER), abs(below - INNER)) > 1e-9:
            places = ("above", "below") if point.beyond else ("between",) if min(above, below) < INNER else ("within",)
            assert made.place(point) in places
    assert sum(point.machines for point in made.points) == made.machines == sum(n > 0 for n in looks)


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=2, max_size=60))
@settings(max_examples=60, deadline=None)
def test_points_are_the_pairs_in_order_each_with_its_first_machines(drawn: Any) -> None:
    looks, returns = [n for n, _ in drawn], [min(n, k) for n, k in drawn]
    made = funnel(looks, returns)
    if made is None:
        return
    wanted: dict[tuple[int, int], list[str]] = {}
    for row, pair in enumerate(zip(looks, returns, strict=True)):
        if pair[0]:
            wanted.setdefault(pair, []).append(f"P-{row}")
    assert [(point.looks, point.returns) for point in made.points] == sorted(wanted)
    for point in made.points:
        machines = wanted[point.looks, point.returns]
        assert (point.machines, point.tags) == (len(machines), tuple(machines[:NAMED]))


def test_the_number_expected_by_chance_is_the_sum_of_the_tails() -> None:
    looks, returns = [3, 8, 20, 20], [1, 2, 4, 15]
    made = funnel(looks, returns)
    share = sum(returns) / sum(looks)
    expected = 0.0
    for n in looks:
        tails = [binom.sf(k - 1, n, share) for k in range(n + 1)]
        expected += next((tail for tail in tails if tail < OUTER), 0.0)
    assert made.by_chance == pytest.approx(expected)


@pytest.mark.parametrize(("looks", "returns"), [([], []), ([0, 0], [0, 0]), ([3, 4], [0, 0]), ([3, 4], [3, 4])])
def test_where_all_went_the_same_way_there_is_no_picture(looks: Any, returns: Any) -> None:
    assert funnel_of(np.array(looks, dtype=np.int64), np.array(returns, dtype=np.int64), tags(len(looks))) is None
