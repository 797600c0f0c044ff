"""Voiding a job, and taking a void one back: a plain page with a form that says what job it is and asks why.

Sent twice, by a second tap for instance, the form voids once; what somebody else did to the job meanwhile is told.  It voids
what its reader saw or nothing: where an older state of the book was put back, its number may be that of another job.
"""

from __future__ import annotations

from typing import Any, Final

from flask import Blueprint, redirect, request
from markupsafe import Markup
from werkzeug.wrappers import Response

from dashboard.auth import asking
from dashboard.auth.forms import button, done, field, form, page, problem, section, table, tag
from dashboard.auth.one_job import another_part, find_job, is_another, job_facts, leaf_part, leaf_sent, no_job
from dashboard.away import hand_on
from dashboard.context import context
from dashboard.fetch import Scene, scene
from dashboard.place import Place, asset_path
from dashboard.words import say, tell
from dashboard.writing import DASH, count, moment
from models.errors import ConflictError, DriftbookError
from models.values.story import AssetStory, JobLine

VOIDING = Blueprint("voiding", "dashboard.auth.voiding_page")

ENDPOINT: Final = "voiding.void"


@VOIDING.route("/void/<int:entry>", methods=["GET", "POST"], endpoint="void")
def void(entry: int) -> Any:
    """Show the job, and void it or take it back."""
    seen = scene(request.path, request.query_string.decode("utf-8", "replace"))
    found = find_job(seen, entry)
    if found is None:
        return no_job(seen, say("void.page", entry=count(entry)), say("void.unknown", entry=count(entry)))
    if request.method == "GET":
        return _shown(seen, *found)
    if not asking.form_is_ours():
        return _shown(seen, *found, say("door.form"), status=400)
    return _written(seen, *found)


def void_path(entry: int, place: Place) -> str:
    """Write the address at which a job is voided."""
    return place.to(f"/void/{entry}")


def _written(seen: Scene, story: AssetStory, line: JobLine) -> Response:
    desk, typed = context().desk, request.form
    by, why, back = typed.get("by", "")[:120], typed.get("why", ""), typed.get("back") == "1"
    assert desk is not None  # noqa: S101 - looked for when the job was
    if is_another(line):
        return _shown(seen, story, line, status=409)
    try:
        new = desk.void(
            seen.required, line.entry, by=by, now=context().clock(), why=why, made_from=leaf_sent(), back=back
        )
    except ConflictError as fault:
        mine = _done_by_the_first_tap(seen, line, by, why, back=back)
        if mine is None:
            return _shown(seen, *(find_job(seen, line.entry) or (story, line)), tell(fault.message), status=409)
        new = mine
    except DriftbookError as fault:
        hand_on(fault)
        return _shown(seen, story, line, tell(fault.message), tell(fault.remedy), status=409)
    tag_name = new.job.tag
    return redirect(seen.place.to(asset_path(tag_name)) if back else void_path(new.entry, seen.place), code=303)


def _done_by_the_first_tap(seen: Scene, line: JobLine, by: str, why: str, *, back: bool) -> JobLine | None:
    """Give the version that took this one's place if it is what this very form asked for."""
    later = _later(seen, line)
    who = asking.signed()
    name = " ".join(by.split()) if who is None else who.account.person(seen.required.site_id)
    same = later is not None and (later.void, later.author, later.why_amended) == (
        not back,
        name,
        " ".join(why.split()),
    )
    return later if same else None


def _later(seen: Scene, line: JobLine) -> JobLine | None:
    """Give the version that took the place of one, as the book has it now."""
    now = find_job(seen, line.entry)
    number = None if now is None else now[1].superseded_by
    found = None if number is None else find_job(seen, number)
    return None if found is None else found[1]


def _shown(seen: Scene, story: AssetStory, line: JobLine, *said: str, status: int = 200) -> Response:
    """Show the job as it stands: with the form to void it, as void with the form to take it back, or what took its place."""
    place, entry = seen.place, count(line.entry)
    back = tag("p", tag("a", say("sign.to_machine", tag=story.asset.tag), href=place.to(asset_path(story.asset.tag))))
    undone = say("void.back.undone" if request.form.get("back") == "1" else "void.undone")
    another = another_part(line, undone, void_path(line.entry, place))
    facts = table(say("void.what"), [say("entry.column.field"), say("entry.column.value")], job_facts(story, line))
    if line.superseded_by is not None:
        later = _later(seen, line)
        key = "void.later.void" if later is not None and later.void else "void.later.amended"
        person, number = "" if later is None else later.author, count(line.superseded_by)
        onward = tag("a", say("void.later.link", later=number), href=void_path(line.superseded_by, place))
        told = problem(say(key, entry=entry, later=number, person=person))
        return page(say("void.page", entry=entry), *another, told, tag("p", onward), back, facts, status=status)
    if line.void:
        told = done(
            say(
                "void.is", ref=line.job.ref, tag=story.asset.tag, person=line.author,
                at=moment(line.recorded_at, story.site.zone), entry=entry, why=line.why_amended or DASH,
            )
        )  # fmt: skip
        record = tag("p", tag("a", say("void.record"), href=place.to("/record")))
        words = (say("void.back.why"), say("void.back.button"))
        form_back = _form(seen, line, "void.back.as", *words, back="1")
        again = section(say("void.back"), form_back, tag("p", say("void.back.about"), class_="note"))
        about = tag("p", say("void.number"))
        return page(
            say("void.page.is", entry=entry), problem(*said), *another, told, about, record, back, facts, again,
            status=status,
        )  # fmt: skip
    amend = tag("p", tag("a", say("void.amend"), href=place.to("/record", amend=line.entry)))
    form_void = _form(seen, line, "void.as", say("void.why"), say("void.button"))
    do = section(say("void.do"), form_void, tag("p", say("void.number"), class_="note"))
    return page(
        say("void.page", entry=entry),
        problem(*said),
        *another,
        tag("p", say("void.about")),
        amend,
        back,
        facts,
        do,
        status=status,
    )


def _form(seen: Scene, line: JobLine, signed_as: str, asked: str, does: str, *, back: str = "") -> Markup:
    """Write the form: who, unless somebody is signed in, why, and the button; what was typed stands in it again."""
    who, now = asking.signed(), context().clock()
    if who is None:
        typed = request.form.get("by", "")
        name = field(
            "by", say("record.by"), typed, about=say("sign.believed"), required=True, maxlength=120, autocomplete="name"
        )
    else:
        person = who.account.person(seen.required.site_id)
        name = tag("p", say(signed_as, person=person, at=moment(now, seen.required.zone)))
    typed_why = request.form.get("why", "")
    why = field("why", asked, typed_why, about=say("void.why.about"), required=True, maxlength=500)
    return form(
        seen.place.here(),
        leaf_part(line),
        tag("input", type="hidden", name="back", value=back) if back else None,
        name,
        why,
        None if is_another(line) else button(does, quiet=bool(back)),
    )
