"""The lines of the log: nothing from outside ends one, colours one or turns one around."""

from __future__ import annotations

import json
import logging
import time
import unicodedata

import pytest
from flask import Flask

from dashboard.logs import JsonFormatter, _hidden, quiet_faults, shown_path
from dashboard.security import QuietFormatter, written_out

HARMFUL = [
    chr(number)
    for number in range(0x11000)
    if unicodedata.category(chr(number)) in {"Cc", "Cs", "Zl", "Zp"}
    or unicodedata.bidirectional(chr(number)) in {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
]
"""Control characters, ends of lines and paragraphs, halves of pairs, and what turns the direction of writing around."""


def record(message: str, *given: object, fault: BaseException | None = None) -> logging.LogRecord:
    info = None if fault is None else (type(fault), fault, fault.__traceback__)
    return logging.LogRecord("driftbook.access", logging.INFO, "f", 1, message, given, info)


def test_the_list_is_whole() -> None:
    assert len(HARMFUL) == 65 + 2 + 2048 + 9


def test_no_harmful_character_of_a_path_stands_in_the_text_log() -> None:
    path = "/asset/" + "".join(HARMFUL) + "é漢 end"
    line = QuietFormatter("%(message)s").format(record("GET %s 404", path))
    assert not set(line) & set(HARMFUL)
    assert line.endswith("é漢 end 404")
    assert "\\x1b" in line
    assert "\\u2028" in line
    line.encode()  # halves of a pair could not be written anywhere


@pytest.mark.parametrize(
    ("letter", "written"),
    [("\n", "\\n"), ("\r", "\\r"), ("\t", "\\t"), ("\x1b[31m", "\\x1b[31m"), ("\x85", "\\x85"), ("\u2028", "\\u2028"), ("\v", "\\x0b")],
)  # fmt: skip
def test_how_they_are_written_out(letter: str, written: str) -> None:
    assert written_out(f"a{letter}b") == f"a{written}b"


def test_a_path_in_a_line_of_json_comes_back_whole_and_breaks_nothing() -> None:
    path = "/asset/" + "".join(one for one in HARMFUL if not "\ud800" <= one <= "\udfff")
    made = record("GET %s", path)
    made.path = path
    line = JsonFormatter("%(message)s").format(made)
    assert not set(line) & set(HARMFUL)
    assert json.loads(line)["path"] == path


def test_what_an_error_says_begins_no_line_of_its_own() -> None:
    made = record(
        "failed", fault=ValueError("no\n2026-11-25T07:00:00Z WARNING driftbook.door: forged\x1b[2K\u2028forged")
    )
    made.exc_text = "as another handler wrote it\nforged"
    first, *rest = QuietFormatter("%(asctime)sZ %(message)s").format(made).splitlines()
    assert first.endswith("failed")
    assert rest
    assert all(line.startswith("  ") for line in rest)
    assert not set("".join(rest)) & set(HARMFUL)


def test_a_secret_of_an_address_stands_in_no_line_whether_the_address_is_right_or_nearly(
    caplog: pytest.LogCaptureFixture,
) -> None:
    server = Flask(__name__)
    for rule in (
        "/calendar/<secret>.ics",
        "/import/<secret>",
        "/import",
        "/<path:path>",
        "/api/<path:rest>",
        "/api/jobs/<entry>",
    ):
        server.add_url_rule(rule, endpoint=rule, view_func=lambda **_: "", methods=["GET"])
    secret = "3ThtKbAbcdef0123456789-_xyzABCDEF3ThtKbAbcd"  # noqa: S105 - of no book
    quiet_faults(server)
    for path, shown in {
        f"/calendar/{secret}.ics": "/calendar/<secret>.ics",
        f"/calendar/{secret}": "/calendar/<secret>",
        f"/calendar/{secret}.ICS": "/calendar/<secret>",
        f"/calendar/{secret}.ics/": "/calendar/<secret>",
        f"/Calendar//{secret}.ics": "/Calendar//<secret>",
        f"/works/calendar/{secret}.ics": "/works/calendar/<secret>",
        f"/calender/{secret}.ics": "/calender/<secret>.ics",
        f"/{secret}": "/<secret>",
        f"/api/calendar/{secret}.ics": "/api/calendar/<secret>",
        f"/api/jobs/{secret}": "/api/jobs/<secret>",
        f"/api/{secret}/jobs": "/api/<secret>/jobs",
        "/api/jobs/17": "/api/jobs/17",
        "/import/short": "/import/<secret>",
        "/import/short/more": "/import/<secret>",
        "/import": "/import",
        "/asset/SI-P-101A": "/asset/SI-P-101A",
        "/_dash-component-suites/dash/dcc/async-graph.js": "/_dash-component-suites/dash/dcc/async-graph.js",
    }.items():
        with server.test_request_context(path):
            assert shown_path() == shown
            server.log_exception((None, None, None))
        assert caplog.messages[-1] == f"Exception on {shown} [GET]"


@pytest.mark.parametrize("letters", ["1", "A", "aA", "-", "password", "mark ", "://a:", "cookie ", "é"])
def test_a_line_of_any_length_takes_no_time(letters: str) -> None:
    """Once: `GET /` and 30,000 digits held the whole server for 25 s, a method of 30,000 letters for 144 s, from nobody signed in."""
    began = time.thread_time()
    written = letters * (20_000 // len(letters))
    QuietFormatter("%(message)s").format(record("%s %s 404", written, _hidden(f"/{written}", ("/calendar/",))))
    assert time.thread_time() - began < 1.0
