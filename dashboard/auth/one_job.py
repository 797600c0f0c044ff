"""The job that a plain page speaks of: found by its entry, and what it is in a few lines."""

from __future__ import annotations

from flask import Response, request
from markupsafe import Markup

from dashboard.auth.asking import lost_site
from dashboard.auth.forms import Part, message_page, problem, tag
from dashboard.context import context
from dashboard.fetch import Scene
from dashboard.views.asset_view import last_day
from dashboard.words import say
from dashboard.writing import count, day, judged_by
from models.values.story import AssetStory, JobLine


def find_job(seen: Scene, entry: int) -> tuple[AssetStory, JobLine] | None:
    """Give the machine and the job that an entry says; ``None`` where it says none, or nothing can be written here."""
    desk = context().desk
    if desk is None or seen.site is None or entry > 1 << 62:
        return None
    tag_name = desk.tag_of(seen.site, entry)
    story = context().book.story(seen.site.site_id, tag_name) if tag_name else None
    line = next((one for one in story.jobs if one.entry == entry), None) if story is not None else None
    return None if story is None or line is None else (story, line)


def no_job(seen: Scene, title: str, text: str) -> Response:
    """Say that an entry is no job; to who had a role at its site and lost it meanwhile, that."""
    lost = lost_site(seen.place)
    if lost is not None:
        text = f"{say('files.lost_site', asked=lost.code)} {say('problem.site.lost.remedy')}"
    return message_page(title, text, 404 if lost is None else 403)


def leaf_part(line: JobLine) -> Markup:
    """Write into a form what it is made from: the leaf hash of the version that its reader sees.

    One that was sent keeps its own, so that it never does to what stands there now what its reader meant for what they saw.
    """
    return tag("input", type="hidden", name="leaf", value=leaf_sent() if _was_sent() else line.leaf)


def leaf_sent() -> str:
    """Give what the form that was sent was made from; empty where it does not say it."""
    return request.form.get("leaf", "")[:200]


def is_another(line: JobLine) -> bool:
    """Tell whether the form that was sent was made from something else than what stands under its number now."""
    return _was_sent() and leaf_sent() != line.leaf


def another_part(line: JobLine, undone: str, again: str) -> tuple[Part, ...]:
    """Say that a form was made from something else, that nothing was done, and where to look at it anew; nothing where it was not."""
    if not is_another(line):
        return ()
    entry = count(line.entry)
    told = problem(undone, say("other.version", entry=entry), say("other.version.remedy"))
    return told, tag("p", tag("a", say("other.version.again", entry=entry), href=again))


def _was_sent() -> bool:
    return request.method == "POST"


def job_facts(story: AssetStory, line: JobLine) -> list[tuple[Part, ...]]:
    """Give the rows by which a person knows a job again; what is blank is left out."""
    job = line.job
    facts: list[tuple[Part, ...]] = [
        (say("sign.machine"), " · ".join(text for text in (story.asset.tag, story.asset.description) if text)),
        (say("record.ref"), job.ref),
        (say("column.day"), day(last_day(line, story.site.zone))),
        (say("column.person"), ", ".join(job.people)),
        (say("sign.column.recorded"), say("sign.recorded", person=line.author, entry=count(line.entry))),
        (say("column.found_ratio"), judged_by(line.found_ratio, line.decisions.found)),
        (say("column.left_ratio"), judged_by(line.left_ratio, line.decisions.left)),
        (say("sign.notes"), job.notes),
    ]
    return [row for row in facts if row[1]]
