"""The rule of the generator is the starter rule of the project, which is no standard."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

import seed_data
from models.maths.judged import limits_for
from models.values.asset import Asset
from models.values.kinds import Coupling
from models.values.limits import Combine, Judged, LimitRow, LimitSet
from seed_data.plant import scenario
from seed_data.rules import RULE, yardstick


def test_it_gives_every_machine_the_limits_of_the_starter_set_that_ships() -> None:
    data = tomllib.loads((Path(seed_data.__file__).parent / "starter_limits.toml").read_text(encoding="utf-8"))
    rows = tuple(
        LimitRow(
            Judged(row["judged"]),
            coupling=Coupling(row["coupling"]) if "coupling" in row else None,
            value=row.get("value"),
            per_rpm=row.get("per_rpm"),
            floor_rpm=row.get("floor_rpm", 0.0),
            combine=Combine(row.get("combine", "resultant")),
        )
        for row in data["row"]
    )
    shipped = LimitSet(data["name"], data["source"], "a test", RULE.adopted_on, rows)
    for station in scenario().stations:
        for asset in station.versions:
            speed = asset.limit_speed_rpm
            assert limits_for(RULE, asset.coupling, speed) == limits_for(shipped, asset.coupling, speed)


@pytest.mark.parametrize(
    ("rpm", "offset_mm", "angle_mm_m"),
    [(1500.0, 0.08, 2.0 / 3.0), (3000.0, 0.04, 1.0 / 3.0), (750.0, 0.16, 4.0 / 3.0), (200.0, 0.16, 4.0 / 3.0)],
)
def test_limits_of_a_short_coupling_by_hand(rpm: float, offset_mm: float, angle_mm_m: float) -> None:
    """120/rpm mm and 1000/rpm mm/m, held below 750 rpm (design of this project, section 2)."""
    stick = yardstick(Asset("X", speed_rpm=rpm))
    assert stick.scale == pytest.approx([offset_mm, angle_mm_m, offset_mm, angle_mm_m])
    assert stick.ratio(np.array([offset_mm, 0.0, 0.0, 0.0])) == pytest.approx(1.0)
    assert stick.ratio(np.array([0.0, 0.6 * angle_mm_m, 0.0, 0.8 * angle_mm_m])) == pytest.approx(1.0)


def test_one_limit_unit_of_a_spacer_coupling_brings_the_ratio_to_one() -> None:
    stick = yardstick(Asset("X", coupling=Coupling.SPACER, span_mm=200.0, speed_rpm=2960.0))
    for component in range(4):
        deviation = np.zeros(4)
        deviation[component] = stick.scale[component]
        assert stick.ratio(deviation) == pytest.approx(1.0)
