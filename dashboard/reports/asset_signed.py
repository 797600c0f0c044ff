"""Sign-offs on paper: who signed which version of a job, and whether that is still what stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboard.words import say
from dashboard.writing import DASH, count, moment
from models.values.story import AssetStory, JobLine, Signoff

HEADS = (
    ("report.asset.signed_entry", "0.8", "right"), ("report.asset.signed_by", "1.4", "left"), ("entry.field.meaning", "1.1", "left"),
    ("report.asset.signed_at", "1.3", "left"), ("report.asset.signed_holds", "1.7", "left"), ("report.asset.signed_says", "2.2", "left"),
    ("grid.entry", "0.7", "right"),
)  # fmt: skip
"""Columns of the table: key of the name, width, side."""


def sign_offs(story: AssetStory) -> dict[str, Any]:
    """Give the table of all sign-offs of a machine, each with whether what it signs still stands.

    Parameters
    ----------
    story : AssetStory
        The machine. [as stored]
    """
    by_entry = {line.entry: line for line in story.jobs}
    rows = [
        [
            count(one.signed_entry),
            one.by,
            say(f"meaning.{one.meaning.value}"),
            moment(one.at, story.site.zone),
            _holds(by_entry.get(one.signed_entry), by_entry),
            one.remark or DASH,
            count(one.entry),
        ]
        for one in story.signoffs
    ]
    return {
        "title": say("report.asset.sign_offs"),
        "heads": [(say(key), width, side) for key, width, side in HEADS],
        "rows": rows,
        "none": say("report.asset.no_sign_offs"),
        "note": say("report.asset.sign_offs_note") if rows else "",
    }


def signed_standing(story: AssetStory) -> int:
    """Count the jobs that stand and bear a sign-off as they stand.

    Parameters
    ----------
    story : AssetStory
        The machine. [as stored]
    """
    signed = {one.signed_entry for one in story.signoffs}
    return sum(line.entry in signed for line in story.standing)


def signed_words(line: JobLine, story: AssetStory) -> str:
    """Say who signed a version of a job; of one that nobody signed, whether an earlier version was.

    Parameters
    ----------
    line : JobLine
        The version. [as stored]
    story : AssetStory
        The machine. [as stored]
    """
    by_entry = {one.entry: one for one in story.jobs}
    mine = [one for one in story.signoffs if one.signed_entry == line.entry]
    if mine:
        told = "; ".join(_one(one, story.site.zone) for one in mine)
        if line.superseded_by is None:
            return say("report.job.signed", by=told)
        return say("report.job.signed.before", by=told, later=_later(line, by_entry))
    if line.void or not story.signoffs:  # that there is none at all stands with the sign-offs
        return ""
    signed = {one.signed_entry for one in story.signoffs}
    before = [count(one.entry) for one in _earlier(line, by_entry) if one.entry in signed]
    if before:
        return say("report.job.unsigned.before", entries=", ".join(before))
    return say("report.job.unsigned")


def _one(one: Signoff, zone: str) -> str:
    return say(
        "report.job.signed.one", by=one.by, meaning=say(f"meaning.{one.meaning.value}"), at=moment(one.at, zone), entry=count(one.entry)
    )  # fmt: skip


def _earlier(line: JobLine, by_entry: Mapping[int, JobLine]) -> Sequence[JobLine]:
    """Give the versions before one, the newest first."""
    found, before = [], by_entry.get(line.supersedes or 0)
    while before is not None:
        found.append(before)
        before = by_entry.get(before.supersedes or 0)
    return found


def _holds(line: JobLine | None, by_entry: Mapping[int, JobLine]) -> str:
    if line is None or line.superseded_by is None:
        return say("report.asset.signed_holds.yes")
    return say("report.asset.signed_holds.no", later=_later(line, by_entry))


def _later(line: JobLine, by_entry: Mapping[int, JobLine]) -> str:
    """Say what took the place of a version."""
    later = by_entry.get(line.superseded_by or 0)
    key = "report.asset.voided" if later is not None and later.void else "report.asset.replaced"
    return say(key, entry=count(line.superseded_by or 0))
