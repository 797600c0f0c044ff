"""What rows of the long tables point to on PostgreSQL: looked up for a whole statement, refused as a foreign key refuses."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest
import sqlalchemy as sa

import models.store.unit as unit_of
from models.commands.record_job import record_job
from models.ledger.findings import Fault
from models.settings import Settings
from models.store.bulk import put_rows
from models.store.engine import make_engine
from models.store.revision import downgrade, upgrade
from models.store.verify_schema import guard_findings
from models.tables.every import HISTORY, MAPPED
from models.tables.partitions import PARTITIONED, partition_name
from models.tables.references import POINTERS
from models.values.story import Site
from tests.conftest import NOW
from tests.recorder import job_of, machines
from tests.seeded import NEWER, bring_in, contents, seed_every_table, seed_old_tables
from tests.test_commands_import_columns import HEADS, some_jobs
from tests.test_commands_plain_jobs import take_way

pytestmark = pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
NOWHERE = 99_999


def told(engine: sa.Engine, on: str, row: dict[str, Any]) -> tuple[str | None, ...]:
    """Put a row in and give how it is refused."""
    with pytest.raises(sa.exc.IntegrityError) as raised, engine.begin() as connection:
        put_rows(connection, on, list(row), [tuple(row.values())])
    fault = raised.value.orig
    assert isinstance(fault, psycopg.errors.ForeignKeyViolation)
    return fault.sqlstate, fault.diag.constraint_name, fault.diag.message_detail


def astray(engine: sa.Engine) -> Iterator[tuple[str, dict[str, Any]]]:
    """Give for each column that points a row that is right but for it."""
    with engine.connect() as connection:
        for table, pointers in POINTERS.items():
            key = "number" if table == "entry" else "entry"
            row = connection.exec_driver_sql(f"SELECT * FROM {table} ORDER BY {key} LIMIT 1").mappings().one()
            last = connection.exec_driver_sql("SELECT max(number) FROM entry").scalar_one()
            for pointer in pointers:
                one = dict(row) | {"number": last + 1} if table == "entry" else dict(row)
                if table == "job":
                    # An entry that brought no job yet.
                    one |= {"entry": 1, "ref": "astray"}
                yield table, one | {pointer.column: NOWHERE}


def test_it_is_refused_as_the_foreign_key_refused_it(
    settings: Settings, site: Site, engine: sa.Engine, tmp_path: Path
) -> None:
    seed_old_tables(engine, site, tmp_path)
    before = contents(engine, without=NEWER)
    rows = list(astray(engine))
    assert len(rows) == sum(map(len, POINTERS.values()))
    engine.dispose()
    downgrade(settings, "0003_parts_by_site")
    wanted = [told(engine, table, row) for table, row in rows]
    engine.dispose()
    upgrade(settings)
    assert [told(engine, table, row) for table, row in rows] == wanted
    for table, row in rows:
        if table in PARTITIONED:  # who names the part is refused there
            assert told(engine, partition_name(table, site.site_id), row) in wanted
    assert {name for _, name, _ in wanted} == {p.constraint(table) for table, of in POINTERS.items() for p in of}
    assert contents(engine, without=NEWER) == before


def test_one_row_that_points_nowhere_among_many_is_found(
    settings: Settings, site: Site, engine: sa.Engine, tmp_path: Path
) -> None:
    del settings
    seed_every_table(engine, site, tmp_path)
    with engine.connect() as connection:
        entry = dict(connection.exec_driver_sql("SELECT * FROM entry WHERE number = 1").mappings().one())
        first = connection.exec_driver_sql("SELECT max(number) FROM entry").scalar_one() + 1
    rows = [tuple((entry | {"number": first + n}).values()) for n in range(500)]
    with engine.connect() as connection, connection.begin() as transaction:
        put_rows(connection, "entry", list(entry), rows)
        transaction.rollback()
    rows[321] = tuple((entry | {"number": first + 321, "site_id": NOWHERE}).values())
    with pytest.raises(sa.exc.IntegrityError, match="fk_entry_site_id_site"), engine.begin() as connection:
        put_rows(connection, "entry", list(entry), rows)


def test_a_temporary_table_of_the_same_name_does_not_stand_before(
    settings: Settings, site: Site, engine: sa.Engine, tmp_path: Path
) -> None:
    del settings
    seed_every_table(engine, site, tmp_path)
    with engine.connect() as connection:
        row = dict(connection.exec_driver_sql("SELECT * FROM statement ORDER BY entry LIMIT 1").mappings().one())
    row["entry"] = NOWHERE
    with engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("CREATE TEMP TABLE entry AS SELECT * FROM entry")
        connection.exec_driver_sql(f"INSERT INTO pg_temp.entry SELECT {NOWHERE}, {site.site_id}")
        with pytest.raises(sa.exc.IntegrityError, match="fk_statement_entry"):
            put_rows(connection, "statement", list(row), [tuple(row.values())])


def test_the_columns_are_those_that_the_mapped_classes_point_with(settings: Settings) -> None:
    """A site is left out where the entry of the row says it; what a job supersedes is an entry on PostgreSQL only."""
    del settings
    declared = {
        (table.name, key.parent.name, key.column.table.name, key.column.name)
        for mapped in MAPPED
        if (table := mapped.__table__).name in POINTERS
        for key in table.foreign_keys
    }
    looked = {(table, p.column, p.table, p.key) for table, pointers in POINTERS.items() for p in pointers}
    assert looked - declared == {("job", "supersedes", "entry", "number")}
    assert declared - looked == {(table, "site_id", "site", "id") for table in PARTITIONED}
    assert all(p.of_site for table in PARTITIONED for p in POINTERS[table] if p.table == "entry")
    # What is looked up once can never be changed or deleted: that is guarded, for the owner too.
    assert {p.table for pointers in POINTERS.values() for p in pointers} <= set(HISTORY)


def test_verification_names_a_table_that_no_longer_looks(settings: Settings, site: Site, engine: sa.Engine) -> None:
    del settings
    part = partition_name("job", site.site_id)
    empty = "RETURNS trigger LANGUAGE plpgsql SET search_path = public, pg_temp AS $$ BEGIN RETURN NULL; END $$"
    changes = (
        ("job", f"refer_{part}", f"ALTER TABLE {part} DISABLE TRIGGER refer_{part}"),
        ("entry", "refer_entry", "DROP TRIGGER refer_entry ON entry"),
        ("statement", "refer_statement", f"CREATE OR REPLACE FUNCTION refer_statement() {empty}"),
        ("job", "refer_job", "ALTER FUNCTION refer_job() RESET search_path"),
    )
    for table, name, change in changes:
        with engine.connect() as connection, connection.begin() as transaction:
            connection.exec_driver_sql(change)
            found = [(f.fault, f.table, f.found) for f in guard_findings(connection)]
            transaction.rollback()
        assert (Fault.GUARD, table, name) in found
    with engine.connect() as connection:
        assert list(guard_findings(connection)) == []


def touched(connection: sa.Connection, table: str) -> int:
    """Give how many rows of a table were read since the book was made, by scan or by index."""
    connection.exec_driver_sql("SELECT pg_stat_force_next_flush()")
    connection.commit()
    asked = "SELECT pg_stat_clear_snapshot(), seq_tup_read + idx_tup_fetch FROM pg_stat_user_tables WHERE relname = %s"
    found = int(connection.exec_driver_sql(asked, (table,)).one()[1])
    connection.commit()
    return found


def analyze(engine: sa.Engine) -> None:
    """Do what the server does by itself from time to time: plans are made anew, and tables are known to be small."""
    with engine.begin() as connection:
        connection.exec_driver_sql("ANALYZE")


@pytest.fixture
def one_session(settings: Settings, site: Site) -> Iterator[sa.Engine]:
    """Give an engine with one session, which keeps what it planned."""
    del site
    engine = make_engine(settings)
    with engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("SELECT 1")
    yield engine
    engine.dispose()


def test_what_was_planned_in_a_small_book_is_not_kept_for_a_large_one(
    one_session: sa.Engine, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without any help: jobs, statements and entries are looked up by their keys, whatever the planner saw first."""
    monkeypatch.setattr(unit_of, "plan_again", lambda _connection: None)
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(2))
    assert bring_in(one_session, site, sheet).written
    for number in range(12):
        if number == 6:  # the sixth time a plan is kept for good
            analyze(one_session)
        record_job(one_session, site, job_of(0, number), by="tester", now=NOW, bolts_tight=True)
    jobs = tmp_path / "jobs.csv"
    rows = some_jobs(8, 1_500, faults=False)
    for row in rows:
        row[HEADS.index("tag")] = job_of(0, 0).tag
    jobs.write_text("\n".join(",".join(f'"{cell}"'.replace("\n", " ") for cell in row) for row in [HEADS, *rows]))
    with one_session.connect() as connection:
        before = touched(connection, "entry")
    take_way(monkeypatch, "columns")
    report = bring_in(one_session, site, jobs, accept_good=True)
    assert report.taken > 1_000
    with one_session.connect() as connection:
        assert touched(connection, "entry") - before < 10 * report.taken


def test_a_table_that_was_read_through_when_it_was_small_is_looked_up_by_its_key_when_many_rows_come(
    one_session: sa.Engine, site: Site, tmp_path: Path
) -> None:
    """Its foreign keys are planned anew: the way through a whole small table would be taken for each of many rows."""
    sheet = tmp_path / "assets.csv"
    for part in range(8):
        analyze(one_session)
        lines = machines(8 * part + 8).splitlines(keepends=True)
        sheet.write_text("".join([lines[0], *lines[-8:]]))
        assert bring_in(one_session, site, sheet).written
    lines = machines(2_064).splitlines(keepends=True)
    sheet.write_text("".join([lines[0], *lines[-2_000:]]))
    with one_session.connect() as connection:
        before = touched(connection, "asset")
    assert bring_in(one_session, site, sheet).written
    with one_session.connect() as connection:
        assert touched(connection, "asset") - before < 10 * 2_000
