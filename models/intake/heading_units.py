"""Units in headings: where one stands, in brackets or without, and what stands in its place and is none."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from models.errors import NotAQuantityError
from models.units import Quantity, canonical_unit

ODD_UNITS: Final = frozenset({
    "deg", "degree", "degrees", "rad", "hundredth", "hundredths", "thousandth", "thousandths", "tenth", "tenths", "percent",
})  # fmt: skip
"""Words for units that are none of those that are read here, or could be several."""

_UNIT_WORDS: Final = frozenset({
    "mm", "mil", "mils", "thou", "µm", "um", "micron", "microns", "mrad", "µrad", "urad", "rpm", "kw", "hp", "bhp", "in", "inch", "inches", "hrs",
    "°c", "°f",
})  # fmt: skip
"""Units that are known for such without brackets; more of them in one, as in mils/in, have a '/'."""

_ONLY_PER: Final = frozenset({"m", "ft", "metre", "meter", "min", "minute", "s", "sec", "day", "rev", "div", "cm"})
"""Units only behind a '/': alone they may be anything. An 'h' is not among them, for it is an axis."""

_NEVER_PER: Final = frozenset({"rpm", "r", "kw", "hp", "bhp", "hrs"})
"""Units that no '/' divides by: one before them only parts, as in 'max rpm / rpm'."""

_BEFORE: Final = frozenset({"in", "unit", "units", "dim"})
"""Say that a unit follows."""

_OF_FEET: Final = frozenset({"foot", "feet", "soft", "softfoot", "sf", "rise", "row", "shim", "move"})
"""Words beside which a small number is that of a foot or of a row of feet, and no part of a unit."""

_MOST_FEET: Final = 12
_NAMED: Final = re.compile(r"\d[lr]")
"""A foot that is named in full; no other number beside it is that of a foot."""

_BEFORE_UNIT: Final = re.compile(r"^(?:in|units?|dim\.?)\b\s*[:=]?\s*(?=\S)", re.IGNORECASE)
_PER: Final = re.compile(r"\s+per\s+|\s*/\s*", re.IGNORECASE)
_HUNDRED: Final = re.compile(r"(?<=/100)\s+(?=mm\b)|(?<=/1000)\s+(?=mm\b)", re.IGNORECASE)
_SIGNS: Final = re.compile(r"[%‰°\"″]")
_NUMBER: Final = re.compile(r"[x×*]?\d[\d.,^*×⁻⁰¹²³⁴-⁹-]*", re.IGNORECASE)
_GLUED: Final = re.compile(r"(?P<number>\d+(?:[.,]\d+)?)(?P<word>[a-zµ]+)")
_FACTOR: Final = re.compile(r"[x×*^]|\d[.,]\d", re.IGNORECASE)
_BREAKS: Final = re.compile(r"\*(?!\d)|[_:;|()\[\]{}]|,(?!\d)|(?<!\d),|[-−–—](?!\d)|(?<!\d)\.(?!\d)|\.(?=\s|$)")
_PARTS: Final = re.compile(r"[^\s/]+|/")


def unit_or_none(text: str, quantity: Quantity) -> str | None:
    """Give the one spelling of a unit; ``None`` where it is none of a quantity.

    Parameters
    ----------
    text : str
        What may be one. [as typed]
    quantity : Quantity
        What is measured. [unitless]
    """
    try:
        return canonical_unit(text, quantity)
    except NotAQuantityError:
        return None


def is_unit(text: str) -> bool:
    """Tell whether a text is a unit of anything that is read here."""
    return any(unit_or_none(text, quantity) for quantity in Quantity)


def are_same(one: str, other: str) -> bool:
    """Tell whether two texts say one unit."""
    return any((unit := unit_or_none(one, q)) and unit == unit_or_none(other, q) for q in Quantity)


def unit_in(inside: str, *, of_hours: bool) -> str:
    """Give the unit that stands in brackets; empty where they hold something else.

    Parameters
    ----------
    inside : str
        What stands between them. [as typed]
    of_hours : bool
        Whether the heading speaks of hours: only there an 'h' is a unit. [unitless]
    """
    squeezed = _HUNDRED.sub("", _PER.sub("/", inside.strip()))
    text = _BEFORE_UNIT.sub("", squeezed).strip()
    text = text if is_unit(text) else text.rstrip(".")
    if text.lower() == "h" and not of_hours:
        return ""
    return text if is_unit(text) else ""


def without_units(text: str, *, of_hours: bool, of_feet: bool | None = None) -> tuple[str, list[str], list[str]]:
    """Take units without brackets out of a heading, and what stands for one and is none that is known.

    Whole runs are looked at, as 'mm / 100 mm' and '1/100 mm' are one each.  A '/' before a run only parts it from the
    words, as in 'offset V / mm'.

    Parameters
    ----------
    text : str
        The heading, without the units that stand in brackets. [as typed]
    of_hours : bool
        Whether it speaks of hours. [unitless]
    of_feet : bool, optional
        Whether a small number in it is that of a foot; without it its words tell. [unitless]

    Returns
    -------
    tuple of str, list of str and list of str
        What is left, the units, and what is none.
    """
    plain = re.sub(r"\bper\b", "/", _BREAKS.sub(" ", text.replace("μ", "µ")), flags=re.IGNORECASE)
    parts = _PARTS.findall(re.sub(r"°\s+(?=[CF]\b)", "°", plain))
    if of_feet is None:
        words = {part.lower() for part in parts}
        of_feet = bool(_OF_FEET & words) and not any(_NAMED.fullmatch(word) for word in words)
    kept: list[str] = []
    units: list[str] = []
    odd: list[str] = []
    place = 0
    while place < len(parts):
        start, end = _run(parts, place, of_hours=of_hours, of_feet=of_feet)
        if start == end:
            kept.append(parts[place])
            place += 1
            continue
        kept += [part for part in parts[place:start] if part != "/"]
        while kept and (kept[-1] == "/" or kept[-1].lower() in _BEFORE):
            kept.pop()
        run = parts[start:end]
        joined = "".join(run)
        if "/" in run:
            (units if is_unit(joined) else odd).append(joined if is_unit(joined) else _spelled(run))
        elif all(part.lower() in _UNIT_WORDS or (of_hours and part in {"h", "H"}) for part in run):
            units += [part for part in run if part.lower() != "in" or len(run) == 1]
        else:
            odd.append(_spelled(run))
        place = end
    if not any(re.search(r"[^\W_]", part) for part in kept):
        # A name that is a unit itself, as 'kW' is: only what stands behind it is the unit.
        return (units[0], units[1:], odd) if len(units) > 1 else (text, [], [])
    return " ".join(kept), units, odd


def _run(parts: Sequence[str], place: int, *, of_hours: bool, of_feet: bool) -> tuple[int, int]:
    """Give where what stands for a unit begins and ends, from a place on; both are one where none begins there."""
    start = place
    if parts[start] == "/":
        start += 1
    if of_feet and start + 1 < len(parts) and _is_foot(parts[start]) and not is_unit("".join(parts[start : start + 3])):
        behind = start + 2 if parts[start + 1] == "/" else start + 1
        if behind < len(parts) and not _NUMBER.fullmatch(parts[behind]):
            return place, place  # the number of a foot, whatever unit follows
    end, has_unit = start, False
    while end < len(parts):
        if end > start and parts[end].lower() == "r":
            break
        after_per = end > start + 1 and parts[end - 1] == "/"
        if parts[end] == "/":
            per = parts[end + 1].lower() if end + 1 < len(parts) else ""
            if end == start or parts[end - 1] == "/" or per in _NEVER_PER:
                break
        elif _is_one(parts, end, of_hours=of_hours) or (after_per and parts[end].lower() in _ONLY_PER):
            has_unit = True
        elif not _NUMBER.fullmatch(parts[end]):
            break
        end += 1
    while end > start and (
        parts[end - 1] == "/" or (of_feet and end - 2 >= start and parts[end - 2] != "/" and _is_foot(parts[end - 1]))
    ):
        end -= 1
    run = parts[start:end]
    if not has_unit and not (not of_feet and ("/" in run or any(_FACTOR.search(part) for part in run))):
        return place, place
    return start, end


def _is_one(parts: Sequence[str], place: int, *, of_hours: bool) -> bool:
    """Tell whether a part is a unit by itself, or has the sign of one; 'in' is one only where it can be no other word."""
    part, is_last = parts[place].lower(), place == len(parts) - 1
    if part == "in":
        before, then = (parts[place - 1] if place else ""), parts[place + 1 : place + 3]
        follows = [other.lower() for other in then if other != "/"][:1]
        return (
            is_last
            or bool(_NUMBER.fullmatch(before))
            or (bool(follows) and then[0] == "/" and follows[0] in _UNIT_WORDS | _ONLY_PER)
        )
    glued = _GLUED.fullmatch(part)
    return (
        part in _UNIT_WORDS
        or part in ODD_UNITS
        or bool(_SIGNS.search(part))
        or (glued is not None and glued["word"] in _UNIT_WORDS)
        or (is_last and of_hours and part == "h")
        or (part == "r" and [other.lower() for other in parts[place + 1 : place + 3]] == ["/", "min"])
    )


def _is_foot(part: str) -> bool:
    return part.isdecimal() and 1 <= int(part) <= _MOST_FEET


def _spelled(run: Sequence[str]) -> str:
    return " ".join(run).replace(" / ", "/")
