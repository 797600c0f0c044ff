"""What the choices of a table are held to in a command.

A page shows what it can, with a sentence beside it on what it could not read; in a file nobody would see that sentence.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from dashboard.words import say
from models.errors import InvalidValueError

_ASKED: ContextVar[set[str] | None] = ContextVar("asked", default=None)


@contextmanager
def strictly() -> Iterator[set[str]]:
    """Refuse choices that cannot be read; gives the names of all that are asked for meanwhile."""
    asked: set[str] = set()
    token = _ASKED.set(asked)
    try:
        yield asked
    finally:
        _ASKED.reset(token)


def note(name: str) -> None:
    """Note that a choice is asked for."""
    asked = _ASKED.get()
    if asked is not None:
        asked.add(name)


def refuse(problem: str, known: Iterable[str] = ()) -> None:
    """Refuse what could not be read, where choices are held to it.

    Parameters
    ----------
    problem : str
        The sentence of the page; what is shown instead stands behind its last semicolon. Empty where all is well. [unitless]
    known : iterable of str
        What can be chosen, where the sentence does not say it. [unitless]

    Raises
    ------
    InvalidValueError
        If there is a problem, and nobody would see the sentence.
    """
    if problem and _ASKED.get() is not None:
        said, can = problem.rpartition("; ")[0] or problem, ", ".join(known)
        raise InvalidValueError(f"{said.rstrip('.')}.", remedy=can and say("files.known", names=can))
