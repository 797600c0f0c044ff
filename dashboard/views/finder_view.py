"""Finding machines by any part of tag, description, train or area."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np

from models.history.columns import AssetColumns, History, IntArray
from models.history.months import local_days

MOST = 200
"""Longest list on the page."""

OFFERED = 12
"""Longest list below the box in the header."""


@dataclass(frozen=True, slots=True)
class FoundMachine:
    """One machine of the list; ``last`` is its last visit, the ratio what that left."""

    tag: str
    description: str
    area: str
    train: str
    speed_rpm: float
    jobs: int
    last: date | None
    left_ratio: float
    retired: bool


@dataclass(frozen=True, slots=True)
class FinderView:
    """The machines that answer, and how many there are in all."""

    asked: str
    lines: tuple[FoundMachine, ...]
    found: int
    machines: int


def haystack(assets: AssetColumns, index: int) -> str:
    """Give everything about a machine that is searched, in small letters."""
    found = (assets.tag, assets.description, assets.train, assets.area, assets.driven)
    return "\n".join(str(column[index]) for column in found).casefold()


def match(assets: AssetColumns, asked: str) -> IntArray:
    """Give the assets in which every word that was typed occurs, tags that begin with it first.

    Parameters
    ----------
    assets : AssetColumns
        The assets. [unitless]
    asked : str
        What was typed; capitals do not matter. [unitless]

    Returns
    -------
    (k,) int array
        Indices of assets. [unitless]
    """
    words = asked.casefold().split()
    if not words:
        return np.arange(len(assets), dtype=np.int64)
    hits = []
    for index in range(len(assets)):
        text = haystack(assets, index)
        if all(word in text for word in words):
            tag = str(assets.tag[index]).casefold()
            place = 0 if tag == words[0] else 1 if tag.startswith(words[0]) else 2 if words[0] in tag else 3
            hits.append((place, index))
    hits.sort()
    return np.array([index for _, index in hits], dtype=np.int64)


def build(history: History, asked: str, *, most: int = MOST) -> FinderView:
    """Compute the list of machines, cut to a longest one."""
    assets, jobs = history.assets, history.jobs
    rows = match(assets, asked)
    last_row = np.full(len(assets), -1, dtype=np.int64)
    last_row[jobs.asset] = np.arange(len(jobs))
    tally = np.bincount(jobs.asset, minlength=len(assets))
    lines = []
    for index in rows[:most].tolist():
        row = int(last_row[index])
        last = (
            str(local_days(jobs.performed_us[row : row + 1], history.zone).astype("datetime64[D]")[0])
            if row >= 0
            else ""
        )
        lines.append(
            FoundMachine(
                tag=str(assets.tag[index]),
                description=str(assets.description[index]),
                area=str(assets.area[index]),
                train=str(assets.train[index]),
                speed_rpm=float(assets.speed_rpm[index]),
                jobs=int(tally[index]),
                last=date.fromisoformat(last) if last else None,
                left_ratio=float(jobs.left_ratio[row]) if row >= 0 else float("nan"),
                retired=bool(assets.retired[index]),
            )
        )
    return FinderView(asked, tuple(lines), len(rows), len(assets))


def offers(history: History, typed: str, address: Callable[[str], str]) -> list[dict[str, str]]:
    """Offer the machines that answer to what is typed, as a box with a list takes them.

    Parameters
    ----------
    history : History
        The columns. [unitless]
    typed : str
        What is typed; the first 80 characters count. [as typed]
    address : callable
        Gives the address that a tag leads to. [unitless]
    """
    assets = history.assets
    return [
        {
            "value": address(str(assets.tag[row])),
            "text": haystack(assets, row),
            "label": " · ".join(
                str(text) for text in (assets.tag[row], assets.description[row], assets.area[row]) if text
            ),
        }
        for row in match(assets, typed[:80])[:OFFERED].tolist()
    ]
