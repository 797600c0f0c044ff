"""What the benchmark of the callbacks asks: every callback that runs on the server, each with several filters.

The names that the filters need (a machine, an area, a person, a job, an entry)
are taken from the book itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dashboard.ids import Shell
from dashboard.pages.record import Ids as Record
from dashboard.place import asset_path
from models.history.columns import History
from models.store.reader import Reader


@dataclass(frozen=True)
class Question:
    """One call of one callback; ``given`` are the values of its inputs and states, ``"id.property"`` by value."""

    page: str
    callback: str
    filter: str
    given: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Names:
    """What the filters speak of; ``long`` is the machine with most jobs."""

    tag: str
    long: str
    area: str
    train: str
    person: str
    instrument: str
    ref: str
    month: str
    head: int
    middle: int
    left_over: str


def names_of(reader: Reader, history: History) -> Names:
    """Take the names from the book: nothing is chosen because it is quick."""
    jobs, assets = history.jobs, history.assets
    tally = np.bincount(jobs.asset, minlength=len(assets))
    middle = int(np.argsort(tally, kind="stable")[len(tally) // 2])
    row = len(jobs) // 2
    month = int(np.median(jobs.month))
    worst = int(np.nanargmax(np.where(np.isnan(jobs.left_ratio), -1.0, jobs.left_ratio)))
    trains = [str(text) for text in assets.train if text]
    story = reader.story(reader.sites()[0].site_id, str(assets.tag[jobs.asset[row]]))
    assert story is not None
    return Names(
        tag=str(assets.tag[middle]),
        long=str(assets.tag[int(tally.argmax())]),
        area=str(next((text for text in assets.area if text), "")),
        train=trains[0] if trains else "",
        person=history.people[0],
        instrument=history.instruments[0],
        ref=story.jobs[-1].job.ref,
        month=f"{month // 12}-{month % 12 + 1:02d}",
        head=history.head,
        middle=history.head // 2,
        left_over=str(assets.tag[jobs.asset[worst]]),
    )


def questions(n: Names) -> Iterator[Question]:
    """Give every question: page by page, the plain one first."""
    yield from _shell(n)
    for page, body, path, filters in _pages(n):
        for name, search in filters:
            yield _shown(page, body, name, path, search)
    for name, tag in (("a machine of middling length", n.tag), ("the longest history", n.long)):
        for search in ("", "?risk=5&units=mil"):
            for body in ("asset-body", "asset-study-body", "asset-rest-body"):
                yield _shown("Asset", body, f"{name} {search}".strip(), asset_path(tag), search)
    yield _shown("Asset", "asset-body", "a list: all", "/asset", "")
    yield _shown("Asset", "asset-body", "a list: ?q=pump", "/asset", "?q=pump")
    for entry in (1, n.middle, n.head):
        yield _shown("Book", "book-body", f"entry {entry}", f"/book/{entry}", "")
    yield from _record(n)


def _shown(page: str, body: str, name: str, path: str, search: str) -> Question:
    return Question(page, body, name or "–", {**_at(path, search), f"{Shell.SCHEME}.data": "light"})


def _at(path: str, search: str) -> dict[str, Any]:
    return {f"{Shell.URL}.pathname": path, f"{Shell.PAGE}.data": path, f"{Shell.URL}.search": search}


def _shell(n: Names) -> Iterator[Question]:
    yield Question("frame", Shell.CONTENT, "Month", _at("/", ""))
    yield Question("frame", Shell.NAV, "Month", _at("/", ""))
    yield Question("frame", Shell.NOTICE, "Month", _at("/", ""))
    for typed in (n.tag[:1], n.tag[:-2], "pump 3", "zzz", n.area):
        yield Question("finder", Shell.FINDER, typed, {f"{Shell.FINDER}.searchValue": typed, **_at("/", "")})


def _pages(n: Names) -> list[tuple[str, str, str, list[tuple[str, str]]]]:
    def asked(*searches: str) -> list[tuple[str, str]]:
        return [(search, search) for search in searches]

    month = f"?month={n.month}"
    return [
        ("Month", "month-body", "/", asked("", month, f"{month}&jobs=found&class=1500&before=1", f"{month}&jobs=all", f"{month}&list=all", f"{month}&units=mil")),
        (
            "Offenders", "offenders-body", "/offenders",
            asked(
                "", "?window=all", "?window=12&class=1500", f"?window=all&area={n.area}", "?window=all&coupling=spacer",
                f"?window=36&person={n.person}", f"?window=all&instrument={n.instrument}", "?window=all&list=all",
            ),
        ),
        ("Due", "due-body", "/due", asked("", "?risk=5", "?risk=20", "?by=rule", f"?month={n.month}", "?list=all")),
        (
            "Book", "book-body", "/book",
            asked(
                "", f"?before={n.middle}", f"?after={n.middle}", f"?asset={n.tag}", f"?person={n.person}", f"?person={n.person}&before={n.middle}",
                f"?instrument={n.instrument}", "?kind=break-recorded", "?kind=job-amended", "?kind=job-recorded", f"?job={n.ref}",
                "?from=2026-01-01&to=2026-01-31", f"?from={n.month}&to={n.month}&dates=done", "?person=Nobody+Known",
                f"?asset={n.tag}&person={n.person}&kind=job-recorded", f"?instrument={n.instrument}&person={n.person}&from={n.month}&to={n.month}&dates=done",
            ),
        ),
        (
            "People", "people-body", "/people",
            asked("", f"?instrument={n.instrument}", f"?instrument={n.instrument}&since={n.month}", "?list=all"),
        ),
        (
            "Limits", "limits-body", "/limits",
            asked("", "?offset=80&angle=667", "?offset=80&angle=667&years=1", "?offset=90&years=all", "?units=mil"),
        ),
    ]  # fmt: skip


def _record(n: Names) -> Iterator[Question]:
    here = _at("/record", f"?asset={n.tag}")
    fields = {
        "performed": "2026-11-20 09:00", "ref": "bench", "reason": "planned", "by": "Ana Wick", "found.method": "results",
        "found.by": "laser",
        "left.method": "same", "found.results.offset_v": "0.05", "found.results.angle_v": "0.3",
        "found.results.offset_h": "0.02", "found.results.angle_h": "0.2",
    }  # fmt: skip
    typed = {**here, f"{Record.TYPED}.data": fields, f"{Shell.SCHEME}.data": "light"}
    yield Question("Record", Record.BODY, "no machine", {**_at("/record", ""), f"{Shell.SCHEME}.data": "light"})
    yield Question("Record", Record.BODY, "a machine", {**here, f"{Shell.SCHEME}.data": "light"})
    yield Question(
        "Record", Record.CHOOSE, n.tag[:3], {**_at("/record", ""), f"{Record.CHOOSE}.searchValue": n.tag[:3]}
    )
    yield Question("Record", Record.FORM, "a machine", {**here, f"{Record.DRAFT}.data": {}})
    yield Question("Record", Record.RESULT_FOUND, "four results", typed)
    yield Question("Record", Record.CHANCE_FOUND, "four results", typed)
