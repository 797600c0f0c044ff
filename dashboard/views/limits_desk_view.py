"""What the Limits page shows: the sets in words, and how many verdicts would change under another one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.asked import Factors
from dashboard.kept import keep
from dashboard.views.limit_rows import RowLine, factor_text, row_lines
from dashboard.views.shares import Share, cell
from dashboard.words import say, spoken
from dashboard.writing import count, counted, day, speed_class
from models.history.columns import SPEED_BOUNDS_RPM, UNKNOWN, FloatArray, History, IntArray
from models.history.intervals import shares
from models.history.months import day_start_us
from models.history.whatif import turned
from models.maths.judged import limits_for
from models.units import Display, Quantity
from models.values.entry import AdoptedLimits
from models.values.kinds import Coupling
from models.values.limits import Combine, Judged, LimitRow, LimitSet

CURVE_RPM = (600.0, 750.0, *SPEED_BOUNDS_RPM, 6000.0)
"""Speeds at which limits are listed: below the cap of the starter rule, the bounds of the classes, and beyond. [rpm]"""


@dataclass(frozen=True, slots=True)
class SetLine:
    """One version of a set; ``until`` is the last day on which it was in force, ``None`` where it is today or not yet."""

    entry: int
    name: str
    version: int
    starter: bool
    by: str
    on: date
    until: date | None
    state: Literal["past", "in force", "to come"]
    source: str
    recorded: date
    rows: tuple[RowLine, ...]


@dataclass(frozen=True, slots=True)
class TurnLine:
    """One speed class: verdicts in both, over before and after, and how many change which way."""

    name: str
    judged: int
    before: Share
    after: Share
    to_over: int
    to_within: int

    @property
    def changed(self) -> int:
        """Give how many verdicts would change."""
        return self.to_over + self.to_within


@dataclass(frozen=True, slots=True)
class Trial:
    """What would change under another set: as found and as left by speed class, the total last."""

    name: str
    window: str
    sentence: str
    found: tuple[TurnLine, ...]
    left: tuple[TurnLine, ...]
    lost: int
    gained: int


@dataclass(frozen=True, slots=True)
class Curve:
    """Limits of a short flexible coupling against speed, in force and on trial; NaN where a set says nothing. [unit of the page]."""

    speeds: FloatArray
    offset: FloatArray
    angle: FloatArray
    trial_offset: FloatArray | None
    trial_angle: FloatArray | None


@dataclass(frozen=True, slots=True)
class LimitsDeskView:
    """Everything on the page."""

    state: Literal["ok", "empty"]
    sentence: str
    sets: tuple[SetLine, ...]
    in_force: SetLine | None
    offset_now: str
    angle_now: str
    third: tuple[str, str]
    trial: Trial | None


def build(
    history: History,
    sets: Sequence[AdoptedLimits],
    today: date,
    display: Display,
    *,
    trial: LimitSet | None,
    years: int | None,
) -> LimitsDeskView:
    """Compute the page.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    sets : sequence of AdoptedLimits
        Every version, in order of the day of adoption, then of entry. [unitless]
    today : date
        The site's day. [d]
    display : Display
        Units of the page. [unitless]
    trial : LimitSet or None
        The set under which the past is judged again. [unitless]
    years : int or None
        Window, in years up to today; all of the history where ``None``. [year]
    """
    lines = set_lines(sets, today, display, history.zone)
    now = next((line for line in lines if line.state == "in force"), None)
    held = in_force_of(sets, today)
    offset, angle = (law_of(held, judged) for judged in (Judged.OFFSET, Judged.ANGULARITY))
    return LimitsDeskView(
        state="ok" if now else "empty",
        sentence=_sentence(now, sets) if now else "",
        sets=tuple(reversed(lines)),
        in_force=now,
        offset_now=_factor(offset, Quantity.OFFSET, display),
        angle_now=_factor(angle, Quantity.ANGULARITY, display),
        third=(
            _third(offset, Quantity.OFFSET, display),
            _third(angle, Quantity.ANGULARITY, display),
        ),
        # The result is kept, not the columns it was made of: they are as long as the history.
        trial=keep(
            history,
            ("what if", trial.name, trial.rows, years, today, spoken()),
            lambda: _trial(history, trial, today, years),
        )
        if trial
        else None,
    )


def set_lines(sets: Sequence[AdoptedLimits], today: date, display: Display, zone: str) -> tuple[SetLine, ...]:
    """Put the versions into words, in their order; the last adopted by today is in force.

    Parameters
    ----------
    sets : sequence of AdoptedLimits
        Every version, in order of the day of adoption, then of entry. [unitless]
    today : date
        The site's day. [d]
    display : Display
        Units of the page. [unitless]
    zone : str
        IANA name of the site's zone: the day on which a set was recorded is the site's. [unitless]
    """
    held = in_force_of(sets, today)
    lines = []
    for place, one in enumerate(sets):
        follows = sets[place + 1].limit_set.adopted_on if place + 1 < len(sets) else None
        state: Literal["past", "in force", "to come"] = "past"
        if held is not None and one.limit_set is held:
            state = "in force"
        elif one.limit_set.adopted_on > today:
            state = "to come"
        given = one.limit_set
        lines.append(
            SetLine(
                entry=one.entry,
                name=given.name,
                version=given.version,
                starter=given.starter,
                by=given.adopted_by or say("limits.nobody"),
                on=given.adopted_on,
                until=follows - timedelta(days=1) if state == "past" and follows else None,
                state=state,
                source=given.source,
                recorded=one.recorded_at.astimezone(ZoneInfo(zone)).date(),
                rows=row_lines(given, display),
            )
        )
    return tuple(lines)


def in_force_of(sets: Sequence[AdoptedLimits], today: date) -> LimitSet | None:
    """Give the set in force on a day: the last adopted by then, else the first; ``None`` without any.

    Parameters
    ----------
    sets : sequence of AdoptedLimits
        Every version, in order of the day of adoption, then of entry. [unitless]
    today : date
        The day. [d]
    """
    adopted = [one.limit_set for one in sets if one.limit_set.adopted_on <= today]
    if adopted:
        return adopted[-1]
    return sets[0].limit_set if sets else None


def law_of(limit_set: LimitSet | None, judged: Judged) -> LimitRow | None:
    """Give the first row of a set that is a law of speed for any coupling or the short one; ``None`` without one.

    Parameters
    ----------
    limit_set : LimitSet or None
        The set. [unitless]
    judged : Judged
        What the row is for. [unitless]
    """
    rows = limit_set.rows if limit_set else ()
    fits = (row for row in rows if row.judged is judged and row.per_rpm is not None)
    return next((row for row in fits if row.coupling is not Coupling.SPACER), None)


def _factor(row: LimitRow | None, quantity: Quantity, display: Display) -> str:
    if row is None or row.per_rpm is None:
        return say("whatif.now.none")
    return factor_text(row.per_rpm, quantity, display)


def _third(row: LimitRow | None, quantity: Quantity, display: Display) -> str:
    return "" if row is None or row.per_rpm is None else factor_text(row.per_rpm * 2.0 / 3.0, quantity, display)


def trial_set(in_force: LimitSet, factors: Factors, display: Display, today: date) -> LimitSet:
    """Make a trial set out of the set in force: the typed laws take the place of its own, all else stays.

    Parameters
    ----------
    in_force : LimitSet
        The set in force. [unitless]
    factors : Factors
        Limit × speed. [mm·rpm, mm/m·rpm]
    display : Display
        Units in which it is named. [unitless]
    today : date
        The site's day. [d]

    Returns
    -------
    LimitSet
        Not stored anywhere.
    """
    rows = list(in_force.rows)
    parts = []
    for judged, per_rpm, quantity, text in (
        (Judged.OFFSET, factors.offset_mm_rpm, Quantity.OFFSET, "whatif.trial.offset"),
        (Judged.ANGULARITY, factors.angle_mm_m_rpm, Quantity.ANGULARITY, "whatif.trial.angle"),
    ):
        if per_rpm is None:
            continue
        own = law_of(in_force, judged)
        # One law for all speeds; whether the axes are judged together stays as it is for each kind of coupling.
        laws = [
            LimitRow(
                judged,
                coupling,
                per_rpm=per_rpm,
                floor_rpm=own.floor_rpm if own else 0.0,
                combine=_combined(rows, judged, coupling),
            )
            for coupling in dict.fromkeys((*[row.coupling for row in rows if row.judged is judged], None))
        ]
        rows = [row for row in rows if row.judged is not judged] + laws
        parts.append(say(text, factor=factor_text(per_rpm, quantity, display), unit=display.unit(quantity)))
    name = say("whatif.trial.name", parts=", ".join(parts))
    return replace(
        in_force, name=name, source=say("whatif.trial.source"), rows=tuple(rows), adopted_on=today, starter=False
    )


def _combined(rows: Sequence[LimitRow], judged: Judged, coupling: Coupling | None) -> Combine:
    """Tell how a set judges machines with a coupling: by its rows for the same, else for the other of offset and angularity."""
    centre = [row for row in rows if row.judged in {Judged.OFFSET, Judged.ANGULARITY}]
    nearest = sorted(centre, key=lambda row: (row.coupling is not coupling, row.judged is not judged))
    return nearest[0].combine if nearest else Combine.RESULTANT


def _sentence(now: SetLine, sets: Sequence[AdoptedLimits]) -> str:
    first = sets[0].limit_set
    key = "limits.sentence.first" if (first.name, first.version) == (now.name, now.version) else "limits.sentence"
    return say(key, name=now.name, version=now.version, by=now.by, on=day(now.on), n=counted(len(sets), "set"))


def _trial(history: History, trial: LimitSet, today: date, years: int | None) -> Trial:
    jobs = history.jobs
    since = None if years is None else _years_before(today, years)
    rows = None if since is None else np.flatnonzero(jobs.performed_us >= day_start_us(since, history.zone))
    again = turned(jobs, trial, rows)
    window = say("whatif.whole") if since is None else say("whatif.since", day=day(since))
    found, left = _lines(again.found), _lines(again.left)
    return Trial(
        name=trial.name,
        window=window,
        sentence=_trial_sentence(found[-1], left[-1], window[:1].upper() + window[1:]),
        found=found,
        left=left,
        lost=again.lost,
        gained=again.gained,
    )


def _years_before(today: date, years: int) -> date:
    try:
        return today.replace(year=today.year - years)
    except ValueError:  # 29 February
        return today.replace(year=today.year - years, day=28)


def _lines(cells: IntArray) -> tuple[TurnLine, ...]:
    """Write the classes out that have a verdict, and all of them together."""
    lines = [
        _line(speed_class(place + UNKNOWN, SPEED_BOUNDS_RPM), mine) for place, mine in enumerate(cells) if mine.any()
    ]
    return (*lines, _line(say("column.all"), cells.sum(axis=0)))


def _line(name: str, cells: IntArray) -> TurnLine:
    n = int(cells.sum())
    over = np.array([[int(cells[1].sum()), int(cells[:, 1].sum())]])
    given = shares(over, np.full((1, 2), n))
    return TurnLine(name, n, cell(given, 0, 0), cell(given, 0, 1), int(cells[0, 1]), int(cells[1, 0]))


def _trial_sentence(found: TurnLine, left: TurnLine, window: str) -> str:
    n, changed = found.judged + left.judged, found.changed + left.changed
    if not n:
        return say("whatif.sentence.nothing", window=window)
    verdicts = counted(n, "verdict")
    if not changed:
        return say("whatif.sentence.none", window=window, n=verdicts)
    return say(
        "whatif.sentence",
        window=window,
        changed=count(changed),
        n=verdicts,
        found_over=count(found.to_over),
        found_within=count(found.to_within),
        found_n=count(found.judged),
        left_over=count(left.to_over),
        left_within=count(left.to_within),
        left_n=count(left.judged),
    )


def curve_of(in_force: LimitSet, trial: LimitSet | None, display: Display, speeds: Sequence[float]) -> Curve:
    """Give the limits of a short flexible coupling against speed.

    Parameters
    ----------
    in_force : LimitSet
        The set in force. [unitless]
    trial : LimitSet or None
        Another one. [unitless]
    display : Display
        Units of the result. [unitless]
    speeds : sequence of float
        Speeds. [rpm]
    """

    def limits(limit_set: LimitSet) -> tuple[FloatArray, FloatArray]:
        given = [limits_for(limit_set, Coupling.SHORT, speed) for speed in speeds]
        offset = [np.nan if one.offset_mm is None else display.show(one.offset_mm, Quantity.OFFSET) for one in given]
        angle = [
            np.nan if one.angle_mm_m is None else display.show(one.angle_mm_m, Quantity.ANGULARITY) for one in given
        ]
        return np.array(offset), np.array(angle)

    now = limits(in_force)
    then = limits(trial) if trial else (None, None)
    return Curve(np.array(speeds, dtype=np.float64), *now, *then)
