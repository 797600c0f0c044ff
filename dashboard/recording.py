"""What the Record page speaks of: the machine and job of its address, and what its form begins with and is held against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from dash.exceptions import PreventUpdate

from dashboard.auth.asking import signed
from dashboard.components.record_changes import RECORD
from dashboard.context import context
from dashboard.desk import basis_on, free_ref
from dashboard.fetch import Scene, scene
from dashboard.place import shortened
from dashboard.views.record_fields import NOT_MEASURED, STAGES, fields_of, four_fields, in_units
from dashboard.views.record_sheet import Around, Basis
from dashboard.views.record_view import last_of, stated_fields
from dashboard.views.record_when import PROPOSED, clock_text, moment_of, today_of
from dashboard.words import say
from dashboard.writing import moment
from models.errors import DriftbookError
from models.units import Display
from models.values.draft import Way
from models.values.kinds import Reason
from models.values.story import AssetStory, JobLine

OF = "of"
"""Beside the fields: for what the form was made.  The address of the moment may be the next page's already."""

LEAF = "leaf"
"""Name of the choice by which the form of an amendment knows what it was made from: the leaf hash of that version, in hex."""

STORY = "story"
"""Name of the choice by which a form knows how far the story of its machine went when it was made: its last entry, and the beginning of that leaf hash."""

BEGUN = "begun"
"""The same of a draft when its first text was typed; the form into which it came back knows more."""

NO_STORY = "0-"
"""The same of a machine of which no job was in the book."""

ANEW: dict[str, None] = {"clock": None, "degrees": None, LEAF: None, STORY: None, BEGUN: None}
"""Choices of a form that are left out of the address where it is to be made anew."""


@dataclass(frozen=True, slots=True)
class Subject:
    """What the address speaks of: a machine, and the version of a job that is amended; or why it is none.

    ``lost`` is the number under which the book holds something else than what a form was made from, or nothing.
    """

    story: AssetStory | None
    amends: JobLine | None = None
    problem: str = ""
    later: JobLine | None = None
    lost: int | None = None


def subject(seen: Scene) -> Subject:
    """Find the machine and the job that an address speaks of."""
    desk, site = context().desk, seen.required
    tag, asked = seen.place.get("asset"), seen.place.get("amend")
    if not asked:
        story = context().book.story(site.site_id, tag) if tag else None
        return Subject(story, problem=say("asset.unknown", tag=shortened(tag)) if tag and story is None else "")
    entry = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 16 else 0
    tag = (desk.tag_of(site, entry) if desk is not None and not tag else tag) or ""
    story = context().book.story(site.site_id, tag) if tag else None
    lines = {line.entry: line for line in story.jobs} if story is not None else {}
    old = lines.get(entry)
    leaf = seen.place.get(LEAF)
    if old is None or (leaf and leaf != old.leaf):
        return Subject(None, problem=say("record.amend.unknown", entry=shortened(asked)), lost=entry if leaf else None)
    return Subject(story, old, later=_later(seen, lines, old))


def _later(seen: Scene, lines: Mapping[int, JobLine], old: JobLine) -> JobLine | None:
    """Give the version that took the place of one: of this machine, or of the one to which its record was brought."""
    desk, site = context().desk, seen.required
    if old.superseded_by is None or old.superseded_by in lines:
        return lines.get(old.superseded_by or 0)
    tag = desk.tag_of(site, old.superseded_by) if desk is not None else None
    story = context().book.story(site.site_id, tag) if tag else None
    return next((line for line in story.jobs if line.entry == old.superseded_by), None) if story is not None else None


def made(seen: Scene, story: AssetStory, amends: JobLine | None) -> str:
    """Write for what a form is made: the choices of its address, and what that leaves to the site, which may be set anew meanwhile.

    The version that is amended is named by its leaf hash too: its number is another one's where an older state of the book is put back.
    So is the last entry of the machine: what went in since, whoever fills the form has not seen.
    """
    site = seen.required
    whole = seen.place.here(
        site=site.code, units=seen.display.length, degrees=seen.display.temperature, clock=site.zone,
        **{LEAF: amends.leaf if amends else None, STORY: _mark(max(story.jobs, key=lambda line: line.entry, default=None))},
    )  # fmt: skip
    return whole.partition("?")[2]


def _mark(line: JobLine | None) -> str:
    return NO_STORY if line is None else f"{line.entry}-{line.leaf[:16]}"


def known_to(story: AssetStory, seen: Scene, choice: str = STORY) -> int | None:
    """Give the last entry of a machine when a form was made, or its draft begun; ``None`` where the form does not say it.

    Where the book does not hold that entry any more nothing of it was known.
    """
    mark = seen.place.get(choice)
    return next((line.entry for line in story.jobs if _mark(line) == mark), 0) if mark else None


def made_for(texts: Mapping[str, Any], pathname: str | None, search: str | None) -> Scene:
    """Give what a form stands on: machine and units are those for which it was made.

    A form that does not say it came just now: it is of the address.
    """
    of = texts.get(OF)
    if of is None and pathname != RECORD:
        raise PreventUpdate
    seen = scene(RECORD, search if of is None else f"?{of}")
    if seen.site is None:
        raise PreventUpdate
    return seen


def draft_key(story: AssetStory, entry: int | None) -> str:
    """Give the name under which a browser keeps the draft of a machine's job, or of an amendment of an entry.

    That of an amendment ends with the beginning of the entry's leaf hash: the number alone may be another job's by the time that the draft is
    found again.
    """
    leaf = next((line.leaf for line in story.jobs if line.entry == entry), "")
    return f"{story.site.code}/{story.asset.tag}/{entry or 'new'}{f'-{leaf[:16]}' if leaf else ''}"


def limits_today(story: AssetStory, seen: Scene) -> Basis:
    """Give what a machine is judged by today."""
    return basis_on(story, seen.today, context().book.limit_set(story.site.site_id))


def signed_as(seen: Scene) -> dict[str, str]:
    """Give the name of who is signed in as the field that it stands for; nothing where nobody has to be."""
    who = signed()
    return {} if who is None else {"by": who.account.person(seen.required.site_id)}


def around_of(about: Subject, fields: dict[str, str], seen: Scene) -> Around:
    """Give what a form is held against: the machine and the limits of the day that stands in the form."""
    story = about.story
    assert story is not None  # noqa: S101 - the callers have looked
    here, site = context(), story.site
    now = here.clock()
    performed = moment_of(fields, site.zone)
    day = today_of(performed or now, site.zone)
    limit_set = here.desk.limit_set(site, day) if here.desk else here.book.limit_set(site.site_id)
    instruments = here.book.instrument_versions(site.site_id)
    people = frozenset(person.name for person in here.book.people(site.site_id))
    basis = basis_on(story, day, limit_set)
    begun_at = known_to(story, seen, BEGUN)
    return Around(
        story, basis, instruments, seen.display, now, day, about.amends, people, known_to(story, seen), begun_at
    )


def first_fields(story: AssetStory, old: JobLine | None, seen: Scene) -> dict[str, str]:
    """Give what stands in the form before anything is typed: the old job, or what can be known of a new one."""
    if old is not None:
        return fields_of(old.job, seen.display) | stated_fields(old.job)
    now = context().clock()
    last = last_of(story)
    fields = {
        "performed": clock_text(now, story.site.zone),
        "ref": (ref := free_ref(story, now)),
        PROPOSED: ref,
        "reason": Reason.PLANNED.value,
        "found.method": Way.RESULTS.value,
        "left.method": NOT_MEASURED,
    }
    if last is None:
        return fields
    return fields | four_fields("target", last.job.target, last.job.typed, seen.display)


def kept_fields(draft: dict[str, Any], display: Display) -> dict[str, str]:
    """Give the fields of a draft as this browser kept them; what is no text was not written by this page."""
    fields = draft.get("fields")
    if not isinstance(fields, dict):
        return {}
    texts = {str(name)[:80]: text[:4000] for name, text in fields.items() if isinstance(text, str)}
    try:
        typed_in = Display(str(draft.get("units")), str(draft.get("temperature")))
    except DriftbookError:
        return texts
    return in_units(texts, typed_in, display)


def ways_of(draft: dict[str, Any]) -> dict[str, str]:
    """Give the way of measuring whose fields each stage of a draft was typed into; empty where the draft does not say it."""
    ways = draft.get("ways")
    return {stage: str(ways.get(stage) or "") for stage in STAGES} if isinstance(ways, dict) else {}


def kept_when(draft: dict[str, Any], zone: str) -> str:
    """Write when a draft was kept."""
    try:
        return moment(datetime.fromisoformat(str(draft.get("at"))).astimezone(UTC), zone)
    except ValueError:
        return say("record.draft.some_time")
