"""The head of the Record page: choosing the machine, and what was left on it last time."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from dashboard.components import elements as html
from dashboard.components.aria import data
from dashboard.components.links import left_at
from dashboard.components.machine_box import machine_box
from dashboard.components.pieces import Child, blank, note, section
from dashboard.components.seen import Seen
from dashboard.components.tables import Column, table
from dashboard.place import Place
from dashboard.views.asset_last_view import left_text
from dashboard.views.finder_view import FinderView
from dashboard.views.limit_words import limits_in_force
from dashboard.views.limits_view import limits_note
from dashboard.views.read_off_view import off_mark, row_of_entry
from dashboard.views.record_names import four_text
from dashboard.views.record_sheet import Basis
from dashboard.views.record_view import others_of
from dashboard.words import say
from dashboard.writing import DASH, day, judged, judged_by
from models.values.story import AssetStory, JobLine, Site

LISTED = 40


def choose_part(name: str, view: FinderView, place: Place, site: Site, way: Child = None) -> list[Child]:
    """Put the choice of the machine: the drafts of this browser, a box to type in, and a list; ``way`` leads to where machines are brought in."""
    if not view.lines:
        return [
            blank(
                say("record.no_machines.title"),
                say("record.no_machines.text"),
                html.Code(say("book.empty.command")),
                way,
            )
        ]
    box = html.Div(
        [
            html.Label(say("record.choose"), htmlFor=name),
            machine_box(name, size="md", kind="choose"),
        ],
        className="field wide",
    )
    columns = [Column(say("column.machine")), Column(say("column.what"), below=True), Column(say("column.last"), number=True), Column(say("column.last_left"), number=True)]  # fmt: skip
    lines = [line for line in view.lines if not line.retired]
    rows = [
        [html.Link(line.tag, href=place.to(place.path, asset=line.tag), className="tag"), line.description, day(line.last), judged(line.left_ratio)]
        for line in lines[:LISTED]
    ]  # fmt: skip
    parts: list[Child] = [_drafts(place, site), box, table(say("record.choose.caption"), columns, rows)]
    if view.found > len(rows):
        parts.append(note(say("record.choose.more")))
    return parts


def _drafts(place: Place, site: Site) -> html.Div:
    """Put the place in which the browser's own script names its drafts: only the browser knows of them."""
    # What is filled in there stands last in an address.
    record_at, amend_at = (place.to(place.path, **{name: "-"})[:-1] for name in ("asset", "amend"))
    given = {
        "site": site.code, "zone": site.zone, "record-at": record_at, "amend-at": amend_at,
        "job": say("record.drafts.job", tag="{tag}"), "amends": say("record.drafts.amends", tag="{tag}", entry="{entry}"),
    }  # fmt: skip
    title = html.P(say("record.drafts.title"), className="lead")
    return html.Div([title], id="record-drafts", hidden=True, className="drafts", **data(**given))


def last_time(story: AssetStory, amends: JobLine | None, basis: Basis, seen: Seen) -> html.Section:
    """Put what was left last time, the target, and the limit with its source; without the job that is amended."""
    display, lines = seen.display, others_of(story, amends)
    last = lines[-1] if lines else None
    limits = limits_in_force(basis.limits, display, basis.limit_set, basis.asset.limit_speed_rpm)
    pairs: list[tuple[str, Child]] = []
    if last is not None:
        zone = ZoneInfo(story.site.zone)
        on = day(last.job.performed_at.astimezone(zone).date())
        people = ", ".join(last.job.people) or DASH
        pairs.append(
            (
                say("record.last.when"),
                say("record.last.visit", day=on, people=people, reason=say(f"reason.{last.job.reason.value}")),
            )
        )
        if last.job.left is None and last.job.found is not None:
            pairs.append((say("record.last.found"), four_text(last.job.found, display)))
        pairs.append((say("record.last.left"), left_text(lines, story.site.zone, display)))
        mark = off_mark(seen.history, row_of_entry(seen.history, last.entry), display)
        pairs.append((say("record.last.ratio"), left_at(_judged(last), mark, seen.place)))
        pairs.append(
            (
                say("fact.target"),
                four_text(last.job.target, display) if any(last.job.target.as_tuple()) else say("fact.no_target"),
            )
        )
        if last.job.notes:
            pairs.append((say("record.notes"), last.job.notes))
    pairs.append((say("record.last.limits"), limits))
    given = limits_note(basis.limit_set)
    parts: list[Child] = [note(say("record.last.none"))] if last is None else []
    parts.append(html.Dl([html.Div([html.Dt(name), html.Dd(value)]) for name, value in pairs], className="facts last"))
    parts.append(html.Details([html.Summary(say("record.last.source")), html.P(given.text)], className="about"))
    if given.warning:
        parts.append(note(given.warning, strong=True))
    return section(say("record.part.last"), *parts)  # fmt: skip


def _judged(last: JobLine) -> str:
    found, left = judged_by(last.found_ratio, last.decisions.found), judged_by(last.left_ratio, last.decisions.left)
    return say("record.last.both", found=found, left=left)
