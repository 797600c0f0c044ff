"""Which limits are behind the verdicts of a page."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.words import say
from dashboard.writing import day
from models.values.limits import LimitSet


@dataclass(frozen=True, slots=True)
class LimitsNote:
    """A sentence on the limit set in force, and a warning where it is the starter set."""

    text: str
    warning: str = ""


def limits_note(limit_set: LimitSet | None) -> LimitsNote:
    """Say which limit set is in force today, who adopted it and where it comes from.

    Parameters
    ----------
    limit_set : LimitSet or None
        The set in force; ``None`` where the site has none. [unitless]
    """
    if limit_set is None:
        return LimitsNote(say("limits.none"))
    text = say(
        "limits.in_force",
        name=limit_set.name,
        version=limit_set.version,
        by=limit_set.adopted_by or say("limits.nobody"),
        on=day(limit_set.adopted_on),
        source=limit_set.source.rstrip("."),
    )
    return LimitsNote(text, say("limits.starter") if limit_set.starter else "")
