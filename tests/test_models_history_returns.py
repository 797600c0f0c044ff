"""Looks, returns and their ranking against a loop over runs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.history.returns import NO_TIME, present_looks, returns_of
from models.history.runs import runs_of
from tests.fleet import DAY_US, Plan, break_columns, job_columns, make_fleet, no_breaks


def test_counts_agree_with_a_loop_over_runs() -> None:
    history, _ = make_fleet(7, Plan(assets=50))
    runs = runs_of(history.jobs, history.breaks)
    result = returns_of(history.jobs, runs, 50)
    for asset in range(50):
        looks = [
            i
            for i in range(len(runs))
            if runs.asset[i] == asset and runs.start_ratio[i] <= 1 and not np.isnan(runs.end_ratio[i])
        ]
        back = [i for i in looks if runs.end_ratio[i] > 1]
        assert result.looks[asset] == len(looks)
        assert result.returns[asset] == len(back)
        if back:
            assert result.last_us[asset] == max(history.jobs.performed_us[runs.end_row[i]] for i in back)
        if looks:
            assert result.worst_ratio[asset] == max(runs.end_ratio[i] for i in looks)


def test_one_of_one_does_not_come_first() -> None:
    days = [0, 1, *range(2, 11)]
    asset = [0, 0] + [1] * 9
    found_ratio = [np.nan, 2.0, np.nan, *[2.0] * 6, 0.5, 0.5]
    jobs = job_columns(asset, days, found_ratio=found_ratio)
    result = returns_of(jobs, runs_of(jobs, no_breaks()), 3)
    assert result.share[0] == 1.0
    assert result.ranking().tolist() == [1, 0]
    assert result.first_us[2] == NO_TIME
    assert np.isnan(result.share[2])


def test_a_window_takes_the_runs_that_end_in_it() -> None:
    jobs = job_columns([0, 0, 0], [0, 10, 20], found_ratio=[np.nan, 2.0, 3.0])
    runs = runs_of(jobs, no_breaks())
    assert returns_of(jobs, runs, 1, from_us=11 * DAY_US).returns.tolist() == [1]
    assert returns_of(jobs, runs, 1, to_us=10 * DAY_US).returns.tolist() == [0]
    assert returns_of(jobs, runs, 1, keep=np.array([True, False])).worst_ratio.tolist() == [2.0]


def test_a_broken_run_and_a_run_that_began_over_limit_are_no_looks() -> None:
    jobs = job_columns([0, 0, 0], [0, 10, 20], left_ratio=[0.1, 1.5, 0.1], found_ratio=[np.nan, 2.0, 3.0])
    result = returns_of(jobs, runs_of(jobs, break_columns([0], [5])), 1)
    assert result.looks.tolist() == [0]
    assert result.ranking().tolist() == []


def test_what_came_before_the_last_replacement_is_no_look_at_the_machine_as_it_stands() -> None:
    """Two returns, then a new base on day 25 and two good looks; another machine has none; a third was installed anew on day 10."""
    days = [0, 10, 20, 30, 40, 0, 10, 0, 10, 20]
    found = [np.nan, 2.0, 2.0, 0.5, 0.5, np.nan, 2.0, np.nan, np.nan, 2.0]
    reasons = [0, 1, 1, 1, 1, 0, 1, 0, 0, 1]
    jobs = replace(job_columns([0] * 5 + [1] * 2 + [2] * 3, days, found_ratio=found), reason=np.array(reasons))
    breaks = break_columns([0], [25])
    runs = runs_of(jobs, breaks)
    now = present_looks(jobs, breaks, runs)
    assert now.tolist() == [False, False, False, True, True, False, True]
    counts = returns_of(jobs, runs, 3, keep=now)
    assert (counts.looks.tolist(), counts.returns.tolist()) == ([1, 1, 1], [0, 1, 1])
    assert 0 not in counts.ranking()
    assert returns_of(jobs, runs, 3).returns.tolist() == [2, 1, 1], "before"
