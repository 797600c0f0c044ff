"""What the Repeat offenders page shows: which machines come back over limit, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

import numpy as np

from dashboard.kept import keep
from dashboard.views.funnel_view import Funnel, funnel_of
from dashboard.views.limits_view import LimitsNote, limits_note
from dashboard.views.offender_filters import NAMES, Filters, Options, keep_looks, options_of
from dashboard.views.offenders_before_view import Before, Earlier, before_of, earlier_counts, earlier_of
from dashboard.views.offenders_limits_view import ByToday, by_today
from dashboard.views.suggests_view import Suggestion, suggestions
from dashboard.words import say
from dashboard.writing import count, counted, percent
from models.history.columns import FloatArray, History, IntArray
from models.history.engine import Study
from models.history.looks import Looks, counts_of, looks_of
from models.history.material import service_of
from models.history.months import add_months, local_days, midnights_us
from models.history.return_rates import ReturnPriors, ReturnRates, rates_alone, return_rates
from models.history.returns import ReturnCounts
from models.history.runs import DAYS_PER_YEAR, SHORTEST_LOOK, Runs
from models.values.entry import AdoptedLimits
from models.values.limits import LimitSet
from models.values.story import Site

MOST = 20
"""Machines that are listed at first."""

ALL = 200
"""Longest list on demand."""

EVERYTHING = Filters()

SHORTEST_RATE = 29.5 / DAYS_PER_YEAR
"""From less than thirty days in service, to the nearest day, no rate is told as seen: it would be that of a year made of days. [year]"""

REPEATS = 2
"""From so many returns on a machine is a repeat offender."""


@dataclass(frozen=True, slots=True)
class OffenderLine:
    """One machine that came back.

    ``years`` is the time in service over which it was looked at and ``seen`` the returns
    in a year of it, as they were seen, NaN below :data:`SHORTEST_RATE`.  ``again`` is true where all of it
    is less than a day.  ``alone`` is the rate that fits its own looks best,
    infinite where every look shows a return.  ``rate`` with the 90 % interval ``low`` to ``high``
    is drawn towards its class; ``bound`` is its one-sided lower 90 % bound, by which the
    ranking goes [1/year].
    """

    rank: int
    tag: str
    description: str
    area: str
    speed_rpm: float
    looks: int
    returns: int
    years: float
    seen: float
    alone: float
    rate: float
    bound: float
    low: float
    high: float
    first: date
    last: date
    worst_ratio: float
    suggests: tuple[Suggestion, ...]
    again: bool = False
    before: Before | None = None
    today: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Wider:
    """How many looks there would be without one of the choices that leave none, by its name in the address; '' for all of them."""

    name: str
    looks: int


@dataclass(frozen=True, slots=True)
class OffendersView:
    """Everything on the page.

    ``earlier`` is what does not count, from before the last replacement of each machine.  ``by_today`` is there where
    other limits than those of today judged some of the looks.

    ``wider`` is what would bring looks where there is none.

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
    filters: Filters
    options: Options
    lines: tuple[OffenderLine, ...]
    funnel: Funnel | None
    limits: LimitsNote
    earlier: Earlier
    by_today: ByToday | None
    wider: tuple[Wider, ...] = ()


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
    filters: Filters = EVERYTHING,
    study: Study | None = None,
    sets: Sequence[AdoptedLimits] = (),
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
    filters : Filters
        Area, coupling, instrument and person. [unitless]
    study : Study or None
        What the history says; without it nothing is suggested. [unitless]
    sets : sequence of AdoptedLimits
        Every limit set that was adopted; without them no change of limits is seen. [unitless]
    """
    assets = history.assets
    since = _since(today, window)
    counts, rates, ranking = ranked_for(history, runs, window, speed, today, filters)
    asked = (_from_us(since, history.zone), speed, filters)
    earlier = keep(
        history,
        ("ranked earlier", window, speed, today, filters),
        lambda: earlier_counts(history, runs, *asked),
    )
    again = by_today(history, runs, looks_for(history, runs), sets, limit_set, asked) if len(sets) > 1 else None
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
        filters=filters,
        options=options_of(history),
        lines=_lines(
            history,
            counts,
            rates,
            ranking[:most],
            study,
            _before(history, runs, earlier, ranking[:most]),
            again,
            _alone(history, runs, ranking[:most], asked),
        ),
        funnel=funnel_of(counts.looks, counts.returns, assets.tag),
        limits=limits_note(limit_set),
        earlier=earlier_of(history, runs, earlier, counts),
        by_today=again,
        wider=wider_of(history, looks_for(history, runs), asked) if state == "too_few" else (),
    )


Asked = tuple[int | None, int | None, Filters]
"""From when on [µs, UTC], of which speed class and with which filters looks are asked for."""


def wider_of(history: History, looks: Looks, asked: Asked) -> tuple[Wider, ...]:
    """Give what would bring looks where there is none: without one choice, or else without all of them.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    looks : Looks
        Its looks. [unitless]
    asked : tuple
        What is asked for. [µs, unitless, unitless]
    """
    from_us, speed, filters = asked
    without: dict[str, Asked] = {}
    if from_us is not None:
        without["window"] = (None, speed, filters)
    if speed is not None:
        without["class"] = (from_us, None, filters)
    for name in NAMES:
        if getattr(filters, name):
            without[name] = (from_us, speed, replace(filters, **{name: ""}))
    found = [Wider(name, len(keep_looks(history, looks, *rest))) for name, rest in without.items()]
    helps = tuple(one for one in found if one.looks)
    return helps or ((Wider("", len(looks)),) if len(looks) else ())


Ranked = tuple[ReturnCounts, ReturnRates, IntArray]


def ranked_for(
    history: History,
    runs: Runs,
    window: int | None,
    speed: int | None,
    today: date,
    filters: Filters = EVERYTHING,
) -> Ranked:
    """Give counts, rates and ranking of the machines in a window; kept with the history.

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
    filters : Filters
        Area, coupling, instrument and person. [unitless]
    """
    return keep(
        history,
        ("ranked", window, speed, today, filters),
        lambda: rank(history, runs, window, speed, today, filters, looks=looks_for(history, runs)),
    )


def looks_for(history: History, runs: Runs) -> Looks:
    """Give the looks of a history; kept with it.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    runs : Runs
        Its runs. [unitless]
    """
    return keep(history, "looks", lambda: looks_of(history.jobs, history.breaks, runs, len(history.assets)))


def rank(
    history: History,
    runs: Runs,
    window: int | None,
    speed: int | None,
    today: date,
    filters: Filters = EVERYTHING,
    *,
    priors: ReturnPriors | None = None,
    looks: Looks | None = None,
) -> Ranked:
    """Work the same out.

    Parameters
    ----------
    history : History
        The site's history, or that of some of its machines. [unitless]
    runs : Runs
        Its runs. [unitless]
    window, speed, today, filters : int or None, int or None, date, Filters
        As in :func:`ranked_for`. [month, unitless, d, unitless]
    priors : ReturnPriors, optional
        What the classes have in common, where that is given. [unitless]
    looks : Looks, optional
        The looks of the history, where they are known already. [unitless]
    """
    since = _since(today, window)
    from_us = _from_us(since, history.zone)
    found = looks_of(history.jobs, history.breaks, runs, len(history.assets)) if looks is None else looks
    rows = keep_looks(history, found, from_us, speed, filters)
    counts = counts_of(found, rows)
    rates = _rates(history, runs, found, rows, counts, priors)
    return counts, rates, rates.ranking()


def _day(value: date) -> int:
    return int(np.datetime64(value, "D").astype(np.int64))


def _from_us(since: date | None, zone: str) -> int | None:
    return None if since is None else int(midnights_us(np.array([_day(since)]), zone)[0])


def _before(history: History, runs: Runs, earlier: ReturnCounts, rows: IntArray) -> dict[int, Before]:
    some = rows[earlier.looks[rows] > 0]
    return dict(zip(some.tolist(), before_of(history, runs, earlier, some), strict=True))


def _alone(history: History, runs: Runs, shown: IntArray, asked: Asked) -> FloatArray:
    """Give the rates of the machines that are shown, each from its own looks alone."""
    looks = looks_for(history, runs)
    place = np.full(len(history.assets), -1, dtype=np.int64)
    place[shown] = np.arange(len(shown))
    rows = keep_looks(history, looks, *asked)
    rows = rows[place[looks.asset[rows]] >= 0]
    _, years, _ = service_of(runs, looks.run[rows], len(history.assets))
    return rates_alone(place[looks.asset[rows]], years, looks.returned[rows], len(shown))


def _since(today: date, window: int | None) -> date | None:
    if window is None:
        return None
    earlier = add_months(np.array([_day(today)]), -window).astype("datetime64[D]")
    return date.fromisoformat(str(earlier[0]))


def _rates(
    history: History,
    runs: Runs,
    looks: Looks,
    rows: IntArray,
    counts: ReturnCounts,
    priors: ReturnPriors | None,
) -> ReturnRates:
    _, years, _ = service_of(runs, looks.run[rows], len(history.assets))
    return return_rates(
        looks.asset[rows],
        years,
        looks.returned[rows],
        history.assets.speed_class,
        counts.worst_ratio,
        full=False,
        priors=priors,
    )


def _lines(
    history: History,
    counts: ReturnCounts,
    rates: ReturnRates,
    rows: IntArray,
    study: Study | None,
    before: Mapping[int, Before],
    today: ByToday | None,
    alone: FloatArray,
) -> tuple[OffenderLine, ...]:
    assets = history.assets
    first = local_days(counts.first_us[rows], history.zone).astype("datetime64[D]").astype(object)
    last = local_days(counts.last_us[rows], history.zone).astype("datetime64[D]").astype(object)
    years = rates.years
    return tuple(
        OffenderLine(
            rank=place + 1,
            tag=str(assets.tag[asset]),
            description=str(assets.description[asset]),
            area=str(assets.area[asset]),
            speed_rpm=float(assets.speed_rpm[asset]),
            looks=int(counts.looks[asset]),
            returns=int(counts.returns[asset]),
            years=float(years[asset]),
            seen=float(counts.returns[asset] / years[asset]) if years[asset] >= SHORTEST_RATE else float("nan"),
            again=bool(years[asset] < SHORTEST_LOOK),
            alone=float(alone[place]),
            rate=float(rates.rate.mean[asset]),
            bound=float(rates.rate.bound[asset]),
            low=float(rates.rate.low[asset]),
            high=float(rates.rate.high[asset]),
            first=first[place],
            last=last[place],
            worst_ratio=float(counts.worst_ratio[asset]),
            suggests=() if study is None else suggestions(study, asset),
            before=before.get(asset),
            today=None if today is None else today.of(asset),
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
