"""Every text that the reader shows, so that a second language fits beside the first: a table a room in ``dashboard.texts``.

A text is asked for by its key with :func:`say`; what is in braces is filled in.
Another language is another table with the same keys.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import lru_cache, wraps
from typing import Final, ParamSpec, TypeVar

from dashboard.texts import (
    accounts,
    asset_desk,
    away,
    book,
    common,
    decisions,
    due,
    files,
    files_columns,
    frame,
    importing,
    keeping,
    limits,
    machines,
    month_desk,
    offenders_desk,
    people,
    picture,
    proofs,
    proofs_package,
    record,
    reports,
    site,
    voiding,
)
from models.sentences.told import SENTENCES, Told

P = ParamSpec("P")
T = TypeVar("T")

WORDS: Final[dict[str, str]] = {
    "language": "en",
    "brand": "driftbook",
}


for _page in (
    accounts,
    asset_desk,
    away,
    book,
    common,
    decisions,
    due,
    files,
    files_columns,
    frame,
    importing,
    keeping,
    limits,
    machines,
    month_desk,
    offenders_desk,
    people,
    picture,
    proofs,
    proofs_package,
    record,
    reports,
    site,
    voiding,
):
    WORDS.update(_page.WORDS)
WORDS.update(SENTENCES)  # what the models say


@dataclass(frozen=True, eq=False, slots=True)
class Language:
    """A table of texts; two tables are never the same language."""

    words: Mapping[str, str]


ENGLISH = Language(WORDS)

_spoken: ContextVar[Language] = ContextVar("language", default=ENGLISH)


def spoken() -> Language:
    """Give the language in which this request is answered."""
    return _spoken.get()


@contextmanager
def speaking(language: Language) -> Iterator[None]:
    """Answer in a language for as long as the block lasts; other threads and requests keep theirs."""
    before = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(before)


def remembered(most: int) -> Callable[[Callable[P, T]], Callable[P, T]]:
    """Keep the latest results of a function that writes words, apart for each language.

    Parameters
    ----------
    most : int
        So many results are kept. [unitless]
    """

    def wrap(function: Callable[P, T]) -> Callable[P, T]:
        @lru_cache(maxsize=most)
        def ask(_language: Language, *given: P.args, **named: P.kwargs) -> T:
            return function(*given, **named)

        @wraps(function)
        def answer(*given: P.args, **named: P.kwargs) -> T:
            return ask(spoken(), *given, **named)  # type: ignore[arg-type]  # what is not hashable fails at once

        return answer

    return wrap


def say(key: str, **values: object) -> str:
    """Give the text of a key, with the values filled in.

    Parameters
    ----------
    key : str
        Key of the text. [unitless]
    **values : object
        What stands in braces in the text. [unitless]

    Raises
    ------
    KeyError
        If there is no such text: a fault of the program, found by its tests.
    """
    text = _spoken.get().words[key]
    return text.format(**values) if values else text


def tell(text: str) -> str:
    """Give what the models say in the language of the reader, with the words inside of it; any other text as it is.

    Parameters
    ----------
    text : str
        A sentence out of :mod:`models.sentences`, or data. [unitless]
    """
    if not isinstance(text, Told):
        return text
    return say(text.key, **{name: _told_value(value) for name, value in text.values.items()})


def _told_value(value: object) -> object:
    if isinstance(value, tuple):
        return ", ".join(tell(part) for part in value)
    return tell(value) if isinstance(value, str) else value
