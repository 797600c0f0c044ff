"""What stands in the address of a machine's page, and judging by other limits."""

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.place import read_place
from dashboard.views.asset_choices import (
    DEFAULT_RISK,
    RISKS,
    banner,
    described_on,
    judged_again,
    limits_row,
    read_job,
    read_limits,
    read_risk,
)
from models.history.whatif import judge_again
from models.values.asset import Asset
from models.values.description import version_on
from models.values.kinds import Coupling
from models.values.limits import Judged, LimitRow, LimitSet, LimitsGiven
from models.values.story import AssetVersion
from tests.history_maker import STARTER, Misalignment, at, columns_of, job, line, made_book, story_of

STRICT = LimitSet(
    "strict (invented)",
    "invented for this test",
    "desk",
    date(2025, 6, 1),
    (LimitRow(Judged.OFFSET, per_rpm=60.0), LimitRow(Judged.ANGULARITY, per_rpm=500.0)),
)
PUMP = Asset("P-1", speed_rpm=1500.0)
JOBS = [
    line(job("P-1", "2024-01-05T09:00", None, Misalignment(0.03)), PUMP, 5),
    line(job("P-1", "2025-01-05T09:00", Misalignment(0.06), Misalignment(0.01)), PUMP, 6),
]


@dataclass(frozen=True)
class Adopted:
    entry: int
    limit_set: LimitSet


SETS = [Adopted(2, STARTER), Adopted(7, STRICT)]


@pytest.mark.parametrize("risk", RISKS)
def test_a_risk_is_read_from_the_address(risk: int) -> None:
    assert read_risk(read_place("/asset/P-1", f"?risk={risk}")).value == risk


@given(st.text(max_size=30))
def test_whatever_is_typed_as_a_choice_gives_a_value_and_a_sentence(typed: str) -> None:
    place = replace(read_place("/asset/P-1", ""), choices={"risk": typed, "job": typed, "limits": typed})
    assert read_risk(place).value in RISKS
    assert read_job(place, JOBS).value in JOBS
    assert read_limits(place, SETS, STARTER).code in {"then", "today", "7"}


def test_a_choice_that_cannot_be_read_is_said() -> None:
    place = read_place("/asset/P-1", "?risk=7&job=99&limits=x")
    risk = read_risk(place)
    assert (risk.value, "‘7’" in risk.problem) == (DEFAULT_RISK, True)
    assert "‘99’" in read_job(place, JOBS).problem
    assert "‘x’" in read_limits(place, SETS, STARTER).problem


def test_a_job_is_chosen_by_its_entry_else_the_last_that_stands() -> None:
    void = line(job("P-1", "2026-01-05T09:00", Misalignment(0.5), None), PUMP, 8, void=True)
    old = replace(JOBS[0], superseded_by=9)
    assert read_job(read_place("/asset/P-1", ""), [old, JOBS[1], void]).value == JOBS[1]
    assert read_job(read_place("/asset/P-1", "?job=5"), [old, JOBS[1]]).value == old
    assert read_job(read_place("/asset/P-1", ""), []).value is None


def test_limits_are_those_of_the_day_of_today_or_of_an_entry() -> None:
    def code(asked: str) -> tuple[str, LimitSet | None]:
        judging = read_limits(read_place("/asset/P-1", asked), SETS, STARTER)
        return judging.code, judging.limit_set

    assert code("") == code("?limits=then") == ("then", None)
    assert code("?limits=today") == code("?limits=2") == ("today", STARTER)
    assert code("?limits=7") == ("7", STRICT)
    options = read_limits(read_place("/", ""), SETS, STARTER).options
    assert [one for one, _ in options] == ["then", "today", "7"]
    assert read_limits(read_place("/", "?limits=today"), [], None).code == "then"


def test_every_verdict_is_made_again_by_the_other_set() -> None:
    """60 / 1500 = 0.04 mm: 0.03 / 0.04 = 0.75 within; 0.06 / 0.04 = 1.5 over, where 120 / 1500 = 0.08 mm gave 0.75."""
    story = story_of(PUMP, JOBS)
    again = judged_again(story, STRICT).jobs
    assert again[0].left_ratio == pytest.approx(0.75)
    assert again[1].found_ratio == pytest.approx(1.5)
    assert again[0].found_ratio is None
    assert again[0].limit_set == "strict (invented), version 1"
    assert judged_again(story, None) is story


def test_judging_by_the_set_of_the_day_changes_nothing() -> None:
    for story in made_book(assets=8).stories:
        again = judged_again(story, STARTER)
        for old, new in zip(story.jobs, again.jobs, strict=True):
            assert new.limits == old.limits
            assert new.found_ratio == pytest.approx(old.found_ratio)
            assert new.left_ratio == pytest.approx(old.left_ratio)


def test_one_machine_is_judged_again_as_the_fleet_is() -> None:
    """Twin: models.history.whatif.judge_again over the columns of the whole plant."""
    book = made_book(assets=8)
    fleet = judge_again(columns_of(book.stories).jobs, STRICT)
    mine = [one.found_ratio for story in book.stories for one in judged_again(story, STRICT).standing]
    np.testing.assert_allclose(np.array([np.nan if x is None else x for x in mine]), fleet.found_ratio)


def test_the_banner_names_the_set_and_counts_what_turns() -> None:
    story = story_of(PUMP, JOBS)
    judging = read_limits(read_place("/", "?limits=7"), SETS, STARTER)
    said = banner(story, judged_again(story, STRICT), judging)
    assert "strict (invented), version 1" in said
    assert "adopted by desk on 1 Jun 2025" in said
    assert "1 of 3 verdicts differ" in said
    assert banner(story, story, read_limits(read_place("/", ""), SETS, STARTER)) == ""


def test_limits_as_a_row_of_the_columns() -> None:
    row = limits_row(LimitsGiven(0.1, None, 0.5, 0.05))
    assert row[0] == 0.1
    assert np.isnan(row[1])
    assert row[2:] == (0.5, 0.05)


@given(
    st.lists(st.one_of(st.none(), st.dates(date(2020, 1, 1), date(2026, 1, 1))), min_size=1, max_size=5),
    st.dates(date(2019, 1, 1), date(2027, 1, 1)),
)
def test_the_description_of_a_day_is_the_one_by_which_the_book_judges(starts: list[date | None], on: date) -> None:
    assets = [Asset(f"P-{n}", coupling=Coupling.SHORT, valid_from=start) for n, start in enumerate(starts)]
    versions = [AssetVersion(n, at("2020-01-02T08:00"), "desk", asset) for n, asset in enumerate(assets)]
    assert described_on(versions, on) == version_on(assets, on)
