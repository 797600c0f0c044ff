"""Rows of jobs to columns: read by entry number, sorted in numpy, and let grow by what is newer (``growth``)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache, lru_cache
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
import sqlalchemy as sa

from models.history.columns import (
    REASONS,
    UNKNOWN,
    AssetColumns,
    BoolArray,
    BreakColumns,
    FloatArray,
    History,
    IntArray,
    JobColumns,
    TextArray,
    speed_class_of,
)
from models.history.months import day_start_us, month_of
from models.maths.soft_foot import spread
from models.tables.jobs import JobRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.tables.people import InstrumentRow, PersonRow
from models.values.description import place_on
from models.values.kinds import Coupling
from models.values.site_day import date_of
from models.values.story import Site

_CHUNK = 50_000
_EPOCH = date(1970, 1, 1)

NEVER = int(np.iinfo(np.int64).max)
"""The day of retirement of an asset that is in service."""

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
class Held:
    """A history, and what it takes to let it grow.

    ``person_ids`` and ``instrument_ids`` are the numbers behind the names of the history, ``retired_day`` (assets,)
    is the day on which an asset goes out of service [d since 1970]; ``day`` is the day for which machines were looked at.
    """

    history: History
    person_ids: IntArray
    instrument_ids: IntArray
    retired_day: IntArray
    day: int


@dataclass(frozen=True, slots=True)
class RawJobs:
    """Rows of jobs in order of entry, as the database gives them."""

    whole: IntArray
    numbers: FloatArray
    coded: IntArray
    soft: FloatArray

    def __len__(self) -> int:
        """Give the number of rows."""
        return int(self.whole.shape[0])

    @property
    def superseded(self) -> IntArray:
        """Give the entries that these rows take the place of."""
        older = self.whole[:, 3]
        return older[older >= 0]


_SITE, _AFTER = "number_of_the_site", "number_of_the_last_entry"
"""What stands for the two numbers in the text of the question for jobs."""


EMPTY = RawJobs(
    np.zeros((0, len(_WHOLE)), dtype=np.int64),
    np.zeros((0, len(_NUMBERS))),
    np.zeros((0, 2), dtype=np.int64),
    np.zeros((0, 2)),
)


def read_jobs(connection: sa.Connection, site_id: int, after: int) -> RawJobs:
    """Read the jobs of a site after an entry.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    after : int
        Number of the last entry that is known; 0 reads all. [unitless]
    """
    plain = _plain(connection.dialect).replace(_SITE, str(int(site_id))).replace(_AFTER, str(int(after)))
    parts: dict[str, list[Any]] = {name: [getattr(EMPTY, name)] for name in RawJobs.__slots__}
    result = connection.execution_options(stream_results=True).exec_driver_sql(plain)
    while rows := result.fetchmany(_CHUNK):
        part = _raw(rows)
        for name, kept in parts.items():
            kept.append(getattr(part, name))
    # What is put together is let go before the next: all parts beside the whole would be twice a large book.
    return RawJobs(*(np.concatenate(parts.pop(name)) for name in RawJobs.__slots__))


@lru_cache(maxsize=8)
def _plain(dialect: sa.Dialect) -> str:
    """Put the question together once: that takes longer than the answer when there is one new job."""
    table = JobRow.__table__
    columns = [sa.func.coalesce(table.c[name], UNKNOWN) if table.c[name].nullable else table.c[name] for name in _WHOLE]
    columns += [table.c[name] for name in (*_NUMBERS, *_TEXTS)]
    site, after = sa.literal_column(_SITE, sa.Integer), sa.literal_column(_AFTER, sa.Integer)
    question = sa.select(*columns).where(table.c.site_id == site, table.c.entry > after).order_by(table.c.entry)
    # The type decorators would turn each moment into a date object and back: the driver's own values are wanted.
    return str(question.compile(dialect=dialect, compile_kwargs={"literal_binds": True}))


def _raw(rows: Sequence[Sequence[Any]]) -> RawJobs:
    columns = list(zip(*rows, strict=True))
    start = len(_WHOLE)
    whole = np.array(columns[:start], dtype=np.int64).T
    numbers = np.array(columns[start : start + len(_NUMBERS)], dtype=np.float64).T
    reason, coupling, before, after = columns[start + len(_NUMBERS) :]
    coded = np.stack(
        [
            np.array([_REASON.get(text, UNKNOWN) for text in reason], dtype=np.int64),
            np.array([text == Coupling.SPACER for text in coupling], dtype=np.int64),
        ],
        axis=1,
    )
    soft = np.stack([_spreads(before), _spreads(after)], axis=1)
    return RawJobs(np.ascontiguousarray(whole), np.ascontiguousarray(numbers), coded, soft)


def _spreads(texts: tuple[str, ...]) -> FloatArray:
    """Give by how much the rises of each list differ; NaN where fewer than three were measured."""
    result = np.full(len(texts), np.nan)
    rows = np.flatnonzero([text is not None and text != "[]" for text in texts])
    if not len(rows):
        return result
    lists = [texts[row] for row in rows.tolist()]
    # All numbers in one go: a list object for each of a million rows costs more than everything else here.
    counts = np.array([text.count(",") for text in lists]) + 1
    numbers = ",".join(lists).replace("[", "").replace("]", "").replace("null", "nan")
    values = np.fromstring(numbers, dtype=np.float64, sep=",")
    grid = np.full((len(rows), int(counts.max())), np.nan)
    grid[np.arange(grid.shape[1]) < counts[:, None]] = values
    result[rows] = spread(grid)
    return result


def read_held(connection: sa.Connection, site: Site, head: int, day: int) -> Held:
    """Read the history of a site from nothing.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection in one transaction with ``head``. [unitless]
    site : Site
        The site as it is set today. [unitless]
    head : int
        Number of the last entry. [unitless]
    day : int
        The day for which assets are in service or retired. [d since 1970]
    """
    assets, retired_day = read_assets(connection, site.site_id, day)
    people, instruments = read_people(connection, site.site_id), read_instruments(connection, site.site_id)
    jobs = job_columns(read_jobs(connection, site.site_id, 0), site.zone, assets.asset, people[0], instruments[0])
    breaks = read_breaks(connection, site, assets.asset)
    history = History(head, site.zone, jobs, breaks, assets, people[1], instruments[1])
    return at_day(Held(history, people[0], instruments[0], retired_day, day), day)


def at_day(held: Held, day: int) -> Held:
    """Give the same for another day: an asset may have gone out of service since.  Its descriptions stay; see ``growth``.

    Parameters
    ----------
    held : Held
        A history. [unitless]
    day : int
        The day. [d since 1970]
    """
    retired = held.retired_day <= day
    assets = held.history.assets
    if np.array_equal(retired, assets.retired):
        return held if held.day == day else replace(held, day=day)
    return replace(held, history=replace(held.history, assets=replace(assets, retired=retired)), day=day)


def read_people(connection: sa.Connection, site_id: int) -> tuple[IntArray, tuple[str, ...]]:
    """Give numbers and names of the people of a site, in order of number."""
    return _names(connection, _people(), site_id)


def read_instruments(connection: sa.Connection, site_id: int) -> tuple[IntArray, tuple[str, ...]]:
    """Give numbers and serials of the instruments of a site, in order of number."""
    return _names(connection, _instruments(), site_id)


@cache
def _people() -> sa.Select[int, str]:
    row = PersonRow
    return sa.select(row.id, row.name).where(row.site_id == sa.bindparam("site")).order_by(row.id)


@cache
def _instruments() -> sa.Select[int, str]:
    row = InstrumentRow
    return sa.select(row.id, row.serial).where(row.site_id == sa.bindparam("site")).order_by(row.id)


def _names(connection: sa.Connection, question: sa.Select[int, str], site_id: int) -> tuple[IntArray, tuple[str, ...]]:
    rows = connection.execute(question, {"site": site_id}).all()
    return np.array([row[0] for row in rows], dtype=np.int64), tuple(row[1] for row in rows)


def _index(wanted: IntArray, ids: IntArray) -> IntArray:
    """Give the place of each number in a sorted list; unknown stays unknown."""
    if ids.size == 0:
        return np.full(wanted.shape, UNKNOWN, dtype=np.int64)
    place = np.minimum(np.searchsorted(ids, wanted), ids.size - 1)
    return np.where(ids[place] == wanted, place, UNKNOWN)


def job_columns(
    raw: RawJobs, zone: str, asset_ids: IntArray, person_ids: IntArray, instrument_ids: IntArray
) -> JobColumns:
    """Put rows of jobs into columns: superseded and void versions left out, sorted, indexed.

    Parameters
    ----------
    raw : RawJobs
        Rows in order of entry. [unitless]
    zone : str
        IANA name of the site's zone. [unitless]
    asset_ids, person_ids, instrument_ids : int array
        The numbers of the site's assets, people and instruments, rising. [unitless]
    """
    whole, numbers, coded = raw.whole, raw.numbers, raw.coded
    rows = np.flatnonzero(~np.isin(whole[:, 0], raw.superseded) & (whole[:, 4] == 0))
    asset = _index(whole[rows, 2], asset_ids)
    order = np.lexsort((whole[rows, 0], whole[rows, 5], asset))
    rows, asset = rows[order], asset[order]
    n = {name: number for number, name in enumerate(_NUMBERS)}

    # Each column is taken out of the wide rows by itself: these are as long as all columns together, and one copy
    # of them is enough. It then has memory of its own, which is read without a stride and keeps no other alive.
    def number(name: str) -> FloatArray:
        column: FloatArray = numbers[rows, n[name]]
        return column

    def four(start: int) -> FloatArray:
        return np.ascontiguousarray(numbers[rows, start : start + 4])

    spacer = coded[rows, 1].astype(bool)
    speed = number("speed_rpm")
    performed = whole[rows, 5]
    return JobColumns(
        entry=whole[rows, 0],
        job=whole[rows, 1],
        asset=asset,
        performed_us=performed,
        month=month_of(performed, zone),
        reason=coded[rows, 0],
        found=four(0),
        left=four(4),
        target=four(8),
        limits=four(12),
        each_axis=number("limit_each_axis") > 0,
        found_ratio=number("found_ratio"),
        left_ratio=number("left_ratio"),
        speed_rpm=speed,
        speed_class=speed_class_of(speed),
        spacer=spacer,
        span_mm=np.where(spacer, number("span_mm"), np.nan),
        soft_before=raw.soft[rows, 0],
        soft_after=raw.soft[rows, 1],
        hours_run=number("hours_run"),
        temp_stationary_c=number("temp_stationary_c"),
        temp_movable_c=number("temp_movable_c"),
        temp_ambient_c=number("temp_ambient_c"),
        person=_index(whole[rows, 6], person_ids),
        instrument=_index(whole[rows, 7], instrument_ids),
    )


def read_breaks(connection: sa.Connection, site: Site, asset_ids: IntArray) -> BreakColumns:
    """Give the replacements of a site.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site : Site
        The site. [unitless]
    asset_ids : (assets,) int array
        The numbers of its assets, rising. [unitless]
    """
    rows = connection.execute(
        sa.select(BreakRow.entry, BreakRow.asset_id, BreakRow.on)
        .where(BreakRow.site_id == site.site_id)
        .order_by(BreakRow.entry)
    ).all()
    numbers = {number: place for place, number in enumerate(asset_ids.tolist())}
    lines = sorted((numbers[row[1]], day_start_us(row[2], site.zone), row[0]) for row in rows)
    grid = np.array(lines, dtype=np.int64).reshape(-1, 3)
    return BreakColumns(entry=grid[:, 2], asset=grid[:, 0], at_us=grid[:, 1])


_ASSET = (
    "asset_id", "tag", "description", "area", "train", "driven", "driver", "criticality", "coupling", "span_mm",
    "speed_rpm", "speed_max_rpm", "feet_movable_mm", "retired", "valid_from",
)  # fmt: skip


def read_assets(
    connection: sa.Connection, site_id: int, day: int, only: Sequence[int] | None = None
) -> tuple[AssetColumns, IntArray]:
    """Give the assets of a site as they stand on a day, none of them retired, and the day on which each goes out of service.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    day : int
        The day. [d since 1970]
    only : sequence of int, optional
        Numbers of the assets to read; all of them where not given. [unitless]
    """
    table = AssetVersionRow.__table__
    question = (
        sa.select(*(table.c[name] for name in _ASSET))
        .where(table.c.site_id == site_id)
        .order_by(table.c.asset_id, table.c.entry)
    )
    if only is not None:
        question = question.where(table.c.asset_id.in_(only))
    on, rows = date_of(day), []
    for _, told in groupby(connection.execute(question), key=itemgetter(0)):
        versions = list(told)
        rows.append(versions[place_on([row.valid_from for row in versions], on)])

    def text(place: int) -> TextArray:
        array = np.empty(len(rows), dtype=object)
        array[:] = [row[place] for row in rows]
        return array

    spacer: BoolArray = np.array([row.coupling == Coupling.SPACER for row in rows], dtype=bool)
    speed = np.array([row.speed_max_rpm or row.speed_rpm for row in rows], dtype=np.float64)
    feet = [(row.feet_movable_mm[0], row.feet_movable_mm[-1]) if row.feet_movable_mm else (None, None) for row in rows]
    columns = AssetColumns(
        asset=np.array([row[0] for row in rows], dtype=np.int64),
        tag=text(1),
        description=text(2),
        area=text(3),
        train=text(4),
        driven=text(5),
        driver=text(6),
        criticality=text(7),
        spacer=spacer,
        span_mm=np.where(spacer, np.array([row.span_mm for row in rows], dtype=np.float64), np.nan),
        speed_rpm=speed,
        speed_class=speed_class_of(speed),
        feet_movable_mm=np.array(feet, dtype=np.float64).reshape(-1, 2),
        retired=np.zeros(len(rows), dtype=bool),
    )
    days = [NEVER if row.retired is None else (row.retired - _EPOCH).days for row in rows]
    return columns, np.array(days, dtype=np.int64)
