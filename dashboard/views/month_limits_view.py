"""What a change of limits does to the Month page: both sides of the comparison judged by one set, and where the chart starts anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from dashboard.kept import keep
from dashboard.prepared import index_for
from dashboard.views.shares import Change, Share, cell
from dashboard.words import say
from dashboard.writing import count, day, percent
from models.history.columns import History, IntArray
from models.history.counts import Counts
from models.history.late import some_of
from models.history.one_set import Stretch, counted_by, judged_by, some_jobs, stretches_of
from models.history.runs import Runs
from models.history.whatif import judge_again
from models.values.entry import AdoptedLimits
from models.values.limits import LimitSet


@dataclass(frozen=True, slots=True)
class OneSet:
    """A month and the months before it as ``limit_set`` judges both, where they stand in the book by more than one set.

    ``as_found`` and ``as_left`` are how the months before stand in the book, each job by the limits of its own day.
    """

    limit_set: LimitSet
    here: Counts
    before: Counts
    as_found: Share
    as_left: Share


@dataclass(frozen=True, slots=True)
class Changed:
    """What one look at the months of the chart tells of their limits.

    ``held`` is the set that judged the month, ``one_set`` is ``None`` where the month and those before it were
    judged alike; ``since`` are the months with which another set begins, and that set, in order of time.
    """

    held: LimitSet | None = None
    one_set: OneSet | None = None
    since: tuple[tuple[int, LimitSet], ...] = ()


UNCHANGED = Changed()


def changed_limits(history: History, sets: Sequence[AdoptedLimits], month: int, before: int, series: int) -> Changed:
    """Find out whether the limits changed within the months that a page shows; kept with the history.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    sets : sequence of AdoptedLimits
        Every version, in order of the day of adoption, then of entry. [unitless]
    month : int
        The month of the page, as year × 12 + month − 1. [month]
    before, series : int
        How many months it is held against, and how many the chart has. [month]
    """
    if len(sets) < 2:
        return UNCHANGED
    key = ("limits of months", month, before, series, tuple(one.entry for one in sets))
    given = [one.limit_set for one in sets]
    return keep(history, key, lambda: _changed(history, given, month, before, series))


def _changed(history: History, sets: Sequence[LimitSet], month: int, before: int, series: int) -> Changed:
    first = month - max(before, series - 1)
    jobs = some_jobs(history.jobs, index_for(history).rows(first, month))
    same = judged_by(jobs, sets)
    stretches = stretches_of(jobs.month, same, first, month)
    place = _place(stretches[-1], sets)
    compared = jobs.month >= month - before
    one_set = None
    if not same[compared, place].all():
        counts = counted_by(some_jobs(jobs, np.flatnonzero(compared)), sets[place], month - before, month)
        stood = index_for(history).counts.window(month - before, month - 1).total()
        one_set = OneSet(
            sets[place],
            counts.window(month, month),
            counts.window(month - before, month - 1),
            cell(stood.found),
            cell(stood.left),
        )
    return Changed(sets[place], one_set, _since(stretches, sets, month - series + 1))


def _since(stretches: Sequence[Stretch], sets: Sequence[LimitSet], first: int) -> tuple[tuple[int, LimitSet], ...]:
    """Give the changes within the chart; one before its first month is none of its own."""
    return tuple((one.first, sets[_place(one, sets)]) for one in stretches[1:] if one.first > first)


def _place(stretch: Stretch, sets: Sequence[LimitSet]) -> int:
    """Choose the set that is named: the last that was adopted by the end of the months, of those that judge them alike."""
    by_then = [at for at in stretch.places if _number(sets[at].adopted_on) <= stretch.last]
    return by_then[-1] if by_then else stretch.places[0]


def _number(day: date) -> int:
    return day.year * 12 + day.month - 1


def left_over_by(
    history: History, runs: Runs, run: IntArray, sets: Sequence[AdoptedLimits], held: LimitSet | None
) -> int:
    """Count the runs that began within limit by another set, and over it by the set that judged their end.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    run : (k,) int array
        Rows of the runs. [unitless]
    sets : sequence of AdoptedLimits
        Every version that was adopted. [unitless]
    held : LimitSet or None
        The set that judged their ends; ``None`` where there is but one. [mm, mm/m]
    """
    if held is None or not len(run):
        return 0
    jobs = some_jobs(history.jobs, some_of(runs, "start_row", run))
    place = next(at for at, one in enumerate(sets) if one.limit_set == held)
    other = ~judged_by(jobs, [one.limit_set for one in sets])[:, place]
    return int(np.count_nonzero(other & (judge_again(jobs, held).left_ratio > 1.0)))


def change_words(found: Share, before: Share, moved: Change, one_set: OneSet | None) -> str:
    """Say how the months before went, and whether the month differs from them; where the limits changed, by one set.

    Parameters
    ----------
    found : Share
        The month as it stands in the book. [unitless]
    before : Share
        The months before. [unitless]
    moved : Change
        What the test said. [unitless]
    one_set : OneSet or None
        Both by one set, where the limits changed in between. [unitless]
    """
    if not before.known:
        return say("month.sentence.no_before")
    told = moved.value.replace(" ", "_")
    shown = {"share": percent(before.share), "count": count(before.count), "n": count(before.n)}
    if one_set is None:
        return say(f"month.sentence.change.{told}", **shown)
    here, given = cell(one_set.here.total().found), one_set.limit_set
    same = (here.count, here.n) == (found.count, found.n)
    month = "" if same else say("month.sentence.one_set.here", count=count(here.count), n=count(here.n))
    named = {"name": given.name, "version": given.version, "day": day(given.adopted_on)}
    return (
        f"{say('month.sentence.one_set', **named, **shown, month=month)} {say(f'month.sentence.change.{told}.one_set')}"
    )


def one_set_words(one_set: OneSet | None) -> str:
    """Say by which set the months before are judged here, and how they stand in the book; blank without a change of limits."""
    if one_set is None:
        return ""
    given, found, left = one_set.limit_set, one_set.as_found, one_set.as_left
    return say(
        "month.one_set",
        name=given.name,
        version=given.version,
        day=day(given.adopted_on),
        found=say("key.of", count=count(found.count), n=count(found.n)),
        left=say("key.of", count=count(left.count), n=count(left.n)),
    )


def before_text(one_set: OneSet | None, share: Share, moved: Change) -> str:
    """Say beside a number of the month how the months before went."""
    if not share.known:
        return say("month.key.no_before")
    return say(
        "month.key.before" if one_set is None else "month.key.before.one_set",
        count=count(share.count),
        n=count(share.n),
        share=percent(share.share),
        change=say(f"change.{moved.value}"),
    )
