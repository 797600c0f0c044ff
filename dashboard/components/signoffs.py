"""Signatures under jobs: who looked at which, what that means, and the way to sign."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from zoneinfo import ZoneInfo

from dashboard.components import elements as html
from dashboard.components.pieces import Child, note, section
from dashboard.components.tables import Column, table
from dashboard.place import Place
from dashboard.words import say
from dashboard.writing import count, day, moment
from models.values.story import JobLine, Signoff

LISTED = 10
"""How many jobs the list of a machine's page holds, the newest first."""


def sign_path(entry: int, place: Place) -> str:
    """Write the address at which a job is signed off."""
    return place.to(f"/sign/{entry}")


def signed_by(signoffs: Sequence[Signoff], entry: int, zone: str) -> str:
    """Write who signed an entry, as what and when; empty where nobody did."""
    return "; ".join(
        say("sign.by", person=one.by, meaning=say(f"meaning.{one.meaning.value}"), at=moment(one.at, zone))
        for one in signoffs
        if one.signed_entry == entry
    )


def signoffs_part(
    lines: Sequence[JobLine],
    signoffs: Sequence[Signoff],
    place: Place,
    zone: str,
    *,
    may_sign: bool,
    own: Collection[int] = (),
) -> html.Section:
    """Put the newest jobs of a machine with their signatures, and the way to sign.

    Parameters
    ----------
    lines : sequence of JobLine
        Jobs that stand, in order of time. [unitless]
    signoffs : sequence of Signoff
        Signatures under any of their versions. [unitless]
    place : Place
        The address. [unitless]
    zone : str
        The site's zone. [unitless]
    may_sign : bool
        Whether who looks at the page may sign at all. [unitless]
    own : collection of int
        Entries of jobs that are their own work: those they cannot sign. [unitless]
    """
    columns = [
        Column(say("record.ref")),
        Column(say("column.day"), number=True),
        Column(say("sign.column.recorded")),
        Column(say("sign.column.signed")),
        *([Column(say("sign.column.way"))] if may_sign else []),
    ]
    newest = list(lines)[::-1][:LISTED]
    rows = [
        [
            line.job.ref,
            day(line.job.performed_at.astimezone(ZoneInfo(zone)).date()),
            say("sign.recorded", person=line.author, entry=count(line.entry)),
            signed_by(signoffs, line.entry, zone) or html.Strong(say("sign.nobody")),
            *([_way(line.entry, place, own)] if may_sign else []),
        ]
        for line in newest
    ]
    parts: list[Child] = [table(say("sign.caption"), columns, rows)] if rows else []
    return section(say("sign.title"), *parts, note(say("sign.note")))


def _way(entry: int, place: Place, own: Collection[int]) -> Child:
    """Put the way to sign a job, or that it is their own work."""
    return say("sign.own") if entry in own else html.A(say("sign.link"), href=sign_path(entry, place), className="act")


def entry_signoffs(
    signoffs: Sequence[Signoff], entry: int, place: Place, zone: str, *, may_sign: bool, own: Collection[int] = ()
) -> html.Section:
    """Put the signatures under one entry, and the way to sign it; what is one's own work is not signed."""
    held = [one for one in signoffs if one.signed_entry == entry]
    rows = [
        [
            one.by,
            say(f"meaning.{one.meaning.value}"),
            moment(one.at, zone),
            html.A(count(one.entry), href=place.to(f"/book/{one.entry}")),
            one.remark,
        ]
        for one in held
    ]
    columns = [Column(say(f"sign.column.{name}")) for name in ("person", "meaning", "at", "entry", "remark")]
    parts: list[Child] = [table(say("sign.entry.caption"), columns, rows)] if rows else [note(say("sign.entry.none"))]
    if may_sign:
        parts.append(html.P(_way(entry, place, own)))
    return section(say("sign.title"), *parts)
