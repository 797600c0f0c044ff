"""What stands in a form of the Record page: worked out while it is typed, and handed in over the desk.

The page itself is ``pages/record.py``; what a form rests on is in ``recording.py``.
"""

from __future__ import annotations

from typing import Any

import dash
from dash import no_update
from dash.exceptions import PreventUpdate

from dashboard.away import beside_form, noticed
from dashboard.components import elements as html
from dashboard.components import record_form as form
from dashboard.components import record_results as results
from dashboard.components.aria import data
from dashboard.components.pieces import Child
from dashboard.components.record_changes import RECORD
from dashboard.components.record_open import Taken, asks_part, open_part
from dashboard.context import context
from dashboard.desk import Handed, followed
from dashboard.fetch import Scene
from dashboard.ids import RecordIds as Ids
from dashboard.place import read_site, shortened
from dashboard.recording import ANEW, LEAF, OF, around_of, draft_key, limits_today, made_for, signed_as, subject
from dashboard.views.record_fields import STAGES, carried_over
from dashboard.views.record_sheet import Around
from dashboard.views.record_view import Ask, RecordView, build
from dashboard.views.record_when import PROPOSED
from dashboard.words import say, tell
from dashboard.writing import decisions_told
from models.errors import BookStateError, DriftbookError

ASKED = "asked"
"""Beside the fields: the number of the asking, which comes back with its answer, so that the page knows of what an answer is."""

# -- while it is typed ---------------------------------------------------------------------------------------------


def _look(fields: dict[str, str] | None, pathname: str | None, search: str | None) -> tuple[RecordView, Around, Scene]:
    if not fields:
        raise PreventUpdate
    seen = made_for(fields, pathname, search)
    about = subject(seen)
    if about.story is None or read_site(seen.place, seen.sites).problem:
        raise PreventUpdate  # what is shown would be another machine's
    typed = ((str(name), str(text)) for name, text in fields.items() if name not in {ASKED, OF})
    texts = dict(typed) | signed_as(seen)
    if about.amends is None:
        texts = followed(texts, about.story.asset.tag, about.story.site.zone)
    around = around_of(about, texts, seen)
    return build(texts, around), around, seen


def _lost_in(fields: dict[str, str] | None, pathname: str | None, search: str | None) -> list[Child] | None:
    """Say that what a form amends is not there any more; ``None`` where it is, or where nothing is amended."""
    if not fields:
        return None
    seen = made_for(fields, pathname, search)
    lost = None if read_site(seen.place, seen.sites).problem else subject(seen).lost
    return None if lost is None else _lost(seen, lost)


def look(
    fields: dict[str, str] | None, scheme: str | None, pathname: str | None, search: str | None, asked: list[Any] | None
) -> tuple[Any, ...]:
    """Say what is typed: numbers, pictures, what speaks against it, what is missing; nothing of it where what is amended is not there any more."""
    if (lost := _lost_in(fields, pathname, search)) is not None:
        said_of = {ASKED: (fields or {}).get(ASKED, ""), "fields": {}, "ref": ""}
        return None, None, None, None, said_of, say("record.lost.short"), html.Div(lost), no_update, None
    view, around, seen = _look(fields, pathname, search)
    said: dict[str, list[list[Any]]] = {}
    for one in view.said:
        said.setdefault(one.field, []).append([one.kind, one.text, *([one.answers] if one.answers else [])])
    feet = results.feet_in_use(around.basis, view.rows)
    display, tone = seen.display, scheme or "light"
    asks = [[ask.doubt, ask.field, ask.at, *ask.sentences] for ask in view.asks]
    return (
        results.stage_result(view.found, around.basis, feet, display, tone),
        results.stage_result(view.left, around.basis, feet, display, tone),
        results.soft_result(view.soft_before, "soft_before", display, tone),
        results.soft_result(view.soft_after, "soft_after", display, tone),
        {ASKED: (fields or {}).get(ASKED, ""), "fields": said, "ref": _followed(view, fields or {})},
        view.summary,
        open_part(view, _taken(view, around, seen)),
        no_update if asks == asked else asks,
        results.differences_table(view.changed, say("record.changed.caption", entry=around.amends.entry if around.amends else "")),
    )  # fmt: skip


def _followed(view: RecordView, fields: dict[str, str]) -> str:
    """Give the job number where it has followed the time; empty where it stays as it stands in the form."""
    return view.ref if fields.get(PROPOSED) and view.ref != " ".join(fields.get("ref", "").split()) else ""


def _taken(view: RecordView, around: Around, seen: Scene) -> Taken | None:
    """Give the ways out where the number of the job is in the book already."""
    if view.taken is None:
        return None
    story = around.story
    address = "" if around.amends else seen.place.to(RECORD, asset=story.asset.tag, amend=view.taken)
    return Taken(view.taken, address, draft_key(story, view.taken))


def chances(fields: dict[str, str] | None, pathname: str | None, search: str | None) -> tuple[Child, Child]:
    """Say how probable it is that each measurement is within; apart, because it takes longer."""
    asked = data(asked=(fields or {}).get(ASKED, ""))
    if _lost_in(fields, pathname, search) is not None:
        return html.Div(None, **asked), html.Div(None, **asked)
    view, _, _ = _look(fields, pathname, search)
    return html.Div(results.chance(view.found), **asked), html.Div(results.chance(view.left), **asked)


def measure(shape: dict[str, Any] | None, pathname: str | None, search: str | None) -> tuple[Any, Any]:
    """Put the fields of another method; for both stages where the second was chosen before the first was answered."""
    if not shape:
        raise PreventUpdate
    texts = {str(name): str(text) for name, text in dict(shape.get("fields") or {}).items()}
    seen = made_for(texts, pathname, search)
    about = subject(seen)
    if about.story is None:
        raise PreventUpdate
    texts.pop(OF, None)
    asset = limits_today(about.story, seen).asset
    was = shape.get("was")
    before = was if isinstance(was, dict) else {}
    parts: dict[str, Any] = {}
    for stage in str(shape.get("stage")).split():
        if stage in STAGES:
            fields = carried_over(texts, stage, str(before.get(stage) or ""))
            parts[stage] = form.measure_part(stage, fields, asset, seen.display)
    return parts.get("found", no_update), parts.get("left", no_update)


def reasons(asks: list[list[str]] | None, fields: dict[str, str] | None) -> Child:
    """Put a field for each reason that has to be stated."""
    texts = fields or {}
    return asks_part(
        [
            Ask(doubt, field, tuple(rest[1:]), texts.get(field, ""), "".join(rest[:1]))
            for doubt, field, *rest in asks or []
        ]
    )


# -- into the book -------------------------------------------------------------------------------------------------


def hand_in(sent: dict[str, Any] | None, pathname: str | None, search: str | None) -> Child:
    """Record what stands in the form, and say what keeps it out where it does not go."""
    if not sent:
        raise PreventUpdate
    try:
        return _recorded(sent, pathname, search)
    except BookStateError as fault:
        away = noticed(fault)
        return None if away is None else beside_form(away)


def _moved(seen: Scene) -> list[Child]:
    """Say why a form cannot be taken as it was made: another site would be written to, or its clock and degrees are others now."""
    site, place = seen.required, seen.place
    if read_site(place, seen.sites).problem:
        asked = shortened(place.get("site"))
        return [html.P(say("record.moved.site", site=asked)), html.P(say("record.moved.site.remedy", site=asked))]
    was = (place.get("clock") or site.zone, place.get("degrees") or seen.display.temperature)
    if was == (site.zone, seen.display.temperature):
        return []
    # Without what the form was made for: that is what the page is to be made anew for.
    again = place.here(**ANEW)
    return [
        html.P(say("record.moved.clock", site=site.name)),
        html.P(say("record.moved.remedy")),
        html.A(say("record.moved.again"), href=again, className="action"),
    ]


def _lost(seen: Scene, entry: int) -> list[Child]:
    """Say that a form amends what the book does not hold any more, although it may hold something else under its number."""
    again = seen.place.here(asset=None, **ANEW)
    return [
        html.P(say("record.lost", entry=entry)),
        html.P(say("record.lost.remedy")),
        html.A(say("other.version.again", entry=entry), href=again, className="action"),
    ]


def _recorded(sent: dict[str, Any], pathname: str | None, search: str | None) -> Child:
    given = made_for(sent.get("fields") or {}, pathname, search)
    if why := _moved(given):
        return why
    about = subject(given)
    if about.story is None:
        return say("record.moved.machine") if about.lost is None else _lost(given, about.lost)
    view, around, seen = _look(sent.get("fields"), pathname, search)
    here, story = context(), around.story
    if here.desk is None:
        return say("record.no_desk")
    if view.job is None or not view.can_be_recorded:
        return [html.P(say("record.not_yet")), open_part(view, _taken(view, around, seen), answers=True)]
    handed = Handed(
        view.job, view.by, view.stated, view.bolts_tight, around.amends.entry if around.amends else None, view.why,
        seen.place.get(LEAF),
        view.covariances, around.typed_at,
    )  # fmt: skip
    try:
        line = here.desk.hand_in(story.site, handed, here.clock())
    except DriftbookError as fault:
        if isinstance(fault, BookStateError):
            raise
        return [html.P(tell(fault.message)), html.P(tell(fault.remedy))]
    # Whether the form still stands there only the browser knows: who has left it is told on the page that is open.
    told = " ".join((say("record.handed", entry=line.entry, tag=story.asset.tag), *decisions_told(line.decisions)))
    key = draft_key(story, around.amends.entry if around.amends else None)
    handed_in = {"key": key, "tag": story.asset.tag, "entry": line.entry, "told": told}
    dash.set_props(Ids.HANDED, {"data": handed_in})
    return no_update
