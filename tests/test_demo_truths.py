"""What was planted in the invented plant is found by the history engine, and nothing is claimed where nothing was planted.

The demo itself goes through its files and the import; other seeds of the
generator go straight to columns, which is shown to be the same.  What is
expected to be found is the generator's own claim (``expected`` in truths.json).
The accepted share of false suggestions is the engine's stated one: 10 %.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import pytest

from dashboard.console.book import starter_limits
from models.history.columns import History
from models.history.effects import Effects, Holding, effects_of
from models.history.engine import Study, study_of
from models.history.evidence import evidence_for
from models.history.holding import holding_by_others
from models.history.patterns import CAUSE_WORDS, LOOSE_BOLTS, PIPE_STRAIN, SETTLING, SOFT_FOOT, THERMAL_TARGET
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from seed_data.generate import generate
from seed_data.truths import FOUND, Truth
from tests.demo_book import demo_in
from tests.plant_history import history_of

COLUMN = {
    "settling base": SETTLING,
    "pipe strain": PIPE_STRAIN,
    "thermal target": THERMAL_TARGET,
    "soft foot": SOFT_FOOT,
    "loose bolts": LOOSE_BOLTS,
}
RATE = 0.10
OTHER_SEEDS = (1, 2, 3)


@dataclass(frozen=True)
class Demo:
    """The demo's book, what the engine says of it, and what its truths.json says was planted."""

    history: History
    study: Study
    truths: list[dict[str, Any]]
    ordinary: list[str]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    folder = tmp_path_factory.mktemp("demo")
    engine = make_engine(demo_in(folder, Display()))
    reader = Reader(engine)
    history = reader.history(reader.sites()[0].site_id)
    engine.dispose()
    book = json.loads((folder / "truths.json").read_text(encoding="utf-8"))
    return Demo(history, study_of(history), book["truths"], book["ordinary"])


def suggested(history: History, study: Study) -> set[tuple[str, int]]:
    """Tag and cause of each suggestion."""
    return {(str(history.assets.tag[a]), int(c)) for a, c in zip(*np.nonzero(study.patterns.suggested), strict=True)}


def instruments(history: History, study: Study) -> Effects:
    who, count = history.jobs.instrument, len(history.instruments)
    return effects_of(study.runs, study.material, study.grouping, who, count)


def persons(history: History, study: Study) -> Effects:
    return effects_of(study.runs, study.material, study.grouping, history.jobs.person, len(history.people))


def holding(history: History, study: Study) -> Holding:
    """Held against what each asset's own rate lets expect over the length of the run."""
    people, classes = len(history.people), history.assets.speed_class
    return holding_by_others(history.jobs, history.breaks, study.runs, study.return_rates, classes, people)[0]


def test_columns_made_without_a_database_are_those_of_the_import(demo: Demo) -> None:
    made = history_of(generate(), starter_limits("tester"))
    numbers = {"entry", "job", "asset"}  # the book numbers its entries and its assets through
    for part in ("jobs", "breaks", "assets"):
        held, ours = getattr(demo.history, part), getattr(made, part)
        for name in (field.name for field in fields(held)):
            if name not in numbers or (name == "asset" and part != "assets"):
                np.testing.assert_array_equal(getattr(held, name), getattr(ours, name), err_msg=f"{part}.{name}")
    assert (made.people, made.instruments, made.zone) == (
        demo.history.people,
        demo.history.instruments,
        demo.history.zone,
    )


@pytest.mark.parametrize("cause", list(COLUMN))
def test_each_planted_cause_is_suggested_wherever_it_is_expected_to_be_found(demo: Demo, cause: str) -> None:
    told = suggested(demo.history, demo.study)
    here = [truth for truth in demo.truths if truth["cause"] == cause and truth["expected"] == FOUND]
    assert len(here) >= 3
    for truth in here:
        assert (truth["tags"][0], COLUMN[cause]) in told, truth["tags"]


def test_no_cause_is_suggested_for_an_ordinary_machine_nor_another_cause_than_the_planted_one(demo: Demo) -> None:
    planted = {(tag, COLUMN[t["cause"]]) for t in demo.truths if t["cause"] in COLUMN for tag in t["tags"]}
    told = suggested(demo.history, demo.study)
    assert len(demo.ordinary) > 150
    assert not {tag for tag, _ in told} & set(demo.ordinary)
    assert told <= planted


def test_nothing_is_suggested_where_the_history_is_too_short_or_the_cause_is_mended(demo: Demo) -> None:
    told = suggested(demo.history, demo.study)
    silent = [truth for truth in demo.truths if truth["expected"] != FOUND]
    assert {truth["expected"] for truth in silent} == {"too short to tell", "mended"}
    for truth in silent:
        assert (truth["tags"][0], COLUMN[truth["cause"]]) not in told


def test_the_evidence_names_the_planted_cause_its_jobs_and_what_would_settle_it(demo: Demo) -> None:
    study, history = demo.study, demo.history
    for truth in demo.truths:
        if truth["expected"] != FOUND or truth["cause"] not in COLUMN:
            continue
        asset = list(history.assets.tag).index(truth["tags"][0])
        lines = evidence_for(
            asset,
            history.jobs,
            study.runs,
            history.assets,
            study.material,
            patterns=study.patterns,
            directions=study.directions,
            shapes=study.shapes,
            feet=study.feet,
            step_chance=float(study.standing.step_chance[asset]),
        )
        first = lines[0]
        assert (first.cause, first.stance) == (CAUSE_WORDS[COLUMN[truth["cause"]]], "suggests")
        assert len(first.entries) >= 4
        assert first.settles


def test_the_rates_found_are_those_that_were_planted(demo: Demo) -> None:
    """Settling at the rows of feet: between the rate at first and half of it, for it slows down, give or take three errors."""
    study, tags = demo.study, list(demo.history.assets.tag)
    for truth in demo.truths:
        if truth["cause"] != "settling base" or truth["expected"] != FOUND:
            continue
        series = study.material.series_now[tags.index(truth["tags"][0])]
        hours = 1.0 / study.material.duty[tags.index(truth["tags"][0])]  # a rate by the counter is one of running years
        for column, name in ((0, "near_feet"), (1, "far_feet")):
            rate, error = study.feet.rates.raw[series, column], study.feet.rates.raw_se[series, column]
            first = truth["size"][f"{name}_mm_per_year_at_first"] * hours
            assert first - 3.0 * error < rate < 0.5 * first + 3.0 * error, (truth["tags"], name)


def test_the_careless_instrument_stands_out_and_no_other(demo: Demo) -> None:
    (truth,) = (t for t in demo.truths if t["cause"] == "instrument")
    effects = instruments(demo.history, demo.study)
    who = demo.history.instruments.index(truth["instrument"])
    flagged = {(int(i), int(c)) for i, c in zip(*np.nonzero(effects.q <= RATE), strict=True)}
    assert flagged == {(who, 0)}
    assert effects.raw[who, 0] > 0.0
    assert effects.low[who, 0] > 0.0
    # It is careless for four of six years only; its mean bias lies between nothing and what was planted.
    assert effects.low[who, 0] < truth["size"]["bias_offset_v_mm"]


def test_the_person_whose_work_does_not_hold_stands_out_and_no_other(demo: Demo) -> None:
    (truth,) = (t for t in demo.truths if t["cause"] == "person")
    held = holding(demo.history, demo.study)
    who = demo.history.people.index(truth["person"])
    assert set(np.flatnonzero(held.q <= RATE).tolist()) == {who}
    assert held.observed[who] > held.expected[who]
    assert held.low[who] > 1.0
    assert not (persons(demo.history, demo.study).q <= RATE).any(), "nobody reads wrongly"


def outcome(truths: tuple[Truth, ...], told: set[tuple[str, int]]) -> tuple[int, int, int]:
    """Count expected causes, those found, and suggestions of what was not planted."""
    planted = {(t.tags[0], COLUMN[t.cause]): t.expected for t in truths if t.tags}
    expected = {key for key, word in planted.items() if word == FOUND}
    return len(expected), len(expected & told), len(told - set(planted))


@pytest.mark.slow
def test_with_other_seeds_false_suggestions_keep_to_the_stated_share_and_most_causes_are_found() -> None:
    limit_set = starter_limits("tester")
    expected = found = false = claimed = 0
    bias, held_up = [], []
    for seed in OTHER_SEEDS:
        plant = generate(seed=seed)
        history = history_of(plant, limit_set)
        study = study_of(history)
        told = suggested(history, study)
        counts = outcome(plant.truths, told)
        expected, found, false = expected + counts[0], found + counts[1], false + counts[2]
        claimed += len(told)
        careless = history.instruments.index("NV-L-021")
        effects, work = instruments(history, study), holding(history, study)
        bias.append(effects.q[careless, 0] <= RATE and effects.raw[careless, 0] > 0.0)
        person = history.people.index("Dov Brinewell")
        held_up.append(work.q[person] <= RATE and work.observed[person] > work.expected[person])
    assert false <= RATE * claimed, (false, claimed)
    assert found >= 0.85 * expected, (found, expected)
    assert all(bias)
    assert all(held_up)
