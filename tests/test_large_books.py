"""A very large book needs memory for what it holds and little more: blocks change no figure, and parts are let go."""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Callable, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from models.history import backtest, outside, predictions
from models.history.backtest import backtest_of
from models.history.classes import Grouping, group_series
from models.history.columns import History
from models.history.conformal import LEVELS, conformal_factors
from models.history.drift import fit_classes
from models.history.material import Material, material_of
from models.history.predictions import predict_past
from models.history.runs import runs_of
from models.store import columns, entry_columns
from models.store.columns import RawJobs, job_columns, read_jobs
from models.store.entry_columns import EntryColumns, grown
from models.store.growth import newest
from models.values.story import Site
from tests.fleet import Plan, make_fleet
from tests.seeded import seed
from tests.test_models_store_growth import ASSETS, PEOPLE, raw_rows

QUIET = 20_000
"""What threads that only wait take in a moment. [byte]"""


def wait_for_quiet(most_s: float = 20.0) -> None:
    """Wait until no thread takes memory for a moment, though not for ever."""
    until = time.monotonic() + most_s
    while time.monotonic() < until:
        before = tracemalloc.get_traced_memory()[0]
        tracemalloc.reset_peak()
        time.sleep(0.05)
        if tracemalloc.get_traced_memory()[1] - before < QUIET:
            return


def most_memory(work: Callable[[], Any], tries: int = 5) -> tuple[int, Any]:
    """Give the most memory that some work took beyond what was there before [byte], and what it gave.

    It is the least of some tries, each begun in a quiet moment: what threads of other tests take meanwhile counts too.
    """
    least, result = sys.maxsize, None
    for _ in range(tries):
        tracemalloc.start()
        try:
            wait_for_quiet()
            before = tracemalloc.get_traced_memory()[0]
            tracemalloc.reset_peak()
            result = work()
            least = min(least, tracemalloc.get_traced_memory()[1] - before)
        finally:
            tracemalloc.stop()
    return least, result


def size_of(value: Any) -> int:
    names = [field.name for field in fields(value)]
    return sum(part.nbytes for name in names if isinstance(part := getattr(value, name), np.ndarray))


def assert_equal(one: Any, other: Any) -> None:
    for field in fields(one):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if isinstance(a, np.ndarray):
            np.testing.assert_array_equal(a, b, err_msg=field.name)


@pytest.fixture(scope="module")
def fleet() -> tuple[History, Material, Grouping]:
    history, _ = make_fleet(58, Plan(assets=900, jobs_high=14))
    material = material_of(history.jobs, history.breaks, runs_of(history.jobs, history.breaks), history.assets)
    return history, material, group_series(np.zeros(len(material.series_asset), np.int64), np.unique(material.series))


def test_predictions_do_not_depend_on_how_many_series_are_added_up_at_once(
    fleet: tuple[History, Material, Grouping], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, material, grouping = fleet
    found = []
    for at_once in (10**9, 700, 1):
        monkeypatch.setattr(predictions, "RUNS_AT_ONCE", at_once)
        found.append(predict_past(material, grouping))
    assert len(found[0]) > 3000
    for other in found[1:]:
        assert_equal(found[0], other)
        np.testing.assert_array_equal(found[0].factors.factor, other.factors.factor)


def test_earlier_runs_are_added_up_in_the_memory_of_a_block(
    fleet: tuple[History, Material, Grouping], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, material, grouping = fleet
    fits = fit_classes(material, grouping)
    few = np.arange(len(material)) % 50 == 0
    monkeypatch.setattr(predictions, "RUNS_AT_ONCE", 300)
    peak, (chosen, _, _) = most_memory(lambda: predictions._known_before(material, grouping, fits, few))
    assert len(chosen) > 50
    # Sixteen sums of every run would be 128 bytes a run, and three times that on the way.
    assert peak < 128 * len(material)


def test_batches_are_let_go_while_they_are_put_together(
    fleet: tuple[History, Material, Grouping], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, material, grouping = fleet
    joined, peaks = predictions._joined, []

    def watched(*given: Any) -> Any:
        before = tracemalloc.get_traced_memory()[0]
        tracemalloc.reset_peak()
        result = joined(*given)
        peaks.append((tracemalloc.get_traced_memory()[1] - before) / size_of(result))
        return result

    monkeypatch.setattr(predictions, "_joined", watched)
    most_memory(lambda: predict_past(material, grouping), tries=1)
    assert len(peaks) == 1
    # Less than one more of what it gives: the parts would stay beside the whole.
    assert peaks[0] < 0.7


def test_predictions_are_scored_some_at_a_time_to_the_same_bit(
    fleet: tuple[History, Material, Grouping], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, material, grouping = fleet
    made = predict_past(material, grouping)
    monkeypatch.setattr(backtest, "AT_ONCE", 10**9)
    whole_peak, whole = most_memory(lambda: backtest_of(made, material, 2))
    monkeypatch.setattr(backtest, "AT_ONCE", 333)
    peak, parts = most_memory(lambda: backtest_of(made, material, 2))
    assert_equal(whole, parts)
    assert peak < 0.75 * whole_peak


def test_factors_take_no_second_copy_of_the_scores() -> None:
    rng = np.random.default_rng(4)
    score = rng.gamma(2.0, 0.5, (20_000, 4, len(LEVELS)))
    score[rng.random((20_000, 4)) < 0.1] = np.nan
    depth, fit = rng.integers(0, 4, 20_000), rng.integers(0, 2, 20_000)
    peak, factors = most_memory(lambda: conformal_factors(score, depth, fit, 3))
    assert peak < score.nbytes
    own = score[(depth == 2) & (fit == 1)].reshape(-1, len(LEVELS))
    own = own[~np.isnan(own[:, 0])]
    rank = int(np.ceil((len(own) + 1) * LEVELS[1]))
    assert factors.factor[1, 2, 1] == np.sort(own[:, 1])[rank - 1]
    assert factors.n[1, 2] == len(own)


def test_a_circle_is_integrated_a_few_positions_at_a_time_to_the_same_bit(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(8)
    mean, variance = rng.normal(0.0, 0.7, (5_000, 2)), rng.gamma(2.0, 0.05, (5_000, 2))
    monkeypatch.setattr(outside, "AT_ONCE", 10**9)
    whole_peak, whole = most_memory(lambda: outside.outside_circle(mean, variance))
    monkeypatch.setattr(outside, "AT_ONCE", 333)
    peak, parts = most_memory(lambda: outside.outside_circle(mean, variance))
    np.testing.assert_array_equal(parts, whole)
    assert peak < whole_peak / 5.0


def test_rows_become_columns_with_no_copy_of_the_rows() -> None:
    raw = raw_rows([(3, n % 977, -1, False, 2) for n in range(20_000)])
    peak, made = most_memory(lambda: job_columns(raw, "Europe/Lisbon", ASSETS, PEOPLE, np.zeros(0, dtype=np.int64)))
    assert len(made) == 20_000
    assert peak < 1.4 * size_of(made)


def test_what_was_read_is_put_together_field_by_field(
    engine: sa.Engine, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seed(engine, site, tmp_path)

    def many(rows: Sequence[Sequence[Any]]) -> RawJobs:
        n = 8_000 * len(rows)
        return RawJobs(np.zeros((n, 8), np.int64), np.zeros((n, 25)), np.zeros((n, 2), np.int64), np.zeros((n, 2)))

    monkeypatch.setattr(columns, "_CHUNK", 1)
    monkeypatch.setattr(columns, "_raw", many)
    with engine.connect() as connection:
        peak, raw = most_memory(lambda: read_jobs(connection, site.site_id, 0))
    assert len(raw) == 24_000
    # All parts beside the whole would be twice as much.
    assert peak < 1.85 * size_of(raw)


def test_entries_that_are_read_in_chunks_are_those_that_are_read_at_once(
    engine: sa.Engine, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seed(engine, site, tmp_path)
    with engine.connect() as connection:
        whole = grown(connection, site.site_id, EntryColumns(), newest(connection))
        kept: list[int] = []
        pack = entry_columns._Reading.pack

        def watched(self: Any) -> None:
            kept.append(len(self.named))
            pack(self)

        monkeypatch.setattr(entry_columns, "_CHUNK", 1)
        monkeypatch.setattr(entry_columns._Reading, "pack", watched)
        parts = grown(connection, site.site_id, EntryColumns(), newest(connection))
    assert_equal(whole, parts)
    assert parts.texts == whole.texts
    # Names are packed after each chunk, and never wait for the last one.
    assert len(kept) > 3
    assert max(kept) < len(whole.named)
