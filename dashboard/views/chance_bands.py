"""What became of past runs by the chance of being found over limit that their forecast gave."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from models.history.chances import BANDS
from models.history.engine import Study


@dataclass(frozen=True, slots=True)
class Band:
    """Past runs whose chance lay from ``above`` to ``below``: its mean, how many, and the share found over limit with its interval."""

    above: float
    below: float
    n: int
    claimed: float
    found: float
    low: float
    high: float


def bands_of(study: Study) -> tuple[Band, ...]:
    """Give the bands that have a run, of all machines.

    Parameters
    ----------
    study : Study
        Everything that the history says. [unitless]
    """
    got = study.fleet.chances
    return tuple(
        Band(
            above, below, int(got.n[-1, at]),
            *(float(part[-1, at]) for part in (got.claimed, got.found, got.low, got.high)),
        )
        for at, (above, below) in enumerate(pairwise(BANDS))
        if got.n[-1, at]
    )  # fmt: skip


def band_of(study: Study, over: float) -> Band | None:
    """Give the band of a chance; ``None`` where no past run had one like it.

    Parameters
    ----------
    study : Study
        Everything that the history says. [unitless]
    over : float
        Probability of being over limit. [unitless]
    """
    if not np.isfinite(over):
        return None
    return next(
        (one for one in bands_of(study) if one.above <= over < one.below or over >= one.below == BANDS[-1]), None
    )
