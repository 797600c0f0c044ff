"""Words of units: those of which a title speaks, and of which kind of numbers a text speaks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import Final

from models.intake.fields import Field
from models.intake.heading_units import is_unit, unit_or_none
from models.units import Quantity

OF_FEET: Final = "feet"
"""What is measured at a foot, soft foot and moves: offsets too, but written in a unit of its own."""

_ABOUT: Final = {
    str(Quantity.OFFSET): re.compile(r"\b(?:off(?:set)?s?|parallel|radial)\b", re.IGNORECASE),
    str(Quantity.ANGULARITY): re.compile(r"\b(?:ang(?:le|ular(?:ity)?)?s?|slopes?|gaps?|axial)\b", re.IGNORECASE),
    OF_FEET: re.compile(r"\b(?:soft|shims?)\b", re.IGNORECASE),
    str(Quantity.DISTANCE): re.compile(r"\b(?:distances?|spans?|spacers?|dbse)\b", re.IGNORECASE),
}
_AT_FEET: Final = re.compile(
    r"\W*(?:(?:all|and|but|except|the|of|in|foot|feet|soft|shims?|distances?|spans?|spacers?|dbse|lengths?|thickness(?:es)?)(?:\W+|$))+",
    re.IGNORECASE,
)
"""A part of a title that speaks of nothing but shims, soft foot and distances."""

_BREAK: Final = re.compile(r"[|(\[]|[.;]\s|\s[-–]\s")
"""Where a title begins to speak of something else; behind a comma or a colon it may go on with the numbers that it named before."""

_PARTS_ONE: Final = re.compile(r"\s*(?:[,;/&]|and|or)\s*", re.IGNORECASE)
MOST_TITLE: Final = 1_000
"""Characters of a title that are looked at."""

_LENGTH: Final = r"mm|cm|mils?|thous?(?:andths?)?|[µμu]m|microns?|micromet(?:er|re)s?|inch(?:es)?|millimet(?:er|re)s?|hundredths?|tenths?|m?deg(?:rees?)?|mrad|[µμu]rad"
_PER: Final = r"(?:\s*/\s*|\s+per\s+)(?:1?0?00?\s*mm|10\s*cm|100|mm|cm|m(?:et(?:er|re))?|in(?:ch)?|ft|foot)(?![^\W_])"
_SAID: Final = re.compile(
    rf"(?<![\w.,/])(?P<number>(?:\d+\s*/\s*)?\d(?:[\d.,]*\d)?\s*-?)?(?P<unit>(?:hundredth|thousandth|tenth)s?\s+(?:of\s+(?:an?\s+|one\s+)?)?(?:mm|millimet(?:er|re)s?|in(?:ch(?:es)?)?)"
    rf"|(?:{_LENGTH})(?:{_PER})?|°\s*[CF]?|rpm|r/min|Hz|kW|hp|h?rs)(?![^\W_])(?!\s*/\s*(?:s(?:ec)?|min|h|a|year)\b)"
    r"|(?P<alone>(?:\bunits?\s*[:=]?\s*|[\[(]\s*|\bin\s+)in(?:/in)?(?=\s*(?:$|[\])])))|(?P<system>\b(?:imperial|metric)\b)|(?P<part>(?:1\s*/\s*10+|0[.,]0*1)\s*(?:in\b|[\"″]))",
    re.IGNORECASE,
)
"""Where a title speaks of a unit; a number before it makes it a value, as in 'tolerance 0.05 mm', or a part of a unit, as in '1/100 mm'."""

DATE_PATTERN: Final = re.compile(
    r"(?<![^\W_])(?=[a-z]{0,4}[-./: ]{0,9}[a-z]{0,4}[-./: ]{0,9}[ydhjta])(?:(?:y{2,4}|j{2,4}|a{4}|m{1,3}|d{1,3}|t{2}|h{1,2}|s{2})(?:\s?[-./:]\s?|\s)){1,5}(?:y{2,4}|j{2,4}|a{4}|m{1,3}|d{1,3}|t{2}|h{1,2}|s{2})(?![^\W_])",
    re.IGNORECASE,
)
"""How dates and times are to be written, as 'MM/DD/YYYY' and 'hh:mm': the months and minutes in it are no millimetres."""

CLEAR: Final = re.compile(
    r"mm|mil|(?i:mils)|thou|[µμ]m|[Mm]icrons?|(?i:micromet(?:er|re)s?|millimet(?:er|re)s?|inches|mrad)|[µμ]rad|°\s*[CF]"
)
"""Units that are nothing else wherever they stand; 'CM', 'HP', 'MM' may be a kind of work or a part of the plant, and 'um' is a word."""

_SPEAKS: Final = re.compile(
    r"\b(?:values?|read(?:ings?)?|off(?:set)?s?|angles?|angular(?:ity)?|gaps?|all|in|units?|uom|measure[ds]?|measurements?|numbers?|figures?|dim(?:ension)?s?|lengths?|distances?|spans?|power|speeds?|"
    r"temp(?:erature)?s?|shims?|per)\b(?:\W+\w+){0,2}?\W*$",
    re.IGNORECASE,
)
"""Words behind which a unit follows, with at most two more between."""

_SAYS_UNIT: Final = re.compile(r"(?:\bin|\bunits?\s*[:=]?|\buom\s*[:=]?|\[)\s*$", re.IGNORECASE)
_ENDS: Final = re.compile(r"\s*(?:$|[\])}.,;:/&+])")
_OF_SYSTEM: Final = re.compile(
    r"\s*(?:$|[\])}.,;]|(?:units?|values?|readings?|measure\w*|system|offsets?|dimensions?)\b)", re.IGNORECASE
)
OTHER_CAPITALS: Final = frozenset({"CM", "HP", "IN"})
"""What plants write for condition monitoring, corrective work, high pressure and an inlet or a part of the plant."""

_SCALE: Final = re.compile(r"1\s*/\s*10+|0[.,]0*1")
_YEAR: Final = re.compile(r"(?:19|20)\d\d")
_VALUES: Final = re.compile(
    r"\b(?:tol|lim|max|min|allow|accept|permi|resol|accura|uncert|spec|better|below|under|within)", re.IGNORECASE
)
"""Words of tolerances: a number beside them is a value, whatever it is."""

_NUMBERS: Final = r"\b(?:measure|number|offset|read|result|valu)\w*"
_JOINED: Final = r"\s*(?:\band\b|[&+/])\s*"
_BOTH: Final = re.compile(
    rf"{_NUMBERS}{_JOINED}(?:tol|lim)\w*|{_NUMBERS}\s*,\s*(?:tol|lim)\w*(?=\s+in\b)|\b(?:tol|lim)\w*{_JOINED}{_NUMBERS}",
    re.IGNORECASE,
)
"""Readings and tolerances in one breath: what is said of both is said of the readings; a unit that 'in' leads to is, behind a comma too."""

_CLAUSE: Final = re.compile(r"[|;(]|[,.]\s|\s[-–]\s")
"""Where a part of a title ends, for words of tolerances."""

_OF_FEET: Final = frozenset({OF_FEET, str(Quantity.DISTANCE)})
_IN: Final = re.compile(r"^in\s+(?=\S)", re.IGNORECASE)
_ZEROS: Final = re.compile(r"(?<=\S)\s*[\[({]0[.,]0+[\])}]$")


def kind_of(field: Field) -> str:
    """Give the kind of numbers of a field: its quantity, and what is measured at a foot by itself.

    Parameters
    ----------
    field : Field
        A field of numbers with a unit. [unitless]
    """
    is_of_foot = field.quantity is Quantity.OFFSET and field.key.startswith(("soft_", "move_"))
    return OF_FEET if is_of_foot else str(field.quantity)


def kinds_in(text: str) -> frozenset[str]:
    """Give the kinds of numbers of which a text speaks; none where it names none."""
    return frozenset(kind for kind, words in _ABOUT.items() if words.search(text))


def bare_unit(text: str) -> str:
    """Give what stands for a unit without the brackets around it, an 'in' before it, and the zeros behind it, as in 'in mm (0.00)'."""
    text = text.strip()
    if text[:1] + text[-1:] in {"[]", "()", "{}"}:
        text = text[1:-1].strip()
    return _ZEROS.sub("", _IN.sub("", text))


@lru_cache(maxsize=4096)
def is_known(text: str) -> bool:
    """Tell whether a text is a unit of anything, in brackets or not; a single letter may be anything else."""
    return len(bare_unit(text)) > 1 and is_unit(bare_unit(text))


def units_in(text: str) -> Iterator[tuple[str, frozenset[str]]]:
    """Give the units of which a title speaks, each in its own words, with the kinds of numbers where it speaks of those at feet only."""
    text = DATE_PATTERN.sub(lambda pattern: "#" * len(pattern[0]), text[:MOST_TITLE])
    every, begin = list(_SAID.finditer(text)), 0
    for at, found in enumerate(every):
        is_listed = any(
            _is_size(found, two)
            and _PARTS_ONE.fullmatch(text, min(found.end(), two.end()), max(found.start(), two.start()))
            for two in every[max(0, at - 1) : at + 2]
        )
        unit = "" if is_listed else _unit_of(text, found)
        if unit:
            *before, clause = _BREAK.split(text[begin : found.start()].rstrip(" ([:"))
            is_theirs = _AT_FEET.fullmatch(clause) and kinds_in(" ".join(before)) <= _OF_FEET
            yield unit, kinds_in(clause) if is_theirs else frozenset()
            begin = found.end()


def _is_size(found: re.Match[str], other: re.Match[str]) -> bool:
    """Tell whether a number with a unit stands beside one that is no part of it, as 0.1 mm beside 0.25 mm in a list of sizes."""
    number = (other["number"] or "").strip()
    is_value = number[:2] in {"0.", "0,"} and _SCALE.fullmatch(number) is None
    return bool(found["number"]) and is_value and found["unit"] == other["unit"]


def _unit_of(text: str, found: re.Match[str]) -> str:
    """Give the unit that a title says in one place; empty where it says a value, or letters that are none."""
    before, behind = text[: found.start()], text[found.end() :]
    if found["system"]:
        speaks = _SPEAKS.search(before) or not _ENDS.match(behind) or not before.strip(" ([")
        return found["system"].lower() if _OF_SYSTEM.match(behind) and speaks else ""
    if found["alone"]:
        is_one = not found["alone"].endswith("IN") or found["alone"][0] in "[uUiI" or _SPEAKS.search(before)
        return "in" if is_one else ""
    if found["part"]:
        return "" if is_of_value(text, *found.span()) else found["part"]
    number, unit = (found["number"] or "").strip(), re.sub(r"\s+per\s+|\s*/\s*", "/", found["unit"])
    if not number or _YEAR.fullmatch(number):
        return unit if _is_meant(unit, before, behind) else ""
    return f"{number} {unit}" if _is_part(number, unit, before) and not is_of_value(text, *found.span()) else ""


def is_of_value(text: str, start: int, end: int) -> bool:
    """Tell whether what stands in one place of a title is said of a tolerance or the like.

    So it is where a word of these stands in the same part of the title, or before it and no 'in' or 'unit' leads to it; not where it is said of
    readings and tolerances alike.

    Parameters
    ----------
    text : str
        The title. [as typed]
    start, end : int
        Where it stands. [unitless]
    """
    text = _BOTH.sub(lambda both: "#" * len(both[0]), text)
    begin = max((one.end() for one in _CLAUSE.finditer(text, 0, start)), default=0)
    behind = _CLAUSE.search(text, end)
    if _VALUES.search(text, begin, len(text) if behind is None else behind.start()):
        return True
    return bool(_VALUES.search(text, 0, start)) and not _SAYS_UNIT.search(text[:start])


def _is_meant(unit: str, before: str, behind: str) -> bool:
    """Tell whether letters in a title are a unit: by themselves, in brackets, or behind a word that tells."""
    if "/" in unit or " " in unit or CLEAR.fullmatch(unit):
        return True
    if unit in OTHER_CAPITALS:
        return bool(_SAYS_UNIT.search(before) and _ENDS.match(behind))
    in_brackets = before.rstrip()[-1:] in {"(", "["} and behind.lstrip()[:1] in {")", "]"}
    return in_brackets or _SPEAKS.search(before) is not None


def _is_part(number: str, unit: str, before: str) -> bool:
    """Tell whether a number is a part of a unit, as in '1/100 mm', 'in 10 µm' and 'per 100 mm', and no value."""
    is_micron = unit_or_none(unit, Quantity.OFFSET) == "µm" and number in {"10", "100"}
    return _SCALE.fullmatch(number) is not None or is_micron or before.lower().rstrip().endswith("per")
