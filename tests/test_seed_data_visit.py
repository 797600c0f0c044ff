"""Work at an invented machine: geometry of the feet, passes, soft feet."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.values.asset import Asset
from models.values.job import FeetValues
from seed_data.plant import scenario
from seed_data.rules import yardstick
from seed_data.visit import Hands, align, at_feet, in_force, line_through, rounded, soft_feet, takes


def highest(feet: FeetValues) -> float:
    return max(value for value in feet.values if value is not None)


SMALL = st.floats(-2.0, 2.0)


@given(offset=SMALL, angle=SMALL, near=st.integers(50, 500), base=st.integers(100, 1500), three=st.booleans())
def test_a_line_taken_to_the_feet_and_back_is_the_same_line(
    offset: float, angle: float, near: int, base: int, three: bool
) -> None:
    feet = (near, near + base / 2, near + base) if three else (near, near + base)
    back = line_through(feet, at_feet(np.array([offset, angle]), feet))
    assert back == pytest.approx([offset, angle], abs=1e-9)


def test_a_foot_position_by_hand() -> None:
    """y(x) = y0 + m·x: 0.10 mm + 0.5 mm/m × 200 mm = 0.20 mm (CV-26 of the trade reference, derived)."""
    assert at_feet(np.array([0.10, 0.5]), (200.0,)) == pytest.approx([0.20])


def test_an_aligned_machine_stands_near_its_target_most_of_the_time() -> None:
    asset = Asset("X", speed_rpm=1475.0, feet_movable_mm=(270.0, 640.0))
    stick, rng = yardstick(asset), np.random.default_rng(3)
    hands = Hands("nobody", scenario().readers[0])
    target = np.array([0.15, 0.0, 0.0, 0.0])
    pose = target + 3.0 * stick.scale
    left = [align(asset, stick, pose, rounded(pose), target, hands, rng) for _ in range(300)]
    true = stick.ratios(np.array([done.pose for done in left]) - target)
    assert np.median(true) < 0.6
    assert np.mean(true > 1.0) < 0.06


def test_a_soft_foot_is_shimmed_unless_the_person_leaves_it() -> None:
    plan, rng = scenario(), np.random.default_rng(5)
    person, planted = plan.cause("person"), plan.cause("soft foot")
    good = Hands("a", plan.readers[0])
    soft = [soft_feet(4, good, planted, rng) for _ in range(100)]
    assert all(one.extra[3] >= 0.05 and not any(one.extra[:3]) for one in soft)
    assert np.mean([highest(one.after) > 0.05 for one in soft]) < 0.1
    bad = Hands("b", plan.readers[0], leaves_soft_foot=person)
    left = [soft_feet(4, bad, None, rng) for _ in range(200)]
    assert np.mean([highest(one.after) > 0.05 for one in left]) > 0.5


def test_an_instrument_is_careless_only_from_its_day_on() -> None:
    cause = scenario().cause("instrument")
    assert in_force(cause, cause.instrument, cause.since) is cause
    assert in_force(cause, cause.instrument, date(2021, 1, 1)) is None
    assert in_force(cause, "another", cause.since) is None
    assert in_force(cause, "", cause.since) is None


def test_instruments_are_taken_as_often_as_their_share_says() -> None:
    readers, rng = scenario().readers, np.random.default_rng(7)
    taken = [takes(readers, rng) for _ in range(4000)]
    for reader in readers:
        share = sum(t is reader for t in taken) / len(taken)
        assert share == pytest.approx(reader.share, abs=0.03)
