"""Calibrations: which jobs they cover, against a plain walk day by day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from models.history.calibration import (
    HELD,
    NOT_KNOWN,
    RAN_OUT,
    calibration_of,
    known_then,
    last_of_assets,
    newest,
    next_with_another,
    resting_rows,
)
from models.values.people import Instrument
from tests.fleet import job_columns

EPOCH = date(1970, 1, 1)


def days(*texts: str) -> Any:
    return np.array([(date.fromisoformat(text) - EPOCH).days for text in texts], dtype=np.int64)


def states(versions: list[Instrument], *texts: str) -> list[int]:
    at = days(*texts)
    return calibration_of(at, np.zeros(len(at), np.int64), ("A",), versions).state.tolist()


def test_a_calibration_holds_from_its_day_to_the_day_it_is_due() -> None:
    once = [Instrument("A", "", date(2025, 3, 1), date(2026, 3, 1))]
    asked = ("2025-02-28", "2025-03-01", "2026-03-01", "2026-03-02")
    assert states(once, *asked) == [NOT_KNOWN, HELD, HELD, RAN_OUT]
    late = calibration_of(days(*asked), np.zeros(4, np.int64), ("A",), once).late_days
    assert late.tolist() == [0, 0, 0, 1]


def test_between_two_calibrations_the_first_has_run_out() -> None:
    twice = [
        Instrument("A", "", date(2023, 1, 1), date(2024, 1, 1)),
        Instrument("A", "", date(2024, 6, 1), date(2025, 6, 1)),
    ]
    assert states(twice, "2023-05-05", "2024-03-01", "2024-06-01", "2026-01-01") == [HELD, RAN_OUT, HELD, RAN_OUT]
    late = calibration_of(days("2024-03-01"), np.zeros(1, np.int64), ("A",), twice).late_days
    assert late.tolist() == [60]  # 2024 is a leap year: 31 + 29 days after 1 January


def test_what_was_known_when_a_job_was_recorded_leaves_out_what_came_later() -> None:
    said = [
        Instrument("A", "", date(2024, 1, 1), date(2025, 1, 1)),
        Instrument("B", "", date(2024, 1, 1), date(2030, 1, 1)),
        Instrument("A", "", date(2025, 1, 2), date(2026, 1, 1)),
    ]
    at = days("2025-03-01", "2025-03-01", "2025-03-01", "2025-03-01", "2025-03-01")
    founded, instrument = np.array([5, 15, 35, 15, 15]), np.array([0, 0, 0, 1, -1])
    told = known_then(founded, at, instrument, ("A", "B"), said, (10, 12, 30))
    assert told.state.tolist() == [NOT_KNOWN, RAN_OUT, HELD, HELD, NOT_KNOWN]
    assert told.late_days.tolist() == [0, 59, 0, 0, 0]  # 30 days of January after the 1st, 28 of February, 1 of March
    assert calibration_of(at, instrument, ("A", "B"), said).state.tolist() == [HELD, HELD, HELD, HELD, NOT_KNOWN]


def test_a_later_version_of_the_same_day_corrects_the_earlier_one() -> None:
    said = [
        Instrument("A", "", date(2024, 1, 1), date(2026, 1, 1)),
        Instrument("A", "dial", date(2024, 1, 1), date(2025, 1, 1)),
    ]
    assert states(said, "2025-06-01") == [RAN_OUT]


def test_without_a_due_day_nothing_is_known_and_without_a_first_day_all_before_is_held() -> None:
    assert states([Instrument("A", "", date(2024, 1, 1))], "2024-06-01") == [NOT_KNOWN]
    assert states([Instrument("A", "", None, date(2024, 1, 1))], "2001-01-01", "2024-01-02") == [HELD, RAN_OUT]
    assert states([Instrument("B", "", date(2024, 1, 1), date(2025, 1, 1))], "2024-06-01") == [NOT_KNOWN]
    again = [Instrument("A", "", date(2024, 1, 1), date(2025, 1, 1)), Instrument("A", "", date(2025, 6, 1))]
    assert states(again, "2024-06-01", "2025-05-31", "2025-06-01", "2031-01-01") == [
        HELD,
        RAN_OUT,
        NOT_KNOWN,
        NOT_KNOWN,
    ]
    assert states([*again, Instrument("A", "", date(2024, 1, 1))], "2024-06-01") == [HELD], "it keeps its last day"
    assert calibration_of(days("2024-01-01"), np.array([-1]), ("A",), []).state.tolist() == [NOT_KNOWN]


DAY = st.integers(0, 120)


@given(st.lists(st.tuples(DAY, DAY), max_size=4), st.lists(DAY, max_size=12))
def test_a_walk_day_by_day_says_the_same(spans: list[tuple[int, int]], at: list[int]) -> None:
    pairs = [(min(a, b), max(a, b)) for a, b in spans]
    versions = [Instrument("A", "", EPOCH + timedelta(a), EPOCH + timedelta(b)) for a, b in pairs]
    got = calibration_of(np.array(at, np.int64), np.zeros(len(at), np.int64), ("A",), versions)
    latest = dict(pairs)
    for day, state, late in zip(at, got.state, got.late_days, strict=True):
        good = {d for start, end in latest.items() for d in range(start, end + 1)}
        ended = [end for end in latest.values() if end < day]
        expected = HELD if day in good else RAN_OUT if ended else NOT_KNOWN
        assert state == expected
        assert late == (day - max(ended) if expected == RAN_OUT else 0)


def jobs_of(asset: list[int], instrument: list[int]) -> Any:
    jobs = job_columns(asset, list(range(len(asset))))
    return type(jobs)(
        **{name: getattr(jobs, name) for name in jobs.__slots__} | {"instrument": np.array(instrument, np.int64)}
    )


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(-1, 2)), max_size=25))
def test_the_next_job_with_another_instrument_is_that_of_a_plain_search(pairs: list[tuple[int, int]]) -> None:
    pairs.sort(key=lambda pair: pair[0])
    asset, instrument = [a for a, _ in pairs], [i for _, i in pairs]
    jobs = jobs_of(asset, instrument)
    for row, found in enumerate(next_with_another(jobs).tolist()):
        later = [
            k for k in range(row + 1, len(pairs))
            if asset[k] == asset[row] and instrument[k] not in {-1, instrument[row]}
        ]  # fmt: skip
        assert found == (later[0] if later and instrument[row] >= 0 else -1)
    assert last_of_assets(jobs).tolist() == sorted({a: row for row, a in enumerate(asset)}.values())


def test_what_rests_on_an_instrument_is_the_newest_first_from_that_moment_on() -> None:
    jobs = jobs_of([0, 0, 1, 2, 2], [1, 0, 1, 1, 1])
    resting = resting_rows(jobs, 1, int(np.sort(jobs.performed_us)[2]))
    rows = newest(jobs, resting, len(resting))
    assert set(rows.tolist()) == {
        row for row in range(5) if jobs.instrument[row] == 1 and jobs.performed_us[row] >= np.sort(jobs.performed_us)[2]
    }
    assert (np.diff(jobs.performed_us[rows]) <= 0).all()
    assert resting_rows(jobs, 7, 0).size == 0


@given(st.lists(st.integers(0, 4), max_size=20), st.integers(0, 25))
def test_the_newest_few_are_the_first_of_all_of_them_sorted(days: list[int], most: int) -> None:
    jobs = jobs_of([0] * len(days), [1] * len(days))
    jobs = replace(jobs, performed_us=np.array(days, dtype=np.int64))
    rows = np.arange(len(days))[::-1]
    wanted = sorted(range(len(days)), key=lambda row: (-days[row], -int(jobs.entry[row])))
    assert newest(jobs, rows, most).tolist() == wanted[:most]
