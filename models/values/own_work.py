"""Whose work a job is: nobody signs one of which they had a hand in any version."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from typing import Final

from models.values.confusable import skeleton
from models.values.spelling import seen
from models.values.story import JobLine

_TURNED: Final = re.compile("\u202e([^\u202c]*)\u202c?")
"""Letters that are shown from right to left by force."""


def name_key(name: str) -> str:
    """Give a person's name as it is compared where one key has to do: capitals by what they look like, words in one order, no signs.

    Parameters
    ----------
    name : str
        The name as it was written. [unitless]
    """
    plain = _compatible(seen(name))
    return " ".join(sorted(_words(skeleton(plain.upper())))) or plain.casefold()


@lru_cache(maxsize=8192)
def name_keys(name: str) -> frozenset[str]:
    """Give the keys of a person's name: two names that share one are taken for the same person.

    What is not seen is no part of a name, nor are signs and the order of its words: 'Two, Bette' is 'Bette Two.'.  Letters
    are compared by what they look like, in capitals, in small letters and as they stand; what differs by blanks only is the same.
    Rather two people are taken for one than one for two: the second only has to ask for another signature.

    Parameters
    ----------
    name : str
        The name as it was written; one of which nothing is seen has no key. [unitless]
    """
    found: set[str] = set()
    for one in {seen(name), seen(_TURNED.sub(lambda turned: turned[1][::-1], name))}:
        plain = _compatible(one)
        if not _words(plain):
            found |= {f"signs {plain}"} if plain else set()
            continue
        for form, text in (("capital", plain.upper()), ("small", plain.casefold()), ("typed", plain)):
            words = _words(skeleton(text))
            found |= {f"{form} {' '.join(sorted(words))}", f"{form} run on {''.join(words)}"}
    return frozenset(found)


def same_person(one: str, other: str) -> bool:
    """Tell whether two names are taken for one person."""
    return not name_keys(one).isdisjoint(name_keys(other))


def written_alike(one: str, other: str) -> bool:
    """Tell whether two names differ by capitals and blanks at most, so that nobody has to be told why they are taken for one."""
    return _compatible(one).casefold() == _compatible(other).casefold()


def _compatible(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).split())


def _words(text: str) -> list[str]:
    """Give the words of a name: an apostrophe joins, any other sign parts."""
    return "".join(
        letter if unicodedata.category(letter)[0] not in "PS" else " "
        for letter in text
        if letter not in {"'", "\u2019", "\u02bc"}
    ).split()


def own_work(lines: Iterable[JobLine], name: str) -> frozenset[int]:
    """Give the entries of the jobs of a machine that somebody did or recorded, in that version or in one before it.

    A name that they had before is not known here: what is asked of the book before a signature is written knows it.

    Parameters
    ----------
    lines : iterable of JobLine
        Every version of each job. [unitless]
    name : str
        Name of the person; nothing is theirs where it is empty. [unitless]
    """
    keys, by_entry = name_keys(name), {line.entry: line for line in lines}
    if not keys:
        return frozenset()

    def theirs(entry: int | None) -> bool:
        while entry is not None and (line := by_entry.get(entry)) is not None:
            if any(not keys.isdisjoint(name_keys(one)) for one in (line.author, *line.job.people)):
                return True
            entry = line.supersedes
        return False

    return frozenset(filter(theirs, by_entry))
