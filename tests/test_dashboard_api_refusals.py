"""What the JSON interface refuses: everything that is wrong at once, where it stands, and what helps."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import models.store.engine
from models.settings import Settings
from tests.fuzz.api_book import API, FOUND, JOB, LEFT, Program, bearer, tokened


@pytest.fixture
def program(sqlite_book: Settings, tmp_path: Path) -> Iterator[Program]:
    with tokened(sqlite_book, tmp_path) as (opened, secret):
        yield Program(opened, secret)


def places(answer: Any) -> set[str]:
    return {error.get("pointer") or error.get("header") for error in answer.get_json()["errors"]}


def test_everything_that_is_wrong_is_told_at_once_and_where(program: Program) -> None:
    body = {
        "job": {"ref": " x", "tag": 7, "reason": "gossip", "people": "Ana", "found": {"offset_v_mm": "0.1", "extra": 1}, "hours_run": -1, "notes": "\u0000", "colour": "red"},
        "stated_reasons": {"gossip": "x", "size": "  "}, "bolts_tight": "yes", "more": 1,
    }  # fmt: skip
    answer = program.post("/jobs", body)
    assert (answer.status_code, answer.mimetype) == (422, "application/problem+json")
    assert places(answer) == {
        "#/more", "#/bolts_tight", "#/stated_reasons/gossip", "#/stated_reasons/size", "#/job/ref", "#/job/tag", "#/job/reason", "#/job/people",
        "#/job/performed_at", "#/job/found/offset_v_mm", "#/job/found/extra", "#/job/found/angle_v_mm_m", "#/job/found/offset_h_mm",
        "#/job/found/angle_h_mm_m", "#/job/hours_run", "#/job/notes", "#/job/colour",
    }  # fmt: skip
    assert all(error["detail"] and error["remedy"] for error in answer.get_json()["errors"])


def test_what_speaks_against_the_book_is_refused_as_on_the_page(program: Program) -> None:
    wrong = JOB | {
        "performed_at": "2027-01-01T00:00:00Z",
        "instrument": "D-9",
        "hours_run": 5,
        "left": {**LEFT, "offset_v_mm": 3.0},
    }
    answer = program.post("/jobs", {"job": wrong})
    assert (answer.status_code, answer.get_json()["code"]) == (422, "doubtful")
    told = {(error["check"], error["pointer"], error["asks"]) for error in answer.get_json()["errors"]}
    assert {
        ("in the future", "#/job/performed_at", "a correction"), ("calibration overdue", "#/job/instrument", "a stated reason"),
        ("hours run backwards", "#/job/hours_run", "a stated reason"), ("as-left over limit", "#/job/left", "a stated reason"),
    } <= told  # fmt: skip


def test_moves_names_and_serials_that_look_wrong_are_told_at_their_place(program: Program) -> None:
    wrong = JOB | {
        "moves_v_mm": [0.1, 0.1, 8.0, 8.0],
        "moves_h_mm": [-9, -9],
        "people": ["Ana Wick, Bo Tarn"],
        "instrument": "d-1",
    }
    answer = program.post("/jobs", {"job": wrong})
    told = {(error["check"], error["pointer"], error["asks"]) for error in answer.get_json()["errors"]}
    reason = "a stated reason"
    assert told >= {
        ("size of a move", "#/job/moves_v_mm", reason), ("size of a move", "#/job/moves_h_mm", reason),
        ("several people in one name", "#/job/people", reason), ("instrument spelled otherwise", "#/job/instrument", reason),
    }  # fmt: skip


def test_a_stated_reason_lets_it_in_and_is_kept(program: Program) -> None:
    said = {"job": JOB | {"instrument": "D-9"}}
    refused = program.post("/jobs", said)
    assert {error["check"] for error in refused.get_json()["errors"]} == {"calibration overdue"}
    kept = program.post("/jobs", said | {"stated_reasons": {"calibration overdue": "the new one is on its way"}})
    assert kept.status_code == 201
    assert kept.get_json()["typed"]["stated reason: calibration overdue"] == "the new one is on its way"
    loose = program.post(
        "/jobs",
        {"job": JOB | {"ref": "WO-9", "checks": [], "performed_at": "2026-11-21T09:30:00Z"}, "bolts_tight": False},
    )
    assert {error["check"] for error in loose.get_json()["errors"]} == {"bolts not tight"}


def test_what_is_no_job_is_refused(program: Program) -> None:
    for change, place in (
        ({"found": None, "left": None}, "#/job"), ({"reason": "installation"}, "#/job"), ({"tag": "X-1"}, "#/job/tag"),
        ({"performed_at": "2025-02-30T08:00:00Z"}, "#/job/performed_at"), ({"performed_at": "2025-02-03T08:00:00"}, "#/job/performed_at"),
        ({"ref": "WO-7\n"}, "#/job/ref"), ({"soft_before_mm": [0.1] * 13}, "#/job/soft_before_mm"), ({"hours_run": True}, "#/job/hours_run"),
    ):  # fmt: skip
        answer = program.post("/jobs", {"job": JOB | change})
        assert answer.status_code == 422, change
        assert places(answer) == {place}
    taken = program.post("/jobs", {"job": JOB | {"ref": "J2"}})
    assert (taken.status_code, taken.get_json()["code"]) == (409, "conflict")
    assert program.count() == 5


def test_a_job_without_a_number_gets_one(program: Program) -> None:
    plain = {name: value for name, value in JOB.items() if name in {"tag", "performed_at", "reason", "left"}}
    answer = program.post("/jobs", {"job": plain | {"reason": "planned", "found": FOUND}, "bolts_tight": True})
    assert answer.status_code == 201, answer.text
    assert answer.get_json()["job"]["ref"] == "P-2 2026-11-20 09:30"


BODIES = [
    (b"", 400), (b"{", 400), (b"[1,", 400), (b"\xff\xfe", 400), (b'{"job": NaN}', 400), (b'{"a":1,"a":2}', 400), (b'"\\ud800"', 400),
    (b"[" * 100_000, 400), (b"9" * 5000, 400), (b"null", 422), (b"[]", 422), (b"1e999", 422), (b'{"job":' + b" " * 300_000 + b"{}}", 413),
]  # fmt: skip


def test_a_body_that_cannot_be_read_is_told_so(program: Program) -> None:
    client = program.opened.app.server.test_client()
    for number, (raw, status) in enumerate(BODIES):
        answer = client.post(f"{API}/jobs", data=raw, content_type="application/json", headers=bearer(program.secret))
        assert (answer.status_code, answer.mimetype) == (status, "application/problem+json"), (number, answer.text)
        for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""):
            other = client.post(f"{API}/jobs", data=raw, content_type=kind or None, headers=bearer(program.secret))
            assert (other.status_code, other.mimetype) == (415, "application/problem+json"), number
    # One that the server itself did not take: nothing of it is here, and the same is said.
    long = {"driftbook.too_long": 20 << 20, "CONTENT_LENGTH": str(20 << 20)}
    answer = client.post(
        f"{API}/jobs", content_type="application/json", headers=bearer(program.secret), environ_overrides=long
    )
    assert (answer.status_code, answer.get_json()["code"]) == (413, "too-large")
    assert "262,144 bytes" in answer.get_json()["detail"]
    assert "driftbook import FILE" in answer.get_json()["remedy"]


def test_a_key_that_is_none_is_told_so(program: Program) -> None:
    for key in (" ", '""', "é", "x" * 256, "a\tb"):
        answer = program.post("/jobs", {"job": JOB}, **{"Idempotency-Key": key})
        assert (answer.status_code, places(answer)) == (422, {"Idempotency-Key"}), key


def test_a_busy_book_says_when_to_come_again(
    sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(models.store.engine, "BUSY_MS", 100)
    with tokened(sqlite_book, tmp_path) as (opened, secret):
        program = Program(opened, secret)
        other = sqlite3.connect(sqlite_book.book, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        answer = program.post("/jobs", {"job": JOB}, key="k-1")
        assert (answer.status_code, answer.get_json()["code"]) == (503, "busy")
        assert int(answer.headers["Retry-After"]) > 0
        other.execute("ROLLBACK")
        other.close()
        assert program.post("/jobs", {"job": JOB}, key="k-1").status_code == 201


NO_AMENDMENTS: list[tuple[dict[str, Any], str]] = [
    ({"changes": {"notes": "x"}}, "#/why"), ({"why": " ", "changes": {"notes": "x"}}, "#/why"), ({"why": "x", "changes": {}}, "#/changes"), ({"why": "x"}, "#/changes"),
    ({"why": "x", "changes": {"tag": "F-1"}}, "#/changes/tag"), ({"why": "x", "changes": {"reason": None}}, "#/changes/reason"),
    ({"why": "x", "changes": {"left": None, "found": None}}, "#/changes"),
    ({"why": "x", "changes": {"performed_at": "2027-01-01T00:00:00Z"}}, "#/changes/performed_at"),
    ({"why": "x", "changes": {"performed_at": "2025-02-30T00:00:00Z"}}, "#/changes/performed_at"),
]  # fmt: skip


def test_an_amendment_that_is_none_is_refused(program: Program) -> None:
    before = program.count()
    for body, place in NO_AMENDMENTS:
        answer = program.post("/jobs/13/amendment", body)
        assert answer.status_code == 422, answer.text
        assert places(answer) - {"#/changes/hours_run"} == {place}
    assert program.post("/jobs/3/amendment", {"why": "x", "changes": {"notes": "x"}}).status_code == 404
    assert program.count() == before
