"""The field sheet: one page for a machine and a day, laid out in the order in which the Record page is typed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from dashboard.place import shortened
from dashboard.reports.codes import qr_picture
from dashboard.reports.identity import Identity, common, made
from dashboard.reports.press import Paper, pages_of
from dashboard.reports.sheet_parts import moved_plan, rows_wanted, soft_plan, stage_part, which_moves
from dashboard.views.asset_last_view import LastVisit, build_last, left_text
from dashboard.views.limit_words import limits_in_force
from dashboard.views.limits_view import limits_note
from dashboard.views.record_fields import AFTER, BEFORE, TEMPERATURES, check_name
from dashboard.views.record_sheet import Basis
from dashboard.words import say
from dashboard.writing import count, day, judged_by
from models.units import Display, Quantity
from models.values.draft import Way
from models.values.kinds import Coupling, Method, Reason
from models.values.story import AssetStory

WAYS = {
    Method.REVERSE_INDICATOR: Way.REVERSE_INDICATOR,
    Method.RIM_FACE: Way.RIM_FACE,
    Method.FACE_FACE: Way.FACE_FACE,
}
"""What is measured as its last visit was; every other method hands over results."""


SIZES = (
    (1.6, False),
    (1.5, False),
    (1.4, False),
    (1.3, False),
    (1.2, False),
    (1.1, False),
    (1.0, False),
    (0.95, True),
    (0.88, True),
    (0.8, True),
    (0.72, True),
)
"""How high the fields are, and whether the remarks are left out, tried from the top until all stands on one page."""


@dataclass(frozen=True, slots=True)
class Visit:
    """The visit that a sheet is printed for: its day, the way of measuring, and the address that its code opens."""

    on: date
    way: Way
    address: str = ""
    fillable: bool = False


def way_of_last(story: AssetStory) -> Way:
    """Give the way in which a machine was measured last; results where that says nothing of readings."""
    standing = story.standing
    return WAYS.get(standing[-1].job.method, Way.RESULTS) if standing else Way.RESULTS


def sheet_paper(
    story: AssetStory, basis: Basis, visit: Visit, display: Display, identity: Identity, *, size: str = "a4"
) -> Paper:  # fmt: skip
    """Lay a field sheet out.

    Parameters
    ----------
    story : AssetStory
        Everything about the machine. [as stored]
    basis : Basis
        The machine as described on the day, with the limits in force. [as stored]
    visit : Visit
        Day, way of measuring, address. [unitless]
    display : Display
        Units in which readings are written down. [unitless]
    identity : Identity
        Which site and book. [unitless]
    size : str
        Size of the paper. [unitless]
    """
    title = say("report.sheet.title", tag=story.asset.tag)
    data = common(identity, title) | sheet_data(story, basis, visit, display)
    # One page: its head says of which book and entry it is, so the foot need not say it again to those who hear it.
    data["foot"] = title
    data["as_of"] = say("report.sheet.as_of", head=count(identity.head), at=made(identity))
    data["words"] = {**data["words"], "target": say("report.sheet.target"), "limits": say("record.last.limits")}
    pictures = {"code.svg": qr_picture(visit.address)} if visit.address else {}
    # The largest size that fits, found by halving: each try is a setting of the whole sheet.
    low, high = 0, len(SIZES) - 1
    while low < high:
        middle = (low + high) // 2
        if pages_of(_sized(title, data, SIZES[middle], identity, size, pictures)) == 1:
            high = middle
        else:
            low = middle + 1
    return _sized(title, data, SIZES[low], identity, size, pictures)


def _sized(
    title: str, data: dict[str, Any], chosen: tuple[float, bool], identity: Identity, size: str, pictures: dict[str, str]
) -> Paper:  # fmt: skip
    scale, terse = chosen
    told = (_terse(data) if terse else data) | {"scale": scale}
    return Paper("sheet", title, told, identity.made_at, size, pictures)


def _terse(data: dict[str, Any]) -> dict[str, Any]:
    """Leave out what the page behind the code tells as well."""
    return {**data, "what": shortened(data["what"], 80), "last": {**data["last"], "notes": "", "soft": []}}


def sheet_data(story: AssetStory, basis: Basis, visit: Visit, display: Display) -> dict[str, Any]:
    """Give every text of the sheet; see :func:`sheet_paper` for the parameters."""
    asset, note = basis.asset, limits_note(basis.limit_set)
    last = build_last(story, display)
    rows = rows_wanted(asset)
    return {
        "tag": asset.tag,
        "what": " · ".join(text for text in (asset.description, asset.area, story.site.name) if text),
        "facts": _facts(basis, display),
        "address": visit.address,
        "code_says": say("report.sheet.code", tag=asset.tag),
        "code_below": say("report.sheet.code_below"),
        "last": _last(story, last, basis, display),
        "source": _source(basis, visit.on),
        "warning": note.warning,
        "caution": say("record.caution"),
        "after": say("record.caution.after"),
        "signs": say("record.signs"),
        "labels": {
            "visit": say("record.part.visit"), "before": say("record.part.before"), "found": say("record.part.found"),
            "soft_before": say("record.part.soft_before"), "moves": say("record.part.moves"), "left": say("record.part.left"),
            "soft_after": say("record.part.soft_after"), "after": say("record.part.after"), "conditions": say("record.part.conditions"),
            "way": say(f"record.method.{visit.way.name}"), "coupling": say("record.plan.coupling"),
            "reason": say("record.reason"),
        },
        "visit": _visit_fields(visit),
        "reasons": [[f"reason.{one.value}", say(f"reason.{one.value}")] for one in Reason],
        "before": [[check_name(check), say(f"record.check.{check.name}")] for check in BEFORE],
        "checks": [[check_name(check), say(f"record.check.{check.name}")] for check in AFTER],
        "found": stage_part("found", visit.way, asset, display),
        "left": stage_part("left", visit.way, asset, display),
        "tight": {"label": say("record.tight"), "yes": say("entry.yes"), "no": say("entry.no")},
        "which": which_moves(),
        "target": _target_fields(display),
        "soft_before": soft_plan("soft_before", rows, asset, display),
        "soft_after": soft_plan("soft_after", rows, asset, display),
        "moves": moved_plan(rows, display),
        "soft_note": say("report.sheet.soft_note"),
        "moves_note": say("report.sheet.moves_note"),
        "conditions": _conditions(display),
        "notes_label": say("record.notes"),
        "rows": rows,
        "fillable": visit.fillable,
    }  # fmt: skip


def _source(basis: Basis, on: date) -> str:
    chosen = basis.limit_set
    if chosen is None:
        return say("limits.none")
    return say(
        "report.sheet.set", on=day(on), name=chosen.name, version=chosen.version, by=chosen.adopted_by or say("limits.nobody"),
        adopted=day(chosen.adopted_on), source=chosen.source.rstrip("."),
    )  # fmt: skip


def _facts(basis: Basis, display: Display) -> list[tuple[str, str]]:
    asset = basis.asset
    coupling = say(f"coupling.{asset.coupling.value}")
    if asset.coupling is Coupling.SPACER:
        coupling = say("asset.coupling.span", coupling=coupling, span=display.text(asset.span_mm, Quantity.DISTANCE))

    def distances(values: tuple[float, ...]) -> str:
        texts = [display.text(abs(x), Quantity.DISTANCE, with_unit=False) for x in values]
        return f"{' · '.join(texts)} {display.unit(Quantity.DISTANCE)}" if texts else say("report.sheet.measure")

    return [
        (say("fact.coupling"), coupling),
        (say("fact.speed"), display.text(asset.limit_speed_rpm, Quantity.SPEED)),
        (say("report.sheet.feet_movable"), distances(asset.feet_movable_mm)),
        (say("report.sheet.feet_stationary"), distances(asset.feet_stationary_mm)),
    ]


def _last(story: AssetStory, last: LastVisit | None, basis: Basis, display: Display) -> dict[str, Any]:
    limits = limits_in_force(basis.limits, display, basis.limit_set, basis.asset.limit_speed_rpm)
    if last is None:
        return {
            "title": say("record.part.last"),
            "when": say("record.last.none"),
            "rows": [],
            "limits": limits,
            "notes": "",
            "soft": [],
        }
    line = last.line
    heads = [
        (say("report.job.component"), "3", "left"), (say("record.result.found"), "1", "right"), (say("record.result.left"), "1", "right"),
        (say("fact.target"), "1", "right"),
    ]  # fmt: skip
    return {
        "title": say("record.part.last"),
        "when": say(
            "report.sheet.last" if line.job.left else "report.sheet.last.found",
            visit=last.when,
            found=judged_by(line.found_ratio, line.decisions.found),
            left=judged_by(line.left_ratio, line.decisions.left)
            if line.job.left
            else left_text(story.standing, story.site.zone, display),
        ),
        "heads": heads,
        "rows": [[row.name, row.found, row.left, row.target] for row in last.rows],
        "limits": limits,
        "notes": _cut(line.job.notes),
        "soft": list(last.soft),
    }


def _cut(notes: str, most: int = 180) -> str:
    return shortened(" ".join(notes.split()), most)


def _visit_fields(visit: Visit) -> list[tuple[str, str, str, float]]:
    """Give name, label, what stands in it already, and width of each field of the visit, in the order of the page."""
    return [
        ("by", say("record.by"), "", 1.3),
        ("performed", say("report.sheet.performed"), visit.on.isoformat(), 1.2),
        ("people", say("record.people"), "", 2.0),
        ("instrument", say("record.instrument"), "", 1.1),
        ("work_order", say("record.work_order"), "", 1.0),
        ("ref", say("record.ref"), "", 1.1),
    ]


def _target_fields(display: Display) -> list[tuple[str, str]]:
    names = ("offset_v", "angle_v", "offset_h", "angle_h")
    units = (display.unit(Quantity.OFFSET), display.unit(Quantity.ANGULARITY)) * 2
    return [
        (f"target.{name}", say("record.label.unit", label=say(f"component.short.{name}"), unit=unit))
        for name, unit in zip(names, units, strict=True)
    ]


def _conditions(display: Display) -> list[tuple[str, str]]:
    unit = display.unit(Quantity.TEMPERATURE)
    fields = [
        (f"temp.{name}", say("record.label.unit", label=say(f"record.temp.{name}"), unit=unit)) for name in TEMPERATURES
    ]
    return [*fields, ("hours_run", say("record.label.unit", label=say("record.hours_run"), unit="h"))]
