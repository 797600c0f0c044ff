"""Where the command speaks: by rich on a terminal; a plain line that goes into a file or a pipe goes there at once."""

from __future__ import annotations

import os
import re
import sys
from contextlib import suppress
from functools import cached_property
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console

_EMOJI = re.compile(r":\S+:")
_OBEYED = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""What a terminal obeys: it moves its cursor, wipes lines, or turns the direction of writing.  No text of ours needs it, but a book or file may hold it."""

_AS_A_TERMINAL = ("FORCE_COLOR", "TTY_COMPATIBLE", "TTY_INTERACTIVE", "JUPYTER_COLUMNS")
"""What lets rich take a pipe for something else."""


class Out:
    """Speaks as rich's console does; rich itself is loaded where it has something to do."""

    @cached_property
    def console(self) -> Console:
        """Give the console."""
        from rich.console import Console  # an eighth of the start of a command whose plain lines go into a pipe

        return Console(highlight=False)

    @property
    def is_terminal(self) -> bool:
        """Tell whether somebody looks on."""
        return self.console.is_terminal

    def print_json(self, *said: Any, **how: Any) -> None:
        """Print JSON as rich does."""
        self.console.print_json(*said, **how)

    def print(self, *things: Any, **how: Any) -> None:
        """Print as rich does, the same text to the last character, but what a terminal would obey is written out.

        Parameters
        ----------
        *things : object
            What rich takes. [unitless]
        **how : object
            How, in rich's words. [unitless]
        """
        things = tuple(_seen(one) if isinstance(one, str) else one for one in things)
        line = things[0] if len(things) == 1 and isinstance(things[0], str) else "" if not things else "\n"
        if not _is_plain(line, **how) or not _goes_past_people():
            self.console.print(*things, **how)
            return
        try:
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()
        except BrokenPipeError:
            self.console.on_broken_pipe()


def _seen(text: str) -> str:
    return text if text.isprintable() else _OBEYED.sub(lambda found: ascii(found[0])[1:-1], text)


def _goes_past_people() -> bool:
    """Tell whether what is printed goes into a file or a pipe, and nobody has told rich to take that for a terminal."""
    return not sys.stdout.isatty() and not any(name in os.environ for name in _AS_A_TERMINAL)


def _is_plain(line: str, *, markup: bool = True, soft_wrap: bool = False, **other: Any) -> bool:
    """Tell whether rich would print a line as it is: there is nothing to mark up, to break or to take out."""
    if other or not line.isprintable() or _EMOJI.search(line) or (markup and "[" in line):
        return False
    return soft_wrap or (len(line) <= _width() and line.replace("…", "").isascii())


def _width() -> int:
    """Give how wide rich takes a pipe to be: as wide as the terminal that any of the three streams is, or 80."""
    columns = os.environ.get("COLUMNS", "")
    if columns.isdigit():
        return int(columns)
    for stream in (0, 1, 2):
        with suppress(OSError, ValueError):
            return os.get_terminal_size(stream).columns or 80
    return 80
