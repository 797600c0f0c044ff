"""The jobs behind a number of the Month page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from dashboard.place import Place, Read, class_code, read_class, shortened
from dashboard.prepared import index_for
from dashboard.strict import refuse
from dashboard.words import say
from dashboard.writing import month as month_text
from dashboard.writing import speed_class
from models.history.columns import REASONS, SPEED_BOUNDS_RPM, History
from models.history.months import local_days
from models.history.whatif import judge_again
from models.values.limits import LimitSet

JOBS, FOUND, LEFT = "all", "found", "left"
KINDS = {JOBS: "month.behind.all", FOUND: "month.behind.found", LEFT: "month.behind.left"}
"""What can be asked for in the address, and the key of its title."""

UNKNOWN_SPEED = "unknown"
"""How machines whose speed is not known are asked for."""

BEFORE = 12
MOST = 60
"""Longest list; those over limit come first."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Which number was asked about: a kind, a speed class or all (``None``), the month or the twelve before."""

    kind: str
    speed_class: int | None = None
    before: bool = False


@dataclass(frozen=True, slots=True)
class JobBehind:
    """One job, with what was judged in it."""

    tag: str
    description: str
    area: str
    day: date
    found_ratio: float
    left_ratio: float
    reason: str
    person: str
    instrument: str
    entry: int


@dataclass(frozen=True, slots=True)
class JobsBehind:
    """The jobs behind a number: ``over`` of ``n`` were over limit; the list is cut to a length that fits a page."""

    title: str
    asked: Asked
    over: int
    n: int
    lines: tuple[JobBehind, ...]


def read_asked(place: Place) -> Read[Asked | None]:
    """Read which number the address asks about, e.g. ``jobs=found&class=1500&before=1``; ``None`` where none."""
    kind = place.get("jobs")
    if not kind:
        return Read(None)
    if kind not in KINDS:
        return Read(None, say("month.problem.jobs", asked=shortened(kind)))
    before = place.get("before") == "1"
    if not before and (typed := place.get("before")):
        refuse(say("files.no_value", asked=shortened(typed), name="before"), ["1"])
    if place.get("class") == UNKNOWN_SPEED:
        return Read(Asked(kind, -1, before))
    speed = read_class(place)
    return Read(Asked(kind, speed.value, before), speed.problem)


def asking(kind: str, index: int | None = None, *, before: bool = False) -> dict[str, object]:
    """Write a question as the choices of an address; the other way round than :func:`read_asked`."""
    code = None if index is None else UNKNOWN_SPEED if index < 0 else class_code(index)
    return {"jobs": kind, "class": code, "before": "1" if before else None}


def jobs_behind(
    history: History, month: int, asked: Asked, by: LimitSet | None = None, *, most: int = MOST
) -> JobsBehind:
    """Find the jobs behind a number.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    month : int
        The month of the page, as year × 12 + month − 1. [month]
    asked : Asked
        Which number. [unitless]
    by : LimitSet or None
        The set by which the twelve months before are judged, where it is not that of the book. [mm, mm/m]
    most : int
        Longest list. [unitless]
    """
    jobs, assets = history.jobs, history.assets
    first, last = (month - BEFORE, month - 1) if asked.before else (month, month)
    inside = index_for(history).rows(first, last)
    if asked.speed_class is not None:
        inside = inside[jobs.speed_class[inside] == asked.speed_class]
    found_ratio, left_ratio = jobs.found_ratio, jobs.left_ratio
    if by is not None and asked.before:
        again = judge_again(jobs, by, inside)
        found_ratio, left_ratio = found_ratio.copy(), left_ratio.copy()
        found_ratio[inside], left_ratio[inside] = again.found_ratio, again.left_ratio
    ratio = {FOUND: found_ratio, LEFT: left_ratio}.get(asked.kind)
    if ratio is None:
        rows = inside
        rows = rows[np.argsort(jobs.performed_us[rows], kind="stable")]
        over = 0
    else:
        rows = inside[~np.isnan(ratio[inside])]
        rows = rows[np.argsort(-ratio[rows], kind="stable")]
        over = int((ratio[rows] > 1.0).sum())
    shown = rows[:most]
    days = local_days(jobs.performed_us[shown], history.zone).astype("datetime64[D]").astype(object)
    return JobsBehind(
        _title(month, asked, by),
        asked,
        over,
        len(rows),
        tuple(
            JobBehind(
                tag=str(assets.tag[jobs.asset[row]]),
                description=str(assets.description[jobs.asset[row]]),
                area=str(assets.area[jobs.asset[row]]),
                day=on,
                found_ratio=float(found_ratio[row]),
                left_ratio=float(left_ratio[row]),
                reason=REASONS[int(jobs.reason[row])] if jobs.reason[row] >= 0 else "",
                person=history.people[jobs.person[row]] if jobs.person[row] >= 0 else "",
                instrument=history.instruments[jobs.instrument[row]] if jobs.instrument[row] >= 0 else "",
                entry=int(jobs.entry[row]),
            )
            for row, on in zip(shown.tolist(), days.tolist(), strict=True)
        ),
    )


def _title(month: int, asked: Asked, by: LimitSet | None) -> str:
    on = month_text(date(month // 12, month % 12 + 1, 1))
    parts = [say(KINDS[asked.kind]), say("month.behind.before", month=on) if asked.before else on]
    if asked.speed_class is not None:
        parts.append(speed_class(asked.speed_class, SPEED_BOUNDS_RPM))
    if by is not None and asked.before:
        parts.append(say("month.behind.by", name=by.name, version=by.version))
    return ", ".join(parts)
