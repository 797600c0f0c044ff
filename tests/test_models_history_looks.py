"""Looks by themselves give the counts that the runs give, to the last bit, whatever is asked for."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from dashboard.views.offender_filters import Filters, keep_looks
from models.history.columns import History
from models.history.looks import counts_of, looks_of
from models.history.returns import ReturnCounts, present_looks, returns_of, window
from models.history.runs import Runs, runs_of
from tests.fleet import Plan, make_fleet


@pytest.fixture(scope="module")
def fleet() -> tuple[History, Runs]:
    history, _ = make_fleet(77, Plan(assets=120, jobs_high=14, people=5, instruments=3))
    return history, runs_of(history.jobs, history.breaks)


def assert_the_same(one: ReturnCounts, other: ReturnCounts) -> None:
    for field in fields(ReturnCounts):
        np.testing.assert_array_equal(getattr(one, field.name), getattr(other, field.name), err_msg=field.name)


def test_rows_are_the_looks_of_the_runs(fleet: tuple[History, Runs]) -> None:
    history, runs = fleet
    looks, before = (
        looks_of(history.jobs, history.breaks, runs, len(history.assets), present=now) for now in (True, False)
    )
    np.testing.assert_array_equal(np.sort(np.concatenate([looks.run, before.run])), np.flatnonzero(runs.looked))
    assert len(before) > 0
    assert len(looks) == looks.begins[-1] > 300
    for asset in range(len(history.assets)):
        mine = slice(looks.begins[asset], looks.begins[asset + 1])
        assert (looks.asset[mine] == asset).all()


@pytest.mark.parametrize("months", [None, 18, 60])
@pytest.mark.parametrize(
    "asked",
    [{}, {"speed": 1}, {"coupling": "spacer"}, {"person": 2}, {"instrument": 1}, {"person": 0, "coupling": "short"}],
    ids=str,
)
def test_counts_of_some_looks_are_those_of_their_runs(
    fleet: tuple[History, Runs], months: int | None, asked: dict[str, Any]
) -> None:
    history, runs = fleet
    jobs, assets = history.jobs, history.assets
    speed = asked.get("speed")
    names = {"person": history.people, "instrument": history.instruments}
    filters = Filters(
        coupling=asked.get("coupling", ""), **{who: names[who][asked[who]] for who in names if who in asked}
    )
    from_us = None if months is None else int(jobs.performed_us.max()) - months * 30 * 86_400_000_000
    keep = np.ones(len(runs), dtype=np.bool_)
    if speed is not None:
        keep &= assets.speed_class[runs.asset] == speed
    if filters.coupling:
        keep &= assets.spacer[runs.asset] == (filters.coupling == "spacer")
    for who, column in (("person", jobs.person), ("instrument", jobs.instrument)):
        if who in asked:
            keep &= column[runs.start_row] == asked[who]
    looks = looks_of(jobs, history.breaks, runs, len(assets))
    keep &= present_looks(jobs, history.breaks, runs)
    rows = keep_looks(history, looks, from_us, speed, filters)
    np.testing.assert_array_equal(
        looks.run[rows], np.flatnonzero(keep & runs.looked & window(jobs, runs, from_us, None))
    )
    assert_the_same(counts_of(looks, rows), returns_of(jobs, runs, len(assets), from_us=from_us, keep=keep))


def test_no_look_gives_counts_of_nothing(fleet: tuple[History, Runs]) -> None:
    history, runs = fleet
    looks = looks_of(history.jobs, history.breaks, runs, len(history.assets))
    none = np.zeros(len(runs), dtype=np.bool_)
    assert_the_same(
        counts_of(looks, np.zeros(0, dtype=np.int64)), returns_of(history.jobs, runs, len(history.assets), keep=none)
    )
