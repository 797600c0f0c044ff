"""A share with its count and interval as the views carry it, and what can be said of a change."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from models.history.fisher import fisher_exact
from models.history.intervals import Shares

CHANCE: Final = 0.05
"""How likely chance alone may be to make as great a difference, before a change is spoken of (customary, no source)."""


@dataclass(frozen=True, slots=True)
class Share:
    """``count`` of ``n`` had the property; ``low`` to ``high`` is the 95 % interval of the share."""

    count: int
    n: int
    share: float
    low: float
    high: float

    @property
    def known(self) -> bool:
        """Tell whether there was anything to take a share of."""
        return self.n > 0


class Change(StrEnum):
    """What can be said of one share against another."""

    MORE = "more"
    FEWER = "fewer"
    NO_SIGN = "no sign"
    UNKNOWN = "unknown"


def cell(given: Shares, row: int = 0, column: int = 0) -> Share:
    """Take one cell out of a table of shares."""
    return Share(
        int(given.count[row, column]),
        int(given.n[row, column]),
        float(given.share[row, column]),
        float(given.low[row, column]),
        float(given.high[row, column]),
    )


def change(now: Share, before: Share) -> Change:
    """Say whether a share is more or fewer than another, or whether chance alone would explain it.

    Parameters
    ----------
    now, before : Share
        The two shares, of different readings. [unitless]

    Returns
    -------
    Change
        More or fewer only where Fisher's exact test, two-sided, says so: intervals that are made for many readings
        find a difference between one reading and three.
    """
    if not (now.known and before.known):
        return Change.UNKNOWN
    if fisher_exact(now.count, now.n, before.count, before.n) > CHANCE:
        return Change.NO_SIGN
    return Change.MORE if now.share > before.share else Change.FEWER
