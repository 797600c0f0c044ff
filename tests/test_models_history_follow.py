"""A study that follows new jobs is the study that the same estimates give for the whole history; what rests on no estimate is exact."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.history.columns import History
from models.history.engine import Study, study_of, study_with, without_predictions
from models.history.follow import change_of, study_after
from models.history.late import BOTH, DEEPEST, depth_of, places_in, row_of, rows_in, settle, some_of, twin
from models.history.material import present_runs
from models.history.splice import Splice
from tests.fleet import Plan
from tests.history_edits import broken, described, drawn, numbered, unlike, until, voided, with_asset, with_job

EXACT = ("runs", "material", "ratio_trend", "return_counts", "recurrence")
"""Parts that rest on no estimate over all machines."""


def exact_parts(study: Study) -> tuple[object, ...]:
    rates, patterns = study.return_rates, study.patterns
    return (
        *(getattr(study, name) for name in EXACT),
        (rates.looks, rates.returns, rates.years, rates.worst_ratio, study.planned_rates.looks),
        (patterns.soft_over, patterns.soft_looks, patterns.p[:, 3]),
        (study.standing.left, study.standing.left_us, study.standing.duty, study.standing.n, study.rates.n),
    )


@pytest.fixture(scope="module")
def fleet() -> History:
    return numbered(5, Plan(assets=120, hours_share=0.3))


@cache
def made_small() -> tuple[History, Study]:
    history = numbered(6, Plan(assets=45, jobs_low=1, hours_share=0.3))
    return history, study_of(history)


def test_jobs_one_by_one_give_the_study_of_the_whole_history_with_the_same_estimates(fleet: History) -> None:
    head = fleet.head - 24
    before = until(fleet, head)
    whole = study = study_of(before)
    assert whole.whole
    for entry in range(head + 1, fleet.head + 1):
        after = until(fleet, entry)
        followed = study_after(study, before, after)
        assert followed is not None
        assert followed.fleet is whole.fleet
        assert (followed.until, followed.fleet.until, followed.whole) == (entry, head, False)
        assert unlike(followed, study_with(after, whole.fleet)) == []
        if entry % 6 == 0:
            assert unlike(exact_parts(followed), exact_parts(study_of(after))) == []
        before, study = after, followed
    again = study_of(before, before=study)
    assert unlike(without_predictions(again), without_predictions(study_of(before))) == []
    several = study_after(whole, until(fleet, head), before)
    assert several is not None
    assert unlike(several, study) == []


def test_with_its_own_estimates_a_study_is_the_whole_study(fleet: History) -> None:
    whole = study_of(fleet)
    assert unlike(study_with(fleet, whole.fleet), without_predictions(whole), within=0.0) == []


def test_the_estimates_do_change_what_is_estimated(fleet: History) -> None:
    head = fleet.head - 24
    followed = study_after(study_of(until(fleet, head)), until(fleet, head), fleet)
    assert followed is not None
    changed = {text.split(".")[1] for text in unlike(followed, without_predictions(study_of(fleet)))}
    assert {"fits", "rates", "standing", "return_rates"} <= changed
    assert not changed & set(EXACT)


@pytest.fixture
def small() -> tuple[History, Study]:
    return made_small()


@given(seed=st.integers(0, 2**32 - 1), steps=st.integers(1, 4))
@settings(max_examples=25, deadline=None)
def test_whatever_is_written_is_followed(seed: int, steps: int) -> None:
    rng = np.random.default_rng(seed)
    before, study = made_small()
    after = before
    for _ in range(steps):
        after = drawn(after, rng)
    followed = study_after(study, before, after)
    assert followed is not None
    assert unlike(followed, study_with(after, study.fleet)) == []
    # … and once more from what followed: nothing of the first step is left behind.
    later = drawn(after, rng)
    twice = study_after(followed, after, later)
    assert twice is not None
    assert unlike(twice, study_with(later, study.fleet)) == []
    for part in (twice.directions, twice.patterns):
        p, order = (column.reshape(len(column), -1) for column in (part.p, part.order))
        for cause in range(p.shape[1]):
            assert sorted(order[:, cause].tolist()) == list(range(len(p)))
            assert np.array_equal(p[order[:, cause], cause], np.sort(p[:, cause]), equal_nan=True)


def test_a_book_without_jobs_is_followed_from_the_first_one(small: tuple[History, Study]) -> None:
    history, _ = small
    empty = replace(
        history, head=1, jobs=history.jobs.take(np.zeros(0, dtype=np.int64)), breaks=until(history, 1).breaks
    )
    study = study_of(empty)
    first = replace(history, breaks=empty.breaks, jobs=history.jobs.take(np.arange(1)))
    followed = study_after(study, empty, first)
    assert followed is not None
    assert unlike(followed, study_with(first, study.fleet)) == []


def test_what_cannot_be_followed_is_left_to_the_whole_study(small: tuple[History, Study]) -> None:
    history, study = small
    rng = np.random.default_rng(1)
    after = with_job(history, 3, 30, rng)
    assert study_after(study, history, replace(after, zone="Asia/Tokyo")) is None
    assert study_after(study, after, history) is None, "an earlier history"
    assert study_after(study, history, replace(after, people=("Somebody else", *after.people[1:]))) is None
    fewer = replace(after, assets=until(history, history.head).assets)
    other = replace(fewer, jobs=replace(after.jobs, entry=np.where(after.jobs.entry == 1010, 7, after.jobs.entry)))
    assert study_after(study, history, other) is None, "an entry that the first history does not know"
    assert change_of(history, after, most=1) is not None
    assert change_of(history, with_job(after, 5, 9, rng), most=1) is None
    same = study_after(study, history, replace(history, head=history.head + 1))
    assert same is not None
    assert same.whole
    assert same.until == history.head + 1
    before = replace(same, until=study.until, fleet=study.fleet)
    assert unlike(before, without_predictions(study)) == []


def test_what_is_touched_is_found(small: tuple[History, Study]) -> None:
    history, _ = small
    rng = np.random.default_rng(2)
    row = int(np.flatnonzero(history.jobs.asset == 7)[0])
    for after, touched in (
        (with_job(history, 3, 30, rng), [3]),
        (with_job(with_job(history, 9, -30, rng), 2, 4, rng), [2, 9]),
        (voided(history, row), [7]),
        (broken(history, 11, 0), [11]),
        (described(history, 4, speed_rpm=1234.0), [4]),
        (described(history, 4, feet_movable_mm=(np.nan, np.nan)), [4]),
        (with_asset(history), [len(history.assets)]),
        (replace(history, head=history.head + 1), []),
    ):
        change = change_of(history, after)
        assert change is not None
        assert change.touched.tolist() == touched


def test_rows_and_places_of_late_columns_are_those_of_the_columns(small: tuple[History, Study]) -> None:
    history, study = small
    rng = np.random.default_rng(4)
    for step in range(4):
        after = with_job(history, int(rng.integers(45)), 5, rng)
        after = voided(after, int(rng.integers(len(after.jobs)))) if step % 2 else after
        followed = study_after(study, history, after)
        assert followed is not None
        history, study = after, followed
    late = study_after(study, history, described(history, 4, retired=True))
    assert late is not None
    whole = twin(late.runs), twin(late.material), twin(late.directions), twin(late.patterns)
    settle(whole)
    for one, other in zip((late.runs, late.material, late.directions, late.patterns), whole, strict=True):
        for name in type(one).__slots__:
            column = getattr(other, name)
            if isinstance(column, np.ndarray):
                rows = rng.integers(len(column), size=7)
                assert np.array_equal(some_of(one, name, rows), column[rows], equal_nan=column.dtype.kind == "f"), name
                value, expected = row_of(one, name, int(rows[0])), column[rows[0]]
                assert np.array_equal(value, expected, equal_nan=column.dtype.kind == "f"), name
    for side in BOTH:
        for one, other, name in ((late.runs, whole[0], "asset"), (late.material, whole[1], "series_asset")):
            wanted = np.arange(-1, 50)
            assert (
                places_in(one, name, wanted, side).tolist()
                == np.searchsorted(getattr(other, name), wanted, side=side).tolist()
            )
        series = whole[1].series
        wanted = np.arange(len(whole[1].series_asset))
        assert (
            places_in(late.material, "series", wanted, side).tolist()
            == np.searchsorted(series, wanted, side=side).tolist()
        )
    assert rows_in(late.runs, "asset") == len(whole[0].asset)
    for asset in range(45):
        now = int(whole[1].series_now[asset])
        mine = whole[1].run[whole[1].series == now] if now >= 0 else []
        assert present_runs(late.material, asset).tolist() == list(mine)


def test_many_steps_without_a_look_do_not_pile_up(small: tuple[History, Study]) -> None:
    history, study = small
    rng = np.random.default_rng(3)
    for _ in range(3 * DEEPEST):
        after = with_job(history, int(rng.integers(45)), 5, rng)
        followed = study_after(study, history, after)
        assert followed is not None
        history, study = after, followed
        assert depth_of(study) <= DEEPEST + 1
    other = twin(study.runs)
    assert other is not study.runs
    assert unlike(other, study.runs, within=0.0) == []
    settle(study)
    assert depth_of(study) == 0
    assert unlike(study, study_with(history, study.fleet)) == []


@given(data=st.data())
@settings(max_examples=100, deadline=None)
def test_a_spliced_column_is_the_column_made_piece_by_piece(data: st.DataObject) -> None:
    """Twin: lists of pieces, each with the rows of one machine."""
    pieces = [list(range(10 * k, 10 * k + data.draw(st.integers(0, 4)))) for k in range(6)]
    touched = sorted(data.draw(st.sets(st.integers(0, 5))))
    new = {k: [1000 + 10 * k + i for i in range(data.draw(st.integers(0, 5)))] for k in touched}
    ends = np.cumsum([len(piece) for piece in pieces]).tolist()
    splice = Splice(
        tuple(ends[k] - len(pieces[k]) for k in touched),
        tuple(ends[k] for k in touched),
        tuple(len(new[k]) for k in touched),
    )
    old = np.array([x for piece in pieces for x in piece], dtype=np.int64)
    expected = [x for k, piece in enumerate(pieces) for x in new.get(k, piece)]
    fresh = np.array([x for k in touched for x in new[k]], dtype=np.int64)
    got = splice.apply(old, fresh)
    assert got.tolist() == expected
    assert got[splice.rows()].tolist() == fresh.tolist()
    # Some rows, in any order and more than once, without the others.
    rows = np.array(data.draw(st.lists(st.integers(0, max(len(got) - 1, 0)), max_size=9)), dtype=np.int64)[
        : len(got) * 9
    ]
    assert splice.some(lambda kept: old[kept], fresh, rows).tolist() == got[rows].tolist()
    # A column that points at its own rows: whoever stays still points at the same value.
    own = np.arange(len(old))
    own[: len(own) // 3] = -1
    pointing = splice.apply(own, splice.rows(), splice)
    assert splice.some(lambda kept: own[kept], splice.rows(), rows, splice).tolist() == pointing[rows].tolist()
    kept = np.isin(got, old)
    for row in np.flatnonzero(kept & (pointing >= 0)).tolist():
        assert got[pointing[row]] == got[row]
    assert np.count_nonzero(pointing[kept] < 0) == np.count_nonzero(np.isin(got[kept], old[own < 0]))
