"""Rows of jobs to columns: read by entry number, only what is newer, sorted in numpy."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import sqlalchemy as sa

from models.history.columns import (
    REASONS,
    UNKNOWN,
    AssetColumns,
    BreakColumns,
    FloatArray,
    History,
    IntArray,
    JobColumns,
    TextArray,
    speed_class_of,
)
from models.history.months import day_start_us, month_of
from models.maths.soft_foot import largest_excess
from models.store.known import asset_from
from models.tables.jobs import JobRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.tables.people import InstrumentRow, PersonRow
from models.values.asset import Asset
from models.values.kinds import Coupling
from models.values.story import Site

_CHUNK = 50_000

_WHOLE = ("entry", "job_id", "asset_id", "supersedes", "void", "performed_us", "person_id", "instrument_id")
_NUMBERS = (
    "found_offset_v", "found_angle_v", "found_offset_h", "found_angle_h",
    "left_offset_v", "left_angle_v", "left_offset_h", "left_angle_h",
    "target_offset_v", "target_angle_v", "target_offset_h", "target_angle_h",
    "limit_offset_mm", "limit_angle_mm_m", "limit_flex_mm_m", "limit_soft_mm",
    "found_ratio", "left_ratio", "speed_rpm", "span_mm", "hours_run",
    "temp_stationary_c", "temp_movable_c", "temp_ambient_c", "limit_each_axis",
)  # fmt: skip
_TEXTS = ("reason", "coupling", "soft_before", "soft_after")
_REASON = {name: number for number, name in enumerate(REASONS)}


@dataclass(frozen=True, slots=True)
class RawJobs:
    """Rows of jobs in order of entry, as the database gives them; grows at its end."""

    whole: IntArray
    numbers: FloatArray
    coded: IntArray
    soft: FloatArray

    @property
    def last(self) -> int:
        """Give the number of the last entry, 0 if there is none."""
        return int(self.whole[-1, 0]) if self.whole.size else 0


EMPTY = RawJobs(
    np.zeros((0, len(_WHOLE)), dtype=np.int64),
    np.zeros((0, len(_NUMBERS))),
    np.zeros((0, 2), dtype=np.int64),
    np.zeros((0, 2)),
)


def read_newer(connection: sa.Connection, site_id: int, held: RawJobs) -> RawJobs:
    """Read the jobs after the last entry that is held, and give both together."""
    table = JobRow.__table__
    columns = [table.c[name] for name in (*_WHOLE, *_NUMBERS, *_TEXTS)]
    question = sa.select(*columns).where(table.c.site_id == site_id, table.c.entry > held.last).order_by(table.c.entry)
    # The type decorators would turn each moment into a date object and back: the driver's own values are wanted.
    plain = question.compile(dialect=connection.dialect, compile_kwargs={"literal_binds": True})
    parts = [held]
    result = connection.execution_options(stream_results=True).exec_driver_sql(str(plain))
    while rows := result.fetchmany(_CHUNK):
        parts.append(_raw(rows))
    if len(parts) == 1:
        return held
    return RawJobs(*(np.concatenate([getattr(part, name) for part in parts]) for name in RawJobs.__slots__))


def _raw(rows: Sequence[Sequence[Any]]) -> RawJobs:
    columns = list(zip(*rows, strict=True))
    whole = np.array(
        [[UNKNOWN if x is None else int(x) for x in columns[i]] for i in range(len(_WHOLE))], dtype=np.int64
    ).T
    start = len(_WHOLE)
    numbers = np.array(columns[start : start + len(_NUMBERS)], dtype=np.float64).T
    reason, coupling, before, after = columns[start + len(_NUMBERS) :]
    coded = np.stack(
        [
            np.array([_REASON.get(text, UNKNOWN) for text in reason], dtype=np.int64),
            np.array([text == Coupling.SPACER for text in coupling], dtype=np.int64),
        ],
        axis=1,
    )
    soft = np.stack([_largest(before), _largest(after)], axis=1)
    return RawJobs(np.ascontiguousarray(whole), np.ascontiguousarray(numbers), coded, soft)


def _largest(texts: tuple[str, ...]) -> FloatArray:
    """Give the largest excess of each list of rises; NaN where none was measured."""
    result = np.full(len(texts), np.nan)
    lists = [(i, json.loads(text)) for i, text in enumerate(texts) if text not in ("[]", None)]
    if not lists:
        return result
    width = max(len(values) for _, values in lists)
    grid = np.full((len(lists), max(width, 1)), np.nan)
    for row, (_, values) in enumerate(lists):
        grid[row, : len(values)] = [np.nan if x is None else x for x in values]
    result[[i for i, _ in lists]] = largest_excess(grid)
    return result


def build_history(connection: sa.Connection, site: Site, raw: RawJobs, head: int) -> History:
    """Put the columns of one site together: superseded and void versions left out, sorted, indexed."""
    assets, numbers = _assets(connection, site.site_id)
    people = _names(
        connection,
        sa.select(PersonRow.id, PersonRow.name).where(PersonRow.site_id == site.site_id).order_by(PersonRow.id),
    )
    instruments = _names(
        connection,
        sa.select(InstrumentRow.id, InstrumentRow.serial)
        .where(InstrumentRow.site_id == site.site_id)
        .order_by(InstrumentRow.id),
    )
    jobs = _jobs(raw, site.zone, assets.asset, people[0], instruments[0])
    return History(head, site.zone, jobs, _breaks(connection, site, numbers), assets, people[1], instruments[1])


def _names(connection: sa.Connection, question: sa.Select[int, str]) -> tuple[IntArray, tuple[str, ...]]:
    rows = connection.execute(question).all()
    return np.array([row[0] for row in rows], dtype=np.int64), tuple(row[1] for row in rows)


def _index(wanted: IntArray, ids: IntArray) -> IntArray:
    """Give the place of each number in a sorted list; unknown stays unknown."""
    if ids.size == 0:
        return np.full(wanted.shape, UNKNOWN, dtype=np.int64)
    place = np.minimum(np.searchsorted(ids, wanted), ids.size - 1)
    return np.where(ids[place] == wanted, place, UNKNOWN)


def _jobs(raw: RawJobs, zone: str, asset_ids: IntArray, person_ids: IntArray, instrument_ids: IntArray) -> JobColumns:
    whole = raw.whole
    stands = ~np.isin(whole[:, 0], whole[:, 3][whole[:, 3] >= 0]) & (whole[:, 4] == 0)
    whole, numbers, coded, soft = whole[stands], raw.numbers[stands], raw.coded[stands], raw.soft[stands]
    asset = _index(whole[:, 2], asset_ids)
    order = np.lexsort((whole[:, 0], whole[:, 5], asset))
    whole, numbers, coded, soft, asset = whole[order], numbers[order], coded[order], soft[order], asset[order]
    n = {name: number for number, name in enumerate(_NUMBERS)}
    spacer = coded[:, 1].astype(bool)
    speed = numbers[:, n["speed_rpm"]]
    return JobColumns(
        entry=whole[:, 0],
        job=whole[:, 1],
        asset=asset,
        performed_us=whole[:, 5],
        month=month_of(whole[:, 5], zone),
        reason=coded[:, 0],
        found=numbers[:, 0:4],
        left=numbers[:, 4:8],
        target=numbers[:, 8:12],
        limits=numbers[:, 12:16],
        each_axis=numbers[:, n["limit_each_axis"]] > 0,
        found_ratio=numbers[:, n["found_ratio"]],
        left_ratio=numbers[:, n["left_ratio"]],
        speed_rpm=speed,
        speed_class=speed_class_of(speed),
        spacer=spacer,
        span_mm=np.where(spacer, numbers[:, n["span_mm"]], np.nan),
        soft_before=soft[:, 0],
        soft_after=soft[:, 1],
        hours_run=numbers[:, n["hours_run"]],
        temp_stationary_c=numbers[:, n["temp_stationary_c"]],
        temp_movable_c=numbers[:, n["temp_movable_c"]],
        temp_ambient_c=numbers[:, n["temp_ambient_c"]],
        person=_index(whole[:, 6], person_ids),
        instrument=_index(whole[:, 7], instrument_ids),
    )


def _breaks(connection: sa.Connection, site: Site, numbers: dict[int, int]) -> BreakColumns:
    rows = connection.execute(
        sa.select(BreakRow.entry, BreakRow.asset_id, BreakRow.on)
        .where(BreakRow.site_id == site.site_id)
        .order_by(BreakRow.entry)
    ).all()
    lines = sorted((numbers[row[1]], day_start_us(row[2], site.zone), row[0]) for row in rows)
    grid = np.array(lines, dtype=np.int64).reshape(-1, 3)
    return BreakColumns(entry=grid[:, 2], asset=grid[:, 0], at_us=grid[:, 1])


def latest(versions: list[Asset]) -> Asset:
    """Give the description that holds today: the latest start, and of equal starts the last said."""
    best = versions[0]
    for version in versions[1:]:
        if (version.valid_from or date.min) >= (best.valid_from or date.min):
            best = version
    return best


def _assets(connection: sa.Connection, site_id: int) -> tuple[AssetColumns, dict[int, int]]:
    v = AssetVersionRow
    versions: dict[int, list[Asset]] = {}
    for row in connection.execute(sa.select(v).where(v.site_id == site_id).order_by(v.asset_id, v.entry)).mappings():
        versions.setdefault(row["asset_id"], []).append(asset_from(row))
    ids = sorted(versions)
    found = [latest(versions[number]) for number in ids]
    today = datetime.now(UTC).date()

    def text(name: str) -> TextArray:
        array = np.empty(len(found), dtype=object)
        array[:] = [getattr(asset, name) for asset in found]
        return array

    speed = np.array([asset.limit_speed_rpm for asset in found], dtype=np.float64)
    feet = np.array(
        [(a.feet_movable_mm[0], a.feet_movable_mm[-1]) if a.feet_movable_mm else (None, None) for a in found],
        dtype=np.float64,
    ).reshape(-1, 2)
    spacer = np.array([asset.coupling is Coupling.SPACER for asset in found], dtype=bool)
    columns = AssetColumns(
        asset=np.array(ids, dtype=np.int64),
        tag=text("tag"),
        description=text("description"),
        area=text("area"),
        train=text("train"),
        driven=text("driven"),
        driver=text("driver"),
        criticality=text("criticality"),
        spacer=spacer,
        span_mm=np.array(
            [asset.span_mm if asset.coupling is Coupling.SPACER else None for asset in found], dtype=np.float64
        ),
        speed_rpm=speed,
        speed_class=speed_class_of(speed),
        feet_movable_mm=feet,
        retired=np.array([asset.retired is not None and asset.retired <= today for asset in found], dtype=bool),
    )
    return columns, {number: place for place, number in enumerate(ids)}
