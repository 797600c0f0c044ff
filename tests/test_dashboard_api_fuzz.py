"""A short part, always the same, of what ``python -m tests.fuzz.api`` does at length: the interface under an independent tester."""

from __future__ import annotations

from pathlib import Path

from dashboard.api.operations import OPERATIONS
from models.settings import Settings
from tests.fuzz.api import run


def test_an_independent_tester_finds_no_failure(sqlite_book: Settings, tmp_path: Path) -> None:
    outcome = run(sqlite_book, tmp_path, examples=6, seed=8, phases="examples,fuzzing")
    assert outcome.status == 0, outcome.said[-6000:]
    assert outcome.wrong == []
    assert outcome.requests > 60
    assert {one.name for one in OPERATIONS} - outcome.reached <= {"consistency"}
    assert {200, 201, 401, 404, 422} <= set(outcome.statuses)  # it got past the door, wrote, and was refused
