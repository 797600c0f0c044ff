"""Record: for the person at the machine, with readings and not offsets.

Sees what was left last time, the target and the limit; types readings and
sees while typing what they mean, what each foot needs and what speaks against
them; leaves with one entry in the book.  Amends an old job on the same page.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash
from dash import Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.auth.asking import may_void
from dashboard.away import beside_form, noticed
from dashboard.browser import attach
from dashboard.components import elements as html
from dashboard.components import record_form as form
from dashboard.components import record_results as results
from dashboard.components.aria import data
from dashboard.components.links import machine
from dashboard.components.machine_box import answering, attach_box
from dashboard.components.pieces import Child, blank, note
from dashboard.components.record_changes import void_link
from dashboard.components.record_open import Taken, asks_part, open_part
from dashboard.components.record_sections import FormBasis, form_parts
from dashboard.components.record_start import choose_part, last_time
from dashboard.components.retired import retired_part
from dashboard.context import context
from dashboard.desk import Handed
from dashboard.fetch import Scene, scene
from dashboard.ids import RecordIds, Shell
from dashboard.opening import attach_fill, begin, import_way, skeleton
from dashboard.place import asset_path, read_site, shortened
from dashboard.recording import (
    Subject,
    around_of,
    first_fields,
    kept_fields,
    kept_when,
    limits_today,
    signed_as,
    subject,
    ways_of,
)
from dashboard.views import finder_view
from dashboard.views.record_fields import STAGES, carried_over
from dashboard.views.record_sheet import Around
from dashboard.views.record_view import Ask, RecordView, build, last_of
from dashboard.words import say, tell
from dashboard.writing import moment
from models.errors import BookStateError, DriftbookError
from models.values.story import AssetStory, JobLine

PATH = "/record"
NAME = "page.record"
ORDER = 4


Ids = RecordIds


def layout() -> html.Div:
    """Give the skeleton; everything comes with the callbacks."""
    return skeleton(Ids.BODY)


# -- the page ------------------------------------------------------------------------------------------------------


def show(seen: Scene, _scheme: str) -> Child:
    """Fill the page; another colour scheme leaves the form as it is."""
    if set(dash.ctx.triggered_prop_ids) == {f"{Shell.SCHEME}.data"}:
        raise PreventUpdate
    about = subject(seen)
    if about.story is None:
        return _choosing(seen, about)
    if about.later is not None and about.amends is not None:
        return _amended_already(about.amends, about.later, seen)
    if about.amends is not None and about.amends.void:
        return _void(about.amends, seen)
    saved = seen.place.get("saved")
    if saved:
        return _confirmed(about.story, saved, seen)
    return _body(about.story, about.amends, seen)


def _choosing(seen: Scene, about: Subject) -> list[Child]:
    view = finder_view.build(seen.history, "")
    return [
        *begin(say("record.title"), seen, (about.problem,)),
        *choose_part(Ids.CHOOSE, view, seen.place, import_way(seen)),
    ]


def _amended_already(old: JobLine, later: JobLine, seen: Scene) -> list[Child]:
    title = say("record.title.amend", entry=old.entry)
    if later.void:
        text = say("record.amend.voided", entry=old.entry, later=later.entry, by=later.author)
        ways = (void_link(later.entry, seen.place, say("void.link.back")), machine(later.job.tag, seen.place))
        return [*begin(title, seen), blank(say("record.amend.void.title"), text, *ways)]
    text = say("record.amend.already", entry=old.entry, later=later.entry, by=later.author)
    links = (
        html.Link(say("record.amend.later", entry=later.entry), href=seen.place.to(PATH, amend=later.entry)),
        machine(later.job.tag, seen.place),
    )
    return [*begin(title, seen), blank(say("record.amend.already.title"), text, *links)]


def _void(line: JobLine, seen: Scene) -> list[Child]:
    text = say("record.amend.void", entry=line.entry, ref=line.job.ref, by=line.author)
    links = (void_link(line.entry, seen.place, say("void.link.back")), machine(line.job.tag, seen.place))
    title = say("record.title.amend", entry=line.entry)
    return [*begin(title, seen), blank(say("record.amend.void.title"), text, *links)]


def _confirmed(story: AssetStory, saved: str, seen: Scene) -> list[Child]:
    line = next((line for line in story.jobs if str(line.entry) == saved), None)
    if line is None:
        return begin(say("record.title"), seen, (say("record.amend.unknown", entry=shortened(saved)),))
    tag, place = story.asset.tag, seen.place
    key = "record.saved.amended" if line.supersedes else "record.saved.job"
    text = say(
        key,
        entry=line.entry,
        tag=tag,
        by=line.author,
        at=moment(line.recorded_at, story.site.zone),
        old=line.supersedes or "",
    )
    return [
        html.Div(html.H1(say("record.saved.title", entry=line.entry), id=Ids.CONFIRMED, tabIndex=-1), className="page-head"),
        form.store(Ids.GONE),
        form.store(Ids.DONE, _key(story, line.supersedes)),
        html.Div(
            [
                html.P(text),
                html.P(say("record.saved.safe")),
                _history(tag, seen),
                html.Link(say("record.saved.amend"), href=place.to(PATH, asset=tag, amend=line.entry)),
                void_link(line.entry, place, say("void.link.whole")) if may_void(seen.required.site_id) else None,
                html.Link(say("record.saved.other"), href=place.to(PATH)),
            ],
            className="blank",
            role="status",
        ),
        note(say("record.caution.after"), strong=True),
    ]  # fmt: skip


def _history(tag: str, seen: Scene) -> html.Link:
    return html.Link(say("record.saved.look", tag=tag), href=seen.place.to(asset_path(tag)), className="action")


def _key(story: AssetStory, entry: int | None) -> str:
    return f"{story.site.code}/{story.asset.tag}/{entry or 'new'}"


def _body(story: AssetStory, amends: JobLine | None, seen: Scene) -> list[Child]:
    title = say("record.title.amend", entry=amends.entry) if amends else say("record.title")
    what = " · ".join(text for text in (story.asset.tag, story.asset.description) if text)
    key = {
        "key": _key(story, amends.entry if amends else None),
        "units": seen.display.length,
        "temperature": seen.display.temperature,
        OF: _made(seen),
    }
    return [
        *begin(
            f"{title} · {what}",
            seen,
            ("" if context().desk else say("record.no_desk"),),
            beside=_history(story.asset.tag, seen),
        ),
        html.P(void_link(amends.entry, seen.place, say("void.link.whole"))) if amends and may_void(seen.required.site_id) else None,
        retired_part(story, seen.today, "asset.merged.record", seen.place.to(PATH, asset=story.merged_into)),
        note(say("record.caution"), strong=True),
        last_time(story, last_of(story, amends), limits_today(story, seen), seen.display),
        form.store(Ids.DRAFT),
        html.Div(id=Ids.FORM, className="record"),
        form.store(Ids.KEY, key),
    ]  # fmt: skip


def fill(draft: dict[str, Any] | None, pathname: str | None, search: str | None) -> Child:
    """Make the form, filled with the draft of this browser where there is one."""
    if draft is None:
        raise PreventUpdate
    seen = _made_for(draft, pathname, search)
    about = subject(seen)
    if about.story is None:
        raise PreventUpdate
    story, old = about.story, about.amends
    fields = first_fields(story, old, seen)
    kept = kept_fields(draft, seen.display)
    for stage, was in ways_of(draft).items():
        kept = carried_over(kept, stage, was)
    fields |= kept
    if not fields.get("by"):
        fields["by"] = str(draft.get("by") or "")[:200]
    fields |= signed_as(seen)
    return form_parts(
        fields,
        FormBasis(limits_today(story, seen).asset, seen.display, story.site.zone, signed_as(seen).get("by", "")),
        people=list(seen.history.people),
        serials=[one.serial for one in context().book.instruments(story.site.site_id)],
        amends=old is not None,
        kept=kept_when(draft, story.site.zone) if kept else "",
    )


# -- while it is typed ---------------------------------------------------------------------------------------------

ASKED = "asked"
"""Beside the fields: the number of the asking, which comes back with its answer, so that the page knows of what an answer is."""

OF = "of"
"""Beside the fields: for what the form was made.  The address of the moment may be the next page's already."""


def _made(seen: Scene) -> str:
    """Write for what a form is made: the choices of its address, and what that leaves to the site, which may be set anew meanwhile."""
    site = seen.required
    whole = seen.place.here(
        site=site.code, units=seen.display.length, degrees=seen.display.temperature, clock=site.zone
    )
    return whole.partition("?")[2]


def _moved(seen: Scene) -> str:
    """Say why a form cannot be taken as it was made: another site would be written to, or its clock and degrees are others now."""
    site, place = seen.required, seen.place
    if read_site(place, seen.sites).problem:
        return say("record.moved.site", site=shortened(place.get("site")))
    was = (place.get("clock") or site.zone, place.get("degrees") or seen.display.temperature)
    return "" if was == (site.zone, seen.display.temperature) else say("record.moved.clock", site=site.name)


def _made_for(texts: Mapping[str, Any], pathname: str | None, search: str | None) -> Scene:
    """Give what a form stands on: machine and units are those for which it was made.

    A form that does not say it came just now: it is of the address.
    """
    of = texts.get(OF)
    if of is None and pathname != PATH:
        raise PreventUpdate
    seen = scene(PATH, search if of is None else f"?{of}")
    if seen.site is None:
        raise PreventUpdate
    return seen


def _look(fields: dict[str, str] | None, pathname: str | None, search: str | None) -> tuple[RecordView, Around, Scene]:
    if not fields:
        raise PreventUpdate
    seen = _made_for(fields, pathname, search)
    about = subject(seen)
    if about.story is None or read_site(seen.place, seen.sites).problem:
        raise PreventUpdate  # what is shown would be another machine's
    typed = ((str(name), str(text)) for name, text in fields.items() if name not in {ASKED, OF})
    texts = dict(typed) | signed_as(seen)
    around = around_of(about, texts, seen)
    return build(texts, around), around, seen


def look(
    fields: dict[str, str] | None, scheme: str | None, pathname: str | None, search: str | None, asked: list[Any] | None
) -> tuple[Any, ...]:
    """Say what is typed: numbers, pictures, what speaks against it, what is missing."""
    view, around, seen = _look(fields, pathname, search)
    said: dict[str, list[list[str]]] = {}
    for one in view.said:
        said.setdefault(one.field, []).append([one.kind, one.text])
    feet = results.feet_in_use(around.basis, view.rows)
    display, tone = seen.display, scheme or "light"
    asks = [[ask.doubt, ask.field, *ask.sentences] for ask in view.asks]
    return (
        results.stage_result(view.found, around.basis, feet, display, tone),
        results.stage_result(view.left, around.basis, feet, display, tone),
        results.soft_result(view.soft_before, "soft_before", display, tone),
        results.soft_result(view.soft_after, "soft_after", display, tone),
        {ASKED: (fields or {}).get(ASKED, ""), "fields": said},
        view.summary,
        open_part(view, _taken(view, around, seen)),
        no_update if asks == asked else asks,
        results.differences_table(view.changed, say("record.changed.caption", entry=around.amends.entry if around.amends else "")),
    )  # fmt: skip


def _taken(view: RecordView, around: Around, seen: Scene) -> Taken | None:
    """Give the ways out where the number of the job is in the book already."""
    if view.taken is None:
        return None
    story = around.story
    address = "" if around.amends else seen.place.to(PATH, asset=story.asset.tag, amend=view.taken)
    return Taken(view.taken, address, _key(story, view.taken))


def chances(fields: dict[str, str] | None, pathname: str | None, search: str | None) -> tuple[Child, Child]:
    """Say how probable it is that each measurement is within; apart, because it takes longer."""
    view, _, _ = _look(fields, pathname, search)
    asked = data(asked=(fields or {}).get(ASKED, ""))
    return html.Div(results.chance(view.found), **asked), html.Div(results.chance(view.left), **asked)


def measure(shape: dict[str, Any] | None, pathname: str | None, search: str | None) -> tuple[Any, Any]:
    """Put the fields of another method; for both stages where the second was chosen before the first was answered."""
    if not shape:
        raise PreventUpdate
    texts = {str(name): str(text) for name, text in dict(shape.get("fields") or {}).items()}
    seen = _made_for(texts, pathname, search)
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
        [Ask(doubt, field, tuple(sentences), texts.get(field, "")) for doubt, field, *sentences in asks or []]
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


def _recorded(sent: dict[str, Any], pathname: str | None, search: str | None) -> Child:
    given = _made_for(sent.get("fields") or {}, pathname, search)
    if why := _moved(given):
        return [html.P(why), html.P(say("record.moved.remedy"))]
    if subject(given).story is None:
        return say("record.moved.machine")
    view, around, seen = _look(sent.get("fields"), pathname, search)
    here, story = context(), around.story
    if here.desk is None:
        return say("record.no_desk")
    if view.job is None or not view.can_be_recorded:
        return [html.P(say("record.not_yet")), open_part(view, _taken(view, around, seen))]
    handed = Handed(
        view.job, view.by, view.stated, view.bolts_tight, around.amends.entry if around.amends else None, view.why
    )
    try:
        line = here.desk.hand_in(story.site, handed, here.clock())
    except DriftbookError as fault:
        if isinstance(fault, BookStateError):
            raise
        return [html.P(tell(fault.message)), html.P(tell(fault.remedy))]
    # Whether the form still stands there only the browser knows: who has left it is told on the page that is open.
    told = say("record.handed", entry=line.entry, tag=story.asset.tag)
    key = _key(story, around.amends.entry if around.amends else None)
    handed_in = {"key": key, "tag": story.asset.tag, "entry": line.entry, "told": told}
    dash.set_props(Ids.HANDED, {"data": handed_in})
    return no_update


def offer(typed: str | None, pathname: str | None, search: str | None) -> list[dict[str, Any]]:
    """Offer the machines that answer to what is typed."""
    if pathname != PATH or not (typed or "").strip():
        raise PreventUpdate
    seen = scene(pathname, search)
    if seen.site is None:
        return []
    return answering(
        finder_view.offers(seen.history, str(typed), lambda tag: seen.place.to(PATH, asset=tag)), str(typed)
    )


def register(app: dash.Dash) -> None:
    """Attach the callbacks."""
    path, query = State(Shell.URL, "pathname"), State(Shell.URL, "search")
    attach_fill(app, Ids.BODY, PATH, show, alive=True)
    app.callback(Output(Ids.CHOOSE, "data"), Input(Ids.CHOOSE, "searchValue"), path, query, prevent_initial_call=True)(
        offer
    )
    attach_box(app, Ids.CHOOSE)
    attach(app, "record_draft", Output(Ids.DRAFT, "data"), Input(Ids.KEY, "data"))
    app.callback(Output(Ids.FORM, "children"), Input(Ids.DRAFT, "data"), path, query)(fill)
    attach(app, "record_keep", Output(Ids.KEPT, "data"), Input(Ids.TYPED, "data"))
    app.callback(
        Output(Ids.RESULT_FOUND, "children"),
        Output(Ids.RESULT_LEFT, "children"),
        Output(Ids.SOFT_BEFORE, "children"),
        Output(Ids.SOFT_AFTER, "children"),
        Output(Ids.SAID, "data"),
        Output(Ids.STATUS, "children"),
        Output(Ids.OPEN, "children"),
        Output(Ids.ASKS, "data"),
        Output(Ids.CHANGED, "children"),
        Input(Ids.TYPED, "data"),
        Input(Shell.SCHEME, "data"),
        path,
        query,
        State(Ids.ASKS, "data"),
    )(look)
    app.callback(
        Output(Ids.CHANCE_FOUND, "children"), Output(Ids.CHANCE_LEFT, "children"), Input(Ids.TYPED, "data"), path, query
    )(chances)
    attach(app, "record_restore", Input(Ids.REASONS, "children"))
    attach(app, "record_paint", Input(Ids.SAID, "data"))
    attach(app, "record_chanced", Input(Ids.CHANCE_FOUND, "children"))
    app.callback(Output(Ids.REASONS, "children"), Input(Ids.ASKS, "data"), State(Ids.TYPED, "data"))(reasons)
    app.callback(
        Output(Ids.MEASURE_FOUND, "children"),
        Output(Ids.MEASURE_LEFT, "children"),
        Input(Ids.SHAPE, "data"),
        path,
        query,
        prevent_initial_call=True,
    )(measure)
    attach(app, "record_settle", Input(Ids.MEASURE_FOUND, "children"), Input(Ids.MEASURE_LEFT, "children"))
    attach(app, "record_send", Output(Ids.SEND, "data"), Input(Ids.SAVE, "n_clicks"))
    app.callback(
        Output(Ids.ANSWER, "children"),
        Input(Ids.SEND, "data"),
        path,
        query,
        prevent_initial_call=True,
    )(hand_in)
    attach(app, "record_answered", Input(Ids.ANSWER, "children"))
    attach(app, "record_done", Output(Ids.GONE, "data"), Input(Ids.DONE, "data"))
    attach(app, "record_handed", Input(Ids.HANDED, "data"))
