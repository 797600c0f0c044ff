"""What the Asset page shows: the history of one machine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import pairwise
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.views.run_series import RunSeries, Times, run_series
from dashboard.words import say
from dashboard.writing import DASH, counted, day, ratio, speed_class, verdict
from models.history.columns import SPEED_BOUNDS_RPM, BoolArray, FloatArray, speed_class_of
from models.intake.fields import FEET
from models.maths.limits import flex_angles
from models.units import Display, Quantity
from models.values.asset import Asset, MachineBreak
from models.values.job import COMPONENTS, FeetValues, Misalignment
from models.values.kinds import Coupling, Reason
from models.values.story import AssetStory, JobLine

QUANTITIES = (Quantity.OFFSET, Quantity.ANGULARITY, Quantity.OFFSET, Quantity.ANGULARITY)
"""What each of the four components measures."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A replacement or an amendment on the time axis."""

    at: datetime
    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Panel:
    """One small picture: a quantity over time, in the unit that is shown.

    ``target``, ``low`` and ``high`` are (n,), the target and the limits around it
    that were in force at each visit; NaN where there is none.
    """

    key: str
    title: str
    unit: str
    decimals: int
    series: RunSeries
    target: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True)
class Described:
    """One description of the machine, as the book holds it."""

    since: str
    author: str
    coupling: str
    speed: str
    feet: str


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
    zone: str = "UTC"
    amended: tuple[Mark, ...] = ()


def missing(tag: str, display: Display) -> AssetView:
    """Give the page of a tag that the site does not have."""
    return AssetView(
        "empty", tag, display, tag, say("asset.unknown", tag=tag), (), None, (), (), (), (), (), (), (), ()
    )


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
    ratios = run_series(times, _ratios(jobs, "found_ratio"), _ratios(jobs, "left_ratio"), joined)
    feet = _feet_panels(story, display, times, found - target, left - target, joined)
    spacer = story.asset.coupling is Coupling.SPACER
    return AssetView(
        state="ok" if jobs else "too_few",
        tag=story.asset.tag,
        display=display,
        title=" · ".join(text for text in (story.asset.tag, story.asset.description) if text),
        sentence=_sentence(jobs, zone),
        facts=_facts(story, jobs, display, zone),
        ratio=ratios if jobs and not ratios.empty else None,
        who=tuple(_who(line) for line in jobs),
        marks=tuple(_mark(one) for one in story.breaks),
        components=_component_panels(jobs, display, times, found, left, target, joined),
        feet=feet,
        soft_foot=_soft_panels(jobs, display, times, joined),
        flex=_flex_panels(story, display, times, found - target, left - target, joined) if spacer else (),
        versions=_versions(story, display),
        lines=tuple(sorted(story.jobs, key=lambda line: (line.job.performed_at, line.entry), reverse=True)),
        feet_note=say("asset.feet.note") if feet else say("asset.feet.unknown"),
        component_note=say("asset.components.spacer") if spacer else say("asset.components.note"),
        limit_note=_limit_note(jobs, display),
        zone=story.site.zone,
        amended=tuple(_amended(line, zone) for line in jobs if line.supersedes is not None),
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
    """Tell between which neighbours nothing was replaced: the same rule as ``models.history.runs``."""
    at = [datetime.combine(one.on, time(), tzinfo=zone).astimezone(UTC) for one in breaks]
    joined = [
        end.job.reason is not Reason.INSTALLATION
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


def _who(line: JobLine) -> str:
    job = line.job
    said = [job.ref, say(f"reason.{job.reason.value}"), ", ".join(job.people), job.instrument]
    return " · ".join(part for part in said if part)


def _shown(values: FloatArray, display: Display, quantity: Quantity) -> FloatArray:
    # Every unit here is a factor of the stored one, so one converted 1 converts an array.
    return values * display.show(1.0, quantity)


def _panel(
    key: str, title: str, quantity: Quantity, display: Display, series: tuple[Times, FloatArray, FloatArray, BoolArray],
    target: FloatArray, limit: FloatArray,
) -> Panel:  # fmt: skip
    times, found, left, joined = series
    shown: Callable[[FloatArray], FloatArray] = lambda values: _shown(values, display, quantity)  # noqa: E731
    return Panel(
        key,
        title,
        display.unit(quantity),
        display.decimals(quantity),
        run_series(times, shown(found), shown(left), joined),
        shown(target),
        shown(target - limit),
        shown(target + limit),
    )


def _component_panels(
    jobs: Sequence[JobLine],
    display: Display,
    times: Times,
    found: FloatArray,
    left: FloatArray,
    target: FloatArray,
    joined: BoolArray,
) -> tuple[Panel, ...]:
    def limits(index: int) -> FloatArray:
        name = "offset_mm" if index in (0, 2) else "angle_mm_m"
        given = [getattr(line.limits, name) for line in jobs]
        return np.array([np.nan if value is None else value for value in given], dtype=np.float64)

    return tuple(
        _panel(
            name,
            say(f"component.{name}"),
            QUANTITIES[index],
            display,
            (times, found[:, index], left[:, index], joined),
            target[:, index],
            limits(index),
        )
        for index, name in enumerate(COMPONENTS)
    )


def _feet_panels(
    story: AssetStory, display: Display, times: Times, found: FloatArray, left: FloatArray, joined: BoolArray
) -> tuple[Panel, ...]:
    """Give the height and side of each row of feet: y(x) = offset + angularity · x, of the deviation from target."""
    none = np.full(len(times), np.nan)
    panels = []
    for row, x_mm in enumerate(story.asset.feet_movable_mm, start=1):
        for axis, first in (("v", 0), ("h", 2)):
            x_m = x_mm / 1000.0
            found_y, left_y = (values[:, first] + values[:, first + 1] * x_m for values in (found, left))
            title = say(f"asset.feet.{axis}", row=row, x=display.text(x_mm, Quantity.DISTANCE))
            panels.append(
                _panel(
                    f"feet-{row}{axis}",
                    title,
                    Quantity.OFFSET,
                    display,
                    (times, found_y, left_y, joined),
                    np.zeros(len(times)),
                    none,
                )
            )
    return tuple(panels)


def _flex_panels(
    story: AssetStory, display: Display, times: Times, found: FloatArray, left: FloatArray, joined: BoolArray
) -> tuple[Panel, ...]:
    """Give the angle at each end of a spacer, vertical and horizontal, of the deviation from target."""
    span = np.full(len(times), story.asset.span_mm or np.nan)
    ends = flex_angles(found, span), flex_angles(left, span)
    given = [line.limits.flex_mm_m for line in story.standing]
    limit = np.array([np.nan if value is None else value for value in given], dtype=np.float64)
    return tuple(
        _panel(
            f"flex-{index}",
            say(f"asset.flex.{index}"),
            Quantity.ANGULARITY,
            display,
            (times, ends[0][:, index], ends[1][:, index], joined),
            np.zeros(len(times)),
            limit,
        )
        for index in range(4)
    )


def _versions(story: AssetStory, display: Display) -> tuple[Described, ...]:
    """Give the descriptions of the machine, the newest first."""
    return tuple(
        Described(
            since=day(one.asset.valid_from) if one.asset.valid_from else DASH,
            author=one.author,
            coupling=_coupling(one.asset, display),
            speed=display.text(one.asset.limit_speed_rpm, Quantity.SPEED),
            feet=_distances(one.asset.feet_movable_mm, display),
        )
        for one in reversed(story.versions)
    )


def _coupling(asset: Asset, display: Display) -> str:
    coupling = say(f"coupling.{asset.coupling.value}")
    return (
        say("asset.coupling.span", coupling=coupling, span=display.text(asset.span_mm, Quantity.DISTANCE))
        if asset.span_mm
        else coupling
    )


def _soft_panels(jobs: Sequence[JobLine], display: Display, times: Times, joined: BoolArray) -> tuple[Panel, ...]:
    width = max((len(feet.values) for line in jobs for feet in (line.job.soft_before, line.job.soft_after)), default=0)
    none = np.full(len(times), np.nan)

    def rises(feet: FeetValues, foot: int) -> float:
        value = feet.values[foot] if foot < len(feet.values) else None
        return float("nan") if value is None else value

    panels = []
    for foot in range(width):
        before = np.array([rises(line.job.soft_before, foot) for line in jobs], dtype=np.float64)
        after = np.array([rises(line.job.soft_after, foot) for line in jobs], dtype=np.float64)
        name = FEET[foot] if foot < len(FEET) else str(foot + 1)
        panels.append(
            _panel(
                f"soft-{name}",
                say("asset.soft.foot", foot=name),
                Quantity.OFFSET,
                display,
                (times, before, after, joined),
                none,
                none,
            )
        )
    return tuple(panel for panel in panels if not panel.series.empty)


def _sentence(jobs: Sequence[JobLine], zone: ZoneInfo) -> str:
    if not jobs:
        return say("asset.sentence.none")
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
        parts.append(say("asset.sentence.left", on=on, ratio=ratio(last.left_ratio), verdict=verdict(last.left_ratio)))
    else:
        parts.append(say("asset.sentence.not_left", on=on))
    return " ".join(parts)


def _limit_note(jobs: Sequence[JobLine], display: Display) -> str:
    if not jobs:
        return ""
    given = jobs[-1].limits
    pairs = (
        ("limit.offset", given.offset_mm, Quantity.OFFSET),
        ("limit.angle", given.angle_mm_m, Quantity.ANGULARITY),
        ("limit.flex", given.flex_mm_m, Quantity.ANGULARITY),
        ("limit.soft", given.soft_foot_mm, Quantity.OFFSET),
    )
    texts = [say(key, value=display.text(value, quantity)) for key, value, quantity in pairs if value is not None]
    if not texts:
        return say("asset.limits.none")
    how = say("limit.each") if given.each_axis else say("limit.resultant")
    return say("asset.limits", limits=", ".join(texts), how=how, name=jobs[-1].limit_set)


def _facts(story: AssetStory, jobs: Sequence[JobLine], display: Display, zone: ZoneInfo) -> tuple[tuple[str, str], ...]:
    asset = story.asset
    speed = display.text(asset.speed_rpm, Quantity.SPEED)
    if asset.speed_max_rpm:
        speed = say("asset.speed.upto", speed=speed, most=display.text(asset.speed_max_rpm, Quantity.SPEED))
    if asset.limit_speed_rpm:
        index = int(speed_class_of(np.array([asset.limit_speed_rpm]))[0])
        speed = f"{speed} ({speed_class(index, SPEED_BOUNDS_RPM)})"
    feet = _distances(asset.feet_movable_mm, display)
    still = _distances(tuple(-x for x in asset.feet_stationary_mm), display)
    last = jobs[-1] if jobs else None
    facts: list[tuple[str, str]] = [
        (say("fact.where"), ", ".join(part for part in (story.site.name, asset.area) if part)),
        (say("fact.train"), asset.train),
        (
            say("fact.machines"),
            say("fact.drives", driver=asset.driver, driven=asset.driven)
            if asset.driver and asset.driven
            else asset.driven or asset.driver,
        ),
        (say("fact.coupling"), _coupling(asset, display)),
        (say("fact.speed"), speed),
        (say("fact.power"), display.text(asset.power_kw, Quantity.POWER) if asset.power_kw else ""),
        (say("fact.criticality"), asset.criticality),
        (say("fact.feet_movable"), feet),
        (say("fact.feet_stationary"), still),
        (say("fact.commissioned"), day(asset.commissioned) if asset.commissioned else ""),
        (say("fact.retired"), day(asset.retired) if asset.retired else ""),
    ]
    if last is not None:
        facts += [
            (say("fact.last_visit"), day(last.job.performed_at.astimezone(zone).date())),
            (say("fact.last_left"), _four_text(last.job.left, display) if last.job.left else say("fact.not_measured")),
            (
                say("fact.target"),
                _four_text(last.job.target, display) if any(last.job.target.as_tuple()) else say("fact.no_target"),
            ),
        ]
    return tuple((name, value) for name, value in facts if value)


def _distances(distances_mm: Sequence[float], display: Display) -> str:
    texts = [display.text(x, Quantity.DISTANCE, with_unit=False) for x in distances_mm]
    return f"{' · '.join(texts)} {display.unit(Quantity.DISTANCE)}" if texts else ""


def _four_text(values: Misalignment, display: Display) -> str:
    return say(
        "fact.four",
        offset_v=display.text(values.offset_v, Quantity.OFFSET, signed=True, with_unit=False),
        offset_h=display.text(values.offset_h, Quantity.OFFSET, signed=True, with_unit=False),
        offset_unit=display.unit(Quantity.OFFSET),
        angle_v=display.text(values.angle_v, Quantity.ANGULARITY, signed=True, with_unit=False),
        angle_h=display.text(values.angle_h, Quantity.ANGULARITY, signed=True, with_unit=False),
        angle_unit=display.unit(Quantity.ANGULARITY),
    )


def last_day(line: JobLine, zone: str) -> date:
    """Give the day of a job on the site's calendar."""
    return line.job.performed_at.astimezone(ZoneInfo(zone)).date()


def who_of(story: AssetStory) -> dict[int, str]:
    """Give one text a job by its entry: reference, reason, people and instrument."""
    return {line.entry: _who(line) for line in story.jobs}


def days_of(story: AssetStory) -> dict[int, date]:
    """Give the day of each job by its entry, on the site's calendar."""
    return {line.entry: last_day(line, story.site.zone) for line in story.jobs}
