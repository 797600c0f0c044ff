"""Material: series between breaks, and the clock that an asset goes by."""

from __future__ import annotations

import numpy as np

from models.history.classes import group_series
from models.history.material import Material, material_of
from models.history.runs import runs_of
from tests.fleet import asset_columns, break_columns, job_columns, no_breaks

NAN = np.nan


def material(jobs: object, breaks: object, n: int) -> Material:
    runs = runs_of(jobs, breaks)  # type: ignore[arg-type]
    return material_of(jobs, breaks, runs, asset_columns(n))  # type: ignore[arg-type]


def test_a_break_begins_a_new_series_and_only_the_present_one_is_the_assets() -> None:
    jobs = job_columns([0] * 5 + [1] * 2, [0, 10, 20, 30, 40, 0, 10])
    got = material(jobs, break_columns([0], [15]), 2)
    assert got.series.tolist() == [0, 1, 1, 2]
    assert got.series_asset.tolist() == [0, 0, 1]
    assert got.series_now.tolist() == [1, 2]
    assert got.at_row.tolist() == [4, 6]


def test_a_break_after_the_last_job_leaves_no_present_series() -> None:
    got = material(job_columns([0, 0], [0, 10]), break_columns([0], [11]), 1)
    assert got.series_now.tolist() == [-1]


def test_hours_run_are_used_when_every_run_has_them_and_calendar_time_otherwise() -> None:
    hours = [0, 2400, 4800, 0, 2400, NAN]
    jobs = job_columns([0, 0, 0, 1, 1, 1], [0, 200, 400, 0, 200, 400], hours_run=hours)
    got = material(jobs, no_breaks(), 2)
    assert got.by_hours.tolist() == [True, False]
    np.testing.assert_allclose(got.years * 365.25, [100, 100, 200, 200])
    np.testing.assert_allclose(got.duty, [0.5, 1.0])


def test_unknown_runs_are_no_material() -> None:
    found = [[0.0] * 4, [NAN] * 4, [0.0] * 4]
    assert len(material(job_columns([0, 0, 0], [0, 1, 2], found=found), no_breaks(), 1)) == 1
    assert len(material(job_columns([], []), no_breaks(), 2)) == 0


def test_a_class_with_too_few_members_takes_the_fleets_fit() -> None:
    series_class = np.array([3] * 40 + [1] * 5 + [-1] * 2)
    grouping = group_series(series_class, np.arange(47))
    assert grouping.label.tolist() == [3, -1]
    assert grouping.members.tolist() == [40, 47]
    assert grouping.fit.tolist() == [0] * 40 + [1] * 7
    assert grouping.rows_of(grouping.fleet, np.arange(47)).all()
    assert group_series(np.zeros(0, np.int64), np.zeros(0, np.int64)).fleet == 0
