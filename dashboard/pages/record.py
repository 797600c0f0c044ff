"""Record: for the person at the machine, with readings and not offsets.

Sees what was left last time, the target and the limit; types readings and
sees while typing what they mean, what each foot needs and what speaks against
them; leaves with one entry in the book.  Amends an old job on the same page.
"""

from __future__ import annotations

from typing import Any

import dash
from dash import Input, Output, State
from dash.exceptions import PreventUpdate

from dashboard import handing
from dashboard.auth.asking import may_void
from dashboard.browser import attach
from dashboard.components import elements as html
from dashboard.components import record_form as form
from dashboard.components.links import machine
from dashboard.components.machine_box import answering, attach_box
from dashboard.components.pieces import Child, blank, note
from dashboard.components.record_changes import void_link
from dashboard.components.record_sections import FormBasis, form_parts
from dashboard.components.record_start import choose_part, last_time
from dashboard.components.retired import retired_part
from dashboard.context import context
from dashboard.fetch import Scene, scene
from dashboard.ids import RecordIds, Shell
from dashboard.opening import attach_fill, begin, import_way, skeleton
from dashboard.place import asset_path, shortened
from dashboard.recording import (
    OF,
    Subject,
    draft_key,
    first_fields,
    kept_fields,
    kept_when,
    limits_today,
    made,
    made_for,
    signed_as,
    subject,
    ways_of,
)
from dashboard.views import finder_view
from dashboard.views.record_fields import carried_over
from dashboard.words import say
from dashboard.writing import moment
from models.values.story import AssetStory, JobLine

PATH = "/record"
NAME = "page.record"
ORDER = 2


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
        *choose_part(Ids.CHOOSE, view, seen.place, seen.required, import_way(seen)),
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
        form.store(Ids.DONE, draft_key(story, line.supersedes)),
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


def _body(story: AssetStory, amends: JobLine | None, seen: Scene) -> list[Child]:
    title = say("record.title.amend", entry=amends.entry) if amends else say("record.title")
    what = " · ".join(text for text in (story.asset.tag, story.asset.description) if text)
    key = {
        "key": draft_key(story, amends.entry if amends else None),
        "units": seen.display.length,
        "temperature": seen.display.temperature,
        OF: made(seen, story, amends),
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
        last_time(story, amends, limits_today(story, seen), seen),
        form.store(Ids.DRAFT),
        html.Div(id=Ids.FORM, className="record"),
        form.store(Ids.KEY, key),
    ]  # fmt: skip


def fill(draft: dict[str, Any] | None, pathname: str | None, search: str | None) -> Child:
    """Make the form, filled with the draft of this browser where there is one."""
    if draft is None:
        raise PreventUpdate
    seen = made_for(draft, pathname, search)
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
    if OF in draft:
        fields[OF] = str(draft[OF])  # its first look is of the same story as every later one
    return form_parts(
        fields,
        FormBasis(limits_today(story, seen).asset, seen.display, story.site.zone, signed_as(seen).get("by", "")),
        people=list(seen.history.people),
        serials=[one.serial for one in context().book.instruments(story.site.site_id)],
        amends=old is not None,
        kept=kept_when(draft, story.site.zone) if kept else "",
    )


# -- the machine ------------------------------------------------------------------------------------------------------


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
    )(handing.look)
    app.callback(
        Output(Ids.CHANCE_FOUND, "children"), Output(Ids.CHANCE_LEFT, "children"), Input(Ids.TYPED, "data"), path, query
    )(handing.chances)
    attach(app, "record_paint", Input(Ids.SAID, "data"))
    attach(app, "record_chanced", Input(Ids.CHANCE_FOUND, "children"))
    app.callback(Output(Ids.REASONS, "children"), Input(Ids.ASKS, "data"), State(Ids.TYPED, "data"))(handing.reasons)
    app.callback(
        Output(Ids.MEASURE_FOUND, "children"),
        Output(Ids.MEASURE_LEFT, "children"),
        Input(Ids.SHAPE, "data"),
        path,
        query,
        prevent_initial_call=True,
    )(handing.measure)
    attach(app, "record_settle", Input(Ids.MEASURE_FOUND, "children"), Input(Ids.MEASURE_LEFT, "children"))
    attach(app, "record_send", Output(Ids.SEND, "data"), Input(Ids.SAVE, "n_clicks"))
    app.callback(
        Output(Ids.ANSWER, "children"),
        Input(Ids.SEND, "data"),
        path,
        query,
        prevent_initial_call=True,
    )(handing.hand_in)
    attach(app, "record_answered", Input(Ids.ANSWER, "children"))
    attach(app, "record_done", Output(Ids.GONE, "data"), Input(Ids.DONE, "data"))
    attach(app, "record_handed", Input(Ids.HANDED, "data"))
