"""What the limits of today would have said of the looks of the repeat offenders, where other limits judged some of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboard.kept import keep
from dashboard.views.offender_filters import Filters, keep_looks
from dashboard.words import say
from dashboard.writing import count, day
from models.history.columns import BoolArray, History, JobColumns
from models.history.late import put_together
from models.history.looks import Looks, counts_of, looks_of
from models.history.one_set import judged_by
from models.history.returns import ReturnCounts
from models.history.runs import Runs, runs_of
from models.history.whatif import judge_again
from models.values.entry import AdoptedLimits
from models.values.limits import LimitSet

LOOKS_BY = "looks by"
"""How the keys of looks by another set begin; its entry, and those of all sets, follow."""

_FOR_RUNS = ("entry", "asset", "performed_us", "reason", "found", "left", "hours_run", "person", "instrument")


@dataclass(frozen=True, slots=True)
class ByToday:
    """Looks and returns of each machine as ``limit_set``, in force today, judges all readings of the window."""

    limit_set: LimitSet
    counts: ReturnCounts

    def of(self, asset: int) -> tuple[int, int]:
        """Give looks and returns of one machine."""
        return int(self.counts.looks[asset]), int(self.counts.returns[asset])


@dataclass(frozen=True, slots=True)
class Again:
    """The looks of a history by one set of those that were adopted.

    ``by_set`` are the looks as the set at ``place`` among ``sets`` judges all jobs, ``book`` those that stand in the book;
    ``alike`` tells of each of the latter whether both its ends were judged by that very set.
    """

    by_set: Looks
    book: Looks
    alike: BoolArray
    sets: tuple[LimitSet, ...]
    place: int


def by_today(
    history: History,
    runs: Runs,
    looks: Looks,
    sets: Sequence[AdoptedLimits],
    held: LimitSet | None,
    asked: tuple[int | None, int | None, Filters],
) -> ByToday | None:
    """Count looks and returns by the limits of today; ``None`` where all that is asked for was judged by them.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    looks : Looks
        Its looks. [unitless]
    sets : sequence of AdoptedLimits
        Every version that was adopted. [unitless]
    held : LimitSet or None
        The set in force today. [mm, mm/m]
    asked : tuple of int or None, int or None and Filters
        From when on, which speed class, and the other filters, as :func:`keep_looks` takes them. [µs, unitless, unitless]
    """
    place = next((at for at, one in enumerate(sets) if one.limit_set == held), None)
    if held is None or place is None or len(sets) < 2:
        return None
    key = (LOOKS_BY, sets[place].entry, tuple(one.entry for one in sets))
    again = keep(history, key, lambda: judged_anew(history, runs, looks, tuple(one.limit_set for one in sets), place))
    if again.alike[keep_looks(history, looks, *asked)].all():
        return None
    return ByToday(held, counts_of(again.by_set, keep_looks(history, again.by_set, *asked)))


def judged_anew(history: History, runs: Runs, looks: Looks, sets: tuple[LimitSet, ...], place: int) -> Again:
    """Judge all looks of a history by one of the sets that were adopted.

    Parameters
    ----------
    history : History
        The site's history, or that of some machines alone. [unitless]
    runs : Runs
        Its runs. [unitless]
    looks : Looks
        Its looks. [unitless]
    sets : tuple of LimitSet
        Every set that was adopted. [mm, mm/m]
    place : int
        Which of them. [unitless]
    """
    jobs = history.jobs
    judged = judge_again(jobs, sets[place])
    columns = {name: getattr(jobs, name) for name in _FOR_RUNS}
    columns |= {"found_ratio": judged.found_ratio, "left_ratio": judged.left_ratio}
    other = put_together(JobColumns, columns, {})
    by_set = looks_of(other, history.breaks, runs_of(other, history.breaks), len(history.assets))
    same = judged_by(jobs, sets)[:, place]
    return Again(by_set, looks, same[runs.start_row[looks.run]] & same[runs.end_row[looks.run]], sets, place)


def by_today_words(today: ByToday | None) -> str:
    """Say that the limits were changed, and how many returns there were by those of today; blank without a change."""
    if today is None:
        return ""
    given, counts = today.limit_set, today.counts
    return say(
        "offenders.today",
        day=day(given.adopted_on),
        name=given.name,
        version=given.version,
        returns=count(int(np.sum(counts.returns))),
        looks=count(int(np.sum(counts.looks))),
    )
