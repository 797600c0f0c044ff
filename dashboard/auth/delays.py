"""How long somebody who guesses has to wait, by the log of sign-ins.  Pure: the same log gives the same wait.

A wait grows with every failure and has an upper end, so nobody is locked out for
ever.  An address from which the owner has come in before is counted apart:
strangers who guess a name cannot keep its owner out at their own desk.  Lines of the
future, by a clock that ran ahead, say nothing of now: they neither keep anybody out
nor make an address known.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from models.store.state import Try

FAILED: Final = "failed"
DELAYED: Final = "delayed"
CAME_IN: Final = ("in", "in by provider")

HOUR: Final = timedelta(hours=1)
LOOK_BACK: Final = timedelta(hours=24)
KNOWN_FOR: Final = timedelta(days=30)
FREE_OF_LOGIN: Final = 5
FREE_OF_ADDRESS: Final = 20
LONGEST: Final = timedelta(minutes=15)
"""Our own choice: five tries of a name and twenty from an address are free, then 1, 2, 4 … seconds, a quarter of an hour at most."""
AHEAD: Final = timedelta(minutes=1)
"""So far the clocks of several servers may differ: what is said to be later than that was written by a clock that ran ahead."""


def wait_after(failures: int, free: int) -> timedelta:
    """Give the wait after so many failures.

    Parameters
    ----------
    failures : int
        How many. [unitless]
    free : int
        How many of them cost nothing. [unitless]
    """
    over = failures - free
    if over < 0:
        return timedelta()
    return min(LONGEST, timedelta(seconds=2 ** min(over, 12)))


@dataclass(frozen=True, slots=True)
class Opening:
    """From when on a try is looked at: by the failures of its name, and by those of its address.

    ``spared`` says that the name came in from this address lately and nobody has failed under it from here since: what
    others do behind the same address must not keep its owner out.  It is for whoever comes with the right password
    only, and one failure ends it: somebody who tries one password under all names gets one guess at each.
    """

    own: datetime
    there: datetime
    spared: bool


def opening(of_login: Iterable[Try], of_address: Iterable[Try], address: str, now: datetime) -> Opening:
    """Give the moments from which on the next try is looked at; one that has passed means at once.

    Parameters
    ----------
    of_login : iterable of Try
        Failures and comings-in of the login, of the time that an address is known. [unitless]
    of_address : iterable of Try
        Failures of the address, whatever the login. [unitless]
    address : str
        Where the try comes from. [unitless]
    now : datetime
        Aware moment. [unitless]
    """
    lines = [line for line in of_login if line.at <= now + AHEAD]
    known = {line.address for line in lines if line.outcome in CAME_IN}
    recent = [line for line in lines if line.at > now - LOOK_BACK and line.outcome == FAILED]
    if address in known:
        came_in = max(line.at for line in lines if line.address == address and line.outcome in CAME_IN)
        counted = [line for line in recent if line.address == address and line.at >= came_in]
    else:
        counted = [line for line in recent if line.address not in known]
    there = [line for line in of_address if line.outcome == FAILED and now - HOUR < line.at <= now + AHEAD]
    return Opening(
        _opens(counted, FREE_OF_LOGIN, now),
        _opens(there, FREE_OF_ADDRESS, now),
        spared=address in known and not counted,
    )


def _opens(failures: list[Try], free: int, now: datetime) -> datetime:
    if not failures:
        return now
    return min(now + LONGEST, max(line.at for line in failures) + wait_after(len(failures), free))
