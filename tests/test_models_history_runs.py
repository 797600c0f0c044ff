"""Runs: which pairs of jobs make one, what ends it, and what it does not know."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from models.history.columns import REASONS, BreakColumns, JobColumns
from models.history.runs import runs_of, standing_since
from tests.fleet import Plan, break_columns, job_columns, make_fleet, no_breaks, shuffled

NAN = np.nan


def obvious(jobs: JobColumns, breaks: BreakColumns) -> list[tuple[int, int, bool]]:
    """The slow twin: for each job its next one, and whether anything was replaced in between."""
    pairs = []
    for i in range(len(jobs) - 1):
        if jobs.asset[i] != jobs.asset[i + 1]:
            continue
        start, end = jobs.performed_us[i], jobs.performed_us[i + 1]
        broken = any(a == jobs.asset[i] and start < at <= end for a, at in zip(breaks.asset, breaks.at_us, strict=True))
        pairs.append((i, i + 1, broken or REASONS[jobs.reason[i + 1]] == "installation"))
    return pairs


def test_drift_is_the_next_as_found_minus_the_as_left() -> None:
    found = [[NAN] * 4, [0.05, 0.2, -0.01, 0.0], [0.0, 0.0, 0.0, 0.0]]
    left = [[0.01, 0.1, 0.0, 0.0], [0.02, 0.0, 0.0, 0.0], [0.0] * 4]
    jobs = job_columns(
        [0, 0, 0], [0, 100, 250], found=found, left=left, left_ratio=[0.1, 0.2, 0], found_ratio=[NAN, 1.2, 0.1]
    )
    runs = runs_of(jobs, no_breaks())
    np.testing.assert_allclose(runs.drift, [[0.04, 0.1, -0.01, 0.0], [-0.02, 0.0, 0.0, 0.0]], atol=1e-15)
    assert runs.days.tolist() == [100.0, 150.0]
    assert runs.returned.tolist() == [True, False]
    assert runs.known.all()


def test_a_missing_as_found_is_unknown_and_the_next_run_begins_at_its_own_as_left() -> None:
    found = [[0.0] * 4, [NAN] * 4, [0.3, 0, 0, 0]]
    left = [[0.0] * 4, [0.1, 0, 0, 0], [0.0] * 4]
    jobs = job_columns([0, 0, 0], [0, 100, 200], found=found, left=left, found_ratio=[0, NAN, 3.0])
    runs = runs_of(jobs, no_breaks())
    assert runs.known.tolist() == [False, True]
    assert np.isnan(runs.drift[0]).all()
    assert runs.drift[1, 0] == 0.3 - 0.1
    assert runs.returned.tolist() == [False, True]


def test_a_break_ends_a_run_without_drift_and_only_in_its_own_asset() -> None:
    jobs = job_columns([0, 0, 0, 1, 1], [0, 10, 20, 0, 20], found_ratio=np.full(5, 2.0))
    runs = runs_of(jobs, break_columns([0], [15]))
    assert runs.broken.tolist() == [False, True, False]
    assert runs.known.tolist() == [True, False, True]
    assert runs.returned.tolist() == [True, False, True]


def test_a_break_at_the_time_of_the_end_breaks_and_at_the_start_does_not() -> None:
    jobs = job_columns([0, 0, 0], [0, 10, 20])
    assert runs_of(jobs, break_columns([0], [10])).broken.tolist() == [True, False]


def test_an_installation_has_nothing_before_it() -> None:
    reason = [REASONS.index(x) for x in ("installation", "planned", "installation", "planned")]
    jobs = job_columns([0] * 4, [0, 10, 20, 30], reason=reason)
    assert runs_of(jobs, no_breaks()).broken.tolist() == [False, True, False]


def test_between_two_jobs_of_one_moment_there_is_no_run() -> None:
    left = [[0.0] * 4, [0.1, 0, 0, 0], [0.2, 0, 0, 0], [0.0] * 4]
    jobs = job_columns([0] * 4, [0, 10, 10, 30], left=left, found_ratio=[NAN, 2.0, 2.0, 2.0], hours_run=[1, 5, 9, 20])
    runs = runs_of(jobs, no_breaks())
    assert runs.returned.tolist() == [True, False, True], "left within and found over it 0.0 days later: no return"
    assert runs.looked.tolist() == [True, False, True]
    assert runs.known.tolist() == [True, False, True]
    assert np.isnan(runs.hours).tolist() == [False, True, False]
    assert runs.drift[2, 0] == -0.2, "the run after begins where the later entry of the moment left the machine"
    assert not runs.broken.any(), "it cuts nothing: what lies before and after is one series"


def test_hours_run_backwards_say_nothing() -> None:
    jobs = job_columns([0] * 4, [0, 10, 20, 30], hours_run=[100, 250, 20, NAN])
    runs = runs_of(jobs, no_breaks())
    assert runs.hours[0] == 150
    assert np.isnan(runs.hours[1:]).all()


def test_exactly_the_limit_is_within() -> None:
    jobs = job_columns(
        [0, 0, 0], [0, 1, 2], left_ratio=[1.0, 1.0 + 1e-12, 0], found_ratio=[NAN, np.nextafter(1, 2), 2.0]
    )
    assert runs_of(jobs, no_breaks()).returned.tolist() == [True, False]


def test_no_jobs_and_one_job_give_no_runs() -> None:
    assert len(runs_of(job_columns([], []), no_breaks())) == 0
    assert len(runs_of(job_columns([0], [1]), break_columns([0], [2]))) == 0


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_runs_agree_with_the_slow_twin(data: st.DataObject) -> None:
    n = data.draw(st.integers(0, 25))
    asset = np.sort(np.array(data.draw(st.lists(st.integers(0, 4), min_size=n, max_size=n)), dtype=np.int64))
    day = np.array(data.draw(st.lists(st.integers(0, 12), min_size=n, max_size=n)), dtype=np.int64)
    order = np.lexsort((day, asset))
    reason = data.draw(st.lists(st.integers(0, 5), min_size=n, max_size=n))
    jobs = job_columns(asset[order], day[order], reason=reason)
    m = data.draw(st.integers(0, 8))
    broke = np.array(data.draw(st.lists(st.integers(0, 5), min_size=m, max_size=m)), dtype=np.int64)
    on = np.array(data.draw(st.lists(st.integers(0, 12), min_size=m, max_size=m)), dtype=np.int64)
    order = np.lexsort((on, broke))
    breaks = break_columns(broke[order], on[order])
    runs = runs_of(jobs, breaks)
    got = list(zip(runs.start_row.tolist(), runs.end_row.tolist(), runs.broken.tolist(), strict=True))
    assert got == obvious(jobs, breaks)


def test_renumbering_the_assets_changes_nothing() -> None:
    history, _ = make_fleet(3, Plan(assets=80))
    other, order = shuffled(history, 4)
    one, two = runs_of(history.jobs, history.breaks), runs_of(other.jobs, other.breaks)
    for old_index in range(80):
        new_index = int(np.flatnonzero(order == old_index)[0])
        np.testing.assert_array_equal(one.drift[one.asset == old_index], two.drift[two.asset == new_index])
        np.testing.assert_array_equal(one.broken[one.asset == old_index], two.broken[two.asset == new_index])


def test_only_what_stands_after_the_last_break_and_installation_stands() -> None:
    reason = [REASONS.index(x) for x in ("installation", "planned", "installation", "planned", "planned")]
    jobs = job_columns([0, 0, 0, 0, 1], [0, 10, 20, 30, 5], reason=reason)
    assert standing_since(jobs, no_breaks()).tolist() == [False, False, True, True, True]
    assert standing_since(jobs, break_columns([0, 1], [25, 5])).tolist() == [False, False, False, True, True]
