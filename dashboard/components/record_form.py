"""The form of the Record page, part by part in the order of the work."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from dash import dcc

from dashboard.components import elements as html
from dashboard.components.aria import aria, data
from dashboard.components.pieces import Child, note
from dashboard.components.record_field import (
    Texts,
    chosen,
    fields_row,
    folded,
    group,
    proposals,
    said_slot,
    ticked,
    typed,
    written,
)
from dashboard.components.record_growth import growth_part
from dashboard.views.record_fields import (
    AFTER,
    BEFORE,
    MAX_PLACES,
    MORE_PLACES,
    NOT_MEASURED,
    NOTHING_MOVED,
    TEMPERATURES,
    check_name,
    dial_parts,
    placed_as_found,
    places_of,
    rows_of,
    usual,
    way_of,
)
from dashboard.words import say
from models.intake.fields import FEET
from models.intake.typed import CLOCK
from models.units import Display, Quantity
from models.values.asset import Asset
from models.values.draft import Way
from models.values.job import COMPONENTS
from models.values.kinds import Coupling, Method, Reason

LIST_PEOPLE, LIST_INSTRUMENTS = "record-list-people", "record-list-instruments"


def visit_part(
    fields: Texts, people: Sequence[str], instruments: Sequence[str], zone: str, signed: str = ""
) -> list[Child]:
    """Put who, when, why and with what; who is signed in has not to say who it is."""
    name = typed("by", say("record.by"), fields, hint=say("record.by.hint"), choose=LIST_PEOPLE)
    return [
        note(say("record.by.signed", person=signed)) if signed else None,
        fields_row(
            *([] if signed else [name]),
            typed("performed", say("record.performed"), fields, hint=say("record.performed.hint", zone=zone)),
            chosen("reason", say("record.reason"), [(one.value, say(f"reason.{one.value}")) for one in Reason], fields),
            typed("people", say("record.people"), fields, hint=say("record.people.hint"), choose=LIST_PEOPLE),
            typed("instrument", say("record.instrument"), fields, hint=say("record.instrument.hint"), choose=LIST_INSTRUMENTS),
            typed("work_order", say("record.work_order"), fields),
            typed("ref", say("record.ref"), fields, hint=say("record.ref.hint"), wide=True),
        ),
        None if signed else note(say("record.by.note")),
        proposals(LIST_PEOPLE, people),
        proposals(LIST_INSTRUMENTS, instruments),
    ]  # fmt: skip


def checks_part(fields: Texts, *, before: bool) -> html.Div:
    """Put the short list of checks before, or after the work."""
    checks = BEFORE if before else AFTER
    return html.Div(
        [ticked(check_name(check), say(f"record.check.{check.name}"), fields) for check in checks], className="ticks"
    )


def stage_part(stage: str, fields: Texts) -> Child:
    """Put the choice of how a stage is measured; the fields of the method come with :func:`measure_part`."""
    options = [(NOT_MEASURED, say(f"record.method.none.{stage}"))]
    if stage == "left":
        options.append((NOTHING_MOVED, say("record.method.same")))
    options += [(way.value, say(f"record.method.{way.name}")) for way in Way]
    head = chosen(f"{stage}.method", say(f"record.method.{stage}"), options, fields, wide=True)
    if stage == "found":
        return fields_row(head)
    answers = [(key, say(f"record.tight.{key or 'open'}")) for key in ("", "yes", "no")]
    return fields_row(head, chosen("left.tight", say("record.tight"), answers, fields, wide=True))


def measure_part(stage: str, fields: Texts, asset: Asset, display: Display) -> list[Child]:
    """Put the fields that the chosen method asks for."""
    way = way_of(fields, stage)
    if way is None:
        return []
    if way is Way.RESULTS:
        return _results(stage, fields, display)
    fields = usual(stage, way) | (placed_as_found(fields) if stage == "left" else {}) | fields
    seen = [(value, say(f"record.seen.{value.split()[0]}")) for value in ("movable machine", "stationary machine")]
    start = say("record.about.angles") if way is Way.AROUND else say("record.about.zero")
    parts: list[Child] = [note(say(f"record.about.{way.name}")), note(f"{start} {say('record.about.readings')}")]
    parts += [_dial(stage, number, way, fields, display) for number in (1, 2)]
    own: list[Child] = [chosen(f"{stage}.seen_from", say("record.seen"), seen, fields)]
    if way is Way.FACE_FACE:
        known = asset.span_mm
        hint = say("record.span.known", span=display.text(known, Quantity.DISTANCE)) if known else ""
        own.append(typed(f"{stage}.span", say("record.span"), fields, hint=hint, unit=display.unit(Quantity.DISTANCE)))
    parts.append(fields_row(*own))
    parts.append(
        folded(
            say("record.noise"),
            note(say("record.noise.note")),
            fields_row(
                typed(f"{stage}.noise.reading", say("record.noise.reading"), fields, unit=display.unit(Quantity.OFFSET)),
                typed(f"{stage}.noise.distance", say("record.noise.distance"), fields, unit=display.unit(Quantity.DISTANCE)),
                typed(f"{stage}.noise.diameter", say("record.noise.diameter"), fields, unit=display.unit(Quantity.DISTANCE)),
            ),
            open_=any(text and name.startswith(f"{stage}.noise.") for name, text in fields.items()),
        )
    )  # fmt: skip
    return parts


def _results(stage: str, fields: Texts, display: Display) -> list[Child]:
    units = {"offset": display.unit(Quantity.OFFSET), "angle": display.unit(Quantity.ANGULARITY)}
    # Nothing is chosen by itself: what stands first in a list would go into the book unasked.
    unsaid = say("record.measured_by.open.left") if stage == "left" else say("record.measured_by.open.found")
    methods = [("", unsaid)]
    methods += [(method.value, say(f"method.{method.value}")) for method in Method]
    return [
        fields_row(
            *(typed(f"{stage}.results.{name}", say(f"component.{name}"), fields, unit=units[name[:-2]]) for name in COMPONENTS)
        ),
        note(say("record.signs")),
        fields_row(chosen(f"{stage}.by", say("record.measured_by"), methods, fields)),
        folded(
            say("record.uncertainty"),
            note(say("record.uncertainty.note")),
            fields_row(
                typed(f"{stage}.results.sd_offset", say("record.sd_offset"), fields, unit=units["offset"]),
                typed(f"{stage}.results.sd_angle", say("record.sd_angle"), fields, unit=units["angle"]),
            ),
            open_=any(text and name.startswith(f"{stage}.results.sd_") for name, text in fields.items()),
        ),
    ]  # fmt: skip


def _dial(stage: str, number: int, way: Way, fields: Texts, display: Display) -> html.Fieldset:
    name = f"{stage}.dial.{number}"
    distance, offset = display.unit(Quantity.DISTANCE), display.unit(Quantity.OFFSET)
    makers: dict[str, Callable[[], Child]] = {
        "clock": lambda: _clock(name, fields, offset),
        "opposite": lambda: _opposite(name, fields, offset),
        "around": lambda: _around(stage, name, fields, offset),
        "sag": lambda: _sag(name, fields, offset),
    }
    short: dict[str, Callable[[], Child]] = {
        "plane": lambda: typed(f"{name}.plane", say("record.plane"), fields, hint=say("record.plane.hint"), unit=distance),
        "diameter": lambda: typed(f"{name}.diameter", say("record.diameter"), fields, unit=distance,
                                  hint=say("record.diameter.around") if way is Way.AROUND else say("record.diameter.hint")),
        "bracket": lambda: chosen(f"{name}.bracket", say("record.bracket"), _brackets(), fields),
        "side": lambda: chosen(f"{name}.side", say("record.side"), _sides(), fields),
    }  # fmt: skip
    parts = dial_parts(way, number)
    return group(
        say(f"record.dial.{way.name}.{number}"),
        *(makers[part]() for part in parts if part in {"clock", "opposite", "around"}),
        fields_row(*(short[part]() for part in parts if part in short)),
        *(makers[part]() for part in parts if part == "sag"),
        name=name,
        beside=f"{name}.hub" if "bracket" in parts else "",
    )


def _brackets() -> list[tuple[str, str]]:
    return [(value, say(f"record.bracket.{value.split()[0]}")) for value in ("stationary shaft", "movable shaft")]


def _sides() -> list[tuple[str, str]]:
    return [(value, say(f"record.side.{value.split()[0]}")) for value in ("front of the hub", "back of the hub")]


def _clock(name: str, fields: Texts, unit: str) -> html.Div:
    places = [html.Div(typed(f"{name}.{place}", say(f"record.clock.{place}"), fields, unit=unit), className=f"at-{place}") for place in CLOCK]  # fmt: skip
    back = html.Div(
        typed(f"{name}.returned", say("record.returned"), fields, unit=unit, hint=say("record.returned.hint")), className="at-returned"
    )  # fmt: skip
    return html.Div([*places, back], className="clock")


def _opposite(name: str, fields: Texts, unit: str) -> html.Details:
    boxes = [typed(f"{name}.opposite_{place}", say(f"record.clock.{place}"), fields, unit=unit) for place in CLOCK]
    filled = any(fields.get(f"{name}.opposite_{place}") for place in CLOCK)
    return folded(say("record.opposite"), note(say("record.opposite.note")), fields_row(*boxes), open_=filled)


def _around(stage: str, name: str, fields: Texts, unit: str) -> html.Div:
    places = places_of(fields, stage)
    pairs = [
        html.Div(
            [
                typed(f"{name}.angles.{place}", say("record.angle", n=place), fields, unit="°", keys="decimal"),
                typed(f"{name}.readings.{place}", say("record.reading", n=place), fields, unit=unit),
            ],
            className="pair",
        )
        for place in range(1, places + 1)
    ]
    parts: list[Child] = [html.Div(pairs, className="pairs")]
    if places < MAX_PLACES:
        parts.append(html.Button(say("record.more"), type="button", className="small-button", **data(more=stage, places=str(places + MORE_PLACES))))  # fmt: skip
    return html.Div(parts)


def _sag(name: str, fields: Texts, unit: str) -> html.Details:
    meanings = [("", say("record.sag_is.open")), ("half of the roll-over reading", say("record.sag_is.half")), ("full roll-over reading", say("record.sag_is.full"))]  # fmt: skip
    return folded(
        say("record.sag"),
        note(say("record.sag.note")),
        fields_row(
            typed(f"{name}.sag", say("record.sag.value"), fields, unit=unit),
            chosen(f"{name}.sag_is", say("record.sag_is"), meanings, fields),
            typed(f"{name}.sag_sd", say("record.sag_sd"), fields, unit=unit),
        ),
        open_=bool(fields.get(f"{name}.sag")),
    )


def dimensions_part(fields: Texts, asset: Asset, display: Display) -> html.Details:
    """Put which machine moves, the distances of the feet, and how far each can go."""
    options = [(value, say(f"record.moves.{value.split()[0]}")) for value in ("movable machine", "stationary machine", "both machines")]  # fmt: skip
    parts: list[Child] = [
        fields_row(chosen("moves", say("record.moves"), options, fields)),
        note(say("record.room.note")),
    ]
    for side, known in (("movable", asset.feet_movable_mm), ("stationary", asset.feet_stationary_mm)):
        for row in range(1, rows_of(asset, fields, side) + 1):
            parts.append(_row(side, row, known[row - 1] if row <= len(known) else None, fields, display))  # noqa: PERF401
    touched = any(text and name.startswith("feet.") for name, text in fields.items())
    return folded(say("record.dimensions"), *parts, open_=touched or len(asset.feet_movable_mm) < 2)


def _row(side: str, row: int, known_mm: float | None, fields: Texts, display: Display) -> html.Fieldset:
    name, unit = f"feet.{side}.{row}", display.unit(Quantity.OFFSET)
    hint = say("record.at.unknown") if known_mm is None else say("record.at.known", at=display.text(abs(known_mm), Quantity.DISTANCE))  # fmt: skip
    return group(
        say(f"record.row.{side}", row=row),
        fields_row(
            typed(f"{name}.at", say("record.at"), fields, hint=hint, unit=display.unit(Quantity.DISTANCE), wide=True),
            *(typed(f"{name}.{key}", say(f"record.room.{key}"), fields, unit=unit) for key in ("shim_out", "shim_in", "left", "right")),
        ),
    )  # fmt: skip


def target_part(fields: Texts, asset: Asset, display: Display) -> html.Details:
    """Put the target, folded away: it seldom changes; with the growth from which it can be worked out."""
    units = {"offset": display.unit(Quantity.OFFSET), "angle": display.unit(Quantity.ANGULARITY)}
    boxes = [typed(f"target.{name}", say(f"component.{name}"), fields, unit=units[name[:-2]]) for name in COMPONENTS]
    return folded(
        say("record.target"),
        note(say("record.target.note")),
        fields_row(*boxes, typed("target.source", say("record.target.source"), fields)),
        growth_part(fields, asset, display),
    )


def upright_part() -> html.Details:
    """Say what to do with a machine whose shaft stands upright."""
    return folded(say("record.upright"), note(say("record.upright.note")))


def feet_part(prefix: str, fields: Texts, asset: Asset, display: Display) -> html.Div:
    """Put one number a foot of the movable machine: a rise, or a shim."""
    rows, unit = rows_of(asset, fields, "movable"), display.unit(Quantity.OFFSET)
    boxes = [typed(f"{prefix}.{place + 1}", say("record.foot", foot=FEET[place], side=say(f"record.plan.{'right' if place % 2 else 'left'}"), row=place // 2 + 1), fields, unit=unit)
             for place in range(2 * rows)]  # fmt: skip
    return html.Div(boxes, className="fields two feet")


def side_moves(fields: Texts, asset: Asset, display: Display) -> html.Div:
    """Put one side move a row of the movable machine."""
    rows, unit = rows_of(asset, fields, "movable"), display.unit(Quantity.OFFSET)
    return html.Div(
        [typed(f"side.{row}", say("record.side_move", row=row), fields, unit=unit) for row in range(1, rows + 1)],
        className="fields two",
    )


def conditions_part(fields: Texts, display: Display) -> list[Child]:
    """Put temperatures, hours run and notes."""
    unit = display.unit(Quantity.TEMPERATURE)
    return [
        fields_row(
            *(typed(f"temp.{name}", say(f"record.temp.{name}"), fields, unit=unit) for name in TEMPERATURES),
            typed("hours_run", say("record.hours_run"), fields, unit="h", keys="decimal"),
        ),
        written("notes", say("record.notes"), fields),
    ]


def spacer_note(asset: Asset, display: Display) -> Child:
    """Say which span of a spacer coupling is taken."""
    if asset.coupling is not Coupling.SPACER:
        return None
    return note(say("record.spacer", span=display.text(asset.span_mm, Quantity.DISTANCE)))


def discard_button() -> html.Button:
    """Put the way to throw a draft away; the page's own script hears it, wherever it stands."""
    sure = data(discard="yes", sure=say("record.draft.discard.sure"))
    return html.Button(say("record.draft.discard"), type="button", className="small-button", **sure)


def kept_draft(at: str) -> html.Div:
    """Say that a draft was found in this browser."""
    return html.Div(
        [
            html.P(say("record.draft.found", at=at)),
            discard_button(),
        ],
        className="problems",
        role="status",
    )


def bar(status: str) -> html.Div:
    """Put the line that stays in sight: the verdict while it is typed, and the way to recording."""
    said = html.Div(
        [html.Div(id=status), unanswered(say("record.unanswered.short"))], role="status", **aria(live="polite")
    )
    return html.Div([other_tab(), said, html.A(say("record.to_end"), href="#record-end")], className="record-bar")


def unanswered(text: str) -> html.P:
    """Put the words that what stands there is not of what is typed now; the page's own script shows them (``assets/form_answers.js``)."""
    return html.P(text, className="unanswered", hidden=True)


def other_tab() -> html.Div:
    """Put what is said where another tab of the browser wrote the same draft; the page's own script shows it."""
    texts = {"take": say("record.tabs.take"), "hold": say("record.tabs.hold")}
    ways = [
        html.Button(text, type="button", className="small-button", **data(draft=which)) for which, text in texts.items()
    ]
    return html.Div(
        [html.P(say("record.tabs")), html.Div(ways, className="links")], id="record-tabs", role="alert", hidden=True
    )


def why_part(fields: Texts) -> html.Div:
    """Put the reason of an amendment."""
    return html.Div([written("why", say("record.why"), fields, hint=say("record.why.hint")), said_slot("amend")])


def store(name: str, content: Any = None) -> dcc.Store:
    """Put something that the browser keeps as long as the page is open."""
    return dcc.Store(id=name, data=content)
