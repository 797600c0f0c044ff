"""Versions of what changes slowly: how a site is set, limit sets with who adopted them, people, calibrations."""

from __future__ import annotations

from datetime import datetime
from functools import cache
from typing import Any

import sqlalchemy as sa

from models.store.known import SITE, limit_sets
from models.store.read_back import from_rows
from models.tables.book import EntryRow, SiteRow, SiteVersionRow
from models.tables.decisions import DecisionRuleRow
from models.tables.limits import LimitVersionRow
from models.tables.people import InstrumentVersionRow, PersonVersionRow
from models.tables.proofs import StatementRow
from models.units import Display
from models.values.decision import DecisionRule, Rule
from models.values.entry import AdoptedLimits, Stated
from models.values.people import Instrument, Person
from models.values.story import Site, SiteSetting


def read_limit_sets(connection: sa.Connection, site_id: int) -> tuple[AdoptedLimits, ...]:
    """Give every version of every limit set of a site, in order of the day of adoption, then of entry."""
    said = {row[0]: (row[1], row[2]) for row in connection.execute(_adopted(), {SITE: site_id})}
    return tuple(AdoptedLimits(one.entry, *said[one.entry], one.limit_set) for one in limit_sets(connection, site_id))


@cache
def _adopted() -> sa.Select[int, datetime, str]:
    """Give the question for when and by whom limit sets were adopted; putting it together takes longer than asking it."""
    e, v = EntryRow, LimitVersionRow
    return sa.select(e.number, e.at, e.author).join(v, v.entry == e.number).where(v.site_id == sa.bindparam(SITE))


@from_rows
def read_people(connection: sa.Connection, site_id: int) -> tuple[Person, ...]:
    """Give the people of a site as they are known today, by name."""
    v = PersonVersionRow
    rows = connection.execute(
        sa.select(v.person_id, v.name, v.qualification, v.active).where(v.site_id == site_id).order_by(v.entry)
    )
    latest = {row[0]: Person(row[1], row[2], bool(row[3])) for row in rows}
    return tuple(sorted(latest.values(), key=lambda one: one.name.casefold()))


@from_rows
def stated_people(connection: sa.Connection, site_id: int) -> tuple[Stated[Person], ...]:
    """Give every version of every person of a site, each with its entry, in their order."""
    v = PersonVersionRow
    asked = _stated(v.entry, v.name, v.qualification, v.active).where(v.site_id == site_id)
    return tuple(
        Stated(row[0], row[1], row[2], Person(row[3], row[4], bool(row[5]))) for row in connection.execute(asked)
    )


@from_rows
def stated_instruments(connection: sa.Connection, site_id: int) -> tuple[Stated[Instrument], ...]:
    """Give every version of every instrument of a site, each with its entry, in their order: each calibration is one."""
    v = InstrumentVersionRow
    asked = _stated(v.entry, v.serial, v.description, v.calibrated, v.due).where(v.site_id == site_id)
    return tuple(Stated(row[0], row[1], row[2], Instrument(*row[3:])) for row in connection.execute(asked))


def stated_rules(connection: sa.Connection, site_id: int) -> tuple[Stated[DecisionRule], ...]:
    """Give every decision rule that a site has chosen, each with its entry and reason, in their order."""
    every = read_site_settings(connection, site_id)
    before = (None, *(one.site.rule for one in every))
    return tuple(
        Stated(one.entry, one.recorded_at, one.author, one.site.rule, one.why)
        for one, rule in zip(every, before, strict=False)
        if one.site.rule is not None and one.site.rule != rule
    )


def _stated(entry: Any, *said: Any) -> sa.Select[*tuple[Any, ...]]:
    """Ask for what entries say, behind number, moment and author of each."""
    e = EntryRow
    return sa.select(e.number, e.at, e.author, *said).join(e, e.number == entry).order_by(e.number)


def read_instrument_versions(connection: sa.Connection, site_id: int) -> tuple[Instrument, ...]:
    """Give every version of every instrument of a site, in order of entry: each calibration is one."""
    return tuple(one.said for one in stated_instruments(connection, site_id))


@from_rows
def read_site_settings(connection: sa.Connection, site_id: int) -> tuple[SiteSetting, ...]:
    """Give how a site was set, entry by entry, the oldest first: the last one holds."""
    e, s, v, r, t = EntryRow, SiteRow, SiteVersionRow, DecisionRuleRow, StatementRow
    asked = (
        sa.select(e.number, e.at, e.author, e.why, s.code, v.name, v.zone, v.length_unit, v.temperature_unit,
                  v.interval_months, r.rule, r.confidence, t.leaf)
        .join(v, v.entry == e.number)
        .join(s, s.id == v.site_id)
        .outerjoin(r, r.entry == v.entry)
        .outerjoin(t, sa.and_(t.entry == v.entry, t.site_id == v.site_id))
        .where(v.site_id == site_id)
        .order_by(v.entry)
    )  # fmt: skip
    found: list[SiteSetting] = []
    rule: DecisionRule | None = None
    for row in connection.execute(asked):
        # A setting brings a rule only where it changes that.
        rule = rule if row.rule is None else DecisionRule(Rule(row.rule), row.confidence)
        display = Display(row.length_unit, row.temperature_unit)
        site = Site(site_id, row.code, row.name, row.zone, display, row.interval_months, rule=rule)
        leaf = "" if row.leaf is None else bytes(row.leaf).hex()
        found.append(SiteSetting(row.number, row.at_us, row.author, row.why, site, leaf))
    return tuple(found)
