"""Which set judged a job is told by the limits that stand with it, and months are cut where that changes."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np

from models.history.columns import JobColumns
from models.history.one_set import Stretch, counted_by, judged_by, some_jobs, stretches_of
from models.history.whatif import judge_again
from models.values.asset import Asset
from models.values.kinds import Coupling
from models.values.limits import Combine, Judged
from tests.history_maker import STARTER, Misalignment, columns_of, job, line, story_of

TIGHT = replace(
    STARTER,
    name="tight",
    starter=False,
    adopted_on=date(2026, 3, 1),
    rows=tuple(
        replace(row, per_rpm=row.per_rpm / 2.0) if row.judged is Judged.OFFSET and row.per_rpm else row
        for row in STARTER.rows
    ),
)
"""Half of the starter's offset at short couplings; spacers as before."""


def jobs_of(*assets: Asset) -> JobColumns:
    found = Misalignment(offset_v=0.05)
    stories = [
        story_of(asset, [line(job(asset.tag, "2026-01-05T09:00", found, found), asset, n + 1)], asset_id=n + 1)
        for n, asset in enumerate(assets)
    ]
    return columns_of(stories).jobs


def test_a_set_is_known_by_the_limits_that_stand_with_the_job() -> None:
    jobs = jobs_of(
        Asset("P-1", speed_rpm=1480.0), Asset("P-2", coupling=Coupling.SPACER, span_mm=140.0, speed_rpm=1480.0)
    )
    assert judged_by(jobs, [STARTER, TIGHT]).tolist() == [[True, False], [True, True]]
    again = judge_again(jobs, TIGHT)
    tight = replace(jobs, limits=again.limits, found_ratio=again.found_ratio, left_ratio=again.left_ratio)
    assert judged_by(tight, [STARTER, TIGHT]).tolist() == [[False, True], [True, True]]
    strange = replace(jobs, limits=jobs.limits * 3.0)
    assert judged_by(strange, [STARTER, TIGHT]).all(), "what no set gives tells of no change"
    silent = replace(tight, found_ratio=np.full(2, np.nan), left_ratio=np.full(2, np.nan))
    assert judged_by(silent, [STARTER, TIGHT]).all()


def test_sets_that_differ_in_how_the_axes_are_judged_are_told_apart() -> None:
    each = replace(STARTER, name="each axis", rows=tuple(replace(row, combine=Combine.EACH) for row in STARTER.rows))
    jobs = jobs_of(Asset("P-1", speed_rpm=1480.0))
    assert judged_by(jobs, [STARTER, each]).tolist() == [[True, False]]
    again = judge_again(jobs, each)
    assert np.array_equal(again.limits[:, :3], jobs.limits[:, :3], equal_nan=True)
    assert judged_by(replace(jobs, each_axis=~jobs.each_axis), [STARTER, each]).tolist() == [[False, True]]


def test_months_are_cut_where_another_set_judged_most_jobs() -> None:
    first, other, either = [True, False], [False, True], [True, True]
    month = np.array([10, 10, 11, 12, 12, 12, 13, 14])
    same = np.array([first, first, either, other, other, first, either, other])
    assert stretches_of(month, same, 9, 15) == (Stretch(9, 11, (0,)), Stretch(12, 15, (1,)))
    assert stretches_of(month, np.ones((8, 2), dtype=np.bool_), 9, 15) == (Stretch(9, 15, (0, 1)),)


def test_counts_by_one_set_are_those_of_the_trial() -> None:
    jobs = jobs_of(*(Asset(f"P-{n}", speed_rpm=985.0 + 495.0 * n) for n in range(5)))
    month = int(jobs.month[0])
    again = judge_again(jobs, TIGHT)
    counts = counted_by(some_jobs(jobs, np.arange(5)), TIGHT, month - 1, month).total()
    assert counts.found.count[0, 0] == (again.found_ratio > 1.0).sum() > (jobs.found_ratio > 1.0).sum()
    assert counts.found.n[0, 0] == 5
