"""Ways into a history give what a walk through all of it gives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.history.counts import Counts, count_over
from models.history.index import index_of
from models.history.runs import runs_of
from tests.fleet import Plan, make_fleet


def assert_same_counts(one: Counts, other: Counts) -> None:
    assert one.months.tolist() == other.months.tolist()
    assert one.classes.tolist() == other.classes.tolist()
    assert one.jobs.tolist() == other.jobs.tolist()
    for stage in ("found", "left"):
        a, b = getattr(one, stage), getattr(other, stage)
        for name in ("count", "n", "share", "low", "high"):
            assert np.array_equal(getattr(a, name), getattr(b, name), equal_nan=True), (stage, name)


@pytest.mark.parametrize("seed", [1, 2])
def test_months_runs_and_counts_are_those_of_a_walk(seed: int) -> None:
    history, _ = make_fleet(seed, Plan(assets=50))
    jobs = history.jobs
    runs = runs_of(jobs, history.breaks)
    index = index_of(jobs, runs)
    first, last = int(jobs.month.min()), int(jobs.month.max())
    for low, high in (
        (first, first),
        (first + 3, first + 15),
        (first - 30, first + 2),
        (last, last + 9),
        (last + 1, last + 2),
        (first - 9, last + 9),
    ):
        assert index.rows(low, high).tolist() == np.flatnonzero((jobs.month >= low) & (jobs.month <= high)).tolist()
        assert_same_counts(index.counts.window(low, high), count_over(jobs, first_month=low, last_month=high))
    for run, row in enumerate(runs.end_row.tolist()):
        assert index.run_at[row] == run
    assert np.count_nonzero(index.run_at >= 0) == len(runs)


def test_an_empty_history_has_an_index() -> None:
    history, _ = make_fleet(1, Plan(assets=3))
    jobs = history.jobs.take(np.zeros(0, dtype=np.int64))
    index = index_of(jobs, runs_of(jobs, history.breaks))
    assert index.rows(24_000, 24_011).tolist() == []
    assert index.counts.window(24_000, 24_001).jobs.sum() == 0
    assert replace(index).first == 0
