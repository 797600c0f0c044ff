"""What is said of a guarded decision rule beside what is counted by the limit ratio."""

from __future__ import annotations

from datetime import date

from dashboard.prepared import index_for
from dashboard.words import say
from dashboard.writing import count, rule_text
from models.history.columns import History
from models.history.late import some_of
from models.values.decision import DecisionRule


def entries_of_month(history: History, month: date) -> list[int]:
    """Give the entries of the jobs of a month.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    month : date
        First day of the month. [d]
    """
    number = month.year * 12 + month.month - 1
    return [int(entry) for entry in some_of(history.jobs, "entry", index_for(history).rows(number, number))]


def month_words(rule: DecisionRule, undecided: int) -> str:
    """Say that a month is counted by the ratio although the site decides by a guarded rule, and how much that leaves undecided.

    Parameters
    ----------
    rule : DecisionRule
        The site's rule. [unitless]
    undecided : int
        Jobs of the month whose as-left is undecided. [unitless]
    """
    key = {0: "decision.month.none", 1: "decision.month.one"}.get(undecided, "decision.month.some")
    return say("decision.month", rule=rule_text(rule), undecided=say(key, n=count(undecided)))
