"""The Asset page: every number equals the one in the book, converted by hand."""

from dataclasses import replace
from datetime import date, datetime
from typing import Any

import numpy as np
import pytest

from dashboard.views.asset_view import build, missing
from models.units import Display
from models.values.asset import Asset, MachineBreak
from models.values.kinds import Coupling, Part
from models.values.story import AssetVersion
from tests.history_maker import ZONE, FeetValues, Misalignment, at, job, line, story_of

PUMP = Asset(
    "P-1", "Brine pump", "Intake", speed_rpm=1480.0, feet_movable_mm=(300.0, 800.0), feet_stationary_mm=(-250.0,)
)
FOUND, LEFT = Misalignment(0.0508, 0.25, -0.127, 0.1), Misalignment(0.0254, 0.05, 0.0, -0.05)
"""0.0508 mm is 2 mil, 0.127 mm is 5 mil, 0.0254 mm is 1 mil; angularity has the same number in both."""


def jobs(asset: Any = PUMP) -> Any:
    return [
        line(job("P-1", "2024-01-05T09:00", None, LEFT), asset, 5),
        line(job("P-1", "2025-01-05T09:00", FOUND, LEFT, target=Misalignment(offset_v=0.0127)), asset, 6),
        line(job("P-1", "2026-01-05T09:00", FOUND, None), asset, 7),
    ]


def panel(panels: Any, key: str) -> Any:
    return next(one for one in panels if one.key == key)


def test_components_are_shown_in_mm() -> None:
    view = build(story_of(PUMP, jobs()), Display())
    assert [one.unit for one in view.components] == ["mm", "mm/m", "mm", "mm/m"]
    np.testing.assert_allclose(panel(view.components, "offset_v").series.found, [np.nan, 0.0508, 0.0508])
    np.testing.assert_allclose(panel(view.components, "angle_v").series.left, [0.05, 0.05, np.nan])


def test_components_are_shown_in_mil() -> None:
    view = build(story_of(PUMP, jobs()), Display("mil"))
    assert [one.unit for one in view.components] == ["mil", "mil/in", "mil", "mil/in"]
    np.testing.assert_allclose(panel(view.components, "offset_v").series.found, [np.nan, 2.0, 2.0])
    np.testing.assert_allclose(panel(view.components, "offset_h").series.found, [np.nan, -5.0, -5.0])
    np.testing.assert_allclose(panel(view.components, "angle_v").series.found, [np.nan, 0.25, 0.25])
    np.testing.assert_allclose(panel(view.components, "offset_v").target, [0.0, 0.5, 0.0])


def test_limits_stand_around_the_target_of_their_day() -> None:
    """Starter rule: 120 / 1480 mm; 1480 rpm."""
    offset = panel(build(story_of(PUMP, jobs()), Display()).components, "offset_v")
    np.testing.assert_allclose(offset.high, np.array([0.0, 0.0127, 0.0]) + 120 / 1480)
    np.testing.assert_allclose(offset.low, np.array([0.0, 0.0127, 0.0]) - 120 / 1480)


def test_feet_stand_where_offset_and_angularity_put_them() -> None:
    """y = offset + angularity · x: 0.0508 − 0.0127 + 0.25 · 0.8 = 0.2381 mm at 800 mm; no target at the last job: 0.2508 mm."""
    view = build(story_of(PUMP, jobs()), Display())
    far = panel(view.feet, "feet-2v").series.found
    np.testing.assert_allclose(far, [np.nan, 0.2381, 0.2508])
    assert len(view.feet) == 4
    assert "800 mm" in panel(view.feet, "feet-2v").title
    unknown = build(story_of(replace(PUMP, feet_movable_mm=()), jobs()), Display())
    assert unknown.feet == ()
    assert "does not know" in unknown.feet_note


def test_a_spacer_is_shown_by_the_angles_at_its_flex_planes() -> None:
    """Span 200 mm: α = (0.0508 + 0.25 · 0.1) / 0.2 = 0.379 mm/m, β = −(0.0508 − 0.25 · 0.1) / 0.2 = −0.129 mm/m; α + β = 0.25."""
    asset = replace(PUMP, coupling=Coupling.SPACER, span_mm=200.0)
    view = build(story_of(asset, [line(job("P-1", "2025-01-05T09:00", FOUND, LEFT), asset, 5)]), Display())
    assert panel(view.flex, "flex-0").series.found[0] == pytest.approx(0.379)
    assert panel(view.flex, "flex-1").series.found[0] == pytest.approx(-0.129)
    assert panel(view.flex, "flex-0").high[0] == pytest.approx(0.5)
    assert np.isnan(panel(view.components, "offset_v").high).all()
    assert ("Coupling", "spacer, 200 mm between flex planes") in view.facts
    assert build(story_of(PUMP, jobs()), Display()).flex == ()


def test_a_break_cuts_the_line_and_is_named() -> None:
    broken = (MachineBreak("P-1", date(2025, 6, 1), Part.BASE, "grouted anew"),)
    view = build(story_of(PUMP, jobs(), broken), Display())
    assert view.ratio is not None
    assert [str(when)[:4] for when in view.ratio.solid_times] == ["2024", "2025", "2025"]
    assert view.marks[0].name == "base replaced"
    assert view.marks[0].at == datetime(2025, 6, 1)  # noqa: DTZ001 - the site's own clock, without a zone, as on the axis


def test_a_break_on_the_day_of_a_job_belongs_before_it() -> None:
    """Midnight of the day in the site's zone is not after the job of that day: the same rule as models.history.runs."""
    broken = (MachineBreak("P-1", date(2025, 1, 5), Part.COUPLING),)
    view = build(story_of(PUMP, jobs(), broken), Display())
    assert view.ratio is not None
    assert [str(when)[:4] for when in view.ratio.solid_times] == ["2025", "2026", "2026"]


def test_two_jobs_of_one_moment_are_joined_by_no_line() -> None:
    twin = line(job("P-1", "2025-01-05T09:00", LEFT, LEFT), PUMP, 9)
    view, before = (build(story_of(PUMP, lines), Display()) for lines in ([*jobs(), twin], jobs()))
    assert view.ratio is not None
    assert before.ratio is not None
    assert len(view.ratio.solid_times) == len(before.ratio.solid_times), "one moment more, and no run more"


def test_an_installation_later_begins_a_new_life() -> None:
    later = [*jobs(), line(job("P-1", "2026-05-05T09:00", None, LEFT), PUMP, 8)]
    view = build(story_of(PUMP, later), Display())
    assert view.ratio is not None
    assert len(view.ratio.dotted) == 0


def test_the_ratio_is_the_one_stored_with_the_job() -> None:
    view = build(story_of(PUMP, jobs()), Display())
    lines = jobs()
    assert view.ratio is not None
    np.testing.assert_allclose(view.ratio.found, [np.nan, lines[1].found_ratio, lines[2].found_ratio])
    np.testing.assert_allclose(view.ratio.left, [lines[0].left_ratio, lines[1].left_ratio, np.nan])


def test_soft_foot_is_shown_foot_by_foot() -> None:
    given = line(
        job(
            "P-1",
            "2025-01-05T09:00",
            FOUND,
            LEFT,
            soft_before=FeetValues((0.02, None, 0.1, 0.0)),
            soft_after=FeetValues((0.01,)),
        ),
        PUMP,
        5,
    )
    view = build(story_of(PUMP, [given]), Display())
    assert [one.key for one in view.soft_foot] == ["soft-1L", "soft-2L", "soft-2R"]
    assert panel(view.soft_foot, "soft-1L").series.left[0] == pytest.approx(0.01)
    assert np.isnan(panel(view.soft_foot, "soft-2L").series.left[0])


def test_an_amended_job_stays_in_the_table_and_counts_in_no_picture() -> None:
    first, second, third = jobs()
    old = replace(second, superseded_by=9)
    new = line(job("P-1", "2025-01-05T09:00", LEFT, LEFT), PUMP, 9, supersedes=6, why_amended="sides were swapped")
    view = build(story_of(PUMP, [first, old, new, third]), Display())
    assert [one.entry for one in view.lines] == [7, 9, 6, 5]
    assert len(view.who) == 3
    assert panel(view.components, "offset_v").series.found[1] == pytest.approx(0.0254)


def test_the_sentence_says_how_often_and_how_it_was_left() -> None:
    first, second, _ = jobs()
    view = build(story_of(PUMP, [first, second]), Display())
    assert view.sentence == (
        f"2 jobs since 5 Jan 2024. Found over limit in 1 of 1 as-found reading. Last left on 5 Jan 2025 at limit ratio "
        f"{second.left_ratio:.2f}: within."
    )
    assert "has no as-left" in build(story_of(PUMP, jobs()), Display()).sentence


def test_facts_hold_what_is_known_in_the_units_of_the_page() -> None:
    facts = dict(build(story_of(PUMP, jobs()), Display("mil")).facts)
    assert facts["Speed"] == "1480 rpm (over 1000 to 1500 rpm)"
    assert facts["Feet of the movable machine, from the coupling"] == "11.8 · 31.5 in"  # 300 and 800 mm over 25.4
    assert "Train" not in facts
    assert facts["Last left"].startswith(
        "not measured on that visit; last measured on 5 Jan 2025: offset V +1.0, H 0.0 mil"
    )


def test_descriptions_are_listed_newest_first() -> None:
    story = story_of(PUMP, jobs())
    faster = replace(PUMP, speed_rpm=1780.0, valid_from=date(2025, 3, 1))
    changed = replace(story, versions=(*story.versions, AssetVersion(8, at("2025-03-02T08:00"), "desk", faster)))
    versions = build(changed, Display()).versions
    assert [one.speed for one in versions] == ["1780 rpm", "1480 rpm"]
    assert versions[0].since == "1 Mar 2025"


def test_states_without_history() -> None:
    assert missing("X", Display()).state == "empty"
    none = build(story_of(PUMP, []), Display())
    assert (none.state, none.ratio, none.zone) == ("too_few", None, ZONE)
    one = build(story_of(PUMP, jobs()[:1]), Display())
    assert one.state == "ok"
    assert one.ratio is not None


def test_without_a_limit_nothing_is_judged_and_the_page_says_so() -> None:
    unknown = Asset("P-1")
    view = build(story_of(unknown, [line(job("P-1", "2025-01-05T09:00", FOUND, LEFT), unknown, 5)]), Display())
    assert view.ratio is None
    assert view.state == "ok"
