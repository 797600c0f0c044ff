"""The table of every job of a machine, amended versions included."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.components import elements as html
from dashboard.components.tables import Column, grid, table
from dashboard.views.asset_panels import QUANTITIES
from dashboard.views.asset_view import AssetView, last_day
from dashboard.views.job_words import checks_text, limit_set_text, source_text
from dashboard.views.typed_fields import TEMPERATURES, readings_of
from dashboard.words import say
from dashboard.writing import DASH, judged_by
from models.units import Display, Quantity
from models.values.decision import NO_DECISIONS
from models.values.job import COMPONENTS, FeetValues, Misalignment
from models.values.story import JobLine

STAGES = ("found", "left", "target")


def jobs_grid(name: str, view: AssetView, *, typed: bool) -> html.Div:
    """Put the jobs in a grid, newest first.

    Parameters
    ----------
    name : str
        Id of the grid. [unitless]
    view : AssetView
        The machine. [unitless]
    typed : bool
        True shows each number as it was typed, with its own unit; False in the units of the page. [unitless]
    """
    rows = [_typed_row(line, view) if typed else _row(line, view) for line in view.lines]
    return grid(
        name,
        _columns(view, typed=typed),
        rows,
        say("asset.jobs.label", tag=view.tag),
    )


def jobs_on_paper(view: AssetView) -> html.Div:
    """Put the jobs as a plain table that only a printed page shows: a grid that scrolls is cut off on paper."""
    heads = [
        Column(say("grid.date")),
        Column(say("grid.reason")),
        Column(say("column.found_ratio"), number=True),
        Column(say("column.left_ratio"), number=True),
    ]
    for stage in ("found", "left"):
        for component, quantity in zip(COMPONENTS, QUANTITIES, strict=True):
            unit = view.display.unit(quantity)
            heads.append(Column(f"{say(f'word.{stage}')} {say(f'component.short.{component}')} [{unit}]", number=True))
    heads += [Column(say("grid.people")), Column(say("grid.instrument")), Column(say("grid.stands"))]
    rows = [
        [
            last_day(line, view.zone).isoformat(),
            say(f"reason.{line.job.reason.value}"),
            judged_by(line.found_ratio, line.decisions.found),
            judged_by(line.left_ratio, line.decisions.left),
            *_four_texts(line.job.found, view.display),
            *_four_texts(line.job.left, view.display),
            ", ".join(line.job.people),
            line.job.instrument,
            _stands(line),
        ]
        for line in view.lines
    ]
    return html.Div(table(say("asset.jobs.label", tag=view.tag), heads, rows), className="on-paper")


def _four_texts(values: Misalignment | None, display: Display) -> list[str]:
    if values is None:
        return [DASH] * len(COMPONENTS)
    return [
        display.text(value, quantity, signed=True, with_unit=False)
        for value, quantity in zip(values.as_tuple(), QUANTITIES, strict=True)
    ]


def _has_target(lines: Sequence[JobLine]) -> bool:
    return any(any(line.job.target.as_tuple()) for line in lines)


def _has_decisions(lines: Sequence[JobLine]) -> bool:
    return any(line.decisions != NO_DECISIONS for line in lines)


def _text(field: str, header: str, width: int, **more: Any) -> dict[str, Any]:
    # A text that is longer than its column goes on below: nothing in the book is cut off.
    return {
        "field": field, "headerName": header, "width": width, "wrapText": True, "autoHeight": True, "cellClass": "words", **more,
    }  # fmt: skip


def _columns(view: AssetView, *, typed: bool) -> list[dict[str, Any]]:
    """Give the columns: on a phone the ratios stand beside the day, which stays and tells what counts no more."""
    display, wide = view.display, _has_decisions(view.lines)
    unit = say("grid.typed") if typed else display.unit(Quantity.OFFSET)
    # Every column stands in a group: an empty cell above a pinned column would be a row without cells to a screen reader.
    visit = _group(
        "grid.visit",
        # Dates are written as years first, so that sorting texts sorts times.
        _text("date", say("grid.date"), 104, pinned="left", valueFormatter={"function": "params.data.date_text"}),
    )
    stands = [_text("stands", say("grid.stands"), 128)] if any(_stands(line) for line in view.lines) else []
    why = _group("grid.why" if stands else "grid.why.alone", _text("reason", say("grid.reason"), 108), *stands)
    verdict = _group(
        "grid.ratio",
        _judged("found_ratio", say("grid.found_ratio"), wide=wide),
        _judged("left_ratio", say("grid.left_ratio"), wide=wide),
    )
    who = _group("grid.who", _text("people", say("grid.people"), 160), _text("instrument", say("grid.instrument"), 112))
    stages = [_stage(stage, display, typed=typed) for stage in (STAGES if _has_target(view.lines) else STAGES[:2])]
    feet = _group(
        "grid.feet",
        _text("soft_before", say("grid.soft_before", unit=unit), 340 if typed else 200),
        _text("soft_after", say("grid.soft_after", unit=unit), 340 if typed else 200),
        _text("moves", say("grid.moves", unit=unit), 560 if typed else 300),
    )
    work = _group(
        "grid.work",
        _text("method", say("grid.method"), 130),
        _text("work_order", say("grid.work_order"), 110),
        _text("hours", say("grid.hours"), 92, type="rightAligned"),
        _text("temperatures", say("grid.temperatures", unit=unit if typed else display.temperature), 150),
        _text("checks", say("grid.checks"), 440),
        _text("notes", say("grid.notes"), 340),
        _text("reviewer", say("grid.reviewer"), 120),
    )
    book = _group(
        "grid.book",
        _text("limit_set", say("grid.limit_set"), 150),
        _text("ref", say("grid.ref"), 110),
        _text("entry", say("grid.entry"), 84, type="rightAligned"),
        _text("recorded", say("grid.recorded"), 150),
        _text("source", say("grid.source"), 160),
    )
    if not typed:
        return [visit, verdict, why, who, *stages, feet, work, book]
    readings = _group("grid.readings", _text("readings", say("sign.readings"), 560))
    return [visit, verdict, why, who, *stages, feet, readings, work, book]


def _group(key: str, *children: dict[str, Any]) -> dict[str, Any]:
    return {"headerName": say(key), "children": list(children), "marryChildren": True}


def _stage(stage: str, display: Display, *, typed: bool) -> dict[str, Any]:
    children = []
    for component, quantity in zip(COMPONENTS, QUANTITIES, strict=True):
        unit = say("grid.typed") if typed else display.unit(quantity)
        header = f"{say(f'component.short.{component}')} [{unit}]"
        children.append(_number(f"{stage}_{component}", header, None if typed else display.decimals(quantity)))
    return _group(f"grid.{stage}", *children)


def _judged(field: str, header: str, *, wide: bool) -> dict[str, Any]:
    return {
        "field": field,
        "headerName": header,
        "width": 232 if wide else 106,
        "type": "rightAligned",
        "valueFormatter": {"function": f"params.data.{field}_text"},
        "cellClassRules": {"over": "params.value > 1"},
    }


def _number(field: str, header: str, decimals: int | None) -> dict[str, Any]:
    column: dict[str, Any] = {"field": field, "headerName": header, "width": 104, "type": "rightAligned"}
    if decimals is not None:
        # A zero has no sign, as everywhere else (:meth:`models.units.Display.text`).
        signed = f"d3.format((params.value ? '+' : '') + '.{decimals}f')(params.value)"
        column["valueFormatter"] = {"function": f"params.value == null ? '{DASH}' : {signed}"}
    return column


def _stands(line: JobLine) -> str:
    """Say what became of a version; nothing of one that stands as it was recorded."""
    if gone := _gone(line):
        return gone
    if line.supersedes is not None:
        return say("grid.amends", entry=line.supersedes, why=line.why_amended or DASH)
    return ""


def _gone(line: JobLine) -> str:
    """Say why a version counts no more; nothing of one that does."""
    if line.void:
        return say("grid.void")
    return "" if line.superseded_by is None else say("grid.superseded", entry=line.superseded_by)


def _common(line: JobLine, view: AssetView) -> dict[str, Any]:
    job, day = line.job, last_day(line, view.zone).isoformat()
    return {
        "date": day,
        "date_text": f"{day} {_gone(line)}".rstrip(),
        "stands": _stands(line),
        "reason": say(f"reason.{job.reason.value}"),
        "found_ratio": line.found_ratio,
        "found_ratio_text": judged_by(line.found_ratio, line.decisions.found),
        "left_ratio": line.left_ratio,
        "left_ratio_text": judged_by(line.left_ratio, line.decisions.left),
        "people": ", ".join(job.people),
        "instrument": job.instrument,
        "method": say(f"method.{job.method.value}"),
        "work_order": job.work_order,
        "hours": "" if job.hours_run is None else view.display.text(job.hours_run, Quantity.DURATION, with_unit=False),
        "temperatures": " / ".join(
            view.display.text(value, Quantity.TEMPERATURE, with_unit=False)
            for value in (job.temp_stationary_c, job.temp_movable_c, job.temp_ambient_c)
        ),
        "limit_set": limit_set_text(line.limit_set),
        "checks": checks_text(job.checks),
        "ref": job.ref,
        "notes": job.notes,
        "reviewer": job.reviewer,
        "entry": str(line.entry),
        "recorded": f"{line.recorded_at.astimezone(ZoneInfo(view.zone)):%Y-%m-%d} {line.author}",
        "source": source_text(line.source),
    }


def _row(line: JobLine, view: AssetView) -> dict[str, Any]:
    row = _common(line, view)
    for stage in STAGES:
        values: Misalignment | None = getattr(line.job, stage)
        for component, quantity in zip(COMPONENTS, QUANTITIES, strict=True):
            stored = None if values is None else getattr(values, component)
            row[f"{stage}_{component}"] = (
                None
                if stored is None
                else round(view.display.show(stored, quantity), view.display.decimals(quantity)) + 0.0
            )
    row["soft_before"] = _feet(line.job.soft_before, view.display)
    row["soft_after"] = _feet(line.job.soft_after, view.display)
    row["moves"] = _moves(line, view.display)
    return row


def _feet(feet: FeetValues, display: Display, *, signed: bool = False) -> str:
    if not feet:
        return DASH
    return " · ".join(display.text(value, Quantity.OFFSET, signed=signed, with_unit=False) for value in feet.values)


def _moves(line: JobLine, display: Display) -> str:
    parts = [
        say(key, feet=_feet(feet, display, signed=True))
        for key, feet in (("grid.move_v", line.job.moves_v), ("grid.move_h", line.job.moves_h))
        if feet
    ]
    return "; ".join(parts) or DASH


def _typed_row(line: JobLine, view: AssetView) -> dict[str, Any]:
    row, typed = _common(line, view), line.job.typed
    for stage in STAGES:
        for component in COMPONENTS:
            # What was worked out of dials was not typed: their readings stand in a column of their own.
            worked = say("grid.of_readings") if any(name.startswith(f"{stage} dial.") for name in typed) else DASH
            row[f"{stage}_{component}"] = typed.get(f"{stage}_{component}", worked)
    for field, prefix in (("soft_before", "soft_before_"), ("soft_after", "soft_after_")):
        row[field] = _typed_feet(typed, prefix)
    row["moves"] = (
        "; ".join(
            say(key, feet=feet)
            for key, prefix in (("grid.move_v", "move_v_"), ("grid.move_h", "move_h_"))
            if (feet := _typed_feet(typed, prefix)) != DASH
        )
        or DASH
    )
    row["hours"] = typed.get("hours_run", DASH)
    row["temperatures"] = " / ".join(typed.get(f"{name}_c", typed.get(name, DASH)) for name in TEMPERATURES)
    row["readings"] = "; ".join(f"{name}: {text}" for name, text in readings_of(typed)) or DASH
    return row


def _typed_feet(typed: Mapping[str, str], prefix: str) -> str:
    return (
        " · ".join(f"{key.removeprefix(prefix)} {value}" for key, value in typed.items() if key.startswith(prefix))
        or DASH
    )
