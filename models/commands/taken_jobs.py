"""Rows of jobs whose number the book has with other content: in what the two differ, and how a job is changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

from models.intake.fields import FEET, Field, Table, fields_of
from models.intake.problems import Code, Problem, Severity
from models.intake.reading import Cell
from models.intake.rows import Row, RowReader
from models.store.held_jobs import HeldJob
from models.tables.base import from_microseconds
from models.units import Display, from_stored
from models.values.job import COMPONENTS, Job
from models.values.kinds import Method, Reason

SHOWN: Final = 4
"""So many fields are told of a row; the rest is counted."""

_SAME: Final = 1e-9
"""Below this difference two stored values are the same number, converted from two units."""

_DEFAULTS: Final = {
    "reason": str(Reason.OTHER),
    "method": str(Method.OTHER),
    **{f"target_{part}": 0.0 for part in COMPONENTS},
}
_NOT_HERE: Final = {"ref", "tag", "performed", "time"}


def told_taken(
    reader: RowReader, row: Row, cells: Sequence[Cell], performed_us: int, held: HeldJob | None, *, elsewhere: str,
    display: Display,
) -> Problem:  # fmt: skip
    """Say in what a row differs from the job that the book has under its number.

    Parameters
    ----------
    reader : RowReader
        Reader of its sheet. [unitless]
    row : Row
        The row. [unitless]
    cells : sequence of Cell
        Its cells. [as typed]
    performed_us : int
        Moment of its job. [µs]
    held : HeldJob or None
        What the book has; ``None`` where that is not known. [unitless]
    elsewhere : str
        Tag of the machine of the job in the book, where it is another one than that of the row. [unitless]
    display : Display
        The site's units, for what has no column in the sheet. [unitless]
    """
    read = reader.read(row.number, cells) or row
    found = list(_differing(reader, read, performed_us, held, elsewhere, display)) if held is not None else []
    own = [
        one for one in found if one[0] in reader.columns
    ]  # what the sheet has no column for, nobody has changed there
    listed = "; ".join(f"{name}: the sheet {here}, the book {there}" for _, name, here, there in own[:SHOWN])
    rest = [
        text
        for text, count in (
            (f"{len(own) - SHOWN} more", len(own) - SHOWN),
            (f"{len(found) - len(own)} of which the sheet has no column", len(found) - len(own)),
        )
        if count > 0
    ]
    more = ("; and " if listed and rest else "") + ", and ".join(rest)
    where = "" if held is None else f" in entry {held.entry}{', which is void' if held.void else ''}"
    text = f"the book has this job otherwise{where}{': ' if found else ''}{listed}{more}. {_way_on(held, elsewhere)}"
    key = own[0][0] if own else "ref"
    number = read.values.get("ref") or ""  # one that was made of tag and time stands nowhere in the sheet
    problem = reader.problem(row, key, Code.KEY_IN_BOOK, Severity.ERROR, number if key == "ref" else "", text)
    amended = held is not None and not held.void and not elsewhere
    return replace(problem, is_sentence=True, entry=held.entry if held is not None and amended else None)


def told_twice_here(
    reader: RowReader, row: Row, cells: Sequence[Cell], job: Job, where: str, *, is_same: bool
) -> Problem:
    """Say of a row that an earlier one has its number.

    Parameters
    ----------
    reader : RowReader
        Reader of its sheet. [unitless]
    row : Row
        The row. [unitless]
    cells : sequence of Cell
        Its cells. [as typed]
    job : Job
        Its job. [unitless]
    where : str
        The earlier row. [unitless]
    is_same : bool
        Whether both say the same: then this one is left out. [unitless]
    """
    # A number that was made of tag and time stands nowhere in the sheet.
    is_given = bool(row.values.get("ref"))
    key, found = ("ref", job.ref) if is_given else ("performed", reader.shown("performed", cells))
    if is_same:
        expected = f"each record once; {where} says the same, and this one is left out"
        return reader.problem(row, key, Code.DUPLICATE, Severity.WARNING, found, expected)
    expected = f"a number of its own; {where} has it with other content"
    if not is_given:
        expected = (
            f"one visit of {job.tag} at this time; {where} is another one, with other content: if both were made, give each "
            "a time of day or a job number"
        )
    return reader.problem(row, key, Code.KEY_CONFLICT, Severity.ERROR, found, expected)


def _way_on(held: HeldJob | None, elsewhere: str) -> str:
    """Say what can be done: a void job is not amended, nor does a job change its machine, and no number is given twice."""
    anew = "give the row a job number of its own, here and in lists that come later: the book gives no number twice"
    if held is None:
        return "A job is changed by an amendment, not by a second import"
    if held.void:
        return f"If this is the job as it should have been, {anew}; if it is void rightly, take the row out"
    if elsewhere:
        return f"A job does not change its machine. If it is entered under the wrong one, void entry {held.entry} and {anew}; else correct the tag"
    return f"A job is changed by an amendment, not by a second import: amend entry {held.entry}"


def _differing(
    reader: RowReader, read: Row, performed_us: int, held: HeldJob, elsewhere: str, display: Display
) -> Iterator[tuple[str, str, str, str]]:
    """Give each field in which a row differs: its key, its name in the sheet, what the sheet says and what the book."""
    if elsewhere:
        yield "tag", _name(reader, "tag", "tag"), str(read.values.get("tag")), elsewhere
    if held.performed_us != performed_us:
        here, there = (
            f"{from_microseconds(us).astimezone(reader.zone):%Y-%m-%d %H:%M}"
            for us in (performed_us, held.performed_us)
        )
        yield "performed", _name(reader, "performed", "performed at"), here, there
    values = read.values
    silent = not any(f"left_{part}" in values for part in COMPONENTS) and all(
        held.values[f"left_{part}"] == held.values[f"found_{part}"] for part in COMPONENTS
    )  # what was left is what was found, and no cell says so
    for field in fields_of(Table.JOBS):
        if field.key in _NOT_HERE or (silent and field.key.startswith("left_")):
            continue
        here, there = _plain(field.key, values.get(field.key)), _plain(field.key, _of(held, field.key))
        if here == there or (isinstance(here, float) and isinstance(there, float) and abs(here - there) <= _SAME):
            continue
        name = _name(reader, field.key, field.heading)
        yield field.key, name, read.typed.get(field.key) or _text(here), _book(reader, field, there, display)


def _of(held: HeldJob, key: str) -> Any:
    prefix, _, foot = key.rpartition("_")
    if foot in FEET:
        feet, place = held.values[prefix], FEET.index(foot)
        return feet[place] if place < len(feet) else None
    return held.values[key]


def _plain(key: str, value: Any) -> Any:
    """Give a value by which two can be compared: what is blank is what a blank means."""
    if isinstance(value, list | tuple):
        value = "; ".join(map(str, value))
    return _DEFAULTS.get(key) if value in (None, "") else value


def _name(reader: RowReader, key: str, heading: str) -> str:
    column = reader.columns.get(key)
    return heading if column is None or not column.heading else " ".join(column.heading.split())


def _book(reader: RowReader, field: Field, value: Any, display: Display) -> str:
    """Write what the book says in the unit of the sheet, and counted as the sheet counts."""
    if not isinstance(value, float) or field.quantity is None:
        return _text(value)
    column = reader.columns.get(field.key)
    if column is None:
        return display.text(value, field.quantity)
    return f"{from_stored(value, column.unit, field.quantity) / column.times + 0.0:.6g} {column.unit}"


def _text(value: Any) -> str:
    return "nothing" if value in (None, "") else f"{value:g}" if isinstance(value, float) else f"‘{value}’"
