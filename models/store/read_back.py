"""Values that are put together from stored rows: what the book would never have taken was put there behind the tool's back."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from models.errors import AlteredBookError, InvalidValueError

P = ParamSpec("P")
V = TypeVar("V")


def from_rows(make: Callable[P, V]) -> Callable[P, V]:
    """Let what makes values of rows tell an altered book where it refuses one: nobody typed it, and no other value mends it.

    Parameters
    ----------
    make : callable
        What puts values together from rows, and does little else. [unitless]

    Raises
    ------
    AlteredBookError
        Instead of what a value says that cannot be true (:class:`InvalidValueError`), or a word that is none of ours (ValueError).
    """

    @wraps(make)
    def made(*given: P.args, **named: P.kwargs) -> V:
        try:
            return make(*given, **named)
        except (InvalidValueError, ValueError) as fault:
            told = str(getattr(fault, "message", fault)).rstrip(".")
            raise AlteredBookError(
                f"The book holds a value that it would not have taken: it was altered. ({told}.)",
                remedy="'driftbook verify' says where.",
            ) from fault

    return made
