"""Letting a history grow: only the newer rows are read, and put where a reading from nothing would put them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Literal

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from models.history.columns import AssetColumns, IntArray, JobColumns
from models.history.late import BOTH, DEEPEST, depth_of, peek, places_in, put_together, same_column, settle, some_of
from models.history.months import month_of
from models.store.columns import (
    Held,
    at_day,
    job_columns,
    read_assets,
    read_breaks,
    read_held,
    read_instruments,
    read_jobs,
    read_people,
)
from models.tables.book import EntryRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.values.site_day import date_of
from models.values.story import Site

PIECEWISE = 512
"""Up to so many changes of rows a column is copied piece by piece; beyond, row by row."""

SHORT = 10_000
"""Columns of so many jobs are put together at once; longer ones when somebody asks for them."""


def grow(connection: sa.Connection, site: Site, held: Held, head: int, day: int) -> Held:
    """Bring a history up to a later entry; what did not change stays the very same object.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection in one transaction with ``head``. [unitless]
    site : Site
        The site as it is set today. [unitless]
    held : Held
        The history up to an earlier entry. [unitless]
    head : int
        Number of the last entry. [unitless]
    day : int
        The day for which machines are looked at: as described on it, in service or retired. [d since 1970]

    Returns
    -------
    Held
        The same as :func:`models.store.columns.read_held` gives.
    """
    old, after = held.history, held.history.head
    assets, retired_day = _assets(connection, site.site_id, held, day)
    if head == old.head and site.zone == old.zone:
        if assets is not old.assets:
            held = replace(held, history=replace(old, assets=assets), retired_day=retired_day)
        return at_day(held, day)
    person_ids, people = read_people(connection, site.site_id)
    instrument_ids, instruments = read_instruments(connection, site.site_id)
    kept = ((held.person_ids, person_ids), (held.instrument_ids, instrument_ids), (old.assets.asset, assets.asset))
    if not all(np.array_equal(before, now[: len(before)]) for before, now in kept):
        # Numbers only rise, so that places stay; were it ever otherwise, nothing that is held can be used.
        return read_held(connection, site, head, day)
    jobs = old.jobs if site.zone == old.zone else _in_zone(old.jobs, site.zone)
    raw = read_jobs(connection, site.site_id, after)
    if len(raw):
        newer = job_columns(raw, site.zone, assets.asset, person_ids, instrument_ids)
        none = np.zeros(0, dtype=np.int64)
        jobs = merged(jobs, newer, rows_of(jobs.entry, raw.superseded) if len(raw.superseded) else none)
    breaks = old.breaks
    if site.zone != old.zone or _any_break(connection, site.site_id, after):
        breaks = read_breaks(connection, site, assets.asset)
    history = replace(
        old,
        head=head,
        zone=site.zone,
        jobs=jobs,
        breaks=breaks,
        assets=assets,
        people=people,
        instruments=instruments,
    )
    return at_day(Held(history, person_ids, instrument_ids, retired_day, held.day), day)


def _any_break(connection: sa.Connection, site_id: int, after: int) -> bool:
    return connection.execute(_newer_breaks(), {"site": site_id, "after": after}).first() is not None


@cache
def _newer_breaks() -> sa.Select[int]:
    row = BreakRow
    return sa.select(row.entry).where(row.site_id == sa.bindparam("site"), row.entry > sa.bindparam("after")).limit(1)


@cache
def _newer_versions() -> sa.Select[int]:
    row = AssetVersionRow
    return sa.select(row.asset_id).where(row.site_id == sa.bindparam("site"), row.entry > sa.bindparam("after"))


@cache
def _begun() -> sa.Select[int]:
    row = AssetVersionRow
    between = (row.valid_from > sa.bindparam("one"), row.valid_from <= sa.bindparam("other"))
    return sa.select(row.asset_id).where(row.site_id == sa.bindparam("site"), *between)


@cache
def _newest() -> sa.Select[int]:
    return sa.select(sa.func.max(EntryRow.number))


def _in_zone(jobs: JobColumns, zone: str) -> JobColumns:
    return replace(jobs, month=month_of(jobs.performed_us, zone))


def _assets(connection: sa.Connection, site_id: int, held: Held, day: int) -> tuple[AssetColumns, IntArray]:
    """Give the assets with those read again of which something new was said, or holds only since the day that is held."""
    old = held.history.assets
    newer = set(connection.scalars(_newer_versions(), {"site": site_id, "after": held.history.head}))
    if day != held.day:
        one, other = sorted((held.day, day))  # a zone further west leads back by a day
        newer |= set(connection.scalars(_begun(), {"site": site_id, "one": date_of(one), "other": date_of(other)}))
    touched = sorted(newer)
    if not touched:
        return old, held.retired_day
    if len(touched) > PIECEWISE:
        return _flagged(*read_assets(connection, site_id, day), held.day)
    columns, retired_day = _flagged(*read_assets(connection, site_id, day, touched), held.day)
    known = np.isin(columns.asset, old.asset)
    places = np.searchsorted(old.asset, columns.asset[known])
    new = ~known

    def joined(before: NDArray[Any], now: NDArray[Any]) -> Any:
        result = np.concatenate([before, now[new]])
        result[places] = now[known]
        return result

    names = AssetColumns.__slots__
    # Numbers of new assets are larger than all before: they stand at the end, and no place moves.
    grown = AssetColumns(**{name: joined(getattr(old, name), getattr(columns, name)) for name in names})
    return grown, joined(held.retired_day, retired_day)


def _flagged(columns: AssetColumns, retired_day: IntArray, day: int) -> tuple[AssetColumns, IntArray]:
    return replace(columns, retired=retired_day <= day), retired_day


def rows_of(entries: IntArray, wanted: IntArray) -> IntArray:
    """Give the rows in which some entries stand, in rising order.

    Parameters
    ----------
    entries : (n,) int array
        Entry of each row, in no order. [unitless]
    wanted : (k,) int array
        Which ones; some may not be there. [unitless]
    """
    if not len(wanted):
        return np.zeros(0, dtype=np.int64)
    if len(wanted) > 8:
        return np.flatnonzero(np.isin(entries, wanted))
    hit = entries == wanted[0]
    for entry in wanted[1:]:
        hit |= entries == entry
    return np.flatnonzero(hit)


@dataclass(frozen=True, slots=True)
class _Edit:
    """How a column changes: rows that go, and before which of its old rows each new value goes in."""

    gone: IntArray
    before: IntArray
    length: int

    def apply(self, old: NDArray[Any], new: NDArray[Any]) -> Any:
        if len(self.gone) + len(self.before) > PIECEWISE:
            # An old row that goes leaves its place to nobody: taken out after the new ones are in.
            place = self.gone + np.searchsorted(self.before, self.gone, side="right")
            return np.delete(np.insert(old, self.before, new, axis=0), place, axis=0)
        out = np.empty((self.length, *old.shape[1:]), dtype=old.dtype)
        # One list of cuts: at an old row that goes, or before which a new one goes in.
        cuts = sorted([(int(row), 1, 0) for row in self.gone] + [(int(row), 0, k) for k, row in enumerate(self.before)])
        read = write = 0
        for row, goes, which in cuts:
            step = row - read
            out[write : write + step] = old[read:row]
            read, write = row, write + step
            if goes:
                read += 1
            else:
                out[write] = new[which]
                write += 1
        out[write:] = old[read:]
        return out

    def some(self, jobs: JobColumns, name: str, new: NDArray[Any], rows: IntArray) -> Any:
        """Give some rows of the column as it is then, without putting it together.

        Parameters
        ----------
        jobs : JobColumns
            The jobs as they were. [unitless]
        name : str
            The column. [unitless]
        new : (k, …) array
            Its new values. [any]
        rows : (n,) int array
            Rows of the column as it is then. [unitless]
        """
        at = self.before - np.searchsorted(self.gone, self.before, side="left") + np.arange(len(self.before))
        earlier = np.searchsorted(at, rows, side="right")
        is_new = (earlier > 0) & (at[np.maximum(earlier - 1, 0)] == rows) if len(at) else np.zeros(len(rows), np.bool_)
        stays = (rows - earlier)[~is_new]
        # A row that goes leaves as many that stay before it as its number less the gone ones before it.
        stays = stays + np.searchsorted(self.gone - np.arange(len(self.gone)), stays, side="right")
        out = np.empty((len(rows), *new.shape[1:]), dtype=new.dtype)
        out[is_new], out[~is_new] = new[earlier[is_new] - 1], some_of(jobs, name, stays)
        return out


@dataclass(frozen=True, slots=True)
class _Grown:
    """A column of jobs that is put together when somebody asks for it; rows, places and what was touched are known before."""

    edit: _Edit
    jobs: JobColumns
    name: str
    new: NDArray[Any]

    def __call__(self) -> Any:
        return self.edit.apply(peek(self.jobs, self.name), self.new)

    @property
    def length(self) -> int:
        return self.edit.length

    def some(self, rows: IntArray) -> Any:
        return self.edit.some(self.jobs, self.name, self.new, rows)

    def places(self, wanted: IntArray, side: Literal["left", "right"]) -> Any:
        old = places_in(self.jobs, self.name, wanted, side)
        return old - np.searchsorted(self.edit.gone, old) + np.searchsorted(self.new, wanted, side=side)

    def touched(self, before: JobColumns) -> IntArray | None:
        if not same_column(self.jobs, before, self.name):
            return None
        gone = some_of(before, self.name, self.edit.gone)
        return np.unique(np.concatenate([self.new, gone])).astype(np.int64)


def merged(jobs: JobColumns, newer: JobColumns, gone: IntArray) -> JobColumns:
    """Put newer jobs among those that are held, in order of asset, time and entry.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that are held, in order. [unitless]
    newer : JobColumns
        The jobs to put in, in order. [unitless]
    gone : (k,) int array
        Rows of ``jobs`` that no longer stand, rising. [unitless]
    """
    if not len(newer) and not len(gone):
        return jobs
    edit = _Edit(gone, _places(jobs, newer), len(jobs) - len(gone) + len(newer))
    if len(gone) + len(newer) > PIECEWISE or depth_of(jobs) >= DEEPEST:
        settle(jobs)
    names = JobColumns.__slots__
    if len(jobs) <= SHORT:
        return JobColumns(**{name: edit.apply(getattr(jobs, name), getattr(newer, name)) for name in names})
    later = {name: _Grown(edit, jobs, name, getattr(newer, name)) for name in names}
    return put_together(JobColumns, {}, later, depth_of(jobs) + 1)


def _places(jobs: JobColumns, newer: JobColumns) -> IntArray:
    """Give for each newer job the row of the first held job that comes after it."""
    begins, ends = (places_in(jobs, "asset", newer.asset, side) for side in BOTH)
    places = np.empty(len(newer), dtype=np.int64)
    for row, (begin, end) in enumerate(zip(begins.tolist(), ends.tolist(), strict=True)):
        # Newer entries have larger numbers: at the same moment they come after.
        own = some_of(jobs, "performed_us", np.arange(begin, end))
        at = np.searchsorted(own, newer.performed_us[row], side="right")
        places[row] = begin + int(at)
    return places


def newest(connection: sa.Connection) -> int:
    """Give the number of the last entry; 0 for an empty book."""
    return connection.execute(_newest()).scalar() or 0
