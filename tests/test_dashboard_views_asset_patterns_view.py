"""Patterns: the verdicts are the engine's; each observation stands on one side, in the unit of the page."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from dashboard.views.asset_patterns_view import CAUSES, build_patterns
from dashboard.views.asset_view import days_of
from models.history.direction import NO_DIRECTION, TOO_FEW
from models.history.engine import study_of
from models.history.evidence import FOR, evidence_for, neighbours
from models.history.patterns import CAUSE_WORDS, SETTLING
from models.units import Display
from tests.history_maker import made_book

BOOK = made_book()
HISTORY = BOOK.history(1)
STUDY = study_of(HISTORY)
EVERY = range(len(HISTORY.assets))


def view(asset: int, study: Any = STUDY, display: Display | None = None) -> Any:
    return build_patterns(study, HISTORY, asset, display=display or Display(), days=days_of(BOOK.stories[asset]))


def with_suggested(asset: int, cause: int) -> Any:
    """Give the study with one more suggestion."""
    suggested = STUDY.patterns.suggested.copy()
    suggested[asset, cause] = True
    return replace(STUDY, patterns=replace(STUDY.patterns, suggested=suggested))


def test_the_verdict_of_every_cause_is_the_engines() -> None:
    for asset in EVERY:
        lines = evidence_for(
            asset, HISTORY.jobs, STUDY.runs, HISTORY.assets, STUDY.material,
            patterns=STUDY.patterns, directions=STUDY.directions, shapes=STUDY.shapes, feet=STUDY.feet,
            step_chance=float(STUDY.standing.step_chance[asset]),
        )  # fmt: skip
        mine = {one.key: one for one in view(asset).causes}
        assert set(mine) == set(CAUSES.values())
        for line in lines:
            one = mine[CAUSES[CAUSE_WORDS.index(line.cause)]]
            assert (one.side == "for") == (line.stance == FOR)
            assert tuple(entry for entry, _ in one.jobs) == line.entries


def shape_said(log_ratio: float) -> tuple[str, str]:
    """What the study and the page say of the shape of one machine's runs, by the logarithm of their likelihoods."""
    study = replace(STUDY, shapes=replace(STUDY.shapes, log_ratio=np.full_like(STUDY.shapes.log_ratio, log_ratio)))
    lines = evidence_for(
        1, HISTORY.jobs, study.runs, HISTORY.assets, study.material,
        patterns=study.patterns, directions=study.directions, shapes=study.shapes, feet=study.feet,
        step_chance=0.0,
    )  # fmt: skip
    theirs = next(line.text for line in lines if line.cause == CAUSE_WORDS[SETTLING])
    mine = next(one for one in view(1, study).causes if one.key == "settling").seen
    return theirs, " ".join(one.text for one in mine)


@pytest.mark.parametrize("times", [1.0, 3.3, 5.0, 9.9, 10.1, 400.0, 1e9])
def test_the_study_and_the_page_tell_one_shape_from_the_other_from_the_same_likelihood_on(times: float) -> None:
    for sign in (1.0, -1.0):
        theirs, mine = shape_said(sign * float(np.log10(times)))
        decided = times > 10.0
        assert ("times as likely" in theirs) == ("explains the runs" in mine) == decided
        assert ("do not tell" in theirs) == ("do not tell" in mine) == (not decided)
        if decided:
            number = "1000 or more" if times > 1000.0 else f"{times:.0f}"
            assert f"is {number} times" in theirs
            assert f"the runs {number} times" in mine


def test_nothing_is_claimed_where_nothing_is_suggested() -> None:
    for asset in EVERY:
        assert bool(view(asset).suggested) == bool(STUDY.patterns.suggested[asset].any())


def test_a_suggested_cause_stands_first() -> None:
    one = view(0, with_suggested(0, 3))
    assert [cause.key for cause in one.suggested] == ["soft"]
    assert one.causes[0].key == "soft"


def test_a_base_that_settles_is_spoken_for_by_its_direction_and_its_feet() -> None:
    """Every fourth base of the made plant settles, P-102 the first of them (tests.history_maker.made_book)."""
    settling = [asset for asset in EVERY if asset % 4 == 1 and asset % 5 != 3 and asset % 7]
    sides = {
        seen.side for asset in settling for seen in next(c for c in view(asset).causes if c.key == "settling").seen
    }
    assert "for" in sides
    texts = " ".join(seen.text for seen in next(c for c in view(settling[0]).causes if c.key == "settling").seen)
    assert "runs" in texts
    assert "mm a year" in texts


def test_lengths_are_in_the_unit_of_the_page() -> None:
    """Nothing but the sentence on what would settle pipe strain names both units, and that is the page's."""
    for asset in EVERY:
        for cause in view(asset, display=Display("mil")).causes:
            assert not any("mm a year" in seen.text for seen in cause.seen)


def test_for_stands_before_against_before_open() -> None:
    order = ("for", "against", "open")
    for asset in EVERY:
        for cause in view(asset).causes:
            places = [order.index(seen.side) for seen in cause.seen]
            assert places == sorted(places)
            assert cause.seen


def test_the_days_of_the_jobs_stand_with_their_entries() -> None:
    days = days_of(BOOK.stories[1])
    for cause in view(1).causes:
        assert all(day == days[entry] for entry, day in cause.jobs)


def test_the_chance_is_the_engines_adjusted_one() -> None:
    one = next(cause for cause in view(1).causes if cause.key == "settling")
    assert one.chance == pytest.approx(float(STUDY.patterns.q[1, SETTLING]), nan_ok=True)


def test_without_any_run_everything_is_open() -> None:
    first = HISTORY.jobs.take(np.flatnonzero(np.diff(HISTORY.jobs.asset, prepend=-1)))
    lonely = replace(HISTORY, jobs=first)
    one = build_patterns(study_of(lonely), lonely, 0, display=Display(), days={})
    assert one.suggested == ()
    assert {seen.side for cause in one.causes for seen in cause.seen} == {"open"}


def feet_said(**given: object) -> tuple[str, str]:
    """What page and study say of a settling base of a machine whose base does settle, with some columns of the study told otherwise."""
    study = replace(STUDY, **given)
    lines = evidence_for(
        1, HISTORY.jobs, study.runs, HISTORY.assets, study.material,
        patterns=study.patterns, directions=study.directions, shapes=study.shapes, feet=study.feet,
        step_chance=float(study.standing.step_chance[1]),
    )  # fmt: skip
    mine = next(one for one in view(1, study).causes if one.key == "settling").seen
    theirs = next(line.text for line in lines if line.cause == CAUSE_WORDS[SETTLING])
    return " ".join(one.text for one in mine), theirs


def test_feet_are_evidence_only_where_they_are_said_to_move() -> None:
    """One run of seven hours spoke against a settling base, and a machine that steps got a rate of its feet in a year."""
    rates, series = STUDY.feet.rates, int(STUDY.material.series_now[1])
    few = np.where(np.arange(len(rates.n)) == series, 1, rates.n)
    nowhere = np.full_like(STUDY.directions.verdict, NO_DIRECTION)
    page, study = feet_said()
    assert "nearest row" in page
    assert "mm a year, up is +" in study
    for given in (
        {"feet": replace(STUDY.feet, rates=replace(rates, n=few))},
        {"standing": replace(STUDY.standing, step_chance=np.full(len(EVERY), 0.9))},
        {"directions": replace(STUDY.directions, verdict=nowhere)},
    ):
        page, study = feet_said(**given)
        assert "nearest row" not in page
        assert "mm a year, up is +" not in study


def test_a_machine_without_a_limit_is_not_said_to_have_no_runs() -> None:
    """The page said "0 runs" and the study "no completed interval" of nine, and only the page what their feet do."""
    directions = replace(
        STUDY.directions, n=np.zeros_like(STUDY.directions.n), verdict=np.full_like(STUDY.directions.verdict, TOO_FEW)
    )
    page, study = feet_said(directions=directions)
    assert "0 runs held against a limit: too few to see a direction" in page
    assert study.startswith("no interval that a limit judges; ")
    assert "nearest row" in page
    assert "mm a year, up is +" in study
    _, study = feet_said(directions=replace(directions, n=np.ones_like(directions.n)))
    assert study.startswith("too few intervals (1); ")


def test_the_other_machines_of_an_area_are_told_by_their_middle_one_of_three_runs_or_more() -> None:
    """One machine with two visits on one day made 1095 mm a year of the mean of an area."""
    own, before = STUDY.material.series_now, neighbours(1, HISTORY.assets, STUDY.material, STUDY.feet)
    others = [int(own[asset]) for asset in EVERY if asset != 1 and HISTORY.assets.area[asset] == HISTORY.assets.area[1]]
    rates = STUDY.feet.rates
    counted = [one for one in others if one >= 0 and rates.n[one] >= 3]
    assert before == (len(counted), pytest.approx(np.median(rates.raw[counted, 1])))
    raw, n = rates.raw.copy(), rates.n.copy()
    raw[counted[0], 1], n[counted[0]] = 80_000.0, 1
    after = neighbours(1, HISTORY.assets, STUDY.material, replace(STUDY.feet, rates=replace(rates, raw=raw, n=n)))
    assert after == (len(counted) - 1, pytest.approx(np.median(rates.raw[counted[1:], 1])))
