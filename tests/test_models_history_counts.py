"""Counts against a loop over jobs."""

from __future__ import annotations

import numpy as np

from models.history.counts import count_over
from models.history.intervals import wilson
from tests.fleet import Plan, job_columns, make_fleet


def test_counts_agree_with_a_loop_over_jobs() -> None:
    history, _ = make_fleet(5, Plan(assets=60))
    jobs = history.jobs
    counts = count_over(jobs)
    assert len(counts.classes) == 7
    for row, month in enumerate(counts.months.tolist()):
        for column, speed_class in enumerate(counts.classes.tolist()):
            here = [i for i in range(len(jobs)) if jobs.month[i] == month and jobs.speed_class[i] == speed_class]
            judged = [jobs.found_ratio[i] for i in here if not np.isnan(jobs.found_ratio[i])]
            assert counts.jobs[row, column] == len(here)
            assert counts.found.n[row, column] == len(judged)
            assert counts.found.count[row, column] == sum(x > 1 for x in judged)


def test_sums_over_months_and_classes_keep_every_job() -> None:
    history, _ = make_fleet(6, Plan(assets=60))
    counts = count_over(history.jobs)
    total = counts.total()
    assert total.jobs.tolist() == [[len(history.jobs)]]
    assert total.found.n.item() == np.count_nonzero(~np.isnan(history.jobs.found_ratio))
    assert counts.by_class().found.count.sum() == counts.by_month().found.count.sum() == total.found.count.item()
    low, high = wilson(total.found.count, total.found.n)
    assert (total.found.low, total.found.high) == (low, high)


def test_an_installation_counts_in_no_as_found_statistic() -> None:
    jobs = job_columns([0], [100], reason=[0], found=[[np.nan] * 4], found_ratio=[np.nan])
    total = count_over(jobs).total()
    assert total.jobs.item() == 1
    assert total.found.n.item() == 0
    assert total.left.n.item() == 1


def test_window_and_mask_choose_jobs_and_empty_months_keep_their_row() -> None:
    jobs = job_columns([0, 1, 2], [0, 40, 100], found_ratio=[2.0, 2.0, 0.1], speed_class=[-1, 0, 5])
    first = int(jobs.month[0])
    counts = count_over(jobs, first_month=first, last_month=first + 5, keep=np.array([True, False, True]))
    assert counts.months.tolist() == list(range(first, first + 6))
    assert counts.by_month().jobs.ravel().tolist() == [1, 0, 0, 1, 0, 0]
    assert counts.by_class().found.count.ravel().tolist() == [0, 0, 0, 0, 0, 0, 1]


def test_no_jobs_give_no_months() -> None:
    counts = count_over(job_columns([], []))
    assert counts.jobs.shape == (0, 7)
    assert counts.total().jobs.sum() == 0
