"""Whatever a database is set to: what is written into the book, read from it and compared is the same."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.cli import main
from models.commands.backup import back_up
from models.commands.record_job import record_job
from models.errors import BookReadOnlyError, InvalidValueError
from models.ledger.findings import Fault
from models.settings import Settings
from models.store.copying import one_state
from models.store.engine import make_engine
from models.store.revision import revision_of
from models.store.verify import verify_book
from models.store.verify_server import GUARDED
from models.tables.references import POINTERS
from models.values.job import Misalignment
from tests.conftest import NOW, database_url, make_site
from tests.recorder import job_of, machines
from tests.seeded import bring_in, contents

on_a_server = pytest.mark.parametrize("settings", ["postgresql"], indirect=True)

ODD = {
    "extra_float_digits": "0", "client_encoding": "LATIN1", "standard_conforming_strings": "off", "quote_all_identifiers": "on",
    "default_transaction_isolation": "serializable", "bytea_output": "escape", "DateStyle": "German", "IntervalStyle": "sql_standard",
    "timezone": "Asia/Kathmandu", "transform_null_equals": "on", "array_nulls": "off",
}  # fmt: skip
"""What a database that is older than the book may be set to."""


def alter(settings: Settings, odd: dict[str, str]) -> None:
    engine = sa.create_engine(settings.url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with engine.connect() as connection:
        for name, value in odd.items():
            connection.exec_driver_sql(f"ALTER DATABASE {engine.url.database} SET {name} = '{value}'")
    engine.dispose()


@on_a_server
def test_a_book_is_the_same_whatever_its_database_is_set_to(settings: Settings, tmp_path: Path) -> None:
    alter(settings, ODD)
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = tmp_path / "assets.csv"  # by COPY: from fifty rows on
    sheet.write_text(machines(52).replace("M-1,made for a test", "M-1,N").replace("M-2,made", "M-2,Łódź \\N made"))
    assert bring_in(engine, site, sheet).written
    job = replace(job_of(0, 0), found=Misalignment(0.1 + 0.2, 1 / 3, 2 / 7, 1e-17))
    line = record_job(engine, site, job, by="Łucja", now=NOW + timedelta(hours=1), bolts_tight=True)
    with engine.connect() as connection:
        found = verify_book(connection)
        assert not found.tally.kept
        kept = connection.exec_driver_sql(
            f"SELECT found_offset_v, found_angle_v, found_offset_h, found_angle_h FROM job WHERE entry = {line.entry}"
        ).one()
        descriptions = {*connection.exec_driver_sql("SELECT description FROM asset_version").scalars()}
    assert tuple(kept) == (0.1 + 0.2, 1 / 3, 2 / 7, 1e-17)
    assert descriptions == {"made for a test", "N", "Łódź \\N made for a test"}
    with one_state(engine) as connection:
        assert (
            connection.exec_driver_sql("SELECT current_setting('transaction_isolation')").scalar() == "repeatable read"
        )
    with engine.connect() as connection:  # the same line of the pool
        assert (
            connection.exec_driver_sql("SELECT current_setting('transaction_isolation')").scalar() == "read committed"
        )
        assert connection.exec_driver_sql("SELECT current_setting('extra_float_digits')").scalar() == "3"
    made = back_up(settings, engine, tmp_path / "copy.db")
    copy = make_engine(Settings(book=str(made.path)))
    assert contents(copy) == contents(engine)
    copy.dispose()
    engine.dispose()


@on_a_server
def test_guards_that_a_setting_of_the_database_switches_off_are_named(settings: Settings) -> None:
    make_site(settings)
    alter(settings, {"session_replication_role": "replica"})  # which no connection of ours may set back
    engine = make_engine(settings)
    with engine.connect() as connection:
        found = verify_book(connection)
    assert found.tally.counts == {Fault.GUARD: len(GUARDED) + len(POINTERS) + 8}, (
        "eight on the parts of the two tables that are cut"
    )
    engine.dispose()


@on_a_server
def test_what_the_address_sets_holds_beside_it_also_on_a_replica(settings: Settings) -> None:
    address = replace(settings, book=f"{settings.book}{'&' if '?' in settings.book else '?'}options=-cwork_mem%3D12345")
    for replica in (False, True):
        engine = make_engine(address, replica=replica)
        with engine.connect() as connection:
            assert connection.exec_driver_sql("SELECT current_setting('work_mem')").scalar() == "12345kB"
            if replica:
                with pytest.raises(BookReadOnlyError):
                    connection.exec_driver_sql("CREATE TABLE nothing ()")
        engine.dispose()


@pytest.mark.parametrize("encoding", ["LATIN1", "SQL_ASCII"])
def test_a_database_that_does_not_hold_every_letter_is_refused(
    encoding: str, postgres_url: str, sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = f"encoded_{encoding.lower()}_{os.getpid()}"
    server = sa.create_engine(postgres_url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with server.connect() as connection:
        connection.exec_driver_sql(
            f"CREATE DATABASE {name} ENCODING '{encoding}' TEMPLATE template0 LC_COLLATE 'C' LC_CTYPE 'C'"
        )
    book = Settings(book=database_url(postgres_url, name))
    make_site(sqlite_book)
    assert main(["backup", "-o", str(tmp_path / "copy.db"), "--book", sqlite_book.book]) == 0
    for typed in (
        ["init", "--site", "North Quay", "--zone", "Europe/Lisbon", "--book", book.book],
        ["move", "--to", book.book, "--book", sqlite_book.book],
        ["restore", str(tmp_path / "copy.db"), "--book", book.book],
    ):
        assert main(typed) == 2
        said = capsys.readouterr().err
        assert f"is in the encoding {encoding}, which does not hold every letter" in said, typed
        assert "createdb -E UTF8 -T template0" in said
    engine = make_engine(book)
    assert revision_of(engine) is None
    if encoding == "LATIN1":  # a book that is in such a database from before
        with engine.connect() as connection, pytest.raises(InvalidValueError, match="does not hold a letter of this"):
            connection.execute(sa.text("SELECT :word"), {"word": "Łódź"})
    engine.dispose()
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    server.dispose()
