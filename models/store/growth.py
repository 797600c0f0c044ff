"""Letting a history grow: only the newer rows are read, and put where a reading from nothing would put them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from models.history.columns import AssetColumns, IntArray, JobColumns
from models.history.late import DEEPEST, depth_of, peek, put_together, settle, some_of
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
        The day for which assets are in service or retired. [d since 1970]

    Returns
    -------
    Held
        The same as :func:`models.store.columns.read_held` gives.
    """
    old = held.history
    if head == old.head and site.zone == old.zone:
        return at_day(held, day)
    after = old.head
    assets, retired_day = _assets(connection, site.site_id, held, after)
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
        jobs = merged(jobs, newer, rows_of(jobs.entry, raw.superseded))
    breaks = old.breaks
    if site.zone != old.zone or _any_newer(connection, BreakRow.entry, BreakRow.site_id, site.site_id, after):
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


def _any_newer(
    connection: sa.Connection,
    entry: sa.orm.InstrumentedAttribute[int],
    site: sa.orm.InstrumentedAttribute[int],
    site_id: int,
    after: int,
) -> bool:
    return connection.execute(sa.select(entry).where(site == site_id, entry > after).limit(1)).first() is not None


def _in_zone(jobs: JobColumns, zone: str) -> JobColumns:
    return replace(jobs, month=month_of(jobs.performed_us, zone))


def _assets(connection: sa.Connection, site_id: int, held: Held, after: int) -> tuple[AssetColumns, IntArray]:
    """Give the assets with those read again that were said something new about."""
    old = held.history.assets
    version = AssetVersionRow
    touched = sorted(
        set(connection.scalars(sa.select(version.asset_id).where(version.site_id == site_id, version.entry > after)))
    )
    if not touched:
        return old, held.retired_day
    if len(touched) > PIECEWISE:
        return _flagged(*read_assets(connection, site_id), held.day)
    columns, retired_day = _flagged(*read_assets(connection, site_id, touched), held.day)
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
    """A column of jobs that is put together when somebody asks for it."""

    edit: _Edit
    jobs: JobColumns
    name: str
    new: NDArray[Any]

    def __call__(self) -> Any:
        return self.edit.apply(peek(self.jobs, self.name), self.new)

    def some(self, rows: IntArray) -> Any:
        return self.edit.some(self.jobs, self.name, self.new, rows)


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
    at_once = ("entry", "asset") if len(jobs) > SHORT else JobColumns.__slots__
    now = {name: edit.apply(getattr(jobs, name), getattr(newer, name)) for name in at_once}
    later = {name: _Grown(edit, jobs, name, getattr(newer, name)) for name in JobColumns.__slots__ if name not in now}
    return put_together(JobColumns, now, later, depth_of(jobs) + 1)


def _places(jobs: JobColumns, newer: JobColumns) -> IntArray:
    """Give for each newer job the row of the first held job that comes after it."""
    begins = np.searchsorted(jobs.asset, newer.asset, side="left")
    ends = np.searchsorted(jobs.asset, newer.asset, side="right")
    places = np.empty(len(newer), dtype=np.int64)
    for row, (begin, end) in enumerate(zip(begins.tolist(), ends.tolist(), strict=True)):
        # Newer entries have larger numbers: at the same moment they come after.
        at = np.searchsorted(jobs.performed_us[begin:end], newer.performed_us[row], side="right")
        places[row] = begin + int(at)
    return places


def newest(connection: sa.Connection) -> int:
    """Give the number of the last entry; 0 for an empty book."""
    return connection.execute(sa.select(sa.func.max(EntryRow.number))).scalar() or 0
