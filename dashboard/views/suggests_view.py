"""What the history of a machine suggests, in words, with what would settle it; never a diagnosis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboard.words import say
from models.history.engine import Study
from models.history.patterns import LOOSE_BOLTS, PIPE_STRAIN, SETTLING, SOFT_FOOT, THERMAL_TARGET

CAUSES = {
    SETTLING: "settling",
    PIPE_STRAIN: "pipe",
    THERMAL_TARGET: "thermal",
    SOFT_FOOT: "soft",
    LOOSE_BOLTS: "bolts",
}
"""For each cause of ``models.history.patterns`` the end of the keys of its name and of what would settle it."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One cause that the drifts of a machine look like, and what to look at before anybody believes it."""

    cause: str
    settles: str


def suggestions(study: Study, asset: int) -> tuple[Suggestion, ...]:
    """Give the causes that the history suggests for a machine; most machines have none.

    Parameters
    ----------
    study : Study
        What the history says. [unitless]
    asset : int
        Index of the machine. [unitless]
    """
    found = np.flatnonzero(study.patterns.suggested[asset]).tolist()
    names = (CAUSES[cause] for cause in found)
    return tuple(Suggestion(say(f"asset.cause.{name}"), say(f"asset.settles.{name}")) for name in names)
