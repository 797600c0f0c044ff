"""What the history of a machine suggests, in words, with what would settle it; never a diagnosis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboard.words import say
from models.history.engine import Study
from models.history.patterns import LOOSE_BOLTS, PIPE_STRAIN, SETTLING, SOFT_FOOT, THERMAL_TARGET

CAUSES = {
    SETTLING: ("offenders.cause.settling", "offenders.settles.settling"),
    PIPE_STRAIN: ("offenders.cause.pipe", "offenders.settles.pipe"),
    THERMAL_TARGET: ("offenders.cause.thermal", "offenders.settles.thermal"),
    SOFT_FOOT: ("offenders.cause.soft_foot", "offenders.settles.soft_foot"),
    LOOSE_BOLTS: ("offenders.cause.loose", "offenders.settles.loose"),
}
"""For each cause of ``models.history.patterns`` the keys of its name and of the observation that would settle it."""


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
    return tuple(Suggestion(say(CAUSES[cause][0]), say(CAUSES[cause][1])) for cause in found)
