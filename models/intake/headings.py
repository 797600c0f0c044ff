"""From a heading to a field: what a plant's own words most likely mean.

A proposal, never a decision: a person confirms it before anything is read, and
has to answer where something in a heading of numbers is not understood.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from models.intake.fields import FEET, FIELDS, FOOT_ROWS, Field, Form, Table, fields_of
from models.intake.heading_units import are_same, is_unit, unit_in, unit_or_none, without_units
from models.intake.heading_words import AXIS, COLD, KIND, OTHER, ROWS, SIDES, SOFT, STAGE, TOTAL, says_nothing
from models.intake.title_units import kind_of
from models.units import Quantity

MOST_HEADING: Final = 300
_MOST_NUMBERS: Final = 20
"""Characters and numbers of a heading; what has more of them is a text, and its words are not looked at."""

_BRACKET: Final = re.compile(r"\[([^\[\]]*)\]|\(([^()]*)\)|\{([^{}]*)\}")
_NUMBERS: Final = re.compile(r"\d+")
_WORD: Final = re.compile(r"[a-zäöüß0-9]+")
_NO_NAME: Final = re.compile(r"[^a-zäöüß0-9]+")
_SIGN: Final = re.compile(r"[+=<>≤≥Δ∆]|(?<![^\s(\[{])[-−–](?![^\s)\]}])(?=\s*[)\]}])")
"""What may say which way round a number is; a dash counts only where nothing but the end of a bracket comes behind it."""

_EITHER: Final = re.compile(r"\+\s*/\s*[-−–]|±")
"""Only says that numbers have a sign."""

_LEADS_TO: Final = re.compile(r"(?:\b(?:in|units?|dim\.?)\s*[:=]?|=)\s*", re.IGNORECASE)
_OF_UNITS: Final = re.compile(r"[%‰°\"″']|\d")

_HOURS: Final = frozenset({"hour", "hours", "hrs", "time", "counter", "meter", "run", "running", "runtime"})
"""Words beside which an 'h' is the unit; anywhere else it is the horizontal axis, as in 'as found offset (H)'."""


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading taken apart: its words without the unit, and the unit as written.

    ``odd`` is what stands where a unit would and is none that is known, or a second one that says
    something else; ``signs`` are marks that may say which way round numbers are.
    """

    text: str
    words: tuple[str, ...]
    unit: str
    odd: str = ""
    signs: str = ""

    @property
    def plain(self) -> str:
        """Give the words in one string, for comparison."""
        return " ".join(self.words)


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a heading most likely means.

    ``doubts`` say what of it is not understood, each after the words 'its heading'; there are none where all of it is.
    ``is_total`` tells that it speaks of total indicator readings.
    """

    field: Field
    doubts: tuple[str, ...] = ()
    is_total: bool = False


def take_apart(heading: str) -> Heading:
    """Split a heading into words and a unit in brackets or without them."""
    text = " ".join(heading.split())
    if len(text) > MOST_HEADING or len(_NUMBERS.findall(text)) > _MOST_NUMBERS:
        return Heading(text[:MOST_HEADING], (), "")
    rest, units, odd = _EITHER.sub(" ", text), list[str](), list[str]()
    of_hours = bool(_HOURS & set(_WORD.findall(text.lower())))
    for match in _BRACKET.finditer(rest):
        inside = next(part for part in match.groups() if part is not None)
        unit = unit_in(inside, of_hours=of_hours)
        if unit:
            units.append(unit)
        elif inside.strip() and _is_odd(inside):
            odd.append(inside.strip())
        elif inside.strip():
            continue
        rest = re.sub(rf"(?:{_LEADS_TO.pattern})?{re.escape(match[0])}", " ", rest, count=1, flags=re.IGNORECASE)
    whole, (rest, behind, more) = rest, without_units(rest, of_hours=of_hours)
    if behind:
        whole = re.sub(rf"=\s*(?={re.escape(behind[-1])}\W*$)", " ", whole)
    signs = " ".join(_SIGN.findall(whole))
    units += behind
    odd += more
    others = [unit for unit in units[1:] if not are_same(unit, units[0])]
    words = _WORD.findall(rest.lower().replace("as found", "found").replace("as left", "left").replace("µ", "u"))
    return Heading(text, tuple(words), units[0] if units else "", " ".join([*others, *odd]), signs)


def in_row(texts: Iterable[str]) -> list[Heading]:
    """Take the texts of a row apart that may be headings; one without a letter, as most cells below them are, names no field."""
    return [take_apart(text) for text in texts if any(map(str.isalpha, text))]


def _is_odd(inside: str) -> bool:
    """Tell whether a text in brackets stands for a unit that is not known: it has its signs, and no words of a reading."""
    words = frozenset(_WORD.findall(inside.lower()))
    # A word before it, for a unit that stands alone is none of a heading.
    _, _, odd = without_units(f"of {inside}", of_hours=False, of_feet=False)
    if odd:
        return True
    letters = {word for word in words if not word.isdigit()}
    if letters and letters <= _VOCABULARY | says_nothing(frozenset(letters)):
        return False
    return bool(_OF_UNITS.search(inside)) and not inside.strip().isdigit() and not _FOOT_NAME.fullmatch(inside.strip())


def unit_for(heading: Heading, field: Field) -> str:
    """Give the canonical unit that a heading states for a field; empty where it states none that fits."""
    if field.quantity is None or not heading.unit or heading.odd:
        return ""
    return unit_or_none(heading.unit, field.quantity) or ""


def is_of_totals(heading: Heading, field: Field) -> bool:
    """Tell whether a heading that is not understood speaks of total indicator readings, where a column is one of offsets.

    Parameters
    ----------
    heading : Heading
        The heading. [as typed]
    field : Field
        What the column is. [unitless]
    """
    return field.table is Table.JOBS and kind_of(field) == Quantity.OFFSET and bool(TOTAL & set(heading.words))


def odd_unit(heading: Heading, field: Field) -> str:
    """Give what a heading says in place of a unit of a field; empty where it says one, or nothing.

    Parameters
    ----------
    heading : Heading
        The heading. [as typed]
    field : Field
        What the column is. [unitless]
    """
    if field.quantity is None or unit_for(heading, field):
        return ""
    return " ".join(filter(None, (heading.unit, heading.odd)))


def _same(plain: str) -> str:
    return _NO_NAME.sub("", plain)


_EXACT: dict[Table, dict[str, Field]] = {table: {} for table in Table}
for _field in FIELDS:
    for _name in (_field.heading, *_field.other):
        _EXACT[_field.table].setdefault(_same(_name.lower()), _field)
_BY_KEY = {(field.table, field.key): field for field in FIELDS}
_NUMBERED: Final = re.compile(r"(?:f|foot|sf|row)?(\d{1,2})")
_AS_LEFT: Final = re.compile(r"as[\s-]?left")
_FOOT_NAME: Final = re.compile(rf"[1-{FOOT_ROWS}]\s*[LR]", re.IGNORECASE)
_VOCABULARY: Final = frozenset().union(
    *STAGE.values(), *KIND.values(), *AXIS.values(), *SIDES.values(), *ROWS.values(), SOFT, TOTAL, {COLD, "total"}
)


def is_name(text: str) -> bool:
    """Tell whether a text is the name of a field of any table as it stands, at the price of a look-up."""
    plain = _same(text.lower())
    return any(plain in names for names in _EXACT.values())


def field_for(heading: Heading, table: Table) -> Field | None:
    """Propose the field of a table for a heading; ``None`` where none comes to mind."""
    meant = meaning_of(heading, table)
    return None if meant is None else meant.field


def score(row: Sequence[Heading], table: Table, *, needs_readings: bool = True) -> float:
    """Say how many fields of a table a row names; 0 where it is no row of its headings.

    Parameters
    ----------
    row : sequence of Heading
        Its texts, taken apart. [as typed]
    table : Table
        The table. [unitless]
    needs_readings : bool
        Whether a list of jobs without a reading is none: it cannot be read, but is another list. [unitless]
    """
    known = {f.key for heading in row if (f := field_for(heading, table)) is not None}
    needed = [f for f in fields_of(table) if f.required]
    if any(f.key not in known for f in needed):
        return 0.0
    measured = (
        not needs_readings or table is not Table.JOBS or any(key.startswith(("found_", "left_")) for key in known)
    )
    return len(known) if measured else 0.0


def meaning_of(heading: Heading, table: Table) -> Meaning | None:
    """Say what a heading of a table most likely means; ``None`` where nothing comes to mind.

    Parameters
    ----------
    heading : Heading
        The heading. [as typed]
    table : Table
        What the sheet holds. [unitless]
    """
    exact = next((_EXACT[table][name] for name in _names(heading) if name in _EXACT[table]), None)
    if exact is not None:
        return Meaning(exact, _beside([], heading.signs) if exact.form is Form.NUMBER else ())
    return _measured(heading) if table is Table.JOBS else None


@lru_cache(maxsize=256)  # of a row of headings it is asked for every table
def _names(heading: Heading) -> tuple[str, ...]:
    """Give the names that a heading may have in a table, each once."""
    # A unit may be in the name itself, and behind it once more: 'max rpm / rpm', 'max rpm (1/min)'.
    bare = _BRACKET.sub(lambda m: " " if is_unit(next(filter(None, m.groups()), "")) else m[0], heading.text)
    texts = (heading.plain, heading.text, f"{heading.plain}{heading.unit}", bare)
    return tuple(dict.fromkeys(_same(text.lower()) for text in texts))


def _measured(heading: Heading) -> Meaning | None:
    words = frozenset(heading.words)
    if words & OTHER:
        return None
    if words & SOFT:
        return _soft_foot(heading)
    stages = [name for name, names in STAGE.items() if words & names]
    kinds = [name for name, names in KIND.items() if words & names]
    axes = [name for name, names in AXIS.items() if words & names]
    if not kinds or not axes or not (stages or COLD in words):
        return None
    known = frozenset().union(*STAGE.values(), *KIND.values(), *AXIS.values(), TOTAL) | says_nothing(words)
    # Two words of one kind say two things; 'cold' by itself may be a target or a reading.
    twice = frozenset().union(
        *(STAGE[name] for name in stages if len(stages) > 1),
        *(KIND[name] for name in kinds if len(kinds) > 1),
        *(AXIS[name] for name in axes if len(axes) > 1),
    )
    known = (known - twice) | ({COLD} if stages else frozenset())
    field = _BY_KEY[Table.JOBS, f"{(stages or ['target'])[0]}_{kinds[0]}_{axes[0]}"]
    return Meaning(field, _beside([w for w in heading.words if w not in known], heading.signs), bool(words & TOTAL))


def _beside(words: Sequence[str], signs: str) -> tuple[str, ...]:
    """Say what a heading says beside what is understood."""
    more = " ".join(filter(None, (*words, signs)))
    return (f"says '{more}' beside what is understood",) if more else ()


def _soft_foot(heading: Heading) -> Meaning | None:
    """Say of which foot a heading speaks, and whether before or after the work; 'left' may be a side or a stage."""
    words = frozenset(heading.words)
    named = [word.upper() for word in heading.words if word.upper() in FEET]
    numbers = [int(found[1]) for word in heading.words if (found := _NUMBERED.fullmatch(word)) and found[1]]
    rows = {row for row, names in ROWS.items() if words & names} | {row for row in numbers if row <= FOOT_ROWS}
    is_stage = _AS_LEFT.search(heading.text.lower()) is not None
    said = words if is_stage else words - {"left"}
    sides = {side for side, names in SIDES.items() if (words - {"left"} if is_stage else words) & names}
    stages = [name for name, names in STAGE.items() if said & names]
    doubts: list[str] = []
    if named:
        foot = named[-1]
        if len(set(named)) > 1 or (sides and sides != {foot[-1]}):
            doubts.append("names several feet")
        elif "left" in words and not is_stage:
            doubts.append("says 'left', which may be a side or 'as left'")
    elif len(rows) == 1 and len(sides) == 1:
        foot = f"{rows.pop()}{sides.pop()}"
        if foot[-1] == "L" and "left" in words and not is_stage and not (words & (SIDES["L"] - {"left"})):
            doubts += [] if stages else ["says 'left', which may be a side or 'as left'"]
    elif len(numbers) == 1 and not sides and 1 <= numbers[0] <= len(FEET):
        foot = FEET[numbers[0] - 1]
        doubts.append(f"gives a foot the number {numbers[0]}, and no side")
    else:
        return None
    if len(stages) > 1 or stages == ["target"] or (doubts and not stages):
        # Alone it says what nearly every list means: the check before anything is moved.
        doubts.append("does not say whether before or after the work")
    known = frozenset().union(*STAGE.values(), *SIDES.values(), *ROWS.values(), SOFT, says_nothing(words), {"row"})
    more = [
        word
        for word in heading.words
        if word not in known and word.upper() not in FEET and not _NUMBERED.fullmatch(word)
    ]
    stage = "soft_after" if stages == ["left"] else "soft_before"
    return Meaning(_BY_KEY[Table.JOBS, f"{stage}_{foot}"], (*doubts, *_beside(more, heading.signs)))
