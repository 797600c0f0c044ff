"""What the columns of a sheet most likely are, by their headings, and what of that a person has to say.

Nothing is taken for granted in a column of numbers whose heading says more than
is understood: a unit that is none, a word beside the reading, a foot without a
side.  Such a column is asked about; the rest is proposed as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from models.intake import headings
from models.intake.fields import Field, Form, Table
from models.intake.problems import column_name
from models.units import Display, Quantity


class Ask(StrEnum):
    """What of a column has to be said by a person before it is read; also how a mapping's file calls it."""

    FIELD = "field"
    UNIT = "unit"
    TIMES = "times"


OPEN: Final = "?"
"""Stands in a mapping behind what is only guessed, or alone where nothing is: whoever answers writes it without."""

HALF: Final = 0.5
"""What is proposed for a total indicator reading."""

HALVES: Final = frozenset({HALF, 0.005, 0.0005})
"""That of whole units, of hundredths and of thousandths."""

ALWAYS_ALIKE: Final = frozenset({Quantity.SPEED, Quantity.DURATION})
"""What every plant writes in the same unit, unless somebody has said otherwise: rpm and hours."""

NO_UNIT: Final = "its heading is not understood, and may speak of a unit: say in which the numbers are"

_OF_TOTALS: Final = "speaks of total indicator readings"

_NOT_OF_ROWS: Final = frozenset({"tag", "commissioned", "retired", "valid_from"})
"""What rows of jobs cannot say of their machine."""


@dataclass(frozen=True, slots=True)
class Proposed:
    """What a column most likely is; ``asks`` says what of it is only a guess, and ``why``, in a sentence."""

    field: Field | None = None
    unit: str = ""
    times: float = 1.0
    asks: frozenset[Ask] = frozenset()
    why: str = ""


def propose_columns(names: Sequence[str], table: Table, display: Display) -> list[Proposed]:
    """Propose what each column of a sheet is.

    Parameters
    ----------
    names : sequence of str
        The headings, blank ones too. [as typed]
    table : Table
        What the sheet holds. [unitless]
    display : Display
        The site's units, for columns that state none. [unitless]
    """
    apart = [headings.take_apart(name) for name in names]
    beaten, tied = _rivals(apart, table)
    used: set[str] = set()
    made: list[Proposed] = []
    for index, (name, heading) in enumerate(zip(names, apart, strict=True)):
        meant = None if not name or index in beaten else _meant(heading, table, used, is_tied=index in tied)
        if meant is None:
            made.append(Proposed())
            continue
        used.add(f"{meant.field.table}.{meant.field.key}")
        if index in tied:
            meant = replace(meant, doubts=(f"means the same as that of column {tied[index]}", *meant.doubts))
        made.append(_proposed(heading, meant, display))
    return made


def as_field(name: str, field: Field, display: Display, *, in_doubt: bool = False) -> Proposed:
    """Propose how a column is read of which a person has said what it is: its unit, or that this has to be said.

    Parameters
    ----------
    name : str
        Its heading. [as typed]
    field : Field
        What it is. [unitless]
    display : Display
        The site's units. [unitless]
    in_doubt : bool
        Whether that was said elsewhere, so that what its heading says beside a reading is a question here. [unitless]
    """
    heading = headings.take_apart(name)
    meant = headings.meaning_of(heading, field.table)
    is_total = meant.is_total if meant is not None else headings.is_of_totals(heading, field)
    doubts = meant.doubts if in_doubt and meant is not None and field.form is Form.NUMBER else ()
    return _proposed(heading, headings.Meaning(field, doubts, is_total), display)


def as_said(name: str, field: Field, display: Display) -> Proposed:
    """Propose how a column is read of which a person says what it is; where its heading does not say so itself, its unit is a question.

    Parameters
    ----------
    name : str
        Its heading. [as typed]
    field : Field
        What it is. [unitless]
    display : Display
        The site's units. [unitless]
    """
    made, heading = as_field(name, field, display), headings.take_apart(name)
    is_sure = field.quantity is None or field.quantity in ALWAYS_ALIKE or headings.unit_for(heading, field)
    meant = headings.meaning_of(heading, field.table)
    if is_sure or Ask.UNIT in made.asks or (meant is not None and meant.field is field and not meant.doubts):
        return made
    why = "; ".join(filter(None, (made.why, NO_UNIT)))
    return replace(made, asks=made.asks | {Ask.UNIT}, why=why)


def _proposed(heading: headings.Heading, meant: headings.Meaning, display: Display) -> Proposed:
    field, asks, why = meant.field, set[Ask](), list[str]()
    if meant.doubts:
        asks.add(Ask.FIELD)
        why.append(why_doubt(f"its heading {' and '.join(meant.doubts)}"))
    unit = ""
    if field.quantity is not None:
        unit = headings.unit_for(heading, field) or display.unit(field.quantity)
        if odd := headings.odd_unit(heading, field):
            asks |= {Ask.UNIT, Ask.TIMES}
            unit = ""
            why.append(_why_unit(odd, field.quantity))
    if meant.is_total:
        asks.add(Ask.TIMES)
        why.append(why_total("its heading"))
    times = HALF if meant.is_total and (unit or field.quantity is None) else 1.0
    return Proposed(field, unit, times, frozenset(asks), "; ".join(why))


def goes_for(times: float, own: float, asks: frozenset[Ask], why: str) -> bool:
    """Tell whether how a column is taken goes for another of which the same is asked.

    A sign that was turned and a half are its own, unless these were asked: in an answer about a unit they were not.

    Parameters
    ----------
    times : float
        By what the one is multiplied. [unitless]
    own : float
        By what the other would be. [unitless]
    asks : frozenset of Ask
        What is asked of both. [unitless]
    why : str
        Why it is. [unitless]
    """
    if Ask.TIMES in asks and (Ask.UNIT not in asks or _OF_TOTALS in why):
        return True
    return times * own > 0 and (abs(times) in HALVES) is (abs(own) in HALVES)


def why_doubt(told: str) -> str:
    """Ask what a column is, where something that is said of it is not understood.

    Parameters
    ----------
    told : str
        Where what is said. [unitless]
    """
    return f"{told}: say what it is, in which unit and which way round, or leave it out"


def why_total(where: str) -> str:
    """Ask whether numbers are halved.

    Parameters
    ----------
    where : str
        What speaks of total indicator readings. [unitless]
    """
    return f"{where} {_OF_TOTALS}, and one over a rim is twice the offset: say whether the numbers are halved"


def _why_unit(odd: str, quantity: Quantity) -> str:
    return (
        f"its heading says '{odd}' where a unit stands, and that is none of {quantity} that is known: say in which unit the numbers are, and by "
        "what they are multiplied, or leave it out"
    )


def _rivals(apart: Sequence[headings.Heading], table: Table) -> tuple[set[int], dict[int, str]]:
    """Say which columns of readings give way to another that means the same, and which do not, with the other's letters."""
    claims: dict[str, list[tuple[int, headings.Meaning]]] = {}
    if table is Table.JOBS:
        for index, heading in enumerate(apart):
            meant = headings.meaning_of(heading, table)
            if meant is not None and meant.field.form is Form.NUMBER:
                claims.setdefault(meant.field.key, []).append((index, meant))
    beaten: set[int] = set()
    tied: dict[int, str] = {}
    for claim in claims.values():
        clear = [
            i
            for i, meant in claim
            if not meant.doubts and not meant.is_total and not headings.odd_unit(apart[i], meant.field)
        ]
        if clear:
            beaten |= {index for index, _ in claim} - set(clear)
        left = clear or [index for index, _ in claim]
        units = {apart[index].unit for index in clear}
        if clear and len(units) == len(clear) and (len(clear) == 1 or "" not in units):
            # The same reading in several units: the first says it.
            beaten |= set(clear[1:])
        elif len(left) > 1:
            tied |= {index: column_name(left[1] if index == left[0] else left[0], "") for index in left}
    return beaten, tied


def _meant(heading: headings.Heading, table: Table, used: set[str], *, is_tied: bool) -> headings.Meaning | None:
    """Say what a heading means that no earlier column is; rows of jobs may describe their machine too."""
    tables = (table, Table.ASSETS) if table is Table.JOBS else (table,)
    for candidate in tables:
        meant = headings.meaning_of(heading, candidate)
        if meant is not None and (is_tied or f"{meant.field.table}.{meant.field.key}" not in used):
            return meant if candidate is table or meant.field.key not in _NOT_OF_ROWS else None
    return None
