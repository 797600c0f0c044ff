"""Whose work a job is: nobody signs one of which they had a hand in any version."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

from models.values.story import JobLine


def name_key(name: str) -> str:
    """Give a person's name as it is compared: single blanks, small letters, each letter written one way.

    Parameters
    ----------
    name : str
        The name as it was written. [unitless]
    """
    return " ".join(unicodedata.normalize("NFKC", name).split()).casefold()


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
    key, by_entry = name_key(name), {line.entry: line for line in lines}
    if not key:
        return frozenset()

    def theirs(entry: int | None) -> bool:
        while entry is not None and (line := by_entry.get(entry)) is not None:
            if key in {name_key(one) for one in (line.author, *line.job.people)}:
                return True
            entry = line.supersedes
        return False

    return frozenset(filter(theirs, by_entry))
