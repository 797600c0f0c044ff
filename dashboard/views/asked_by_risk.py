"""What the dates by risk ask for, in numbers and in a sentence: how many machines now and soon, and how many of them by the rule."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.views.plan_view import LONG_AGO, SOON_DAYS, Plan
from dashboard.words import say
from dashboard.writing import count, counted, percent


@dataclass(frozen=True, slots=True)
class AskedByRisk:
    """Machines whose date has come, and those that follow within a month; ``…_ruled`` have theirs by the rule, for want of a forecast."""

    now: int
    soon: int
    now_ruled: int
    soon_ruled: int


def asked_by_risk(plan: Plan) -> AskedByRisk:
    """Count what a plan by risk asks for.

    Parameters
    ----------
    plan : Plan
        A plan by risk: by the rule where there is no forecast. [unitless]
    """
    now, soon = plan.rows(LONG_AGO, 0), plan.rows(1, SOON_DAYS)
    ruled = ~plan.forecast
    return AskedByRisk(len(now), len(soon), int(ruled[now].sum()), int(ruled[soon].sum()))


def risk_sentence(asked: AskedByRisk, risk: float, in_service: int) -> str:
    """Say for how many machines the date has come, and claim a risk for those only that have a forecast.

    Parameters
    ----------
    asked : AskedByRisk
        How many. [unitless]
    risk : float
        Accepted probability of being over limit. [unitless]
    in_service : int
        Machines in service. [unitless]
    """
    ruled = asked.now_ruled + asked.soon_ruled
    key = "due.sentence.risk"
    if ruled:
        key = "due.sentence.risk.none" if ruled == asked.now + asked.soon else "due.sentence.risk.some"
    return say(
        key,
        now=counted(asked.now, "machine"),
        soon=count(asked.soon),
        days=SOON_DAYS,
        n=count(in_service),
        risk=percent(risk),
        now_ruled=count(asked.now_ruled),
        soon_ruled=count(asked.soon_ruled),
    )


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
    key = "month.key.due_both.ruled" if asked.now_ruled else "month.key.due_both"
    return say(
        key, n=count(soon), days=soon_days, risky=count(asked.now), risk=percent(risk), ruled=count(asked.now_ruled)
    )
