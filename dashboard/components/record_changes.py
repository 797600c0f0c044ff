"""What was amended on a machine, old beside new with who and why, and the ways to amend what stands."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from dashboard.components import elements as html
from dashboard.components.aria import aria
from dashboard.components.pieces import Child, note
from dashboard.components.record_results import differences_table
from dashboard.place import Place
from dashboard.views.job_words import marked_by, told_versions
from dashboard.words import say
from dashboard.writing import DASH, day, moment
from models.units import Display
from models.values.story import JobLine

RECORD = "/record"
"""Path of the Record page; pages do not know one another."""

VOID = "/void"
"""Where a job is voided, by the number of its entry."""


def record_link(tag: str, place: Place) -> html.Link:
    """Put the way from a machine to recording a job on it."""
    return html.Link(say("asset.record"), href=place.to(RECORD, asset=tag), className="action")


def void_link(entry: int, place: Place, text: str) -> html.A:
    """Put the way to void a job, or to take a void one back: a page of the server's own."""
    return html.A(text, href=place.to(f"{VOID}/{entry}"))


def _void_it(entry: int, place: Place) -> tuple[Child, ...]:
    label = say("void.link.label", entry=entry)
    return " · ", html.A(say("void.link"), href=place.to(f"{VOID}/{entry}"), **aria(label=label))


def amend_links(lines: Sequence[JobLine], zone: str, place: Place, *, voids: bool = False) -> Child:
    """Put a link for each job that stands, newest first, behind their title; with ``voids`` beside each the way to void it."""
    standing = [line for line in lines if line.superseded_by is None and not line.void]
    if not standing:
        return None
    items = [
        html.Li(
            [
                html.Link(
                    say(
                        "asset.amend.line",
                        day=day(line.job.performed_at.astimezone(ZoneInfo(zone)).date()),
                        entry=line.entry,
                        reason=say(f"reason.{line.job.reason.value}"),
                    ),
                    href=place.to(RECORD, amend=line.entry),
                ),
                *(_void_it(line.entry, place) if voids else ()),
            ]
        )
        for line in standing
    ]
    return html.Details([html.Summary(say("asset.amend.title")), html.Ul(items, className="links")])


def amended_part(lines: Sequence[JobLine], display: Display, zone: str) -> Child:
    """Put each amendment with what it changed; nothing where nothing was amended.

    Parameters
    ----------
    lines : sequence of JobLine
        Every version of every job of a machine. [as stored]
    display : Display
        Units to show. [unitless]
    zone : str
        IANA name of the site's zone. [unitless]
    """
    by_entry = {line.entry: line for line in lines}
    pairs = [(by_entry[line.supersedes], line) for line in lines if line.supersedes in by_entry]
    if not pairs:
        return None
    blocks: list[Child] = []
    for old, new in sorted(pairs, key=lambda pair: -pair[1].entry):
        why = say(
            "asset.amended.why",
            entry=new.entry,
            by=new.author,
            at=moment(new.recorded_at, zone),
            old=old.entry,
            old_by=old.author,
            why=new.why_amended or DASH,
        )
        changed = told_versions(old, new, display)
        caption = say("asset.amended.caption", old=old.entry, old_by=old.author, entry=new.entry, by=new.author)
        marked = marked_by(old, new)
        tail = differences_table(changed, caption) or (None if marked else note(say("asset.amended.texts")))
        blocks.append(html.Div([html.P(why), note(marked) if marked else None, tail]))
    title = say("asset.amended.title", n=len(blocks))
    return html.Section([html.H2(title), html.Div(blocks, className="amended")], className="part wide")
