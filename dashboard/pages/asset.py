"""Asset: the history of one machine, for the engineer who looks into it and the person who goes to align it.

Decides from it when to look again, which way the machine moves between visits and
what that suggests, and what was left last time.  Without a tag the page is the
list of machines.

The page comes in three parts, so that what needs the whole fleet does not keep
waiting what is read from the machine's own jobs.
"""

from __future__ import annotations

from dataclasses import dataclass

import dash
from dash import Input, Output, dcc, html
from dash.exceptions import PreventUpdate

from dashboard.components.asset_drift import drift_part
from dashboard.components.asset_forecast import forecast_part
from dashboard.components.asset_history import jobs_part, measured_part
from dashboard.components.asset_patterns import patterns_part
from dashboard.components.asset_shafts import shafts_part
from dashboard.components.asset_top import about_machine, judging_switch, last_visit, ratio_part
from dashboard.components.links import machine
from dashboard.components.pieces import (
    Child,
    blank,
    empty_book,
    heading,
    limits,
    note,
    problems,
    sentence,
    waiting,
)
from dashboard.components.record_changes import amend_links, amended_part, record_link
from dashboard.components.tables import Column, table
from dashboard.context import context
from dashboard.fetch import Scene, scene, study_for
from dashboard.ids import Shell
from dashboard.place import Place, shortened, tag_of
from dashboard.views import finder_view
from dashboard.views.asset_choices import Judging, banner, judged_again, read_job, read_limits, read_risk
from dashboard.views.asset_drift_view import build_drift
from dashboard.views.asset_forecast_view import build_forecast
from dashboard.views.asset_last_view import build_last
from dashboard.views.asset_patterns_view import build_patterns
from dashboard.views.asset_shafts_view import build_shafts
from dashboard.views.asset_standing import row_of
from dashboard.views.asset_view import build, days_of, missing, who_of
from dashboard.views.limits_view import limits_note
from dashboard.words import say
from dashboard.writing import count, counted, day, judged
from models.maths.limits import limits_for
from models.units import Quantity
from models.values.story import AssetStory

PATH = "/asset"
NAME = "page.asset"
ORDER = 3


class Ids:
    """Ids of this page."""

    BODY = "asset-body"
    STUDY = "asset-study-body"
    REST = "asset-rest-body"
    JOBS = "asset-jobs"


@dataclass(frozen=True, slots=True)
class Opened:
    """A machine's page as it was asked for: the story as the book has it, and as it is judged here."""

    seen: Scene
    scheme: str
    book: AssetStory
    story: AssetStory
    judging: Judging


def layout() -> html.Div:
    """Give the skeleton; the numbers come with the callbacks."""
    slow = html.Div([waiting(), html.Div(id=Ids.STUDY, className="page slow")], className="slow-slot")
    return html.Div(
        [html.Div(waiting(), id=Ids.BODY, className="page"), slow, html.Div(id=Ids.REST, className="page")],
        className="page",
    )


def show(pathname: str | None, search: str | None, scheme: str | None) -> Child:
    """Fill the top of the page for an address: one machine, or the list of machines."""
    seen = _seen(pathname, search, scheme)
    if seen.site is None:
        return empty_book()
    tag = tag_of(pathname)
    if not tag:
        return list_body(finder_view.build(seen.history, seen.place.get("q")), seen)
    opened = _opened(pathname, search, scheme)
    if opened is None:
        view = missing(shortened(tag), seen.display)
        back = dcc.Link(say("asset.to_list"), href=seen.place.to(PATH))
        return [heading(view.title), problems(seen.problems), blank(say("asset.unknown.title"), view.sentence, back)]
    return top(opened)


def show_study(pathname: str | None, search: str | None, scheme: str | None) -> Child:
    """Fill the part that rests on the whole fleet: forecast, drift and what it suggests."""
    opened = _opened(pathname, search, scheme)
    if opened is None or not opened.story.standing:
        return None
    return middle(opened)


def show_rest(pathname: str | None, search: str | None, scheme: str | None) -> Child:
    """Fill the rest: the shafts of one job, what was measured, every job."""
    opened = _opened(pathname, search, scheme)
    if opened is None or not opened.story.standing:
        return None
    return rest(opened)


def register(app: dash.Dash) -> None:
    """Attach the callbacks."""
    for name, fill in ((Ids.BODY, show), (Ids.STUDY, show_study), (Ids.REST, show_rest)):
        app.callback(
            Output(name, "children"),
            Input(Shell.URL, "pathname"),
            Input(Shell.URL, "search"),
            Input(Shell.SCHEME, "data"),
        )(fill)


def _seen(pathname: str | None, search: str | None, scheme: str | None) -> Scene:
    if not (pathname == PATH or (pathname or "").startswith(f"{PATH}/")) or scheme is None:
        raise PreventUpdate
    return scene(pathname, search)


def _opened(pathname: str | None, search: str | None, scheme: str | None) -> Opened | None:
    """Read the machine of an address; ``None`` where it speaks of none that the site has."""
    seen, tag = _seen(pathname, search, scheme), tag_of(pathname)
    if seen.site is None or not tag:
        return None
    book = context().book
    story = book.story(seen.site.site_id, tag)
    if story is None:
        return None
    judging = read_limits(seen.place, book.limit_sets(seen.site.site_id), seen.limit_set)
    return Opened(seen, scheme or "", story, judged_again(story, judging.limit_set), judging)


def top(opened: Opened) -> list[Child]:
    """Put what the machine is judged by, what was left last, and its history in one picture."""
    seen, place = opened.seen, opened.seen.place
    view = build(opened.story, seen.display)
    said = (*seen.problems, opened.judging.problem, read_risk(place).problem, read_job(place, view.lines).problem)
    parts: list[Child] = [
        heading(view.title, record_link(view.tag, place)),
        problems(said),
        sentence(view.sentence),
    ]
    last = build_last(opened.story, seen.display)
    if last is None:
        return [*parts, about_machine(view), blank(say("asset.no_jobs.title"), say("asset.no_jobs.text"))]
    return [
        *parts,
        judging_switch(opened.judging, place, banner(opened.book, opened.story, opened.judging)),
        html.Div(
            [
                ratio_part(view, opened.scheme, as_booked=opened.judging.limit_set is None),
                last_visit(last, view.limit_note),
            ],
            className="asset-top",
        ),
        about_machine(view),
    ]


def middle(opened: Opened) -> list[Child]:
    """Put what needs the whole fleet."""
    seen, story = opened.seen, opened.story
    history = seen.history  # asked once: study and rows must be of the same entry
    row = row_of(history, story.asset_id)
    if row < 0:
        return []
    study, chosen = study_for(history), opened.judging.limit_set
    given = limits_for(chosen, story.asset.coupling, story.asset.limit_speed_rpm) if chosen else None
    forecast = build_forecast(
        study, history, row, risk=read_risk(seen.place).value / 100.0, now_us=seen.now_us, display=seen.display, given=given
    )  # fmt: skip
    drift = build_drift(
        study, history, row, display=seen.display, who=who_of(story), feet_mm=story.asset.feet_movable_mm, given=given
    )  # fmt: skip
    patterns = build_patterns(study, history, row, display=seen.display, days=days_of(story))
    return [
        forecast_part(forecast, build(story, seen.display), seen.place, opened.scheme),
        drift_part(drift, opened.scheme),
        patterns_part(patterns, seen.place),
    ]


def rest(opened: Opened) -> list[Child]:
    """Put the shafts of one job, what was measured over time, and every job."""
    seen, place = opened.seen, opened.seen.place
    view = build(opened.story, seen.display)
    line = read_job(place, view.lines).value
    drawn = None if line is None else build_shafts(opened.story, line, seen.display)
    return [
        None if drawn is None else shafts_part(drawn, place, seen.display, opened.scheme),
        measured_part(view, opened.scheme),
        jobs_part(Ids.JOBS, view, place, amend_links(view.lines, view.zone, place)),
        amended_part(view.lines, view.display, view.zone),
        limits(limits_note(seen.limit_set)),
    ]


def list_body(view: finder_view.FinderView, seen: Scene) -> list[Child]:
    """Put the list of machines together."""
    if not view.machines:
        return [
            heading(say("list.title")),
            blank(say("book.no_jobs.title"), say("book.no_jobs.text"), html.Code(say("book.empty.command"))),
        ]
    asked = shortened(view.asked)
    text = (
        say("list.asked", n=counted(view.found, "machine"), of=count(view.machines), asked=asked)
        if asked
        else say("list.all", n=counted(view.machines, "machine"))
    )
    parts: list[Child] = [
        heading(say("list.title")),
        problems(seen.problems),
        sentence(text),
        _search(seen.place, asked),
    ]
    if not view.lines:
        return [*parts, blank(say("list.none.title"), say("list.none.text"))]
    columns = [
        Column(say("column.machine")),
        Column(say("column.what")),
        Column(say("column.area")),
        Column(say("column.train")),
        Column(say("column.speed", unit=seen.display.unit(Quantity.SPEED)), number=True),
        Column(say("column.jobs"), number=True),
        Column(say("column.last"), number=True),
        Column(say("column.last_left"), number=True),
    ]
    rows = [
        [
            machine(line.tag, seen.place),
            f"{line.description} ({say('list.retired')})" if line.retired else line.description,
            line.area,
            line.train,
            seen.display.text(line.speed_rpm, Quantity.SPEED, with_unit=False),
            count(line.jobs),
            day(line.last),
            judged(line.left_ratio),
        ]
        for line in view.lines
    ]
    parts.append(table(say("list.caption"), columns, rows))
    if view.found > len(view.lines):
        parts.append(note(say("list.more", shown=count(len(view.lines)), n=count(view.found))))
    return parts


def _search(place: Place, asked: str) -> Child:
    return html.P(dcc.Link(say("list.clear"), href=place.here(q=None))) if asked else note(say("list.hint"))
