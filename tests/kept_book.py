"""A small book with at least two rows in every history table, and what somebody with all rights could do to it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from models.commands.init_book import init_book
from models.commands.record_job import record_job
from models.commands.set_key import set_key
from models.commands.set_site import set_site
from models.commands.sign_off import sign_off
from models.settings import Settings
from models.store.engine import make_engine
from models.store.sealing import BOUND, key_column, read_bound, seal
from models.store.unit import writing
from models.tables.accounts import AccountRow, AccountVersionRow
from models.tables.every import HISTORY, metadata
from models.tables.jobs import JobRow
from models.values.decision import Covariances, DecisionRule, Rule, independent
from models.values.job import Job, Misalignment
from models.values.kinds import Kind, Meaning, Reason
from models.values.story import Site
from tests import seeded
from tests.conftest import NOW, make_site

MORE = {
    "instruments": "serial,description,calibrated,calibration due\nD-2,second set,2024-02-01,2027-02-01\n",
    "people": "name,qualification\nBo Tarn,fitter µ°\n",
    "breaks": "tag,date,replaced,reason\nP-1,2025-06-10,base,grouted anew\n",
}


def make_kept_book(settings: Settings, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Settings:
    """Write a book in many commits, each at its own moment; gives the settings with the key that signs last."""
    site = make_site(settings)
    engine = make_engine(settings)
    for hours, step in enumerate((seeded.seed_every_table, _more), 1):
        monkeypatch.setattr(seeded, "NOW", NOW + timedelta(hours=hours))
        folder.joinpath(str(hours)).mkdir()
        step(engine, site, folder / str(hours))
    engine.dispose()
    later = NOW + timedelta(days=1)
    other = replace(settings, key=folder / "second.key")
    assert set_key(other, site.site_id, by="tester", now=later, why="the first one is old", old=settings.key_path)
    init_book(
        other, name="Other Quay", zone="Europe/Oslo", display=site.display, limit_set=seeded_limits(), by="tester",
        now=later + timedelta(hours=1),
    )  # fmt: skip
    engine = make_engine(other)
    with writing(engine, site.site_id, "tester", later + timedelta(hours=2)) as unit:
        # One commit may speak for several sites: an account is one for the whole book.
        account = unit.append(Kind.ACCOUNT_ADDED)
        unit.add(AccountRow, (account, site.site_id, "eli"))
        unit.add(AccountVersionRow, (account, site.site_id, account, "Eli Stone", "", '["reader"]', True, None))
        unit.site_id = site.site_id + 1
        changed = unit.append(Kind.ACCOUNT_CHANGED, account)
        unit.add(AccountVersionRow, (changed, unit.site_id, account, "Eli Stone", "", '["engineer"]', True, None))
    engine.dispose()
    return other


def seeded_limits() -> Any:
    from dashboard.console.book import starter_limits

    return starter_limits("tester")


def _more(engine: sa.Engine, site: Site, folder: Path) -> None:
    report = seeded.bring_in(engine, site, *seeded.write(folder, **MORE))
    assert report.written, report.problems
    set_site(
        engine, site, by="tester", now=NOW + timedelta(hours=3), display=site.display, zone=None, interval_months=7,
        rule=DecisionRule(Rule.GUARDED, 0.9),
    )  # fmt: skip
    known = Covariances(found=independent((0.004, 0.02, 0.004, 0.02)), left=independent((0.004, 0.02, 0.004, 0.02)))
    measured = Job(
        ref="J9", tag="P-1", performed_at=NOW - timedelta(days=3), zone=site.zone, reason=Reason.PLANNED, people=("Ana Wick",),
        instrument="D-1", found=Misalignment(0.11, 0.2, 0.01, 0.1), left=Misalignment(0.01, 0.1, 0.01, 0.05),
    )  # fmt: skip
    record_job(
        engine,
        site,
        measured,
        by="tester",
        now=NOW + timedelta(hours=3, minutes=30),
        bolts_tight=True,
        covariances=known,
    )
    with engine.connect() as connection:
        last = connection.execute(sa.select(sa.func.max(JobRow.entry))).scalar_one()
    sign_off(engine, site, last, meaning=Meaning.APPROVED, by="Dora Linn", now=NOW + timedelta(hours=4), remark="seen")
    with writing(engine, site.site_id, "tester", NOW + timedelta(hours=5)) as unit:
        account = unit.append(Kind.ACCOUNT_ADDED)
        unit.add(AccountRow, (account, site.site_id, "dora"))
        unit.add(AccountVersionRow, (account, site.site_id, account, "Dora Linn", "d@example.org", "[]", False, "x|y"))


@contextmanager
def unguarded(connection: sa.Connection, table: str = "") -> Iterator[None]:
    """Take away what stands in the way of changes, and put it back as it was: verification must not live on a trace."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
        yield
        connection.exec_driver_sql("SET LOCAL session_replication_role = origin")
        return
    asked = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name LIKE '" + (table or "%") + "'"
    guards = [tuple(row) for row in connection.exec_driver_sql(asked)]
    for name, _ in guards:
        connection.exec_driver_sql(f"DROP TRIGGER {name}")
    yield
    for _, text in guards:
        connection.exec_driver_sql(text)


def look_past(connection: sa.Connection, index: str, how: str) -> None:
    """Make an index of a SQLite book that does not lead to a row, and let the file say that it is as it was."""
    (text,) = connection.exec_driver_sql(f"SELECT sql FROM sqlite_master WHERE name = '{index}'").one()
    connection.exec_driver_sql(f"DROP INDEX {index}")
    connection.exec_driver_sql(how)
    connection.exec_driver_sql("PRAGMA writable_schema = ON")
    connection.exec_driver_sql("UPDATE sqlite_master SET sql = ? WHERE name = ?", (text, index))
    connection.exec_driver_sql("PRAGMA writable_schema = RESET")


@contextmanager
def tampered(connection: sa.Connection) -> Iterator[sa.Connection]:
    """Let changes be made behind the tool's back; they are gone afterwards."""
    connection.exec_driver_sql("SAVEPOINT before")
    try:
        yield connection
    finally:
        connection.exec_driver_sql("ROLLBACK TO SAVEPOINT before")
        connection.exec_driver_sql("RELEASE SAVEPOINT before")


def plain(table: str) -> sa.Table:
    """Give a table whose columns are what the database stores, for values of any kind."""
    of = metadata.tables[table]
    return sa.table(table, *(sa.column(column.name, _stored(column)) for column in of.columns))  # type: ignore[return-value]


def _stored(column: sa.Column[Any]) -> sa.types.TypeEngine[Any]:
    kind = column.type
    return kind.impl_instance if isinstance(kind, sa.TypeDecorator) else kind


def rows_of(connection: sa.Connection, table: str) -> list[dict[str, Any]]:
    key = [column.name for column in metadata.tables[table].primary_key.columns]
    of = plain(table)
    asked = sa.select(of).order_by(*(of.c[name] for name in key))
    return [dict(row) for row in connection.execute(asked).mappings()]


def same(of: sa.Table, row: dict[str, Any]) -> sa.ColumnElement[bool]:
    key = [column.name for column in metadata.tables[of.name].primary_key.columns]
    return sa.and_(*(of.c[name] == row[name] for name in key))


def change(connection: sa.Connection, table: str, row: dict[str, Any], **values: Any) -> None:
    of = plain(table)
    with unguarded(connection, table):
        done = connection.execute(sa.update(of).where(same(of, row)).values(**values))
    assert done.rowcount == 1


def delete(connection: sa.Connection, table: str, row: dict[str, Any]) -> None:
    of = plain(table)
    with unguarded(connection, table):
        assert connection.execute(sa.delete(of).where(same(of, row))).rowcount == 1


def insert(connection: sa.Connection, table: str, row: dict[str, Any]) -> None:
    with unguarded(connection, table):
        connection.execute(sa.insert(plain(table)).values(**row))


def seal_again(connection: sa.Connection) -> list[bytes]:
    """Do as a forger who knows the form: make every statement and leaf fit what the rows say now."""
    last = connection.exec_driver_sql("SELECT max(number) FROM entry").scalar()
    sealed = seal(*read_bound(connection, 1, last))
    of = plain("statement")
    with unguarded(connection, "statement"):
        connection.execute(sa.delete(of))
        connection.execute(
            sa.insert(of), [dict(zip(("entry", "site_id", "said", "leaf"), row, strict=True)) for row in sealed]
        )
    return [row[3] for row in sealed]


def cut_off(connection: sa.Connection, after: int) -> None:
    """Delete everything that came after an entry."""
    with unguarded(connection):
        for table in ("tree_head", "statement", *(mapped.__tablename__ for mapped in reversed(BOUND)), "entry"):
            if table == "site":
                first = sa.text("DELETE FROM site WHERE id NOT IN (SELECT site_id FROM site_version)")
                connection.execute(first)
                continue
            mapped = next((one for one in BOUND if one.__tablename__ == table), None)
            column = {"tree_head": "size", "statement": "entry", "entry": "number"}.get(table) or key_column(mapped)
            connection.exec_driver_sql(f"DELETE FROM {table} WHERE {column} > {after}")


assert set(HISTORY) == set(metadata.tables) & set(HISTORY)
