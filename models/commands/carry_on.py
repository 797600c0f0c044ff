"""What is said of a machine from an earlier day on, where later descriptions of it are in the book already.

A description is a whole.  One that comes in for an earlier day would hold only until
the next begins, even where that one says nothing of the kind: a new tag says nothing
of speed, and a new area nothing of the coupling.  So what it changes is carried on,
field by field, until a description sets that field anew: the rows of a register
describe the same machine in whatever order they come in.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final

from models.errors import InvalidValueError
from models.values.asset import Asset
from models.values.description import place_on, version_on

_FIELDS: Final[dict[tuple[str, ...], tuple[str, ...]]] = {
    ("description",): ("description",),
    ("area",): ("area",),
    ("train",): ("train",),
    ("driven",): ("driven",),
    ("driver",): ("driver",),
    ("coupling", "span_mm"): ("coupling", "span"),
    ("speed_rpm",): ("speed",),
    ("speed_max_rpm",): ("speed_max",),
    ("power_kw",): ("power",),
    ("criticality",): ("criticality",),
    ("equipment_class",): ("equipment_class",),
    ("feet_movable_mm",): ("feet_movable_",),
    ("feet_stationary_mm",): ("feet_stationary_",),
    ("commissioned",): ("commissioned",),
    ("retired",): ("retired",),
}
"""Attributes that belong together, and the fields of a list by which they are said, or how those begin."""

_CALLED: Final = {
    "span_mm": "span", "speed_rpm": "running speed", "speed_max_rpm": "highest speed", "power_kw": "power",
    "equipment_class": "equipment class", "feet_movable_mm": "feet of the movable machine",
    "feet_stationary_mm": "feet of the stationary machine",
}  # fmt: skip
_DAY: Final = "valid_from"

_SAID: Final = "as said from {day} on: {fields}"
_WAS_SAID: Final = re.compile(r"(; |^)as said from \d{4}-\d\d-\d\d on: [a-z, ]+$")


@dataclass(frozen=True, slots=True)
class Carried:
    """What becomes of a later description.

    ``place`` is its place among those of the machine, ``asset`` the same with what is carried on, ``None`` where nothing
    is.  ``on`` names the fields that are carried on, and ``kept`` those that it sets anew, otherwise than what comes in.
    """

    place: int
    asset: Asset | None
    on: tuple[str, ...]
    kept: tuple[str, ...]


Words = Callable[[int], Collection[str]]
"""Gives, by the place of a description, the fields that a list said for it; none where it only renames or merges a machine."""


def carry_on(versions: Sequence[Asset], new: Asset, words: Words) -> list[Carried]:
    """Carry what a description changes on into those that begin later.

    Parameters
    ----------
    versions : sequence of Asset
        The descriptions of the machine before it, at least one, in order of entry. [as stored]
    new : Asset
        What comes in, with the day on which it begins. [as stored]
    words : callable
        What a list said for a description. [unitless]

    Returns
    -------
    list of Carried
        What becomes of the later ones, in the order in which they begin; those that stay and say the same are left out.
    """
    begins = new.valid_from or date.min
    starts = [version.valid_from for version in versions]
    held = version_on(versions, begins)
    still = {group for group in _FIELDS if _of(held, group) != _of(new, group)}
    # What begins later still spoke for the days before it for want of a better one: it sets anew whatever it says.
    before = None if (held.valid_from or date.min) > begins else held
    found = []
    for start in sorted({day for day in starts if day is not None and day > begins}):
        if not still:
            break
        place = place_on(starts, start)
        later = versions[place]
        said = words(place)
        anew = {group for group in still if _says(later, before, group, said, new)}
        try:
            asset = replace(later, **{name: getattr(new, name) for group in still - anew for name in group})
        except InvalidValueError:  # the highest speed below the running one, say: then what was said together stays
            asset, anew = later, set(still)
        kept = {group for group in anew if _of(later, group) != _of(new, group)}
        on = still - anew
        if kept or on:
            found.append(Carried(place, asset if on else None, _named(on), _named(kept)))
        still, before = on, later
    return found


def carried_reason(why: str, begins: date | None, on: Sequence[str]) -> str:
    """Give the reason of a description that is written again: the one it had, which may say into which machine it was merged.

    Parameters
    ----------
    why : str
        Reason of the description as it was. [as stored]
    begins : date or None
        Day from which what is carried on is said. [d]
    on : sequence of str
        What is carried on. [unitless]
    """
    said = _SAID.format(day=begins, fields=", ".join(on))
    return "; ".join(filter(None, (_WAS_SAID.sub("", why), said)))


def otherwise(one: Asset, other: Asset) -> tuple[str, ...]:
    """Name the fields in which two descriptions differ, tag and day aside.

    Parameters
    ----------
    one, other : Asset
        The descriptions. [as stored]
    """
    return _named({group for group in _FIELDS if _of(one, group) != _of(other, group)})


def only_a_tag(versions: Sequence[Asset], day: date, words: Words) -> bool:
    """Tell whether what begins on a day is no more than another tag: then a list may still say what else changes on it.

    Parameters
    ----------
    versions : sequence of Asset
        The descriptions of the machine, in order of entry. [as stored]
    day : date
        A day on which one of them begins. [d]
    words : callable
        As of :func:`carry_on`. [unitless]
    """
    place = place_on([version.valid_from for version in versions], day)
    there = versions[place]
    earlier = [version for version in versions if (version.valid_from or date.min) < day]
    before = version_on(earlier, day) if earlier else there
    if not {_DAY}.issuperset(words(place)):
        return False
    return replace(there, tag=before.tag, valid_from=before.valid_from) == before


def _says(later: Asset, before: Asset | None, group: tuple[str, ...], said: Collection[str], new: Asset) -> bool:
    """Tell whether a description sets a field itself: a list gave it, or it is not what held until then."""
    if any(key.startswith(field) if field.endswith("_") else key == field for field in _FIELDS[group] for key in said):
        return True
    if group == ("retired",) and said and later.valid_from and new.retired and new.retired < later.valid_from:
        return True  # a row that begins after the day out of service, and names none, puts the machine back
    return _holds(later, group) if before is None else _of(later, group) != _of(before, group)


def _holds(asset: Asset, group: tuple[str, ...]) -> bool:
    return any(value not in (None, "", ()) for value in _of(asset, group))


def _of(asset: Asset, group: tuple[str, ...]) -> tuple[Any, ...]:
    return tuple(getattr(asset, name) for name in group)


def _named(groups: Collection[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(_CALLED.get(group[0], group[0]) for group in _FIELDS if group in groups)
