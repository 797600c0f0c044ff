"""What keeps a job out of the book, and the fields for the reasons that have to be stated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.components import elements as html
from dashboard.components.aria import aria, data
from dashboard.components.pieces import Child, note
from dashboard.components.record_field import field_id, said_id, typed
from dashboard.components.record_form import discard_button
from dashboard.views.record_view import Ask, RecordView, doubt_name
from dashboard.words import say


@dataclass(frozen=True, slots=True)
class Taken:
    """The entry that has the number of a job already, where it is amended, and which draft that takes; no address where an entry is amended."""

    entry: int
    amend: str
    key: str


def open_part(view: RecordView, taken: Taken | None = None, *, answers: bool = False) -> Child:
    """Put what cannot be true, and what is missing; ``taken`` is the entry that has the job's number already.

    With ``answers`` it stands under the button, and the reasons that are asked for above it.
    """
    parts: list[Child] = []
    if view.stops:
        parts += [
            html.P(say("record.open.stops"), className="lead"),
            html.Ul([html.Li(text) for text in view.stops], className="stops"),
        ]
    if taken is not None:
        parts.append(_taken(taken))
    if view.missing:
        parts += [
            html.P(say("record.open.missing"), className="lead"),
            html.Ul([html.Li(text) for text in view.missing]),
        ]
    waiting = [ask for ask in view.asks if not ask.stated]
    if waiting and answers:
        parts.append(html.P(say("record.open.asks.above", n=len(waiting)), className="lead"))
        parts.append(html.A(say("record.open.asks.first"), href=f"#{field_id(waiting[0].field)}", className="action"))
    elif waiting:
        parts.append(html.P(say("record.open.asks", n=len(waiting)), className="lead"))
    return html.Div(parts) if parts else note(say("record.open.nothing"))


def _taken(taken: Taken) -> html.Div:
    """Put the ways out where the number of a job is in the book already: amend that entry, or let the draft go."""
    ways: list[Child] = [discard_button()]
    if taken.amend:
        link = html.Link(say("record.taken.amend", entry=taken.entry), href=taken.amend, className="action")
        ways.insert(0, html.Span(link, **data(handover=taken.key)))
    return html.Div(ways, className="links")


def _to_field(ask: Ask) -> Child:
    """Put the way to the field that an ask is about: on a phone it stands many screens above."""
    if not ask.at:
        return None
    label = say("record.ask.at.label", doubt=doubt_name(ask.doubt))
    return html.A(say("record.ask.at"), href=f"#{said_id(ask.at)}", className="action", **aria(label=label))


def asks_part(asks: Sequence[Ask]) -> Child:
    """Put each doubt with the field in which its reason is stated."""
    if not asks:
        return None
    blocks = [
        html.Div(
            [
                html.Ul([html.Li(sentence) for sentence in ask.sentences]),
                _to_field(ask),
                typed(ask.field, say("record.ask", doubt=doubt_name(ask.doubt)), {ask.field: ask.stated}, wide=True),
            ],
            className="ask",
        )
        for ask in asks
    ]
    return html.Div([html.P(say("record.asks.title"), className="lead"), *blocks])
