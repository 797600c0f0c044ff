"""Record: for the person at the machine, with readings and not offsets.

Sees what was left last time, the target and the limit; types readings and
sees while typing what they mean, what each foot needs and what speaks against
them; leaves with one entry in the book.  Amends an old job on the same page.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import dash
from dash import Input, Output, State, dcc, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.browser import attach
from dashboard.components import record_form as form
from dashboard.components import record_results as results
from dashboard.components.links import machine
from dashboard.components.pieces import Child, blank, empty_book, heading, note, problems, section, waiting
from dashboard.components.record_open import asks_part, open_part
from dashboard.components.record_start import choose_part, last_time
from dashboard.context import context
from dashboard.desk import Handed, basis_on, free_ref
from dashboard.fetch import Scene, scene
from dashboard.ids import Shell
from dashboard.place import asset_path, shortened
from dashboard.views import finder_view
from dashboard.views.record_fields import NOT_MEASURED, STAGES, fields_of, four_fields, in_units
from dashboard.views.record_sheet import Around, moment_of
from dashboard.views.record_view import Ask, RecordView, build, last_of, stated_fields, today_of
from dashboard.words import say
from dashboard.writing import moment
from models.errors import DriftbookError
from models.units import Display
from models.values.draft import Way
from models.values.kinds import Reason
from models.values.story import AssetStory, JobLine

PATH = "/record"
NAME = "page.record"
ORDER = 4


class Ids:
    """Ids of this page."""

    BODY = "record-body"
    CHOOSE = "record-choose"
    KEY = "record-key"
    DRAFT = "record-draft"
    FORM = "record-form"
    SECTIONS = "record-sections"
    TYPED = "record-typed"
    KEPT = "record-kept"
    SHAPE = "record-shape"
    SAID = "record-said"
    MEASURE_FOUND = "record-measure-found"
    MEASURE_LEFT = "record-measure-left"
    RESULT_FOUND = "record-result-found"
    RESULT_LEFT = "record-result-left"
    CHANCE_FOUND = "record-chance-found"
    CHANCE_LEFT = "record-chance-left"
    SOFT_BEFORE = "record-soft-before"
    SOFT_AFTER = "record-soft-after"
    STATUS = "record-status"
    OPEN = "record-open"
    ASKS = "record-asks"
    REASONS = "record-reasons"
    CHANGED = "record-changed"
    DISCARD = "record-discard"
    SAVE = "record-save"
    SEND = "record-send"
    ANSWER = "record-answer"
    DONE = "record-done"
    GONE = "record-gone"
    CONFIRMED = "record-confirmed"


@dataclass(frozen=True, slots=True)
class Subject:
    """What the address speaks of: a machine, and the version of a job that is amended; or why it is none."""

    story: AssetStory | None
    amends: JobLine | None = None
    problem: str = ""
    later: JobLine | None = None


def layout() -> html.Div:
    """Give the skeleton; everything comes with the callbacks."""
    return html.Div(waiting(), id=Ids.BODY, className="page")


def subject(seen: Scene) -> Subject:
    """Find the machine and the job that an address speaks of."""
    desk, site = context().desk, seen.required
    tag, asked = seen.place.get("asset"), seen.place.get("amend")
    if not asked:
        story = context().book.story(site.site_id, tag) if tag else None
        return Subject(story, problem=say("asset.unknown", tag=shortened(tag)) if tag and story is None else "")
    entry = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 16 else 0
    tag = (desk.tag_of(site, entry) if desk is not None and not tag else tag) or ""
    story = context().book.story(site.site_id, tag) if tag else None
    lines = {line.entry: line for line in story.jobs} if story is not None else {}
    old = lines.get(entry)
    if old is None:
        return Subject(None, problem=say("record.amend.unknown", entry=shortened(asked)))
    return Subject(story, old, later=lines.get(old.superseded_by or 0))


# -- the page ------------------------------------------------------------------------------------------------------


def show(pathname: str | None, search: str | None, scheme: str | None) -> Child:
    """Fill the page for an address; another colour scheme leaves the form as it is."""
    if pathname != PATH or scheme is None or set(dash.ctx.triggered_prop_ids) == {f"{Shell.SCHEME}.data"}:
        raise PreventUpdate
    seen = scene(pathname, search)
    if seen.site is None:
        return empty_book()
    about = subject(seen)
    if about.story is None:
        return _choosing(seen, about)
    if about.later is not None and about.amends is not None:
        return _amended_already(about, seen)
    saved = seen.place.get("saved")
    if saved:
        return _confirmed(about.story, saved, seen)
    return _body(about.story, about.amends, seen)


def _choosing(seen: Scene, about: Subject) -> list[Child]:
    view = finder_view.build(seen.history, "")
    return [
        heading(say("record.title")),
        problems((*seen.problems, about.problem)),
        *choose_part(Ids.CHOOSE, view, seen.place),
    ]


def _amended_already(about: Subject, seen: Scene) -> list[Child]:
    old, later = about.amends, about.later
    assert old is not None  # noqa: S101 - the caller has looked
    assert later is not None  # noqa: S101
    text = say("record.amend.already", entry=old.entry, later=later.entry, by=later.author)
    links = (
        dcc.Link(say("record.amend.later", entry=later.entry), href=seen.place.to(PATH, amend=later.entry)),
        machine(old.job.tag, seen.place),
    )
    return [heading(say("record.title.amend", entry=old.entry)), blank(say("record.amend.already.title"), text, *links)]


def _confirmed(story: AssetStory, saved: str, seen: Scene) -> list[Child]:
    line = next((line for line in story.jobs if str(line.entry) == saved), None)
    if line is None:
        return [heading(say("record.title")), problems((say("record.amend.unknown", entry=shortened(saved)),))]
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
                dcc.Link(say("record.saved.amend"), href=place.to(PATH, asset=tag, amend=line.entry)),
                dcc.Link(say("record.saved.other"), href=place.to(PATH)),
            ],
            className="blank",
            role="status",
        ),
        note(say("record.caution.after"), strong=True),
    ]  # fmt: skip


def _history(tag: str, seen: Scene) -> dcc.Link:
    return dcc.Link(say("record.saved.look", tag=tag), href=seen.place.to(asset_path(tag)), className="action")


def _key(story: AssetStory, entry: int | None) -> str:
    return f"{story.site.code}/{story.asset.tag}/{entry or 'new'}"


def _body(story: AssetStory, amends: JobLine | None, seen: Scene) -> list[Child]:
    title = say("record.title.amend", entry=amends.entry) if amends else say("record.title")
    what = " · ".join(text for text in (story.asset.tag, story.asset.description) if text)
    key = {
        "key": _key(story, amends.entry if amends else None),
        "units": seen.display.length,
        "temperature": seen.display.temperature,
    }
    return [
        heading(f"{title} · {what}", _history(story.asset.tag, seen)),
        problems((*seen.problems, "" if context().desk else say("record.no_desk"))),
        note(say("record.caution"), strong=True),
        last_time(story, last_of(story, amends), _limits(story, seen), seen.display),
        form.store(Ids.DRAFT),
        html.Div(id=Ids.FORM, className="record"),
        form.store(Ids.KEY, key),
    ]  # fmt: skip


def _limits(story: AssetStory, seen: Scene) -> Any:
    return basis_on(story, seen.today, context().book.limit_set(story.site.site_id))


def fill(draft: dict[str, Any] | None, pathname: str | None, search: str | None) -> Child:
    """Make the form, filled with the draft of this browser where there is one."""
    if draft is None or pathname != PATH:
        raise PreventUpdate
    seen = scene(pathname, search)
    about = subject(seen)
    if about.story is None:
        raise PreventUpdate
    story, old = about.story, about.amends
    fields = _first_fields(story, old, seen)
    kept = _kept(draft, seen.display)
    fields |= kept
    if not fields.get("by"):
        fields["by"] = str(draft.get("by") or "")[:200]
    basis = _limits(story, seen)
    asset, display, site = basis.asset, seen.display, story.site
    people = list(seen.history.people)
    serials = [one.serial for one in context().book.instruments(site.site_id)]
    stages = [
        _stage_section(stage, fields, [*form.measure_part(stage, fields, asset, display)], asset, display)
        for stage in STAGES
    ]
    return [
        form.store(Ids.TYPED, fields),
        # These stand beside what they fill: a callback of which only a part is on the page would be an error.
        *(form.store(name) for name in (Ids.KEPT, Ids.SHAPE, Ids.SAID, Ids.ASKS, Ids.SEND)),
        html.Div(
            [
                form.kept_draft(_when(draft, site.zone)) if kept else None,
                form.why_part(fields) if old else None,
                section(say("record.part.visit"), *form.visit_part(fields, people, serials, site.zone)),
                section(say("record.part.before"), form.checks_part(fields, before=True)),
                stages[0],
                section(say("record.part.soft_before"), _soft("soft_before", Ids.SOFT_BEFORE, fields, asset, display)),
                section(say("record.part.moves"), note(say("record.moves.note")), form.feet_part("shim", fields, asset, display),
                        form.side_moves(fields, asset, display)),
                stages[1],
                section(say("record.part.soft_after"), _soft("soft_after", Ids.SOFT_AFTER, fields, asset, display)),
                section(say("record.part.after"), form.checks_part(fields, before=False)),
                section(say("record.part.conditions"), *form.conditions_part(fields, display)),
                _end(old),
            ],
            id=Ids.SECTIONS,
            className="page",
        ),
        form.bar(Ids.STATUS),
    ]  # fmt: skip


def _stage_section(
    stage: str, fields: dict[str, str], measure: list[Child], asset: Any, display: Display
) -> html.Section:
    ids = (
        (Ids.MEASURE_FOUND, Ids.RESULT_FOUND, Ids.CHANCE_FOUND)
        if stage == "found"
        else (Ids.MEASURE_LEFT, Ids.RESULT_LEFT, Ids.CHANCE_LEFT)
    )
    left: list[Child] = [
        form.stage_part(stage, fields),
        form.spacer_note(asset, display),
        html.Div(measure, id=ids[0], className="measure"),
    ]
    if stage == "found":
        left += [form.dimensions_part(fields, asset, display), form.target_part(fields, display)]
    right = html.Div([html.Div(id=ids[1]), html.Div(id=ids[2])], className="result")
    return section(say(f"record.part.{stage}"), html.Div([html.Div(left, className="entry"), right], className="columns"))  # fmt: skip


def _soft(prefix: str, plan: str, fields: dict[str, str], asset: Any, display: Display) -> html.Div:
    left = html.Div([note(say("record.soft.note")), form.feet_part(prefix, fields, asset, display)], className="entry")
    return html.Div([left, html.Div(id=plan, className="result")], className="columns")


def _end(old: JobLine | None) -> html.Section:
    button = say("record.save.amend") if old else say("record.save")
    return html.Section(
        [
            html.H2(say("record.part.end"), id="record-end", tabIndex=-1),
            html.Div(id=Ids.CHANGED),
            html.Div(id=Ids.OPEN, className="open"),
            html.Div(id=Ids.REASONS, className="reasons"),
            html.Button(button, id=Ids.SAVE, type="button", className="button"),
            html.Div(id=Ids.ANSWER, role="alert", tabIndex=-1, className="answer"),
        ],
        className="part wide",
    )


def _first_fields(story: AssetStory, old: JobLine | None, seen: Scene) -> dict[str, str]:
    """Give what stands in the form before anything is typed: the old job, or what can be known of a new one."""
    if old is not None:
        return fields_of(old.job, seen.display) | stated_fields(old.job)
    now = context().clock()
    last = last_of(story)
    fields = {
        "performed": f"{now.astimezone(ZoneInfo(story.site.zone)):%Y-%m-%d %H:%M}",
        "ref": free_ref(story, now),
        "reason": Reason.PLANNED.value,
        "found.method": Way.RESULTS.value,
        "left.method": NOT_MEASURED,
    }
    if last is None:
        return fields
    fields |= {f"{stage}.by": last.job.method.value for stage in STAGES}
    return fields | four_fields("target", last.job.target, last.job.typed, seen.display)


def _kept(draft: dict[str, Any], display: Display) -> dict[str, str]:
    """Give the fields of a draft as this browser kept them; what is no text was not written by this page."""
    fields = draft.get("fields")
    if not isinstance(fields, dict):
        return {}
    texts = {str(name)[:80]: text[:4000] for name, text in fields.items() if isinstance(text, str)}
    try:
        typed_in = Display(str(draft.get("units")), str(draft.get("temperature")))
    except DriftbookError:
        return texts
    return in_units(texts, typed_in, display)


def _when(draft: dict[str, Any], zone: str) -> str:
    try:
        return moment(datetime.fromisoformat(str(draft.get("at"))).astimezone(UTC), zone)
    except ValueError:
        return say("record.draft.some_time")


# -- while it is typed ---------------------------------------------------------------------------------------------


def _look(fields: dict[str, str] | None, pathname: str | None, search: str | None) -> tuple[RecordView, Around, Scene]:
    if not fields or pathname != PATH:
        raise PreventUpdate
    seen = scene(pathname, search)
    about = subject(seen)
    if about.story is None:
        raise PreventUpdate
    texts = {str(name): str(text) for name, text in fields.items()}
    around = around_of(about, texts, seen)
    return build(texts, around), around, seen


def around_of(about: Subject, fields: dict[str, str], seen: Scene) -> Around:
    """Give what a form is held against: the machine and the limits of the day that stands in the form."""
    story = about.story
    assert story is not None  # noqa: S101 - the callers have looked
    here, site = context(), story.site
    now = here.clock()
    performed, _ = moment_of(fields, site.zone)
    day = today_of(performed or now, site.zone)
    limit_set = here.desk.limit_set(site, day) if here.desk else here.book.limit_set(site.site_id)
    instruments = here.book.instruments(site.site_id)
    return Around(story, basis_on(story, day, limit_set), instruments, seen.display, now, about.amends)


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
        said,
        view.summary,
        open_part(view),
        no_update if asks == asked else asks,
        results.differences_table(view.changed, say("record.changed.caption", entry=around.amends.entry if around.amends else "")),
    )  # fmt: skip


def chances(fields: dict[str, str] | None, pathname: str | None, search: str | None) -> tuple[Child, Child]:
    """Say how probable it is that each measurement is within; apart, because it takes longer."""
    view, _, _ = _look(fields, pathname, search)
    return results.chance(view.found), results.chance(view.left)


def measure(shape: dict[str, Any] | None, pathname: str | None, search: str | None) -> tuple[Any, Any]:
    """Put the fields of another method."""
    if not shape or pathname != PATH:
        raise PreventUpdate
    seen = scene(pathname, search)
    about = subject(seen)
    if about.story is None:
        raise PreventUpdate
    stage, fields = (
        str(shape.get("stage")),
        {str(name): str(text) for name, text in dict(shape.get("fields") or {}).items()},
    )
    parts = form.measure_part(stage, fields, _limits(about.story, seen).asset, seen.display) if stage in STAGES else []
    return (parts if stage == "found" else no_update), (parts if stage == "left" else no_update)


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
    view, around, seen = _look(sent.get("fields"), pathname, search)
    here, story = context(), around.story
    if here.desk is None:
        return say("record.no_desk")
    if view.job is None or not view.can_be_recorded:
        return [html.P(say("record.not_yet")), open_part(view)]
    handed = Handed(
        view.job, view.by, view.stated, view.bolts_tight, around.amends.entry if around.amends else None, view.why
    )
    try:
        line = here.desk.hand_in(story.site, handed, here.clock())
    except DriftbookError as fault:
        return [html.P(fault.message), html.P(fault.remedy)]
    address = seen.place.here(amend=None, asset=story.asset.tag, saved=line.entry)
    dash.set_props(Shell.URL, {"search": "?" + address.partition("?")[2]})
    return no_update


def offer(typed: str | None, pathname: str | None, search: str | None) -> list[dict[str, Any]]:
    """Offer the machines that answer to what is typed."""
    if pathname != PATH or not (typed or "").strip():
        raise PreventUpdate
    seen = scene(pathname, search)
    if seen.site is None:
        return []
    assets = seen.history.assets
    rows = finder_view.match(assets, str(typed)[:80])[: finder_view.OFFERED].tolist()
    return [
        {
            "value": seen.place.to(PATH, asset=str(assets.tag[row])),
            "text": finder_view.haystack(assets, row),
            "label": " · ".join(str(text) for text in (assets.tag[row], assets.description[row], assets.area[row]) if text),
        }
        for row in rows
    ]  # fmt: skip


def register(app: dash.Dash) -> None:
    """Attach the callbacks."""
    path, query = State(Shell.URL, "pathname"), State(Shell.URL, "search")
    app.callback(
        Output(Ids.BODY, "children"),
        Input(Shell.URL, "pathname"),
        Input(Shell.URL, "search"),
        Input(Shell.SCHEME, "data"),
    )(show)
    app.callback(Output(Ids.CHOOSE, "data"), Input(Ids.CHOOSE, "searchValue"), path, query, prevent_initial_call=True)(
        offer
    )
    attach(app, "go_to", Input(Ids.CHOOSE, "value"))
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
    attach(app, "record_discard", Input(Ids.DISCARD, "n_clicks"))
