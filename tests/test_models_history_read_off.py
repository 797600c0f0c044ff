"""Instruments that read off: the runs that they touch at one end, and ratios with their difference taken out, by hand."""

from __future__ import annotations

import numpy as np

from models.history.effects import Effects
from models.history.read_off import apart_of, ratio_without, shown_off
from models.history.runs import runs_of
from tests.fleet import job_columns, no_breaks

OFF = np.array([[0.0] * 4, [0.06, 0.0, 0.0, 0.0]])


def test_only_what_chance_does_not_explain_is_taken_out() -> None:
    raw, q = np.array([[0.06, 0.01, np.nan, -0.02]]), np.array([[0.01, 0.5, np.nan, 0.10]])
    effects = Effects(raw, raw, raw, raw, raw, raw, raw, q, q, np.array([50]), np.array([False]))
    assert shown_off(effects, 0.10).tolist() == [[0.06, 0.0, 0.0, -0.02]]


def test_ratios_by_hand() -> None:
    """Limit 0.1 mm: 0.12 read by the instrument is 0.06; what another read stays, to the last bit of the stored ratio."""
    jobs = job_columns(
        [0, 0, 0], [0, 1, 2], instrument=[1, 0, -1], found=[[0.12, 0, 0, 0]] * 3, found_ratio=[1.2, 1.2, 1.2],
    )  # fmt: skip
    got = ratio_without(jobs, np.arange(3), "found", OFF)
    np.testing.assert_allclose(got, [0.6, 1.2, 1.2], rtol=1e-12)
    assert ratio_without(jobs, np.arange(3), "found", np.zeros((0, 4))).tolist() == [1.2, 1.2, 1.2]


def test_returns_that_are_its_difference_alone_do_not_stand() -> None:
    """Left by another and found 0.12 by it: no return. Left at 0 by it, truly −0.06, found −0.12 by another: one that stands.
    Left −0.05 by it, truly −0.11: it was left over. Both ends its own: not looked at.
    """
    found = [0.0, 0.12, -0.12, -0.12, 0.12]
    left = [0.0, 0.0, -0.05, 0.0, 0.0]
    instrument = [0, 1, 1, 0, 0]
    instrument[3:] = [1, 1]
    jobs = job_columns(
        np.zeros(5), np.arange(5) * 300.0, instrument=instrument,
        found=[[value, 0, 0, 0] for value in found], left=[[value, 0, 0, 0] for value in left],
        found_ratio=np.abs(found) / 0.1, left_ratio=np.abs(left) / 0.1,
    )  # fmt: skip
    runs = runs_of(jobs, no_breaks())
    got = apart_of(jobs, runs, np.arange(4), 1, OFF)
    assert (got.run.tolist(), got.of, got.returns, got.all_returns, got.stand) == ([0], 4, 1, 4, 0)
    other = job_columns(
        [0, 0, 1, 1], [0, 300, 0, 300], instrument=[1, 0, 1, 0],
        found=[[0.0] * 4, [-0.12, 0, 0, 0]] * 2, left=[[0.0] * 4, [0.0] * 4, [-0.05, 0, 0, 0], [0.0] * 4],
        found_ratio=[0.0, 1.2, 0.0, 1.2], left_ratio=[0.0, 0.0, 0.5, 0.0],
    )  # fmt: skip
    runs = runs_of(other, no_breaks())
    stands, left_over = (apart_of(other, runs, np.array([row]), 1, OFF) for row in (0, 1))
    assert (stands.returns, stands.stand) == (1, 1)
    assert (left_over.returns, left_over.stand) == (1, 0)
