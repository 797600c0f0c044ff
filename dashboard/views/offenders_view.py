"""What the Repeat offenders page shows: which machines come back over limit, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from dashboard.views.limits_view import LimitsNote, limits_note
from dashboard.words import say
from dashboard.writing import count, counted, percent
from models.history.columns import History, IntArray
from models.history.intervals import wilson
from models.history.months import add_months, local_days, midnights_us
from models.history.returns import ReturnCounts, returns_of
from models.history.runs import Runs
from models.values.limits import LimitSet
from models.values.story import Site

CONFIDENCE = 0.90
"""One-sided confidence of the bound that the ranking goes by."""

MOST = 30
"""Machines that are listed at first."""

ALL = 1000
"""Longest list on demand."""

PICTURED = 20
"""Machines in the picture."""

REPEATS = 2
"""From so many returns on a machine is a repeat offender."""


@dataclass(frozen=True, slots=True)
class OffenderLine:
    """One machine that came back.

    ``low`` and ``high`` are the ends of the two-sided 80 % interval of the share of
    looks that were returns; ``low`` is the one-sided 90 % bound of the ranking.
    """

    rank: int
    tag: str
    description: str
    area: str
    speed_rpm: float
    looks: int
    returns: int
    share: float
    low: float
    high: float
    first: date
    last: date
    worst_ratio: float


@dataclass(frozen=True, slots=True)
class OffendersView:
    """Everything on the page.

    ``state`` is ``'empty'`` where the book has no job of the site, ``'too_few'`` where
    nothing was looked at in the window, else ``'ok'``.
    """

    state: Literal["ok", "empty", "too_few", "error"]
    site: Site
    today: date
    window: int | None
    since: date | None
    speed_class: int | None
    sentence: str
    looks: int
    returns: int
    machines: int
    came_back: int
    repeated: int
    lines: tuple[OffenderLine, ...]
    limits: LimitsNote


def build(
    history: History,
    runs: Runs,
    window: int | None,
    speed: int | None,
    today: date,
    *,
    site: Site,
    limit_set: LimitSet | None,
    most: int = MOST,
) -> OffendersView:
    """Compute the page.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    window : int or None
        Runs that ended in so many months up to today; all of them where ``None``. [month]
    speed : int or None
        Only machines of this speed class as they stand today; all of them where ``None``. [unitless]
    today : date
        The site's day. [d]
    site : Site
        The site. [unitless]
    limit_set : LimitSet or None
        The limit set in force today. [unitless]
    most : int
        Longest list. [unitless]
    """
    assets = history.assets
    since = _since(today, window)
    from_us = None if since is None else int(midnights_us(np.array([_day(since)]), history.zone)[0])
    keep = None if speed is None else assets.speed_class[runs.asset] == speed
    counts = returns_of(history.jobs, runs, len(assets), from_us=from_us, keep=keep, confidence=CONFIDENCE)
    ranking = counts.ranking()
    looks, returns = int(counts.looks.sum()), int(counts.returns.sum())
    machines = int((counts.looks > 0).sum())
    repeated = int((counts.returns >= REPEATS).sum())
    state: Literal["ok", "empty", "too_few"] = "empty" if not len(history.jobs) else "too_few" if looks == 0 else "ok"
    return OffendersView(
        state=state,
        site=site,
        today=today,
        window=window,
        since=since,
        speed_class=speed,
        sentence=_sentence(looks, returns, machines, len(ranking), repeated),
        looks=looks,
        returns=returns,
        machines=machines,
        came_back=len(ranking),
        repeated=repeated,
        lines=_lines(history, counts, ranking[:most]),
        limits=limits_note(limit_set),
    )


def _day(value: date) -> int:
    return int(np.datetime64(value, "D").astype(np.int64))


def _since(today: date, window: int | None) -> date | None:
    if window is None:
        return None
    earlier = add_months(np.array([_day(today)]), -window).astype("datetime64[D]")
    return date.fromisoformat(str(earlier[0]))


def _lines(history: History, counts: ReturnCounts, rows: IntArray) -> tuple[OffenderLine, ...]:
    assets = history.assets
    # Two-sided 80 % has one tenth on each side: its lower end is the bound that the ranking goes by.
    low, high = wilson(counts.returns[rows], counts.looks[rows], 2.0 * CONFIDENCE - 1.0)
    first = local_days(counts.first_us[rows], history.zone).astype("datetime64[D]").astype(object)
    last = local_days(counts.last_us[rows], history.zone).astype("datetime64[D]").astype(object)
    return tuple(
        OffenderLine(
            rank=place + 1,
            tag=str(assets.tag[asset]),
            description=str(assets.description[asset]),
            area=str(assets.area[asset]),
            speed_rpm=float(assets.speed_rpm[asset]),
            looks=int(counts.looks[asset]),
            returns=int(counts.returns[asset]),
            share=float(counts.share[asset]),
            low=float(low[place]),
            high=float(high[place]),
            first=first[place],
            last=last[place],
            worst_ratio=float(counts.worst_ratio[asset]),
        )
        for place, asset in enumerate(rows.tolist())
    )


def _sentence(looks: int, returns: int, machines: int, came_back: int, repeated: int) -> str:
    if looks == 0:
        return say("offenders.sentence.none")
    if returns == 0:
        return say("offenders.sentence.no_returns", looks=counted(looks, "look"), machines=counted(machines, "machine"))
    return say(
        "offenders.sentence",
        looks=counted(looks, "look"),
        machines=counted(machines, "machine"),
        returns=count(returns),
        share=percent(returns / looks),
        came_back=counted(came_back, "machine"),
        repeated=count(repeated),
    )
