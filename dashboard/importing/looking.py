"""What is seen of a file before anything is written: how it is read, and what importing it would do."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from dashboard.context import context
from dashboard.desk import Brought, Desk
from dashboard.importing.outcome import Outcome, outcome_of
from dashboard.importing.sent_files import SentFile
from models.commands.choose_mapping import Choice, Chooser, Reading
from models.commands.report import Report
from models.intake.fitting import guessed_encoding, with_samples
from models.intake.mapping import FileMapping
from models.intake.mapping_file import from_toml, to_toml
from models.intake.mend import reserve, write_mend
from models.intake.reading import read_sheets
from models.values.story import Site


@dataclass(slots=True)
class Notes:
    """What is told of the way in which a file is read, to be shown on a page."""

    sentences: list[str] = field(default_factory=list)

    def says(self, text: str) -> None:
        """Keep a sentence."""
        self.sentences.append(text)

    def begins(self, name: str, text: str) -> None:
        """Keep nothing: the page says by itself what is proposed."""

    def shows(self, mapping: FileMapping) -> None:
        """Keep nothing: the mapping comes with the choice."""

    def waits(self, place: Path) -> None:
        """Keep nothing: the page asks by itself."""


@dataclass(frozen=True, slots=True)
class Looked:
    """How a file is read, and what importing it would do.

    ``readings`` are the mappings that read it, each sheet with samples; ``ready`` tells whether all are confirmed.
    """

    sentences: tuple[str, ...]
    readings: tuple[Reading, ...]
    ready: bool
    outcome: Outcome


def look(sent: SentFile, site: Site, desk: Desk, by: str) -> Looked:
    """Look at a file; nothing goes into the book.

    Raises
    ------
    DriftbookError
        If it cannot be read.
    """
    notes = Notes()
    choice = choose(sent, site, desk, notes)
    brought = Brought(choice.sources, choice.told)
    report = desk.bring_in(site, brought, by=by, now=context().clock())
    sheets = {source.sheet.name: source.sheet for source in choice.sources}
    readings = tuple(
        replace(one, read=tuple(with_samples(read, sheets[read.sheet]) for read in one.read)) for one in choice.readings
    )
    return Looked(tuple(notes.sentences), readings, choice.ready, outcome_of(report))


def bring(sent: SentFile, site: Site, desk: Desk, by: str, *, good: bool) -> Outcome:
    """Confirm how a file is read, and import it, or its good rows.

    Raises
    ------
    DriftbookError
        If it cannot be read, or its rows that came back cannot be kept.
    """
    choice = choose(sent, site, desk, Notes(), confirm=True)
    made: list[Path] = []
    brought = Brought(choice.sources, choice.told, looking=False, good=good)
    report = desk.bring_in(site, brought, by=by, now=context().clock(), keep_refused=partial(_keep_refused, sent, made))
    return outcome_of(report, tuple(path.name for path in made))


def choose(sent: SentFile, site: Site, desk: Desk, notes: Notes, *, confirm: bool = False) -> Choice:
    """Choose how a file is read, and tell what of that was a guess."""
    folder = context().settings.mappings
    sheets = read_sheets(sent.path, encoding=sent.encoding)
    chooser = Chooser(folder, site, partial(desk.first_site, site), notes, confirm=confirm)
    choice = chooser.choose(sent.path, sheets)
    if not sent.encoding:
        choice.told.extend(guess for sheet in sheets if (guess := guessed_encoding(sheet)))
    return choice


def rewrite(mapping: FileMapping, source: str) -> None:
    """Write a mapping over the one that is kept; one that a person had confirmed, and may have written remarks in, stays beside it."""
    assert mapping.path is not None  # noqa: S101 - only kept mappings are written
    part = mapping.path.with_suffix(".part")
    part.write_text(to_toml(mapping, source), encoding="utf-8")
    before = mapping.path.read_text(encoding="utf-8")
    if from_toml(before, mapping.path).confirmed:
        mapping.path.with_suffix(".toml.before").write_text(before, encoding="utf-8")
    part.replace(mapping.path)


def _keep_refused(sent: SentFile, made: list[Path], report: Report) -> None:
    """Write the rows that came back beside the file that was sent."""
    bad = [sheet.came_back() for sheet in report.sheets if sheet.refused]
    place = reserve(sent.path)
    write_mend(place, bad, delimiter=report.sheets[0].source.sheet.delimiter)
    made.append(place)
