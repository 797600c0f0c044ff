"""Lines of runs: from a square to the next circle, never through the work in between."""

from typing import Any

import numpy as np

from dashboard.views.run_series import run_series

TIMES = np.array(["2024-01-01", "2024-07-01", "2025-01-01", "2025-07-01"], dtype="datetime64[s]")
NAN = np.nan


def lines(times: Any, values: Any) -> Any:
    """Give (begin time, begin, end time, end) of each line, by hand."""
    return [
        (str(times[i])[:7], float(values[i]), str(times[i + 1])[:7], float(values[i + 1]))
        for i in range(0, len(values), 3)
    ]


def test_a_run_leads_from_what_was_left_to_what_was_found_next() -> None:
    found, left = np.array([NAN, 0.9, 1.4, 0.7]), np.array([0.2, 0.3, 0.1, 0.2])
    series = run_series(TIMES, found, left, np.array([True, True, True]))
    assert lines(series.solid_times, series.solid) == [
        ("2024-01", 0.2, "2024-07", 0.9),
        ("2024-07", 0.3, "2025-01", 1.4),
        ("2025-01", 0.1, "2025-07", 0.7),
    ]
    assert np.isnan(series.solid[2::3]).all()
    assert len(series.dotted) == 0


def test_a_break_draws_no_line() -> None:
    found, left = np.array([NAN, 0.9, 1.4, 0.7]), np.array([0.2, 0.3, 0.1, 0.2])
    series = run_series(TIMES, found, left, np.array([True, False, True]))
    assert [line[0] for line in lines(series.solid_times, series.solid)] == ["2024-01", "2025-01"]
    assert len(series.dotted) == 0


def test_what_is_not_measured_is_dotted_to_the_next_thing_that_is() -> None:
    found, left = np.array([NAN, NAN, 1.4, 0.7]), np.array([0.2, 0.3, NAN, 0.2])
    series = run_series(TIMES, found, left, np.array([True, True, True]))
    assert lines(series.solid_times, series.solid) == [("2024-07", 0.3, "2025-01", 1.4)]
    assert lines(series.dotted_times, series.dotted) == [
        ("2024-01", 0.2, "2024-07", 0.3),
        ("2025-01", 1.4, "2025-07", 0.7),
    ]


def test_one_visit_and_none_have_no_lines() -> None:
    one = run_series(TIMES[:1], np.array([NAN]), np.array([0.2]), np.zeros(0, dtype=bool))
    assert (len(one.solid), len(one.dotted), one.empty) == (0, 0, False)
    none = run_series(TIMES[:0], np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool))
    assert none.empty
