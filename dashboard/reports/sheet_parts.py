"""The parts of a field sheet that readings go into, under the names that the Record page has for them."""

from __future__ import annotations

from typing import Any

from dashboard.views.record_fields import MAX_ROWS, MIN_ROWS, PLACES, dial_parts
from dashboard.words import say
from models.intake.fields import FEET
from models.intake.typed import CLOCK
from models.units import Display, Quantity
from models.values.asset import Asset
from models.values.draft import Way
from models.values.job import COMPONENTS

_CLOCK = {
    "top": "report.sheet.clock.top",
    "right": "report.sheet.clock.right",
    "bottom": "report.sheet.clock.bottom",
    "left": "report.sheet.clock.left",
}

Field = tuple[str, str]
"""Name of a field and its label."""


def rows_wanted(asset: Asset) -> int:
    """Give how many rows of feet the sheet has room for: those of the book, two at least."""
    return min(max(MIN_ROWS, len(asset.feet_movable_mm)), MAX_ROWS)


def stage_part(stage: str, way: Way, asset: Asset, display: Display) -> dict[str, Any]:
    """Give the fields of one measurement, as-found or as-left.

    Parameters
    ----------
    stage : str
        ``'found'`` or ``'left'``. [unitless]
    way : Way
        How it is measured. [unitless]
    asset : Asset
        The machine on the day. [as stored]
    display : Display
        Units in which readings are written down. [unitless]
    """
    if way is Way.RESULTS:
        return {"dials": [], "own": [], "results": _results(stage, display), "about": ""}
    own: list[dict[str, Any]] = [_choice(f"{stage}.seen_from", say("record.seen"), _seen())]
    if way is Way.FACE_FACE:
        known = display.text(asset.span_mm, Quantity.DISTANCE) if asset.span_mm else ""
        label = say("record.label.unit", label=say("record.span"), unit=display.unit(Quantity.DISTANCE))
        own.append(
            {"name": f"{stage}.span", "label": say("report.sheet.known", label=label, known=known) if known else label}
        )
    return {
        "dials": [_dial(stage, number, way, display) for number in (1, 2)],
        "own": own,
        "results": [],
        "about": say("report.sheet.about_readings", unit=display.unit(Quantity.OFFSET)),
    }


def _results(stage: str, display: Display) -> list[Field]:
    units = {"offset": display.unit(Quantity.OFFSET), "angle": display.unit(Quantity.ANGULARITY)}
    fields = [
        (f"{stage}.results.{name}", say("record.label.unit", label=say(f"component.{name}"), unit=units[name[:-2]]))
        for name in COMPONENTS
    ]
    return [
        *fields,
        (f"{stage}.by", say("record.measured_by")),
        (f"{stage}.results.sd_offset", say("report.sheet.sd_offset", unit=units["offset"])),
        (f"{stage}.results.sd_angle", say("report.sheet.sd_angle", unit=units["angle"])),
    ]


def _dial(stage: str, number: int, way: Way, display: Display) -> dict[str, Any]:
    name, parts = f"{stage}.dial.{number}", dial_parts(way, number)
    shorts: list[dict[str, Any]] = []
    for part in parts:
        shorts += _shorts(name, part, way, display)
    return {
        "title": say(f"record.dial.{way.name}.{number}"),
        "clock": [(f"{name}.{place}", say(_CLOCK[place])) for place in CLOCK] if "clock" in parts else [],
        "returned": (f"{name}.returned", say("record.returned")) if "clock" in parts else None,
        "opposite": [(f"{name}.opposite_{place}", say(_CLOCK[place])) for place in CLOCK] if "opposite" in parts else [],
        "opposite_label": say("report.sheet.opposite"),
        "around": [[f"{name}.angles.{place}", f"{name}.readings.{place}"] for place in range(1, PLACES + 1)] if "around" in parts else [],
        "around_heads": [say("report.sheet.angle"), say("report.sheet.reading", unit=display.unit(Quantity.OFFSET))],
        "shorts": shorts,
    }  # fmt: skip


def _shorts(name: str, part: str, way: Way, display: Display) -> list[dict[str, Any]]:
    distance, offset = display.unit(Quantity.DISTANCE), display.unit(Quantity.OFFSET)
    if part == "plane":
        return [_blank(f"{name}.plane", say("record.plane"), distance)]
    if part == "diameter":
        label = say("report.sheet.diameter_face") if way is Way.AROUND else say("record.diameter")
        return [_blank(f"{name}.diameter", label, distance)]
    if part == "bracket":
        return [_choice(f"{name}.bracket", say("report.sheet.bracket"), _machines())]
    if part == "side":
        sides = [("front", say("report.sheet.side.front")), ("back", say("report.sheet.side.back"))]
        return [_choice(f"{name}.side", say("record.side"), sides)]
    if part == "sag":
        halves = [("half", say("report.sheet.sag.half")), ("full", say("report.sheet.sag.full"))]
        return [
            _blank(f"{name}.sag", say("report.sheet.sag"), offset),
            _choice(f"{name}.sag_is", say("record.sag_is"), halves),
        ]
    return []


def _blank(name: str, label: str, unit: str) -> dict[str, Any]:
    return {"name": name, "label": say("record.label.unit", label=label, unit=unit)}


def _choice(name: str, label: str, options: list[Field]) -> dict[str, Any]:
    return {"name": name, "label": label, "options": [[f"{name}.{key}", text] for key, text in options]}


def _machines() -> list[Field]:
    return [("stationary", say("report.sheet.stationary")), ("movable", say("report.sheet.movable"))]


def _seen() -> list[Field]:
    return [("movable", say("record.seen.movable")), ("stationary", say("record.seen.stationary"))]


def which_moves() -> dict[str, Any]:
    """Give the choice of the machine that is moved."""
    return _choice(
        "moves",
        say("report.sheet.moves"),
        [(key, say(f"record.moves.{key}")) for key in ("movable", "stationary", "both")],
    )


def soft_plan(prefix: str, rows: int, asset: Asset, display: Display) -> dict[str, Any]:
    """Give the plan of the feet with a field for the rise of each.

    Parameters
    ----------
    prefix : str
        ``'soft_before'`` or ``'soft_after'``. [unitless]
    rows : int
        Rows of feet. [unitless]
    asset : Asset
        The machine on the day. [as stored]
    display : Display
        Units in which rises are written down. [unitless]
    """
    lines = []
    for row in range(rows):
        known = asset.feet_movable_mm[row] if row < len(asset.feet_movable_mm) else None
        at = "" if known is None else display.text(known, Quantity.DISTANCE)
        lines.append({"at": at, "feet": [(f"{prefix}.{2 * row + 1 + side}", FEET[2 * row + side]) for side in (0, 1)]})
    unit = say("report.sheet.rise", unit=display.unit(Quantity.OFFSET))
    return {"unit": unit, "rows": lines, "side": []}


def moved_plan(rows: int, display: Display) -> dict[str, Any]:
    """Give the plan of the feet with a field for the shim at each, and one for the side move of each row.

    Parameters
    ----------
    rows : int
        Rows of feet. [unitless]
    display : Display
        Units in which moves are written down. [unitless]
    """
    lines = [
        {"at": "", "feet": [(f"shim.{2 * row + 1 + side}", FEET[2 * row + side]) for side in (0, 1)]}
        for row in range(rows)
    ]
    unit = say("report.sheet.shim", unit=display.unit(Quantity.OFFSET))
    return {
        "unit": unit,
        "rows": lines,
        "side": [f"side.{row + 1}" for row in range(rows)],
        "side_label": say("report.sheet.side_move"),
    }
