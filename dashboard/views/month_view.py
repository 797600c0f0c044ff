"""What the Month page shows: how a month went, against the twelve before it, and what is due."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from dashboard.prepared import index_for
from dashboard.views.asked_by_risk import AskedByRisk, asked_by_risk
from dashboard.views.due_view import Calibration, DueList, calibrations, due_list
from dashboard.views.limits_view import LimitsNote, limits_note
from dashboard.views.month_chart_view import MonthSeries, month_series
from dashboard.views.month_jobs_view import Asked, JobsBehind, jobs_behind
from dashboard.views.month_limits_view import OneSet, change_words, changed_limits, left_over_by
from dashboard.views.plan_view import LONG_AGO, PlanLine, ground_of
from dashboard.views.shares import Change, Share, cell, change
from dashboard.views.suggests_view import Suggestion, suggestions
from dashboard.words import say
from dashboard.writing import count, counted, interval, percent, speed_class
from dashboard.writing import month as month_text
from models.history.columns import SPEED_BOUNDS_RPM, History, IntArray
from models.history.counts import Counts
from models.history.engine import Study
from models.history.late import some_of
from models.history.months import local_days
from models.history.runs import Runs
from models.values.entry import AdoptedLimits
from models.values.limits import LimitSet
from models.values.looked_at import LookedAt
from models.values.people import Instrument
from models.values.story import Site

BEFORE = 12
"""Months that a month is held against."""

SERIES = 24
"""Months in the picture of the months."""

ALL_SPEEDS = -2
"""Index of the line of all speeds; −1 is a speed that is not known."""

LIKELIEST = 8
"""Machines that are listed as the likeliest to be over limit today."""

FEW = 10
"""Below so many readings the sentence says that they are few (a choice of this project)."""


@dataclass(frozen=True, slots=True)
class ClassLine:
    """One speed class: the month, and the twelve months before."""

    index: int
    name: str
    jobs: int
    found: Share
    found_before: Share
    left: Share
    left_before: Share


@dataclass(frozen=True, slots=True)
class Visit:
    """One job of the month that asks for attention."""

    tag: str
    description: str
    area: str
    day: date
    found_ratio: float
    left_ratio: float
    person: str
    entry: int
    was_left: float = float("nan")
    days: float = float("nan")
    suggests: tuple[Suggestion, ...] = ()


@dataclass(frozen=True, slots=True)
class ByRisk:
    """What the accepted risk asks for: how many machines, and the likeliest of them to be over limit today."""

    risk: float
    asked: AskedByRisk
    lines: tuple[PlanLine, ...]


@dataclass(frozen=True, slots=True)
class MonthView:
    """Everything on the page.

    ``state`` is ``'ahead'`` where the month has no job because it has not begun, ``'empty'`` where the book has none
    of the site, ``'too_few'`` where the month has none, else ``'ok'``.  ``by_risk`` is ``None`` where nobody gave a study,
    ``behind`` where the address asks for no jobs.  ``returned`` are the worst of ``returned_n``
    visits of ``returned_machines``; ``left_over`` the first of ``left_over_n`` visits: those that
    nobody signed, then the others, each the worst first.  ``unsigned`` and ``unreviewed`` count
    over all of them.  ``one_set`` is there where the limits changed within the months compared:
    all shares of the months before, and both changes, are then as its set judges the readings.
    ``moved_limits`` of the visits that came back were left over limit by the limits that found them so.
    """

    state: Literal["ok", "empty", "too_few", "ahead"]
    site: Site
    today: date
    month: date
    months: tuple[date, ...]
    sentence: str
    jobs: int
    jobs_before: int
    machines: int
    found: Share
    found_before: Share
    found_change: Change
    left: Share
    left_before: Share
    left_change: Change
    classes: tuple[ClassLine, ...]
    total: ClassLine
    series: MonthSeries
    left_over: tuple[Visit, ...]
    left_over_n: int
    unreviewed: int
    unsigned: int
    looked: LookedAt
    returned: tuple[Visit, ...]
    returned_n: int
    returned_machines: int
    due: DueList
    by_risk: ByRisk | None
    behind: JobsBehind | None
    calibrations: tuple[Calibration, ...]
    limits: LimitsNote
    one_set: OneSet | None = None
    moved_limits: int = 0


def build(
    history: History,
    runs: Runs,
    chosen: date | None,
    today: date,
    *,
    site: Site,
    instruments: tuple[Instrument, ...],
    limit_set: LimitSet | None,
    today_us: int,
    study: Study | None = None,
    asked: Asked | None = None,
    most: int | None = None,
    look: Callable[[Sequence[int]], LookedAt] | None = None,
    sets: Sequence[AdoptedLimits] = (),
) -> MonthView:
    """Compute the page.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    chosen : date or None
        First day of the month to show; the last month with jobs where ``None``. [d]
    today : date
        The site's day. [d]
    site : Site
        The site. [unitless]
    instruments : tuple of Instrument
        The site's instruments. [unitless]
    limit_set : LimitSet or None
        The limit set in force today. [unitless]
    today_us : int
        Now, UTC. [µs]
    study : Study or None
        What the history says; without it nothing is suggested and nothing is dated by risk. [unitless]
    asked : Asked or None
        The number whose jobs are asked for. [unitless]
    most : int or None
        Longest list of visits; all of them where ``None``. [unitless]
    look : callable or None
        Gives who reviewed and who signed jobs, by their entries; without it nobody did. [unitless]
    sets : sequence of AdoptedLimits
        Every limit set that was adopted, in order of the day of adoption; without them no change of limits is seen. [unitless]
    """
    jobs, index = history.jobs, index_for(history)
    last_with_jobs = int(index.counts.months[-1]) if len(jobs) else _number(today)
    last = max(last_with_jobs, _number(today))
    first = index.first if len(jobs) else last_with_jobs
    number = _number(chosen) if chosen else last_with_jobs
    here = index.counts.window(number, number)
    before = index.counts.window(number - BEFORE, number - 1)
    changed = changed_limits(history, sets, number, BEFORE, SERIES)
    one_set = changed.one_set
    # Like with like: where other limits judged some of it, both sides of the comparison are judged by those of the month.
    against = before if one_set is None else one_set.before
    now_all, before_all = here.total(), against.total()
    compared = now_all if one_set is None else one_set.here.total()
    found, found_before = cell(now_all.found), cell(before_all.found)
    left, left_before = cell(now_all.left), cell(before_all.left)
    in_month = index.rows(number, number)
    machines = len(np.unique(some_of(jobs, "asset", in_month)))
    left_over, returned = _left_over_rows(history, in_month), _returned_rows(history, runs, in_month)
    entries = some_of(jobs, "entry", left_over)
    looked = LookedAt() if look is None else look(entries.tolist())
    signed = np.isin(entries, list(looked.signers))
    left_over = left_over[np.argsort(signed, kind="stable")]
    jobs_here = int(now_all.jobs[0, 0])
    found_change = change(cell(compared.found), found_before)
    view_month = _date(number)
    ahead = number > _number(today)
    return MonthView(
        state="ok" if jobs_here else "ahead" if ahead else "empty" if not len(jobs) else "too_few",
        site=site,
        today=today,
        month=view_month,
        # One that has not begun is shown where it was asked for, and not those on the way to it.
        months=(
            *((view_month,) if number > last else ()),
            *(_date(n) for n in range(last, min(first, number) - 1, -1)),
        ),
        sentence=_sentence(view_month, today, jobs_here, machines, found, found_before, found_change, left, one_set)
        if jobs_here
        else _none(view_month, today, _date(first)),
        jobs=jobs_here,
        jobs_before=int(before_all.jobs[0, 0]),
        machines=machines,
        found=found,
        found_before=found_before,
        found_change=found_change,
        left=left,
        left_before=left_before,
        left_change=change(cell(compared.left), left_before),
        classes=_classes(here, against),
        total=ClassLine(ALL_SPEEDS, say("column.all"), jobs_here, found, found_before, left, left_before),
        series=month_series(index.counts.window(number - SERIES + 1, number).by_month(), changed.since),
        left_over=_visits(history, left_over[:most], runs, None),
        left_over_n=len(left_over),
        unreviewed=len(left_over) - len(looked.reviewers),
        unsigned=len(left_over) - int(signed.sum()),
        looked=looked,
        returned=_visits(history, returned[:most], runs, study),
        returned_n=len(returned),
        returned_machines=len(np.unique(some_of(jobs, "asset", returned))),
        due=due_list(history, today, site.interval_months),
        by_risk=None if study is None else _by_risk(history, study, today, today_us, site.interval_months),
        behind=None if asked is None else jobs_behind(history, number, asked, one_set.limit_set if one_set else None),
        calibrations=calibrations(instruments, today),
        limits=limits_note(limit_set),
        one_set=one_set,
        moved_limits=left_over_by(history, runs, some_of(index, "run_at", returned), sets, changed.held),
    )


def unsigned_words(view: MonthView) -> str:
    """Say how many of the jobs that were left over limit nobody signed, and that they come first where others follow."""
    mixed = 0 < view.unsigned < view.left_over_n
    return say("month.left_over.first" if mixed else "month.left_over.unsigned", n=count(view.unsigned))


def returned_words(view: MonthView) -> str:
    """Say how many visits found a machine back over limit, and how many machines these are where one came back twice."""
    visits = counted(view.returned_n, "visit")
    if view.returned_machines == view.returned_n:
        return visits
    return say("month.returned.of", visits=visits, machines=counted(view.returned_machines, "machine"))


def _number(day: date) -> int:
    return day.year * 12 + day.month - 1


def _date(number: int) -> date:
    return date(number // 12, number % 12 + 1, 1)


def _classes(here: Counts, before: Counts) -> tuple[ClassLine, ...]:
    now, past = here.by_class(), before.by_class()
    lines = []
    for column, index in enumerate(now.classes.tolist()):
        if index < 0 and not now.jobs[0, column] and not past.jobs[0, column]:
            continue
        lines.append(
            ClassLine(
                index,
                speed_class(index, SPEED_BOUNDS_RPM),
                int(now.jobs[0, column]),
                cell(now.found, 0, column),
                cell(past.found, 0, column),
                cell(now.left, 0, column),
                cell(past.left, 0, column),
            )
        )
    return tuple(lines)


def _by_risk(history: History, study: Study, today: date, today_us: int, interval_months: int) -> ByRisk:
    plan = ground_of(history, study, today, today_us, interval_months).plan(study.recheck)
    now = plan.rows(LONG_AGO, 0)
    forecast = now[plan.forecast[now]]
    return ByRisk(study.choices.risk, asked_by_risk(plan), plan.lines(forecast[:LIKELIEST].tolist()))


def _left_over_rows(history: History, in_month: IntArray) -> IntArray:
    ratios = some_of(history.jobs, "left_ratio", in_month)
    over = ratios > 1.0
    rows: IntArray = in_month[over][np.argsort(-ratios[over], kind="stable")]
    return rows


def _returned_rows(history: History, runs: Runs, in_month: IntArray) -> IntArray:
    run = some_of(index_for(history), "run_at", in_month)
    ends = run >= 0
    rows: IntArray = in_month[ends][some_of(runs, "returned", run[ends])]
    order: IntArray = np.argsort(-some_of(history.jobs, "found_ratio", rows), kind="stable")
    return rows[order]


def _visits(history: History, rows: IntArray, runs: Runs, study: Study | None) -> tuple[Visit, ...]:
    # Only these rows: columns that are late after a new job are not put together for a few of them.
    names = ("entry", "asset", "person", "performed_us", "found_ratio", "left_ratio")
    jobs, assets = {name: some_of(history.jobs, name, rows) for name in names}, history.assets
    run_at = some_of(index_for(history), "run_at", rows)
    began = run_at >= 0
    was_left, lasted = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    was_left[began] = some_of(runs, "start_ratio", run_at[began])
    lasted[began] = some_of(runs, "days", run_at[began])
    days = local_days(jobs["performed_us"], history.zone).astype("datetime64[D]").astype(object)
    visits = []
    for row, on in enumerate(days.tolist()):
        asset, person = int(jobs["asset"][row]), int(jobs["person"][row])
        visits.append(
            Visit(
                tag=str(assets.tag[asset]),
                description=str(assets.description[asset]),
                area=str(assets.area[asset]),
                day=on,
                found_ratio=float(jobs["found_ratio"][row]),
                left_ratio=float(jobs["left_ratio"][row]),
                person=history.people[person] if person >= 0 else "",
                entry=int(jobs["entry"][row]),
                was_left=float(was_left[row]),
                days=float(lasted[row]),
                suggests=() if study is None else suggestions(study, asset),
            )
        )
    return tuple(visits)


def _none(on: date, today: date, first: date) -> str:
    """Say why a month has no job: it has not begun, the book begins later, or nothing was done in it, so far or at all."""
    if on > today:
        return say("month.sentence.ahead", month=month_text(on))
    if on < first:
        return say("month.sentence.before", month=month_text(on), first=month_text(first))
    said = say("month.sentence.none", month=month_text(on))
    return f"{said} {say('month.sentence.not_over')}" if (on.year, on.month) == (today.year, today.month) else said


def _sentence(
    on: date,
    today: date,
    jobs: int,
    machines: int,
    found: Share,
    before: Share,
    moved: Change,
    left: Share,
    one_set: OneSet | None,
) -> str:
    parts = [
        say(
            "month.sentence.jobs",
            month=month_text(on),
            jobs=counted(jobs, "job"),
            machines=counted(machines, "machine"),
        )
    ]
    if (on.year, on.month) == (today.year, today.month):
        parts.append(say("month.sentence.not_over"))
    if found.known:
        key = "month.sentence.found_few" if found.n < FEW else "month.sentence.found"
        parts.append(
            say(
                key,
                count=count(found.count),
                n=counted(found.n, "reading"),
                share=percent(found.share),
                interval=interval(found.low, found.high),
            )
        )
        parts.append(change_words(found, before, moved, one_set))
    else:
        parts.append(say("month.sentence.no_found"))
    if left.known:
        parts.append(
            say("month.sentence.left_none")
            if left.count == 0
            else say("month.sentence.left", count=count(left.count), n=count(left.n))
        )
    return " ".join(parts)
