"""The two shafts of one job, as found and as left, from the side and from above."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal
from zoneinfo import ZoneInfo

from dashboard.views.asset_choices import described_on
from dashboard.words import say
from models.units import Display, Quantity
from models.values.job import FeetValues, Misalignment
from models.values.kinds import Coupling
from models.values.story import AssetStory, JobLine

Stage = Literal["found", "left"]


@dataclass(frozen=True, slots=True)
class Drawn:
    """One picture: stage, side or top view, what to draw, and that in a sentence.

    ``measured`` and ``target`` are offset [mm] and angularity [mm/m] in this view;
    ``moves`` are place [mm], move [mm] and its text for each row of feet that was moved.
    """

    stage: Stage
    vertical: bool
    measured: tuple[float, float]
    target: tuple[float, float]
    feet_movable_mm: tuple[float, ...]
    feet_stationary_mm: tuple[float, ...]
    span_mm: float | None
    moves: tuple[tuple[float, float, str], ...]
    says: str


@dataclass(frozen=True, slots=True)
class ShaftsView:
    """The job that is drawn, its pictures, and the days of all jobs with their entries, newest first."""

    line: JobLine
    on: date
    drawn: tuple[Drawn, ...]
    jobs: tuple[tuple[int, date], ...]
    missing: tuple[Stage, ...]


def build_shafts(story: AssetStory, line: JobLine, display: Display) -> ShaftsView:
    """Lay the shafts of a job out, with the machine as it was described on that day.

    Parameters
    ----------
    story : AssetStory
        Everything about the machine. [unitless]
    line : JobLine
        The job. [unitless]
    display : Display
        Units of the numbers. [unitless]
    """
    zone = ZoneInfo(story.site.zone)
    on = line.job.performed_at.astimezone(zone).date()
    asset = described_on(story.versions, on)
    span = asset.span_mm if asset.coupling is Coupling.SPACER else None
    drawn, missing = [], []
    stages: tuple[tuple[Stage, Misalignment | None], ...] = (("found", line.job.found), ("left", line.job.left))
    for stage, measured in stages:
        if measured is None:
            missing.append(stage)
            continue
        target = line.job.target
        for vertical in (True, False):
            lines = (
                ((measured.offset_v, measured.angle_v), (target.offset_v, target.angle_v))
                if vertical
                else ((measured.offset_h, measured.angle_h), (target.offset_h, target.angle_h))
            )
            feet = line.job.moves_v if vertical else line.job.moves_h
            moves = _moves(feet, asset.feet_movable_mm, display, vertical=vertical) if stage == "found" else ()
            drawn.append(
                Drawn(
                    stage, vertical, *lines, asset.feet_movable_mm, asset.feet_stationary_mm, span, moves,
                    _says(stage, lines[0], display, vertical=vertical),
                )
            )  # fmt: skip
    newest = sorted(story.standing, key=lambda one: (one.job.performed_at, one.entry), reverse=True)
    return ShaftsView(
        line=line,
        on=on,
        drawn=tuple(drawn),
        jobs=tuple((one.entry, one.job.performed_at.astimezone(zone).date()) for one in newest),
        missing=tuple(missing),
    )


def _moves(
    feet: FeetValues, rows_mm: Sequence[float], display: Display, *, vertical: bool
) -> tuple[tuple[float, float, str], ...]:
    """Give the move of each row of feet: the mean of its left and its right foot."""
    moves = []
    for row, x_mm in enumerate(rows_mm):
        known = [value for value in feet.values[2 * row : 2 * row + 2] if value is not None]
        if not known:
            continue
        mean = sum(known) / len(known)
        if display.text(abs(mean), Quantity.OFFSET) == display.text(0.0, Quantity.OFFSET):
            continue
        way = ("in", "out") if vertical else ("right", "left")
        size = display.text(abs(mean), Quantity.OFFSET)
        moves.append((x_mm, mean, say(f"asset.moved.{way[0] if mean >= 0 else way[1]}", size=size)))
    return tuple(moves)


def _says(stage: Stage, measured: tuple[float, float], display: Display, *, vertical: bool) -> str:
    return say(
        "asset.shafts.says.side" if vertical else "asset.shafts.says.top",
        stage=say(f"word.{stage}"),
        offset=display.text(measured[0], Quantity.OFFSET, signed=True),
        angle=display.text(measured[1], Quantity.ANGULARITY, signed=True),
    )
