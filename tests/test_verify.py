"""Whatever is changed in the database behind the tool's back is named: table, column and entry, on both engines."""

from __future__ import annotations

import itertools
import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from models.commands.seal_book import seal_book
from models.ledger.checkpoint import Checkpoint, read_note, write_note
from models.ledger.findings import Fault, Finding
from models.ledger.keys import make_key, read_signer
from models.ledger.tree import Frontier
from models.settings import Settings
from models.store import verify
from models.store.copying import DoesNotFitError, check_copy
from models.store.engine import make_engine
from models.store.proofs import last_head, read_heads, read_keys
from models.store.revision import downgrade, upgrade
from models.store.sealing import key_column
from models.store.unit import writing
from models.store.verify import Verified, verify_book
from models.store.verify_cells import shape_of
from models.tables.every import HISTORY, MAPPED, metadata
from models.tables.people import PersonRow, PersonVersionRow
from models.values.kinds import Kind
from models.values.story import Site
from tests import seeded
from tests.conftest import ENGINES, NOW, _administrator, database_url, make_site
from tests.kept_book import (
    change,
    cut_off,
    delete,
    insert,
    look_past,
    make_kept_book,
    plain,
    rows_of,
    seal_again,
    tampered,
    unguarded,
)

_numbers = itertools.count(1)


@dataclass
class Kept:
    """A book that is opened once for all tests of an engine; what a test changes is rolled back."""

    settings: Settings
    connection: sa.Connection
    folder: Path


@pytest.fixture(scope="module", params=ENGINES)
def kept(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path
) -> Iterator[Kept]:
    folder = tmp_path_factory.mktemp("kept")
    key = folder / "first.key"
    if request.param == "sqlite":
        path = folder / "kept.db"
        shutil.copy(sqlite_template, path)
        settings = Settings(book=str(path), mappings=folder / "mappings", key=key)
    else:
        url, template = request.getfixturevalue("postgres_url"), request.getfixturevalue("postgres_template")
        name = f"kept_{os.getpid()}_{next(_numbers)}"
        with _administrator(url) as connection:
            connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE {template}")
        settings = Settings(book=database_url(url, name), mappings=folder / "mappings", key=key)
    with pytest.MonkeyPatch.context() as monkeypatch:
        settings = make_kept_book(settings, folder, monkeypatch)
    engine = make_engine(settings, foreign_keys=False)
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        yield Kept(settings, connection, folder)
        connection.rollback()
    engine.dispose()


def named(found: Verified) -> set[tuple[str, str, int | None]]:
    return {(finding.table, finding.column, finding.entry) for finding in found.tally.kept}


def faults(found: Verified) -> set[Fault]:
    return set(found.tally.counts)


def owner(table: str) -> str:
    fixed = {"entry": "number", "statement": "entry", "tree_head": "size"}
    return fixed.get(table) or key_column(next(mapped for mapped in MAPPED if mapped.__tablename__ == table))


def entry_of(kept: Kept, table: str, row: dict[str, Any]) -> int:
    """Give the entry that binds a row; that of a site is the one that sets it first."""
    if table == "site":
        asked = sa.text("SELECT min(entry) FROM site_version WHERE site_id = :site")
        return int(kept.connection.execute(asked, {"site": row["id"]}).scalar_one())
    return int(row[owner(table)])


def another(kind: str, value: Any) -> Any:
    if kind == "text":
        text = str(value or "")
        return ("y" if text[:1] != "y" else "z") + text[1:]
    if kind == "bytes":
        return bytes([value[0] ^ 1]) + bytes(value[1:]) if value else b"\1" * 64
    if kind == "truth":
        return not value
    return (value or 0) + 1_000 if kind == "whole" else (value or 0.0) + 0.5


def test_book_as_it_was_written_is_intact(kept: Kept) -> None:
    found = verify_book(kept.connection)
    assert not found.tally.kept
    assert found.faults(strict=True) == 0
    assert found.entries == found.intact == found.last > 30
    assert found.heads == found.signed > 8
    assert len(found.keys) == 2
    assert all(len(rows_of(kept.connection, table)) >= 2 for table in HISTORY)


COLUMNS = [(table, column) for table in HISTORY for column, _ in shape_of(table).columns]


@pytest.mark.parametrize("table", HISTORY)
def test_every_changed_value_is_named(kept: Kept, table: str) -> None:
    kinds = dict(shape_of(table).columns)
    rows = rows_of(kept.connection, table)
    for place, column in enumerate(kinds):
        # Another row for each column, where the column says something in it.
        row = next((one for one in rows[place % len(rows) :] + rows if one[column] is not None), rows[0])
        entry = entry_of(kept, table, row)
        with tampered(kept.connection):
            change(kept.connection, table, row, **{column: another(kinds[column], row[column])})
            found = verify_book(kept.connection)
        assert (table, column, entry) in named(found), (table, column, found.tally.kept)
        assert found.faults() > 0
        if table not in {"statement", "tree_head"} and column != owner(table):
            value = next(f for f in found.tally.kept if (f.table, f.column, f.entry) == (table, column, entry))
            assert value.fault is Fault.VALUE
            assert value.found != value.said
            assert (value.said is None) == (row[column] is None)


@pytest.mark.parametrize("table", HISTORY)
def test_every_emptied_or_filled_value_is_named(kept: Kept, table: str) -> None:
    of = next(mapped for mapped in MAPPED if mapped.__tablename__ == table).__table__
    rows, kinds = rows_of(kept.connection, table), dict(shape_of(table).columns)
    for column in (column.name for column in of.columns if column.nullable):
        for empty in (True, False):
            row = next((one for one in rows if (one[column] is None) != empty), None)
            if row is None:
                continue
            new = None if empty else another(kinds[column], None)
            with tampered(kept.connection):
                if table == "job" and empty:
                    _without_check(kept.connection)
                change(kept.connection, table, row, **{column: new})
                found = verify_book(kept.connection)
            assert (table, column, entry_of(kept, table, row)) in named(found), (table, column, found.tally.kept)


def _without_check(connection: sa.Connection) -> None:
    """Switch off the check that one of both measurements is there."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("ALTER TABLE job DROP CONSTRAINT ck_job_measured")
    else:
        connection.exec_driver_sql("PRAGMA ignore_check_constraints = ON")


@pytest.mark.parametrize("table", HISTORY)
def test_every_deleted_row_is_named(kept: Kept, table: str) -> None:
    rows = rows_of(kept.connection, table)
    for row in {0: rows[0], 1: rows[len(rows) // 2], 2: rows[-1]}.values():
        entry = entry_of(kept, table, row)
        with tampered(kept.connection):
            delete(kept.connection, table, row)
            found = verify_book(kept.connection)
        assert (table, owner(table), entry) in named(found), (table, row, found.tally.kept)


@pytest.mark.parametrize("table", HISTORY)
def test_every_inserted_row_is_named(kept: Kept, table: str) -> None:
    rows = rows_of(kept.connection, table)
    key, kinds = owner(table), dict(shape_of(table).columns)
    last = rows_of(kept.connection, "entry")[-1]["number"]
    taken = {row[key] for row in rows}
    free = next(number for number in range(1, last + 2) if number not in taken)
    for number in {free, last + 1, last + 50}:
        row = dict(rows[-1]) | {key: number}
        for column in ("ref", "tag", "name", "serial", "login", "code", "version", "supersedes"):
            if column in row and row[column] is not None:
                row[column] = another(kinds[column], row[column])
        with tampered(kept.connection):
            insert(kept.connection, table, row)
            found = verify_book(kept.connection)
        assert found.faults() > 0, (table, number)
        # An entry that was put in has no statement: that is where it shows.
        where = {table, "statement"} if table == "entry" else {table}
        told = {finding.entry for finding in found.tally.kept if finding.table in where}
        assert told & {number, last + 1, None}, (table, number, found.tally.kept)


@pytest.mark.parametrize("table", HISTORY)
def test_two_swapped_rows_are_named(kept: Kept, table: str) -> None:
    rows = rows_of(kept.connection, table)
    key = owner(table)
    first = rows[0]
    also = [column.name for column in metadata.tables[table].primary_key.columns if column.name != key]
    others = [row for row in rows if row[key] != first[key] and all(row[name] == first[name] for name in also)]
    second = next(row for row in others if {**row, key: 0} != {**first, key: 0})
    with tampered(kept.connection):
        change(kept.connection, table, first, **{key: 2_000_000})
        change(kept.connection, table, second, **{key: first[key]})
        change(kept.connection, table, first | {key: 2_000_000}, **{key: second[key]})
        found = verify_book(kept.connection)
    told = {finding.entry for finding in found.tally.kept if finding.table == table}
    entries = {entry_of(kept, table, first), entry_of(kept, table, second)}
    assert entries <= told, (table, found.tally.kept)


def test_all_of_a_column_changed_is_counted(kept: Kept) -> None:
    jobs = rows_of(kept.connection, "job")
    with tampered(kept.connection):
        with unguarded(kept.connection):
            kept.connection.exec_driver_sql("UPDATE job SET notes = 'nothing special'")
        found = verify_book(kept.connection)
    assert found.tally.counts == {Fault.VALUE: len(jobs)}
    assert found.intact == found.entries - len(jobs)
    first = found.tally.kept[0]
    assert (first.entry, first.found, first.said) == (jobs[0]["entry"], "nothing special", "first")


def test_forged_statement_is_known_by_the_leaf_or_the_root(kept: Kept) -> None:
    """Row, statement and leaf are changed together: only the tree tells."""
    jobs, heads = rows_of(kept.connection, "job"), rows_of(kept.connection, "tree_head")
    with tampered(kept.connection):
        change(kept.connection, "job", jobs[0], notes="never happened")
        seal_again(kept.connection)
        found = verify_book(kept.connection)
    after = [head["size"] for head in heads if head["size"] >= jobs[0]["entry"]]
    roots = [finding.entry for finding in found.tally.kept if finding.fault is Fault.ROOT]
    assert roots == after
    assert faults(found) >= {Fault.ROOT, Fault.FRONTIER, Fault.SIGNOFF}


def test_entries_in_another_order_are_known_by_the_root(kept: Kept) -> None:
    """Two entries change places with everything that belongs to them."""
    connection = kept.connection
    with tampered(connection):
        for table, key in (
            ("entry", "number"),
            ("person", "id"),
            ("person_version", "entry"),
            ("person_version", "person_id"),
        ):
            one, two = (row["id"] for row in rows_of(connection, "person")[:2])
            with unguarded(connection):
                of = plain(table)
                for old, new in ((one, 3_000_000), (two, one), (3_000_000, two)):
                    connection.execute(sa.update(of).where(of.c[key] == old).values(**{key: new}))
            if table != "entry":
                continue
        with unguarded(connection):
            entry = plain("entry")
            connection.execute(sa.update(entry).where(entry.c.kind == "person added").values(subject=entry.c.number))
        seal_again(connection)
        found = verify_book(connection)
    assert Fault.ROOT in faults(found)


def test_end_that_is_cut_off_is_known_by_the_head_or_by_a_kept_one(kept: Kept) -> None:
    newest = last_head(kept.connection)
    assert newest is not None
    older = read_heads(kept.connection, last=2)[1]
    with tampered(kept.connection):
        heads = [row for row in rows_of(kept.connection, "tree_head") if row["size"] > older.size]
        cut_off(kept.connection, older.size)
        clean = verify_book(kept.connection, against=[read_note(older.note)])
        assert clean.faults(strict=True) == 0, clean.tally.kept
        assert [one.holds for one in clean.kept] == [True]
        found = verify_book(kept.connection, against=[read_note(newest.note)])
        assert faults(found) == {Fault.KEPT_AHEAD}
        for head in heads:
            insert(kept.connection, "tree_head", head)
        assert Fault.HEAD_AHEAD in faults(verify_book(kept.connection))


def forge(kept: Kept, key: Path | None) -> None:
    """Build the whole tree anew over changed rows: unsigned, or signed by a key of the forger's own."""
    connection = kept.connection
    signer = None if key is None else make_key(key)
    change(connection, "job", rows_of(connection, "job")[0], notes="never happened")
    if signer is not None:
        for row in rows_of(connection, "book_key"):
            change(connection, "book_key", row, public_key=signer.public_key)
    leaves = seal_again(connection)
    for row in rows_of(connection, "signoff"):
        change(connection, "signoff", row, signed_leaf=leaves[row["signed_entry"] - 1])
    # A sign-off names a leaf, so the entries after it change too.
    leaves = seal_again(connection)
    keys = rows_of(connection, "book_key")
    for head in rows_of(connection, "tree_head"):
        tree = Frontier()
        tree.extend(leaves[: head["size"]])
        body = Checkpoint(keys[0]["origin"], tree.size, tree.root()).body.encode()
        change(
            connection, "tree_head", head, root=tree.root(), frontier=tree.to_bytes(),
            key_entry=head["key_entry"] if signer else None, signature=signer.sign(body) if signer else None,
        )  # fmt: skip


@pytest.mark.parametrize("signed", [True, False])
def test_rebuilt_tree_is_known_by_a_kept_head(kept: Kept, *, signed: bool) -> None:
    newest, first = last_head(kept.connection), read_heads(kept.connection)[-1]
    assert newest is not None
    assert newest.key is not None
    with tampered(kept.connection):
        forge(kept, kept.folder / "forger.key" if signed else None)
        alone = verify_book(kept.connection)
        assert alone.faults() == 0, alone.tally.kept
        assert (alone.faults(strict=True) == 0) == signed
        assert [(one.first, one.last, one.before, one.after) for one in alone.without] == (
            [] if signed else [(1, newest.size, None, None)]
        )
        found = verify_book(kept.connection, against=[read_note(newest.note)])
        assert Fault.KEPT_ROOT in faults(found)
        assert (Fault.KEPT_SIGNATURE in faults(found)) == signed
        # A forged key is said in an early entry already; without one, the hand-over to the second key is of another tree.
        before = verify_book(kept.connection, against=[read_note(first.note)])
        assert faults(before) - {Fault.UNSIGNED} == (
            {Fault.KEPT_ROOT, Fault.KEPT_SIGNATURE} if signed else {Fault.KEY_NOT_VOUCHED}
        )
        given = verify_book(kept.connection, public_key=newest.key.public_key)
        assert Fault.KEY_NOT_GIVEN in faults(given)


def test_kept_heads_of_any_age_hold(kept: Kept) -> None:
    heads = read_heads(kept.connection)
    found = verify_book(
        kept.connection, against=[read_note(head.note) for head in heads], public_key=heads[0].key.public_key
    )  # type: ignore[union-attr]
    assert found.faults(strict=True) == 0
    assert [one.holds for one in found.kept] == [True] * len(heads)
    # Any size has a root, not only those at which a head was kept.
    origin = heads[0].origin
    tree, leaves = Frontier(), [row["leaf"] for row in rows_of(kept.connection, "statement")]
    notes = []
    for leaf in leaves:
        tree.append(leaf)
        notes.append(read_note(write_note(Checkpoint(origin, tree.size, tree.root()), None, None)))
    assert verify_book(kept.connection, against=notes).faults() == 0
    # A witness's signature is not the book's: alone, beside the book's own, or under a wrong root it changes nothing.
    witness = ("witness.example/w", bytes(4), bytes(2))
    cosigned = [replace(one, signatures=(*one.signatures, witness)) for one in (notes[7], read_note(heads[-1].note))]
    found = verify_book(kept.connection, against=cosigned)
    assert (found.faults(), [one.holds for one in found.kept]) == (0, [True, True])
    wrong = replace(notes[7].checkpoint, root=b"\0" * 32)
    assert faults(verify_book(kept.connection, against=[replace(notes[7], checkpoint=wrong)])) == {Fault.KEPT_ROOT}
    other = replace(notes[7].checkpoint, origin="driftbook/other")
    assert faults(verify_book(kept.connection, against=[replace(notes[7], checkpoint=other)])) == {Fault.KEPT_OTHER}


def test_missing_numbers_are_told_together(kept: Kept) -> None:
    with tampered(kept.connection):
        with unguarded(kept.connection):
            kept.connection.exec_driver_sql("DELETE FROM entry WHERE number BETWEEN 5 AND 9")
        found = verify_book(kept.connection)
    gap = next(finding for finding in found.tally.kept if finding.fault is Fault.ENTRY_MISSING)
    assert (gap.entry, gap.upto) == (5, 9)
    assert found.tally.counts[Fault.ROW_ALONE] >= 5
    assert found.tally.counts[Fault.NOT_COMPUTED] > 0


ODD = ("CAST(x'ff41' AS TEXT)", "x'00ff'", "'text'", "1e999", "-7", "0.1")


def test_values_of_any_kind_are_told_without_a_fault_of_ours(kept: Kept) -> None:
    """SQLite takes any kind of value in any column."""
    if kept.connection.dialect.name != "sqlite":
        with tampered(kept.connection):
            job = rows_of(kept.connection, "job")[0]
            change(kept.connection, "job", job, hours_run=float("nan"))
            found = verify_book(kept.connection)
        assert ("job", "hours_run", job["entry"]) in named(found)
        return
    for table in HISTORY:
        shape, row = shape_of(table), rows_of(kept.connection, table)[0]
        entry = entry_of(kept, table, row)
        for place, (column, _) in enumerate(shape.columns):
            odd = ODD[place % len(ODD)]
            if column in shape.key:
                continue
            with tampered(kept.connection):
                with unguarded(kept.connection, table):
                    kept.connection.exec_driver_sql(
                        f"UPDATE {table} SET {column} = {odd} WHERE {shape.key[0]} = {row[shape.key[0]]}"
                    )
                found = verify_book(kept.connection)
            if odd != str(row[column]):
                told = {finding.table for finding in found.tally.kept}
                assert told & {table, "statement"}, (table, column, odd, entry)


def test_a_key_that_was_replaced_signs_no_later_head(kept: Kept) -> None:
    """Whoever has a copy of it could: neither as a head that was kept, nor in the book, nor in what is taken in."""
    newest, old = read_heads(kept.connection, last=1)[0], read_signer(kept.folder / "first.key")
    assert old is not None
    signature = old.sign(newest.checkpoint.body.encode())
    note = read_note(write_note(newest.checkpoint, old.public_key, signature))
    found = verify_book(kept.connection, against=[note])
    assert (faults(found), found.kept[0][1:], found.spoken_for) == ({Fault.KEPT_SIGNATURE}, (False, True), 0)
    first = next(key.entry for key in read_keys(kept.connection) if key.public_key == old.public_key)
    with tampered(kept.connection):
        change(
            kept.connection,
            "tree_head",
            rows_of(kept.connection, "tree_head")[-1],
            signature=signature,
            key_entry=first,
        )
        assert faults(verify_book(kept.connection)) == {Fault.KEY, Fault.SIGNATURE}
        with pytest.raises(DoesNotFitError, match="column signature: it is not that of the book's key"):
            check_copy(kept.connection, {})


def test_several_processes_find_the_same(kept: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verify, "SEVERAL", 1)
    monkeypatch.setattr(verify.os, "cpu_count", lambda: 2)
    heads = [read_note(head.note) for head in read_heads(kept.connection)]
    wrong = replace(heads[0], checkpoint=replace(heads[0].checkpoint, root=b"\0" * 32))
    # What others see is the book as it was committed.
    found = verify_book(kept.connection, settings=kept.settings, against=[*heads, wrong])
    assert found.tally.counts == {Fault.KEPT_ROOT: 1, Fault.KEPT_SIGNATURE: 1}
    alone = verify_book(kept.connection)
    assert (found.entries, found.heads, found.signed) == (alone.entries, alone.heads, alone.signed)


@pytest.fixture(scope="module")
def long_book(tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path) -> Settings:
    """Give a book of several stretches, with a head inside one of them."""
    folder = tmp_path_factory.mktemp("long")
    path = folder / "long.db"
    shutil.copy(sqlite_template, path)
    settings = Settings(book=str(path), mappings=folder / "mappings", key=folder / "long.key")
    site = make_site(settings)
    engine = make_engine(settings)
    for hours, count in ((1, 5_000), (2, 4_500)):
        with writing(engine, site.site_id, "tester", NOW + timedelta(hours=hours)) as unit:
            for _ in range(count):
                entry = unit.append(Kind.PERSON_ADDED)
                unit.add(PersonRow, (entry, site.site_id, f"Person {entry}"))
                unit.add(PersonVersionRow, (entry, site.site_id, entry, f"Person {entry}", "", True))
    engine.dispose()
    return settings


def test_book_of_several_stretches(long_book: Settings) -> None:
    """What held the same in one stretch is taken for granted in the next, and looked at all the same."""
    engine = make_engine(long_book, foreign_keys=False)
    seen: list[tuple[int, int]] = []
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        heads = [read_note(head.note) for head in read_heads(connection)]
        found = verify_book(connection, against=heads, progress=lambda done, of: seen.append((done, of)))
        assert found.faults(strict=True) == 0, found.tally.kept
        assert found.intact == found.entries == 9_503
        assert seen == [(4096, 9503), (8192, 9503), (9503, 9503)]
        leaves = connection.scalars(sa.text("SELECT leaf FROM statement ORDER BY entry")).all()
        tree = Frontier()
        for number, leaf in enumerate(leaves, 1):
            tree.append(leaf)
            if number in {3, 4095, 4096, 4097, 8191, 8192, 8193, 9502}:
                note = read_note(write_note(Checkpoint(heads[0].checkpoint.origin, number, tree.root()), None, None))
                assert verify_book(connection, against=[note]).faults() == 0
        for number in (4097, 6000, 8193, 9503):
            for column, new in (("active", 0), ("qualification", "none"), ("site_id", 9), ("name", "Person 1")):
                with tampered(connection):
                    change(connection, "person_version", {"entry": number}, **{column: new})
                    altered = verify_book(connection)
                assert [(f.fault, f.column, f.entry) for f in altered.tally.kept] == [(Fault.VALUE, column, number)]
                assert altered.intact == 9_502
        with tampered(connection):
            delete(connection, "entry", {"number": 4096})
            gap = verify_book(connection)
        assert ("entry", "number", 4096) in named(gap)
        connection.rollback()
    engine.dispose()


def test_bytes_as_text_of_the_same_digits_are_told(kept: Kept) -> None:
    if kept.connection.dialect.name != "sqlite":
        pytest.skip("PostgreSQL keeps the kind of a column")
    job = rows_of(kept.connection, "job")[0]
    with tampered(kept.connection):
        with unguarded(kept.connection):
            kept.connection.exec_driver_sql(
                f"UPDATE job SET content = '{job['content'].hex()}' WHERE entry = {job['entry']}"
            )
        found = verify_book(kept.connection)
    assert [(f.fault, f.column, f.entry) for f in found.tally.kept] == [(Fault.TYPE, "content", job["entry"])]


def test_missing_guard_is_told(kept: Kept) -> None:
    connection = kept.connection
    for table in (*HISTORY, "sign_in"):
        with tampered(connection):
            if connection.dialect.name == "sqlite":
                connection.exec_driver_sql(f"DROP TRIGGER guard_{table}_delete")
            else:
                connection.exec_driver_sql(f"ALTER TABLE {table} DISABLE TRIGGER guard_{table}")
            found = verify_book(connection)
        assert [(f.fault, f.table) for f in found.tally.kept] == [(Fault.GUARD, table)]
    with tampered(connection):
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("DROP TRIGGER guard_job_update")
            connection.exec_driver_sql("CREATE TRIGGER guard_job_update BEFORE UPDATE ON job BEGIN SELECT 1; END")
        else:
            connection.exec_driver_sql(
                "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
                "$$ BEGIN RETURN NULL; END $$"
            )
        assert Fault.GUARD in faults(verify_book(connection))


@pytest.mark.parametrize(
    "how",
    [
        "CREATE INDEX ix_job_asset_id_performed_us ON job (asset_id, performed_us) WHERE entry <> 10",
        "CREATE INDEX ix_job_asset_id_performed_us ON job (CASE entry WHEN 10 THEN 1 ELSE asset_id END, performed_us)",
    ],
    ids=["left out", "under another machine"],
)
def test_an_index_that_looks_past_a_row_is_told(kept: Kept, how: str) -> None:
    if kept.connection.dialect.name != "sqlite":
        pytest.skip("PostgreSQL needs an extension for it")
    entry = rows_of(kept.connection, "job")[0]["entry"]
    with tampered(kept.connection):
        look_past(kept.connection, "ix_job_asset_id_performed_us", how.replace("10", str(entry)))
        found = verify_book(kept.connection)
    kept.connection.exec_driver_sql("PRAGMA writable_schema = RESET")
    assert Finding(Fault.INDEX_ROW, entry, "job", found="ix_job_asset_id_performed_us") in found.tally.kept
    assert faults(found) == {Fault.INDEX_ROW}


ALTERED = (
    "CREATE TRIGGER guard_job_replace BEFORE INSERT ON job WHEN EXISTS (SELECT 1 FROM job WHERE 0) BEGIN "
    "SELECT RAISE(ABORT, 'job: a row with this key is there already, and history is not replaced'); END"
)
AROUND = {
    "sqlite": (
        (("DROP INDEX uq_job_supersedes",), Fault.INDEX, "job", "uq_job_supersedes"),
        (("DROP INDEX ix_entry_batch", "CREATE INDEX ix_entry_batch ON entry (batch)"), Fault.INDEX, "entry", "ix_entry_batch"),
        (("CREATE INDEX mine ON job (notes)",), Fault.FOREIGN, "job", "index mine"),
        (("CREATE TRIGGER zz BEFORE INSERT ON job WHEN NEW.asset_id = 5 BEGIN SELECT RAISE(IGNORE); END",), Fault.FOREIGN, "job", "trigger zz"),
        (("DROP TRIGGER guard_job_replace", ALTERED), Fault.GUARD, "job", "guard_job_replace"),
        (("ALTER TABLE signoff RENAME TO aside", "CREATE VIEW signoff AS SELECT * FROM aside"), Fault.SHAPE, "signoff", "signoff"),
    ),
    "postgresql": (
        (("DROP INDEX uq_job_supersedes",), Fault.INDEX, "job", "uq_job_supersedes"),
        (("DROP INDEX ix_entry_batch", "CREATE INDEX ix_entry_batch ON entry (batch) WHERE batch > 0"), Fault.INDEX, "entry", "ix_entry_batch"),
        (("UPDATE pg_index SET indisvalid = FALSE WHERE indexrelid = 'ix_signoff_signed_entry'::regclass",), Fault.INDEX, "signoff", "ix_signoff_signed_entry"),
        (("CREATE INDEX mine ON job_site_1 (notes)",), Fault.FOREIGN, "job_site_1", "index mine"),
        (("CREATE TRIGGER zz BEFORE INSERT ON job FOR EACH ROW EXECUTE FUNCTION refuse_change()",), Fault.FOREIGN, "job", "trigger zz"),
        (("CREATE RULE zz AS ON INSERT TO signoff DO INSTEAD NOTHING",), Fault.FOREIGN, "signoff", "rule zz"),
        (("ALTER TABLE job ENABLE ROW LEVEL SECURITY",), Fault.FOREIGN, "job", "row security"),
        (("CREATE TABLE heir () INHERITS (signoff)",), Fault.FOREIGN, "signoff", "table heir"),
        (("ALTER TABLE signoff RENAME TO aside", "CREATE VIEW signoff AS SELECT * FROM aside"), Fault.SHAPE, "signoff", "signoff"),
    ),
}  # fmt: skip


def test_what_stands_around_the_rows_is_told(kept: Kept) -> None:
    """Indexes, triggers, rules, and things in the place of a table: each can hide or swallow rows that no value tells of."""
    for statements, fault, table, name in AROUND[kept.connection.dialect.name]:
        with tampered(kept.connection):
            for statement in statements:
                kept.connection.exec_driver_sql(statement)
            found = verify_book(kept.connection)
        assert Finding(fault, None, table, found=name) in found.tally.kept, (name, found.tally.kept)
        assert found.faults() > 0


def test_a_table_of_ones_own_is_no_fault(kept: Kept) -> None:
    with tampered(kept.connection):
        kept.connection.exec_driver_sql("CREATE TABLE my_list (number INTEGER)")
        kept.connection.exec_driver_sql("CREATE VIEW my_jobs AS SELECT * FROM job")
        assert verify_book(kept.connection).faults() == 0


def test_indexes_are_said_not_to_be_looked_at_where_the_server_cannot(kept: Kept) -> None:
    assert verify_book(kept.connection).indexes == (kept.connection.dialect.name == "sqlite")


def test_entries_that_name_what_is_not_there_are_told(kept: Kept) -> None:
    """The statements are made to fit, so that only the reference is wrong."""
    rows = rows_of(kept.connection, "entry")
    from_file = next(row for row in rows if row["batch"] is not None)
    for column, new in (
        ("batch", 1),
        ("batch", 77_777),
        ("supersedes", 88_888),
        ("supersedes", 1),
        ("subject", 99_999),
    ):
        with tampered(kept.connection):
            change(kept.connection, "entry", from_file, **{column: new})
            seal_again(kept.connection)
            found = verify_book(kept.connection)
        assert Finding(Fault.REFERENCE, from_file["number"], "entry", column, str(new)) in found.tally.kept


def test_book_of_an_older_revision_is_sealed_by_its_upgrade(settings: Settings, site: Site, tmp_path: Path) -> None:
    settings = replace(settings, key=tmp_path / "own.key")
    engine = make_engine(settings)
    seeded.seed(engine, site, tmp_path)
    engine.dispose()
    downgrade(settings, "0001_the_book")
    upgrade(settings)
    engine = make_engine(settings)
    with engine.connect() as connection:
        before = verify_book(connection)
        assert before.tally.counts[Fault.STATEMENT_MISSING] == before.entries
    assert seal_book(settings, by="tester", now=NOW) == before.entries
    with engine.connect() as connection:
        after = verify_book(connection)
        assert after.faults(strict=True) == 0, after.tally.kept
        assert (after.entries, after.heads, after.signed) == (before.entries + 1, 2, 1)
    engine.dispose()


def test_signature_by_who_wrote_it_is_told(kept: Kept) -> None:
    signed = rows_of(kept.connection, "signoff")[0]
    author = next(r for r in rows_of(kept.connection, "entry") if r["number"] == signed["signed_entry"])["author"]
    entry = next(r for r in rows_of(kept.connection, "entry") if r["number"] == signed["entry"])
    with tampered(kept.connection):
        change(kept.connection, "entry", entry, author=author)
        seal_again(kept.connection)
        found = verify_book(kept.connection)
    assert (
        Finding(Fault.SIGNED_BY_AUTHOR, signed["entry"], "signoff", "entry", author, str(signed["signed_entry"]))
        in found.tally.kept
    )
