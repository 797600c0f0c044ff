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

from dashboard.auth.asking import may, may_sign, may_void
from dashboard.components import elements as html
from dashboard.components.asset_drift import drift_part
from dashboard.components.asset_forecast import forecast_part
from dashboard.components.asset_history import jobs_part, measured_part
from dashboard.components.asset_patterns import patterns_part
from dashboard.components.asset_shafts import shafts_part
from dashboard.components.asset_top import about_machine, judging_switch, last_visit, ratio_part
from dashboard.components.machine_list import machines
from dashboard.components.papers import asset_papers
from dashboard.components.pieces import (
    Child,
    blank,
    limits,
    note,
    sentence,
    waiting,
)
from dashboard.components.record_changes import amend_links, amended_part, record_link
from dashboard.components.retired import retired_part
from dashboard.components.signoffs import signoffs_part
from dashboard.components.take import take
from dashboard.context import context
from dashboard.fetch import Scene, recheck_known, study_for
from dashboard.opening import attach_fill, begin, no_jobs, skeleton
from dashboard.place import Place, asset_path, shortened, tag_of
from dashboard.proofs_routes import may_audit
from dashboard.recording import signed_as
from dashboard.views import finder_view
from dashboard.views.asset_choices import Judging, banner, judged_again, read_job, read_limits, read_risk
from dashboard.views.asset_drift_view import build_drift
from dashboard.views.asset_forecast_view import build_forecast
from dashboard.views.asset_last_view import build_last
from dashboard.views.asset_patterns_view import build_patterns
from dashboard.views.asset_shafts_view import build_shafts
from dashboard.views.asset_standing import row_of
from dashboard.views.asset_view import AssetView, build, days_of, missing, past_of, who_of
from dashboard.views.limits_view import limits_note
from dashboard.views.read_off_view import with_instruments
from dashboard.words import say
from models.maths.judged import limits_for
from models.values.own_work import own_work
from models.values.roles import Permission
from models.values.story import AssetStory

PATH = "/asset"
NAME = "page.asset"
ORDER = 5


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
        [skeleton(Ids.BODY), slow, html.Div(id=Ids.REST, className="page")],
        className="page",
    )


def fill(seen: Scene, scheme: str) -> Child:
    """Fill the top of the page: one machine, or the list of machines."""
    tag = tag_of(seen.place.path)
    if not tag:
        view = finder_view.build(seen.history, seen.place.get("q"))
        return [*begin(say("list.title"), seen), *(machines(view, seen) if view.machines else [no_jobs(seen)])]
    opened = _opened(seen, scheme)
    if opened is None:
        none = missing(shortened(tag), seen.display)
        back = html.Link(say("asset.to_list"), href=seen.place.to(PATH))
        return [*begin(none.title, seen), blank(say("asset.unknown.title"), none.sentence, back)]
    return top(opened)


def fill_study(seen: Scene, scheme: str) -> Child:
    """Fill the part that rests on the whole fleet: forecast, drift and what it suggests."""
    opened = _opened(seen, scheme)
    return middle(opened) if opened is not None and opened.story.standing else None


def fill_rest(seen: Scene, scheme: str) -> Child:
    """Fill the rest: the shafts of one job, what was measured, every job; of a machine whose jobs are all void, what was voided."""
    opened = _opened(seen, scheme)
    if opened is None or opened.story.standing:
        return rest(opened) if opened is not None else None
    return amended_part(opened.story.jobs, seen.display, opened.story.site.zone)


def register(app: dash.Dash) -> None:
    """Attach the callbacks."""
    for body, part in ((Ids.BODY, fill), (Ids.STUDY, fill_study), (Ids.REST, fill_rest)):
        attach_fill(app, body, PATH, part, below=True, further=body != Ids.BODY)


def _opened(seen: Scene, scheme: str) -> Opened | None:
    """Read the machine of an address; ``None`` where it speaks of none that the site has."""
    tag, site_id = tag_of(seen.place.path), seen.required.site_id
    book = context().book
    story = book.story(site_id, tag) if tag else None
    if story is None:
        return None
    judging = read_limits(seen.place, book.limit_sets(site_id), seen.limit_set)
    return Opened(seen, scheme, story, judged_again(story, judging.limit_set), judging)


def top(opened: Opened) -> list[Child]:
    """Put what the machine is judged by, what was left last, and its history in one picture."""
    seen, place = opened.seen, opened.seen.place
    view = build(opened.story, seen.display)
    said = (opened.judging.problem, read_risk(place).problem, read_job(place, view.lines).problem)
    parts = [
        *begin(
            view.title,
            seen,
            said,
            beside=record_link(view.tag, place) if may(Permission.RECORD, seen.required.site_id) else None,
        ),
        retired_part(opened.book, seen.today, "asset.merged.look", place.to(asset_path(opened.book.merged_into))),
        sentence(view.sentence),
        *(note(say("asset.upcoming.note", when=when, what=what)) for when, what in view.upcoming),
        asset_papers(view.tag, place, audit=may_audit(seen.required.site_id)),
    ]
    last = build_last(opened.story, seen.display)
    if last is None:
        return [
            *parts,
            about_machine(view, *_versions(view, place)),
            blank(say("asset.none_stands.title"), say("asset.none_stands.text"))
            if view.lines
            else blank(say("asset.no_jobs.title"), say("asset.no_jobs.text")),
        ]
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
        about_machine(view, *_versions(view, place)),
    ]


def _versions(view: AssetView, place: Place) -> list[Child]:
    """Offer the descriptions of the machine where there is more than the one that is shown."""
    return [take("asset-versions", place, said="files.take.versions", asset=view.tag)] if view.versions else []


def middle(opened: Opened) -> list[Child]:
    """Put what needs the whole fleet."""
    seen, story = opened.seen, opened.story
    history = seen.history  # asked once: study and rows must be of the same entry
    row = row_of(history, story.asset_id)
    if row < 0:
        return []
    study, chosen = study_for(history), opened.judging.limit_set
    given = limits_for(chosen, story.asset.coupling, story.asset.limit_speed_rpm) if chosen else None
    risk = read_risk(seen.place).value / 100.0
    forecast = build_forecast(
        study, history, row, risk=risk, now_us=seen.now_us, display=seen.display, given=given, known=recheck_known(history, risk),
    )  # fmt: skip
    drift = build_drift(
        study, history, row, display=seen.display, who=who_of(story), feet_mm=story.asset.feet_movable_mm, given=given
    )  # fmt: skip
    drift_files = [take("asset-runs", seen.place, said="files.take.runs", asset=story.asset.tag)]
    if drift.feet:
        drift_files.append(take("asset-feet", seen.place, said="files.take.feet", asset=story.asset.tag))
    days = days_of(story)
    patterns = build_patterns(study, history, row, display=seen.display, days=days)
    patterns = with_instruments(patterns, study, history, row, display=seen.display, days=days)
    return [
        forecast_part(forecast, past_of(story), seen.place, opened.scheme),
        drift_part(drift, opened.scheme, *drift_files),
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
        jobs_part(
            Ids.JOBS,
            view,
            place,
            amend_links(view.lines, view.zone, place, voids=may_void(seen.required.site_id))
            if may(Permission.AMEND, seen.required.site_id)
            else None,
        ),
        amended_part(view.lines, view.display, view.zone),
        signoffs_part(
            opened.book.standing,
            opened.book.signoffs,
            place,
            view.zone,
            may_sign=may_sign(seen.required.site_id),
            own=own_work(opened.book.jobs, signed_as(seen).get("by", "")),
        ),
        limits(limits_note(seen.limit_set)),
    ]
