"""What the dates by risk ask for, in numbers and in a sentence: how many machines now and soon, and how many of them by the rule."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.views.plan_view import LONG_AGO, SOON_DAYS, Plan
from dashboard.words import say
from dashboard.writing import count, counted, percent


@dataclass(frozen=True, slots=True)
class AskedByRisk:
    """Machines whose date has come, and those that follow within a month; ``…_ruled`` have theirs by the rule, for want of a forecast.

    ``known`` counts the machines in service that have a forecast, ``unknown`` those that have none: of these no risk is known.
    """

    now: int
    soon: int
    now_ruled: int
    soon_ruled: int
    known: int
    unknown: int


def asked_by_risk(plan: Plan) -> AskedByRisk:
    """Count what a plan by risk asks for.

    Parameters
    ----------
    plan : Plan
        A plan by risk: by the rule where there is no forecast. [unitless]
    """
    now, soon = plan.rows(LONG_AGO, 0), plan.rows(1, SOON_DAYS)
    ruled, known = ~plan.forecast, int(plan.forecast.sum())
    in_service = int((~plan.history.assets.retired).sum())
    return AskedByRisk(len(now), len(soon), int(ruled[now].sum()), int(ruled[soon].sum()), known, in_service - known)


def risk_sentence(asked: AskedByRisk, risk: float) -> str:
    """Say for how many machines the date has come, claim a risk for those only that have a forecast, and count those that have none.

    Parameters
    ----------
    asked : AskedByRisk
        How many. [unitless]
    risk : float
        Accepted probability of being over limit. [unitless]
    """
    ruled = asked.now_ruled + asked.soon_ruled
    key = "due.sentence.risk"
    if not asked.known:
        key = "due.sentence.risk.unknown"
    elif ruled:
        key = "due.sentence.risk.none" if ruled == asked.now + asked.soon else "due.sentence.risk.some"
    said = say(
        key,
        now=counted(asked.now, "machine"),
        soon=count(asked.soon),
        days=SOON_DAYS,
        n=count(asked.known + asked.unknown),
        risk=percent(risk),
        now_ruled=count(asked.now_ruled),
        soon_ruled=count(asked.soon_ruled),
    )
    if not asked.known or not asked.unknown:
        return said
    return f"{said} {say('due.sentence.without', n=counted(asked.unknown, 'machine'))}"


def risk_key(asked: AskedByRisk, risk: float, soon: int, soon_days: int) -> str:
    """Say the same below a number of the Month page.

    Parameters
    ----------
    asked : AskedByRisk
        How many by risk. [unitless]
    risk : float
        Accepted probability of being over limit. [unitless]
    soon : int
        Machines that fall due soon by the rule. [unitless]
    soon_days : int
        What soon is. [d]
    """
    key = "month.key.due_both"
    if not asked.known:
        key = "month.key.due_both.unknown"
    elif asked.now_ruled:
        key = "month.key.due_both.ruled"
    elif asked.unknown:
        key = "month.key.due_both.some"
    return say(
        key,
        n=count(soon),
        days=soon_days,
        risky=count(asked.now),
        risk=percent(risk),
        ruled=count(asked.now_ruled),
        known=count(asked.known),
    )
