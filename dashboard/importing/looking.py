"""What is seen of a file before anything is written: how it is read, and what importing it would do.

A file is read by the mappings as they are, until they are corrected for it: from then on
it has its own until it is in the book, and what others change meanwhile is not for it.
"""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from pathlib import Path

from dashboard.context import context
from dashboard.desk import Brought, Desk
from dashboard.importing.outcome import Outcome, outcome_of
from dashboard.importing.saying import Offer, offers_of
from dashboard.importing.sent_files import MOST_TEXT, SentFile, room
from dashboard.words import say
from models.commands.choice import Choice, Reading
from models.commands.choose_mapping import Chooser, confirm_for
from models.commands.report import Report, SameVisit
from models.errors import UnreadableFileError
from models.intake.fitting import contradict, guessed_encoding, with_samples
from models.intake.mapping import FileMapping, outline, with_new_words
from models.intake.mapping_file import free_path, from_toml, read_mapping, to_toml, units_mark, write_mapping
from models.intake.mend import reserve, write_mend
from models.intake.nearest import NotUnderstoodError
from models.intake.reading import Sheet, read_sheets
from models.intake.said import Said
from models.values.story import Site

MOST_COLUMNS = 500
"""Most columns of a sheet: each becomes a row of the form in which it is corrected."""


class Silent:
    """Hears how a file is going to be read, and leaves it to the page to say so."""

    def says(self, text: str) -> None:
        """Hear a sentence."""

    def begins(self, name: str, text: str) -> None:
        """Hear that a file, or some of its sheets, are proposed a mapping."""

    def shows(self, mapping: FileMapping) -> None:
        """See how sheets would be read."""

    def waits(self, place: Path, asked: Sequence[str]) -> None:
        """Hear that a mapping waits to be confirmed."""


@dataclass(frozen=True, slots=True)
class Looked:
    """How a file is read, and what importing it would do.

    ``readings`` are the mappings that read it, each sheet with samples and all words of its lists; ``ready`` tells
    whether all of them are confirmed; ``asked`` says what has to be answered first: as long as there is any of it, rows were not looked at.
    ``offers`` are the sheets of which somebody may say what they hold.
    """

    readings: tuple[Reading, ...]
    ready: bool
    outcome: Outcome
    asked: tuple[str, ...] = ()
    offers: tuple[Offer, ...] = ()


def look(sent: SentFile, site: Site, desk: Desk, by: str) -> Looked:
    """Look at a file; nothing goes into the book.

    Raises
    ------
    DriftbookError
        If it cannot be read.
    """
    choice, readings, sheets = read(sent, site)
    held = {sheet for reading in choice.readings for sheet in reading.mapping.left_out if reading.ours}
    held |= {source.mapping.sheet for source in choice.sources if source.mapping.is_template}
    offers = offers_of([one for one in sheets.values() if one.name not in held], readings)
    if choice.asked:
        return Looked(readings, choice.ready, outcome_of(Report(problems=choice.told)), tuple(choice.asked), offers)
    report = desk.bring_in(site, Brought(choice.sources, choice.told), by=by, now=context().clock())
    return Looked(readings, choice.ready, outcome_of(report), offers=offers)


def read(sent: SentFile, site: Site) -> tuple[Choice, tuple[Reading, ...], Mapping[str, Sheet]]:
    """Choose how a file is read, and give that for a form too, with all sheets of the file.

    Raises
    ------
    DriftbookError
        If it cannot be read.
    """
    with room():
        sent.renew(context().settings.mappings)
    choice, every = _choose(sent, site)
    sheets = {source.sheet.name: source.sheet for source in choice.sources}
    readings = tuple(
        replace(one, read=tuple(with_new_words(sheets[m.sheet], with_samples(m, sheets[m.sheet])) for m in one.read))
        for one in choice.readings
    )
    return choice, readings, {sheet.name: sheet for sheet in every}


def bring(sent: SentFile, site: Site, desk: Desk, by: str, *, good: bool, same_visit: SameVisit) -> Outcome:
    """Import a file, or its good rows, as it was read last, and confirm that way.

    Raises
    ------
    DriftbookError
        If it cannot be read, or its rows that came back cannot be kept.
    """
    choice, _ = _choose(sent, site)
    made: list[Path] = []
    report: Report | None = None
    brought = Brought(choice.sources, choice.told, looking=False, good=good, same_visit=same_visit)
    try:
        report = desk.bring_in(
            site, brought, by=by, now=context().clock(), keep_refused=partial(_keep_refused, sent, made)
        )
    finally:
        if report is None or not report.written:
            for path in made:
                path.unlink(missing_ok=True)
    kept = True
    if report.written:  # what did not go in is not confirmed either
        for reading in choice.readings:
            if reading.ours and not reading.mapping.confirmed:
                confirm_for(site, reading.mapping)
        kept = _publish(sent, site, choice.readings)
    names = tuple(path.name for path in made)
    return outcome_of(report, names, mappings_kept=kept, doubled_left=same_visit is SameVisit.LEAVE)


def give_back(sent: SentFile, site: Site, desk: Desk, by: str) -> None:
    """Write the rows that are refused into a file to mend, without importing anything.

    Raises
    ------
    DriftbookError
        If the file cannot be read, or what is refused cannot be kept.
    """
    choice, _ = _choose(sent, site)
    report = desk.bring_in(site, Brought(choice.sources, choice.told), by=by, now=context().clock())
    if report.refused and not sent.made:
        _keep_refused(sent, [], report)


def correct(sent: SentFile, site: Site, reading: Reading, made: FileMapping) -> None:
    """Keep how a file is to be read, for this file only as long as it is not imported.

    A mapping of another site stays as it is: a new one is kept for this site.
    """
    if not reading.ours:
        own = replace(made, site=site.name, units=units_mark(site.display), left_out=())
        made = replace(own, path=free_path(sent.mappings, own, sent.path, site.code))
    assert made.path is not None  # noqa: S101 - only kept mappings are corrected
    with room():
        sent.correct()
        write_mapping(made.path, to_toml(made, sent.path.name))


def say_it(sent: SentFile, site: Site, name: str, said: Said) -> None:
    """Keep how a sheet is to be read of which somebody says what it holds, for this file only as long as it is not imported.

    Raises
    ------
    DriftbookError
        If there is no such sheet, or its headings cannot stand there.
    """
    readings: tuple[Reading, ...] = ()
    try:
        _, readings, sheets = read(sent, site)
    except NotUnderstoodError as fault:
        sheets = {one.name: one for one in fault.sheets}
    if name not in sheets:
        raise UnreadableFileError(say("import.say.no_sheet"), remedy=say("import.say.no_sheet.remedy"))
    new = Chooser(sent.mappings, site, Silent()).said(sheets[name], said)
    own = FileMapping((new,), site=site.name, units=units_mark(site.display))
    found = next((one for one in readings if any(m.sheet == name for m in one.read)), Reading(own, (new,), ours=False))
    there = found.mapping.sheets if found.ours else found.read
    correct(
        sent,
        site,
        found,
        replace(found.mapping, sheets=tuple(new if m.sheet == name else m for m in there), confirmed=False),
    )


def same(one: FileMapping, other: FileMapping) -> bool:
    """Tell whether two mappings read the same sheets in the same way."""
    return _plain(one) == _plain(other)


def digest_of(readings: Sequence[Reading]) -> str:
    """Give a digest of how a file is read, by which a form that was made for another way is known."""
    text = repr([(one.mapping.path, _plain(one.mapping)) for one in readings])
    return sha256(text.encode()).hexdigest()


def _plain(mapping: FileMapping) -> object:
    bare = (replace(s, columns=tuple(replace(c, samples=()) for c in s.columns)) for s in mapping.sheets)
    return (tuple(bare), mapping.left_out)


def _choose(sent: SentFile, site: Site) -> tuple[Choice, tuple[Sheet, ...]]:
    """Choose how a file is read, tell what of that was a guess, and give all its sheets."""
    with room():
        every = read_sheets(sent.path, encoding=sent.encoding, most_text=MOST_TEXT)
        sheets = tuple(_narrow(sent, site, sheet) for sheet in every)
        choice = Chooser(sent.mappings, site, Silent()).choose(sent.path, sheets)
        if not sent.encoding:
            choice.told.extend(guess for sheet in sheets if (guess := guessed_encoding(sheet)))
    return choice, sheets


def _narrow(sent: SentFile, site: Site, sheet: Sheet) -> Sheet:
    """Give a sheet as it is looked at, or refuse one that is too wide, before each of its cells is looked at for a heading.

    A wide sheet of a workbook that is no list (a plan, say) is not read, and has no form: its first columns tell.
    """
    if all(len(row) <= MOST_COLUMNS for row in sheet.head):
        return sheet
    narrow = replace(sheet, head=tuple(row[:MOST_COLUMNS] for row in sheet.head))
    if sheet.delimiter or outline(narrow, site.display) is not None:
        told = say("import.wide", name=sent.path.name, most=MOST_COLUMNS)
        raise UnreadableFileError(told, remedy=say("import.wide.remedy"))
    return narrow


def _publish(sent: SentFile, site: Site, readings: list[Reading]) -> bool:
    """Keep the mappings of a file that went in for later files, and tell whether all could be.

    One that somebody else has changed since it was corrected for this file stays as they left it, and so do all where
    another way of reading the same headings was confirmed meanwhile: two would stop every later file.  One that a person
    had confirmed, and may have written remarks in, stays beside the new one.
    """
    folder, whole = context().settings.mappings, True
    for path in {one.mapping.path for one in readings if one.ours and one.mapping.path is not None}:
        shared, before = folder / path.name, sent.before / path.name
        try:
            was, now = before.read_bytes() if before.exists() else None, path.read_text(encoding="utf-8")
            there = shared.read_bytes() if shared.exists() else None
            if there == now.encode():
                continue
            if there != was or (there is None and _is_taken(folder, site, from_toml(now, path))):
                whole = False
                continue
            if there is not None and read_mapping(shared).confirmed:
                shutil.copyfile(shared, _name_before(shared))
            write_mapping(shared, now)
        except (OSError, UnreadableFileError):
            whole = False
    return whole


def _is_taken(folder: Path, site: Site, made: FileMapping) -> bool:
    """Tell whether a confirmed mapping of a site reads the same headings in another way."""
    for place in folder.glob("*.toml"):
        try:
            other = read_mapping(place)
        except UnreadableFileError:
            continue
        if other.confirmed and (other.site or site.name) in site.names:
            there = {(one.sheet, one.headings, one.units_said): one for one in other.sheets}
            same = ((one, there.get((one.sheet, one.headings, one.units_said))) for one in made.sheets)
            if any(two is not None and contradict(one, two) for one, two in same):
                return True
    return False


def _name_before(shared: Path) -> Path:
    """Give a free name for the mapping that is there: remarks that a person wrote in an earlier one stay too."""
    names = (shared.with_suffix(f".toml.before{number or ''}") for number in itertools.count())
    return next(one for one in names if not one.exists())


def _keep_refused(sent: SentFile, made: list[Path], report: Report) -> None:
    """Write the rows that came back beside the file that was sent."""
    bad = [sheet.came_back() for sheet in report.sheets if sheet.refused]
    with room():
        made.append(reserve(sent.path))
        write_mend(made[-1], bad, delimiter=report.sheets[0].source.sheet.delimiter)
