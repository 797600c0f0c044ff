"""Finding machines by any part of tag, description, train or area."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from dashboard.words import say
from models.history.columns import AssetColumns, History, IntArray
from models.history.months import local_days
from models.values.spelling import gapless

MOST = 200
"""Longest list on the page."""

OFFERED = 12
"""Longest list below the box in the header."""

SEARCHES = 4
"""What is searched is kept for so many sets of assets."""


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
    """Give everything about a machine that is searched, in small letters, and its tag once more without blanks and dashes."""
    found = (assets.tag, assets.description, assets.train, assets.area, assets.driven)
    texts = [str(column[index]).casefold() for column in found]
    return "\n".join((*texts, gapless(str(assets.tag[index]))))


def match(assets: AssetColumns, asked: str) -> IntArray:
    """Give the assets in which every word that was typed occurs, the tag itself first, then tags that begin with it.

    In a tag blanks and dashes do not matter: 'p204' and 'p 204' find P-204.

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
    words = [(word.encode(), gapless(word).encode()) for word in asked.casefold().split()]
    if not words:
        return np.arange(len(assets), dtype=np.int64)
    texts, tags, without = _searched(assets)
    rows = np.arange(len(assets), dtype=np.int64)
    for word, gone in words:
        held = np.strings.find(texts[rows], word) >= 0
        if gone and gone != word:
            held |= np.strings.find(texts[rows], gone) >= 0
        rows = rows[held]
    found, bare = tags[rows], without[rows]
    whole, first = (gapless(text).encode() for text in (asked, asked.split(maxsplit=1)[0]))
    begins, holds = np.strings.find(bare, whole), np.strings.find(bare, first)
    itself = found == " ".join(asked.casefold().split()).encode()
    order = [itself, bare == whole, begins == 0, holds == 0, holds > 0]
    return rows[np.argsort(np.select(order, list(range(5)), 5), kind="stable")]


Searched = tuple[NDArray[np.bytes_], NDArray[np.bytes_], NDArray[np.bytes_]]
_searches: OrderedDict[int, tuple[AssetColumns, Searched]] = OrderedDict()
_lock = Lock()


def _searched(assets: AssetColumns) -> Searched:
    """Give what is searched, the tags, and these without blanks and dashes, as bytes in small letters, made once for the same assets."""
    with _lock:
        known = _searches.get(id(assets))
        # An id is given again after its object is gone, so the object itself is compared.
        if known is None or known[0] is not assets:
            texts = np.array([haystack(assets, row).encode() for row in range(len(assets))], dtype=np.bytes_)
            tags = np.array([str(tag).casefold().encode() for tag in assets.tag], dtype=np.bytes_)
            bare = np.array([gapless(str(tag)).encode() for tag in assets.tag], dtype=np.bytes_)
            known = _searches[id(assets)] = (assets, (texts, tags, bare))
        _searches.move_to_end(id(assets))
        while len(_searches) > SEARCHES:
            _searches.popitem(last=False)
        return known[1]


def build(history: History, asked: str, *, most: int = MOST) -> FinderView:
    """Compute the list of machines, cut to a longest one."""
    assets, jobs = history.assets, history.jobs
    rows = match(assets, asked)
    # Jobs stand in order of asset: where each asset's begin and end is all that is needed of them.
    shown = rows[:most]
    begins, ends = (np.searchsorted(jobs.asset, shown, side=side) for side in ("left", "right"))
    had = ends > begins
    days = np.zeros(len(shown), dtype=np.int64)
    days[had] = local_days(jobs.performed_us[ends[had] - 1], history.zone)
    dates = days.astype("datetime64[D]").tolist()
    lines = []
    for index, begin, end, last in zip(shown.tolist(), begins.tolist(), ends.tolist(), dates, strict=True):
        lines.append(
            FoundMachine(
                tag=str(assets.tag[index]),
                description=str(assets.description[index]),
                area=str(assets.area[index]),
                train=str(assets.train[index]),
                speed_rpm=float(assets.speed_rpm[index]),
                jobs=end - begin,
                last=last if end > begin else None,
                left_ratio=float(jobs.left_ratio[end - 1]) if end > begin else float("nan"),
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

    def gone(row: int) -> str:
        return say("list.retired") if assets.retired[row] else ""

    return [
        {
            "value": address(str(assets.tag[row])),
            "tag": str(assets.tag[row]),
            "text": haystack(assets, row),
            "label": " · ".join(
                str(text) for text in (assets.tag[row], assets.description[row], assets.area[row], gone(row)) if text
            ),
        }
        for row in match(assets, typed[:80])[:OFFERED].tolist()
    ]
