"""Limits of a machine in words: soft foot alone is no resultant, and where nothing is judged it is said why."""

from __future__ import annotations

from dataclasses import replace

import pytest
from history_maker import STARTER

from dashboard.components.record_results import stage_result
from dashboard.views.limit_words import given_texts, how_taken, limits_in_force, why_none
from dashboard.views.record_sheet import Basis
from dashboard.views.record_view import StageView
from models.maths.judged import limits_for
from models.maths.working import work_out
from models.units import Display
from models.values.asset import Asset
from models.values.draft import Draft, Way
from models.values.job import Misalignment
from models.values.kinds import Coupling
from models.values.limits import LimitsGiven

PUMP = Asset("P-1", "brine pump", speed_rpm=1480.0, feet_movable_mm=(250.0, 700.0))
MM, MIL = Display(), Display("mil", "°F")


def test_a_machine_without_a_speed_is_told_so_and_its_soft_foot_is_called_no_resultant() -> None:
    limits = limits_for(STARTER, Coupling.SHORT, None)
    told = limits_in_force(limits, MIL, STARTER, None)
    assert told == "soft foot 2.0 mil; none for offset and angularity, as the running speed of the machine is not known"
    assert how_taken(limits) == "none for offset and angularity"


def test_a_machine_with_a_speed_is_told_how_its_limits_are_taken() -> None:
    limits = limits_for(STARTER, Coupling.SHORT, 1500.0)
    told = limits_in_force(limits, MM, STARTER, 1500.0)
    assert told.startswith("offset 0.080 mm, angularity 0.67 mm/m, soft foot ")
    assert told.endswith("; vertical and horizontal together, as a resultant")
    assert how_taken(LimitsGiven(0.1, each_axis=True)) == "vertical and horizontal each by itself"
    assert how_taken(LimitsGiven(flex_mm_m=0.5)) == "vertical and horizontal together, as a resultant"


@pytest.mark.parametrize(
    ("has_set", "speed", "why"),
    [(False, 1500.0, "no limit set is in force"), (True, None, "speed of the machine is not known"), (True, 9.0, "for this coupling and speed")],
)  # fmt: skip
def test_it_is_said_why_there_is_none(has_set: bool, speed: float | None, why: str) -> None:
    limit_set = STARTER if has_set else None
    assert why_none(limit_set, speed).endswith(why)
    assert limits_in_force(LimitsGiven(), MM, limit_set, speed) == why_none(limit_set, speed)
    assert given_texts(LimitsGiven(), MM) == ()


def test_a_result_that_is_not_judged_says_why_and_where_the_speed_is_given() -> None:
    slow = replace(PUMP, speed_rpm=None)
    limits = limits_for(STARTER, slow.coupling, None)
    worked = work_out(Draft(Way.RESULTS, results=(0.1, 0.2, 0.0, 0.1)), slow, limits, Misalignment(), MM)
    told = str(
        stage_result(
            StageView("found", worked), Basis(slow, STARTER, limits), {"movable": (), "stationary": ()}, MM, "light"
        )
    )
    assert (
        "Not judged. Limits of this machine: none for offset and angularity, as the running speed of the machine is not known."
        in told
    )
    assert "column ‘running speed’" in told
    unset = str(
        stage_result(
            StageView("found", worked), Basis(slow, None, LimitsGiven()), {"movable": (), "stationary": ()}, MM, "light"
        )
    )
    assert "as no limit set is in force" in unset
    assert "column ‘running speed’" not in unset
