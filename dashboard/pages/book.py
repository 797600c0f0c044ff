"""Book: the auditor, unannounced.

Decides from it whether the history of a machine can be relied on: who wrote
what, when, why and from which source, under which limits it was judged, and
what was changed later.  ``/book/NUMBER`` opens one entry.
"""

from __future__ import annotations

from collections.abc import Sequence

import dash

from dashboard.asked import DONE, KINDS, Asked, entry_of, read_asked, read_number
from dashboard.auth.asking import may_sign, may_void
from dashboard.components import elements as html
from dashboard.components.aria import aria
from dashboard.components.asking import ask_choice, ask_form, ask_text
from dashboard.components.pieces import (
    Child,
    blank,
    note,
    section,
    sentence,
    two_lines,
)
from dashboard.components.proof import proof_part
from dashboard.components.record_changes import void_link
from dashboard.components.signoffs import entry_signoffs
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.context import context
from dashboard.fetch import Scene
from dashboard.opening import attach_fill, begin, import_way, site_way, skeleton
from dashboard.place import SITE, Place, asset_path, shortened
from dashboard.proofs import fault_words
from dashboard.proofs_routes import may_audit
from dashboard.recording import signed_as
from dashboard.views.book_view import MOST, BookLine, BookView, build
from dashboard.views.entry_view import EntryView
from dashboard.views.entry_view import build as build_entry
from dashboard.words import say
from dashboard.writing import count
from models.values.entry import EntryPage, EntryStory, Thing
from models.values.own_work import own_work
from models.values.story import JobLine

PATH = "/book"
NAME = "page.book"
ORDER = 6

PAGED = ("before", "after")
"""Choices of the paging: a new question begins at the newest entry."""


class Ids:
    """Ids of this page."""

    BODY = "book-body"


def layout() -> html.Div:
    """Give the skeleton; the entries come with the callback."""
    return skeleton(Ids.BODY)


def fill(seen: Scene, _scheme: str) -> Child:
    """Fill the page: the list of entries, or one of them."""
    site, wanted = seen.required, entry_of(seen.place.path)
    if wanted:
        number = read_number(wanted)
        if number is None:
            return unknown(wanted, seen)
        story, found = context().book.entry(site.site_id, number), context().book.differences(site.site_id, number)
        parted = [fault_words(one) for one in found]
        if story is None:  # its rows may be gone
            return [*begin(say("book.title"), seen), _altered(number, parted)] if parted else unknown(wanted, seen)
        signs = _signoffs(story, seen, altered=bool(parted))
        return [*entry_body(build_entry(story, site, seen.display), seen, parted), *signs]
    history = seen.history
    asked = read_asked(seen.place, site.zone, history.assets.tag.tolist(), history.people, history.instruments)
    page = EntryPage((), older=False, newer=False, count=0)
    if not asked.nothing:
        page = context().book.entries(site.site_id, asked.filter, before=asked.before, after=asked.after, most=MOST)
    return body(build(page, asked, site), asked, seen)


def register(app: dash.Dash) -> None:
    """Attach the callback."""
    attach_fill(app, Ids.BODY, PATH, fill, below=True)


# -- the list of entries --------------------------------------------------------------------------------------------


def body(view: BookView, asked: Asked, seen: Scene) -> list[Child]:
    """Put the list of entries together."""
    place = seen.place
    parts: list[Child] = [
        *begin(say("book.title"), seen, asked.problems),
        sentence(view.sentence),
        import_way(seen),
        site_way(seen),
        _form(asked, seen, clear=view.filtered),
    ]
    proof = proof_part(
        context().book.proof(seen.required.site_id),
        seen.required.zone,
        asked.filter.tag if may_audit(seen.required.site_id) else "",
        place,
    )
    if view.state != "ok":
        return [*parts, blank(say("book.none.title"), say("book.none.text")), proof]
    paging = _paging(view, place)
    columns = [
        Column(say("book.column.entry")),
        Column(say("book.column.about")),
        Column(say("book.column.kind")),
        Column(say("book.column.recorded")),
        Column(say("book.column.job")),
        Column(say("book.column.why")),
        Column(say("book.column.source")),
    ]
    rows = [
        [
            entry_link(line.number, place),
            _two(_thing(line.thing, line.name, place), line.about),
            _two(line.kind, line.change),
            _two(line.recorded, html.Link(line.author, href=place.to(PATH, person=line.author_alone))),
            line.work,
            line.why,
            _source(line, place),
        ]
        for line in view.lines
    ]
    listed = section(
        say("book.list.title"),
        table(view.caption, columns, rows),
        take("entries", place, before=None, after=None),
        paging,
        about=say("about.book"),
    )
    return [*parts, html.Div(listed, className="entries"), proof]


def _form(asked: Asked, seen: Scene, *, clear: bool) -> Child:
    history, texts = seen.history, asked.texts
    kinds = {"": say("book.form.kind.any"), **{code: say(f"kind.{kind}") for code, kind in KINDS.items()}}
    page = "book"
    return ask_form(
        seen.place,
        ask_text("asset", say("book.form.asset"), texts["asset"], page=page, offers=history.assets.tag.tolist()),
        ask_text("job", say("book.form.job"), texts["job"], page=page, hint=say("book.form.job.hint")),
        ask_text(
            "person",
            say("book.form.person"),
            texts["person"],
            page=page,
            offers=sorted(history.people),
            hint=say("book.form.person.hint"),
        ),
        ask_text(
            "instrument",
            say("book.form.instrument"),
            texts["instrument"],
            page=page,
            offers=sorted(history.instruments),
        ),
        ask_choice("kind", say("book.form.kind"), texts["kind"], kinds, page=page),
        ask_text("from", say("book.form.from"), texts["from"], page=page, hint=say("book.form.from.hint"), most=10),
        ask_text("to", say("book.form.to"), texts["to"], page=page, hint=say("book.form.to.hint"), most=10),
        ask_choice(
            "dates",
            say("book.form.dates"),
            DONE if asked.by_work else "",
            {"": say("book.form.dates.recorded"), DONE: say("book.form.dates.done")},
            page=page,
        ),
        button=say("book.form.send"),
        label=say("book.form"),
        drops=PAGED,
        clear=html.Link(say("book.form.clear"), href=seen.place.to(PATH), className="step") if clear else None,
    )


def _paging(view: BookView, place: Place) -> Child:
    links: list[Child] = []
    if view.newer is not None:
        links.append(html.Link(say("book.newest"), href=place.here(before=None, after=None), className="step"))
        links.append(html.Link(say("book.newer"), href=place.here(before=None, after=view.newer), className="step"))
    if view.older is not None:
        links.append(html.Link(say("book.older"), href=place.here(before=view.older, after=None), className="step"))
    return html.Nav(links, className="paging", **aria(label=say("book.paging"))) if links else None


def _two(first: Child, second: Child) -> Child:
    return html.Div(
        [html.Div(first), html.Div(second, className="soft")] if second else [html.Div(first)], className="two-lines"
    )


def entry_link(number: int, place: Place, text: str = "") -> html.Link:
    """Put a link to the page of an entry."""
    return html.Link(text or count(number), href=place.to(f"{PATH}/{number}"), className="tag")


def _thing(thing: Thing, name: str, place: Place) -> Child:
    if thing is Thing.MACHINE:
        return html.Link(name, href=place.to(PATH, asset=name), className="tag")
    if thing is Thing.INSTRUMENT:
        return html.Link(name, href=place.to(PATH, instrument=name), className="tag")
    if thing is Thing.PERSON:
        return html.Link(name, href=place.to(PATH, person=name))
    return name


def _source(line: BookLine, place: Place) -> Child:
    return line.source if line.file_entry is None else entry_link(line.file_entry, place, line.source)


# -- one entry ------------------------------------------------------------------------------------------------------


def unknown(asked: str, seen: Scene) -> list[Child]:
    """Put the page of an entry that is not there."""
    back = html.Link(say("entry.to_list"), href=seen.place.to(PATH))
    text = say("entry.unknown.text", asked=shortened(asked))
    return [*begin(say("book.title"), seen), blank(say("entry.unknown.title"), text, back)]


def _signoffs(story: EntryStory, seen: Scene, *, altered: bool) -> list[Child]:
    """Put the signatures under a job, and the ways to sign it and to void it; what was altered is not offered to be signed."""
    if not isinstance(story.now, JobLine):
        return []
    site, entry = seen.required, story.line.number
    machine = context().book.story(site.site_id, story.now.job.tag)
    held = () if machine is None else machine.signoffs
    stands = story.now.superseded_by is None and machine is not None
    signs = stands and not altered and not story.now.void and may_sign(site.site_id)
    own = own_work(() if machine is None else machine.jobs, signed_as(seen).get("by", ""))
    parts: list[Child] = [entry_signoffs(held, entry, seen.place, site.zone, may_sign=signs, own=own)]
    if stands and may_void(site.site_id):
        text = say("void.link.back" if story.now.void else "void.link.whole")
        parts.append(html.P(void_link(entry, seen.place, text)))
    return parts


def entry_body(view: EntryView, seen: Scene, parted: Sequence[str]) -> list[Child]:
    """Put the page of one entry together; ``parted`` says in what its rows, which are shown, are not what was written."""
    place = seen.place
    parts: list[Child] = [
        *begin(view.title, seen, beside=_neighbours(view, place)),
        sentence(view.sentence),
    ]
    if parted:
        parts.append(_altered(view.number, parted))
    if view.why:
        parts.append(html.P([html.Strong(f"{say('entry.why')}: "), view.why], className="note strong"))
    parts.append(_onward(view, place))
    if view.changes or view.amended:
        parts.append(_changes(view))
    if view.verdict:
        parts.append(
            section(
                say("entry.verdict.title"),
                *[html.P(text) for text in view.verdict],
                note(say("limits.starter"), strong=True) if view.starter else None,
                about=say("about.ratio"),
            )
        )
    if view.versions:
        parts.append(_versions(view, place))
    if view.says:
        parts.append(_says(view, altered=bool(parted)))
    if view.sheets:
        parts.append(_sheets(view))
    return parts


def _altered(number: int, parted: Sequence[str]) -> html.Div:
    """Say in what the rows of the entry are not what its statement says."""
    return html.Div(
        [
            html.P(html.Strong(say("entry.altered", number=count(number)))),
            html.Ul([html.Li(one) for one in parted]),
            html.P(say("entry.altered.remedy")),
        ],
        className="note strong",
        role="alert",
    )


def _says(view: EntryView, *, altered: bool) -> html.Section:
    """Put what the entry says, or what its rows say now where they were altered, with what was typed beside it, and below it what was typed and has no field: readings, stated reasons."""
    columns = [Column(say("entry.column.field")), Column(say("entry.column.value"))]
    number = count(view.number)
    caption = say("entry.rows.caption", number=number) if altered else say("entry.says.caption", number=number)
    rows = [[name, _value(text, view.typed.get(name, ""))] for name, text in view.says]
    tables: list[Child] = [html.Div(table(caption, columns, rows), className="says")]
    if view.readings:
        more = [[name, html.Span(text, className="digest")] for name, text in view.readings]
        tables.append(html.Div(table(say("sign.readings"), columns, more), className="says"))
    return section(say("entry.rows.title") if altered else say("entry.says.title"), *tables)


def _value(text: str, typed: str) -> Child:
    said = html.Span(text, className="digest")
    return two_lines(said, say("sign.typed", text=typed)) if typed else said


def _neighbours(view: EntryView, place: Place) -> Child:
    links = []
    if view.number > 1:
        links.append(entry_link(view.number - 1, place, say("entry.before", number=count(view.number - 1))))
    if view.number < context().book.head():
        links.append(entry_link(view.number + 1, place, say("entry.after", number=count(view.number + 1))))
    return html.Nav(links, className="paging", **aria(label=say("book.paging")))


def _onward(view: EntryView, place: Place) -> Child:
    links: list[Child] = [html.Link(say("entry.to_list"), href=place.to(PATH))]
    about = {Thing.MACHINE: "asset", Thing.INSTRUMENT: "instrument", Thing.PERSON: "person"}.get(view.thing)
    if about:
        to = place.to(PATH, **{about: view.name})
        links.append(html.Link(say("entry.all_about", name=view.name), href=to))
    if view.thing is Thing.MACHINE:
        links.append(html.Link(say("entry.machine", tag=view.name), href=place.to(asset_path(view.name))))
    if view.thing is Thing.SITE:
        links.append(html.A(say("site.now.link"), href=place.to(SITE)))
    if view.is_file:
        links.append(html.Link(say("entry.of_file"), href=place.to(PATH, file=view.number)))
    if view.file_entry is not None:
        links.append(entry_link(view.file_entry, place, say("entry.to_file")))
    return html.Ul([html.Li(link) for link in links], className="onward")


def _changes(view: EntryView) -> html.Section:
    if not view.changes:
        return section(say("entry.change.title"), note(say("entry.change.same")))
    columns = [Column(say("entry.column.field")), Column(say("entry.column.old")), Column(say("entry.column.new"))]
    rows = [
        [one.field, one.old, html.Strong(one.new, className="new") if one.differs else one.new] for one in view.changes
    ]
    return section(
        say("entry.change.title"),
        html.Div(table(view.change_caption, columns, rows), className="beside"),
    )


def _versions(view: EntryView, place: Place) -> html.Section:
    columns = [
        Column(say("book.column.entry")),
        Column(say("book.column.recorded")),
        Column(say("book.column.why")),
        Column(say("entry.column.stands")),
    ]
    rows = [
        [
            entry_link(one.entry, place),
            two_lines(one.recorded, say("book.by", author=one.author)),
            one.why,
            one.stands,
        ]
        for one in view.versions
    ]
    mine = [one.entry == view.number for one in view.versions]
    caption = say("entry.versions.caption", ref=dict(view.says).get(say("entry.field.ref"), ""))
    return section(
        say("entry.versions.title"), html.Div(table(caption, columns, rows, marked=mine), className="wordy-3")
    )


def _sheets(view: EntryView) -> html.Section:
    columns = [Column(say("entry.file.column")), Column(say("entry.file.field")), Column(say("entry.file.unit"))]
    if any(row[3] for sheet in view.sheets for row in sheet.columns):
        columns.append(Column(say("entry.file.times")))
    parts: list[Child] = []
    for sheet in view.sheets:
        parts += [
            html.P([html.Strong(sheet.title), " ", sheet.form]),
            note(sheet.words) if sheet.words else None,
            html.Div(
                table(say("entry.file.caption"), columns, [row[: len(columns)] for row in sheet.columns]),
                className="says",
            ),
        ]
    return section(say("entry.file.title"), *parts)
