"""One job of a machine's history on paper: numbers as typed and as converted, limits, people, checks, and where it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dashboard.reports.asset_around import Calibrated, calibration_words
from dashboard.reports.asset_signed import signed_words
from dashboard.views.asset_panels import QUANTITIES
from dashboard.views.decision_words import UNITS, limits_in_full, rests_of
from dashboard.views.limit_words import given_texts, how_taken
from dashboard.views.said_fields import fields_of
from dashboard.views.typed_fields import typed_name
from dashboard.words import say
from dashboard.writing import DASH, count, day, decisions_told, judged, judged_by, moment
from models.intake.fields import FEET
from models.maths.judged import ratio_of
from models.maths.limits import flex_angles
from models.units import Display, Quantity
from models.values.draft import stated_reasons
from models.values.job import COMPONENTS, FeetValues, Misalignment
from models.values.kinds import Coupling
from models.values.story import AssetStory, JobLine

STAGES = {"found": "report.job.found", "left": "report.job.left", "target": "report.job.target"}
"""Stages of a job, each with the key of its name."""
_FEET_FIELDS = (
    ("report.job.soft_before", "soft_before", "soft_before_"),
    ("report.job.soft_after", "soft_after", "soft_after_"),
    ("report.job.moves_v", "moves_v", "move_v_"),
    ("report.job.moves_h", "moves_h", "move_h_"),
)
LONG_TYPED, LONG_NOTES = 80, 2000
"""A job with more typed texts, or longer notes, may be cut at the end of a page."""

FEW_FEET = 4

_IN_TABLES = ("soft_before_", "soft_after_", "move_v_", "move_h_")


@dataclass(frozen=True, slots=True)
class Setting:
    """What all jobs of a paper share: the machine, the units, the calibration of each job by its entry."""

    story: AssetStory
    display: Display
    calibration: Mapping[int, Calibrated]


def job_block(line: JobLine, setting: Setting) -> dict[str, Any]:
    """Give one job as the template has it.

    Parameters
    ----------
    line : JobLine
        One version of a job. [as stored]
    setting : Setting
        What all jobs share. [unitless]
    """
    job, zone = line.job, setting.story.site.zone
    title = say(
        "report.job.title", day=day(job.performed_at.astimezone(_zone(zone)).date()), reason=say(f"reason.{job.reason.value}"),
        ref=job.ref, entry=count(line.entry),
    )  # fmt: skip
    typed, flex = _typed(line), _flex(line, setting)
    return {
        "title": title,
        "long": len(typed) > LONG_TYPED or len(job.notes) > LONG_NOTES,
        "stands": stands(line),
        "counts": line.superseded_by is None and not line.void,
        "verdict": verdicts_told(line),
        "who": _who(line, setting),
        **_components(line, setting.display, at_planes=bool(flex["rows"])),
        "flex": flex,
        "feet": _feet(line, setting.display),
        "limits": _limits(line, setting),
        "rests": _rests(line),
        "signed": signed_words(line, setting.story),
        "more": _more(line, setting.display),
        "typed": typed,
        "book": _book(line, zone),
    }


def verdicts_told(line: JobLine) -> str:
    """Say the verdicts of a job: by the ratio, and what the rule of the site decided where it did."""
    ratios = say("entry.ratio", found=judged(line.found_ratio), left=judged(line.left_ratio))
    return " ".join((ratios, *decisions_told(line.decisions)))


def stands(line: JobLine) -> str:
    """Say what became of a version of a job."""
    if line.void:
        return say("grid.void")
    if line.superseded_by is not None:
        return say("grid.superseded", entry=line.superseded_by)
    if line.supersedes is not None:
        return say("grid.amends", entry=line.supersedes, why=line.why_amended or DASH)
    return say("grid.as_recorded")


def _zone(name: str) -> Any:
    from zoneinfo import ZoneInfo

    return ZoneInfo(name)


def _who(line: JobLine, setting: Setting) -> list[tuple[str, str]]:
    pairs = dict(fields_of(line, setting.display))
    names = [say(f"entry.field.{name}") for name in ("done", "people", "reviewer", "method", "work_order")]
    told = [(name, pairs[name]) for name in names]
    return [*told, (say("entry.field.instrument"), _instrument(line, setting))]


def _instrument(line: JobLine, setting: Setting) -> str:
    if not line.job.instrument:
        return DASH
    known = setting.calibration.get(line.entry)
    return calibration_words(line.job.instrument, known, setting.story.site.zone)


def _components(line: JobLine, display: Display, *, at_planes: bool) -> dict[str, Any]:
    """Give the table of the components; where the flex planes are judged in their place, without a column of limits."""
    heads = [(say("report.job.component"), "2.2", "left")]
    for key in STAGES.values():
        stage = say(key)
        heads += [(say("report.job.typed", stage=stage), "1.1", "right"), (stage, "0.85", "right")]
    rows = _rows(line, display)
    if at_planes and line.limits.offset_mm is None and line.limits.angle_mm_m is None:
        return {"heads": heads, "rows": [row[:-1] for row in rows]}
    return {"heads": [*heads, (say("report.job.limit"), "0.75", "right")], "rows": rows}


def _rows(line: JobLine, display: Display) -> list[list[str]]:
    given = line.limits
    rows = []
    for name, quantity in zip(COMPONENTS, QUANTITIES, strict=True):
        limit = given.offset_mm if quantity is Quantity.OFFSET else given.angle_mm_m
        row = [say("figure.panel.title", title=say(f"component.{name}"), unit=display.unit(quantity))]
        for stage in STAGES:
            values: Misalignment | None = getattr(line.job, stage)
            stored = None if values is None else getattr(values, name)
            row.append(line.job.typed.get(f"{stage}_{name}", DASH))
            row.append(display.text(stored, quantity, signed=True, with_unit=False))
        rows.append([*row, DASH if limit is None else display.text(limit, quantity, with_unit=False)])
    return rows


def _flex(line: JobLine, setting: Setting) -> dict[str, Any]:
    """Give the angles at the flex planes that were judged, one row an end, with their limit; no row where none was."""
    limit, span = line.limits.flex_mm_m, _judged_span(line)
    if limit is None or span is None:
        return {"heads": [], "rows": []}
    q, display = Quantity.ANGULARITY, setting.display
    heads = [(say("report.job.flex", unit=display.unit(q)), "3.3", "left")]
    ends: tuple[list[str], list[str]] = ([], [])
    for stage in ("found", "left"):
        off = _off(line, stage)
        angles = (None,) * 4 if off is None else flex_angles(np.array([off]), np.array([span]))[0].tolist()
        for place, key in enumerate(("report.job.flex.vertical", "report.job.flex.horizontal")):
            heads.append((say(key, stage=say(STAGES[stage])), "1.2", "right"))
            for end in (0, 1):
                ends[end].append(display.text(angles[2 * place + end], q, signed=True, with_unit=False))
    shown = display.text(limit, q, with_unit=False)
    names = (say("report.job.flex.stationary"), say("report.job.flex.movable"))
    rows = [[name, *texts, shown] for name, texts in zip(names, ends, strict=True)]
    return {"heads": [*heads, (say("report.job.limit"), "0.75", "right")], "rows": rows}


def _judged_span(line: JobLine) -> float | None:
    """Give the span between the flex planes that stands with a job; none where the stored ratios do not follow from it."""
    was = line.judged_as
    if was is None or was.span_mm is None or was.coupling is not Coupling.SPACER:
        return None
    stored = [ratio for ratio in (line.found_ratio, line.left_ratio) if ratio is not None]
    offs = [off for stage in ("found", "left") if (off := _off(line, stage)) is not None]
    given = [ratio for off in offs if (ratio := ratio_of(off, line.limits, was.span_mm)) is not None]
    same = len(given) == len(stored) > 0 and np.allclose(given, stored, rtol=1e-9, atol=0.0)
    return was.span_mm if same else None


def _off(line: JobLine, stage: str) -> tuple[float, float, float, float] | None:
    """Give measured − target of a stage. [mm, mm/m]."""
    values: Misalignment | None = getattr(line.job, stage)
    if values is None:
        return None
    (a, b, c, d), (ta, tb, tc, td) = values.as_tuple(), line.job.target.as_tuple()
    return a - ta, b - tb, c - tc, d - td


def _feet(line: JobLine, display: Display) -> dict[str, Any]:
    """Give the feet as a table: one row a quantity, typed and converted below one another, one column a foot."""
    width = max((len(getattr(line.job, name).values) for _, name, _ in _FEET_FIELDS), default=0)
    if not width:
        return {"heads": [], "rows": []}
    names = [FEET[place] if place < len(FEET) else str(place + 1) for place in range(width)]
    rows = []
    for key, field, prefix in _FEET_FIELDS:
        feet: FeetValues = getattr(line.job, field)
        if feet:
            signed = field.startswith("moves")
            cells = [
                _foot(line, feet, place, f"{prefix}{names[place]}", display, signed=signed) for place in range(width)
            ]
            rows.append([say(key, unit=display.unit(Quantity.OFFSET)), *cells])
    heads = [(say("report.job.foot"), "2.6", "left"), *((name, "1", "right") for name in names)]
    return {"heads": heads, "rows": rows}


def _foot(line: JobLine, feet: FeetValues, place: int, key: str, display: Display, *, signed: bool) -> str | list[str]:
    value = feet.values[place] if place < len(feet.values) else None
    typed = line.job.typed.get(key, "")
    shown = display.text(value, Quantity.OFFSET, signed=signed, with_unit=False)
    if not typed:
        return shown
    beside = say("report.job.as_typed", typed=typed)
    # Four feet have room beside one another, more of them put what was typed below.
    return f"{shown} {beside}" if len(feet.values) <= FEW_FEET else [shown, beside]


def _limits(line: JobLine, setting: Setting) -> str:
    if not line.limit_set:
        return say("entry.judged.none")
    words, how = ", ".join(given_texts(line.limits, setting.display)), how_taken(line.limits)
    told = say("entry.limits.given", limits=words, how=how) if words else say("entry.limits.none")
    return f"{told} {say('report.job.limit_source', name=line.limit_set)}"


def _rests(line: JobLine) -> dict[str, Any]:
    """Give what the decisions of a job rest on, two rows a measurement, with all digits; no row where nothing was decided by an uncertainty."""
    rests = rests_of(line)
    heads = [(say("report.job.rests"), "2.1", "left")]
    heads += [
        (say("figure.panel.title", title=say(f"component.short.{name}"), unit=unit), "1.5", "right")
        for name, unit in zip(COMPONENTS, UNITS, strict=True)
    ]
    rows, notes = [], []
    for one in rests:
        stage = say(STAGES[one.side])
        rows.append([say("report.job.rests.deviation", stage=stage), *one.deviation])
        rows.append([say("report.job.rests.uncertainty", stage=stage), *one.uncertainty])
        notes.append(
            say("report.job.rests.so", stage=stage, correlations=one.correlations, probability=one.probability)
        )
    note = " ".join((*notes, limits_in_full(line))) if rests else ""
    return {"heads": heads, "rows": rows, "note": note}


def _more(line: JobLine, display: Display) -> list[tuple[str, str]]:
    pairs = dict(fields_of(line, display))
    names = [say(f"entry.field.{name}") for name in ("hours", "temperatures", "checks", "notes")]
    short = {names[1]: say("report.job.temperatures")}
    told = [(short.get(name, name), pairs[name]) for name in names if pairs[name] not in {"", DASH}]
    return told + [
        (say("report.job.stated", doubt=doubt), reason) for doubt, reason in stated_reasons(line.job.typed).items()
    ]


def _typed(line: JobLine) -> list[tuple[str, str]]:
    """Give what was typed besides the numbers of the tables: readings of dials, distances, temperatures."""
    stated = {f"stated reason: {name}" for name in stated_reasons(line.job.typed)}
    shown = {f"{stage}_{name}" for stage in STAGES for name in COMPONENTS} | stated
    return [
        (typed_name(key), text)
        for key, text in line.job.typed.items()
        if key not in shown and not key.startswith(_IN_TABLES)
    ]


def _book(line: JobLine, zone: str) -> str:
    source = line.source or say("report.job.not_from_file")
    return say(
        "report.job.book", entry=count(line.entry), author=line.author, at=moment(line.recorded_at, zone), source=source
    )


def overview(lines: Sequence[JobLine], zone: str) -> dict[str, Any]:
    """Give the table of all jobs, in their order.

    Parameters
    ----------
    lines : sequence of JobLine
        The jobs. [as stored]
    zone : str
        The site's zone. [unitless]
    """
    heads = [
        (say("grid.date"), "1.25", "left"), (say("grid.reason"), "1.2", "left"), (say("column.found_ratio"), "1.2", "right"),
        (say("column.left_ratio"), "1.2", "right"), (say("grid.people"), "2.2", "left"), (say("grid.instrument"), "1.2", "left"),
        (say("grid.entry"), "0.8", "right"), (say("grid.stands"), "2.4", "left"),
    ]  # fmt: skip
    rows = [
        [
            day(line.job.performed_at.astimezone(_zone(zone)).date()), say(f"reason.{line.job.reason.value}"), judged_by(line.found_ratio, line.decisions.found),
            judged_by(line.left_ratio, line.decisions.left), ", ".join(line.job.people) or DASH, {"whole": line.job.instrument or DASH}, count(line.entry), stands(line),
        ]
        for line in lines
    ]  # fmt: skip
    return {"heads": heads, "rows": rows}
