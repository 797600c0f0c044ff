"""The exit codes: how each command says to whatever started it what became of it; the table of README is held against this one."""

from __future__ import annotations

from typing import Final

DONE: Final = 0
NOT_GOOD: Final = 1
NOT_DONE: Final = 2
ASKS: Final = 3
IN_PART: Final = 4
STOPPED: Final = 130
"""As a shell has it: 128 and the number of the signal of Ctrl-C."""

EVERY: Final[dict[int, str]] = {
    DONE: "done; also where whatever read what is printed went away",
    NOT_DONE: "it could not be done, or was not understood: why is on standard error",
    STOPPED: "stopped with Ctrl-C or SIGTERM; serve and demo end with 0 on SIGTERM",
}
"""What each code says of every command."""

OWN: Final[dict[str, dict[int, str]]] = {
    "import": {
        NOT_GOOD: "rows were refused and nothing was written; with --dry-run: rows would be refused",
        ASKS: "nothing was written: a mapping waits to be confirmed",
        IN_PART: "with --accept-good: good rows are in the book, others came back in a file to mend",
    },
    "verify": {NOT_GOOD: "something does not fit"},
    "work": {NOT_GOOD: "something in the file cannot be, or gives no misalignment"},
}
"""What a code says of one command more."""


def told(verb: str) -> str:
    """Write the exit codes of a command for its help; nothing where it has none of its own.

    Parameters
    ----------
    verb : str
        The command. [unitless]
    """
    own = OWN.get(verb)
    if own is None:
        return ""
    return "\n\nexit codes:\n" + "\n".join(f"  {code:<4} {says}" for code, says in sorted((EVERY | own).items()))
