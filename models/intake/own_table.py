"""The program's own table of jobs, when it comes back as a file: versions that were amended, or are void, count nowhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from models.intake.beyond import is_blank
from models.intake.cells import text_of
from models.intake.reading import Cell

AMENDED: Final = "amended by entry"
VOID: Final = "void"
"""The headings of that table which say so; only together they are taken for its own."""

_YES: Final = frozenset({"true", "yes", "1"})


class OwnVersions:
    """Knows which rows of such a table are versions that do not count.

    Parameters
    ----------
    amended, void : int
        Places of the two columns, from 0. [unitless]
    """

    def __init__(self, amended: int, void: int) -> None:
        self._amended, self._void = amended, void

    def why_out(self, cells: Sequence[Cell]) -> str:
        """Say why a row is left out; empty where it counts."""
        by = cells[self._amended] if self._amended < len(cells) else None
        if not is_blank(by):
            return f"a version that stands; entry {text_of(by)} took the place of this one, so it is left out"
        void = cells[self._void] if self._void < len(cells) else None
        return "a job that counts; this one is void, so it is left out" if text_of(void).lower() in _YES else ""


def own_versions(headings: Sequence[Cell] | None) -> OwnVersions | None:
    """Know a row of headings for that of the program's own table of jobs; ``None`` where it is another one.

    Parameters
    ----------
    headings : sequence of Cell or None
        The row of headings as it stands in the file. [as typed]
    """
    names = [text_of(heading) for heading in headings or ()]
    return OwnVersions(names.index(AMENDED), names.index(VOID)) if {AMENDED, VOID} <= set(names) else None
