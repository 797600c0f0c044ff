"""Importing a file: plain pages with forms, from sending it to what became of it.

A file that is sent is only looked at; it goes into the book by a button of its own,
once, however often that is pressed.
"""

from __future__ import annotations

import threading
from dataclasses import replace
from io import BytesIO
from typing import Any, Final

from flask import Blueprint, redirect, request, send_file
from werkzeug.wrappers import Response

from dashboard.auth import asking
from dashboard.auth.forms import message_page
from dashboard.away import hand_on
from dashboard.context import context
from dashboard.desk import Desk
from dashboard.fetch import Scene
from dashboard.importing.looking import bring, correct, digest_of, give_back, read, same, say_it
from dashboard.importing.mapping_form import corrected
from dashboard.importing.outcome import from_kept
from dashboard.importing.saying import said_in
from dashboard.importing.sent_files import SentFile, room
from dashboard.importing.shown import (
    CLOCK,
    ENCODINGS,
    MADE_FOR,
    SAME_VISIT,
    ask,
    looked_at,
    not_looked_at,
    prefix_of,
    titled,
    told,
)
from dashboard.importing.whose import (
    author_here,
    find_sent,
    login_here,
    path_to,
    seen_at,
    seen_here,
    sent_files,
    unknown_site,
)
from dashboard.place import IMPORT as PATH
from dashboard.place import shortened
from dashboard.security import MOST_OF_A_FILE
from dashboard.words import say, tell
from models.commands.report import SameVisit
from models.errors import DriftbookError
from models.intake.template import workbook

IMPORTING = Blueprint("importing", "dashboard.importing.import_page")

_MOST_PARTS: Final = 10_000
_MOST_OF_A_FORM: Final = 2 << 20
"""Fields and bytes of a form in which a reading is corrected: a sheet of a hundred columns has three hundred fields."""

_SAID: Final = {"corrected": "import.look_again", "meanwhile": "import.meanwhile", "said": "import.said"}
"""What the page says after a form was sent, by what stands in its address: the page can be loaded again."""

_LOOKS: Final = threading.BoundedSemaphore(2)
"""So many files are looked at at once by a process: each look reads the whole file, and others wait for the same processor."""

_AGAIN_S: Final = 3
"""Seconds after which a page that waits loads itself again."""


@IMPORTING.route(PATH, methods=["GET", "POST"], endpoint="start")
def start() -> Any:
    """Ask for a file, and take it."""
    seen = seen_here()
    desk = context().desk
    if desk is None or seen.site is None:
        return message_page(say("import.title"), say("import.shows_only" if desk is None else "book.empty.text"), 404)
    if request.method == "GET":
        return ask(seen)
    asked = unknown_site(seen)
    return _no_site(asked) if asked else _taken(seen)


def _taken(seen: Scene) -> Response:
    """Keep the file that was sent, for the site for which its form was made."""
    site = seen.required
    request.max_content_length = MOST_OF_A_FILE
    if not asking.form_is_ours():
        return ask(seen, say("door.form"), status=400)
    if request.form.get(MADE_FOR) != site.code:
        return ask(seen, say("import.another_site", site=site.name), status=409)
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        return ask(seen, say("import.no_file"), status=400)
    try:
        said = request.form.get("encoding", "")
        encoding = said if said in ENCODINGS else ""
        kept = sent_files().take(
            sent.stream, sent.filename, site_id=site.site_id, login=login_here(), encoding=encoding
        )
    except DriftbookError as fault:
        hand_on(fault)
        return ask(seen, tell(fault.message), tell(fault.remedy), status=400)
    return redirect(path_to(seen, kept), code=303)


@IMPORTING.route(f"{PATH}/template.xlsx", methods=["GET"], endpoint="template")
def template() -> Response:
    """Give the template as a workbook, with the units that the page shows."""
    seen = seen_here()
    if asked := unknown_site(seen):
        return _no_site(asked)
    return send_file(BytesIO(workbook(seen.display)), as_attachment=True, download_name="driftbook-template.xlsx")


@IMPORTING.route(f"{PATH}/<secret>", methods=["GET", "POST"], endpoint="one")
def one(secret: str) -> Any:
    """Show how a file that was sent is read and what importing it would do; correct that, or do it."""
    found = _found(secret)
    if isinstance(found, Response):
        return found
    seen, sent, desk = found
    if request.method == "POST":
        return _asked(seen, sent, desk)
    return _shown(seen, sent, desk) if sent.done is None else told(seen, sent, from_kept(sent.done))


@IMPORTING.route(f"{PATH}/<secret>/<name>", methods=["GET"], endpoint="mend")
def mend(secret: str, name: str) -> Any:
    """Give a file with the rows that came back."""
    found = _found(secret)
    if isinstance(found, Response):
        return found
    path = next((one for one in found[1].made if one.name == name), None)
    if path is None:
        return _gone()
    return send_file(path.resolve(), as_attachment=True, download_name=path.name)


def _found(secret: str) -> tuple[Scene, SentFile, Desk] | Response:
    """Give a file of who asks, and what its pages stand on: the site that it was sent for, whichever the address names.

    The page that says why not is given where there is no such file, or it is for a site for which they may not import
    (the gate has asked only whether they may for any), or the address names a site that they may not read.
    """
    seen, desk = seen_here(), context().desk
    sent = None if desk is None or seen.site is None else find_sent(secret)
    if desk is None or sent is None:
        return _gone()
    if asked := unknown_site(seen):
        return _no_site(asked)
    site = next((one for one in seen.sites if one.site_id == sent.site_id), None)
    if site is None or not asking.may_import(site.site_id):
        return message_page(say("import.title"), say("import.not_any_more", name=sent.path.name), 403)
    return seen_at(seen, site), sent, desk


def _gone() -> Response:
    return message_page(say("import.title"), say("import.gone"), 404)


def _no_site(asked: str) -> Response:
    """Refuse what the address asks for at a site that who asks may not read: it would be done at another one."""
    return message_page(say("import.title"), say("import.unknown_site", asked=asked), 404)


def _shown(seen: Scene, sent: SentFile, desk: Desk) -> Response:
    """Show what importing a file would do, unless that is being found out, or done, already."""
    said = _SAID.get(request.args.get("said", ""))
    try:
        with room(), sent.alone() as alone:
            if alone and _LOOKS.acquire(blocking=False):
                try:
                    return looked_at(seen, sent, desk, *[say(one) for one in [said] if one])
                finally:
                    _LOOKS.release()
    except DriftbookError as fault:
        hand_on(fault)
        return not_looked_at(seen, sent, tell(fault.message), tell(fault.remedy))
    return _busy(seen, sent, 200)


def _busy(seen: Scene, sent: SentFile, status: int) -> Response:
    """Say that somebody works with a file; the page comes again by itself."""
    where = path_to(seen, sent)
    answer = message_page(titled(seen, sent), say("import.doing"), status, again=where)
    answer.headers["Refresh"] = f"{_AGAIN_S}; url={where}"
    return answer


def _asked(seen: Scene, sent: SentFile, desk: Desk) -> Response:
    """Do what was asked for with a file, while nobody else does something with it."""
    request.max_form_parts, request.max_form_memory_size = _MOST_PARTS, _MOST_OF_A_FORM
    try:
        with room(), sent.alone() as alone:
            return _alone(seen, sent, desk) if alone else _busy(seen, sent, 409)
    except DriftbookError as fault:
        hand_on(fault)
        if request.form.get("does") == "drop" and asking.form_is_ours():
            return _dropped(seen, sent)  # where there is no room, it makes some
        return looked_at(seen, sent, desk, tell(fault.message), tell(fault.remedy), status=409, typed=request.form)


def _alone(seen: Scene, sent: SentFile, desk: Desk) -> Response:
    does = request.form.get("does", "") if asking.form_is_ours() else ""
    done = sent.done
    if does == "drop":
        return _dropped(seen, sent)
    if done is not None:
        return told(seen, sent, from_kept(done))
    if not does:
        return looked_at(seen, sent, desk, say("door.form"), status=400)
    clock = request.form.get(CLOCK, seen.required.zone)
    if clock != seen.required.zone:  # how the columns are read is the same, what their times mean is not
        text = say("import.clock", site=seen.required.name, was=shortened(clock), now=seen.required.zone)
        return looked_at(seen, sent, desk, text, status=409)
    if asking.signed() is None:
        sent.say_by(author_here(seen) or sent.by)
    said = _correct(seen, sent, looking=does == "correct") if does != "say" else _say(seen, sent)
    if not said and does in {"all", "good"}:
        return _do(seen, sent, desk, good=does == "good")
    if not said and does == "mend":
        give_back(sent, seen.required, desk, author_here(seen) or "?")
    return redirect(path_to(seen, sent, said), code=303)


def _dropped(seen: Scene, sent: SentFile) -> Response:
    sent_files().drop(sent)
    return redirect(seen.place.to(PATH), code=303)


def _do(seen: Scene, sent: SentFile, desk: Desk, *, good: bool) -> Response:
    """Put a file into the book, once."""
    by = author_here(seen)
    if not by:
        return looked_at(seen, sent, desk, say("import.who"), status=400)
    typed = request.form.get(SAME_VISIT, "")
    same_visit = SameVisit(typed) if typed in list(SameVisit) else SameVisit.ASK
    outcome = bring(sent, seen.required, desk, by, good=good, same_visit=same_visit)
    if outcome.doubled and same_visit is SameVisit.ASK and outcome.taken and (good or not outcome.errors):
        return looked_at(seen, sent, desk, say("import.same_visit.unsaid"), status=409)
    held = outcome.unchanged or (outcome.doubled and same_visit is SameVisit.LEAVE)
    if outcome.written or (held and not outcome.errors):
        try:
            sent.finish(outcome.kept())
        except OSError:  # it is in the book: that is told, even where it cannot be kept
            return told(seen, sent, outcome)
    return redirect(path_to(seen, sent), code=303)


def _say(seen: Scene, sent: SentFile) -> str:
    """Keep what a sheet holds as it was said, and give what the page says then."""
    say_it(sent, seen.required, *said_in(request.form))
    return "said"


def _correct(seen: Scene, sent: SentFile, *, looking: bool) -> str:
    """Keep how a file is to be read as it stands in the form.

    Gives what has to be said before anything else is done, as the address says it: that it is another way than was looked
    at, or that the form was made for another way than is kept by now.
    """
    _, readings, sheets = read(sent, seen.required)
    was = digest_of(readings)
    if request.form.get("was", was) != was:
        return "meanwhile"
    changed = False
    for place, reading in enumerate(readings):
        # With the new words of the file, which are in no mapping yet: without an answer they change nothing.
        here = {sheet.sheet: sheet for sheet in reading.read}
        every = tuple(here.get(sheet.sheet, sheet) for sheet in reading.mapping.sheets)
        there = replace(reading.mapping, sheets=every if reading.ours else reading.read)
        if not reading.ours:
            there = replace(there, left_out=())
        made = corrected(prefix_of(place), there, reading.read, request.form, seen.required.display, sheets)
        if not same(made, there):
            correct(sent, seen.required, reading, made)
            changed = True
    return "corrected" if changed and not looking else ""
