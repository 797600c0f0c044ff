"""Decision rules of a site, and what was decided by one: rule, uncertainty, probability and verdict of a measurement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from models.errors import InvalidValueError
from models.sentences.told import Told

DEFAULT_CONFIDENCE: Final = 0.95
"""The usual confidence of ISO 14253-1 [from memory, no copy read]."""

SIDES: Final = ("found", "left")
"""Names of the two measurements of a job: as-found and as-left."""

Row = tuple[float, float, float, float]
Covariance = tuple[Row, Row, Row, Row]
"""Covariance of the four components, in the order offset V, angularity V, offset H, angularity H. [mm², mm·mm/m, (mm/m)²]"""


class Verdict(StrEnum):
    """What a decision rule says."""

    WITHIN = "within"
    OVER = "over"
    UNDECIDED = "undecided"


class Rule(StrEnum):
    """The decision rule of a site."""

    SIMPLE = "simple acceptance"
    GUARDED = "guarded"


@dataclass(frozen=True, slots=True)
class DecisionRule:
    """A rule with the confidence that it asks for, above one half; simple acceptance asks for none."""

    rule: Rule = Rule.SIMPLE
    confidence: float = DEFAULT_CONFIDENCE

    def __post_init__(self) -> None:
        """Refuse a confidence that would decide for what is less probable."""
        if not 0.5 < self.confidence < 1:
            raise InvalidValueError(Told("told.decision.confidence"), remedy=Told("told.decision.confidence.remedy"))

    @property
    def guarded(self) -> bool:
        """Tell whether verdicts are given only where the probability is high or low enough."""
        return self.rule is Rule.GUARDED


def guarded_at(percent: float) -> DecisionRule:
    """Give the guarded rule with a confidence that was said in per cent.

    Parameters
    ----------
    percent : float
        The confidence, as people say it: 95. [%]

    Raises
    ------
    InvalidValueError
        If it does not lie above 50 and below 100.
    """
    # 99.9 / 100 is 0.9990000000000001: what was typed is what is asked for.
    return DecisionRule(Rule.GUARDED, round(percent / 100, 12))


@dataclass(frozen=True, slots=True)
class Covariances:
    """What is known of the uncertainty of both measurements of a job; ``None`` where nothing is.

    ``says`` names the measurements of which something is said: of one that is left out, what was known before stays known, where that it
    is not known is said of one that is ``None``.
    """

    found: Covariance | None = None
    left: Covariance | None = None
    says: tuple[str, ...] = SIDES


@dataclass(frozen=True, slots=True)
class Decision:
    """What was decided of one measurement by the rule in force when it was recorded.

    ``covariance`` and ``probability`` are ``None`` where no uncertainty was known: then the verdict is *undecided*.  So it is
    where there is a covariance without a probability: that could not be computed well enough.
    """

    rule: DecisionRule
    verdict: Verdict
    covariance: Covariance | None = None
    probability: float | None = None


@dataclass(frozen=True, slots=True)
class Decisions:
    """What was decided of both measurements of a job; ``None`` where no rule asked for it or nothing was judged."""

    found: Decision | None = None
    left: Decision | None = None


NO_DECISIONS: Final = Decisions()
"""Of a job that was recorded while no rule asked for it."""


def independent(deviations: Row) -> Covariance:
    """Give the covariance of four components that do not hang together.

    Parameters
    ----------
    deviations : tuple of float
        Standard uncertainty of each component. [mm, mm/m]
    """
    a, b, c, d = (sd * sd for sd in deviations)
    return ((a, 0.0, 0.0, 0.0), (0.0, b, 0.0, 0.0), (0.0, 0.0, c, 0.0), (0.0, 0.0, 0.0, d))


def covariance_of(rows: Sequence[Sequence[float]] | None) -> Covariance | None:
    """Give a covariance of four rows of four numbers, whatever they are kept in.

    Parameters
    ----------
    rows : sequence of sequence of float or None
        The rows; ``None`` where nothing is known. [mm², mm·mm/m, (mm/m)²]
    """
    if rows is None:
        return None
    first, second, third, fourth = ((float(a), float(b), float(c), float(d)) for a, b, c, d in rows)
    return first, second, third, fourth
