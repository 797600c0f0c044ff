"""Everything the book says about one machine."""

from __future__ import annotations

from functools import cache
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import aliased

from models.store.columns import latest
from models.store.known import asset_from, asset_id_of
from models.store.signoffs import signoffs_of
from models.tables.base import from_microseconds
from models.tables.book import EntryRow, ImportedFileRow
from models.tables.jobs import JobRow
from models.tables.limits import LimitSetRow, LimitVersionRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.tables.people import InstrumentRow
from models.values.asset import MachineBreak
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Method, Part, Reason
from models.values.limits import LimitsGiven
from models.values.story import AssetStory, AssetVersion, JobLine, Site

ASSET = "asset"
"""Name of the parameter of the question for an asset's jobs."""


def read_story(connection: sa.Connection, site: Site, tag: str) -> AssetStory | None:
    """Give the story of an asset by its tag, or by one that it once bore; ``None`` if the site has none of that tag."""
    asset_id = asset_id_of(connection, site.site_id, tag)
    if asset_id is None:
        return None
    versions = tuple(_versions(connection, asset_id))
    breaks = connection.execute(
        sa.select(BreakRow.on, BreakRow.part, BreakRow.reason)
        .where(BreakRow.asset_id == asset_id)
        .order_by(BreakRow.on)
    )
    asset = latest([version.asset for version in versions])
    tag = asset.tag
    jobs = tuple(_jobs(connection, asset_id, tag))
    return AssetStory(
        site,
        asset_id,
        asset,
        versions,
        tuple(MachineBreak(tag, row[0], Part(row[1]), row[2]) for row in breaks),
        jobs,
        signoffs_of(connection, [line.entry for line in jobs]),
    )


def _versions(connection: sa.Connection, asset_id: int) -> list[AssetVersion]:
    v = AssetVersionRow
    question = (
        sa.select(v, EntryRow.at, EntryRow.author)
        .join(EntryRow, EntryRow.number == v.entry)
        .where(v.asset_id == asset_id)
        .order_by(v.entry)
    )
    return [
        AssetVersion(row["entry"], row["at_us"], row["author"], asset_from(row))
        for row in connection.execute(question).mappings()
    ]


def _jobs(connection: sa.Connection, asset_id: int, tag: str) -> list[JobLine]:
    found = connection.execute(_question(), {ASSET: asset_id})
    return [_line(row, tag, row["later"]) for row in found.mappings()]


@cache
def _question() -> sa.Select[*tuple[object, ...]]:
    """Give the question for the jobs of an asset; putting it together takes longer than asking it."""
    e, f, v = EntryRow, ImportedFileRow, LimitVersionRow
    later, own = aliased(JobRow), aliased(JobRow)
    asset_id = sa.bindparam(ASSET, type_=sa.BigInteger)
    # A job that was brought here from another machine has its older versions there: they belong to its story too.
    brought = sa.exists().where(own.job_id == JobRow.job_id, own.asset_id == asset_id, own.entry > JobRow.entry)
    moved = sa.select(own.job_id).where(own.asset_id == asset_id, own.supersedes.is_not(None))
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
        )
        .join(e, e.number == JobRow.entry)
        .outerjoin(f, f.entry == e.batch)
        .outerjoin(v, v.entry == JobRow.limit_entry)
        .outerjoin(LimitSetRow, LimitSetRow.id == v.limit_set_id)
        .outerjoin(InstrumentRow, InstrumentRow.id == JobRow.instrument_id)
        .outerjoin(later, later.supersedes == JobRow.entry)
        .where(sa.or_(JobRow.asset_id == asset_id, sa.and_(JobRow.entry.in_(_versions_of(moved)), brought)))
        .order_by(JobRow.performed_at, JobRow.entry)
    )


def _versions_of(jobs: sa.Select[int]) -> sa.CompoundSelect[int]:
    """Give the entries of all versions of some jobs: the first by its number, the others by what they supersede."""
    version = aliased(JobRow)
    first = sa.select(version.entry).where(version.entry.in_(jobs))
    return sa.union_all(
        first, sa.select(version.entry).where(version.supersedes.is_not(None), version.job_id.in_(jobs))
    )


def _line(row: sa.RowMapping, tag: str, superseded_by: int | None) -> JobLine:
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
