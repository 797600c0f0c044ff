"""What the ranking of the repeat offenders leaves out: looks from before something of a machine was replaced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from dashboard.kept import keep
from dashboard.views.offender_filters import Filters, keep_looks
from dashboard.words import say
from dashboard.writing import count, counted
from models.history.columns import History, IntArray
from models.history.looks import counts_of, looks_of
from models.history.months import day_of
from models.history.returns import ReturnCounts
from models.history.runs import Runs

NAMED = 12
"""So many machines that came back only before their last replacement are named."""


@dataclass(frozen=True, slots=True)
class Before:
    """Looks and returns of one machine before ``on``, the day on which something of it was last replaced."""

    tag: str
    on: date
    looks: int
    returns: int


@dataclass(frozen=True, slots=True)
class Earlier:
    """All that is not counted: ``gone`` came back then and not since, those with the most returns first."""

    looks: int = 0
    returns: int = 0
    gone: tuple[Before, ...] = ()


def earlier_counts(
    history: History, runs: Runs, from_us: int | None, speed: int | None, filters: Filters
) -> ReturnCounts:
    """Count the looks from before the last replacement of each machine; kept with the history.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    from_us : int or None
        Only looks that ended from then on, UTC; all where ``None``. [µs]
    speed : int or None
        Speed class of today; all where ``None``. [unitless]
    filters : Filters
        The other filters. [unitless]
    """
    looks = keep(
        history,
        "earlier looks",
        lambda: looks_of(history.jobs, history.breaks, runs, len(history.assets), present=False),
    )
    return counts_of(looks, keep_looks(history, looks, from_us, speed, filters))


def earlier_of(history: History, runs: Runs, earlier: ReturnCounts, now: ReturnCounts) -> Earlier:
    """Put together what is not counted.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    earlier, now : ReturnCounts
        Looks from before the last replacement of each machine, and since. [unitless]
    """
    gone = np.flatnonzero((earlier.returns > 0) & (now.returns == 0))
    gone = gone[np.lexsort((gone, -earlier.looks[gone], -earlier.returns[gone]))]
    return Earlier(int(earlier.looks.sum()), int(earlier.returns.sum()), before_of(history, runs, earlier, gone))


def before_of(history: History, runs: Runs, earlier: ReturnCounts, assets: IntArray) -> tuple[Before, ...]:
    """Give what each of some machines did before its last replacement.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    earlier : ReturnCounts
        Looks from before the last replacement of each machine. [unitless]
    assets : (k,) int array
        The machines; each has such a look. [unitless]
    """
    last = keep(history, "last replaced", lambda: last_replaced(history, runs))
    return tuple(
        Before(
            str(history.assets.tag[asset]),
            day_of(int(last[asset]), history.zone),
            int(earlier.looks[asset]),
            int(earlier.returns[asset]),
        )
        for asset in assets.tolist()
    )


def last_replaced(history: History, runs: Runs) -> IntArray:
    """Give when something of each machine was last replaced: the break itself, else the visit that installed it.

    Parameters
    ----------
    history : History
        The site's history, or that of some machines alone. [unitless]
    runs : Runs
        Its runs. [unitless]

    Returns
    -------
    (assets,) int array
        Moments, UTC; the smallest number where nothing was. [µs]
    """
    last = np.full(len(history.assets), np.iinfo(np.int64).min)
    np.maximum.at(last, history.breaks.asset, history.breaks.at_us)
    broken = np.flatnonzero(runs.broken)
    began = history.jobs.performed_us[runs.start_row[broken]]
    # A break that lies within the run is the day of it; without one it was cut by the visit at its end.
    installed = broken[last[runs.asset[broken]] <= began]
    np.maximum.at(last, runs.asset[installed], history.jobs.performed_us[runs.end_row[installed]])
    return last


def earlier_words(earlier: Earlier) -> str:
    """Say how many looks are not counted; blank where none is left out."""
    if not earlier.looks:
        return ""
    return say("offenders.earlier", looks=counted(earlier.looks, "look"), returns=count(earlier.returns))


def gone_words(gone: Sequence[Before]) -> str:
    """Name the machines that came back only before their last replacement; blank without any."""
    if not gone:
        return ""
    named = ", ".join(
        say("offenders.gone.one", tag=one.tag, returns=count(one.returns), looks=count(one.looks))
        for one in gone[:NAMED]
    )
    more = say("offenders.gone.more", n=count(len(gone) - NAMED)) if len(gone) > NAMED else ""
    return say("offenders.gone", machines=f"{named}{more}")
