"""Filters of the entries in memory give the very pages that the database gives, on both engines, while the book grows."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import sqlalchemy as sa

from models.commands.amend_job import amend_job, void_job
from models.store.entries import page_of_entries, read_entries
from models.store.entry_columns import EntryColumns, cut, grown
from models.store.growth import newest
from models.store.reader import Reader
from models.values.entry import EntryFilter
from models.values.job import Misalignment
from models.values.kinds import Kind
from models.values.story import Site
from tests.conftest import NOW
from tests.seeded import bring_in, seed, vouch, write

LATER = NOW + timedelta(hours=5)


def filters() -> list[EntryFilter]:
    """Give every filter alone, and some together."""
    mid = datetime(2025, 3, 10, tzinfo=UTC)
    return [
        EntryFilter(),
        *(EntryFilter(tag=tag) for tag in ("P-1", "P-2", "none")),
        *(EntryFilter(person=name) for name in ("Ana Wick", "Bo Tarn", "Cleo Marsh", "tester", "Ana", "nobody", "ana wick", "BO TARN", "Bo%", "_o Tarn")),
        *(EntryFilter(instrument=serial) for serial in ("D-1", "none")),
        *(EntryFilter(ref=ref) for ref in ("J1", "J2", "none")),
        *(EntryFilter(kind=kind) for kind in Kind),
        *(EntryFilter(file=number) for number in (3, 6, 99)),
        EntryFilter(recorded_from=NOW + timedelta(minutes=1)),
        EntryFilter(recorded_before=LATER),
        EntryFilter(done_from=mid),
        EntryFilter(done_before=mid),
        EntryFilter(tag="P-1", person="Bo Tarn", instrument="D-1", kind=Kind.JOB_AMENDED, done_from=mid - timedelta(days=30)),
        EntryFilter(person="Ana Wick", done_before=mid, recorded_before=LATER),
    ]  # fmt: skip


def assert_the_same(connection: sa.Connection, site: Site, columns: EntryColumns) -> None:
    found = 0
    for asked in filters():
        for how in ({}, {"before": 9}, {"after": 4}, {"before": 1}, {"after": 99}):
            for most in (3, 50) if not how else (3,):
                expected = read_entries(connection, site.site_id, asked, most=most, **how)
                got = page_of_entries(connection, site.site_id, columns, asked, most=most, **how)
                # The database looks whether there is anything on the far side by one question, we by counting: both must agree.
                assert got == expected, (asked, how, most)
                found += len(got.lines)
    assert found > 150


def spelled(columns: EntryColumns, name: str) -> list[object]:
    """Give a column with the texts behind its codes; names of one entry in the order of the alphabet."""
    values = np.atleast_1d(getattr(columns, name)).tolist()
    if name in {"author", "kind"}:
        return [columns.texts[code] for code in values]
    if name == "named_row":
        return sorted(values)
    if name == "named":
        return sorted((row, columns.texts[code]) for row, code in zip(columns.named_row.tolist(), values, strict=True))
    return values


def test_pages_are_those_of_the_database_and_grow_with_it(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    with engine.connect() as connection:
        first = grown(connection, site.site_id, EntryColumns(), newest(connection))
        assert_the_same(connection, site, first)
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    second = next(line for line in story.jobs if line.job.ref == "J2")
    changed = replace(second.job, left=Misalignment(0.021, 0.1, 0.01, -0.05), reviewer="Cleo Marsh")
    amend_job(engine, site, second.entry, changed, by="Bo Tarn", now=LATER, why="sides were swapped")
    third = next(line for line in Reader(engine).story(site.site_id, "P-2").jobs if line.job.ref == "J3")  # type: ignore[union-attr]
    void_job(engine, site, third.entry, by="Bo Tarn", now=LATER + timedelta(minutes=1), why="another machine")
    bring_in(
        engine,
        site,
        *write(tmp_path, more="serial,description,calibrated,calibration due\nD-1,dial set,2025-12-01,2026-12-01\n"),
    )
    vouch(engine, site)
    with engine.connect() as connection:
        head = newest(connection)
        longer, fresh = (grown(connection, site.site_id, held, head) for held in (first, EntryColumns()))
        assert sorted(longer.texts) == sorted(fresh.texts)
        for name in set(EntryColumns.__slots__) - {"texts"}:
            a, b = (spelled(columns, name) for columns in (longer, fresh))
            assert a == b, name
        assert_the_same(connection, site, longer)
        assert grown(connection, site.site_id, longer, head) is longer
    again = cut(longer, first.last)
    for name in set(EntryColumns.__slots__) - {"texts"}:
        assert spelled(again, name) == spelled(first, name), name


def test_the_reader_asks_the_database_where_too_much_would_have_to_be_read_first(
    engine: sa.Engine, site: Site, tmp_path: Path, monkeypatch: object
) -> None:
    import models.store.reader as of_reader

    seed(engine, site, tmp_path)
    monkeypatch.setattr(of_reader, "INLINE", 3)  # type: ignore[attr-defined]
    reader = Reader(engine)
    plain = reader.entries(site.site_id, EntryFilter(person="Bo Tarn"))
    assert not reader._entries
    reader.prepare(site.site_id)
    assert len(reader._entries[site.site_id]) == reader.head()
    assert reader.entries(site.site_id, EntryFilter(person="Bo Tarn")) == plain
