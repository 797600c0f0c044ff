"""How the sheets of a file are read so far, while that is chosen."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from models.commands.report import Source
from models.intake.mapping import FileMapping, SheetMapping
from models.intake.problems import Code, Problem, Severity
from models.intake.reading import Sheet


@dataclass(frozen=True, slots=True)
class Reading:
    """Sheets that a kept mapping reads; ``ours`` tells whether it is that of the site, and may be changed for it."""

    mapping: FileMapping
    read: tuple[SheetMapping, ...]
    ours: bool = True


@dataclass(slots=True)
class Choice:
    """How a file is read so far.

    ``left`` are sheets without an answer, ``readings`` what kept mappings read, ``ready`` tells whether nothing waits
    to be confirmed.
    """

    path: Path
    left: dict[str, Sheet]
    sources: list[Source] = field(default_factory=list)
    told: list[Problem] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    ready: bool = True

    def take(self, mapping: SheetMapping) -> None:
        """Read a sheet in one way."""
        self.sources.append(Source(self.left.pop(mapping.sheet), mapping))

    @property
    def asked(self) -> list[str]:
        """Give what has to be answered before anything is read."""
        return [told for reading in self.readings for sheet in reading.read for told in sheet.questions]

    def leave(self, name: str, why: str, *, is_sentence: bool = False) -> None:
        """Leave a sheet unread, and say why."""
        del self.left[name]
        told = Problem(
            self.path.name, name, 0, "", Code.SHEET_NOT_READ, Severity.WARNING, "", why, is_sentence=is_sentence
        )
        self.told.append(told)
