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
class _Again:
    """The looks of a history by another set, and which jobs stand in the book by that very set."""

    looks: Looks
    same: BoolArray


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
    key = ("looks by", sets[place].entry, tuple(one.entry for one in sets))
    again = keep(history, key, lambda: _again(history, [one.limit_set for one in sets], place))
    run = looks.run[keep_looks(history, looks, *asked)]
    if again.same[runs.start_row[run]].all() and again.same[runs.end_row[run]].all():
        return None
    return ByToday(held, counts_of(again.looks, keep_looks(history, again.looks, *asked)))


def _again(history: History, sets: Sequence[LimitSet], place: int) -> _Again:
    jobs = history.jobs
    judged = judge_again(jobs, sets[place])
    columns = {name: getattr(jobs, name) for name in _FOR_RUNS}
    columns |= {"found_ratio": judged.found_ratio, "left_ratio": judged.left_ratio}
    other = put_together(JobColumns, columns, {})
    looks = looks_of(other, history.breaks, runs_of(other, history.breaks), len(history.assets))
    return _Again(looks, judged_by(jobs, sets)[:, place])


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
