"""A history that grew is the history that is read from nothing: rows, order and types."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

from models.commands.amend_job import amend_job, void_job
from models.commands.set_site import set_site
from models.history.columns import AssetColumns, BreakColumns, JobColumns
from models.history.late import BOTH, maker_of, places_in, rows_in, twin
from models.store import growth
from models.store.columns import EMPTY, RawJobs, _spreads, at_day, job_columns
from models.store.growth import merged, rows_of
from models.store.reader import Reader
from models.values.job import Misalignment
from models.values.story import Site
from tests.conftest import NOW
from tests.seeded import JOBS, bring_in, seed, write

ASSETS, PEOPLE = np.array([3, 7, 9, 20], dtype=np.int64), np.array([2, 5], dtype=np.int64)


def raw_rows(rows: list[tuple[int, int, int, bool, int]]) -> RawJobs:
    """Rows as the database gives them: asset, minute, which earlier row is superseded (−1 none), void, person."""
    n = len(rows)
    whole = np.full((n, 8), -1, dtype=np.int64)
    for entry, (asset, minute, older, void, person) in enumerate(rows):
        whole[entry] = (
            entry + 100,
            entry,
            asset,
            older + 100 if older >= 0 else -1,
            void,
            minute * 60_000_000,
            person,
            -1,
        )
    numbers = np.arange(n * 25, dtype=np.float64).reshape(n, 25) % 7.0
    numbers[::3, 4] = np.nan
    coded = np.stack([np.arange(n) % 3, np.arange(n) % 2], axis=1)
    return RawJobs(whole, numbers, coded, np.ones((n, 2)) * np.arange(n)[:, None])


@st.composite
def books(draw: st.DrawFn) -> tuple[RawJobs, list[int]]:
    n = draw(st.integers(0, 40))
    rows = []
    free: list[int] = []
    for row in range(n):
        # A version can be superseded once; the version that takes its place speaks of the same asset as a rule.
        older = free.pop(draw(st.integers(0, len(free) - 1))) if free and draw(st.booleans()) else -1
        rows.append(
            (
                draw(st.sampled_from([3, 7, 9, 20])),
                draw(st.integers(0, 5)),
                older,
                older >= 0 and draw(st.booleans()),
                draw(st.sampled_from([2, 5, -1])),
            )
        )
        free.append(row)
    cuts = sorted(draw(st.lists(st.integers(0, n), max_size=4)))
    return raw_rows(rows), cuts


def some(raw: RawJobs, begin: int, end: int) -> RawJobs:
    return RawJobs(*(getattr(raw, name)[begin:end] for name in RawJobs.__slots__))


def columns(raw: RawJobs) -> JobColumns:
    return job_columns(raw, "Europe/Lisbon", ASSETS, PEOPLE, np.zeros(0, dtype=np.int64))


def assert_same(one: object, other: object, kind: type) -> None:
    for name in kind.__slots__:  # type: ignore[attr-defined]
        a, b = getattr(one, name), getattr(other, name)
        assert a.dtype == b.dtype, name
        assert np.array_equal(a, b, equal_nan=a.dtype.kind == "f"), name


@pytest.mark.parametrize("piecewise", [0, 512])
@given(made=books())
@settings(max_examples=60, deadline=None)
def test_pieces_put_together_are_the_whole(made: tuple[RawJobs, list[int]], piecewise: int) -> None:
    raw, cuts = made
    whole, held, begin = columns(raw), columns(EMPTY), 0
    before = growth.PIECEWISE
    growth.PIECEWISE = piecewise
    try:
        for end in [*cuts, len(raw)]:
            part = some(raw, begin, end)
            held = merged(held, columns(part), rows_of(held.entry, part.superseded))
            begin = max(begin, end)
    finally:
        growth.PIECEWISE = before
    assert_same(held, whole, JobColumns)


def test_what_did_not_change_is_the_very_same_object() -> None:
    held = columns(raw_rows([(3, 1, -1, False, 2)]))
    assert merged(held, columns(EMPTY), np.zeros(0, dtype=np.int64)) is held


def test_many_rows_are_found_as_few_are() -> None:
    entries = np.random.default_rng(1).permutation(100)
    for wanted in (np.array([5]), np.array([5, 500, 7]), np.arange(0, 60, 2)):
        assert rows_of(entries, wanted).tolist() == sorted(np.flatnonzero(np.isin(entries, wanted)).tolist())


def test_a_book_that_grows_in_every_way_is_as_one_that_is_read_anew(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    reader = Reader(engine)

    def check() -> None:
        held, fresh = reader.history(site.site_id), Reader(engine).history(site.site_id)
        assert (held.head, held.zone, held.people, held.instruments) == (
            fresh.head, fresh.zone, fresh.people, fresh.instruments,
        )  # fmt: skip
        for name, kind in (("jobs", JobColumns), ("breaks", BreakColumns), ("assets", AssetColumns)):
            assert_same(getattr(held, name), getattr(fresh, name), kind)

    check()
    story = reader.story(site.site_id, "P-1")
    assert story is not None
    second = next(line for line in story.jobs if line.job.ref == "J2")
    amended = replace(
        second.job,
        left=Misalignment(0.021, 0.1, 0.01, -0.05),
        performed_at=second.job.performed_at + timedelta(days=400),
    )
    amend_job(engine, site, second.entry, amended, by="Bo Tarn", now=NOW + timedelta(hours=1), why="wrong date")  # fmt: skip
    check()
    third = next(line for line in reader.story(site.site_id, "P-2").jobs if line.job.ref == "J3")  # type: ignore[union-attr]
    void_job(engine, site, third.entry, by="Bo Tarn", now=NOW + timedelta(hours=2), why="another machine")
    check()
    head = JOBS.splitlines()[0]
    more = {
        "assets": "tag,description,running speed [rpm],retired,valid from\nP-1,another pump,2970,2025-01-01,2024-06-01\n",
        "new": "tag,description,running speed [rpm]\nN-1,new fan,1480\n",
        "breaks": "tag,date,replaced,reason\nP-1,2024-08-01,coupling,worn\n",
        "instruments": "serial,description\nA-1,older name\n",
        "jobs": f"{head}\nJ9,N-1,2024-01-04 09:30,planned,Cleo Marsh,A-1,0.1,0.1,0,0,0,0,0,0,,,,,\n"
        "J8,P-1,2024-03-04 09:30,planned,Cleo Marsh,A-1,0.1,0.1,0,0,0,0,0,0,,,,,\n",
    }
    before = reader.history(site.site_id)
    for name, text in more.items():
        assert bring_in(engine, site, *write(tmp_path, **{name: text})).written, name
        check()
    assert reader.history(site.site_id).breaks is not before.breaks
    set_site(engine, site, zone="Pacific/Auckland", by="tester", now=NOW + timedelta(hours=3))
    check()
    assert reader.history(site.site_id).zone == "Pacific/Auckland"


def test_an_asset_goes_out_of_service_on_its_day(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    text = "tag,description,running speed [rpm],retired,valid from\nP-1,pump,2970,2030-01-02,2024-06-01\n"
    assert bring_in(engine, site, *write(tmp_path, later=text)).written
    reader = Reader(engine)
    assert not reader.history(site.site_id).assets.retired.any()
    held = reader._held[site.site_id]
    day = int(np.datetime64("2030-01-02", "D").astype(np.int64))
    assert at_day(held, day - 1).history is held.history
    gone = at_day(held, day)
    assert gone.history.assets.retired.tolist() == [True, False]
    assert not at_day(gone, day - 1).history.assets.retired.any()


@given(made=books())
@settings(max_examples=60, deadline=None)
def test_jobs_that_grew_know_which_machines_were_touched(made: tuple[RawJobs, list[int]]) -> None:
    raw, cuts = made
    cut = cuts[0] if cuts else 0
    held, part = columns(some(raw, 0, cut)), some(raw, cut, len(raw))
    gone = rows_of(held.entry, part.superseded)
    short = growth.SHORT
    growth.SHORT = -1
    try:
        grown = merged(held, columns(part), gone)
    finally:
        growth.SHORT = short
    maker = maker_of(grown, "asset")
    if grown is held:
        assert maker is None
        return
    expected = sorted({*columns(part).asset.tolist(), *held.asset[gone].tolist()})
    for before in (held, twin(held)):
        assert maker.touched(before).tolist() == expected  # type: ignore[union-attr]
    other = held.take(np.arange(len(held)))
    assert maker.touched(other) is None, "rows that are not the very same are compared"  # type: ignore[union-attr]
    assert set(JobColumns.__slots__) == {name for name in JobColumns.__slots__ if maker_of(grown, name)}


def test_rises_are_read_as_the_reader_of_json_reads_them() -> None:
    import json

    from models.maths.soft_foot import spread

    texts = ("[0.02,0,0,null]", "[]", "[0.001,2.5]", "[null,null]", "[0.1,0.2,0.05,0.3,1e-05,-0.25]", "[0.07]")
    for text, got in zip(texts, _spreads(texts).tolist(), strict=True):
        values = json.loads(text)
        grid = np.full((1, 6), np.nan)
        grid[0, : len(values)] = [np.nan if x is None else x for x in values]
        expected = spread(grid)[0] if values else np.nan
        assert got == expected or (np.isnan(got) and np.isnan(expected)), text


@given(made=books(), wanted=st.lists(st.integers(0, 1000), max_size=6))
@settings(max_examples=60, deadline=None)
def test_some_rows_of_a_column_that_grew_are_those_of_the_whole_column(
    made: tuple[RawJobs, list[int]], wanted: list[int]
) -> None:
    raw, cuts = made
    held, begin = columns(EMPTY), 0
    short = growth.SHORT
    growth.SHORT = -1  # no column is put together before somebody asks
    try:
        for end in [*cuts, len(raw)]:
            part = some(raw, begin, end)
            held = merged(held, columns(part), rows_of(held.entry, part.superseded))
            begin = max(begin, end)
    finally:
        growth.SHORT = short
    rows = np.array([row % max(len(held), 1) for row in wanted] if len(held) else [], dtype=np.int64)
    assert rows_in(held, "job") == len(columns(raw))
    machines = np.arange(-1, len(ASSETS) + 1)
    for side in BOTH:
        expected = np.searchsorted(columns(raw).asset, machines, side=side)
        assert places_in(held, "asset", machines, side).tolist() == expected.tolist()
    few = held.take(rows)
    for name in JobColumns.__slots__:
        a, b = getattr(few, name), getattr(held, name)[rows]
        assert a.dtype == b.dtype
        assert np.array_equal(a, b, equal_nan=a.dtype.kind == "f"), name
    assert_same(held, columns(raw), JobColumns)
