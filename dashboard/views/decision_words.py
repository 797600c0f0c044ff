"""What a decision rests on, in full: the deviation, its uncertainty and correlations, the limits and the probability, so that it can be made again."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from dashboard.words import say
from models.maths.geometry import deviation
from models.values.decision import SIDES, Covariance, Decision
from models.values.job import COMPONENTS
from models.values.story import JobLine

DIGITS = 6
"""Significant digits: with so many the probability comes out again to four decimals. The interface and the tables give all that are stored."""

STAGES = {"found": "report.job.found", "left": "report.job.left"}
"""The two measurements, each with the key of its name."""

UNITS = ("mm", "mm/m", "mm", "mm/m")
"""Units of the four components as they are stored, whatever the display shows."""


@dataclass(frozen=True, slots=True)
class Rests:
    """What a decision on one measurement rests on; the four components in the order of ``COMPONENTS``, written in stored units."""

    side: str
    deviation: tuple[str, ...]
    uncertainty: tuple[str, ...]
    correlations: str
    probability: str


def rests_of(line: JobLine) -> tuple[Rests, ...]:
    """Give what the decisions of a job rest on; none for a measurement whose uncertainty is not known.

    Parameters
    ----------
    line : JobLine
        A version of a job. [as stored]
    """
    return tuple(_rests(line))


def rests_told(line: JobLine) -> tuple[str, ...]:
    """Say the same in a sentence a measurement.

    Parameters
    ----------
    line : JobLine
        A version of a job. [as stored]
    """
    return tuple(
        say(
            "decision.rests", stage=say(STAGES[one.side]), deviation=_listed(one.deviation), uncertainty=_listed(one.uncertainty),
            correlations=one.correlations, probability=one.probability,
        )
        for one in rests_of(line)
    )  # fmt: skip


def limits_in_full(line: JobLine) -> str:
    """Write the limits that a decision rests on with all their digits, in stored units.

    Parameters
    ----------
    line : JobLine
        A version of a job. [as stored]
    """
    given = line.limits
    pairs = (
        ("limit.offset", given.offset_mm, "mm"),
        ("limit.angle", given.angle_mm_m, "mm/m"),
        ("limit.flex", given.flex_mm_m, "mm/m"),
    )
    told = [say(key, value=f"{exact(value)} {unit}") for key, value, unit in pairs if value is not None]
    span = None if line.judged_as is None or given.flex_mm_m is None else line.judged_as.span_mm
    if span is not None:
        told.append(say("decision.rests.span", span=f"{exact(span)} mm"))
    return say("decision.rests.limits", limits=", ".join(told))


def exact(value: float) -> str:
    """Write a number with the digits that a reckoning needs, e.g. ``'−0.0513'``."""
    return f"{value:.{DIGITS}g}".replace("-", "−")


def _rests(line: JobLine) -> Iterator[Rests]:
    for side in SIDES:
        decision: Decision | None = getattr(line.decisions, side)
        measured = getattr(line.job, side)
        if decision is None or decision.covariance is None or decision.probability is None or measured is None:
            continue
        deviations = [math.sqrt(max(decision.covariance[place][place], 0.0)) for place in range(len(COMPONENTS))]
        yield Rests(
            side,
            tuple(exact(value) for value in deviation(measured, line.job.target).as_tuple()),
            tuple(exact(value) for value in deviations),
            _correlations(decision.covariance, deviations),
            _probability(decision.probability),
        )


def _probability(probability: float) -> str:
    """Write a probability; never as 0 or 1, which it only is by rounding."""
    least = 10.0**-DIGITS
    if least <= probability <= 1 - least:
        return f"{probability:.{DIGITS}f}"
    key, bound = ("decision.rests.below", least) if probability < least else ("decision.rests.above", 1 - least)
    return say(key, bound=f"{bound:.{DIGITS}f}")


def _correlations(covariance: Covariance, deviations: list[float]) -> str:
    """Write the correlations that are not nothing."""
    told = [
        say(
            "decision.rests.pair", one=say(f"component.short.{COMPONENTS[a]}"), other=say(f"component.short.{COMPONENTS[b]}"),
            value=exact(covariance[a][b] / (deviations[a] * deviations[b])),
        )
        for a in range(len(COMPONENTS))
        for b in range(a + 1, len(COMPONENTS))
        if covariance[a][b] and deviations[a] * deviations[b]
    ]  # fmt: skip
    return say("decision.rests.correlated", pairs=", ".join(told)) if told else say("decision.rests.independent")


def _listed(values: tuple[str, ...]) -> str:
    names = (say(f"component.short.{name}") for name in COMPONENTS)
    return ", ".join(f"{name} {value} {unit}" for name, value, unit in zip(names, values, UNITS, strict=True))
