"""The last visit in numbers: what was found and left, what is wanted, and the limit for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.views.record_names import four_text
from dashboard.words import say
from dashboard.writing import DASH, day
from models.intake.fields import FEET
from models.maths.limits import flex_angles
from models.units import Display, Quantity
from models.values.job import COMPONENTS, FeetValues, Misalignment
from models.values.kinds import Coupling
from models.values.story import AssetStory, JobLine


@dataclass(frozen=True, slots=True)
class LastRow:
    """One component of the last visit, written in the unit that is shown; ``name`` holds the unit."""

    name: str
    found: str
    left: str
    target: str
    limit: str


@dataclass(frozen=True, slots=True)
class LastVisit:
    """The last visit that stands: when and by whom, its numbers, and the rises of the feet in a sentence."""

    line: JobLine
    when: str
    rows: tuple[LastRow, ...]
    soft: tuple[str, ...]


def build_last(story: AssetStory, display: Display) -> LastVisit | None:
    """Give the last visit; ``None`` where the machine has none.

    Parameters
    ----------
    story : AssetStory
        Everything about the machine. [unitless]
    display : Display
        Units to show. [unitless]
    """
    if not story.standing:
        return None
    line = story.standing[-1]
    job, limits = line.job, line.limits
    on = day(job.performed_at.astimezone(ZoneInfo(story.site.zone)).date())
    said = [on, say(f"reason.{job.reason.value}"), ", ".join(job.people), job.instrument]
    rows = [
        _row(
            f"component.{name}", Quantity.ANGULARITY if place % 2 else Quantity.OFFSET, display,
            (_of(job.found, place), _of(job.left, place), _of(job.target, place)), limits.angle_mm_m if place % 2 else limits.offset_mm,
        )
        for place, name in enumerate(COMPONENTS)
    ]  # fmt: skip
    if story.asset.coupling is Coupling.SPACER and story.asset.span_mm:
        ends = [_flex(one, story.asset.span_mm) for one in (job.found, job.left, job.target)]
        rows += [
            _row(f"asset.flex.{place}", Quantity.ANGULARITY, display, (ends[0][place], ends[1][place], ends[2][place]), limits.flex_mm_m)
            for place in range(4)
        ]  # fmt: skip
    return LastVisit(line, " · ".join(part for part in said if part), tuple(rows), tuple(_soft(story, display)))


def left_text(lines: Sequence[JobLine], zone: str, display: Display) -> str:
    """Write what was left at the last visit; where that was not measured, what was left when it last was, and on which day.

    Parameters
    ----------
    lines : sequence of JobLine
        The jobs that count, in order of time; at least one. [unitless]
    zone : str
        IANA name of the site's zone. [unitless]
    display : Display
        Units to show. [unitless]
    """
    for line in reversed(lines):
        if line.job.left is not None:
            four = four_text(line.job.left, display)
            on = day(line.job.performed_at.astimezone(ZoneInfo(zone)).date())
            return four if line is lines[-1] else say("fact.left_before", day=on, left=four)
    return say("fact.not_measured")


def _of(values: Misalignment | None, place: int) -> float | None:
    return None if values is None else values.as_tuple()[place]


def _flex(values: Misalignment | None, span_mm: float) -> tuple[float | None, ...]:
    if values is None:
        return (None,) * 4
    return tuple(flex_angles(np.array([values.as_tuple()]), np.array([span_mm]))[0].tolist())


def _row(
    key: str,
    quantity: Quantity,
    display: Display,
    three: tuple[float | None, float | None, float | None],
    limit: float | None,
) -> LastRow:
    found, left, target = (
        DASH if value is None else display.text(value, quantity, signed=True, with_unit=False) for value in three
    )
    name = say("figure.panel.title", title=say(key), unit=display.unit(quantity))
    return LastRow(name, found, left, target, DASH if limit is None else display.text(limit, quantity, with_unit=False))


def _soft(story: AssetStory, display: Display) -> list[str]:
    """Give the rises foot by foot of the last visit that measured any, before the work and after it."""
    measured = [line for line in story.standing if line.job.soft_before or line.job.soft_after]
    if not measured:
        return []
    line = measured[-1]
    on = day(line.job.performed_at.astimezone(ZoneInfo(story.site.zone)).date())
    stages: tuple[tuple[str, FeetValues], ...] = (
        ("asset.last.soft_before", line.job.soft_before),
        ("asset.last.soft_after", line.job.soft_after),
    )
    return [
        say(key, on=on, unit=display.unit(Quantity.OFFSET), feet=_feet(feet, display)) for key, feet in stages if feet
    ]


def _feet(feet: FeetValues, display: Display) -> str:
    return " · ".join(
        f"{FEET[place] if place < len(FEET) else place + 1} {display.text(value, Quantity.OFFSET, with_unit=False)}"
        for place, value in enumerate(feet.values)
        if value is not None
    )
