"""Verdicts of the past under another limit set."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from models.history import whatif
from models.history.columns import UNKNOWN
from models.history.whatif import judge_again, limits_of_jobs, turned
from models.maths.judged import limits_for
from models.values.kinds import Coupling
from models.values.limits import Combine, Judged, LimitRow, LimitSet
from tests.fleet import Plan, job_columns, make_fleet

STARTER = LimitSet(
    "starter", "this project's own rule (design, section 2)", "test", date(2026, 1, 1),
    (
        LimitRow(Judged.OFFSET, per_rpm=120.0, floor_rpm=750.0),
        LimitRow(Judged.ANGULARITY, per_rpm=1000.0, floor_rpm=750.0),
        LimitRow(Judged.FLEX_ANGLE, coupling=Coupling.SPACER, value=0.5),
        LimitRow(Judged.SOFT_FOOT, value=0.05),
    ),
)  # fmt: skip


def test_the_same_set_gives_the_same_verdicts() -> None:
    jobs = make_fleet(61, Plan(assets=80))[0].jobs
    again = judge_again(jobs, STARTER)
    np.testing.assert_allclose(again.found_ratio, jobs.found_ratio, rtol=1e-9)
    np.testing.assert_allclose(again.left_ratio, jobs.left_ratio, rtol=1e-9)
    assert not again.found_turns.any()
    assert again.found.count == again.found_before.count


def test_half_the_limits_are_twice_the_ratios_and_verdicts_only_turn_over() -> None:
    jobs = make_fleet(61, Plan(assets=80))[0].jobs
    rows = tuple(LimitRow(r.judged, r.coupling, value=None if r.value is None else r.value / 2,
                          per_rpm=None if r.per_rpm is None else r.per_rpm / 2, floor_rpm=r.floor_rpm) for r in STARTER.rows)  # fmt: skip
    again = judge_again(jobs, LimitSet("half", "test", "test", date(2026, 1, 1), rows))
    np.testing.assert_allclose(again.found_ratio, 2 * jobs.found_ratio, rtol=1e-9)
    known = ~np.isnan(jobs.found_ratio)
    assert again.found_turns[known].sum() == np.sum(again.found_ratio[known] > 1) - np.sum(jobs.found_ratio[known] > 1)
    assert again.found_turns.min() >= 0
    assert again.found.share[0] > again.found_before.share[0]


def test_limits_are_those_of_each_machine_alone() -> None:
    jobs = job_columns(
        [0, 1, 2, 3],
        [0, 1, 2, 3],
        speed_rpm=[1480, 2980, np.nan, 1480],
        spacer=[False, True, False, True],
        span_mm=[np.nan, 180, np.nan, 140],
    )
    limits, _ = limits_of_jobs(jobs, STARTER)
    for k, (coupling, rpm) in enumerate(
        [(Coupling.SHORT, 1480.0), (Coupling.SPACER, 2980.0), (Coupling.SHORT, None), (Coupling.SPACER, 1480.0)]
    ):
        given = limits_for(STARTER, coupling, rpm)
        expected = [
            np.nan if x is None else x for x in (given.offset_mm, given.angle_mm_m, given.flex_mm_m, given.soft_foot_mm)
        ]
        np.testing.assert_array_equal(limits[k], expected)


def test_a_set_that_judges_each_axis_is_no_stricter_than_the_resultant() -> None:
    jobs = make_fleet(62, Plan(assets=40, spacer_share=0.0))[0].jobs
    rows = tuple(
        LimitRow(r.judged, r.coupling, value=r.value, per_rpm=r.per_rpm, floor_rpm=r.floor_rpm, combine=Combine.EACH)
        for r in STARTER.rows
    )
    again = judge_again(jobs, LimitSet("each", "test", "test", date(2026, 1, 1), rows))
    known = ~np.isnan(jobs.found_ratio)
    assert (again.found_ratio[known] <= jobs.found_ratio[known] + 1e-12).all()


@pytest.mark.parametrize("speed", [np.nan, 1480.0])
def test_a_set_that_says_nothing_of_a_machine_gives_no_verdict(speed: float) -> None:
    fast = LimitSet("fast", "test", "test", date(2026, 1, 1), (LimitRow(Judged.OFFSET, above_rpm=3000.0, value=0.05),))
    again = judge_again(job_columns([0], [0], speed_rpm=[speed]), fast)
    assert np.isnan(again.found_ratio).all()
    assert again.found.n[0] == 0
    assert again.found_turns[0] == 0


@pytest.mark.parametrize("some", [False, True])
@pytest.mark.parametrize("at_once", [7, 10**6])
def test_verdicts_that_turn_are_counted_some_jobs_at_a_time_as_all_at_once(
    monkeypatch: pytest.MonkeyPatch, some: bool, at_once: int
) -> None:
    jobs = make_fleet(62, Plan(assets=60))[0].jobs
    unknown = jobs.asset % 5 == 0
    jobs = replace(
        jobs,
        speed_rpm=np.where(unknown, np.nan, jobs.speed_rpm),
        speed_class=np.where(unknown, UNKNOWN, jobs.speed_class),
    )
    rows = np.flatnonzero(jobs.person % 2 == 0) if some else None
    law = LimitRow(Judged.OFFSET, per_rpm=70.0)
    other = LimitSet("other", "test", "test", date(2026, 1, 1), (law, STARTER.rows[2]))
    monkeypatch.setattr(whatif, "AT_ONCE", at_once)
    got = turned(jobs, other, rows)
    again = judge_again(jobs, other) if rows is None else judge_again(jobs, other, rows)
    mine = jobs if rows is None else jobs.take(rows)
    lost = gained = 0
    for cells, before, then, turns in (
        (got.found, mine.found_ratio, again.found_ratio, again.found_turns),
        (got.left, mine.left_ratio, again.left_ratio, again.left_turns),
    ):
        both = ~np.isnan(before) & ~np.isnan(then)
        for place in range(len(cells)):
            here = both & (mine.speed_class == place + UNKNOWN)
            for was in (0, 1):
                for is_ in (0, 1):
                    n = np.count_nonzero(here & ((before > 1.0) == was) & ((then > 1.0) == is_))
                    assert cells[place, was, is_] == n
        assert cells[:, 0, 1].sum() == np.count_nonzero(turns > 0)
        assert cells[:, 1, 0].sum() == np.count_nonzero(turns < 0)
        lost += np.count_nonzero(~np.isnan(before) & np.isnan(then))
        gained += np.count_nonzero(np.isnan(before) & ~np.isnan(then))
    assert (got.lost, got.gained) == (lost, gained)
    assert lost
    assert got.found[:, 0, 1].sum() > 0
