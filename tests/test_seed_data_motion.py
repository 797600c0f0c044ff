"""How the invented machines move between two visits."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from models.values.kinds import Reason
from seed_data.motion import growth_mm, next_call, pulled_by_pipes, settling_per_year, slips, walk
from seed_data.plant import Station, scenario
from seed_data.rules import yardstick


def station(tag: str) -> Station:
    return next(s for s in scenario().stations if s.tag == tag)


def test_growth_of_a_steel_machine_scaled_to_cast_iron() -> None:
    """CV-23 of the trade reference has 11.7e-6 × 500 mm × 50 K = 0.2925 mm for steel A36; grey cast iron is 11.4e-6

    (both: Callister, Fundamentals of Materials Science and Engineering, 3rd ed., Table B.6); the product is derived.
    """
    assert growth_mm(500.0, 70.0) == pytest.approx(0.2925 * 11.4 / 11.7)
    assert growth_mm(315.0, 18.0, 18.0) == 0.0


def test_an_ordinary_machine_wanders_without_direction_and_its_variance_grows_with_time() -> None:
    ordinary = next(s for s in scenario().stations if not s.causes and s.asset_on(date(2022, 1, 1)).speed_rpm == 1475.0)
    stick, rng = yardstick(ordinary.versions[0]), np.random.default_rng(11)
    paths = np.array([walk(ordinary, stick, np.zeros(4), date(2022, 1, 1), 360, rng) for _ in range(600)])
    ends = paths[:, -1, 0]
    assert abs(ends.mean()) < 4.0 * ends.std() / np.sqrt(len(ends))
    assert paths[:, 89, 0].var() / ends.var() == pytest.approx(0.25, abs=0.06)


def test_a_settling_base_slows_down_and_stops_when_it_is_grouted_anew() -> None:
    base = station("SI-P-101B")
    scale = yardstick(base.versions[0]).scale
    early, late = (settling_per_year(base, scale, day)[0] for day in (date(2021, 1, 1), date(2024, 1, 1)))
    assert early < late < 0.0
    assert settling_per_year(base, scale, date(2024, 5, 14)).tolist() == [0.0, 0.0, 0.0, 0.0]
    other = station("SI-P-121A")
    assert not settling_per_year(other, scale, date(2021, 1, 1)).any()


def test_pipes_pull_one_way_and_only_at_the_machines_that_are_named() -> None:
    pump = station("DS-P-222A")
    scale, rng = yardstick(pump.versions[0]).scale, np.random.default_rng(2)
    pulls = np.array([pulled_by_pipes(pump, scale, date(2022, 4, 12), rng) for _ in range(50)]) / scale
    pipes = pump.cause("pipe strain")
    assert pipes is not None
    assert (pulls[:, 0] < 0.0).all()
    assert pulls[:, 2].mean() == pytest.approx(pipes.size["offset_h"], rel=0.05)
    assert not pulled_by_pipes(pump, scale, date(2019, 1, 1), rng).any()
    assert not pulled_by_pipes(station("SI-P-121A"), scale, date(2022, 4, 12), rng).any()


def test_loose_bolts_slip_as_often_as_the_scenario_says_and_either_way() -> None:
    pump, start, days = station("KW-P-312B"), date(2022, 1, 1), 36_525
    scale, rng = yardstick(pump.versions[0]).scale, np.random.default_rng(6)
    bolts = pump.cause("loose bolts")
    assert bolts is not None
    steps = slips(pump, scale, start, days, rng) / scale
    moved = steps[steps.any(axis=1)]
    assert len(moved) / 100.0 == pytest.approx(bolts.size["slips_per_year"], rel=0.1)
    assert np.mean(moved[:, 2] > 0.0) == pytest.approx(0.5, abs=0.1)
    assert np.abs(moved[:, 2]).mean() == pytest.approx(bolts.size["offset_h"], rel=0.05)
    before = slips(pump, scale, date(2019, 1, 1), 365, rng)
    assert not before.any(), "nothing before the day that the scenario names"
    assert not slips(station("SI-P-121A"), scale, start, days, rng).any()


def test_a_machine_within_its_limit_is_left_until_the_plan_says_so_and_a_bad_one_is_called_sooner() -> None:
    rng, start = np.random.default_rng(4), date(2022, 1, 3)
    good = [next_call(np.full(200, 0.5), start, rng) for _ in range(400)]
    bad = [next_call(np.full(200, 3.5), start, rng) for _ in range(400)]
    assert sum(call.reason is Reason.PLANNED for call in good) > 330
    assert not any(call.reason is Reason.FAILURE for call in good)
    assert sum(call.reason.noticed for call in bad) > 360
    assert all(start < call.day <= date(2022, 7, 22) for call in (*good, *bad))
