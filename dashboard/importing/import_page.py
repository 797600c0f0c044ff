"""Importing a file: plain pages with forms, from sending it to what became of it.

A file that is sent is only looked at; it goes into the book by a button of its own,
once, however often that is pressed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from flask import Blueprint, redirect, request, send_file
from markupsafe import Markup
from werkzeug.wrappers import Response

from dashboard.auth import asking
from dashboard.auth.forms import (
    Part,
    button,
    choice,
    done,
    field,
    form,
    message_page,
    page,
    problem,
    section,
    table,
    tag,
)
from dashboard.away import hand_on
from dashboard.context import context
from dashboard.desk import Desk
from dashboard.fetch import Scene, scene
from dashboard.importing.looking import Looked, bring, correct, look, read, same
from dashboard.importing.mapping_form import corrected, sheets_to_correct
from dashboard.importing.outcome import Outcome, from_kept
from dashboard.importing.sent_files import MOST_BYTES, SentFile, SentFiles, room
from dashboard.place import IMPORT as PATH
from dashboard.security import MOST_OF_A_FILE
from dashboard.words import say, tell
from dashboard.writing import count, counted
from models.errors import DriftbookError
from models.intake.mapping import FileMapping
from models.intake.template import write_workbook

IMPORTING = Blueprint("importing", "dashboard.importing.import_page")

ENCODINGS: Final = ("utf-8", "cp1252", "cp1250", "cp1251", "cp1253", "cp1254", "mac_roman", "shift_jis", "gb18030")
"""Encodings that can be said of a CSV."""

_MOST_PARTS: Final = 3_000
"""Fields of a form in which a mapping is corrected: a sheet of a hundred columns has three hundred."""


@IMPORTING.route(PATH, methods=["GET", "POST"], endpoint="start")
def start() -> Any:
    """Ask for a file, and take it."""
    seen = _seen()
    desk = context().desk
    if desk is None or seen.site is None:
        return message_page(say("import.title"), say("import.shows_only" if desk is None else "book.empty.text"), 404)
    if request.method == "GET":
        return _ask(seen)
    request.max_content_length = MOST_OF_A_FILE
    if not asking.form_is_ours():
        return _ask(seen, say("door.form"), status=400)
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        return _ask(seen, say("import.no_file"), status=400)
    try:
        said = request.form.get("encoding", "")
        encoding = said if said in ENCODINGS else ""
        kept = _files().take(
            sent.stream, sent.filename, site_id=seen.required.site_id, login=_login(), encoding=encoding
        )
    except DriftbookError as fault:
        hand_on(fault)
        return _ask(seen, tell(fault.message), tell(fault.remedy), status=400)
    return redirect(_path(seen, kept), code=303)


@IMPORTING.route(f"{PATH}/template.xlsx", methods=["GET"], endpoint="template")
def template() -> Response:
    """Give the template as a workbook, with the units that the page shows."""
    seen = _seen()
    with TemporaryDirectory() as folder:
        path = Path(folder) / "template.xlsx"
        write_workbook(path, seen.display)
        body = BytesIO(path.read_bytes())
    return send_file(body, as_attachment=True, download_name="driftbook-template.xlsx")


@IMPORTING.route(f"{PATH}/<secret>", methods=["GET", "POST"], endpoint="one")
def one(secret: str) -> Any:
    """Show how a file that was sent is read and what importing it would do; correct that, or do it."""
    seen, desk = _seen(), context().desk
    sent = None if desk is None or seen.site is None else _find(seen, secret)
    if desk is None or sent is None:
        return message_page(say("import.title"), say("import.gone"), 404)
    if request.method == "POST":
        return _asked(seen, sent, desk)
    return _looked(seen, sent, desk) if sent.done is None else _told(seen, sent, from_kept(sent.done))


@IMPORTING.route(f"{PATH}/<secret>/<name>", methods=["GET"], endpoint="mend")
def mend(secret: str, name: str) -> Any:
    """Give a file with the rows that came back."""
    seen = _seen()
    sent = None if seen.site is None else _find(seen, secret)
    path = None if sent is None else next((one for one in sent.made if one.name == name), None)
    if path is None:
        return message_page(say("import.title"), say("import.gone"), 404)
    return send_file(path.resolve(), as_attachment=True, download_name=path.name)


def _asked(seen: Scene, sent: SentFile, desk: Desk) -> Response:
    """Do what was asked for with a file, while nobody else does something with it."""
    request.max_form_parts = _MOST_PARTS
    try:
        with room(), sent.alone() as alone:
            if alone:
                return _alone(seen, sent, desk)
            return message_page(say("import.title"), say("import.doing"), 409, again=_path(seen, sent))
    except DriftbookError as fault:
        hand_on(fault)
        return _looked(seen, sent, desk, tell(fault.message), tell(fault.remedy), status=409)


def _alone(seen: Scene, sent: SentFile, desk: Desk) -> Response:
    does = request.form.get("does", "") if asking.form_is_ours() else ""
    done = sent.done
    if does == "drop":
        return _dropped(seen, sent)
    if done is not None:
        return _told(seen, sent, from_kept(done))
    if not does:
        return _looked(seen, sent, desk, say("door.form"), status=400)
    corrected_now = _correct(seen, sent, desk)
    if corrected_now and does != "correct":
        return _looked(seen, sent, desk, say("import.look_again"), status=409)
    if does in {"all", "good"}:
        return _do(seen, sent, desk, good=does == "good")
    return redirect(_path(seen, sent), code=303)


def _dropped(seen: Scene, sent: SentFile) -> Response:
    _files().drop(sent)
    return redirect(seen.place.to(PATH), code=303)


def _do(seen: Scene, sent: SentFile, desk: Desk, *, good: bool) -> Response:
    """Put a file into the book, once."""
    by = _author(seen)
    if not by:
        return _looked(seen, sent, desk, say("import.who"), status=400)
    outcome = bring(sent, seen.required, desk, by, good=good)
    if outcome.written or (outcome.unchanged and not outcome.errors):
        try:
            sent.finish(outcome.kept())
        except OSError:  # it is in the book: that is told, even where it cannot be kept
            return _told(seen, sent, outcome)
    return redirect(_path(seen, sent), code=303)


def _correct(seen: Scene, sent: SentFile, desk: Desk) -> bool:
    """Keep how a file is to be read as it stands in the form, and tell whether that is another way than before."""
    _, readings, sheets = read(sent, seen.required, desk)
    changed = False
    for place, reading in enumerate(readings):
        there = reading.mapping if reading.ours else replace(reading.mapping, sheets=reading.read, left_out=())
        made = corrected(_prefix(place), there, reading.read, request.form, seen.required.display, sheets)
        if not same(made, there):
            correct(sent, seen.required, reading, made)
            changed = True
    return changed


def _prefix(place: int) -> str:
    """Give what the names of the fields of a reading begin with."""
    return f"r{place}"


# -- what is shown -------------------------------------------------------------------------------------------------


def _ask(seen: Scene, *said: str, status: int = 200) -> Response:
    site = seen.required
    others = [
        tag("a", one.name, href=seen.place.to(PATH, site=one.code))
        for one in seen.sites
        if one.site_id != site.site_id and asking.may_import(one.site_id)
    ]
    elsewhere = tag("p", say("import.other_sites"), " ", *_between(others), class_="note") if others else None
    chosen = tag(
        "div",
        tag("label", say("import.file"), for_="file"),
        tag("input", id="file", name="file", type="file", required=True, accept=".csv,.tsv,.txt,.xlsx,.xlsm,.xls"),
        tag("span", say("import.file.about", most=MOST_BYTES >> 20), class_="soft"),
        class_="field",
    )
    encodings = [("", say("import.encoding.told")), *[(one, say(f"import.encoding.{one}")) for one in ENCODINGS]]
    encoding = choice("encoding", say("import.encoding"), encodings)
    return page(
        say("import.title"),
        problem(*said, *seen.problems),
        tag("p", say("import.about", site=site.name)),
        elsewhere,
        _waiting(seen),
        form(seen.place.to(PATH), chosen, encoding, button(say("import.send")), with_file=True),
        tag(
            "p",
            say("import.template"),
            " ",
            tag("a", say("import.template.link"), href=seen.place.to(f"{PATH}/template.xlsx")),
        ),
        tag("p", tag("a", say("import.to_book"), href=seen.place.to("/book"))),
        status=status,
    )


def _waiting(seen: Scene) -> Part:
    """List the files that wait to be imported or thrown away."""
    found = _files().waiting(site_id=seen.required.site_id, login=_login())
    links = [tag("a", sent.path.name, href=_path(seen, sent)) for sent in found]
    return tag("p", say("import.waiting"), " ", *_between(links)) if links else None


def _looked(seen: Scene, sent: SentFile, desk: Desk, *said: str, status: int = 200) -> Response:
    """Show how a file is read and what importing it would do."""
    title = say("import.title.file", name=sent.path.name)
    try:
        looked = look(sent, seen.required, desk, _author(seen) or "?")
    except DriftbookError as fault:
        hand_on(fault)
        told = problem(*dict.fromkeys((*said, tell(fault.message), tell(fault.remedy))))
        return page(title, told, _drop(seen, sent), _another(seen), status=status if said else 409)
    outcome = looked.outcome
    do = section(say("import.do"), *_buttons(seen, looked))
    reading = _readings(looked)
    return page(
        title,
        problem(*said),
        tag("p", _sentence(looked), class_="sentence"),
        _counts(outcome, "import.would"),
        *_came_back(seen, sent, [path.name for path in sent.made], outcome),
        # What is only proposed is looked at before it is confirmed.  One form: what was corrected comes along with every button.
        form(
            _path(seen, sent),
            *([do, _problems(outcome), reading] if looked.ready else [_problems(outcome), reading, do]),
            class_="reading",
        ),
        status=status,
    )


def _sentence(looked: Looked) -> str:
    outcome = looked.outcome
    if not outcome.taken and not outcome.errors:
        return say("import.nothing_new" if outcome.unchanged else "import.nothing")
    new = counted(outcome.taken, "record")
    if not outcome.errors:
        return say("import.all_good", new=new)
    return say(
        "import.some_bad", new=new, errors=counted(outcome.errors, "error"), rows=counted(outcome.refused, "row")
    )


def _buttons(seen: Scene, looked: Looked) -> list[Part]:
    """Offer what can be done: import it, its good rows, or throw it away."""
    outcome = looked.outcome
    parts: list[Part] = []
    if outcome.taken:
        good = bool(outcome.errors)
        if not looked.ready:
            parts.append(tag("p", say("import.confirms")))
        if good:
            parts.append(tag("p", say("import.do.good.about", rows=counted(outcome.refused, "row"))))
        key = "import.do.good" if good else "import.do.all"
        text = say(key, new=counted(outcome.taken, "record"))
        parts += [_who(seen), tag("p", _submit(text, "good" if good else "all"))]
    if outcome.errors:
        key = "import.mend_first" if outcome.taken else "import.mend"
        parts.append(tag("p", say(key), " ", tag("a", say("import.again"), href=seen.place.to(PATH))))
    parts.append(tag("p", _submit(say("import.drop"), "drop", quiet=True)))
    return parts


def _submit(text: str, does: str, *, quiet: bool = False) -> Markup:
    """Write a button that sends the form and says what for; only importing asks for a name."""
    return tag(
        "button",
        text,
        type="submit",
        name="does",
        value=does,
        class_="quiet" if quiet else "main",
        formnovalidate=quiet,
    )


def _drop(seen: Scene, sent: SentFile) -> Markup:
    return form(_path(seen, sent), _submit(say("import.drop"), "drop", quiet=True))


def _another(seen: Scene) -> Markup:
    return tag("p", tag("a", say("import.another"), href=seen.place.to(PATH)))


def _who(seen: Scene) -> Part:
    who = asking.signed()
    if who is not None:
        return tag("p", say("import.as", person=who.account.person(seen.required.site_id)))
    typed = request.form.get("by", "")
    return field(
        "by", say("record.by"), typed, about=say("sign.believed"), required=True, maxlength=120, autocomplete="name"
    )


def _readings(looked: Looked) -> Part:
    """Show how the file is read, with the fields to correct it."""
    parts: list[Part] = []
    for place, reading in enumerate(looked.readings):
        kept = say("import.kept" if reading.mapping.confirmed else "import.proposed")
        fields = sheets_to_correct(_prefix(place), reading.mapping if reading.ours else FileMapping(()), reading.read)
        parts.append(
            tag(
                "details",
                tag("summary", say("import.how")),
                tag("p", kept if reading.ours else say("import.of_another")),
                *fields,
                open=not (reading.ours and reading.mapping.confirmed),
            )
        )
    parts.append(
        tag("p", _submit(say("import.correct"), "correct", quiet=True))
        if parts
        else tag("p", say("import.by_template"))
    )
    return section(say("import.reading"), *parts, tag("p", say("import.signs"), class_="note"))


def _came_back(seen: Scene, sent: SentFile, names: Sequence[str], outcome: Outcome) -> list[Part]:
    rows = counted(outcome.refused, "row")
    return [
        tag("p", say("import.came_back", rows=rows), " ", tag("a", name, href=seen.place.to(f"{PATH}/{sent.secret}/{name}"), download=True))
        for name in names
    ]  # fmt: skip


def _told(seen: Scene, sent: SentFile, outcome: Outcome) -> Response:
    """Show what became of a file."""
    first, last = outcome.first_entry, outcome.last_entry
    text = say("import.nothing_new")
    if outcome.written and first is not None and last is not None:
        text = say("import.done", new=counted(outcome.taken, "record"), first=count(first), last=count(last))
    return page(
        say("import.title.file", name=sent.path.name),
        done(text),
        tag("p", say("import.not_kept")) if not outcome.mappings_kept else None,
        *_came_back(seen, sent, outcome.mend, outcome),
        _counts(outcome, "import.did"),
        tag(
            "p",
            *_between(
                [
                    tag("a", say("import.see.book"), href=seen.place.to("/book")),
                    tag("a", say("import.see.month"), href=seen.place.to("/")),
                    tag("a", say("import.another"), href=seen.place.to(PATH)),
                ]
            ),
        ),
        _problems(outcome),
        _drop(seen, sent),
    )


def _counts(outcome: Outcome, taken: str) -> Part:
    keys = (
        "import.sheet_name",
        "import.holds",
        "import.read",
        taken,
        "import.unchanged",
        "import.left_out",
        "import.refused",
    )
    rows = [
        (
            one.name,
            say(f"import.table.{one.table}"),
            *[count(n) for n in (one.read, one.taken, one.unchanged, one.left_out, one.refused)],
        )
        for one in outcome.sheets
    ]
    return table(say("import.counts"), [say(key) for key in keys], rows)


def _problems(outcome: Outcome) -> Part:
    if not outcome.problems:
        return None
    rows = [(say("import.error" if one.error else "import.warning"), one.place, one.text) for one in outcome.problems]
    more = tag("p", say("import.more", n=count(outcome.more)), class_="note") if outcome.more else None
    about = tag("p", say("import.problems.about"))
    headings = [say(f"import.problem.{one}") for one in ("kind", "place", "text")]
    return section(say("import.problems"), about, table(say("import.problems.caption"), headings, rows), more)


def _between(links: list[Any]) -> list[Part]:
    parts: list[Part] = []
    for link in links:
        parts += [" · ", link] if parts else [link]
    return parts


# -- who and what --------------------------------------------------------------------------------------------------


def _seen() -> Scene:
    return scene(request.path, request.query_string.decode("utf-8", "replace"))


def _files() -> SentFiles:
    here = context()
    return SentFiles(here.settings.mappings, here.clock())


def _find(seen: Scene, secret: str) -> SentFile | None:
    return _files().find(secret, site_id=seen.required.site_id, login=_login())


def _login() -> str:
    who = asking.signed()
    return "" if who is None else who.account.login


def _author(seen: Scene) -> str:
    """Give the name under which it is written: the account's, else what was typed."""
    who = asking.signed()
    if who is not None:
        return who.account.person(seen.required.site_id)
    return " ".join(request.form.get("by", "")[:120].split()) if request.method == "POST" else ""


def _path(seen: Scene, sent: SentFile) -> str:
    return seen.place.to(f"{PATH}/{sent.secret}")
