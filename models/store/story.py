"""Everything the book says about one machine."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import cache
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from models.store.decisions import decisions_of
from models.store.known import asset_from, asset_id_of, current_tag, on_day
from models.store.merged import merged_into
from models.store.read_back import from_rows
from models.store.signoffs import signoffs_of
from models.tables.base import from_microseconds
from models.tables.book import EntryRow, ImportedFileRow
from models.tables.declared import aliased
from models.tables.jobs import JobRow
from models.tables.limits import LimitSetRow, LimitVersionRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.tables.people import InstrumentRow
from models.tables.proofs import StatementRow
from models.values.asset import Asset, MachineBreak
from models.values.decision import NO_DECISIONS, Decisions
from models.values.description import version_on
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Coupling, Method, Part, Reason
from models.values.limits import LimitsGiven
from models.values.site_day import day_at
from models.values.story import AssetStory, AssetVersion, JobLine, JudgedAs, Site

ASSET, SITE, ENTRIES = "asset", "site", "entries"
"""Names of the parameters of the questions for an asset's jobs, and for some versions of jobs."""


def read_story(connection: sa.Connection, site: Site, tag: str) -> AssetStory | None:
    """Give the story of an asset, as it stands on the site's day, by any of its tags; ``None`` if the site has none of that tag."""
    asset_id = asset_id_of(connection, site.site_id, tag)
    if asset_id is None:
        return None
    versions = tuple(_versions(connection, asset_id))
    breaks = connection.execute(_breaks_question(), {ASSET: asset_id})
    asset = version_on([version.asset for version in versions], day_at(site.zone))
    tag = asset.tag
    jobs = tuple(_jobs(connection, site.site_id, asset_id, tag))
    return AssetStory(
        site,
        asset_id,
        asset,
        versions,
        tuple(MachineBreak(tag, row[0], Part(row[1]), row[2]) for row in breaks),
        jobs,
        signoffs_of(connection, [line.entry for line in jobs]),
        _merged(connection, site.site_id, asset_id, versions, asset),
    )


def _merged(
    connection: sa.Connection, site_id: int, asset_id: int, versions: tuple[AssetVersion, ...], asset: Asset
) -> str:
    if asset.retired is None:
        return ""
    entry = max(version.entry for version in versions if version.asset == asset)
    return merged_into(connection, site_id, asset_id, entry, asset)


def _versions(connection: sa.Connection, asset_id: int) -> list[AssetVersion]:
    found = connection.execute(_versions_question(), {ASSET: asset_id})
    return [AssetVersion(row["entry"], row["at_us"], row["author"], asset_from(row)) for row in found.mappings()]


@cache
def _versions_question() -> sa.Select[*tuple[object, ...]]:
    v = AssetVersionRow
    return (
        sa.select(v, EntryRow.at, EntryRow.author)
        .join(EntryRow, EntryRow.number == v.entry)
        .where(v.asset_id == sa.bindparam(ASSET))
        .order_by(v.entry)
    )


@cache
def _breaks_question() -> sa.Select[date, str, str]:
    b = BreakRow
    return sa.select(b.on, b.part, b.reason).where(b.asset_id == sa.bindparam(ASSET)).order_by(b.on)


def _jobs(connection: sa.Connection, site_id: int, asset_id: int, tag: str) -> list[JobLine]:
    found = connection.execute(_question(), {ASSET: asset_id, SITE: site_id})
    rows = list(found.mappings())
    decided = decisions_of(connection, [row["entry"] for row in rows])
    return [_line(row, tag, row["later"], decided.get(row["entry"], NO_DECISIONS)) for row in rows]


def read_lines(connection: sa.Connection, site: Site, entries: Sequence[int]) -> list[JobLine]:
    """Give some versions of jobs of a site as they stand in the book, by entry, with the tags of the site's day.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site : Site
        The site. [unitless]
    entries : sequence of int
        Entries of the versions, some hundreds at most. [unitless]
    """
    if not entries:
        return []
    given = {ENTRIES: list(entries), SITE: site.site_id, **on_day(day_at(site.zone))}
    rows = list(connection.execute(_some_question(), given).mappings())
    decided = decisions_of(connection, entries)
    return [_line(row, row["tag"], row["later"], decided.get(row["entry"], NO_DECISIONS)) for row in rows]


@cache
def _some_question() -> sa.Select[*tuple[object, ...]]:
    site_id = sa.bindparam(SITE, type_=sa.Integer)
    return (
        _lines_question(site_id)
        .add_columns(current_tag(JobRow.asset_id).label("tag"))
        .where(JobRow.site_id == site_id, JobRow.entry.in_(sa.bindparam(ENTRIES, expanding=True)))
        .order_by(JobRow.entry)
    )


@cache
def _question() -> sa.Select[*tuple[object, ...]]:
    """Give the question for the jobs of an asset; putting it together takes longer than asking it."""
    own = aliased(JobRow)
    asset_id, site_id = sa.bindparam(ASSET, type_=sa.BigInteger), sa.bindparam(SITE, type_=sa.Integer)
    # A job that was brought here from another machine has its older versions there: they belong to its story too.
    # All versions of a job are of one site: said of each, so that a table that is cut by site is asked in one part only.
    brought = sa.exists().where(
        own.site_id == site_id, own.job_id == JobRow.job_id, own.asset_id == asset_id, own.entry > JobRow.entry
    )
    moved = sa.select(own.job_id).where(own.site_id == site_id, own.asset_id == asset_id, own.supersedes.is_not(None))
    return (
        _lines_question(site_id)
        .where(
            JobRow.site_id == site_id,
            sa.or_(JobRow.asset_id == asset_id, sa.and_(JobRow.entry.in_(_versions_of(moved, site_id)), brought)),
        )
        .order_by(JobRow.performed_at, JobRow.entry)
    )


def _lines_question(site_id: sa.ColumnElement[int]) -> sa.Select[*tuple[object, ...]]:
    """Give the question for versions of jobs with what else of the book a line needs; which ones is still to be said."""
    e, f, v, later = EntryRow, ImportedFileRow, LimitVersionRow, aliased(JobRow)
    return (
        sa.select(
            JobRow,
            e.at,
            e.author,
            e.why,
            e.line,
            f.name.label("file_name"),
            v.version,
            LimitSetRow.name.label("set_name"),
            InstrumentRow.serial,
            later.entry.label("later"),
            StatementRow.leaf,
        )
        .join(e, e.number == JobRow.entry)
        .outerjoin(f, f.entry == e.batch)
        .outerjoin(v, v.entry == JobRow.limit_entry)
        .outerjoin(LimitSetRow, LimitSetRow.id == v.limit_set_id)
        .outerjoin(InstrumentRow, InstrumentRow.id == JobRow.instrument_id)
        .outerjoin(later, sa.and_(later.supersedes == JobRow.entry, later.site_id == site_id))
        .outerjoin(StatementRow, sa.and_(StatementRow.entry == JobRow.entry, StatementRow.site_id == site_id))
    )


def _versions_of(jobs: sa.Select[int], site_id: sa.ColumnElement[int]) -> sa.CompoundSelect[int]:
    """Give the entries of all versions of some jobs: the first by its number, the others by what they supersede."""
    version = aliased(JobRow)
    of_site = sa.select(version.entry).where(version.site_id == site_id)
    return sa.union_all(
        of_site.where(version.entry.in_(jobs)),
        of_site.where(version.supersedes.is_not(None), version.job_id.in_(jobs)),
    )


@from_rows
def _line(row: sa.RowMapping, tag: str, superseded_by: int | None, decisions: Decisions) -> JobLine:
    limits = LimitsGiven(
        row["limit_offset_mm"],
        row["limit_angle_mm_m"],
        row["limit_flex_mm_m"],
        row["limit_soft_mm"],
        bool(row["limit_each_axis"]),
    )
    name = f"{row['set_name']}, version {row['version']}" if row["set_name"] else ""
    source = f"{row['file_name']}, row {row['line']}" if row["file_name"] else ""
    return JobLine(
        row["entry"],
        row["job_id"],
        row["at_us"],
        row["author"],
        _job(row, tag),
        limits,
        name,
        row["found_ratio"],
        row["left_ratio"],
        row["supersedes"],
        superseded_by,
        row["why"],
        bool(row["void"]),
        source,
        JudgedAs(Coupling(row["coupling"]), row["speed_rpm"], row["span_mm"], row["limit_entry"]),
        "" if row["leaf"] is None else bytes(row["leaf"]).hex(),
        decisions,
    )


def _job(row: sa.RowMapping, tag: str) -> Job:
    performed = row["performed_us"]
    moment = from_microseconds(performed) if isinstance(performed, int) else performed
    return Job(
        ref=row["ref"],
        tag=tag,
        performed_at=moment.astimezone(ZoneInfo(row["zone"])),
        zone=row["zone"],
        reason=Reason(row["reason"]),
        people=tuple(row["people"]),
        instrument=row["serial"] or "",
        method=Method(row["method"]),
        work_order=row["work_order"],
        found=_misalignment(row, "found"),
        left=_misalignment(row, "left"),
        target=_misalignment(row, "target") or Misalignment(),
        soft_before=FeetValues(tuple(row["soft_before"])),
        soft_after=FeetValues(tuple(row["soft_after"])),
        moves_v=FeetValues(tuple(row["moves_v"])),
        moves_h=FeetValues(tuple(row["moves_h"])),
        temp_stationary_c=row["temp_stationary_c"],
        temp_movable_c=row["temp_movable_c"],
        temp_ambient_c=row["temp_ambient_c"],
        hours_run=row["hours_run"],
        checks=tuple(row["checks"]),
        notes=row["notes"],
        reviewer=row["reviewer"],
        typed=row["typed"],
    )


def _misalignment(row: sa.RowMapping, stage: str) -> Misalignment | None:
    numbers = [row[f"{stage}_{name}"] for name in ("offset_v", "angle_v", "offset_h", "angle_h")]
    return None if numbers[0] is None else Misalignment(*numbers)
