"""Which description of a machine holds on a day: one rule, whoever asks (judgement, pages, what the book knows today)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from models.values.asset import Asset


def place_on(starts: Sequence[date | None], day: date) -> int:
    """Give the place of the description that holds on a day.

    Parameters
    ----------
    starts : sequence of date or None
        First day of each description, in order of entry, at least one; ``None`` for one that always held. [d]
    day : date
        The day. [d]

    Returns
    -------
    int
        The latest start by that day, and of equal starts the last entry.  A day before all starts is served by the
        earliest of them, and of equal ones by the last entry: it says best what was before. [unitless]
    """
    best, held = 0, starts[0] or date.min
    for place, given in enumerate(starts):
        start = given or date.min
        # As long as nothing is found that began by then, an earlier start is better; afterwards a later one.
        if held <= start <= day if held <= day else start <= held:
            best, held = place, start
    return best


def version_on(versions: Sequence[Asset], day: date) -> Asset:
    """Give the description that holds on a day; see :func:`place_on`.

    Parameters
    ----------
    versions : sequence of Asset
        At least one, in order of entry. [as stored]
    day : date
        The day. [d]
    """
    return versions[place_on([version.valid_from for version in versions], day)]


def upcoming(versions: Sequence[Asset], day: date) -> tuple[Asset, ...]:
    """Give the descriptions that come to hold after a day, in the order in which they do.

    Parameters
    ----------
    versions : sequence of Asset
        In order of entry. [as stored]
    day : date
        The day. [d]
    """
    starts = {version.valid_from for version in versions if version.valid_from is not None and version.valid_from > day}
    return tuple(version_on(versions, start) for start in sorted(starts))
