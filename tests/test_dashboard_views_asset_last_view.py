"""The last visit in numbers."""

from dataclasses import replace
from datetime import timedelta

from dashboard.views.asset_last_view import build_last, left_text
from models.units import Display
from models.values.asset import Asset
from models.values.job import FeetValues
from models.values.kinds import Coupling
from tests.history_maker import Misalignment, job, line, story_of

PUMP = Asset("P-1", speed_rpm=1500.0)
FOUND, LEFT = Misalignment(0.0508, 0.25, -0.127, 0.1), Misalignment(0.0254, 0.05, 0.0, -0.05)
LAST = job(
    "P-1", "2026-01-05T09:00", FOUND, LEFT, target=Misalignment(offset_v=-0.0254), people=("A. Bell (invented)", "C. Dow (invented)"),
)  # fmt: skip
FIRST = job("P-1", "2025-01-05T09:00", None, LEFT, soft_after=FeetValues((0.01, 0.0, None, 0.0254)))


def rows(unit: str = "mm") -> list[tuple[str, ...]]:
    last = build_last(story_of(PUMP, [line(FIRST, PUMP, 5), line(LAST, PUMP, 6)]), Display(unit))
    assert last is not None
    return [(row.name, row.found, row.left, row.target, row.limit) for row in last.rows]


def test_the_four_numbers_stand_with_target_and_limit_in_mm() -> None:
    """Starter rule at 1500 rpm: 120 / 1500 = 0.080 mm, 1000 / 1500 = 0.67 mm/m."""
    assert rows() == [
        ("Offset, vertical [mm]", "+0.051", "+0.025", "−0.025", "0.080"),
        ("Angularity, vertical [mm/m]", "+0.25", "+0.05", "0.00", "0.67"),
        ("Offset, horizontal [mm]", "−0.127", "0.000", "0.000", "0.080"),
        ("Angularity, horizontal [mm/m]", "+0.10", "−0.05", "0.00", "0.67"),
    ]


def test_the_four_numbers_in_mil() -> None:
    """0.0508 mm is 2 mil, 0.127 mm is 5 mil, 0.0254 mm is 1 mil, 0.08 mm is 3.15 mil."""
    assert rows("mil")[0] == ("Offset, vertical [mil]", "+2.0", "+1.0", "−1.0", "3.1")
    assert rows("mil")[2][:3] == ("Offset, horizontal [mil]", "−5.0", "0.0")


def test_day_people_and_instrument_stand_above_them() -> None:
    last = build_last(story_of(PUMP, [line(FIRST, PUMP, 5), line(LAST, PUMP, 6)]), Display())
    assert last is not None
    assert last.when == "5 Jan 2026 · planned · A. Bell (invented), C. Dow (invented) · LX-01"


def test_soft_foot_is_that_of_the_last_visit_that_measured_it() -> None:
    last = build_last(story_of(PUMP, [line(FIRST, PUMP, 5), line(LAST, PUMP, 6)]), Display())
    assert last is not None
    assert last.soft == ("Soft foot after the work, 5 Jan 2025: 1L 0.010 · 1R 0.000 · 2R 0.025 [mm]",)


def test_what_was_left_is_told_of_the_day_on_which_it_was_last_measured() -> None:
    looked = [
        line(replace(LAST, left=None, ref=f"L{n}", performed_at=LAST.performed_at + timedelta(days=n)), PUMP, 6 + n)
        for n in (1, 2)
    ]
    left = "offset V +0.025, H 0.000 mm; angularity V +0.05, H −0.05 mm/m"
    assert left_text([line(LAST, PUMP, 6)], "Europe/Lisbon", Display()) == left
    assert (
        left_text([line(LAST, PUMP, 6), *looked], "Europe/Lisbon", Display())
        == f"not measured on that visit; last measured on 5 Jan 2026: {left}"
    )
    assert left_text(looked, "Europe/Lisbon", Display()) == "not measured"


def test_a_spacer_has_its_flex_planes_too() -> None:
    """Span 200 mm: α = (0.0508 + 0.25 · 0.1) / 0.2 = 0.379 mm/m, β = −(0.0508 − 0.25 · 0.1) / 0.2 = −0.129 mm/m."""
    asset = replace(PUMP, coupling=Coupling.SPACER, span_mm=200.0)
    last = build_last(story_of(asset, [line(replace(LAST, target=Misalignment()), asset, 6)]), Display())
    assert last is not None
    assert [(row.found, row.limit) for row in last.rows[4:6]] == [("+0.38", "0.50"), ("−0.13", "0.50")]
    assert last.rows[0].limit == "–"


def test_without_a_visit_there_is_none() -> None:
    assert build_last(story_of(PUMP, []), Display()) is None
