"""How numbers and dates are written for people: one way each, on every page."""

from __future__ import annotations

import math
from datetime import date, datetime
from zoneinfo import ZoneInfo

from dashboard.words import say
from models.values.decision import Decision, DecisionRule, Decisions

DASH = "–"
NARROW = "\u202f"
"""A narrow blank that does not break: between thousands and before a per cent sign."""


def count(n: int) -> str:
    """Write a count, with narrow blanks between thousands from 10,000 on."""
    return f"{n:,}".replace(",", NARROW) if abs(n) >= 10_000 else str(n)


def counted(n: int, noun: str) -> str:
    """Write a count with its noun, e.g. ``'1 job'``, ``'12 jobs'``.

    Parameters
    ----------
    n : int
        How many. [unitless]
    noun : str
        Key of the noun in the words: ``noun.<noun>.one`` and ``noun.<noun>.many``. [unitless]
    """
    return say(f"noun.{noun}.{'one' if n == 1 else 'many'}", n=count(n))


def percent(share: float) -> str:
    """Write a share between 0 and 1 in per cent, without decimals; '–' where it is not known."""
    return DASH if not math.isfinite(share) else f"{share * 100:.0f}{NARROW}%"


def chance(probability: float) -> str:
    """Write a probability in per cent; never as 0 or 100, which it only is by rounding."""
    if not math.isfinite(probability):
        return DASH
    if probability < 0.005:
        return say("write.chance.low")
    return say("write.chance.high") if probability > 0.995 else percent(probability)


def interval(low: float, high: float) -> str:
    """Write an interval of shares, e.g. ``'19 to 52 %'``."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return DASH
    return say("write.interval", low=f"{low * 100:.0f}", high=percent(high))


def ratio(value: float | None) -> str:
    """Write a limit ratio with two decimals, and with more where two would hide on which side of 1 it lies."""
    if value is None or not math.isfinite(value):
        return DASH
    for places in (2, 3, 4):
        text = f"{value:.{places}f}"
        if (float(text) > 1) == (value > 1):
            return text
    return f"{value:.6f}"


def verdict(value: float | None) -> str:
    """Write 'within' or 'over' for a limit ratio; '–' where nothing was judged."""
    if value is None or not math.isfinite(value):
        return DASH
    return say("verdict.over") if value > 1 else say("verdict.within")


def judged(value: float | None) -> str:
    """Write a limit ratio with its verdict, e.g. ``'1.42 over'``."""
    if value is None or not math.isfinite(value):
        return DASH
    return f"{ratio(value)} {verdict(value)}"


def judged_by(value: float | None, decision: Decision | None) -> str:
    """Write a limit ratio with its verdict, and what the rule of the site decided where it did, e.g. ``'0.91 within; by the rule undecided'``."""
    return _beside(judged(value), decision)


def verdict_by(value: float | None, decision: Decision | None) -> str:
    """Write 'within' or 'over' for a limit ratio, and what the rule of the site decided where it did."""
    return _beside(verdict(value), decision)


def _beside(said: str, decision: Decision | None) -> str:
    if decision is None:
        return said
    return say("decision.beside", judged=said, verdict=say(f"decision.verdict.{decision.verdict}"))


def decided(decision: Decision) -> tuple[str, str]:
    """Write what was decided, and why: verdict, and probability and rule in a sentence."""
    rule = rule_text(decision.rule)
    if decision.probability is None:
        why = say("decision.unknown" if decision.covariance is None else "decision.uncomputed", rule=rule)
    else:
        chance = sure(decision.probability, decision.rule.confidence)
        why = say("decision.probability", chance=chance, rule=rule)
    return say(f"decision.verdict.{decision.verdict}"), why


def decisions_told(decisions: Decisions) -> tuple[str, ...]:
    """Write what was decided of both measurements of a job; empty where nothing was."""
    return tuple(
        say(f"decision.side.{side}", verdict=verdict, why=why)
        for side, one in (("found", decisions.found), ("left", decisions.left))
        if one is not None
        for verdict, why in (decided(one),)
    )


def rule_text(rule: DecisionRule) -> str:
    """Write a decision rule, e.g. ``'guarded, 95 %'``."""
    name = say(f"decision.rule.{rule.rule}")
    if not rule.guarded:
        return name
    return say("decision.with", rule=name, confidence=f"{rule.confidence * 100:.10g}{NARROW}%")


def sure(probability: float, confidence: float) -> str:
    """Write a probability with as many decimals as show on which side of the guards it lies; never as 0 or 100."""
    if confidence <= 0.999 and not 0.001 <= probability <= 0.999:
        return say("decision.chance.low" if probability < 0.5 else "decision.chance.high")
    for places in range(6):
        text = f"{probability * 100:.{places}f}"
        shown = float(text) / 100
        guards = (shown >= confidence, shown <= 1 - confidence)
        if 0 < shown < 1 and guards == (probability >= confidence, probability <= 1 - confidence):
            return f"{text}{NARROW}%"
    return f"{probability * 100:.6g}{NARROW}%"


def day(value: date | None) -> str:
    """Write a day, e.g. ``'9 Oct 2026'``."""
    return DASH if value is None else f"{value.day} {say(f'month.short.{value.month}')} {value.year}"


def late(days_left: int) -> str:
    """Write how late something is, or in how many days it falls due.

    Parameters
    ----------
    days_left : int
        Days until it is due; negative where it is late. [day]
    """
    if days_left == 0:
        return say("due.today")
    if days_left < 0:
        return say("due.late", n=counted(-days_left, "day"))
    return say("due.in", n=counted(days_left, "day"))


def moment(value: datetime, zone: str) -> str:
    """Write a time on the site's clock, e.g. ``'9 Oct 2026, 14:05'``."""
    local = value.astimezone(ZoneInfo(zone))
    return f"{day(local.date())}, {local:%H:%M}"


def month(value: date) -> str:
    """Write a month, e.g. ``'October 2026'``."""
    return f"{say(f'month.long.{value.month}')} {value.year}"


def month_short(value: date) -> str:
    """Write a month in short, e.g. ``'Oct 2026'``."""
    return f"{say(f'month.short.{value.month}')} {value.year}"


def speed_class(index: int, bounds_rpm: tuple[float, ...]) -> str:
    """Write the name of a speed class, e.g. ``'over 1500 to 1800 rpm'``.

    Parameters
    ----------
    index : int
        Which class; −1 is a speed that is not known. [unitless]
    bounds_rpm : (n,) tuple of float
        Upper bounds of the classes. [rpm]
    """
    if index < 0:
        return say("class.unknown")
    if index == 0:
        return say("class.upto", high=f"{bounds_rpm[0]:.0f}")
    if index >= len(bounds_rpm):
        return say("class.above", low=f"{bounds_rpm[-1]:.0f}")
    return say("class.between", low=f"{bounds_rpm[index - 1]:.0f}", high=f"{bounds_rpm[index]:.0f}")
