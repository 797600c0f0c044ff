"""Whether a callback is called as a page of ours calls it: one that is there, with as many values as it takes, each of its kind.

A browser may send anything.  What is of another kind is refused here once, so that no page has to ask of each value
what it is; what the values say is still looked at by the pages.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from dashboard.ids import RecordIds, Shell

LONGEST: Final = 20_000
MOST: Final = 2_000
DEEPEST: Final = 8
"""Letters of a text, members of a list or object, and lists within lists, that a page of ours sends at most."""

_Kind = Callable[[Any], bool]


def _text(value: Any) -> bool:
    return value is None or isinstance(value, str)


def _texts(value: Any) -> bool:
    """Tell whether it is what stands in a form: texts by the names of their fields."""
    return value is None or (isinstance(value, dict) and all(isinstance(one, str) for one in value.values()))


def _with_fields(value: Any) -> bool:
    return value is None or (isinstance(value, dict) and _texts(value.get("fields")) and _text(value.get("stage")))


def _object(value: Any) -> bool:
    """Tell whether it is an object: a draft that an older version left in a browser is read for what it still says."""
    return value is None or isinstance(value, dict)


def _asks(value: Any) -> bool:
    """Tell whether it is a list of what is asked for: each a doubt, its field, and sentences."""
    return value is None or (
        isinstance(value, list)
        and all(isinstance(one, list) and len(one) >= 2 and all(isinstance(part, str) for part in one) for one in value)
    )


BY_PROPERTY: Final[Mapping[str, _Kind]] = {
    "pathname": _text, "search": _text, "hash": _text, "href": _text, "searchValue": _text,
}  # fmt: skip
BY_ID: Final[Mapping[str, _Kind]] = {
    Shell.SCHEME: _text,
    Shell.PAGE: _text,
    RecordIds.TYPED: _texts,
    RecordIds.SEND: _with_fields,
    RecordIds.SHAPE: _with_fields,
    RecordIds.DRAFT: _object,
    RecordIds.ASKS: _asks,
}
"""Kinds of what our pages keep, by the id of the store."""


def well_formed(body: object, callbacks: Mapping[str, Any]) -> bool:
    """Tell whether a body calls a callback that is there, with values as our pages send them.

    Parameters
    ----------
    body : object
        What was sent, read as JSON. [unitless]
    callbacks : mapping
        Dash's own list of callbacks, by their names. [unitless]
    """
    if not isinstance(body, dict) or not _is_plain(body):
        return False
    name = body.get("output")
    spec = callbacks.get(name) if isinstance(name, str) else None
    if spec is None or "callback" not in spec:
        return False
    changed = body.get("changedPropIds", [])
    if not isinstance(changed, list) or not all(isinstance(one, str) for one in changed):
        return False
    if not isinstance(name, str) or not _are_filled(body.get("outputs"), name):
        return False
    return all(_are_given(body.get(kind, []), spec[kind]) for kind in ("inputs", "state"))


def _are_filled(outputs: object, name: str) -> bool:
    """Tell whether the parts that are to be filled are those that the name of the callback says, in its order.

    Dash names one part by its id and property, several as '..id.property...id.property..'.
    """
    several = name.startswith("..")
    parts: list[Any] = outputs if several and isinstance(outputs, list) else [outputs]
    wanted = name[2:-2].split("...") if several else [name]
    if not all(map(_is_part, parts)):
        return False
    return [f"{one['id']}.{one['property']}".partition("@")[0] for one in parts] == [
        one.partition("@")[0] for one in wanted
    ]


def _are_given(given: object, wanted: list[Mapping[str, Any]]) -> bool:
    """Tell whether as many values are given as are wanted, each of the kind of the place that it is given for.

    By place and not by the name that was sent with it: Dash goes by the place too.
    """
    if not isinstance(given, list) or len(given) != len(wanted):
        return False
    for one, place in zip(given, wanted, strict=True):
        parts = one if isinstance(one, list) else [one]
        kind = BY_ID.get(str(place["id"])) or BY_PROPERTY.get(str(place["property"]))
        if not all(_is_part(part) and (kind is None or kind(part.get("value"))) for part in parts):
            return False
        if kind is not None and isinstance(one, list):
            return False
    return True


def _is_part(one: object) -> bool:
    """Tell whether it names a part of a page; ids of ours are texts, never the objects by which Dash matches patterns."""
    return isinstance(one, dict) and isinstance(one.get("property"), str) and isinstance(one.get("id"), str)


def _is_plain(value: object, depth: int = 0) -> bool:
    """Tell whether texts are texts (no half of a pair of surrogates) and everything has a measure."""
    if isinstance(value, str):
        return len(value) <= LONGEST and not any("\ud800" <= letter <= "\udfff" for letter in value)
    if isinstance(value, dict):
        return (
            depth < DEEPEST
            and len(value) <= MOST
            and all(_is_plain(key) and _is_plain(one, depth + 1) for key, one in value.items())
        )
    if isinstance(value, list):
        return depth < DEEPEST and len(value) <= MOST and all(_is_plain(one, depth + 1) for one in value)
    return True
