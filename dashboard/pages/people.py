"""People and instruments: the reliability engineer, and the auditor who asks what an instrument is worth.

Decides from it which instrument goes to calibration, which jobs rest on one
whose calibration had run out or that was found off, whether one reads
differently from the others, and whose work to ask about.  It ranks nobody.
"""

from __future__ import annotations

from collections.abc import Sequence

import dash

from dashboard.asked import named, read_days
from dashboard.components import elements as html
from dashboard.components.asking import ask_choice, ask_form, ask_text
from dashboard.components.links import machine
from dashboard.components.people_effects import effects_part, repeat_part
from dashboard.components.people_left import left_part
from dashboard.components.pieces import (
    Child,
    blank,
    key_number,
    key_numbers,
    note,
    section,
    sentence,
    two_lines,
)
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.context import context
from dashboard.fetch import Scene
from dashboard.kept import keep
from dashboard.opening import attach_fill, begin, import_way, skeleton
from dashboard.place import Place, shortened
from dashboard.views import effects_view, left_over_view
from dashboard.views.effects_view import (
    effects_for,
)
from dashboard.views.left_over_view import left_over_for
from dashboard.views.people_view import ALL, MOST, SOON_DAYS, InstrumentLine, JobRow, PeopleView, build
from dashboard.words import say
from dashboard.writing import DASH, count, counted, day, judged
from models.history.columns import History
from models.history.repeatability import Repeatability, repeatability_of
from models.history.repeats import repeat_readings
from models.history.runs import Runs

PATH = "/people"
NAME = "page.people"
ORDER = 7


class Ids:
    """Ids of this page."""

    BODY = "people-body"


def layout() -> html.Div:
    """Give the skeleton; the numbers come with the callback."""
    return skeleton(Ids.BODY)


def fill(seen: Scene, scheme: str) -> Child:
    """Fill the page."""
    book, place = context().book, seen.place
    versions = book.instrument_versions(seen.required.site_id)
    asked = place.get("instrument")
    chosen = named(asked, sorted({one.serial for one in versions})) if asked else ""
    since = read_days(place, "since")
    view = build(
        seen.history,
        versions,
        book.people(seen.required.site_id),
        seen.today,
        chosen=chosen or "",
        since=since.value[0] if since.value else None,
        most=ALL if place.get("list") == "all" else MOST,
    )
    said = (
        say("problem.who", asked=shortened(asked)) if chosen is None else "",
        say("problem.since", asked=shortened(place.get("since"))) if since.problem else "",
    )
    return body(view, seen, scheme, said)


def register(app: dash.Dash) -> None:
    """Attach the callback."""
    attach_fill(app, Ids.BODY, PATH, fill)


def body(view: PeopleView, seen: Scene, scheme: str, said: Sequence[str]) -> list[Child]:
    """Put the page together."""
    head = begin(say("people.title"), seen, said)
    if view.state == "empty":
        empty = blank(
            say("people.none.title"), say("people.none.text"), html.Code(say("book.empty.command")), import_way(seen)
        )
        return [*head, empty]
    history, runs, display = seen.history, seen.runs, seen.display
    of_instruments = effects_view.build(
        effects_for(history, runs, "instrument"), history.instruments, display, "instrument"
    )
    of_people = effects_view.build(effects_for(history, runs, "person"), history.people, display, "person")
    return [
        *head,
        sentence(view.sentence),
        _keys(view),
        _instruments(view, seen.place),
        _resting(view, seen),
        _late(view, seen),
        effects_part(of_instruments, seen, scheme, people=False),
        _people(view, seen.place),
        effects_part(of_people, seen, scheme, people=True),
        left_part(left_over_view.build(left_over_for(history), history.people), seen.place),
        repeat_part(
            effects_view.repeat_view(_repeatability(history, runs), display),
            take("repeatability", seen.place),
        ),
    ]


def _repeatability(history: History, runs: Runs) -> Repeatability:
    """Give what readings that were taken twice say; kept with the history."""
    return keep(history, "repeatability", lambda: repeatability_of(*repeat_readings(history.jobs, runs)))


def _keys(view: PeopleView) -> html.Dl:
    return key_numbers(
        key_number(
            say("people.key.good"),
            say("key.of", count=count(view.good), n=count(len(view.instruments))),
            say("people.key.good_below", day=day(view.today)),
            say("people.key.soon", n=count(view.soon), days=SOON_DAYS),
        ),
        key_number(
            say("people.key.late"),
            say("key.of", count=count(view.late), n=count(view.known)) if view.known else DASH,
            say("people.key.late_below"),
            say("people.key.late_window"),
        ),
        key_number(
            say("people.key.last"),
            say("key.of", count=count(view.last_word), n=count(view.machines)),
            say("people.key.last_below"),
            say("people.key.late_window"),
        ),
        key_number(
            say("people.key.not_known"),
            count(view.not_known),
            say("people.key.not_known_below"),
            say("people.key.not_known_why"),
        ),
    )


def _state(line: InstrumentLine) -> Child:
    if line.days_left is None:
        return say("people.state.unknown")
    if line.days_left < 0:
        ago = say("people.state.ago", n=counted(-line.days_left, "day"))
        return html.Div([html.Strong(say("people.state.out", day=day(line.due))), html.Div(ago, className="soft")])
    left = say("people.state.left", n=counted(line.days_left, "day")) if line.days_left else say("people.state.today")
    return two_lines(say("people.state.good", day=day(line.due)), left)


def _instruments(view: PeopleView, place: Place) -> html.Section:
    columns = [
        Column(say("people.column.instrument")),
        Column(say("people.column.state")),
        Column(say("people.column.calibrated"), number=True),
        Column(say("people.column.jobs"), number=True),
        Column(say("people.column.late"), number=True),
        Column(say("people.column.unknown"), number=True),
        Column(say("people.column.last"), number=True),
        Column(say("people.column.what")),
    ]
    rows = [
        [
            html.Div([html.Div(line.serial), html.Div(line.description, className="soft told")]),
            _state(line),
            day(line.calibrated),
            count(line.jobs),
            count(line.late),
            count(line.not_known),
            day(line.last),
            html.Link(
                say("people.rests", day=day(line.calibrated)) if line.calibrated else say("people.rests.all"),
                href=place.here(instrument=line.serial, since=line.calibrated, list=None),
            ),
        ]
        for line in view.instruments
    ]
    return section(
        say("people.instruments.title"),
        html.Div(table(say("people.instruments.caption"), columns, rows, marked=[(line.days_left or 0) < 0 for line in view.instruments]), className="calibrations"),
        take("instruments", place),
        about=say("about.calibration"),
    )  # fmt: skip


def _jobs(caption: str, rows: Sequence[JobRow], seen: Scene, *, late: bool) -> html.Div:
    place = seen.place
    columns = [
        Column(say("people.column.machine")),
        Column(say("people.column.day"), number=True),
        *([Column(say("people.column.instrument")), Column(say("people.column.after"), number=True)] if late else []),
        Column(say("people.column.found"), number=True),
        Column(say("people.column.left"), number=True),
        Column(say("people.column.last_word")),
        Column(say("people.column.who")),
        Column(say("people.column.entry")),
    ]
    lines = [
        [
            machine(row.tag, place),
            day(row.on),
            *([row.serial, counted(row.late_days, "day")] if late else []),
            judged(row.found_ratio),
            judged(row.left_ratio),
            say("people.last_word.no", day=day(row.since)) if row.since else html.Strong(say("people.last_word.yes")),
            row.person or DASH,
            html.Link(count(row.entry), href=place.to(f"/book/{row.entry}")),
        ]
        for row in rows
    ]
    return table(caption, columns, lines)


def _more(shown: int, n: int, place: Place) -> Child:
    if shown >= n:
        return None
    parts: list[Child] = [say("people.more", shown=count(shown), n=count(n))]
    if place.get("list") != "all":
        parts += [" ", html.Link(say("people.all"), href=place.here(list="all"))]
    return html.P(parts, className="note")


def _resting(view: PeopleView, seen: Scene) -> html.Section:
    place, resting = seen.place, view.resting
    serials = {"": say("people.rest.choose"), **{line.serial: line.serial for line in view.instruments}}
    chosen = resting.serial if resting else ""
    clear = None
    if resting:
        clear = html.Link(
            say("people.rest.clear"), href=place.here(instrument=None, since=None, list=None), className="step"
        )
    form = ask_form(
        place,
        ask_choice("instrument", say("people.rest.instrument"), chosen, serials, page="people"),
        ask_text(
            "since",
            say("people.rest.since"),
            place.get("since"),
            page="people",
            hint=say("people.rest.since.hint"),
            most=10,
        ),
        button=say("people.rest.send"),
        label=say("people.rest.form"),
        drops=("list",),
        clear=clear,
    )
    parts: list[Child] = [note(say("people.rest.intro")), form]
    if resting:
        parts.append(html.P(resting.sentence, className="sentence", role="status"))
        if resting.rows:
            parts.append(_jobs(say("people.rest.caption", serial=resting.serial), resting.rows, seen, late=False))
            parts += [take("instrument-jobs", place, list=None), _more(len(resting.rows), resting.jobs, place)]
    return section(say("people.rest.title"), *parts, about=say("about.resting"))


def _late(view: PeopleView, seen: Scene) -> html.Section:
    title = say("people.late.title", n=count(view.late))
    if not view.late:
        return section(title, note(say("people.late.none")), about=say("about.calibration"))
    return section(
        title,
        note(say("people.late.note")),
        _jobs(say("people.late.caption"), view.late_rows, seen, late=True),
        take("late-jobs", seen.place, list=None),
        _more(len(view.late_rows), view.late, seen.place),
        about=say("about.calibration"),
    )


def _people(view: PeopleView, place: Place) -> html.Section:
    columns = [
        Column(say("people.column.person")),
        Column(say("people.column.qualification")),
        Column(say("people.column.jobs"), number=True),
        Column(say("people.column.last"), number=True),
    ]
    rows = [
        [
            html.Link(line.name, href=place.to("/book", person=line.name)),
            line.qualification or DASH,
            count(line.jobs),
            day(line.last),
        ]
        for line in view.people
    ]
    return section(
        say("people.people.title"),
        note(say("people.people.intro")),
        table(say("people.people.caption"), columns, rows) if rows else None,
        take("people", place),
    )
