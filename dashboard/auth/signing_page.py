"""Signing a job off: a plain page with a form.

What a signature consists of is shown before it is given: printed name, date and time, and its meaning, as 21 CFR 11.50 lists
them.  The password is asked for each time, which is more than 21 CFR 11.200 asks for a series of signings.  A signature goes under
what its signer read, known by its leaf hash, or nowhere: where an older state of the book was put back, its number may be that of another job.
"""

from __future__ import annotations

from typing import Any, Final

from flask import Blueprint, redirect, request
from werkzeug.wrappers import Response

from dashboard.auth import asking
from dashboard.auth.access import FRESH
from dashboard.auth.door_page import here, waited
from dashboard.auth.forms import Part, button, choice, field, form, message_page, page, problem, section, table, tag
from dashboard.auth.one_job import another_part, find_job, is_another, job_facts, leaf_part, leaf_sent, no_job
from dashboard.away import hand_on
from dashboard.context import context
from dashboard.fetch import Scene, scene
from dashboard.place import asset_path
from dashboard.views.said_fields import fields_of
from dashboard.views.typed_fields import readings_of, typed_fields
from dashboard.words import say, tell
from dashboard.writing import count, moment
from models.commands.accounts_passwords import LONGEST
from models.errors import DriftbookError
from models.values.kinds import Meaning
from models.values.story import AssetStory, JobLine

SIGNING = Blueprint("signing", "dashboard.auth.signing_page")

ENDPOINT: Final = "signing.sign"


@SIGNING.route("/sign/<int:entry>", methods=["GET", "POST"], endpoint="sign")
def sign(entry: int) -> Any:
    """Show what is signed, and sign it."""
    seen = scene(request.path, request.query_string.decode("utf-8", "replace"))
    found = find_job(seen, entry)
    if found is None:
        return no_job(seen, say("sign.title"), say("sign.unknown", entry=count(entry)))
    if found[1].void:
        return message_page(say("sign.title"), say("void.no_signing", entry=count(entry)), 409)
    if request.method == "GET":
        return _form(seen, *found)
    if not asking.form_is_ours():
        return _form(seen, *found, say("door.form"), status=400)
    return _signed(seen, *found)


def _signed(seen: Scene, story: AssetStory, line: JobLine) -> Response:
    access, who, desk = asking.access_of_app(), asking.signed(), context().desk
    typed = request.form
    if is_another(line) or _kept_out(seen, line) is not None:
        return _form(seen, story, line, status=409)
    if who is not None and access is not None:
        answer = access.confirm(who, typed.get("password", "")[: LONGEST + 1], here())
        if answer.wait is not None:
            return _form(seen, story, line, say("door.wait", n=waited(answer.wait)), status=429)
        if not answer.came_in:
            wrong = say("sign.wrong") if access.has_password(who) else say("sign.stale")
            return _form(seen, story, line, wrong, status=401)
    try:
        meaning = Meaning(typed.get("meaning", ""))
    except ValueError:
        return _form(seen, story, line, say("sign.no_meaning"), status=400)
    assert desk is not None  # noqa: S101 - looked for above
    try:
        desk.sign_off(
            seen.required, line.entry, meaning=meaning, by=typed.get("by", "")[:120], now=context().clock(),
            made_from=leaf_sent(), remark=typed.get("remark", "")[:400],
        )  # fmt: skip
    except DriftbookError as fault:
        hand_on(fault)
        return _form(seen, story, line, tell(fault.message), tell(fault.remedy), status=409)
    return redirect(seen.place.to(asset_path(story.asset.tag)), code=303)


def _form(seen: Scene, story: AssetStory, line: JobLine, *said: str, status: int = 200) -> Response:
    zone = story.site.zone
    held = [
        (one.by, say(f"meaning.{one.meaning.value}"), moment(one.at, zone), one.remark)
        for one in story.signoffs
        if one.signed_entry == line.entry
    ]
    heads = [say(f"sign.column.{name}") for name in ("person", "meaning", "at", "remark")]
    kept_out = _kept_out(seen, line)
    return page(
        say("sign.page", entry=count(line.entry)),
        problem(*said),
        *another_part(line, say("sign.undone"), seen.place.here()),
        tag(
            "p", tag("a", say("sign.to_machine", tag=story.asset.tag), href=seen.place.to(asset_path(story.asset.tag)))
        ),
        table(say("sign.what"), [say("entry.column.field"), say("entry.column.value")], job_facts(story, line)),
        *_said(seen, line),
        table(say("sign.entry.caption"), heads, held) if held else tag("p", say("sign.entry.none"), class_="note"),
        section(say("sign.do"), *(_to_sign(seen, line, zone) if kept_out is None else (kept_out,))),
        status=status,
    )


def _said(seen: Scene, line: JobLine) -> tuple[Part, ...]:
    """Show everything that the entry says, as its own page does, with what was typed beside it: a slip of a pen is seen so."""
    typed, _ = typed_fields(line.job.typed)
    rest = readings_of(line.job.typed)
    heads = [say("entry.column.field"), say("entry.column.value")]

    def value(name: str, text: str) -> Part:
        if name not in typed:
            return text
        return tag("div", text, tag("div", say("sign.typed", text=typed[name]), class_="soft"))

    rows = [(name, value(name, text)) for name, text in fields_of(line, seen.display)]
    readings = table(say("sign.readings"), heads, rest) if rest else None
    return table(say("entry.says.caption", number=count(line.entry)), heads, rows), readings


def _kept_out(seen: Scene, line: JobLine) -> Part:
    """Say why who is signed in cannot sign this, before they try; where names are believed it is told when one is given."""
    who, desk = asking.signed(), context().desk
    if who is None or desk is None:
        return None
    refused = desk.why_no_signature(seen.required, line.entry, who.account.person(seen.required.site_id))
    if refused is None:
        return None
    later = line.superseded_by
    way = (
        None
        if later is None
        else tag("p", tag("a", say("sign.page", entry=count(later)), href=seen.place.to(f"/sign/{later}")))
    )
    return tag("div", tag("p", tell(refused.message)), tag("p", tell(refused.remedy)), way, class_="blank")


def _to_sign(seen: Scene, line: JobLine, zone: str) -> tuple[Part, ...]:
    """Put the form: in whose name, what the signature means, and the proof that it is theirs."""
    who = asking.signed()
    if who is None:
        typed = request.form.get("by", "")
        name: Part = field("by", say("record.by"), typed, about=say("sign.believed"), required=True, maxlength=120)
        proof: Part = None
    else:
        person = who.account.person(seen.required.site_id)
        name = tag("p", say("sign.as", person=person, at=moment(context().clock(), zone)))
        access = asking.access_of_app()
        if access is not None and access.has_password(who):
            proof = field(
                "password", say("door.password"), kind="password", autocomplete="current-password", maxlength=LONGEST,
                about=say("sign.password"),
            )  # fmt: skip
        else:
            proof = tag("p", say("sign.fresh", n=FRESH.seconds // 60), class_="note")
    meanings = [(one.value, say(f"meaning.{one.value}")) for one in Meaning]
    return (
        form(
            seen.place.here(),
            leaf_part(line),
            name,
            # What was chosen comes back with a form that was refused: it would be another signature otherwise.
            choice("meaning", say("sign.column.meaning"), meanings, request.form.get("meaning", "")),
            field("remark", say("sign.remark"), request.form.get("remark", ""), maxlength=400),
            *(() if is_another(line) else (proof, button(say("sign.button")))),
        ),
        tag("p", say("sign.bound"), class_="note"),
    )
