"""What a site has confirmed for the same headings in other lists: a new list starts from it.

A list with one column more has other headings as a whole, but most of them are old
ones, of which a person has said what they are, in which unit and which way round.
Where that is otherwise than the heading alone would be read, or confirmed mappings
contradict each other, it is asked about, with what was confirmed as the guess.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from models.intake.fields import Field, Form
from models.intake.mapping import WHAT_TO_MEND, Column, SheetMapping
from models.intake.problems import column_name
from models.intake.proposing import Ask, as_field
from models.intake.title_words import WORDS
from models.units import Display

_BRACKETS: Final = re.compile(r"[\[\](){}]")
_SHOWN: Final = 2
"""So many mappings are named; of more it is said that there are more."""


@dataclass(frozen=True, slots=True)
class Confirmed:
    """A sheet of a mapping that a site has confirmed, with the name of its file."""

    name: str
    sheet: SheetMapping


@dataclass(frozen=True, slots=True)
class _Answer:
    """What one column was confirmed to be, and by which mappings."""

    column: Column
    names: tuple[str, ...]

    @property
    def told(self) -> str:
        """Name the mappings."""
        more = " and more" if len(self.names) > _SHOWN else ""
        return ", ".join(self.names[:_SHOWN]) + more


Suits = Callable[[Column], bool]
"""Tells whether a column read so is read as what stands above or beside the list says."""


def as_answered(
    made: SheetMapping,
    kept: Sequence[Confirmed],
    display: Display,
    suits: Suits = lambda _: False,
    above: Sequence[str] = (),
) -> SheetMapping:
    """Give a proposal that starts from what was confirmed for the same headings.

    Parameters
    ----------
    made : SheetMapping
        What is proposed by the headings alone. [unitless]
    kept : sequence of Confirmed
        What the site has confirmed. [unitless]
    display : Display
        The site's units. [unitless]
    suits : callable
        Whether a column so read is what is said above or beside the list: then it was answered, if that was not seen. [unitless]
    above : sequence of str
        Its headings without the units that stand in a row below them: a list may have got that row since. [as typed]
    """
    kept = [one for one in kept if one.sheet.table is made.table]
    counted = Counter(made.headings)
    bare = {c.heading: name for c, name in zip(made.columns, above, strict=False) if above.count(name) == 1}
    columns = [
        _answered(column, answers, display)
        if counted[column.heading] == 1 and (answers := _answers(column, made, kept, suits, bare))
        else column
        for column in made.columns
    ]
    known = {
        at
        for at, column in enumerate(columns)
        if counted[column.heading] == 1 and _answers(made.columns[at], made, kept, suits, bare)
    }
    words = {word: _meaning(word, meaning, kept) for word, meaning in made.words.items()}
    return replace(made, columns=tuple(_apart(columns, made.columns, known)), words=words)


def _meaning(word: str, proposed: str, kept: Sequence[Confirmed]) -> str:
    """Give what a word was confirmed to mean; nothing where that differs from list to list."""
    found = {meaning for one in kept if (meaning := one.sheet.words.get(word, ""))}
    return proposed if not found else found.pop() if len(found) == 1 else ""


def _answers(
    column: Column, made: SheetMapping, kept: Sequence[Confirmed], suits: Suits, bare: Mapping[str, str]
) -> list[_Answer]:
    """Give what was confirmed for a heading, each way once."""
    found: dict[tuple[Field | None, str, float], tuple[Column, list[str]]] = {}
    if column.heading in {"", WHAT_TO_MEND}:
        return []
    for one in kept:
        same = _under(column.heading, one.sheet)
        if not same and (name := bare.get(column.heading)):
            # The unit is now said below the heading; the field, the sign and a factor were answered.
            same = [replace(o, unit=column.unit or o.unit) for o in _under(name, one.sheet)]
        # Whoever answered did not see what stands above or beside this list.
        new = set(made.units_said) - set(one.sheet.units_said)
        if column.asks - {Ask.UNIT} and new & WORDS:
            continue
        blind = Ask.UNIT in column.asks and new
        if len(same) == 1 and (not blind or suits(replace(same[0], index=column.index))):
            way = (same[0].field, same[0].unit, same[0].times)
            found.setdefault(way, (same[0], []))[1].append(one.name)
    return [_Answer(other, tuple(dict.fromkeys(names))) for other, names in found.values()]


def _under(heading: str, sheet: SheetMapping) -> list[Column]:
    """Give the columns under a heading; where there is none, those whose heading differs only by capitals, brackets or blanks beside them."""
    same = [column for column in sheet.columns if column.heading == heading]
    return same or [column for column in sheet.columns if _plain(column.heading) == _plain(heading)]


def _plain(heading: str) -> str:
    return " ".join(_BRACKETS.sub(" ", heading).split()).casefold()


def _is_number(field: Field | None) -> bool:
    return field is not None and field.form is Form.NUMBER


def _way(column: Column) -> str:
    """Say how a column is read, for a question: without its field where that is not what differs."""
    times = f" × {column.times:g}" if column.times != 1.0 else ""
    return f"in {column.unit}{times}" if column.unit else f"plain{times}"


def _whole(column: Column) -> str:
    if column.field is None:
        return "left out"
    return f"'{column.field.heading}'" + (f" {_way(column)}" if _is_number(column.field) else "")


def _answered(column: Column, answers: Sequence[_Answer], display: Display) -> Column:
    fields = {one.column.field for one in answers}
    if len(answers) > 1 and any(map(_is_number, fields)):
        return _contradicted(column, answers, display)
    # Of a text that is read in one list and left out in another nothing is lost where it is read.
    answer = next((one for one in answers if one.column.field is not None), answers[0])
    field = answer.column.field
    if field is not None and _is_number(field):
        return _number(column, answer, field, display)
    needed = column.field is not None and column.field.required
    if field is column.field or (needed and not (field is None and column.asks)):
        return column
    if _is_number(column.field) and not column.asks:
        return replace(column, asks=frozenset({Ask.FIELD}), why=_why_field(column, answer), as_in=answer.told)
    return _taken(column, answer, field)


def _why_field(column: Column, answer: _Answer) -> str:
    return (
        f"{answer.told}, confirmed for this site, has the same heading as {_whole(answer.column)}; by itself it would be {_whole(column)}: say what "
        "it is, in which unit and which way round, or leave it out"
    )


def _taken(column: Column, answer: _Answer, field: Field | None) -> Column:
    if field is None:
        return replace(column, field=None, unit="", times=1.0, asks=frozenset(), why="", as_in=answer.told)
    other = answer.column
    return replace(column, field=field, unit=other.unit, times=other.times, asks=frozenset(), why="", as_in=answer.told)


def _number(column: Column, answer: _Answer, field: Field, display: Display) -> Column:
    """Start from what was confirmed for a column of numbers, and ask where its heading alone would be read otherwise."""
    other = answer.column
    if column.field is not None and column.field is not field and Ask.FIELD not in column.asks:
        if column.field.required:
            return column
        return replace(_taken(column, answer, field), asks=frozenset({Ask.FIELD}), why=_why_field(column, answer))
    own = column
    if column.field is not field:
        anew = as_field(column.heading, field, display)
        own = replace(column, field=field, unit=anew.unit, times=anew.times, asks=anew.asks | column.asks)
    asks: set[Ask] = set()
    # What the heading leaves open was answered then; what it says, or the site's units, is another word.
    open_unit = {Ask.FIELD, Ask.UNIT} & own.asks
    if other.unit != own.unit and not open_unit:
        asks.add(Ask.UNIT)
    if other.times != own.times and not own.asks:
        asks.add(Ask.TIMES)
    taken = _taken(column, answer, field)
    if not asks:
        is_same = (column.field, column.unit, column.times, column.asks) == (
            field,
            other.unit,
            other.times,
            frozenset(),
        )
        return column if is_same else taken
    why = f"{answer.told}, confirmed for this site, reads the same heading {_way(other)}; by itself it would be read {_way(own)}: say which goes for this list"
    return replace(taken, asks=frozenset(asks), why=why)


def _contradicted(column: Column, answers: Sequence[_Answer], display: Display) -> Column:
    """Ask about a column whose heading was confirmed in several ways."""
    fields = {one.column.field for one in answers}
    first = next((one for one in answers if one.column.field is column.field), answers[0])
    field = first.column.field
    told = _whole if len(fields) > 1 else _way
    ways = "; ".join(f"{told(one.column)} ({one.told})" for one in answers)
    why = (
        f"mappings confirmed for this site read the same heading in several ways: {ways}. Say which goes for this list"
    )
    asks = {Ask.FIELD} if len(fields) > 1 else set()
    if field is None:
        if column.field is not None and column.field.required:
            return column
        return replace(column, field=None, unit="", times=1.0, asks=frozenset({Ask.FIELD}), why=why, as_in=first.told)
    same = [one.column for one in answers if one.column.field is field]
    own = as_field(column.heading, field, display)
    units, times = {one.unit for one in same}, {one.times for one in same}
    if len(units) > 1:
        asks.add(Ask.UNIT)
    if len(times) > 1:
        asks.add(Ask.TIMES)
    return replace(
        column,
        field=field,
        unit=units.pop() if len(units) == 1 else own.unit,
        times=times.pop() if len(times) == 1 else own.times,
        asks=frozenset(asks),
        why=why,
        as_in=", ".join(one.told for one in answers),
    )


def _apart(columns: Sequence[Column], before: Sequence[Column], known: set[int]) -> list[Column]:
    """See that no two columns are the same field without a question: what was confirmed goes first."""
    claims: dict[Field, list[int]] = {}
    for at, column in enumerate(columns):
        if column.field is not None and Ask.FIELD not in column.asks:
            claims.setdefault(column.field, []).append(at)
    made = list(columns)
    for field, claim in claims.items():
        if len(claim) == 1 or all(columns[at] is before[at] for at in claim):
            continue
        keeps = next((at for at in claim if at in known), claim[0])
        ask_all = _is_number(field) and sum(at in known for at in claim) > 1
        for at in claim:
            if at == keeps and not ask_all:
                continue
            if not _is_number(field) and not field.required:
                made[at] = replace(columns[at], field=None, unit="", times=1.0, asks=frozenset(), why="", as_in="")
                continue
            other = keeps if at != keeps else next(one for one in claim if one != keeps)
            why = f"it would be the same as column {column_name(other, repr(columns[other].heading))}: say what it is, or leave it out"
            told = "; ".join(filter(None, (columns[at].why, why)))
            made[at] = replace(columns[at], asks=columns[at].asks | {Ask.FIELD}, why=told)
    return made
