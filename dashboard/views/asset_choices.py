"""What a reader may choose on the page of a machine: the accepted risk, the job that is drawn, the limits to judge by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.place import Place, Read, shortened
from dashboard.words import say
from dashboard.writing import count, day
from models.history.columns import FloatArray
from models.maths.judged import limits_for
from models.maths.limits import limit_ratio
from models.values.asset import Asset
from models.values.decision import NO_DECISIONS
from models.values.description import version_on
from models.values.job import Misalignment
from models.values.kinds import Coupling
from models.values.limits import LimitSet, LimitsGiven
from models.values.story import AssetStory, AssetVersion, JobLine, JudgedAs

RISKS = (5, 10, 20)
"""Accepted probabilities of being over limit that can be chosen. [%]"""

DEFAULT_RISK = 10

THEN, TODAY = "then", "today"
"""Limits of the day of each job, and those in force today; any other choice is the entry that adopted a version."""


class Adopted(Protocol):
    """A version of a limit set with the entry that adopted it."""

    @property
    def entry(self) -> int:
        """Give the number of the entry."""

    @property
    def limit_set(self) -> LimitSet:
        """Give the version."""


@dataclass(frozen=True, slots=True)
class Judging:
    """By which limits the page judges; ``limit_set`` is ``None`` for those of the day of each job.

    ``options`` are code and text of every choice.
    """

    code: str
    limit_set: LimitSet | None
    options: tuple[tuple[str, str], ...]
    problem: str = ""


def read_risk(place: Place) -> Read[int]:
    """Give the accepted risk in per cent that was asked for, e.g. ``risk=5``; ten where none was."""
    asked = place.get("risk")
    if not asked:
        return Read(DEFAULT_RISK)
    for risk in RISKS:
        if asked == str(risk):
            return Read(risk)
    return Read(DEFAULT_RISK, say("asset.problem.risk", asked=shortened(asked), used=DEFAULT_RISK))


def read_job(place: Place, lines: Sequence[JobLine]) -> Read[JobLine | None]:
    """Give the job that was asked for by its entry, e.g. ``job=2125``; the last that stands where none was."""
    standing = [line for line in lines if line.superseded_by is None and not line.void]
    last = max(standing, key=lambda line: (line.job.performed_at, line.entry), default=None)
    asked = place.get("job")
    if not asked:
        return Read(last)
    for line in lines:
        if asked == str(line.entry):
            return Read(line)
    return Read(last, say("asset.problem.job", asked=shortened(asked)))


def read_limits(place: Place, adopted: Sequence[Adopted], today: LimitSet | None) -> Judging:
    """Give the limits that were asked for, e.g. ``limits=today`` or ``limits=2``; those of each day where none were.

    Parameters
    ----------
    place : Place
        The address. [unitless]
    adopted : sequence of Adopted
        Every version of every set. [unitless]
    today : LimitSet or None
        The version in force today. [unitless]
    """
    options = [(THEN, say("asset.limits.then"))]
    if today is not None:
        options.append((TODAY, say("asset.limits.today", name=named(today))))
    options += [(str(one.entry), named(one.limit_set)) for one in adopted if one.limit_set != today]
    asked = place.get("limits")
    if not asked or asked == THEN:
        return Judging(THEN, None, tuple(options))
    if asked == TODAY and today is not None:
        return Judging(TODAY, today, tuple(options))
    for one in adopted:
        if asked == str(one.entry):
            return Judging(TODAY if one.limit_set == today else asked, one.limit_set, tuple(options))
    return Judging(THEN, None, tuple(options), say("asset.problem.limits", asked=shortened(asked)))


def named(limit_set: LimitSet) -> str:
    """Write a version of a limit set, e.g. ``'starter, version 1'``."""
    return say("asset.limits.name", name=limit_set.name, version=limit_set.version)


def banner(before: AssetStory, after: AssetStory, judging: Judging) -> str:
    """Say plainly that the verdicts of the page are not those of the book, and how many differ; empty where they are.

    Parameters
    ----------
    before, after : AssetStory
        As the book judged it, and as the page does. [unitless]
    judging : Judging
        The choice. [unitless]
    """
    limit_set = judging.limit_set
    if limit_set is None:
        return ""
    changed, judged = 0, 0
    for old, new in zip(before.standing, after.standing, strict=True):
        for was, now in ((old.found_ratio, new.found_ratio), (old.left_ratio, new.left_ratio)):
            judged += was is not None or now is not None
            changed += (was is None) != (now is None) or (
                was is not None and now is not None and (was > 1) != (now > 1)
            )
    told = say(
        "asset.limits.banner", name=named(limit_set), by=limit_set.adopted_by or say("limits.nobody"), on=day(limit_set.adopted_on),
        source=limit_set.source.rstrip("."), changed=count(changed), n=count(judged),
    )  # fmt: skip
    return f"{told} {say('decision.again')}" if any(one.decisions != NO_DECISIONS for one in before.standing) else told


def judged_again(story: AssetStory, limit_set: LimitSet | None) -> AssetStory:
    """Judge every job of a machine by another limit set, with the speed and coupling that stand with the job, as Limits does.

    Parameters
    ----------
    story : AssetStory
        As the book holds it. [unitless]
    limit_set : LimitSet or None
        The other set; ``None`` leaves the story as it is. [unitless]
    """
    if limit_set is None or not story.jobs:
        return story
    zone = ZoneInfo(story.site.zone)
    machines = [line.judged_as or _described(story, line, zone) for line in story.jobs]
    given = [limits_for(limit_set, one.coupling, one.speed_rpm) for one in machines]
    limits = np.array([limits_row(one) for one in given], dtype=np.float64)
    each = np.array([one.each_axis for one in given], dtype=np.bool_)
    spans = [one.span_mm if one.coupling is Coupling.SPACER else None for one in machines]
    span = np.array([span or np.nan for span in spans], dtype=np.float64)
    target = np.array([line.job.target.as_tuple() for line in story.jobs], dtype=np.float64)
    found, left = (
        limit_ratio(_four([getattr(line.job, stage) for line in story.jobs]) - target, limits, each, span).tolist()
        for stage in ("found", "left")
    )
    lines = tuple(
        replace(
            line,
            limits=one,
            limit_set=named(limit_set),
            found_ratio=_known(f),
            left_ratio=_known(x),
            decisions=NO_DECISIONS,
        )
        for line, one, f, x in zip(story.jobs, given, found, left, strict=True)
    )
    return replace(story, jobs=lines)


def _described(story: AssetStory, line: JobLine, zone: ZoneInfo) -> JudgedAs:
    asset = described_on(story.versions, line.job.performed_at.astimezone(zone).date())
    return JudgedAs(asset.coupling, asset.limit_speed_rpm, asset.span_mm)


def limits_row(given: LimitsGiven) -> tuple[float, float, float, float]:
    """Give limits as a row of the columns: offset, angularity, flex angle, soft foot; NaN where not judged."""
    values = (given.offset_mm, given.angle_mm_m, given.flex_mm_m, given.soft_foot_mm)
    a, b, c, d = (float("nan") if value is None else value for value in values)
    return a, b, c, d


def described_on(versions: Sequence[AssetVersion], on: date) -> Asset:
    """Give the description that held on a day, by the rule by which the book judges."""
    return version_on([version.asset for version in versions], on)


def _four(values: Sequence[Misalignment | None]) -> FloatArray:
    return np.array([(np.nan,) * 4 if one is None else one.as_tuple() for one in values], dtype=np.float64)


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value
