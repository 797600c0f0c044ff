"""What the page of one entry shows: who wrote it when and why, what it says, and what that changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from dashboard.views.decision_words import rests_told
from dashboard.views.job_words import told_versions
from dashboard.views.limit_words import given_texts, how_taken
from dashboard.views.said_fields import Pairs, fields_of
from dashboard.views.typed_fields import readings_of, typed_fields
from dashboard.words import say
from dashboard.writing import DASH, count, counted, day, decisions_told, judged, moment
from models.units import Display
from models.values.entry import EntryStory, ImportedFile, Thing
from models.values.kinds import Kind
from models.values.story import JobLine, Site


@dataclass(frozen=True, slots=True)
class Change:
    """One field before and now; ``differs`` is what a reader looks for."""

    field: str
    old: str
    new: str
    differs: bool = True


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a job: its entry, when, by whom, why, and what became of it."""

    entry: int
    recorded: str
    author: str
    why: str
    stands: str


@dataclass(frozen=True, slots=True)
class SheetRead:
    """How one sheet of a file was read: in a sentence, and column by column."""

    title: str
    form: str
    words: str
    columns: tuple[tuple[str, str, str, str], ...]


@dataclass(frozen=True, slots=True)
class EntryView:
    """Everything on the page of one entry.

    ``changes`` is empty where the entry is the first to speak of its thing; ``says``
    is empty where the changes hold every field already.  ``typed`` is what was typed of a job by the names of ``says``,
    ``readings`` what was typed and has no field there: readings of dials, distances, stated reasons.
    """

    number: int
    title: str
    sentence: str
    why: str
    thing: Thing
    name: str
    is_file: bool
    file_entry: int | None
    changes: tuple[Change, ...]
    change_caption: str
    amended: bool
    says: Pairs
    verdict: tuple[str, ...]
    starter: bool
    versions: tuple[Version, ...]
    sheets: tuple[SheetRead, ...]
    typed: Mapping[str, str]
    readings: Pairs


def build(story: EntryStory, site: Site, display: Display) -> EntryView:
    """Put an entry into words.

    Parameters
    ----------
    story : EntryStory
        Everything that the entry says. [as stored]
    site : Site
        The site. [unitless]
    display : Display
        Units of the page. [unitless]
    """
    line = story.line
    now, before = story.now, story.before
    changes: tuple[Change, ...] = ()
    says: Pairs = fields_of(now, display)
    caption = ""
    if isinstance(now, JobLine) and isinstance(before, JobLine):
        changes = tuple(Change(one.field, one.old, one.new) for one in told_versions(before, now, display))
        caption = say("entry.change.caption", old=count(before.entry), new=count(now.entry))
    elif before is not None:
        changes, says = _beside(fields_of(before, display), says), ()
        caption = say("entry.change.earlier")
    return EntryView(
        number=line.number,
        title=say("entry.title", number=count(line.number), kind=say(f"kind.{line.kind}")),
        sentence=" ".join(_sentence(story, site)),
        why=line.why,
        thing=line.thing,
        name=line.name,
        is_file=line.kind is Kind.FILE_IMPORTED,
        file_entry=line.file_entry,
        changes=changes,
        change_caption=caption,
        amended=isinstance(now, JobLine) and before is not None,
        says=says,
        verdict=tuple(_verdict(story, now, site, display)) if isinstance(now, JobLine) else (),
        starter=story.judged_by is not None and story.judged_by.limit_set.starter,
        versions=tuple(_version(one, site) for one in story.versions) if len(story.versions) > 1 else (),
        sheets=_sheets(now.mapping) if isinstance(now, ImportedFile) else (),
        typed=typed_fields(now.job.typed)[0] if isinstance(now, JobLine) else {},
        readings=readings_of(now.job.typed) if isinstance(now, JobLine) else (),
    )


def _beside(old: Pairs, new: Pairs) -> tuple[Change, ...]:
    was, now = dict(old), dict(new)
    names = [name for name, _ in new] + [name for name, _ in old if name not in now]
    pairs = ((name, was.get(name, DASH), now.get(name, DASH)) for name in names)
    return tuple(Change(name, before, after, before != after) for name, before, after in pairs)


def _sentence(story: EntryStory, site: Site) -> Iterable[str]:
    line = story.line
    yield say("entry.sentence", author=line.author, at=moment(line.at, site.zone))
    if line.kind is Kind.FILE_IMPORTED and isinstance(story.now, ImportedFile):
        yield say("entry.sentence.import")
        file = story.now
        yield say(
            "entry.file.sentence",
            read=counted(file.rows_read, "row"),
            taken=count(file.rows_taken),
            refused=count(file.rows_refused),
        )
    elif line.file_entry is not None:
        yield say("entry.sentence.source", file=line.file, row=line.row or DASH, entry=count(line.file_entry))
    else:
        yield say("entry.sentence.typed")
    if line.supersedes is not None:
        yield say("entry.sentence.amends", entry=count(line.supersedes))
    if line.void:
        yield say("entry.sentence.void")
    elif isinstance(story.before, JobLine) and story.before.void:
        yield say("entry.sentence.back")
    if line.superseded_by is not None:
        yield say("entry.sentence.replaced", entry=count(line.superseded_by))


def _verdict(story: EntryStory, job: JobLine, site: Site, display: Display) -> Iterable[str]:
    yield say("entry.ratio", found=judged(job.found_ratio), left=judged(job.left_ratio))
    yield from decisions_told(job.decisions)
    yield from rests_told(job)
    by = story.judged_by
    if by is None:
        yield say("entry.judged.none")
        return
    given, how = given_texts(job.limits, display), how_taken(job.limits)
    yield say("entry.limits.given", limits=", ".join(given), how=how) if given else say("entry.limits.none")
    limit_set = by.limit_set
    yield say(
        "entry.judged",
        name=limit_set.name,
        version=limit_set.version,
        by=limit_set.adopted_by or say("limits.nobody"),
        on=day(limit_set.adopted_on),
        author=by.author,
        at=moment(by.recorded_at, site.zone),
        entry=count(by.entry),
        source=limit_set.source.rstrip("."),
    )


def _version(line: JobLine, site: Site) -> Version:
    stands = say("entry.stands.void") if line.void else say("entry.stands.now")
    if line.superseded_by is not None:
        stands = say("entry.stands.replaced", entry=count(line.superseded_by))
    return Version(line.entry, moment(line.recorded_at, site.zone), line.author, line.why_amended, stands)


def _sheets(mapping: Mapping[str, Any]) -> tuple[SheetRead, ...]:
    return tuple(_sheet(str(name), how) for name, how in mapping.items())


def _sheet(name: str, how: Mapping[str, Any]) -> SheetRead:
    holds = str(how.get("holds", ""))
    title = say("entry.file.sheet", name=name, holds=holds) if name else say("entry.file.one_sheet", holds=holds)
    common = {"row": how.get("header_row", DASH), "decimal": how.get("decimal", DASH), "dates": how.get("dates", DASH)}
    delimiter = {"\t": "Tab"}.get(str(how.get("delimiter")), how.get("delimiter"))
    form = (
        say("entry.file.form", **common, encoding=how.get("encoding"), delimiter=delimiter)
        if how.get("encoding")
        else say("entry.file.form.sheet", **common)
    )
    words = how.get("words") or {}
    return SheetRead(
        title,
        form,
        say("entry.file.words", words="; ".join(f"{a} = {b}" for a, b in words.items())) if words else "",
        tuple(
            (
                str(heading),
                str(field).rpartition(".")[2].replace("_", " ") or say("entry.file.left_out"),
                str(unit),
                _times(float(times)),
            )
            for heading, field, unit, times in how.get("columns", ())
        ),
    )


def _times(times: float) -> str:
    return "" if times == 1.0 else f"× {times:g}".replace("-", "−")
