"""The monthly review on two pages: what the Month page answers, in print, from the very same view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from dashboard.place import shortened
from dashboard.reports.identity import Identity, book_sentence, common
from dashboard.reports.month_pictures import class_picture, control_chart
from dashboard.reports.press import Paper, ask_of
from dashboard.views.asked_by_risk import risk_key, risk_sentence
from dashboard.views.month_chart_view import chart_words
from dashboard.views.month_limits_view import before_text, one_set_words
from dashboard.views.month_view import ByRisk, ClassLine, MonthView, Visit, returned_words, unsigned_words
from dashboard.views.shares import Share
from dashboard.words import say
from dashboard.writing import DASH, chance, count, counted, day, interval, judged, percent
from dashboard.writing import month as month_name

PAGES = 2
"""The review never takes more."""

_PICTURED = {"found": "report.classes.found", "left": "report.classes.left"}

Row = list[Any]


@dataclass(frozen=True, slots=True)
class Room:
    """How many lines of each list are printed."""

    returned: int = 12
    left: int = 8
    rule: int = 16
    risk: int = 8


def month_paper(view: MonthView, identity: Identity, *, size: str = "a4") -> Paper:
    """Lay the review out, with lists as long as two pages have room for.

    Parameters
    ----------
    view : MonthView
        What the Month page shows. [unitless]
    identity : Identity
        Which site and book. [unitless]
    size : str
        Size of the paper. [unitless]
    """
    room = Room()
    while True:
        paper = _paper(view, identity, room, size)
        second, pages = ask_of(paper, "second"), int(ask_of(paper, "pages")[0])
        if pages <= PAGES:
            return paper
        too_long = bool(second) and int(second[0]) > PAGES
        smaller = _smaller_first(room) if too_long else _smaller_second(room)
        if smaller == room:
            return paper
        room = smaller


def _smaller_first(room: Room) -> Room:
    return replace(room, returned=max(room.returned - 1, 0))


def _smaller_second(room: Room) -> Room:
    """Take one line out of the longer of the two lists of work, two of the rule for one of the risk; last of those left over."""
    if room.rule > 2 * room.risk and room.rule > 1:
        return replace(room, rule=room.rule - 1)
    if room.risk > 1:
        return replace(room, risk=room.risk - 1)
    return replace(room, left=max(room.left - 1, 1), rule=max(room.rule - 1, 1))


def _paper(view: MonthView, identity: Identity, room: Room, size: str) -> Paper:
    title = say("report.month.title", month=month_name(view.month))
    data = common(identity, title) | month_data(view, room) | {"book": book_sentence(identity)}
    pictures = {}
    if (view.series.found_n > 0).any():
        pictures["chart.svg"] = control_chart(view.series)
    if view.jobs or view.jobs_before:
        pictures |= {f"{stage}.svg": class_picture(view.classes, stage) for stage in ("found", "left")}
    return Paper("month", title, data, identity.made_at, size, pictures)


def month_data(view: MonthView, room: Room) -> dict[str, Any]:
    """Give every text of the review.

    Parameters
    ----------
    view : MonthView
        What the Month page shows. [unitless]
    room : Room
        How long the lists are. [unitless]
    """
    empty = view.state == "empty"
    return {
        "about": say("report.month.about", site=view.site.name, day=day(view.today)),
        "empty": say("report.month.empty") if empty else "",
        "sentence": say("book.no_jobs.title") if empty else view.sentence,
        "keys": [] if empty else _keys(view),
        "chart": {
            "shown": bool((view.series.found_n > 0).any()),
            "title": say("figure.months.title"),
            "words": chart_words(view.series),
            "note": say("report.chart.note"),
        },
        "classes": _classes(view),
        "returned": _returned(view, room),
        "left": _left(view, room),
        "due": {"shown": not empty, "title": say("report.due.title"), "words": _due_words(view), "parts": _due(view, room)},
        "calibrations": _calibrations(view),
        "method": say("report.month.method"),
        "limits": view.limits.text,
        "warning": view.limits.warning,
    }  # fmt: skip


def _key(label: str, value: str, *below: str) -> dict[str, Any]:
    return {"label": label, "value": value, "below": list(below)}


def _share_key(label: str, share: Share, before: str, open_ones: str = "") -> dict[str, Any]:
    if not share.known:
        return _key(label, DASH, say("key.none_judged"), open_ones, before)
    below = say("key.share", share=percent(share.share), interval=interval(share.low, share.high))
    return _key(label, say("key.of", count=count(share.count), n=count(share.n)), below, open_ones, before)


def _keys(view: MonthView) -> list[dict[str, Any]]:
    due = view.due
    return [
        _key(
            say("month.key.jobs"),
            count(view.jobs),
            say("month.key.on", machines=counted(view.machines, "machine")),
            say("month.key.jobs_before", mean=f"{view.jobs_before / 12:.1f}"),
        ),
        _share_key(say("month.key.found"), view.found, before_text(view.one_set, view.found_before, view.found_change)),
        _key(
            say("month.key.returned"),
            count(len(view.returned)),
            say("month.key.returned_below"),
            say("month.key.returned_window", month=month_name(view.month)),
        ),
        _share_key(
            say("month.key.left"),
            view.left,
            before_text(view.one_set, view.left_before, view.left_change),
            say("month.key.unreviewed", n=count(view.unreviewed)) if view.unreviewed else "",
        ),
        _key(
            say("month.key.due"),
            count(due.now),
            say("month.key.due_below", n=counted(due.in_service, "machine"), day=day(view.today)),
            _soon(view),
        ),
    ]


def _soon(view: MonthView) -> str:
    """Say how many machines fall due soon by the rule, and how many are due by risk."""
    due, risk = view.due, view.by_risk
    if risk is None:
        return say("month.key.due_soon", n=count(due.soon), days=due.soon_days)
    return risk_key(risk.asked, risk.risk, due.soon, due.soon_days)


def _of(share: Share) -> str:
    return say("key.of", count=count(share.count), n=count(share.n)) if share.known else DASH


def _interval(share: Share) -> str:
    return interval(share.low, share.high) if share.known else DASH


def _classes(view: MonthView) -> dict[str, Any]:
    if not (view.jobs or view.jobs_before):
        return {"rows": []}
    heads = [
        (say("column.class"), "2.2", "left"), (say("column.jobs"), "0.7", "right"), (say("column.found_over"), "1.1", "right"),
        (say("column.share"), "0.8", "right"), (say("column.interval"), "1.2", "right"), (say("report.column.found_then"), "1.3", "right"),
        (say("report.column.left"), "1.1", "right"), (say("column.left_interval"), "1.2", "right"), (say("report.column.found_then"), "1.3", "right"),
    ]  # fmt: skip
    rows = [
        [
            line.name, count(line.jobs), _of(line.found), percent(line.found.share), _interval(line.found), _of(line.found_before),
            _of(line.left), _interval(line.left), _of(line.left_before),
        ]
        for line in (*view.classes, view.total)
    ]  # fmt: skip
    return {
        "title": say("month.classes.title"),
        "heads": heads,
        "rows": rows,
        "pictures": [_class_words(view.classes, stage, month_name(view.month)) for stage in ("found", "left")],
        "note": " ".join(text for text in (say("report.classes.note"), one_set_words(view.one_set)) if text),
    }


def _class_words(lines: Sequence[ClassLine], stage: str, month: str) -> dict[str, str]:
    known = [(line.name, getattr(line, stage)) for line in lines if getattr(line, stage).known]
    said = ", ".join(say("report.classes.says", share=_of(share), name=name) for name, share in known)
    return {
        "title": say(f"figure.classes.{stage}", month=month),
        "says": say(_PICTURED[stage], month=month, classes=said or say("figure.classes.none")),
        "file": f"{stage}.svg",
    }


def what(description: str, area: str) -> list[str]:
    """Give what and where a machine is as a cell of two lines, cut to what a list has room for."""
    return [shortened(description, 56), shortened(area, 44)]


def _tag(tag: str) -> dict[str, str]:
    return {"whole": tag, "weight": "bold"}


def _unlisted(n: int, shown: int) -> str:
    return say("report.more", n=count(n - shown)) if n > shown else ""


def _returned(view: MonthView, room: Room) -> dict[str, Any]:
    heads = [
        (say("column.machine"), "1.35", "left"), (say("column.what_where"), "2.7", "left"), (say("column.day"), "1.35", "right"),
        (say("column.was_left"), "1.1", "right"), (say("column.found_ratio"), "1.1", "right"), (say("column.days"), "0.8", "right"),
        (say("column.left_ratio"), "1.1", "right"), (say("month.column.suggests"), "2.4", "left"),
    ]  # fmt: skip
    rows: list[Row] = [
        [
            _tag(visit.tag), what(visit.description, visit.area), day(visit.day), judged(visit.was_left), judged(visit.found_ratio),
            f"{visit.days:.0f}", judged(visit.left_ratio), _suggests(visit),
        ]
        for visit in view.returned[: room.returned]
    ]  # fmt: skip
    return {
        "shown": bool(view.jobs),
        "title": say("month.returned.title", month=month_name(view.month), n=returned_words(view)),
        "heads": heads,
        "rows": rows,
        "none": say("month.returned.none") if not view.returned else "",
        "moved": say("month.returned.moved", n=count(view.moved_limits)) if view.moved_limits else "",
        "more": _unlisted(len(view.returned), len(rows)),
    }


def _suggests(visit: Visit) -> str:
    causes = [say("month.suggests", cause=one.cause) for one in visit.suggests]
    return "; ".join(causes) or say("month.suggests.nothing")


def _left(view: MonthView, room: Room) -> dict[str, Any]:
    heads = [
        (say("column.machine"), "1.35", "left"), (say("column.what_where"), "2.4", "left"), (say("column.day"), "1.25", "right"),
        (say("column.found_ratio"), "1.1", "right"), (say("column.left_ratio"), "1.1", "right"), (say("column.person"), "1.5", "left"),
        (say("month.column.reviewer"), "1.4", "left"), (say("month.left_over.signed"), "1.6", "left"),
    ]  # fmt: skip
    nobody, looked = say("month.left_over.nobody"), view.looked
    rows: list[Row] = [
        [
            _tag(visit.tag), what(visit.description, visit.area), day(visit.day), judged(visit.found_ratio), judged(visit.left_ratio),
            visit.person or DASH, looked.reviewers.get(visit.entry) or nobody, looked.signers.get(visit.entry) or nobody,
        ]
        for visit in view.left_over[: room.left]
    ]  # fmt: skip
    return {
        "shown": bool(view.jobs),
        "title": say("month.left_over.title", month=month_name(view.month), n=counted(view.left_over_n, "job")),
        "words": unsigned_words(view) if rows else "",
        "heads": heads,
        "rows": rows,
        "none": say("month.left_over.none"),
        "more": _unlisted(len(view.left_over), len(rows)),
    }


def _due_words(view: MonthView) -> str:
    due = view.due
    text = say(
        "due.text", now=counted(due.now, "machine"), soon=count(due.soon), days=due.soon_days, n=count(due.in_service), day=day(view.today)
    )  # fmt: skip
    return f"{text} {say('due.never', n=counted(due.never, 'machine'))}" if due.never else text


def _due(view: MonthView, room: Room) -> list[dict[str, Any]]:
    due = view.due
    heads = [
        (say("column.machine"), "1.35", "left"), (say("column.what_where"), "3", "left"), (say("column.due"), "1.1", "right"),
        (say("column.late"), "1.2", "right"), (say("column.last_left"), "1.1", "right"), (say("column.why"), "2", "left"),
    ]  # fmt: skip
    rows: list[Row] = [
        [
            _tag(line.tag), what(line.description, line.area), day(line.due), late(line.days_left), judged(line.left_ratio), line.why,
        ]
        for line in due.lines[: room.rule]
    ]  # fmt: skip
    parts = [
        {
            "title": say("month.due.rule", months=counted(due.interval_months, "month")),
            "words": say("due.caption") if rows else "",
            "heads": heads,
            "rows": rows,
            "more": _unlisted(due.now + due.soon, len(rows)),
        }
    ]
    if view.by_risk is not None:
        parts.append(_risk(view.by_risk, room))
    return parts


def _risk(risk: ByRisk, room: Room) -> dict[str, Any]:
    heads = [
        (say("column.machine"), "1.35", "left"), (say("column.what_where"), "2.5", "left"), (say("due.column.over_now"), "1.1", "right"),
        (say("column.due"), "1.15", "right"), (say("column.last_left"), "1.1", "right"), (say("column.why"), "3.3", "left"),
    ]  # fmt: skip
    rows: list[Row] = [
        [
            _tag(line.tag), what(line.description, line.area), chance(line.over_now), day(line.due), judged(line.left_ratio), line.why,
        ]
        for line in risk.lines[: room.risk]
    ]  # fmt: skip
    words = risk_sentence(risk.asked, risk.risk)
    title = say("month.due.risk")
    if rows:
        words = f"{words} {say('month.due.risk_caption', n=counted(len(rows), 'machine'))}:"
    return {"title": title, "words": words, "heads": heads, "rows": rows, "more": ""}


def late(days_left: int) -> str:
    """Write how late a date is, or how long until it comes."""
    if days_left == 0:
        return say("due.today")
    if days_left < 0:
        return say("due.late", n=counted(-days_left, "day"))
    return say("due.in", n=counted(days_left, "day"))


def _calibrations(view: MonthView) -> dict[str, Any]:
    heads = [
        (say("column.instrument"), "1.2", "left"), (say("column.what"), "3", "left"), (say("column.due"), "1", "right"),
        (say("column.late"), "1", "right"),
    ]  # fmt: skip
    rows: list[Row] = [
        [{"whole": one.serial}, one.description, day(one.due), late(one.days_left)] for one in view.calibrations[:6]
    ]
    return {"title": say("calibration.title"), "heads": heads, "rows": rows, "none": say("calibration.none")}


def mail_texts(view: MonthView, title: str) -> tuple[str, str]:
    """Give the subject and the text of the mail that carries the review.

    Parameters
    ----------
    view : MonthView
        What the Month page shows. [unitless]
    title : str
        Title of the review. [unitless]
    """
    due = view.due
    body = say(
        "report.mail.body",
        sentence=view.sentence,
        now=counted(due.now, "machine"),
        soon=_soon(view),
        n=count(due.in_service),
        months=counted(due.interval_months, "month"),
        site=view.site.name,
        caution=say("caution.title") + say("caution.text"),
    )
    return say("report.mail.subject", title=title, site=view.site.name), body
