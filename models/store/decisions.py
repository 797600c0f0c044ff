"""Questions about decisions: the rule of a site, and what was decided of its jobs."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import sqlalchemy as sa

from models.store.read_back import from_rows
from models.tables.decisions import DecisionRow, DecisionRuleRow
from models.values.decision import Decision, DecisionRule, Decisions, Rule, Verdict, covariance_of

WANTED = "wanted"
"""Name of the parameter of the question."""

AT_ONCE = 500
"""Entries that one question asks for."""


@from_rows
def rule_of(connection: sa.Connection, site_id: int, upto: int | None = None) -> DecisionRule | None:
    """Give the decision rule of a site, today's or that up to an entry; ``None`` where it never chose one.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    upto : int, optional
        The last entry that counts. [unitless]
    """
    r = DecisionRuleRow
    asked = sa.select(r.rule, r.confidence).where(r.site_id == site_id).order_by(r.entry.desc()).limit(1)
    row = connection.execute(asked if upto is None else asked.where(r.entry <= upto)).first()
    return None if row is None else DecisionRule(Rule(row.rule), row.confidence)


@from_rows
def decisions_of(connection: sa.Connection, entries: Sequence[int]) -> dict[int, Decisions]:
    """Give what was decided of some versions of jobs, by entry; none for one of which nothing was.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    entries : sequence of int
        Entries of the versions. [unitless]
    """
    found: dict[int, dict[str, Decision]] = {}
    for begin in range(0, len(entries), AT_ONCE):
        for row in connection.execute(_question(), {WANTED: list(entries[begin : begin + AT_ONCE])}):
            rule = DecisionRule(Rule(row.rule), row.confidence)
            one = Decision(rule, Verdict(row.verdict), covariance_of(row.covariance), row.probability)
            found.setdefault(row.entry, {})[row.side] = one
    return {entry: Decisions(**sides) for entry, sides in found.items()}


def undecided_left(connection: sa.Connection, entries: Sequence[int]) -> int:
    """Count the versions of jobs whose as-left was left undecided.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    entries : sequence of int
        Entries of the versions. [unitless]
    """
    d, count = DecisionRow, 0
    for begin in range(0, len(entries), AT_ONCE):
        some = list(entries[begin : begin + AT_ONCE])
        asked = sa.select(sa.func.count()).where(d.entry.in_(some), d.side == "left", d.verdict == Verdict.UNDECIDED)
        count += int(connection.execute(asked).scalar_one())
    return count


@cache
def _question() -> sa.Select[*tuple[Any, ...]]:
    """Give the question for the decisions of some entries; putting it together takes longer than asking it."""
    d = DecisionRow
    return sa.select(d.entry, d.side, d.rule, d.confidence, d.covariance, d.probability, d.verdict).where(
        d.entry.in_(sa.bindparam(WANTED, expanding=True))
    )
