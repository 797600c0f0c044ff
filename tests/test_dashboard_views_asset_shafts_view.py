"""The two shafts of a job: drawn from its own numbers and the machine of its own day."""

from dataclasses import replace
from datetime import date

from dashboard.views.asset_shafts_view import build_shafts
from models.units import Display
from models.values.asset import Asset
from models.values.job import FeetValues
from models.values.kinds import Coupling
from models.values.story import AssetVersion
from tests.history_maker import Misalignment, at, job, line, story_of

PUMP = Asset("P-1", speed_rpm=1480.0, feet_movable_mm=(300.0, 800.0), feet_stationary_mm=(-250.0,))
FOUND, LEFT, TARGET = Misalignment(0.05, 0.2, -0.1, 0.3), Misalignment(0.01, 0.0, 0.02, 0.0), Misalignment(-0.1)
JOBS = [
    line(job("P-1", "2024-01-05T09:00", None, LEFT), PUMP, 5),
    line(job("P-1", "2025-01-05T09:00", FOUND, LEFT, target=TARGET), PUMP, 6),
    line(job("P-1", "2026-01-05T09:00", FOUND, None), PUMP, 7),
]
STORY = story_of(PUMP, JOBS)


def test_each_stage_is_drawn_from_the_side_and_from_above() -> None:
    view = build_shafts(STORY, JOBS[1], Display())
    assert [(one.stage, one.vertical) for one in view.drawn] == [
        ("found", True), ("found", False), ("left", True), ("left", False),
    ]  # fmt: skip
    side, top = view.drawn[:2]
    assert (side.measured, side.target) == ((0.05, 0.2), (-0.1, 0.0))
    assert (top.measured, top.target) == ((-0.1, 0.3), (0.0, 0.0))
    assert view.on == date(2025, 1, 5)
    assert view.missing == ()


def test_what_was_not_measured_is_missing_and_not_drawn() -> None:
    assert build_shafts(STORY, JOBS[0], Display()).missing == ("found",)
    assert build_shafts(STORY, JOBS[2], Display()).missing == ("left",)
    assert {one.stage for one in build_shafts(STORY, JOBS[2], Display()).drawn} == {"found"}


def test_jobs_to_choose_from_are_those_that_stand_newest_first() -> None:
    old = replace(JOBS[1], superseded_by=9)
    new = replace(JOBS[1], entry=9, supersedes=6)
    story = story_of(PUMP, [JOBS[0], old, new, JOBS[2]])
    assert [entry for entry, _ in build_shafts(story, JOBS[2], Display()).jobs] == [7, 9, 5]


def test_moves_are_means_of_each_row_in_words_and_on_the_found_pictures_only() -> None:
    """Row 1: (0.10 + 0.14) / 2 = 0.12 mm put in; row 2: only the right foot, 0.05 mm taken out; sideways 0.2 mm to the left."""
    moved = line(
        job(
            "P-1", "2025-01-05T09:00", FOUND, LEFT,
            moves_v=FeetValues((0.10, 0.14, None, -0.05)), moves_h=FeetValues((-0.2, -0.2, 0.0, 0.0)),
        ),
        PUMP, 6,
    )  # fmt: skip
    view = build_shafts(STORY, moved, Display())
    assert [(x, round(mean, 6), text) for x, mean, text in view.drawn[0].moves] == [
        (300.0, 0.12, "0.120 mm put in"), (800.0, -0.05, "0.050 mm taken out"),
    ]  # fmt: skip
    assert [text for _, _, text in view.drawn[1].moves] == ["0.200 mm left"]
    assert view.drawn[2].moves == view.drawn[3].moves == ()


def test_a_spacer_has_its_span_and_a_short_coupling_has_none() -> None:
    spacer = replace(PUMP, coupling=Coupling.SPACER, span_mm=140.0)
    assert build_shafts(story_of(spacer, JOBS), JOBS[1], Display()).drawn[0].span_mm == 140.0
    assert build_shafts(STORY, JOBS[1], Display()).drawn[0].span_mm is None


def test_the_machine_is_drawn_as_it_was_described_on_that_day() -> None:
    later = replace(PUMP, feet_movable_mm=(310.0, 820.0), valid_from=date(2025, 6, 1))
    story = replace(
        STORY, asset=later, versions=(*STORY.versions, AssetVersion(8, at("2025-06-02T08:00"), "desk", later))
    )
    assert build_shafts(story, JOBS[1], Display()).drawn[0].feet_movable_mm == (300.0, 800.0)
    assert build_shafts(story, JOBS[2], Display()).drawn[0].feet_movable_mm == (310.0, 820.0)


def test_the_sentence_is_in_the_unit_that_is_shown() -> None:
    """0.05 mm is 1.97 mil; angularity has the same number in both."""
    says = build_shafts(STORY, JOBS[1], Display("mil")).drawn[0].says
    assert "+2.0 mil" in says
    assert "+0.20 mil/in" in says
