"""The entries of an invented little plant, by the plain road: a loop over its stories, for tests of the reader."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from models.values.entry import AdoptedLimits, EntryFilter, EntryLine, EntryPage, EntryStory, Said, Thing
from models.values.kinds import Kind
from models.values.story import JobLine

if TYPE_CHECKING:
    from tests.history_maker import MadeBook

BEGAN = datetime(2020, 1, 1, 8, 0, tzinfo=UTC)
SITE_ENTRY, LIMITS_ENTRY = 1, 2


def limits_of(book: MadeBook) -> tuple[AdoptedLimits, ...]:
    return () if book.limits is None else (AdoptedLimits(LIMITS_ENTRY, BEGAN, "desk", book.limits),)


def stories_of(book: MadeBook) -> Iterable[EntryStory]:
    if book.no_site:
        return
    yield EntryStory(EntryLine(SITE_ENTRY, BEGAN, "desk", Kind.SITE_SET, book.at_site.name), book.at_site)
    for one in limits_of(book):
        given = one.limit_set
        yield EntryStory(
            EntryLine(
                one.entry,
                one.recorded_at,
                one.author,
                Kind.LIMITS_ADOPTED,
                given.name,
                str(given.version),
                on=given.adopted_on,
            ),
            given,
        )
    for story in book.stories:
        by_entry = {line.entry: line for line in story.jobs}
        for line in story.jobs:
            chain = tuple(sorted((x for x in story.jobs if x.job_id == line.job_id), key=lambda x: x.entry))
            before: Said | None = by_entry.get(line.supersedes) if line.supersedes else None
            judged_by = next(iter(limits_of(book)), None)
            yield EntryStory(line_of(line), line, before, judged_by, chain)


def line_of(line: JobLine) -> EntryLine:
    file, _, row = line.source.partition(", row ")
    return EntryLine(
        number=line.entry,
        at=line.recorded_at,
        author=line.author,
        kind=Kind.JOB_AMENDED if line.supersedes else Kind.JOB_RECORDED,
        name=line.job.tag,
        detail=line.job.ref,
        why=line.why_amended,
        done_at=line.job.performed_at,
        zone=line.job.zone,
        people=line.job.people,
        instrument=line.job.instrument,
        limit_set=line.limit_set.replace(", version", ""),
        void=line.void,
        supersedes=line.supersedes,
        superseded_by=line.superseded_by,
        file_entry=3 if file else None,
        file=file,
        row=row,
    )


def answers(story: EntryStory, asked: EntryFilter) -> bool:
    line = story.line
    people = {line.author, *line.people, line.name if line.thing is Thing.PERSON else line.author}
    if isinstance(story.now, JobLine):
        people.add(story.now.job.reviewer)
    done = line.done_at
    return (
        (not asked.tag or (line.thing is Thing.MACHINE and line.name == asked.tag))
        and (not asked.person or asked.person in people)
        and (not asked.instrument or asked.instrument in {line.instrument, line.name})
        and (not asked.ref or line.detail == asked.ref)
        and asked.kind in {None, line.kind}
        and asked.file in {None, line.file_entry}
        and (asked.recorded_from is None or line.at >= asked.recorded_from)
        and (asked.recorded_before is None or line.at < asked.recorded_before)
        and (asked.done_from is None or (done is not None and done >= asked.done_from))
        and (asked.done_before is None or (done is not None and done < asked.done_before))
    )


def page_of(book: MadeBook, asked: EntryFilter, before: int | None, after: int | None, most: int) -> EntryPage:
    lines = sorted(
        (story.line for story in stories_of(book) if answers(story, asked)), key=lambda x: x.number, reverse=True
    )
    if after is not None:
        shown = [line for line in lines if line.number > after][-most:]
    else:
        shown = [line for line in lines if before is None or line.number < before][:most]
    if not shown:
        return EntryPage((), older=False, newer=bool(lines) and before is not None, count=len(lines))
    return EntryPage(
        tuple(shown),
        older=lines[-1].number < shown[-1].number,
        newer=lines[0].number > shown[0].number,
        count=len(lines),
    )
