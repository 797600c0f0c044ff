"""What many rows of a sheet say alike, and no row has to be mended for: counted as rows go in, told in one line each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from models.intake.problems import Code, Problem, Severity
from models.intake.rows import Row, RowReader
from models.values.several import is_several, may_be_several, pieces_of
from models.values.spelling import Alike

FEW: Final = 5
"""So many rows are named; the rest is counted."""


@dataclass(slots=True)
class Tally:
    """How many rows say something, and the numbers of the first of them, in order."""

    count: int = 0
    rows: list[int] = field(default_factory=list)

    def add(self, count: int, rows: Iterable[int]) -> None:
        """Count rows.

        Parameters
        ----------
        count : int
            How many. [unitless]
        rows : iterable of int
            Their numbers, or at least the first few of them. [unitless]
        """
        self.count += count
        self.rows = sorted([*self.rows, *rows])[:FEW]

    @property
    def places(self) -> str:
        """Name the rows: 'row 4', 'rows 4, 7', 'rows 4, 7, 9, 12, 15 and 407 more'."""
        more = self.count - len(self.rows)
        listed = ", ".join(map(str, self.rows)) + (f" and {more} more" if more else "")
        return f"row {listed}" if self.count == 1 else f"rows {listed}"


@dataclass(frozen=True, slots=True)
class Moved:
    """What is said of the moves of a row: of which kind it is, in a sentence that is whole, and by the field of which foot."""

    code: Code
    kind: str
    sentence: str
    key: str


@dataclass(slots=True)
class _Moves:
    tally: Tally
    row: int
    first: Moved


class Names:
    """Names of one kind, to find new ones that look as if they were others.

    ``odd`` holds names that came new by jobs, and that are counted for it: those of
    which one that is known differs by its spelling only, with that one; and those in
    which several may stand with a comma, '&', '+' or 'and' between them, with nothing.

    Parameters
    ----------
    known : mapping of str
        The names that are known; they grow while rows are read. [unitless]
    several : bool
        Whether a name may be several. [unitless]
    """

    def __init__(self, known: Mapping[str, object], *, several: bool = False) -> None:
        self._known, self._several = known, several
        self._alike: Alike | None = None
        self._plain: dict[str, str] = {}
        self._count = 0
        self.odd: dict[str, str | None] = {}

    def other(self, name: str) -> str | None:
        """Give, for a name that is new, one that is known and looks the same; from now on the new one is known too."""
        if self._alike is None:
            self._alike = Alike(self._known)
        found = self._alike.other(name)
        self._alike.add(name)
        return found

    def came(self, name: str) -> None:
        """See a name that is new, and comes by a job."""
        other = self.other(name)
        if other is not None or (self._several and may_be_several(name)):
            self.odd[name] = other

    def pieces(self, name: str) -> tuple[list[str], str] | None:
        """Give who of those in a name is known, and all with semicolons; ``None`` where it is one name, as far as can be told."""
        if self._count != len(self._known):
            self._count, self._plain = len(self._known), {}
            for one in self._known:
                self._plain.setdefault(one.casefold(), one)
        pieces = pieces_of(name)
        known = [self._plain.get(piece.casefold()) for piece in pieces]
        there = list(dict.fromkeys(one for one in known if one is not None))
        if len(pieces) < 2 or not (there or is_several(name)):
            return None
        return there, "; ".join(one or piece for one, piece in zip(known, pieces, strict=True))


class Noticed:
    """What is noticed of the rows of one sheet that go in; ``undecided`` counts those that the site's rule cannot decide."""

    def __init__(self, reader: RowReader) -> None:
        self._reader = reader
        self._as_found = Tally()
        self.undecided = 0
        self._moves: dict[tuple[Code, str], _Moves] = {}
        self._instruments: dict[str, Tally] = {}
        self._people: dict[str, Tally] = {}

    def left_as_found(self, count: int, rows: Iterable[int]) -> None:
        """Count planned looks without an as-left that moved nothing: what was found is taken for what was left."""
        self._as_found.add(count, rows)

    def moved(self, row: int, said: Iterable[Moved]) -> None:
        """Count a row whose moves speak against what was measured."""
        for one in said:
            held = self._moves.setdefault((one.code, one.kind), _Moves(Tally(), row, one))
            held.tally.add(1, [row])
            if row < held.row:
                held.row, held.first = row, one

    def instrument(self, serial: str, count: int, rows: Iterable[int]) -> None:
        """Count rows that name an instrument whose serial looks like another one."""
        self._instruments.setdefault(serial, Tally()).add(count, rows)

    def person(self, name: str, count: int, rows: Iterable[int]) -> None:
        """Count rows that name somebody who looks like somebody else, or like several."""
        self._people.setdefault(name, Tally()).add(count, rows)

    def problems(self, instruments: Names, people: Names) -> list[Problem]:
        """Tell everything, now that all names are known.

        Parameters
        ----------
        instruments, people : Names
            Those of this import. [unitless]
        """
        found = [self._told_moves(moves) for moves in self._moves.values()]
        for serial, tally in self._instruments.items():
            found += self._told_alike("instrument", serial, instruments.odd[serial], tally)
        for name, tally in self._people.items():
            found += self._told_alike("people", name, people.odd[name], tally)
            if people.odd[name] is None and (pieces := people.pieces(name)) is not None:
                found.append(self._told_several(name, pieces, tally))
        if self._as_found.count:
            found.append(self._told_as_found())
        # In an order of its own: which row was counted first depends on how they were read.
        return sorted(found, key=lambda one: (one.row, one.column, one.code, one.found, one.expected))

    def _told_alike(self, key: str, name: str, other: str | None, tally: Tally) -> list[Problem]:
        if other is None:
            return []
        expected = spelt_once("instrument" if key == "instrument" else "person", other)
        return [self._warning(key, Code.NAME_LOOKS_ALIKE, name, f"{expected} ({tally.places})", tally)]

    def _told_several(self, name: str, pieces: tuple[list[str], str], tally: Tally) -> Problem:
        there = " and ".join(f"'{one}'" for one in pieces[0])
        known = f"{there} {'is' if len(pieces[0]) == 1 else 'are'} known, and this" if there else "this"
        expected = (
            f"a semicolon between people; {known} is taken for one name. "
            f"If these are several people, write: {pieces[1]} ({tally.places})"
        )
        return self._warning("people", Code.SEVERAL_PEOPLE, name, expected, tally)

    def _warning(self, key: str, code: Code, found: str, expected: str, tally: Tally) -> Problem:
        return self._reader.problem(Row(tally.rows[0]), key, code, Severity.WARNING, found, expected)

    def _told_moves(self, moves: _Moves) -> Problem:
        first, others = moves.first, Tally(moves.tally.count - 1, moves.tally.rows[1:])
        more = f" The same has to be asked of {others.places}." if others.count else ""
        told = self._warning(first.key, first.code, "", f"{first.sentence}{more}", moves.tally)
        return replace(told, is_sentence=True)

    def _told_as_found(self) -> Problem:
        tally = self._as_found
        jobs, they, count = ("job gives", "it", "counts") if tally.count == 1 else ("jobs give", "they", "count")
        text = (
            f"{tally.count} planned {jobs} an as-found, no as-left and no move: {they} {count} as left as found ({tally.places}). "
            "Where that is not so, give the as-left, or a reason other than planned, with which what was left is kept as unknown: "
            "in the file before it goes in, in the book by amending the job."
        )
        return self.note(Code.LEFT_AS_FOUND, text)

    def note(self, code: Code, sentence: str) -> Problem:
        """Make a note of the whole sheet."""
        return replace(self._reader.problem(Row(0), "", code, Severity.NOTE, "", sentence), is_sentence=True)


def spelt_once(what: str, other: str) -> str:
    """Say that a new name should be spelled as one that is known, if both are one.

    Parameters
    ----------
    what : str
        What bears it: "instrument" or "person". [unitless]
    other : str
        The name that is known. [unitless]
    """
    return (
        f"one spelling for one {what}; '{other}' is known and differs only by capitals, blanks, dashes or characters that "
        f"nobody sees. As it stands this is {'an instrument' if what == 'instrument' else 'a person'} of its own: if both are one, "
        f"write {other}"
    )
