"""What is to be checked next, by the site's rule, and which calibrations run out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from dashboard.prepared import due_for
from dashboard.views.plan_view import SOON_DAYS
from dashboard.words import say
from models.history.columns import History, IntArray
from models.history.due import BY_INTERVAL, LEFT_OVER, NEVER_MEASURED, REPLACED
from models.history.late import some_of
from models.history.months import local_days
from models.values.people import Instrument

CALIBRATION_DAYS = 62
"""A calibration that runs out within so many days is listed."""

MOST = 60
"""Longest list on the page."""

_WHY = {BY_INTERVAL: "due.why.interval", LEFT_OVER: "due.why.left_over", REPLACED: "due.why.replaced"}


@dataclass(frozen=True, slots=True)
class DueLine:
    """One machine that is to be checked."""

    tag: str
    description: str
    area: str
    last: date
    due: date
    days_left: int
    why: str
    left_ratio: float


@dataclass(frozen=True, slots=True)
class DueList:
    """Due now, as the page Due counts it (the day itself too), and due soon, the longest overdue first, cut to a length that fits a page."""

    lines: tuple[DueLine, ...]
    now: int
    soon: int
    never: int
    in_service: int
    interval_months: int
    soon_days: int = SOON_DAYS


@dataclass(frozen=True, slots=True)
class Calibration:
    """One instrument whose calibration has run out, or will soon; days are negative once it has."""

    serial: str
    description: str
    due: date
    days_left: int


def due_list(history: History, today: date, interval_months: int) -> DueList:
    """List what is due now and what falls due within a month.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    today : date
        The site's day. [d]
    interval_months : int
        The site's rule for the next check. [month]
    """
    due = due_for(history, today, interval_months)
    dated = np.isin(due.reason, list(_WHY))
    wanted = np.flatnonzero(dated & (due.days_left <= SOON_DAYS))
    order = wanted[np.lexsort((wanted, due.days_left[wanted]))]
    now = int((dated & (due.days_left <= 0)).sum())
    return DueList(
        lines=_lines(history, order[:MOST], due.last_us, due.last_row, due.days_left, due.reason, today),
        now=now,
        soon=len(order) - now,
        never=int((due.reason == NEVER_MEASURED).sum()),
        in_service=int((~history.assets.retired).sum()),
        interval_months=interval_months,
    )


def _lines(
    history: History,
    rows: IntArray,
    last_us: IntArray,
    last_row: IntArray,
    days_left: IntArray,
    reason: IntArray,
    today: date,
) -> tuple[DueLine, ...]:
    assets = history.assets
    last = local_days(last_us[rows], history.zone).astype("datetime64[D]").astype(object)
    left_ratio = some_of(history.jobs, "left_ratio", last_row[rows])
    return tuple(
        DueLine(
            tag=str(assets.tag[asset]),
            description=str(assets.description[asset]),
            area=str(assets.area[asset]),
            last=seen,
            due=today + timedelta(days=int(days_left[asset])),
            days_left=int(days_left[asset]),
            why=say(_WHY[int(reason[asset])]),
            left_ratio=float(ratio),
        )
        for asset, seen, ratio in zip(rows.tolist(), last.tolist(), left_ratio.tolist(), strict=True)
    )


def calibrations(instruments: tuple[Instrument, ...], today: date) -> tuple[Calibration, ...]:
    """List the instruments whose calibration has run out or runs out soon, the earliest first."""
    known = (
        Calibration(item.serial, item.description, item.due, (item.due - today).days)
        for item in instruments
        if item.due is not None
    )
    return tuple(
        sorted((one for one in known if one.days_left <= CALIBRATION_DAYS), key=lambda one: (one.due, one.serial))
    )
