"""What a command has to know before it writes: sites, names, versions, limits, keys that are taken."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache

import sqlalchemy as sa

from models.errors import UnknownNameError
from models.store.read_back import from_rows
from models.tables.book import SiteRow, SiteVersionRow
from models.tables.decisions import DecisionRuleRow
from models.tables.declared import Mapped, aliased
from models.tables.jobs import JobRow
from models.tables.limits import LimitRowRow, LimitSetRow, LimitVersionRow
from models.tables.machines import AssetRow, AssetVersionRow, BreakRow
from models.tables.people import InstrumentVersionRow, PersonVersionRow
from models.units import Display
from models.values.asset import Asset, MachineBreak
from models.values.decision import DecisionRule, Rule
from models.values.kinds import Coupling, Part
from models.values.limits import Combine, Judged, LimitRow, LimitSet
from models.values.people import Instrument, Person
from models.values.site_day import day_at
from models.values.story import Site

_AT_ONCE = 500
"""How many names go into one question; engines limit the number of parameters."""

SITE, TAG, DAY = "site", "tag", "day"
"""Names of the parameters of questions that are put together once: that takes longer than asking them."""


SiteSaid = sa.Row[int, str, str, str, str, str, int, str, float]
"""One setting of a site, with the decision rule that it brought."""


@dataclass(frozen=True, slots=True)
class AdoptedSet:
    """A version of a limit set with the entry that adopted it."""

    entry: int
    limit_set_id: int
    limit_set: LimitSet


def sites(connection: sa.Connection) -> tuple[Site, ...]:
    """Give all sites as they are set today, in the order of their numbers."""
    # Settings are few: all of them tell the earlier names too, for no second question.
    versions: dict[int, list[SiteSaid]] = {}
    for row in connection.execute(_sites()):
        versions.setdefault(row[0], []).append(row)
    return tuple(_site(said) for said in versions.values())


@from_rows
def _site(said: Sequence[SiteSaid]) -> Site:
    """Put a site together from its settings, oldest first: the last one holds."""
    number, code, name, zone, length, temperature, months, _, _ = said[-1]
    former = tuple(dict.fromkeys(row[2] for row in said if row[2] != name))
    # A setting brings a rule only where it changes that.
    rule = next((DecisionRule(Rule(row[7]), row[8]) for row in reversed(said) if row[7] is not None), None)
    return Site(number, code, name, zone, Display(length, temperature), months, former, rule)


@cache
def _sites() -> sa.Select[int, str, str, str, str, str, int, str, float]:
    version, rule = SiteVersionRow, DecisionRuleRow
    return (
        sa.select(
            SiteRow.id,
            SiteRow.code,
            version.name,
            version.zone,
            version.length_unit,
            version.temperature_unit,
            version.interval_months,
            rule.rule,
            rule.confidence,
        )
        .join(version, version.site_id == SiteRow.id)
        .outerjoin(rule, rule.entry == version.entry)
        .order_by(SiteRow.id, version.entry)
    )


def site_of(connection: sa.Connection, code: str | None) -> Site:
    """Give the site with a code or a name, today's or an earlier one; without one, the only site.

    Raises
    ------
    UnknownNameError
        If there is no such site, or several and none was named.
    """
    every = sites(connection)
    names = ", ".join(site.code for site in every) or "none"
    if code is None:
        if len(every) == 1:
            return every[0]
        raise UnknownNameError(f"The book holds {len(every)} sites ({names}).", remedy="Say which one: --site CODE.")
    for site in every:
        if code.lower() in {site.code.lower(), *(name.lower() for name in site.names)}:
            return site
    raise UnknownNameError(f"The book holds no site '{code}'.", remedy=f"Its sites are: {names}.")


def today(connection: sa.Connection, site_id: int) -> date:
    """Give the day that a site's calendar shows now: what is known of its machines today holds on it."""
    return day_at(connection.execute(_zone(), {SITE: site_id}).scalar_one())


@cache
def _zone() -> sa.Select[str]:
    row = SiteVersionRow
    return sa.select(row.zone).where(row.site_id == sa.bindparam(SITE)).order_by(row.entry.desc()).limit(1)


def current_tag(asset_id: Mapped[int] | sa.ColumnElement[int]) -> sa.ScalarSelect[str]:
    """Give, inside a question, the tag that an asset bears on a day, which is given as :func:`on_day` says.

    The same rule as :func:`models.values.description.place_on`, for whole lists at once.
    """
    v = aliased(AssetVersionRow)
    # No start is the earliest; a day is text, and sorts as days do.
    start = sa.func.coalesce(sa.type_coerce(v.valid_from, sa.String), "")
    begun = sa.case((start <= sa.bindparam(DAY, type_=sa.String), start))
    return (
        sa.select(v.tag)
        .where(v.asset_id == asset_id)
        .order_by(begun.is_(None), begun.desc(), start, v.entry.desc())
        .limit(1)
        .scalar_subquery()
    )


def on_day(day: date) -> dict[str, str]:
    """Give the parameter of a question with :func:`current_tag`."""
    return {DAY: day.isoformat()}


def asset_id_of(connection: sa.Connection, site_id: int, tag: str) -> int | None:
    """Give the number of the asset that bears a tag, or, if none does, of the one that once bore it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    tag : str
        Tag of today, or one of the past. [unitless]
    """
    given = {SITE: site_id, TAG: tag} | on_day(today(connection, site_id))
    founded = connection.execute(_founded(), given).first()
    if founded is not None and founded[1] == tag:
        return int(founded[0])
    borne = connection.execute(_borne(), given).all()
    bears = [row[0] for row in borne if row[1] == tag] + [row[0] for row in borne]
    if bears:
        return int(bears[0])
    return None if founded is None else int(founded[0])


@cache
def _founded() -> sa.Select[int, str]:
    """Give the question for the asset that was founded under a tag, and its tag of today."""
    return sa.select(AssetRow.id, current_tag(AssetRow.id)).where(
        AssetRow.site_id == sa.bindparam(SITE), AssetRow.tag == sa.bindparam(TAG)
    )


@cache
def _borne() -> sa.Select[int, str]:
    """Give the question for the assets that ever bore a tag, the latest first, and their tags of today."""
    v = AssetVersionRow
    return (
        sa.select(v.asset_id, current_tag(v.asset_id))
        .where(v.site_id == sa.bindparam(SITE), v.tag == sa.bindparam(TAG))
        .order_by(v.entry.desc())
    )


def asset_versions(connection: sa.Connection, site_id: int) -> dict[str, list[tuple[int, int, Asset]]]:
    """Give for each tag its versions as (asset number, entry, asset), in order of entry.

    An asset that was renamed stands under every tag that it ever bore, with one and the same list.
    """
    v = AssetVersionRow
    question = sa.select(v).where(v.site_id == site_id).order_by(v.entry)
    by_asset: dict[int, list[tuple[int, int, Asset]]] = {}
    found: dict[str, list[tuple[int, int, Asset]]] = {}
    for row in connection.execute(question).mappings():
        versions = by_asset.setdefault(row["asset_id"], [])
        versions.append((row["asset_id"], row["entry"], asset_from(row)))
        found.setdefault(row["tag"], versions)
    return found


@from_rows
def asset_from(row: sa.RowMapping) -> Asset:
    """Build an asset from a row of its versions; the tag is that of the version."""
    return Asset(
        tag=row["tag"],
        description=row["description"],
        area=row["area"],
        train=row["train"],
        driven=row["driven"],
        driver=row["driver"],
        coupling=Coupling(row["coupling"]),
        span_mm=row["span_mm"],
        speed_rpm=row["speed_rpm"],
        speed_max_rpm=row["speed_max_rpm"],
        power_kw=row["power_kw"],
        criticality=row["criticality"],
        equipment_class=row["equipment_class"],
        feet_movable_mm=tuple(row["feet_movable_mm"]),
        feet_stationary_mm=tuple(row["feet_stationary_mm"]),
        commissioned=row["commissioned"],
        retired=row["retired"],
        valid_from=row["valid_from"],
    )


@from_rows
def people(connection: sa.Connection, site_id: int) -> dict[str, tuple[int, Person]]:
    """Give the number and the latest version of each person, by name."""
    v = PersonVersionRow
    question = sa.select(v.person_id, v.name, v.qualification, v.active).where(v.site_id == site_id).order_by(v.entry)
    return {
        row.name: (row.person_id, Person(row.name, row.qualification, row.active))
        for row in connection.execute(question)
    }


@from_rows
def instruments(connection: sa.Connection, site_id: int) -> dict[str, tuple[int, list[Instrument]]]:
    """Give the number and every version of each instrument, in order of entry, by serial."""
    v = InstrumentVersionRow
    question = (
        sa.select(v.instrument_id, v.serial, v.description, v.calibrated, v.due)
        .where(v.site_id == site_id)
        .order_by(v.entry)
    )
    found: dict[str, tuple[int, list[Instrument]]] = {}
    for row in connection.execute(question):
        version = Instrument(row.serial, row.description, row.calibrated, row.due)
        found.setdefault(row.serial, (row.instrument_id, []))[1].append(version)
    return found


def breaks(connection: sa.Connection, site_id: int) -> dict[tuple[int, date, str], MachineBreak]:
    """Give the breaks by asset number, day and part: what makes one the same as another, whichever tag its row names."""
    question = (
        sa.select(
            BreakRow.asset_id,
            current_tag(BreakRow.asset_id).label("tag"),
            BreakRow.on.label("day"),
            BreakRow.part,
            BreakRow.reason,
        )
        .where(BreakRow.site_id == site_id)
        .order_by(BreakRow.entry)
    )
    return {
        (row.asset_id, row.day, row.part): MachineBreak(row.tag, row.day, Part(row.part), row.reason)
        for row in connection.execute(question, on_day(today(connection, site_id)))
    }


@from_rows
def limit_sets(connection: sa.Connection, site_id: int) -> tuple[AdoptedSet, ...]:
    """Give every adopted version, in order of the day of adoption, then of entry."""
    versions, laws = _limit_sets()
    heads = connection.execute(versions, {SITE: site_id}).mappings()
    rows: dict[int, list[LimitRow]] = {}
    for line in connection.execute(laws, {SITE: site_id}).mappings():
        coupling = Coupling(line["coupling"]) if line["coupling"] else None
        rows.setdefault(line["entry"], []).append(
            LimitRow(
                Judged(line["judged"]),
                coupling,
                line["above_rpm"],
                line["upto_rpm"],
                line["limit_value"],
                line["per_rpm"],
                line["floor_rpm"],
                Combine(line["combine"]),
            )
        )
    return tuple(
        AdoptedSet(
            head["entry"],
            head["limit_set_id"],
            LimitSet(
                head["name"],
                head["source"],
                head["adopted_by"],
                head["adopted_on"],
                tuple(rows[head["entry"]]),
                head["version"],
                head["starter"],
                head["note"],
            ),
        )
        for head in heads
    )


@cache
def _limit_sets() -> tuple[sa.Select[*tuple[object, ...]], sa.Select[*tuple[object, ...]]]:
    """Give the questions for the versions of limit sets, and for the rows of all of them."""
    v, law = LimitVersionRow, LimitRowRow
    site_id: sa.BindParameter[int] = sa.bindparam(SITE)
    return (
        sa.select(v, LimitSetRow.name)
        .join(LimitSetRow, LimitSetRow.id == v.limit_set_id)
        .where(v.site_id == site_id)
        .order_by(v.adopted_on, v.entry),
        sa.select(law).where(law.site_id == site_id).order_by(law.entry, law.row),
    )


def in_force(sets: tuple[AdoptedSet, ...], day: date) -> AdoptedSet | None:
    """Give the version in force on a day: the last adopted by then.

    A job older than the first adoption is judged by the first version: the
    book says so (the day of adoption stands beside the verdict), and a
    history without any verdict would be of no use.
    """
    chosen = [adopted for adopted in sets if adopted.limit_set.adopted_on <= day]
    return chosen[-1] if chosen else next(iter(sets), None)


def judged_between(connection: sa.Connection, site_id: int, since: datetime | None, before: datetime) -> int:
    """Count the versions of jobs of a time that a limit set has judged.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The book. [unitless]
    site_id : int
        The site. [unitless]
    since, before : datetime or None, datetime
        Half-open time in which they were done; from the beginning where ``None``. [aware moments]
    """
    job = JobRow
    asked = sa.select(sa.func.count()).where(
        job.site_id == site_id, job.limit_entry.is_not(None), job.performed_at < before
    )
    if since is not None:
        asked = asked.where(job.performed_at >= since)
    return int(connection.execute(asked).scalar_one())


def taken_refs(connection: sa.Connection, site_id: int, refs: Iterable[str]) -> dict[str, set[bytes]]:
    """Give, for each reference that the book holds, the contents of all its versions."""
    wanted = list(refs)
    found: dict[str, set[bytes]] = {}
    for start in range(0, len(wanted), _AT_ONCE):
        question = sa.select(JobRow.ref, JobRow.content).where(
            JobRow.site_id == site_id, JobRow.ref.in_(wanted[start : start + _AT_ONCE])
        )
        for ref, content in connection.execute(question):
            found.setdefault(ref, set()).add(bytes(content))
    return found


def brought_together(connection: sa.Connection, site_id: int) -> list[tuple[int, int]]:
    """Give pairs of asset numbers that are one machine: jobs of the first stand under the second since they were merged.

    A job goes from one asset to another in no other way: an amendment keeps the machine.
    """
    old, new = aliased(JobRow), aliased(JobRow)
    question = (
        sa.select(old.asset_id, new.asset_id)
        .join(new, sa.and_(new.supersedes == old.entry, new.site_id == old.site_id))
        .where(new.supersedes.is_not(None), new.site_id == site_id, new.asset_id != old.asset_id)
        .distinct()
    )
    return [(int(row[0]), int(row[1])) for row in connection.execute(question)]


def has_jobs(connection: sa.Connection, site_id: int) -> bool:
    """Tell whether the site has any job."""
    return connection.execute(sa.select(JobRow.entry).where(JobRow.site_id == site_id).limit(1)).scalar() is not None
