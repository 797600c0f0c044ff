"""Groups that move alike: a planted one is found, none is found where none is, and one machine is no group."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from dashboard.views.groups_view import AREA, INSTRUMENT, TRAIN, groups_of
from models.history.engine import study_of
from tests.fleet import Plan, make_fleet, shuffled
from tests.history_maker import columns_of

AREAS, EACH = 6, 20


def fleet(seed: int, sinking: Any = (), mm_a_year: float = 0.0, train: Any = None) -> Any:
    """Give a fleet in six areas whose machines drift each its own way; some machines are made to sink at both rows of feet."""
    history, _ = make_fleet(seed, Plan(assets=AREAS * EACH, rate_sd=0.1, break_share=0.0, jobs_low=5))
    jobs, found = history.jobs, history.jobs.found.copy()
    rows = np.isin(jobs.asset, list(sinking))
    before = np.where(np.diff(jobs.asset, prepend=-1) == 0, np.append(0, np.diff(jobs.performed_us)), 0)
    found[rows, 0] += mm_a_year * (before / 86_400e6 / 365.25)[rows]
    area = np.array([f"Area {i // EACH}" for i in range(AREAS * EACH)], dtype=object)
    trains = np.full(AREAS * EACH, "", dtype=object)
    if train is not None:
        trains[list(train)] = "T-1"
    return replace(history, jobs=replace(jobs, found=found), assets=replace(history.assets, area=area, train=trains))


def lines_of(history: Any) -> Any:
    return groups_of(history, study_of(history))


def test_an_area_that_sinks_is_found_and_named_with_its_interval() -> None:
    history = fleet(3, sinking=range(EACH), mm_a_year=-0.12)
    groups = lines_of(history)
    (line,) = groups.lines
    assert (line.kind, line.name, line.members) == (AREA, "Area 0", EACH)
    assert line.low < -0.12 < line.high
    assert line.low < line.value < line.high < line.others
    assert line.same_way >= EACH * 2 / 3
    assert (groups.areas, groups.trains) == (AREAS, 0)


def test_one_restless_machine_is_no_group() -> None:
    found = lines_of(fleet(4, sinking=[5], mm_a_year=-2.5)).lines
    assert "Area 0" not in {one.name for one in found}


def test_a_train_of_two_that_sinks_is_found_although_its_area_stands() -> None:
    history = fleet(5, sinking=[40, 41], mm_a_year=-0.6, train=[40, 41])
    found = [one for one in lines_of(history).lines if one.kind == TRAIN]
    assert [(one.name, one.members, one.same_way) for one in found] == [("T-1", 2, 2)]


@pytest.mark.slow
def test_fleets_without_a_group_raise_few_alarms() -> None:
    """The accepted rate is one in ten, of 24 fleets with 24 tests each; eight or more would come by chance in 2 of 1,000."""
    alarms = sum(bool([one for one in lines_of(fleet(100 + seed)).lines if one.kind == AREA]) for seed in range(24))
    assert alarms <= 7


def test_the_order_of_machines_changes_nothing() -> None:
    history = fleet(3, sinking=range(EACH), mm_a_year=-0.12)
    (line,) = lines_of(history).lines
    (other,) = lines_of(shuffled(history, 8)[0]).lines
    assert (other.name, other.part, other.members) == (line.name, line.part, line.members)
    assert (other.value, other.low, other.high) == pytest.approx((line.value, line.low, line.high), rel=1e-6)


def test_an_empty_history_has_no_groups() -> None:
    history = columns_of([])
    groups = lines_of(history)
    assert (groups.lines, groups.areas, groups.trains, groups.instruments) == ((), 0, 0, 0)
    assert INSTRUMENT not in {one.kind for one in groups.lines}
