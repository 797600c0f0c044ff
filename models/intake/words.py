"""What people write where a closed list is meant: 'PM' for planned, 'DBSE' couplings, and so on.

Only a proposal for the mapping, and the reading of the list's own words in any case.
"""

from __future__ import annotations

import re

from models.intake.fields import Field
from models.values.kinds import Coupling, Method, Part, Reason

_WORDS: dict[str, str] = {
    "pm": Reason.PLANNED, "planned check": Reason.PLANNED, "routine": Reason.PLANNED, "scheduled": Reason.PLANNED,
    "preventive": Reason.PLANNED, "periodic": Reason.PLANNED, "annual": Reason.PLANNED, "yearly": Reason.PLANNED,
    "plan": Reason.PLANNED, "shutdown": Reason.PLANNED,
    "vibration": Reason.CONDITION, "vib": Reason.CONDITION, "high vibration": Reason.CONDITION, "noise": Reason.CONDITION,
    "call": Reason.CONDITION, "call-out": Reason.CONDITION, "noticed": Reason.CONDITION,
    "overhaul": Reason.REPAIR, "after repair": Reason.REPAIR, "bearing change": Reason.REPAIR, "seal change": Reason.REPAIR,
    "breakdown": Reason.FAILURE, "trip": Reason.FAILURE, "broken": Reason.FAILURE,
    "new": Reason.INSTALLATION, "install": Reason.INSTALLATION, "commissioning": Reason.INSTALLATION, "first": Reason.INSTALLATION,
    "reverse dial": Method.REVERSE_INDICATOR, "reverse": Method.REVERSE_INDICATOR, "two rims": Method.REVERSE_INDICATOR,
    "rim-face": Method.RIM_FACE, "rim/face": Method.RIM_FACE, "rim face": Method.RIM_FACE, "rim & face": Method.RIM_FACE,
    "face-face": Method.FACE_FACE, "face/face": Method.FACE_FACE, "optical": Method.LASER, "straight edge": Method.STRAIGHTEDGE,
    "short": Coupling.SHORT, "flexible": Coupling.SHORT, "flex": Coupling.SHORT, "jaw": Coupling.SHORT, "pin": Coupling.SHORT,
    "gear": Coupling.SHORT, "elastomer": Coupling.SHORT, "spacer coupling": Coupling.SPACER, "long": Coupling.SPACER, "disc spacer": Coupling.SPACER,
    "motor": Part.MOVABLE, "pump": Part.STATIONARY, "machine": Part.MOVABLE, "baseplate": Part.BASE, "base plate": Part.BASE, "grout": Part.BASE,
    "foundation": Part.BASE, "cplg": Part.COUPLING,
}  # fmt: skip

_ALONE = {"new", "first", "call", "plan", "long", "short", "pin", "machine", "noticed", "other", "condition"}
"""Words that mean something only where nothing stands beside them."""

_DENIES = re.compile(r"\b(?:not|no|non|never|without|emergency|un(?:planned|scheduled|expected|foreseen))\b")
"""What turns the meaning of a text round."""


def choice(text: str, field: Field, words: dict[str, str] | None = None) -> str | None:
    """Give the member of a field's list that a text means; ``None`` where it means none."""
    plain = " ".join(text.split())
    if words is not None and plain in words:
        plain = words[plain]
    lowered = plain.lower()
    return lowered if lowered in field.choices else None


def propose_word(text: str, field: Field) -> str:
    """Propose which member of a list a plant's word means; empty where none comes to mind, or two do.

    Inside a longer text only whole words count, and none where the text says
    the opposite ('not planned', 'unplanned') or a word that means something
    only by itself ('new bearings' is no new machine).
    """
    lowered = " ".join(text.lower().split())
    alone = _WORDS.get(lowered)
    if alone in field.choices:
        return str(alone)
    if _DENIES.search(lowered):
        return ""
    meant: set[str] = set()
    rest = lowered
    for word in sorted((*_WORDS, *field.choices), key=len, reverse=True):
        meaning = str(_WORDS.get(word, word))
        if meaning not in field.choices or word in _ALONE:
            continue
        # Longer ones first, each taken out: the 'planned' of a 'planned check' says nothing more.
        rest, times = re.subn(rf"(?<![\w-]){re.escape(word)}s?(?![\w-])", " ", rest)
        if times:
            meant.add(meaning)
    return meant.pop() if len(meant) == 1 else ""
