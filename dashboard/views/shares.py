"""A share with its count and interval as the views carry it, and what can be said of a change."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from models.history.intervals import Shares


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


def difference(now: Share, before: Share) -> tuple[float, float]:
    """Give the 95 % interval of a difference of two independent shares.

    Parameters
    ----------
    now, before : Share
        The two shares with their Wilson intervals; both need n above 0. [unitless]

    Returns
    -------
    low, high : float
        Limits of now − before. [unitless]

    References
    ----------
    R. G. Newcombe (1998), Statistics in Medicine 17:873, the method that joins two Wilson intervals
    (title and volume from memory, not verified against a copy; the numbers are checked against
    statsmodels in tests/test_dashboard_views_shares.py).
    """
    gap = now.share - before.share
    low = gap - math.hypot(now.share - now.low, before.high - before.share)
    high = gap + math.hypot(now.high - now.share, before.share - before.low)
    return low, high


def change(now: Share, before: Share) -> Change:
    """Say whether a share is more or fewer than another, or whether chance alone would explain it."""
    if not (now.known and before.known):
        return Change.UNKNOWN
    low, high = difference(now, before)
    if low > 0:
        return Change.MORE
    return Change.FEWER if high < 0 else Change.NO_SIGN
