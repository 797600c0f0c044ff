"""Exact distribution of Kendall's S against two published tables and brute force."""

from __future__ import annotations

import csv
import json
from itertools import permutations
from math import factorial
from pathlib import Path

import numpy as np
import pytest

from models.history.kendall import critical_s, inversion_shares, tail_table, two_sided_p

PUBLISHED = Path(__file__).parent / "published"


def test_the_table_of_exact_tails_comes_out() -> None:
    """kendall_exact_tail.csv, exact enumeration (computed for this project; agrees with Gilbert 1987 for n = 4, from memory)."""
    with (PUBLISHED / "kendall_exact_tail.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    assert len(rows) > 100
    for row in rows:
        n, s = int(row["n"]), int(row["s"])
        assert tail_table(n)[s] == pytest.approx(float(row["p_one_sided"]), abs=6e-11)
        assert tail_table(n)[s] * factorial(n) == pytest.approx(float(row["count_ge"]), rel=1e-9)


def test_reverse_arrangement_critical_values_are_those_of_dataplot_but_for_two() -> None:
    """NIST Dataplot, src/dp31.F90; the two cells of n = 12 at 1 % have P = .0105 there."""
    table = json.loads((PUBLISHED / "nist_trend_tests.json").read_text(encoding="utf-8"))["rat_critical_values"]
    different = []
    for n in range(4, 13):
        reach = np.cumsum(inversion_shares(n))
        most = n * (n - 1) // 2
        lower = [int(np.flatnonzero(reach <= a + 1e-12)[-1]) if reach[0] <= a else None for a in (0.01, 0.05, 0.10)]
        ours = [*lower, *(None if r is None else most - r for r in reversed(lower))]
        different += [(n, k) for k in range(6) if ours[k] != table[str(n)][k]]
    assert different == [(12, 0), (12, 5)]


def test_with_ties_the_p_value_errs_to_the_safe_side() -> None:
    for values in ([1, 1, 2, 3, 4], [1, 1, 2, 2, 3], [1, 1, 1, 2, 3], [1, 2, 2, 2, 2]):
        n = len(values)
        scores = [sum(np.sign(p[j] - p[i]) for i in range(n) for j in range(i + 1, n)) for p in permutations(values)]
        sizes = np.abs(np.array(scores))
        for s in np.unique(sizes).astype(int):
            true = float(np.mean(sizes >= s))
            assert two_sided_p(np.array([s]), n, np.array([1.0]))[0] >= true - 1e-12


def test_smallest_two_sided_p_is_two_over_the_number_of_orders() -> None:
    for n in (3, 4, 5, 6):
        assert 2.0 * tail_table(n)[-1] == pytest.approx(2.0 / factorial(n))
    assert critical_s(4, 0.025) == 7
    assert critical_s(5, 0.025) == 10


def test_exact_and_normal_meet_at_forty() -> None:
    s = np.arange(2, 400, 38)  # of the parity that forty values can have
    variance = np.full(len(s), 40 * 39 * 85 / 18)
    np.testing.assert_allclose(two_sided_p(s, 40, variance), two_sided_p(s, 40, variance, exact=False), atol=3e-3)
