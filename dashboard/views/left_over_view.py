"""What the People page shows of what each person left over limit: beside what others left, in alphabetical order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from dashboard.kept import keep
from dashboard.views.effects_view import FALSE_RATE
from dashboard.views.shares import Share
from dashboard.words import say
from dashboard.writing import count, counted
from models.history.columns import History
from models.history.effects import FEWEST_JOBS
from models.history.left_over import LeftOver, left_over_of


@dataclass(frozen=True, slots=True)
class LeftLine:
    """One person; ``expected`` and ``q`` are NaN where too few jobs are known, ``more`` where chance explains it badly."""

    name: str
    share: Share
    expected: float
    q: float
    more: bool


@dataclass(frozen=True, slots=True)
class LeftOverView:
    """Everybody with a job that counts, in alphabetical order."""

    state: Literal["ok", "too_few"]
    lines: tuple[LeftLine, ...]
    sentence: str


def left_over_for(history: History) -> LeftOver:
    """Give what each person of a site left over limit; kept as long as the history is the same.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    """
    return keep(history, "left over", lambda: left_over_of(history.jobs, len(history.people), FALSE_RATE))


def build(found: LeftOver, names: Sequence[str]) -> LeftOverView:
    """Put it into words.

    Parameters
    ----------
    found : LeftOver
        One row a person. [unitless]
    names : sequence of str
        The people. [unitless]
    """
    order = sorted(np.flatnonzero(found.share.n > 0).tolist(), key=lambda row: names[row].casefold())
    lines = tuple(_line(found, names[row], row) for row in order)
    compared = [line for line in lines if np.isfinite(line.expected)]
    if not compared:
        return LeftOverView("too_few", lines, say("people.left.none", fewest=FEWEST_JOBS))
    told = [_told(line) for line in compared if line.more]
    alike = say("people.left.alike", n=counted(len(compared), "person"))
    return LeftOverView("ok", lines, " ".join((*told, say("people.left.hint"))) if told else alike)


def _line(found: LeftOver, name: str, row: int) -> LeftLine:
    of = found.share
    share = Share(int(of.count[row]), int(of.n[row]), float(of.share[row]), float(of.low[row]), float(of.high[row]))
    q = float(found.q[row])
    return LeftLine(name, share, float(found.expected[row]), q, more=q <= FALSE_RATE)


def _told(line: LeftLine) -> str:
    n = counted(line.share.n, "job")
    return say("people.left.more", name=line.name, over=count(line.share.count), n=n, expected=number(line.expected))


def number(expected: float) -> str:
    """Write a number of jobs that were to be expected; one that would read 0 says that it is not."""
    return say("people.left.less") if expected < 0.05 else f"{expected:.1f}"


def few(lines: Sequence[LeftLine]) -> str:
    """Name those of whom nothing is said, because they or the others have too few jobs; empty where there are none."""
    names = [line.name for line in lines if not np.isfinite(line.expected)]
    return say("people.left.missing", fewest=FEWEST_JOBS, names=", ".join(names)) if names else ""
