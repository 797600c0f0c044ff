"""The form of the Record page as a whole: its parts under their titles, and the places that are filled while it is typed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.components import elements as html
from dashboard.components import record_form as form
from dashboard.components.pieces import Child, note, section
from dashboard.components.record_field import Texts, said_slot
from dashboard.ids import RecordIds as Ids
from dashboard.views.record_fields import STAGES
from dashboard.words import say
from models.units import Display
from models.values.asset import Asset


@dataclass(frozen=True, slots=True)
class FormBasis:
    """What the form is made for: the machine, the units, the clock of the site, and who is signed in, if anybody."""

    asset: Asset
    display: Display
    zone: str
    signed: str = ""


def form_parts(
    fields: Texts, basis: FormBasis, *, people: Sequence[str], serials: Sequence[str], amends: bool, kept: str
) -> list[Child]:
    """Put the whole form.

    Parameters
    ----------
    fields : dict of str to str
        What stands in it at first. [as typed]
    basis : FormBasis
        Machine, units and clock. [unitless]
    people, serials : sequence of str
        Proposals. [unitless]
    amends : bool
        True where an old job is amended. [unitless]
    kept : str
        When the draft that fills the form was kept; empty where there is none. [unitless]
    """
    asset, display = basis.asset, basis.display
    found, left = (_stage(stage, fields, form.measure_part(stage, fields, asset, display), basis) for stage in STAGES)
    parts: list[Child] = [
        form.kept_draft(kept) if kept else None,
        form.why_part(fields) if amends else None,
        section(
            say("record.part.visit"),
            said_slot("last"),
            *form.visit_part(fields, people, serials, basis.zone, basis.signed),
        ),
        section(say("record.part.before"), form.checks_part(fields, before=True)),
        found,
        section(say("record.part.soft_before"), _soft("soft_before", Ids.SOFT_BEFORE, fields, basis)),
        section(
            say("record.part.moves"),
            note(say("record.moves.note")),
            form.feet_part("shim", fields, asset, display),
            form.side_moves(fields, asset, display),
        ),
        left,
        section(say("record.part.soft_after"), _soft("soft_after", Ids.SOFT_AFTER, fields, basis)),
        section(say("record.part.after"), form.checks_part(fields, before=False)),
        section(say("record.part.conditions"), *form.conditions_part(fields, display)),
        _end(amends=amends),
    ]
    return [
        form.store(Ids.TYPED, fields),
        # These stand beside what they fill: a callback of which only a part is on the page would be an error.
        *(form.store(name) for name in (Ids.KEPT, Ids.SHAPE, Ids.SAID, Ids.ASKS, Ids.SEND)),
        html.Div(parts, id=Ids.SECTIONS, className="page"),
        form.bar(Ids.STATUS),
    ]


def _stage(stage: str, fields: Texts, measure: Sequence[Child], basis: FormBasis) -> html.Section:
    measured, result, chance = (
        (Ids.MEASURE_FOUND, Ids.RESULT_FOUND, Ids.CHANCE_FOUND)
        if stage == "found"
        else (Ids.MEASURE_LEFT, Ids.RESULT_LEFT, Ids.CHANCE_LEFT)
    )
    left: list[Child] = [
        form.stage_part(stage, fields),
        form.spacer_note(basis.asset, basis.display),
        html.Div(list(measure), id=measured, className="measure"),
    ]
    if stage == "found":
        left += [
            form.dimensions_part(fields, basis.asset, basis.display),
            form.target_part(fields, basis.asset, basis.display),
            form.upright_part(),
        ]
    words = form.unanswered(say("record.unanswered"))
    right = html.Div(
        [words, html.Div(id=result, className="said-of"), html.Div(id=chance, className="chance-of")],
        className="result",
    )
    return section(
        say(f"record.part.{stage}"), html.Div([html.Div(left, className="entry"), right], className="columns")
    )


def _soft(prefix: str, plan: str, fields: Texts, basis: FormBasis) -> html.Div:
    feet = form.feet_part(prefix, fields, basis.asset, basis.display)
    left = html.Div([note(say("record.soft.note")), feet], className="entry")
    words = form.unanswered(say("record.unanswered"))
    return html.Div(
        [left, html.Div([words, html.Div(id=plan, className="said-of")], className="result")], className="columns"
    )


def _end(*, amends: bool) -> html.Section:
    button = say("record.save.amend") if amends else say("record.save")
    return html.Section(
        [
            html.H2(say("record.part.end"), id="record-end", tabIndex=-1),
            form.unanswered(say("record.unanswered")),
            html.Div(id=Ids.CHANGED, className="said-of"),
            html.Div(id=Ids.OPEN, className="open said-of"),
            html.Div(id=Ids.REASONS, className="reasons"),
            html.Button(button, id=Ids.SAVE, type="button", className="button"),
            html.Div(id=Ids.ANSWER, role="alert", tabIndex=-1, className="answer"),
        ],
        className="part wide",
    )
