"""From a heading to a field: what a plant's own words most likely mean.

A proposal, never a decision: a person confirms it before anything is read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from models.errors import NotAQuantityError
from models.intake.fields import FEET, FIELDS, Field, Table
from models.units import Quantity, canonical_unit

_BRACKET = re.compile(r"[\[(]([^\])]*)[\])]")
_WORD = re.compile(r"[a-zäöüß0-9/]+")

_STAGE = {
    "found": {"found", "as-found", "before", "initial", "pre", "af", "arrival"},
    "left": {"left", "as-left", "after", "final", "post", "al", "departure"},
    "target": {"target", "desired", "wanted", "cold"},
}
_KIND = {
    "offset": {"offset", "off", "offs", "parallel", "radial"},
    "angle": {"angle", "ang", "angular", "angularity", "slope", "gap"},
}
_AXIS = {"v": {"v", "vert", "vertical", "ver"}, "h": {"h", "horiz", "horizontal", "hor", "hz"}}
_SOFT = {"soft", "softfoot", "sf", "rise"}
_UNIT_WORDS = {
    "mm",
    "mil",
    "mils",
    "thou",
    "µm",
    "um",
    "micron",
    "microns",
    "mils/in",
    "mil/in",
    "thou/in",
    "mm/m",
    "mrad",
    "rpm",
    "kw",
    "hp",
    "in",
    "hrs",
}
_HOURS = {"hour", "hours", "hrs", "time", "counter", "meter", "run", "running", "runtime"}
"""Words beside which an 'h' is the unit; anywhere else it is the horizontal axis, as in 'as found offset (H)'."""


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading taken apart: its words without the unit, and the unit as written."""

    text: str
    words: tuple[str, ...]
    unit: str

    @property
    def plain(self) -> str:
        """Give the words in one string, for comparison."""
        return " ".join(self.words)


def take_apart(heading: str) -> Heading:
    """Split a heading into words and a unit in brackets or at its end."""
    text = " ".join(heading.split())
    unit, rest = "", text
    of_hours = bool(_HOURS & set(_WORD.findall(text.lower())))
    for match in _BRACKET.finditer(text):
        if _is_unit(match[1]) and (of_hours or match[1].strip().lower() != "h"):
            unit = match[1].strip()
            rest = rest.replace(match[0], " ")
    words = _WORD.findall(rest.lower().replace("as found", "found").replace("as left", "left").replace("µ", "u"))
    tail = rest.replace(",", " ").split()
    if not unit and len(words) > 1 and tail and (tail[-1].lower() in _UNIT_WORDS or (of_hours and tail[-1] in "hH")):
        unit = tail[-1]
        words = words[:-1]
    return Heading(text, tuple(words), unit)


def _is_unit(text: str) -> bool:
    return any(_unit_or_none(text, quantity) for quantity in Quantity)


def _unit_or_none(text: str, quantity: Quantity) -> str | None:
    try:
        return canonical_unit(text, quantity)
    except NotAQuantityError:
        return None


def unit_for(heading: Heading, field: Field) -> str:
    """Give the canonical unit that a heading states for a field; empty where it states none that fits."""
    if field.quantity is None or not heading.unit:
        return ""
    return _unit_or_none(heading.unit, field.quantity) or ""


def _same(plain: str) -> str:
    return re.sub(r"[^a-z0-9äöüß]", "", plain)


_EXACT: dict[Table, dict[str, Field]] = {table: {} for table in Table}
for _field in FIELDS:
    for _name in (_field.heading, *_field.other):
        _EXACT[_field.table].setdefault(_same(_name.lower()), _field)
_BY_KEY = {(field.table, field.key): field for field in FIELDS}


def field_for(heading: Heading, table: Table) -> Field | None:
    """Propose the field of a table for a heading; ``None`` where none comes to mind."""
    exact = _EXACT[table].get(_same(heading.plain)) or _EXACT[table].get(_same(heading.text.lower()))
    if exact is not None:
        return exact
    return _measured(set(heading.words), heading.words) if table is Table.JOBS else None


def _measured(words: set[str], ordered: tuple[str, ...]) -> Field | None:
    stage = next((name for name, names in _STAGE.items() if words & names), None)
    if words & _SOFT:
        foot = _foot_of(ordered)
        which = "soft_after" if stage == "left" else "soft_before"
        return _BY_KEY.get((Table.JOBS, f"{which}_{foot}")) if foot else None
    kind = next((name for name, names in _KIND.items() if words & names), None)
    axis = next((name for name, names in _AXIS.items() if words & names), None)
    if kind is None or axis is None:
        return None
    return _BY_KEY[Table.JOBS, f"{stage or 'left'}_{kind}_{axis}"] if stage else None


def _foot_of(words: tuple[str, ...]) -> str | None:
    for word in reversed(words):
        if word.upper() in FEET:
            return word.upper()
        digits = re.fullmatch(r"(?:f|foot|sf)?(\d)", word)
        if digits and 1 <= int(digits[1]) <= len(FEET):
            return FEET[int(digits[1]) - 1]
    return None
