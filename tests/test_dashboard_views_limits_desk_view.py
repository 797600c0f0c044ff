"""Limit sets in words, and 'what if' against a plain recount job by job."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest

from dashboard.asked import Factors
from dashboard.figures import limits as drawn_limits
from dashboard.views.limit_rows import factor_text, limit_text, row_lines
from dashboard.views.limits_desk_view import LimitsDeskView, build, curve_of, in_force_of, set_lines, trial_set
from models.history.columns import SPEED_BOUNDS_RPM
from models.maths.judged import limits_for
from models.units import Display, Quantity
from models.values.entry import AdoptedLimits
from models.values.kinds import Coupling
from models.values.limits import Combine, Judged, LimitRow, LimitSet
from tests.checked_pictures import checked
from tests.history_maker import STARTER, MadeBook, made_book, ratio_of

curve_figure = checked(drawn_limits.curve_figure)
turn_figure = checked(drawn_limits.turn_figure)

TODAY = date(2026, 11, 18)
AT = datetime(2020, 1, 2, tzinfo=UTC)
HALF = replace(
    STARTER, name="half", starter=False, adopted_on=date(2026, 1, 1),
    rows=(LimitRow(Judged.OFFSET, per_rpm=60.0, floor_rpm=750.0), *STARTER.rows[1:]),
)  # fmt: skip


def adopted(*sets: LimitSet) -> tuple[AdoptedLimits, ...]:
    return tuple(AdoptedLimits(number, AT, "desk", one) for number, one in enumerate(sets, start=2))


@pytest.fixture(scope="module")
def book() -> MadeBook:
    return made_book()


def view_of(book: MadeBook, trial: LimitSet | None = None, years: int | None = None) -> LimitsDeskView:
    return build(book.history(1), adopted(STARTER), TODAY, Display(), trial=trial, years=years)


@pytest.mark.parametrize("years", [1, 3, None])
def test_verdicts_that_would_change_are_those_of_a_plain_recount(book: MadeBook, years: int | None) -> None:
    trial = view_of(book, HALF, years).trial
    assert trial is not None
    start = date.min if years is None else TODAY.replace(year=TODAY.year - years)
    for stage, lines in (("found", trial.found), ("left", trial.left)):
        counts: dict[Any, list[int]] = {}
        for story in book.stories:
            given = limits_for(HALF, story.asset.coupling, story.asset.limit_speed_rpm)
            for line in story.standing:
                before = getattr(line, f"{stage}_ratio")
                after = ratio_of(getattr(line.job, stage), line.job.target, given, story.asset.span_mm)
                if before is None or after is None or line.job.performed_at.date() < start:
                    continue
                index = sum(story.asset.speed_rpm > bound for bound in SPEED_BOUNDS_RPM)  # type: ignore[operator]
                for key in (index, "all"):
                    row = counts.setdefault(key, [0, 0, 0, 0, 0])
                    row[0] += 1
                    row[1] += before > 1
                    row[2] += after > 1
                    row[3] += before <= 1 < after
                    row[4] += after <= 1 < before
        expected = [counts[key] for key in (*sorted(key for key in counts if key != "all"), "all")]
        assert [
            [one.judged, one.before.count, one.after.count, one.to_over, one.to_within] for one in lines
        ] == expected
        assert lines[-1].changed == lines[-1].to_over + lines[-1].to_within > 0


def test_the_same_set_changes_nothing_and_says_so(book: MadeBook) -> None:
    trial = view_of(book, STARTER).trial
    assert trial is not None
    assert "none of" in trial.sentence
    assert (trial.lost, trial.gained) == (0, 0)
    assert trial.sentence.startswith("All jobs in the book")


def test_the_sentence_counts_both_ways_with_the_window(book: MadeBook) -> None:
    trial = view_of(book, HALF, 5).trial
    assert trial is not None
    found, left = trial.found[-1], trial.left[-1]
    assert trial.sentence.startswith(f"Jobs since 18 Nov 2021: {found.changed + left.changed} of ")
    assert f"{found.to_over} would become over" in trial.sentence


def test_verdicts_that_a_trial_cannot_give_are_counted(book: MadeBook) -> None:
    fast = replace(STARTER, name="fast", rows=(LimitRow(Judged.OFFSET, above_rpm=3000.0, value=0.02),))
    trial = view_of(book, fast).trial
    assert trial is not None
    assert trial.lost > 100
    assert view_of(MadeBook(), HALF).trial.sentence.endswith("no verdict to judge again.")  # type: ignore[union-attr]


def test_a_trial_replaces_the_laws_that_were_typed_and_keeps_the_cap_and_all_else() -> None:
    trial = trial_set(STARTER, Factors(80.0, None), Display(), TODAY)
    assert trial.name == "trial: offset 80 mm ÷ rpm"
    assert not trial.starter
    assert limits_for(trial, Coupling.SHORT, 1500.0).offset_mm == pytest.approx(80.0 / 1500.0)
    assert limits_for(trial, Coupling.SHORT, 600.0).offset_mm == pytest.approx(80.0 / 750.0)
    assert limits_for(trial, Coupling.SHORT, 1500.0).angle_mm_m == pytest.approx(1000.0 / 1500.0)
    assert limits_for(trial, Coupling.SPACER, 1500.0).flex_mm_m == 0.5
    each = replace(STARTER, rows=tuple(replace(row, combine=Combine.EACH) for row in STARTER.rows))
    assert limits_for(trial_set(each, Factors(80.0, 700.0), Display(), TODAY), Coupling.SHORT, 1500.0).each_axis
    split = (
        LimitRow(Judged.OFFSET, Coupling.SHORT, value=0.1, combine=Combine.EACH),
        LimitRow(Judged.OFFSET, Coupling.SPACER, value=0.2),
    )
    both = trial_set(replace(STARTER, rows=split), Factors(80.0, 700.0), Display(), TODAY)
    assert [limits_for(both, kind, 1500.0).each_axis for kind in (Coupling.SHORT, Coupling.SPACER)] == [True, False]
    assert "offset 3149.6 mil ÷ rpm" in trial_set(STARTER, Factors(80.0), Display("mil"), TODAY).name  # 80 / 0.0254


def test_the_last_adopted_by_today_is_in_force_and_the_earlier_one_ends_the_day_before() -> None:
    later = replace(STARTER, version=2, adopted_on=date(2024, 3, 1))
    to_come = replace(STARTER, version=3, adopted_on=date(2027, 1, 1))
    lines = set_lines(adopted(STARTER, later, to_come), TODAY, Display(), "UTC")
    assert lines[0].recorded == date(2020, 1, 2)
    assert set_lines(adopted(STARTER), TODAY, Display(), "America/Chicago")[0].recorded == date(2020, 1, 1), (
        "its own day"
    )
    assert [line.state for line in lines] == ["past", "in force", "to come"]
    assert lines[0].until == date(2024, 2, 29)
    assert in_force_of(adopted(STARTER, later, to_come), TODAY) is later
    assert in_force_of(adopted(to_come), TODAY) is to_come
    assert in_force_of((), TODAY) is None
    assert build(MadeBook().history(1), (), TODAY, Display(), trial=None, years=5).state == "empty"


def test_rows_are_told_in_the_units_of_the_page() -> None:
    lines = row_lines(STARTER, Display())
    assert [line.limit for line in lines] == [
        "120 mm ÷ rpm, at most 0.160 mm (as at 750 rpm)",
        "1000 mm/m ÷ rpm, at most 1.33 mm/m (as at 750 rpm)",
        "0.50 mm/m",
        "0.050 mm",
    ]  # the starter rule: design, section 2
    assert [line.coupling for line in lines] == ["any", "any", "spacer", "any"]
    assert (
        limit_text(STARTER.rows[0], Display("mil")) == "4724.4 mil ÷ rpm, at most 6.3 mil (as at 750 rpm)"
    )  # 120 / 0.0254
    assert factor_text(1000.0, Quantity.ANGULARITY, Display("mil")) == "1000"
    bands = (LimitRow(Judged.OFFSET, above_rpm=1000.0, upto_rpm=1500.0, value=0.1), LimitRow(Judged.OFFSET, above_rpm=1500.0, per_rpm=100.0),
             LimitRow(Judged.OFFSET, upto_rpm=1000.0, value=0.2, combine=Combine.EACH))  # fmt: skip
    told = row_lines(replace(STARTER, rows=bands), Display())
    assert [line.speed for line in told] == ["over 1000 to 1500 rpm", "over 1500 rpm", "up to 1000 rpm"]
    assert told[2].combine == "each by itself"
    assert told[1].limit == "100 mm ÷ rpm"


def test_limits_against_speed_are_those_of_each_machine_alone() -> None:
    curve = curve_of(STARTER, HALF, Display("mil"), (600.0, 1500.0))
    np.testing.assert_allclose(curve.offset, [120.0 / 750.0 / 0.0254, 120.0 / 1500.0 / 0.0254])
    np.testing.assert_allclose(curve.trial_offset, curve.offset / 2.0)
    np.testing.assert_allclose(curve.angle, [1000.0 / 750.0, 1000.0 / 1500.0])
    assert curve_of(STARTER, None, Display(), (600.0,)).trial_offset is None


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pictures_draw_what_the_tables_say(book: MadeBook, scheme: str) -> None:
    curve = curve_of(STARTER, HALF, Display(), (600.0, 1500.0, 6000.0))
    figure = curve_figure(curve.speeds, curve.offset, curve.trial_offset, "mm", 3, scheme)
    assert [note.text for note in figure.layout.annotations] == ["in force", "trial"]
    np.testing.assert_array_equal(figure.data[1].y, curve.trial_offset)
    bare = curve_figure(curve.speeds, np.full(3, np.nan), None, "mm", 3, scheme)
    assert len(bare.layout.annotations) == 0
    trial = view_of(book, HALF).trial
    assert trial is not None
    for stage in ("found", "left"):
        drawn = turn_figure(trial.found, stage, scheme)
        after = next(trace for trace in drawn.data if trace.name == "trial")
        np.testing.assert_allclose(after.x, [100.0 * one.after.share for one in trial.found])
        assert list(drawn.layout.yaxis.ticktext)[-1] == "all speeds"
