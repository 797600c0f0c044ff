"""COPY into PostgreSQL: every value arrives as it was, and what is sent beside is whole or nothing."""

from __future__ import annotations

import math
import struct
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import psycopg
import pytest
import sqlalchemy as sa

import models.store.unit as unit_of
from models.errors import BookUnreachableError
from models.ledger.columns import Coded, Each, Same, Values
from models.settings import Settings
from models.store.bulk import put_columns, put_rows
from models.store.copy_in import Beside, copy_in
from models.store.copy_text import copy_lines, row_line, written
from models.store.engine import make_engine
from models.store.unit import Unit
from models.values.kinds import Kind
from models.values.story import Site
from tests.seeded import bring_in, contents
from tests.test_commands_import_columns import files_of, some_jobs
from tests.test_commands_plain_jobs import take_way

on_postgresql = pytest.mark.parametrize("settings", ["postgresql"], indirect=True)

TEXTS = [
    "", "plain", "\\N", "\\.", "\\", "a\\tb", "tab\there", "line\nend", "return\rhere", "\r\n", "\x01", "\x01\x01 twice", '"quoted"',
    "NULL", "ünï °µ−", "\x0b\x0c\x1f\x7f", " spaces ", "x" * 5_000, None,
]  # fmt: skip
NUMBERS = [0.0, -0.0, 0.1 + 0.2, 1e-7, 5e-324, -1.7976931348623157e308, 1e16, 3.0, None, math.inf]
TRUTHS = [True, False, None]
BLOBS = [b"", b"\x00\xff\\\t\n\x01", bytes(range(256)), None]
WHOLES = [0, -1, 2**62, None]
NAMES = ["place", "said", "number", "truth", "blob", "whole"]


def rows() -> list[tuple[Any, ...]]:
    lists: list[list[Any]] = [TEXTS, NUMBERS, TRUTHS, BLOBS, WHOLES]
    return [(n, *(some[n % len(some)] for some in lists)) for n in range(60)]


def bits(values: tuple[Any, ...]) -> tuple[Any, ...]:
    """Give values so that two floats are the same only with the same bits."""
    return tuple(
        struct.pack("d", v) if isinstance(v, float) else bytes(v) if isinstance(v, memoryview) else v for v in values
    )


@pytest.fixture
def kept(settings: Settings) -> Any:
    """Give a connection with a table of all kinds, and what reads it."""
    engine = make_engine(settings)
    with engine.connect() as connection, connection.begin():
        connection.exec_driver_sql(
            "CREATE TEMP TABLE kinds (place bigint, said text, number float8, truth boolean, blob bytea, whole bigint)"
        )
        yield (
            connection,
            lambda: [bits(tuple(row)) for row in connection.exec_driver_sql("SELECT * FROM kinds ORDER BY place")],
        )
    engine.dispose()


Kept = tuple[sa.Connection, Callable[[], list[tuple[Any, ...]]]]


@on_postgresql
def test_rows_arrive_as_they_were(kept: Kept) -> None:
    connection, read = kept
    put_rows(connection, "kinds", NAMES, rows())
    assert read() == [bits(row) for row in rows()]


@on_postgresql
def test_columns_arrive_as_they_were(kept: Kept) -> None:
    connection, read = kept
    of, count = Values(TEXTS), 60
    codes = np.array([n % len(TEXTS) for n in range(count)], dtype=np.intp)
    every = rows()
    columns = [
        Each([row[0] for row in every], [str(row[0]) for row in every]),
        Coded(codes, of),
        Each([row[2] for row in every]),
        Same(True),
        Coded(codes, of, lambda text: None if text is None else text.encode()),
        Same(None),
    ]
    table = SimpleNamespace(__tablename__="kinds", names=lambda: NAMES)
    put_columns(connection, table, columns, count)  # type: ignore[arg-type]
    told = [(n, said, number, True, None if said is None else said.encode(), None) for n, said, number, *_ in every]
    assert read() == [bits(row) for row in told]
    assert copy_lines(NAMES, columns, count) == [row_line(row) for row in told]


def test_kinds_of_their_own_are_written_as_what_they_are_and_others_refused() -> None:
    assert written(Kind.JOB_RECORDED) == str(Kind.JOB_RECORDED)
    assert written(np.float64(0.1)) == "0.1"
    assert written(None) == "\\N"
    assert written("\\N") != "\\N"
    with pytest.raises(TypeError, match="no form"):
        written(object())


@on_postgresql
def test_what_cannot_be_stored_is_a_fault_of_the_data(kept: Kept) -> None:
    connection, _ = kept
    with pytest.raises(sa.exc.DataError):
        put_rows(connection, "kinds", NAMES, [(1, "a\x00b", 1.0, True, b"", 1)])


@on_postgresql
def test_what_is_sent_beside_arrives_in_order_before_anything_is_asked(kept: Kept) -> None:
    connection, read = kept
    beside = Beside(connection)
    for start in range(0, 60, 10):
        put_rows(connection, "kinds", NAMES, rows()[start : start + 10], beside)
    assert connection.exec_driver_sql("SELECT count(*) FROM kinds").scalar_one() == 60
    assert read() == [bits(row) for row in rows()]
    beside.close()
    assert not _threads()


@on_postgresql
def test_the_first_fault_beside_is_told_and_the_rest_goes_back(settings: Settings, site: Site) -> None:
    del site
    engine = make_engine(settings)
    before = contents(engine)

    def work() -> None:
        with engine.connect() as connection, connection.begin():
            beside = Beside(connection)
            for number in (1, 2, 3):
                copy_in(connection, "site", ["id", "code"], [f"{number}\tsame\n"], beside)
            beside.arrive()

    for _ in range(2):  # the connection is as good as before
        with pytest.raises(sa.exc.IntegrityError, match="duplicate key"):
            work()
    assert contents(engine) == before
    assert not _threads()
    engine.dispose()


def _threads() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name.startswith("driftbook-copy")]


@on_postgresql
@pytest.mark.parametrize("how", ["here", "the line"])
def test_an_import_that_breaks_while_rows_are_sent_leaves_nothing(
    how: str, settings: Settings, site: Site, engine: sa.Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unit_of, "MANY", 0)
    take_way(monkeypatch, "columns")
    files = files_of(tmp_path, some_jobs(9, 600, faults=False))
    before, seal = contents(engine), Unit._seal_blocks
    server = sa.create_engine(settings.url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)

    def breaks(unit: Unit) -> None:
        if not unit._blocks:
            seal(unit)
            return
        assert _threads()
        if how == "here":
            raise ZeroDivisionError
        raw: Any = unit.connection.connection.driver_connection
        with server.connect() as other:
            other.execute(sa.text("SELECT pg_terminate_backend(:pid, 5000)"), {"pid": raw.info.backend_pid})
        seal(unit)

    with monkeypatch.context() as broken:
        broken.setattr(Unit, "_seal_blocks", breaks)
        with pytest.raises(ZeroDivisionError if how == "here" else BookUnreachableError):
            bring_in(engine, site, *files)
    assert contents(engine) == before
    assert not _threads()
    assert bring_in(engine, site, *files).written
    assert not _threads()
    server.dispose()


@on_postgresql
def test_who_stops_a_command_while_the_server_begins_to_take_rows_lost_no_database(
    settings: Settings, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine = make_engine(settings)

    @contextmanager
    def stopped(cursor: psycopg.Cursor[Any], statement: str) -> Iterator[None]:
        cursor.execute("SELECT 1")  # begins the transaction
        cursor.connection.pgconn.exec_(statement.encode())
        raise KeyboardInterrupt
        yield

    monkeypatch.setattr(psycopg.Cursor, "copy", stopped)
    with pytest.raises(KeyboardInterrupt), engine.connect() as connection, connection.begin():
        copy_in(connection, "entry", ["number"], [])
    with engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT 1").scalar() == 1
    engine.dispose()
    del site
