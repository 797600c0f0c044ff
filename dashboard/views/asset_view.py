"""What the Asset page shows: the history of one machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import pairwise
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.views.asset_facts import Described, described, facts_of, limit_note_of, upcoming_of
from dashboard.views.asset_panels import Panel, component_panels, feet_panels, flex_panels, soft_panels
from dashboard.views.run_series import RunSeries, Times, run_series
from dashboard.words import say
from dashboard.writing import counted, day, ratio, verdict_by
from models.history.columns import BoolArray, FloatArray
from models.units import Display
from models.values.asset import MachineBreak
from models.values.job import Misalignment
from models.values.kinds import Coupling, Reason
from models.values.story import AssetStory, JobLine, Signoff


@dataclass(frozen=True, slots=True)
class Mark:
    """A replacement, an amendment or a signature on the time axis."""

    at: datetime
    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class AssetView:
    """Everything on the page.

    ``state`` is ``'empty'`` where the site has no such tag, ``'too_few'`` where the
    machine has no job yet, else ``'ok'``.  ``who`` is one text a standing job for the pictures.
    """

    state: Literal["ok", "empty", "too_few", "error"]
    tag: str
    display: Display
    title: str
    sentence: str
    facts: tuple[tuple[str, str], ...]
    ratio: RunSeries | None
    who: tuple[str, ...]
    marks: tuple[Mark, ...]
    components: tuple[Panel, ...]
    feet: tuple[Panel, ...]
    soft_foot: tuple[Panel, ...]
    flex: tuple[Panel, ...]
    versions: tuple[Described, ...]
    lines: tuple[JobLine, ...]
    feet_note: str = ""
    component_note: str = ""
    limit_note: str = ""
    upcoming: tuple[tuple[str, str], ...] = ()
    zone: str = "UTC"
    amended: tuple[Mark, ...] = ()
    signed: tuple[Mark, ...] = ()


def missing(tag: str, display: Display) -> AssetView:
    """Give the page of a tag that the site does not have."""
    return AssetView(
        "empty", tag, display, tag, say("asset.unknown", tag=tag), (), None, (), (), (), (), (), (), (), ()
    )


@dataclass(frozen=True, slots=True)
class Past:
    """What the forecast goes on from: the limit ratio of all visits, and one text a visit; ``None`` where none was judged."""

    tag: str
    ratio: RunSeries | None
    who: tuple[str, ...]


def past_of(story: AssetStory) -> Past:
    """Give the past of a machine.

    Parameters
    ----------
    story : AssetStory
        Everything about the asset. [unitless]
    """
    zone, jobs = ZoneInfo(story.site.zone), story.standing
    ratios = run_series(
        _times(jobs, zone),
        _ratios(jobs, "found_ratio"),
        _ratios(jobs, "left_ratio"),
        _joined(jobs, story.breaks, zone),
    )
    return Past(story.asset.tag, ratios if jobs and not ratios.empty else None, tuple(_who(line) for line in jobs))


def build(story: AssetStory, display: Display) -> AssetView:
    """Compute the page.

    Parameters
    ----------
    story : AssetStory
        Everything about the asset. [unitless]
    display : Display
        The units to show. [unitless]
    """
    zone = ZoneInfo(story.site.zone)
    jobs = story.standing
    times = _times(jobs, zone)
    joined = _joined(jobs, story.breaks, zone)
    found, left = _four(jobs, "found"), _four(jobs, "left")
    target = np.array([line.job.target.as_tuple() for line in jobs], dtype=np.float64).reshape(-1, 4)
    past = past_of(story)
    feet = feet_panels(story, display, times, found - target, left - target, joined)
    spacer = story.asset.coupling is Coupling.SPACER
    return AssetView(
        state="ok" if jobs else "too_few",
        tag=story.asset.tag,
        display=display,
        title=" · ".join(text for text in (story.asset.tag, story.asset.description) if text),
        sentence=_sentence(story, zone),
        facts=facts_of(story, jobs, display, zone),
        ratio=past.ratio,
        who=past.who,
        marks=tuple(_mark(one) for one in story.breaks),
        components=component_panels(jobs, display, times, found, left, target, joined),
        feet=feet,
        soft_foot=soft_panels(jobs, display, times, joined),
        flex=flex_panels(story, display, times, found - target, left - target, joined) if spacer else (),
        upcoming=upcoming_of(story, display),
        versions=described(story, display),
        lines=tuple(sorted(story.jobs, key=lambda line: (line.job.performed_at, line.entry), reverse=True)),
        feet_note=say("asset.feet.note") if feet else say("asset.feet.unknown"),
        component_note=say("asset.components.spacer") if spacer else say("asset.components.note"),
        limit_note=limit_note_of(jobs, display),
        zone=story.site.zone,
        amended=tuple(_amended(line, zone) for line in jobs if line.supersedes is not None),
        signed=_signed(jobs, story.signoffs, zone),
    )


def _times(jobs: Sequence[JobLine], zone: ZoneInfo) -> Times:
    local = [line.job.performed_at.astimezone(zone).replace(tzinfo=None) for line in jobs]
    return np.array(local, dtype="datetime64[s]")


def _ratios(jobs: Sequence[JobLine], name: str) -> FloatArray:
    values = [getattr(line, name) for line in jobs]
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _four(jobs: Sequence[JobLine], stage: str) -> FloatArray:
    def values(line: JobLine) -> tuple[float, ...]:
        measured: Misalignment | None = getattr(line.job, stage)
        return (np.nan,) * 4 if measured is None else measured.as_tuple()

    return np.array([values(line) for line in jobs], dtype=np.float64).reshape(-1, 4)


def _joined(jobs: Sequence[JobLine], breaks: Sequence[MachineBreak], zone: ZoneInfo) -> BoolArray:
    """Tell which neighbours make a run, with time between them and nothing replaced: the same rule as ``models.history.runs``."""
    at = [datetime.combine(one.on, time(), tzinfo=zone).astimezone(UTC) for one in breaks]
    joined = [
        start.job.performed_at < end.job.performed_at
        and end.job.reason is not Reason.INSTALLATION
        and not any(start.job.performed_at < when <= end.job.performed_at for when in at)
        for start, end in pairwise(jobs)
    ]
    return np.array(joined, dtype=np.bool_)


def _mark(one: MachineBreak) -> Mark:
    return Mark(datetime.combine(one.on, time()), say("asset.break", part=say(f"part.{one.part.value}")), one.reason)


def _amended(line: JobLine, zone: ZoneInfo) -> Mark:
    """Mark a job that took the place of an earlier version, at the time of the visit itself."""
    name = say(
        "asset.mark.amended_by", entry=line.entry, by=line.author, on=day(line.recorded_at.astimezone(zone).date())
    )
    return Mark(line.job.performed_at.astimezone(zone).replace(tzinfo=None), name, line.why_amended)


def _signed(jobs: Sequence[JobLine], signoffs: Sequence[Signoff], zone: ZoneInfo) -> tuple[Mark, ...]:
    """Mark every signature under a job that stands, at the time of the visit itself."""
    at = {line.entry: line.job.performed_at.astimezone(zone).replace(tzinfo=None) for line in jobs}
    return tuple(
        Mark(
            at[one.signed_entry],
            say(
                "asset.mark.signed_by",
                by=one.by,
                meaning=say(f"meaning.{one.meaning.value}"),
                on=day(one.at.astimezone(zone).date()),
            ),
            one.remark,
        )
        for one in signoffs
        if one.signed_entry in at
    )


def _who(line: JobLine) -> str:
    job = line.job
    said = [job.ref, say(f"reason.{job.reason.value}"), ", ".join(job.people), job.instrument]
    return " · ".join(part for part in said if part)


def _sentence(story: AssetStory, zone: ZoneInfo) -> str:
    jobs = story.standing
    if not jobs and not story.jobs:
        return say("asset.sentence.none")
    if not jobs:
        key = "asset.sentence.merged" if story.merged_into else "asset.sentence.none_stands"
        return say(key, versions=counted(len(story.jobs), "version"), kept=story.merged_into)
    looked = [line.found_ratio for line in jobs if line.found_ratio is not None]
    over = sum(ratio > 1 for ratio in looked)
    last = jobs[-1]
    on = day(last.job.performed_at.astimezone(zone).date())
    parts = [
        say(
            "asset.sentence.jobs",
            jobs=counted(len(jobs), "job"),
            since=day(jobs[0].job.performed_at.astimezone(zone).date()),
        )
    ]
    parts.append(
        say("asset.sentence.found", over=over, n=counted(len(looked), "reading"))
        if looked
        else say("asset.sentence.not_found")
    )
    if last.left_ratio is not None:
        parts.append(
            say(
                "asset.sentence.left",
                on=on,
                ratio=ratio(last.left_ratio),
                verdict=verdict_by(last.left_ratio, last.decisions.left),
            )
        )
    else:
        parts.append(say("asset.sentence.not_left", on=on))
    return " ".join(parts)


def last_day(line: JobLine, zone: str) -> date:
    """Give the day of a job on the site's calendar."""
    return line.job.performed_at.astimezone(ZoneInfo(zone)).date()


def who_of(story: AssetStory) -> dict[int, str]:
    """Give one text a job by its entry: reference, reason, people and instrument."""
    return {line.entry: _who(line) for line in story.jobs}


def days_of(story: AssetStory) -> dict[int, date]:
    """Give the day of each job by its entry, on the site's calendar."""
    return {line.entry: last_day(line, story.site.zone) for line in story.jobs}
