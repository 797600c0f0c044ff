"""Every migration on both engines: up, down, the same shape, the same rows, the same guards."""

from __future__ import annotations

import ast
import hashlib
import re
import sqlite3
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.script import ScriptDirectory

from models.errors import BookMissingError, WrongRevisionError
from models.settings import Settings
from models.store.engine import make_engine
from models.store.revision import (
    alembic_config,
    check_revision,
    downgrade,
    needed_revision,
    new_book,
    revision_of,
    upgrade,
)
from models.tables.every import HISTORY, metadata
from models.values.story import Site
from tests.seeded import contents, seed_every_table

VERSIONS = sorted(Path(str(alembic_config().get_main_option("script_location")), "versions").glob("[0-9]*.py"))


def shape(engine: sa.Engine) -> list[str]:
    """Give tables, indexes and triggers as text: reflection would not notice a lost trigger."""
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            rows = connection.exec_driver_sql(
                "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name <> 'alembic_version'"
            )
            return sorted(f"{name}: {' '.join(sql.split())}" for name, sql in rows)
        columns = connection.exec_driver_sql(
            "SELECT table_name, column_name, data_type, is_nullable FROM information_schema.columns"
            " WHERE table_schema = 'public' AND table_name <> 'alembic_version'"
        )
        indexes = connection.exec_driver_sql(
            "SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = 'public' AND tablename <> 'alembic_version'"
        )
        triggers = connection.exec_driver_sql(
            "SELECT tgname, pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal"
        )
        keys = connection.exec_driver_sql(
            "SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint WHERE connamespace = 'public'::regnamespace AND conname NOT LIKE 'alembic%%'"
        )
        functions = connection.exec_driver_sql(
            "SELECT proname, prosrc, proconfig FROM pg_proc WHERE pronamespace = 'public'::regnamespace"
        )
        return sorted(str(tuple(row)) for row in (*columns, *indexes, *triggers, *keys, *functions))


def triggers(engine: sa.Engine) -> set[str]:
    return {line.split(":")[0] for line in shape(engine) if "guard_" in line}


def test_there_is_one_line_of_revisions() -> None:
    assert ScriptDirectory.from_config(alembic_config()).get_heads() == [needed_revision()]


@pytest.mark.parametrize("path", VERSIONS, ids=lambda path: path.stem)
def test_a_revision_is_frozen(path: Path) -> None:
    """A revision that imported the models would change its meaning when they do."""
    imported = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            imported.add(str(node.module).split(".")[0])
    assert imported <= {"__future__", "alembic", "sqlalchemy", "migrations"}


def test_the_migrations_make_what_the_models_say(settings: Settings) -> None:
    engine = make_engine(settings)
    with engine.connect() as connection:
        config = alembic_config()
        config.attributes["connection"] = connection
        command.check(config)
    engine.dispose()


def test_the_tables_are_the_same_text_as_the_models_give(sqlite_book: Settings, tmp_path: Path) -> None:
    """Autogenerate does not see a changed CHECK; the text does."""
    engine = make_engine(sqlite_book)
    direct = make_engine(Settings(book=str(tmp_path / "direct.db")))
    metadata.create_all(direct)
    made = {line for line in shape(engine) if "guard_" not in line}

    def plain(lines: set[str]) -> set[str]:
        return {" ".join(sorted(re.findall(r"[\w.>]+", line))) for line in lines}

    assert plain(made) == plain(set(shape(direct)))
    engine.dispose()
    direct.dispose()


def test_a_new_book_is_made_of_the_same_text_as_ever() -> None:
    """Books are held against this text by ``verify``: another version of a library that writes it otherwise would call old books altered.

    A new revision changes the digest on purpose; nothing else may.
    """
    made = "\n".join(
        sorted(f"{kind} {name} {table} {' '.join((text or '').split())}" for kind, name, table, text in new_book())
    )
    assert (
        hashlib.sha256(made.encode()).hexdigest() == "5f6e3fae26b8612a00778293f3f7b78246471dfa95739c6cfa61726deb297e36"
    )


def test_up_down_up_gives_the_same_shape_and_guards(settings: Settings) -> None:
    engine = make_engine(settings)
    before = shape(engine)
    assert triggers(engine) or engine.dialect.name == "postgresql"
    engine.dispose()
    downgrade(settings, "base")
    engine = make_engine(settings)
    assert shape(engine) == []
    engine.dispose()
    upgrade(settings)
    engine = make_engine(settings)
    assert shape(engine) == before
    engine.dispose()


def test_every_history_table_is_guarded(settings: Settings) -> None:
    engine = make_engine(settings)
    lines = "\n".join(shape(engine))
    for table in HISTORY:
        wanted = (
            [f"guard_{table}_update", f"guard_{table}_delete", f"guard_{table}_replace"]
            if engine.dialect.name == "sqlite"
            else [f"guard_{table}"]
        )
        assert all(name in lines for name in wanted)
    engine.dispose()


@pytest.mark.parametrize("round_trip", [False, True], ids=["fresh", "after down and up"])
def test_history_refuses_update_and_delete(settings: Settings, tmp_path: Path, round_trip: bool) -> None:
    if round_trip:
        downgrade(settings, "base")
        upgrade(settings)
    from tests.conftest import make_site

    site = make_site(settings)
    engine = make_engine(settings)
    seed_every_table(engine, site, tmp_path)
    with engine.begin() as connection:
        connection.exec_driver_sql(
            "INSERT INTO sign_in (id, at_us, login, address, outcome) VALUES (1, 1, 'ana', '-', 'came in')"
        )
    before = contents(engine)
    for table in (*HISTORY, "sign_in"):
        _refuses(engine, table)
    assert all(before[table] for table in HISTORY), "the test needs a row in every table"
    assert contents(engine) == before
    engine.dispose()


def _refuses(engine: sa.Engine, table: str) -> None:
    column = metadata.tables[table].columns.keys()[-1]
    for statement in (f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"):
        with pytest.raises(sa.exc.DatabaseError, match="is history"), engine.begin() as connection:
            connection.exec_driver_sql(statement)
    if engine.dialect.name == "postgresql":
        with pytest.raises(sa.exc.DatabaseError, match="is history"), engine.begin() as connection:
            connection.exec_driver_sql(f"TRUNCATE {table} CASCADE")
    else:
        with pytest.raises(sa.exc.DatabaseError, match=r"is history|is there already"), engine.begin() as connection:
            connection.exec_driver_sql(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")


def test_replacing_by_another_key_is_refused_even_by_a_foreign_program(sqlite_book: Settings, tmp_path: Path) -> None:
    """INSERT OR REPLACE deletes without a delete trigger unless the connection asks for it; the guard does not rely on that."""
    from tests.conftest import make_site

    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    seed_every_table(engine, site, tmp_path)
    engine.dispose()
    connection = sqlite3.connect(sqlite_book.path)
    for statement in (
        "INSERT OR REPLACE INTO asset (id, site_id, tag) SELECT max(number), 1, 'P-1' FROM entry",
        "INSERT OR REPLACE INTO job SELECT * FROM job",
        "UPDATE OR REPLACE job SET notes = ''",
    ):
        with pytest.raises(sqlite3.IntegrityError):
            connection.execute(statement)
    connection.close()


def test_upgrading_a_file_copies_it_aside(sqlite_book: Settings, tmp_path: Path) -> None:
    copy = upgrade(sqlite_book)
    assert copy is not None
    assert copy.parent == tmp_path
    assert sqlite3.connect(copy).execute("SELECT version_num FROM alembic_version").fetchone() == (needed_revision(),)


def test_rows_survive_an_upgrade_that_has_nothing_to_do(
    engine: sa.Engine, site: Site, settings: Settings, tmp_path: Path
) -> None:
    seed_every_table(engine, site, tmp_path)
    before = contents(engine)
    upgrade(settings)
    assert contents(engine) == before
    assert revision_of(engine) == needed_revision()


def test_a_book_that_is_missing_or_of_another_revision_is_refused_with_what_to_type(
    sqlite_book: Settings, tmp_path: Path
) -> None:
    absent = Settings(book=str(tmp_path / "nothing.db"))
    with pytest.raises(BookMissingError, match="driftbook init"):
        check_revision(absent, make_engine(absent))
    assert not absent.path.exists()
    connection = sqlite3.connect(sqlite_book.path)
    connection.execute("UPDATE alembic_version SET version_num = '9999_from_the_future'")
    connection.commit()
    connection.close()
    engine = make_engine(sqlite_book)
    with pytest.raises(WrongRevisionError, match="a newer one wrote it"):
        check_revision(sqlite_book, engine)
    engine.dispose()
