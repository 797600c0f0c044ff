"""Make a book with its first site and the limit set that is in force from the start."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from models.commands.set_key import new_origin, say_key
from models.commands.zones import check_zone
from models.errors import BookExistsError, InvalidValueError
from models.ledger.keys import make_key
from models.sentences.told import Told
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import sites
from models.store.partitions import make_parts
from models.store.revision import check_revision, revision_of, upgrade
from models.store.rows import limit_row_row, limit_version_row, rule_row
from models.store.unit import Unit, writing
from models.tables.book import SiteRow, SiteVersionRow
from models.tables.decisions import DecisionRuleRow
from models.tables.limits import LimitRowRow, LimitSetRow, LimitVersionRow
from models.units import Display
from models.values.decision import DecisionRule
from models.values.kinds import Kind
from models.values.limits import LimitSet
from models.values.story import Site

_LONGEST_NAME = 120
"""Letters of a name that the book takes. [unitless]"""

MOST_MONTHS = 1200
"""Longest interval between checks. [months]

With ten times that some dates lie beyond what a calendar holds, and nothing that is due could be shown any more.
"""


def init_book(
    settings: Settings,
    *,
    name: str,
    zone: str,
    display: Display,
    limit_set: LimitSet,
    by: str,
    now: datetime,
    interval_months: int = 12,
) -> Site:
    """Make a book, or a further site in a book that is there.

    Parameters
    ----------
    settings : Settings
        Where the book is to be. [unitless]
    name : str
        Name of the site. [unitless]
    zone : str
        IANA name of the site's time zone. [unitless]
    display : Display
        Units in which the site reads. [unitless]
    limit_set : LimitSet
        Set in force from the start. [unitless]
    by : str
        Who makes it. [unitless]
    now : datetime
        Aware moment. [unitless]
    interval_months : int
        Rule for the next check. [months]

    Raises
    ------
    BookExistsError
        If the book already holds a site of that name, or one that had it.
    WrongRevisionError
        If the book that is there was written by an older or a newer version.
    InvalidValueError
        If the zone is unknown, the name empty, or the interval below one month or above a hundred years.
    """
    check_site(name, zone, interval_months)
    engine = make_engine(settings)
    try:
        if (settings.is_file and not settings.path.exists()) or revision_of(engine) is None:
            upgrade(settings)
        check_revision(settings, engine)
        with engine.connect() as connection:
            there = sites(connection)
        check_free(name, there, "told.site.taken.remedy.there")
        site_id = max((s.site_id for s in there), default=0) + 1
        site = Site(site_id, code_of(name), " ".join(name.split()), zone, display, interval_months)
        with writing(engine, site.site_id, by, now) as unit:
            make_parts(unit.connection, [site.site_id])
            unit.add(SiteRow, (site.site_id, site.code))
            say_site(unit, site)
            say_limit_set(unit, site.site_id, limit_set)
            if not there:
                say_key(unit, make_key(settings.key_path), new_origin())
        return site
    finally:
        engine.dispose()


def check_site(name: str, zone: str, interval_months: int) -> None:
    """Refuse a site without a name, in an unknown zone, or with an interval that is none."""
    if not code_of(name):
        raise InvalidValueError(Told("told.site.no_name"), remedy=Told("told.site.no_name.remedy"))
    if len(name) > _LONGEST_NAME:
        raise InvalidValueError(
            Told("told.site.long_name", most=_LONGEST_NAME, n=len(name)), remedy=Told("told.site.long_name.remedy")
        )
    if interval_months < 1:
        raise InvalidValueError(Told("told.site.interval.short"), remedy=Told("told.site.interval.remedy"))
    if interval_months > MOST_MONTHS:
        raise InvalidValueError(Told("told.site.interval.long"), remedy=Told("told.site.interval.remedy"))
    check_zone(zone)


def check_free(name: str, others: Iterable[Site], remedy: str = "told.site.taken.remedy") -> None:
    """Refuse the name of a site that another one bears, or once bore: whoever gives it would mean either.

    Parameters
    ----------
    name : str
        The name. [unitless]
    others : iterable of Site
        The other sites of the book. [unitless]
    remedy : str
        Key of the sentence that says what to do. [unitless]

    Raises
    ------
    BookExistsError
        If it is taken.
    """
    code = code_of(name)
    for other in others:
        if code == other.code or code in {code_of(one) for one in other.names}:
            raise BookExistsError(
                Told("told.site.taken", other=other.name, code=other.code, name=name),
                remedy=Told(remedy),
            )


def code_of(name: str) -> str:
    """Make the short code of a site from its name: lower case, words joined by hyphens."""
    words = "".join(letter if letter.isalnum() else " " for letter in name.lower()).split()
    return "-".join(words)[:40].rstrip("-")


def say_site(unit: Unit, site: Site, *, why: str = "", rule: DecisionRule | None = None) -> int:
    """Append how a site is set; with the decision rule where that is chosen anew."""
    entry = unit.append(Kind.SITE_SET, site.site_id, why=why.strip())
    row = (
        entry,
        site.site_id,
        site.name,
        site.zone,
        site.display.length,
        site.display.temperature,
        site.interval_months,
    )
    unit.add(SiteVersionRow, row)
    if rule is not None:
        unit.add(DecisionRuleRow, rule_row(entry, site.site_id, rule))
    return entry


def say_limit_set(unit: Unit, site_id: int, given: LimitSet, limit_set_id: int | None = None) -> int:
    """Append the adoption of a limit set; ``limit_set_id`` is the set of which it is a further version."""
    entry = unit.append(Kind.LIMITS_ADOPTED, limit_set_id, why=given.note)
    if limit_set_id is None:
        unit.add(LimitSetRow, (entry, site_id, given.name))
    unit.add(LimitVersionRow, limit_version_row(entry, site_id, limit_set_id or entry, given))
    for number, row in enumerate(given.rows, start=1):
        unit.add(LimitRowRow, limit_row_row(entry, number, site_id, row))
    return entry
