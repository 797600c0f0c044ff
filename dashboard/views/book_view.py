"""What the Book page shows: entries as lines, each with who, when, what about, why, and where from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from dashboard.asked import Asked
from dashboard.views.job_words import limit_set_text
from dashboard.words import say
from dashboard.writing import DASH, count, counted, day, moment
from models.values.entry import EntryLine, EntryPage, Thing
from models.values.kinds import Kind
from models.values.story import Site

MOST = 40
"""Entries on one page."""


@dataclass(frozen=True, slots=True)
class BookLine:
    """One entry; ``name`` of a ``thing`` it is about, softer texts below it, and where it came from."""

    number: int
    recorded: str
    author: str
    kind: str
    thing: Thing
    name: str
    about: str
    work: str
    why: str
    change: str
    source: str
    file_entry: int | None
    author_alone: str


@dataclass(frozen=True, slots=True)
class BookView:
    """One page of the book; ``older`` and ``newer`` are entry numbers to go on from."""

    state: Literal["ok", "too_few"]
    sentence: str
    lines: tuple[BookLine, ...]
    caption: str
    older: int | None
    newer: int | None
    filtered: bool


def build(page: EntryPage, asked: Asked, site: Site) -> BookView:
    """Put a page of entries into words.

    Parameters
    ----------
    page : EntryPage
        The entries. [unitless]
    asked : Asked
        What was asked for. [unitless]
    site : Site
        The site. [unitless]
    """
    lines = tuple(line_of(line, site.zone) for line in page.lines)
    told = ", ".join(_asked(asked))
    caption = ""
    if lines:
        caption = say(
            "book.caption", high=count(lines[0].number), low=count(lines[-1].number), n=counted(len(lines), "entry")
        )
    return BookView(
        state="ok" if lines else "too_few",
        sentence=say("book.sentence.unknown") if asked.nothing else _sentence(page, told),
        lines=lines,
        caption=caption,
        older=lines[-1].number if lines and page.older else None,
        newer=lines[0].number if lines and page.newer else None,
        filtered=bool(told) or asked.nothing,
    )


def _sentence(page: EntryPage, told: str) -> str:
    n = counted(page.count, "entry")
    if told:
        return say("book.sentence.asked_more" if page.more else "book.sentence.asked", n=n, asked=told)
    if page.more or not page.lines or page.older or page.newer:
        # What is numbered how is only known where the whole book stands on the page.
        return say("book.sentence.more", n=n) if page.more else say("book.sentence.any", n=n)
    low, high = page.lines[-1].number, page.lines[0].number
    return say("book.sentence.all", n=n, first=count(low), last=count(high))


def _asked(asked: Asked) -> Iterable[str]:
    given, texts = asked.filter, asked.texts
    if given.tag:
        yield say("book.asked.asset", value=given.tag)
    if given.person:
        yield say("book.asked.person", value=given.person)
    if given.instrument:
        yield say("book.asked.instrument", value=given.instrument)
    if given.ref:
        yield say("book.asked.job", value=given.ref)
    if given.kind is not None:
        yield say(f"kind.{given.kind}")
    if given.file is not None:
        yield say("book.asked.file", value=given.file)
    if given.recorded_from or given.done_from:
        yield say("book.asked.done_from" if asked.by_work else "book.asked.recorded_from", value=texts["from"])
    if given.recorded_before or given.done_before:
        yield say("book.asked.done_to" if asked.by_work else "book.asked.recorded_to", value=texts["to"])


def line_of(line: EntryLine, zone: str) -> BookLine:
    """Put one entry into words.

    Parameters
    ----------
    line : EntryLine
        The entry. [unitless]
    zone : str
        Zone of the site. [unitless]
    """
    return BookLine(
        number=line.number,
        recorded=moment(line.at, zone),
        author=say("book.by", author=line.author),
        kind=say(f"kind.{line.kind}"),
        thing=line.thing,
        name=line.name or DASH,
        about=_about(line),
        work=_work(line),
        why=line.why,
        change=_change(line),
        source=source_of(line),
        file_entry=line.file_entry,
        author_alone=line.author,
    )


def _about(line: EntryLine) -> str:
    if line.done_at is not None:
        return say("book.job_on", ref=line.detail, day=moment(line.done_at, line.zone))
    if line.kind is Kind.BREAK_RECORDED:
        return say("book.break_on", part=say(f"part.{line.detail}"), day=day(line.on))
    if line.kind is Kind.LIMITS_ADOPTED:
        return say("book.version_from", version=line.detail, day=day(line.on))
    if line.kind is Kind.FILE_IMPORTED:
        return say("book.rows", n=count(int(line.detail or 0)))
    return say(f"thing.{line.thing}")


def _work(line: EntryLine) -> str:
    parts = [", ".join(line.people)]
    if line.instrument:
        parts.append(say("book.with", instrument=line.instrument))
    if line.limit_set:
        parts.append(say("book.under", name=limit_set_text(line.limit_set)))
    return " · ".join(part for part in parts if part)


def _change(line: EntryLine) -> str:
    parts = []
    if line.void:
        parts.append(say("book.voided"))
    if line.supersedes is not None:
        parts.append(say("book.amends", entry=count(line.supersedes)))
    if line.superseded_by is not None:
        parts.append(say("book.replaced", entry=count(line.superseded_by)))
    return "; ".join(parts)


def source_of(line: EntryLine) -> str:
    """Say where an entry came from: file and row, or somebody's hand.

    Parameters
    ----------
    line : EntryLine
        The entry. [unitless]
    """
    if line.kind is Kind.FILE_IMPORTED:
        return say("book.source.file", file=line.name)
    if line.file:
        return say("book.source.row", file=line.file, row=line.row or DASH)
    return say("book.source.typed")
