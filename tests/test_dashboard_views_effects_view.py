"""Effects and repeatability in words: an interval beside each number, in alphabetical order, and no more than is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dashboard.figures import effects as drawn_effects
from dashboard.views.effects_view import build, effects_for, few, repeat_view
from models.history.effects import Effects
from models.history.repeatability import DEFAULT_OFFSET_MM, default_repeatability, repeatability_of
from models.history.runs import runs_of
from models.units import Display
from tests.checked_pictures import checked
from tests.history_maker import made_book

effect_figure = checked(drawn_effects.effect_figure)

NAMES = ("zed", "Abe", "mid")


def effects(raw: list[float], jobs: list[int], q: float = 1.0) -> Effects:
    """Give effects in the first component; the others are 0, give or take 0.003. What is drawn is left out of the page."""
    full = np.zeros((3, 4))
    full[:, 0] = raw
    full[np.array(jobs) < 10] = np.nan
    known = np.where(np.isnan(full), np.nan, 1.0)
    drawn = 0.5 * full
    allowed = np.ones((3, 4))
    allowed[0, 0] = q
    return Effects(
        raw=full, se=0.002 * known, low=full - 0.003, high=full + 0.003, drawn=drawn, drawn_low=drawn - 0.002,
        drawn_high=drawn + 0.002, p=known, q=allowed, jobs=np.array(jobs), apart=np.zeros(3, bool),
    )  # fmt: skip


def test_what_chance_does_not_explain_is_said_with_its_size_and_interval() -> None:
    view = build(effects([0.012, 0.0, 0.0], [20, 20, 20], q=0.01), NAMES, Display(), "instrument")
    assert view.told == (
        "zed reads the offset, vertical 0.012 mm higher than the others (90\u202f% interval +0.009 to +0.015 mm), more than chance explains.",
    )
    assert "It is not a diagnosis" in view.sentence
    mil = build(effects([-0.0254, 0.0, 0.0], [20, 20, 20], q=0.01), NAMES, Display("mil"), "person")
    assert "1.0 mil lower" in mil.told[0]
    assert "nothing about a person's worth" in mil.sentence


def test_names_stand_in_alphabetical_order_whatever_they_read() -> None:
    view = build(effects([0.012, -0.5, 0.3], [20, 20, 20]), NAMES, Display(), "person")
    assert [line.name for line in view.lines] == ["Abe", "mid", "zed"]
    assert view.told == ()
    assert "no sign of a difference between people" in view.sentence


def test_what_the_runs_say_stands_as_it_is_with_its_own_interval() -> None:
    view = build(effects([0.012, 0.0, 0.0], [20, 20, 20]), NAMES, Display(), "instrument")
    line = next(line for line in view.lines if line.name == "zed")
    assert (line.cells[0].value, line.cells[0].low, line.cells[0].high) == pytest.approx((0.012, 0.009, 0.015))
    assert (line.cells[1].value, line.cells[1].low, line.cells[1].high) == pytest.approx((0.0, -0.003, 0.003))


def test_nothing_is_said_of_those_with_too_few_runs() -> None:
    view = build(effects([0.1, 0.0, 0.0], [9, 20, 20]), NAMES, Display(), "instrument")
    assert view.compared == 2
    assert few(view.lines) == "Fewer than 10 runs, so nothing is said: zed."
    alone = build(effects([0.1, 0.0, 0.0], [9, 9, 20]), NAMES, Display(), "instrument")
    assert alone.state == "too_few"
    assert "at least two" in alone.sentence


def test_who_cannot_be_told_from_movement_is_named_with_that_reason_and_no_number() -> None:
    found = effects([0.1, np.nan, np.nan], [9, 20, 20])
    view = build(replace(found, apart=np.array([False, True, True])), NAMES, Display(), "instrument")
    assert (view.state, view.told) == ("too_few", ())
    assert [line.cells for line in view.lines] == [(), (), ()]
    assert few(view.lines) == (
        "Fewer than 10 runs, so nothing is said: zed. Nothing is said of these, because what they read cannot be told from how the "
        "machines moved, or no runs join them with others that have as many: Abe, mid."
    )


def test_effects_are_made_once_for_a_history() -> None:
    history = made_book(assets=12).history(1)
    runs = runs_of(history.jobs, history.breaks)
    assert effects_for(history, runs, "person") is effects_for(history, runs, "person")
    assert effects_for(history, runs, "person") is not effects_for(history, runs, "instrument")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_picture_has_one_row_a_name_and_a_mark_of_its_own_where_chance_does_not_explain(scheme: str) -> None:
    view = build(effects([0.012, 0.0, 0.0], [20, 20, 20], q=0.01), NAMES, Display(), "instrument")
    figure = effect_figure(view.lines, 0, 3, "mm", scheme)
    assert list(figure.layout.yaxis.ticktext) == ["Abe", "mid", "zed"]
    plain, marked = figure.data[0], figure.data[1]
    assert (plain.marker.symbol, marked.marker.symbol) == ("circle-open", "diamond")
    assert plain.marker.color != marked.marker.color
    assert list(marked.text) == ["zed"]
    assert figure.layout.xaxis.range[0] == -figure.layout.xaxis.range[1]


def test_without_repeats_the_dated_default_stands_with_its_source() -> None:
    view = repeat_view(default_repeatability(), Display())
    assert "a default is stated, set on 25 Nov 2026" in view.sentence
    assert [line.stated for line in view.lines] == ["0.0127 mm", "0.090 mm/m", "0.0127 mm", "0.090 mm/m"]
    assert {line.measured for line in view.lines} == {line.interval for line in view.lines} == {"not known"}
    assert "second-hand" in view.lines[0].source
    assert (
        repeat_view(default_repeatability(), Display("mil")).lines[0].stated == f"{DEFAULT_OFFSET_MM / 0.0254:.2f} mil"
    )


@pytest.mark.parametrize(
    ("pairs", "said"), [(12, "30 are needed to state it"), (40, "The figure comes from 40 repeats")]
)
def test_repeats_give_a_figure_with_an_interval(pairs: int, said: str) -> None:
    rng = np.random.default_rng(3)
    readings = rng.normal(0.0, [0.01, 0.05, 0.01, 0.05], (2 * pairs, 4))
    given = repeatability_of(readings, np.repeat(np.arange(pairs), 2))
    view = repeat_view(given, Display())
    assert said in view.sentence
    assert view.lines[0].measured == f"{given.measured[0]:.4f} mm"
    assert view.lines[0].interval == f"{given.low[0]:.4f} to {given.high[0]:.4f} mm"
    assert view.lines[0].stated == (f"{given.measured[0]:.4f} mm" if pairs == 40 else "0.0127 mm")
