"""Where the command speaks: what goes into a pipe is what rich would have written, to the last character."""

from __future__ import annotations

import contextlib
import io
import sys

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from rich.console import Console
from rich.errors import MarkupError

from dashboard.console import speaking
from dashboard.console.speaking import Out

PIECES = st.sampled_from(
    ["row", "jobs.csv", " ", "  ", "[bold]x[/bold]", "[", "]", "\\", ":", "a:b:c", ":smile:", "…", "µm", "›", "é", "日本",
     "\t", "\n", "\r", "\x1b[1m", "\u200b", "\u00a0", "x" * 30, "-", "1,234", "0.05 mm", "'D-8'", "http://a.b/c"]
)  # fmt: skip
LINES = st.lists(PIECES, max_size=12).map("".join)


def written(out: Out | Console, *things: object, **how: bool) -> str:
    with contextlib.redirect_stdout(io.StringIO()) as into:
        try:
            out.print(*things, **how)
        except MarkupError as fault:
            return str(fault)
    return into.getvalue()


@given(LINES, st.sampled_from([{}, {"markup": False}, {"soft_wrap": True}, {"markup": False, "soft_wrap": True}]))
@example("x" * 80, {})
@example("x" * 81, {})
@example("word " * 16, {})
@example("", {})
@example("  … and 3 more of 'kind' (--all-problems lists them)", {"markup": False})
def test_a_line_is_written_as_rich_writes_it(line: str, how: dict[str, bool]) -> None:
    obeyed = line.replace("\x1b", "\\x1b")
    assert written(Out(), line, **how) == written(Console(highlight=False), obeyed, **how)


def test_what_a_terminal_would_obey_is_written_out() -> None:
    """What a book or a file says can neither wipe a line of ours nor turn it around; other letters stay as they are."""
    out = written(Out(), "row\n\x1b[1A\x1b[2K\x9bJ\x00 \u202eabc\u00a0\u200dä", markup=False, soft_wrap=True)
    assert out == "row\n\\x1b[1A\\x1b[2K\\x9bJ\\x00 \\u202eabc\u00a0\u200dä\n"


@pytest.mark.parametrize("columns", ["", "40", "79", "80", "200", "none"])
def test_the_width_is_taken_as_rich_takes_it(columns: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    for length in (39, 40, 41, 79, 80, 81, 130):
        line = ("eight ch" * 20)[:length]
        assert written(Out(), line) == written(Console(highlight=False), line)


def test_no_thing_and_several_things_and_json_are_written_as_rich_writes_them() -> None:
    for things in ((), ("one", "two"), (3,), (["x"],)):
        assert written(Out(), *things) == written(Console(highlight=False), *things)
    with contextlib.redirect_stdout(io.StringIO()) as ours:
        Out().print_json('{"a": 1}')
    with contextlib.redirect_stdout(io.StringIO()) as richs:
        Console(highlight=False).print_json('{"a": 1}')
    assert ours.getvalue() == richs.getvalue()


def test_on_a_terminal_rich_speaks(monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(sys, "stdout", Terminal())
    assert not speaking._goes_past_people()
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    assert speaking._goes_past_people()
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert not speaking._goes_past_people()


def test_a_pipe_that_nobody_reads_ends_the_command_as_rich_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    class Closed(io.StringIO):
        def write(self, _: str) -> int:
            raise BrokenPipeError

    ended = []
    out = Out()
    monkeypatch.setattr(out.console, "on_broken_pipe", lambda: ended.append(True))
    monkeypatch.setattr(sys, "stdout", Closed())
    out.print("a line")
    assert ended == [True]
