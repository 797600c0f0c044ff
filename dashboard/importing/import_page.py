"""Importing a file: plain pages with forms, from sending it to what became of it.

A file that is sent is only looked at; it goes into the book by a button of its own,
once, however often that is pressed.
"""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from flask import Blueprint, redirect, request, send_file
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
from dashboard.importing.looking import Looked, bring, look, rewrite
from dashboard.importing.mapping_form import corrected, sheets_to_correct
from dashboard.importing.outcome import Outcome, from_kept
from dashboard.importing.sent_files import MOST_BYTES, SentFile, SentFiles
from dashboard.place import IMPORT as PATH
from dashboard.security import MOST_OF_A_FILE
from dashboard.words import say, tell
from dashboard.writing import count, counted
from models.errors import DriftbookError
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
    if sent.done is not None:
        return _told(seen, sent, from_kept(sent.done))
    if request.method == "GET":
        return _looked(seen, sent, desk)
    return _asked(seen, sent, desk)


@IMPORTING.route(f"{PATH}/<secret>/<name>", methods=["GET"], endpoint="mend")
def mend(secret: str, name: str) -> Any:
    """Give a file with the rows that came back."""
    seen = _seen()
    sent = None if seen.site is None else _find(seen, secret)
    path = None if sent is None else sent.beside(name)
    if path is None:
        return message_page(say("import.title"), say("import.gone"), 404)
    return send_file(path.resolve(), as_attachment=True, download_name=path.name)


def _asked(seen: Scene, sent: SentFile, desk: Desk) -> Response:
    """Do what was asked for with a file."""
    request.max_form_parts = _MOST_PARTS
    if not asking.form_is_ours():
        return _looked(seen, sent, desk, say("door.form"), status=400)
    does = request.form.get("does", "")
    try:
        if does in {"all", "good"}:
            return _do(seen, sent, desk, good=does == "good")
        if does.startswith("correct"):
            _correct(seen, sent, desk, does.removeprefix("correct"))
    except DriftbookError as fault:
        hand_on(fault)
        return _looked(seen, sent, desk, tell(fault.message), tell(fault.remedy), status=409)
    if does == "drop":
        _files().drop(sent)
    return redirect(seen.place.to(PATH) if does == "drop" else _path(seen, sent), code=303)


def _do(seen: Scene, sent: SentFile, desk: Desk, *, good: bool) -> Response:
    """Put a file into the book, once."""
    by = _author(seen)
    if not by:
        return _looked(seen, sent, desk, say("import.who"), status=400)
    with sent.alone() as alone:
        if not alone:
            return message_page(say("import.title"), say("import.doing"), 409, again=_path(seen, sent))
        if sent.done is None:
            outcome = bring(sent, seen.required, desk, by, good=good)
            if outcome.written or outcome.unchanged:
                sent.finish(outcome.kept())
    return redirect(_path(seen, sent), code=303)


def _correct(seen: Scene, sent: SentFile, desk: Desk, place: str) -> None:
    """Write down how a file is to be read, as it was corrected in the form."""
    readings = look(sent, seen.required, desk, _author(seen) or "?").readings
    if not place.isdecimal() or int(place) >= len(readings) or not readings[int(place)].ours:
        return
    reading = readings[int(place)]
    made = corrected(reading.mapping, reading.read, request.form, seen.display)
    rewrite(made, sent.path.name)


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


def _looked(seen: Scene, sent: SentFile, desk: Desk, *said: str, status: int = 200) -> Response:
    """Show how a file is read and what importing it would do."""
    title = say("import.title.file", name=sent.path.name)
    try:
        looked = look(sent, seen.required, desk, _author(seen) or "?")
    except DriftbookError as fault:
        hand_on(fault)
        again = tag("p", tag("a", say("import.another"), href=seen.place.to(PATH)))
        return page(
            title, problem(*said, tell(fault.message), tell(fault.remedy)), again, status=status if said else 409
        )
    outcome = looked.outcome
    do, noticed, reading = (
        section(say("import.do"), *_buttons(seen, sent, looked)),
        _problems(outcome),
        _readings(seen, sent, looked),
    )
    return page(
        title,
        problem(*said),
        tag("p", _sentence(looked), class_="sentence"),
        _counts(outcome, "import.would"),
        # What is only proposed is looked at before it is confirmed.
        *([do, noticed, reading] if looked.ready else [noticed, reading, do]),
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


def _buttons(seen: Scene, sent: SentFile, looked: Looked) -> list[Part]:
    """Offer what can be done: import it, its good rows, or throw it away."""
    outcome = looked.outcome
    parts: list[Part] = []
    if outcome.taken:
        if not looked.ready:
            parts.append(tag("p", say("import.confirms")))
        good = bool(outcome.errors)
        key = "import.do.good" if good else "import.do.all"
        does = button(say(key, new=counted(outcome.taken, "record")))
        hidden = tag("input", type="hidden", name="does", value="good" if good else "all")
        if good:
            parts.append(tag("p", say("import.do.good.about", rows=counted(outcome.refused, "row"))))
        parts.append(form(_path(seen, sent), hidden, _who(seen), does))
    if outcome.errors:
        parts.append(tag("p", say("import.mend_first"), " ", tag("a", say("import.again"), href=seen.place.to(PATH))))
    dropped = tag("input", type="hidden", name="does", value="drop")
    parts.append(form(_path(seen, sent), dropped, button(say("import.drop"), quiet=True), class_="inline"))
    return parts


def _who(seen: Scene) -> Part:
    who = asking.signed()
    if who is not None:
        return tag("p", say("import.as", person=who.account.person(seen.required.site_id)))
    typed = request.form.get("by", "")
    return field(
        "by", say("record.by"), typed, about=say("sign.believed"), required=True, maxlength=120, autocomplete="name"
    )


def _readings(seen: Scene, sent: SentFile, looked: Looked) -> Part:
    """Show how the file is read, with the form to correct it."""
    parts: list[Part] = [tag("p", text) for text in looked.sentences]
    for place, reading in enumerate(looked.readings):
        if not reading.ours:
            continue
        kept = say(
            "import.kept" if reading.mapping.confirmed else "import.proposed",
            name=reading.mapping.path.name if reading.mapping.path else "",
        )
        does = tag("input", type="hidden", name="does", value=f"correct{place}")
        fields = form(
            _path(seen, sent),
            does,
            *sheets_to_correct(reading.mapping, reading.read),
            button(say("import.correct"), quiet=True),
            class_="reading",
        )
        parts.append(
            tag(
                "details", tag("summary", say("import.how")), tag("p", kept), fields, open=not reading.mapping.confirmed
            )
        )
    if not looked.readings:
        parts.append(tag("p", say("import.by_template")))
    return section(say("import.reading"), *parts, tag("p", say("import.signs"), class_="note"))


def _told(seen: Scene, sent: SentFile, outcome: Outcome) -> Response:
    """Show what became of a file."""
    first, last = outcome.first_entry, outcome.last_entry
    text = say("import.nothing_new")
    if outcome.written and first is not None and last is not None:
        text = say("import.done", new=counted(outcome.taken, "record"), first=count(first), last=count(last))
    back = [
        tag("p", say("import.came_back", rows=counted(outcome.refused, "row")), " ",
            tag("a", name, href=seen.place.to(f"{PATH}/{sent.secret}/{name}"), download=True))
        for name in outcome.mend
    ]  # fmt: skip
    return page(
        say("import.title.file", name=sent.path.name),
        done(text),
        *back,
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
    return SentFiles(here.settings.mappings / "sent", here.clock())


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
