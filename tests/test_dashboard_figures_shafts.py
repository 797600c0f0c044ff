"""The pictures of the Record page: both shafts, to scale along and exaggerated across, and the plan of the feet."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.figures import feet_plan as drawn_feet_plan
from dashboard.figures import shafts as drawn_shafts
from dashboard.figures.feet_plan import foot_text
from dashboard.figures.shafts import FootMove, Shafts, at, more_height, nice_factor
from dashboard.theme import PALETTES
from models.maths.soft_foot import assess
from models.units import Display
from tests.checked_pictures import checked

feet_figure = checked(drawn_feet_plan.feet_figure)

shafts_figure = checked(drawn_shafts.shafts_figure)

MM, MIL = Display(), Display("mil")
MOVES = (FootMove(250.0, -0.26, "take out<br>0.260 mm"), FootMove(700.0, -0.6, "take out<br>0.600 mm"))
BASE = Shafts(True, (0.05, 0.8), (0.02, 0.1), (250.0, 700.0), (-260.0, -620.0), 180.0, MOVES)


def trace(figure: Any, name: Any) -> Any:
    return next(one for one in figure.data if one.name == name)


def test_a_line_is_its_offset_at_the_coupling_and_rises_with_its_slope() -> None:
    assert at((0.05, 0.8), 0.0) == 0.05
    assert at((0.05, 0.8), 500.0) == pytest.approx(0.45)


@given(st.floats(1e-6, 20.0), st.floats(50.0, 20_000.0))
def test_the_factor_is_round_and_keeps_the_lines_in_the_picture(across: Any, along: Any) -> None:
    factor = nice_factor(across, along)
    digits = f"{factor:.0f}".rstrip("0")
    assert digits in {"1", "2", "5"}
    assert factor == 1.0 or factor * across <= 0.13 * along * (1 + 1e-9)
    assert factor in {1.0, 5000.0} or factor * 2.5 * across > 0.13 * along * (1 - 1e-9)


def test_no_misalignment_at_all_still_has_a_factor() -> None:
    assert nice_factor(0.0, 1000.0) == 5000.0


def test_along_is_to_scale_and_across_is_multiplied_by_the_stated_factor() -> None:
    figure = shafts_figure(BASE, "found", MM, "light")
    line = trace(figure, "movable shaft")
    assert figure.layout.yaxis.scaleanchor == "x"
    assert figure.layout.yaxis.scaleratio == 1
    assert line.x[0] == 90.0
    assert line.y[0] == pytest.approx(BASE.factor * (0.05 + 0.8 * 0.09))
    assert (line.y[1] - line.y[0]) / (line.x[1] - line.x[0]) == pytest.approx(BASE.factor * 0.8 / 1000)


def test_the_target_is_drawn_as_a_dashed_line_to_reach() -> None:
    target = trace(shafts_figure(BASE, "found", MM, "light"), "target")
    assert target.line.dash == "dash"
    assert target.y[1] == pytest.approx(BASE.factor * at((0.02, 0.1), BASE.ends[1]))


def test_a_spacer_runs_between_its_flex_planes_and_a_short_coupling_is_a_step() -> None:
    spacer = trace(shafts_figure(BASE, "found", MM, "light"), "coupling")
    assert list(spacer.x) == [-90.0, 90.0]
    short = Shafts(True, (0.05, 0.8), (0.0, 0.0), (250.0, 700.0), (), None, ())
    step = trace(shafts_figure(short, "left", MM, "dark"), "coupling")
    assert list(step.x) == [0.0, 0.0]
    assert list(step.y) == pytest.approx([0.0, short.factor * 0.05])


def test_each_foot_stands_at_its_distance_and_says_what_it_needs() -> None:
    figure = shafts_figure(BASE, "found", MM, "light")
    assert list(figure.layout.xaxis.tickvals) == [-620.0, -260.0, 0.0, 250.0, 700.0]
    assert list(figure.layout.xaxis.ticktext) == ["−620", "−260", "0", "250", "700"]
    said = [one.text for one in figure.layout.annotations]
    assert "take out<br>0.260 mm" in said
    arrows = [one for one in figure.layout.annotations if one.showarrow]
    assert [one.x for one in arrows] == [250.0, 700.0]
    assert all(
        one.y - one.ay == pytest.approx(BASE.factor * move.move_mm) for one, move in zip(arrows, MOVES, strict=True)
    )


def test_three_rows_of_feet_have_room_for_their_words_and_numbers() -> None:
    moves = tuple(FootMove(x, -0.3, "take out<br>0.300 mm") for x in (460.0, 795.0, 1130.0))
    three = Shafts(True, (0.05, 0.3), (0.0, 0.0), (460.0, 795.0, 1130.0), (-450.0, -990.0), 200.0, moves)
    assert list(shafts_figure(three, "found", MM, "light").layout.xaxis.ticktext) == [
        "−990",
        "−450",
        "0",
        "460",
        "<br>795",
        "1130",
    ]
    assert more_height(three, MM) == 45, "two lines of words more than two rows need, and one of numbers"
    assert more_height(BASE, MM) == 0


def test_numbers_beside_the_picture_are_true_in_the_units_that_are_shown() -> None:
    for display, unit in ((MM, 1.0), (MIL, 0.0254)):
        axis = shafts_figure(BASE, "found", display, "light").layout.yaxis
        for value, text in zip(axis.tickvals, axis.ticktext, strict=True):
            assert value / BASE.factor / unit == pytest.approx(
                float(text.replace("−", "-")), abs=0.051 if unit < 1 else 0.00051
            )


def test_a_machine_without_known_feet_is_drawn_all_the_same() -> None:
    bare = Shafts(False, (0.0, 0.0), (0.0, 0.0), (), (), None, ())
    figure = shafts_figure(bare, "left", MM, "dark")
    assert trace(figure, "movable shaft").x[1] == bare.ends[1] > 0 > bare.ends[0]


@pytest.mark.parametrize("scheme", PALETTES)
def test_found_and_left_have_the_colours_that_they_have_everywhere(scheme: Any) -> None:
    for stage in ("found", "left"):
        line = trace(shafts_figure(BASE, stage, MM, scheme), "movable shaft")
        assert line.line.color == getattr(PALETTES[scheme], stage)


def test_a_high_foot_is_told_by_shape_and_word_and_not_by_colour_alone() -> None:
    soft = assess((0.02, 0.01, 0.11, 0.02), 0.05)
    figure = feet_figure(soft, MM, "light")
    shapes = {one.name: one.marker.symbol for one in figure.data}
    assert shapes == {"1L": "square", "1R": "square", "2L": "diamond", "2R": "square"}
    assert foot_text(soft, 2, MM) == "0.110 mm high<br>shim 0.090 mm"
    assert foot_text(soft, 0, MIL) == "0.8 mil"
    left_below = {one.name: one.y[0] for one in figure.data}
    assert left_below["1L"] < left_below["1R"]


def test_a_foot_that_was_not_measured_is_a_dash() -> None:
    soft = assess((0.02, None, 0.03, 0.02), 0.05)
    assert foot_text(soft, 1, MM) == "–"
    assert len(feet_figure(soft, MM, "dark").data) == 4


@pytest.mark.parametrize(("rows", "turned"), [(2, None), (6, -90)])
def test_the_word_at_the_coupling_is_turned_where_rows_leave_it_no_room(rows: int, turned: Any) -> None:
    figure = feet_figure(assess((0.02,) * (2 * rows), 0.05), MM, "light")
    (word,) = [one for one in figure.layout.annotations if one.text == "coupling"]
    assert word.textangle == turned
