"""What was moved: its size, moves though nothing changed, and moves against the change that was measured."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from dashboard.console.book import starter_limits
from models.maths.judged import limits_for
from models.maths.moved import APART_MM, WORTH, check_moves
from models.maths.moves import FootRow, Moving, plan_moves
from models.maths.plausible import Check, Doubt, Gravity
from models.maths.sizes import MOVE_ODD_MM
from models.units import Display
from models.values.asset import Asset
from models.values.description import version_on
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Coupling, Reason
from models.values.limits import LimitsGiven
from seed_data.generate import generate

LIMITS = LimitsGiven(0.08, 0.67, None, 0.05)
PUMP = Asset("P-1", speed_rpm=1485.0, feet_movable_mm=(330.0, 940.0), feet_stationary_mm=(-300.0, -700.0))
FOUND, LEFT = Misalignment(0.11, 0.3, -0.12, 0.2), Misalignment(0.005, 0.02, 0.004, -0.01)
MM = Display()


def job_of(found: Misalignment | None = FOUND, left: Misalignment | None = LEFT, **more: object) -> Job:
    given: dict[str, object] = {"reason": Reason.PLANNED, "found": found, "left": left} | more
    return Job("J9", "P-1", datetime(2026, 10, 1, 9, tzinfo=UTC), "UTC", **given)  # type: ignore[arg-type]


def checks(job: Job, asset: Asset = PUMP, limits: LimitsGiven = LIMITS) -> tuple[Check, ...]:
    return check_moves(job, asset, limits, MM)


def doubts(job: Job, asset: Asset = PUMP, limits: LimitsGiven = LIMITS) -> list[tuple[str, str]]:
    return [(check.doubt.name, check.field) for check in checks(job, asset, limits)]


def feet(*rows: float) -> FeetValues:
    return FeetValues(tuple(value for row in rows for value in (row, row)))


def turned(values: FeetValues) -> FeetValues:
    return FeetValues(tuple(None if value is None else -value for value in values.values))


def planned(moving: Moving, target: Misalignment = LEFT) -> tuple[FeetValues, FeetValues]:
    """Give what the project's own plan moves at each row, from what was found to the target."""
    off = Misalignment(*(a - b for a, b in zip(FOUND.as_tuple(), target.as_tuple(), strict=True)))
    rows = {side: [FootRow(x) for x in getattr(PUMP, f"feet_{side}_mm")] for side in ("movable", "stationary")}
    plan = plan_moves(off, moving=moving, **rows)  # type: ignore[arg-type]
    moves = plan.movable or plan.stationary
    assert moves is not None
    return feet(*moves.shims_mm), feet(*moves.side_mm)


def test_a_shim_or_side_move_above_5_mm_is_asked_about_once_a_kind() -> None:
    first = job_of(None, LEFT, moves_v=FeetValues((15.0, 15.0, 30.0, -31.0)), moves_h=feet(-5.0, 12.0))
    shim, side = checks(first)
    assert (shim.doubt, shim.gravity, shim.field) == (Doubt.MOVE, Gravity.REASON, "moves_v.4")
    assert shim.sentence == "The shim at foot 2R is −31.000 mm; it is at most 5.000 mm as a rule. Is the unit right?"
    assert side.sentence == "The side move of row 2 is +12.000 mm; it is at most 5.000 mm as a rule. Is the unit right?"
    assert (side.doubt, side.gravity, side.field) == (Doubt.MOVE, Gravity.REASON, "moves_h.3")
    assert "196.9 mil" in check_moves(first, PUMP, LIMITS, Display("mil"))[0].sentence, (
        "the bound is told in the unit shown"
    )
    assert not doubts(job_of(None, LEFT, moves_v=feet(MOVE_ODD_MM, -MOVE_ODD_MM), moves_h=FeetValues((None, 5.0))))


def test_moves_though_nothing_changed_are_asked_about() -> None:
    (check,) = checks(job_of(FOUND, FOUND, moves_v=FeetValues((0.0, None, 0.3, 0.3))))
    assert (check.doubt, check.gravity, check.field) == (Doubt.MOVED_NOTHING, Gravity.REASON, "moves_v.3")
    assert doubts(job_of(FOUND, FOUND, moves_h=feet(0.0, -0.1))) == [("MOVED_NOTHING", "moves_h.3")]
    assert not doubts(job_of(FOUND, FOUND, moves_v=feet(0.0, 0.0), moves_h=feet(0.0, 0.0)))
    assert not doubts(job_of(FOUND, LEFT, moves_v=planned(Moving.MOVABLE)[0]))
    assert not doubts(job_of(None, FOUND, moves_v=feet(0.1, 0.1)))


@pytest.mark.parametrize("moving", [Moving.MOVABLE, Moving.STATIONARY])
def test_moves_that_the_plan_gave_are_left_in_peace_and_a_turned_sign_is_asked_about(moving: Moving) -> None:
    shims, sides = planned(moving)
    typed = {"moves": str(moving)}
    assert not doubts(job_of(moves_v=shims, moves_h=sides, typed=typed))
    up, right = checks(job_of(moves_v=turned(shims), moves_h=turned(sides), typed=typed))
    assert {check.doubt for check in (up, right)} == {Doubt.MOVED_AGAINST}
    assert {check.gravity for check in (up, right)} == {Gravity.REASON}
    assert up.sentence.startswith(f"By the shims, row 2 of the {moving} went ")
    assert right.sentence.startswith("By the side moves, row ")
    assert doubts(job_of(moves_v=turned(shims), moves_h=sides, typed=typed)) == [("MOVED_AGAINST", "moves_v.3")]
    assert not doubts(job_of(moves_v=turned(shims), moves_h=turned(sides), typed={"moves": str(Moving.BOTH)}))


def test_either_machine_is_moved_the_other_way_for_the_same_change() -> None:
    high, level = Misalignment(0.2, 0.0, 0.1, 0.0), Misalignment()
    movable, stationary = {"moves": "movable machine"}, {"moves": "stationary machine"}
    down, up = feet(-0.2, -0.2), feet(0.2, 0.2)
    assert not doubts(job_of(high, level, moves_v=down, typed=movable))
    assert not doubts(job_of(high, level, moves_v=up, typed=stationary))
    (check,) = checks(job_of(high, level, moves_v=down, typed=stationary))
    assert (
        "row 1 of the stationary machine went −0.200 mm (+ is up); from as-found to as-left it went +0.200 mm"
        in check.sentence
    )
    assert doubts(job_of(high, level, moves_v=up, typed=movable)) == [("MOVED_AGAINST", "moves_v.1")]
    assert doubts(job_of(high, level, moves_v=up)) == [("MOVED_AGAINST", "moves_v.1")], (
        "nothing said: the movable machine"
    )
    assert not doubts(job_of(high, level, moves_v=feet(0.5, 0.5))), "more than double: no sign that was turned"


def test_the_sentence_says_both_ways_that_a_row_went() -> None:
    (check,) = checks(job_of(moves_v=feet(0.2, 0.38)))
    assert check.sentence == (
        "By the shims, row 2 of the movable machine went +0.380 mm (+ is up); from as-found to as-left it went −0.368 mm. "
        "Is the sign right (+ is put in), are moves missing, or was the other machine moved?"
    )
    assert not doubts(job_of(moves_v=feet(-0.2, -0.38)))


REPORTED = job_of(Misalignment(0.2, 0.4, 0.0, 0.0), Misalignment(0.01, 0.02, 0.0, 0.0))
"""Row 1 went down by 0.315, row 2 by 0.547 mm."""


def test_rows_that_were_exchanged_are_asked_about() -> None:
    (check,) = checks(replace(REPORTED, moves_v=feet(-0.55, -0.32)))
    assert (check.doubt, check.gravity, check.field) == (Doubt.MISPLACED, Gravity.REASON, "moves_v.1")
    assert check.sentence == (
        "By the shims, row 1 went −0.550 mm (+ is up); from as-found to as-left it went −0.315 mm. With the numbers of rows 1 and 2 exchanged "
        "both agree: do they stand at the wrong rows?"
    )
    assert not checks(replace(REPORTED, moves_v=feet(-0.32, -0.55)))
    assert not checks(replace(REPORTED, moves_v=feet(-0.32, -0.32))), "not all that was moved is written down"
    sideways = job_of(Misalignment(0.0, 0.0, 0.2, 0.4), Misalignment(), moves_h=feet(-0.55, -0.32))
    assert doubts(sideways) == [("MISPLACED", "moves_h.3")]
    three = replace(PUMP, feet_movable_mm=(330.0, 600.0, 940.0))
    (check,) = checks(replace(REPORTED, moves_v=feet(-0.55, -0.42, -0.32)), three)
    assert "rows 1 and 3 exchanged" in check.sentence


def test_left_and_right_that_are_taken_for_rows_or_twist_the_machine_are_asked_about() -> None:
    (check,) = checks(replace(REPORTED, moves_v=FeetValues((-0.32, -0.55, -0.32, -0.55))))
    assert (check.doubt, check.field) == (Doubt.MISPLACED, "moves_v.1")
    assert "the left feet at row 1 and those of the right feet at row 2 both agree" in check.sentence
    (check,) = checks(replace(REPORTED, moves_v=FeetValues((-0.32, 0.0, -0.55, 0.0))))
    assert (check.doubt, check.gravity, check.field) == (Doubt.TWISTED, Gravity.REASON, "moves_v.1")
    assert "−0.320 mm on the left and 0.000 mm on the right, twist or tilt the machine" in check.sentence
    blank = checks(replace(REPORTED, moves_v=FeetValues((-0.32, None, -0.55, None))))
    assert {(check.doubt, check.gravity) for check in blank} == {(Doubt.TWISTED, Gravity.NOTE)}
    assert [check.field for check in blank] == ["moves_v.2", "moves_v.4"]
    tilted = FeetValues((-0.32, -0.52, -0.55, -0.75))
    assert doubts(job_of(None, LEFT, moves_v=tilted)) == [("TWISTED", "moves_v.1")], "also without an as-found"
    assert not doubts(job_of(None, LEFT, moves_v=tilted), limits=LimitsGiven(0.08, 0.67)), "no limit of soft foot"
    measured = FeetValues((0.01, 0.02, 0.01, 0.0))
    assert not doubts(job_of(None, LEFT, moves_v=tilted, soft_after=measured)), "rises measured afterwards answer it"
    filled = FeetValues((0.2, 0.0, 0.0, 0.0))
    assert not doubts(job_of(None, LEFT, moves_v=filled)), "one soft foot, whose rise was not written down"
    assert not doubts(job_of(None, LEFT, moves_v=filled, soft_before=FeetValues((0.25, 0.01, 0.0, 0.0)))), (
        "a gap that was filled"
    )
    other = job_of(None, LEFT, moves_v=filled, soft_before=FeetValues((0.0, 0.25, 0.0, 0.0)))
    assert doubts(other) == [("TWISTED", "moves_v.1")], "under the other foot"


def test_what_counts_is_the_change_whatever_the_target_is() -> None:
    target = Misalignment(0.3, 0.9, 0.2, 0.1)
    shims, sides = planned(Moving.MOVABLE, target)
    assert not doubts(job_of(FOUND, target, target=target, moves_v=shims, moves_h=sides))
    assert len(doubts(job_of(FOUND, target, target=target, moves_v=turned(shims), moves_h=turned(sides)))) == 2


def test_what_is_not_known_is_not_asked_about() -> None:
    wrong = turned(planned(Moving.MOVABLE)[0])
    assert doubts(job_of(moves_v=wrong)) == [("MOVED_AGAINST", "moves_v.3")]
    for asset in (replace(PUMP, feet_movable_mm=()), replace(PUMP, feet_movable_mm=(330.0,))):
        assert not doubts(job_of(moves_v=wrong), asset)
    three = replace(PUMP, feet_movable_mm=(330.0, 600.0, 940.0))
    assert not doubts(job_of(moves_v=wrong), three), "one row of three was not written down"
    assert not doubts(job_of(moves_v=FeetValues((None, None, *wrong.values[2:]))))
    assert not doubts(job_of(None, LEFT, moves_v=wrong))
    assert not doubts(job_of(FOUND, None, moves_v=wrong))


def test_distances_that_were_typed_for_the_job_are_taken() -> None:
    wrong = turned(planned(Moving.MOVABLE)[0])
    bare = replace(PUMP, feet_movable_mm=())
    typed = {"feet.movable.1.at": "330 mm", "feet.movable.2.at": "37.0 in"}
    assert doubts(job_of(moves_v=wrong, typed=typed), bare) == [("MOVED_AGAINST", "moves_v.3")]
    assert not doubts(job_of(moves_v=wrong, typed=typed | {"feet.movable.2.at": "far"}), bare)
    assert not doubts(job_of(moves_v=wrong, typed={"feet.movable.2.at": "940 mm"}), bare)
    assert not doubts(job_of(moves_v=wrong, typed={"feet.movable.1.at": "940 mm"})), "both rows in one place"
    back = turned(planned(Moving.STATIONARY)[0])
    typed = {"moves": "stationary machine", "feet.stationary.1.at": "300 mm", "feet.stationary.2.at": "-700 mm"}
    assert doubts(job_of(moves_v=back, typed=typed), replace(PUMP, feet_stationary_mm=())) == [
        ("MOVED_AGAINST", "moves_v.3")
    ]


def test_little_differences_and_half_of_the_work_are_left_in_peace() -> None:
    little = job_of(Misalignment(0.04, 0.0, 0.0, 0.0), Misalignment(0.0, 0.0, 0.0, 0.0), moves_v=feet(0.04, 0.04))
    assert not doubts(little), f"no more than {APART_MM} mm apart"
    fine = LimitsGiven(0.01, 0.1)
    assert not doubts(little, limits=fine), "however small the limit"
    far = replace(little, found=Misalignment(0.06, 0.0, 0.0, 0.0), moves_v=feet(0.06, 0.06))
    assert doubts(far) == [("MOVED_AGAINST", "moves_v.1")]
    assert not doubts(far, limits=LimitsGiven(0.06 / WORTH + 0.01, 1.0)), "within half the limit"
    # The last of several moves alone, back by a little after going too far.
    assert not doubts(job_of(moves_v=feet(0.05, 0.05)))
    # Shims under one soft foot fill its gap and lift nothing.
    assert not doubts(job_of(moves_v=FeetValues((-0.2, 0.3, -0.368, -0.368))))
    # Where the line is drawn on to the coupling its sign turns, but at the feet it went as it was moved.
    drawn = Misalignment(0.035, -0.25, 0.0, 0.0)
    assert not doubts(job_of(drawn, Misalignment(0.06, -0.02, 0.0, 0.0), moves_v=feet(0.06, 0.2)))


def plant() -> Iterator[tuple[Job, Asset, LimitsGiven]]:
    made, limit_set = generate(), starter_limits("tester")
    versions: dict[str, list[Asset]] = defaultdict(list)
    for asset in made.assets:
        versions[asset.tag].append(asset)
    for job in made.jobs:
        asset = version_on(versions[job.tag], job.performed_at.date())
        yield job, asset, limits_for(limit_set, asset.coupling, asset.limit_speed_rpm)


def test_the_invented_plant_is_not_asked_and_would_be_with_its_signs_turned() -> None:
    """Moves of the plant come with soft feet, warm as-founds, thick shims, bolt-bound feet and people who give up."""
    jobs = list(plant())
    assert len(jobs) > 1500
    assert {asset.coupling for _, asset, _ in jobs} >= {Coupling.SHORT, Coupling.SPACER}
    assert [check for job, asset, limits in jobs for check in check_moves(job, asset, limits, MM)] == []
    moved = [one for one in jobs if one[0].moves_v and one[0].found is not None and one[0].left is not None]
    wrong = [(replace(job, moves_v=turned(job.moves_v), moves_h=turned(job.moves_h)), *of) for job, *of in moved]
    assert sum(bool(check_moves(job, asset, limits, MM)) for job, asset, limits in wrong) > len(moved) / 2
    two = [one for one in moved if len(one[0].moves_v.values) == 4]
    swapped = [
        (replace(job, moves_v=FeetValues(job.moves_v.values[2:] + job.moves_v.values[:2])), *of) for job, *of in two
    ]
    found = [check.doubt for job, asset, limits in swapped for check in check_moves(job, asset, limits, MM)]
    assert found.count(Doubt.MISPLACED) > len(two) / 6, "the rest differ by no more than readings and shims do"
