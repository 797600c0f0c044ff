"""On PostgreSQL: the application's role cannot change history, two upgrades keep apart, and an upgrade asks for a backup."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.api.operations import PREFIX
from dashboard.app import create_app
from dashboard.away import away_of
from dashboard.cli import main
from dashboard.words import say
from models.commands.accounts import add_account
from models.commands.amend_job import amend_job
from models.commands.backup import back_up
from models.commands.record_job import record_job
from models.commands.restore import restore
from models.errors import BookBusyError, BookCutOffError, BookReadOnlyError, DriftbookError, InvalidValueError
from models.settings import Settings
from models.store.copying import check_copy, one_state
from models.store.engine import make_engine
from models.store.partitions import parts_of
from models.store.reader import Reader
from models.store.readiness import readiness
from models.store.revision import downgrade, needed_revision, revision_of, upgrade
from models.store.roles import grants, within_rights
from models.store.state import credential
from models.tables.every import HISTORY, MAPPED, STATE
from models.tables.partitions import PARTITIONED
from models.values.roles import Role
from models.values.story import Site
from tests.conftest import NOW, database_url, make_site
from tests.recorder import job_of, machines
from tests.seeded import bring_in, contents

ROOT = Path(__file__).parents[2]
LATER = NOW + timedelta(minutes=1)


@pytest.fixture
def server(postgres_url: str) -> Iterator[sa.Engine]:
    owner = sa.create_engine(postgres_url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    yield owner
    owner.dispose()


@pytest.fixture
def emptied(server: sa.Engine, postgres_url: str) -> Iterator[Settings]:
    name = "faults_empty"
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    yield Settings(book=database_url(postgres_url, name))
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def as_role(server: sa.Engine, settings: Settings, tmp_path: Path) -> Iterator[tuple[sa.Engine, Site]]:
    """Give the engine of a role that has what 'driftbook grants' prints, and no more."""
    site = make_site(settings)
    owner = make_engine(settings)
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(2))
    assert bring_in(owner, site, sheet).written
    with server.connect() as connection:
        connection.exec_driver_sql("DROP ROLE IF EXISTS driftbook_test_app")
        connection.exec_driver_sql("CREATE ROLE driftbook_test_app LOGIN PASSWORD 'for a test'")
    owner.dispose()
    assert main(["grants", "--role", "driftbook_test_app", "--apply", "--book", settings.book]) == 0
    url = sa.make_url(settings.url).set(username="driftbook_test_app", password="for a test")  # noqa: S106
    engine = make_engine(Settings(book=url.render_as_string(hide_password=False)))
    yield engine, site
    engine.dispose()
    owner = make_engine(settings)
    with owner.begin() as connection:
        connection.exec_driver_sql("DROP OWNED BY driftbook_test_app")
    owner.dispose()
    with server.connect() as connection:
        connection.exec_driver_sql("DROP ROLE driftbook_test_app")


@pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
def test_the_application_works_with_a_role_that_cannot_change_history(
    as_role: tuple[sa.Engine, Site], tmp_path: Path
) -> None:
    engine, site = as_role
    with engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT current_user").scalar() == "driftbook_test_app"
    line = record_job(engine, site, job_of(0, 0), by="tester", now=LATER, bolts_tight=True)
    again = amend_job(
        engine, site, line.entry, job_of(0, 0).__class__(**_fields(job_of(0, 0), notes="read again")), by="tester",
        now=LATER, why="a note was missing", bolts_tight=True,
    )  # fmt: skip
    assert again.supersedes == line.entry
    sheet = tmp_path / "more.csv"
    sheet.write_text(machines(4).replace("M-2", "N-2").replace("M-3", "N-3"))
    assert bring_in(engine, site, sheet).written
    assert len(Reader(engine).history(site.site_id).jobs) == 1
    made = back_up(Settings(book="postgresql://x/y"), engine, tmp_path / "copy.db")
    assert made.copied.checked.unsealed == 0
    for table in HISTORY:
        for what in (
            f"DELETE FROM {table}",
            f"TRUNCATE {table}",
            f"UPDATE {table} SET site_id = 1",
            f"DROP TRIGGER guard_{table} ON {table}",
        ):
            if what.startswith("UPDATE") and table in {"site", "tree_head"}:
                what = f"UPDATE {table} SET {'code' if table == 'site' else 'root'} = NULL"  # noqa: PLW2901
            with pytest.raises((BookReadOnlyError, sa.exc.DBAPIError)) as told, engine.begin() as connection:
                connection.exec_driver_sql(what)
            cause = told.value.__cause__
            assert getattr(cause, "sqlstate", "") == "42501", f"{what}: {cause}"


@pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
def test_an_upgrade_as_the_role_of_the_server_is_refused_with_whose_matter_it_is(
    as_role: tuple[sa.Engine, Site], settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    engine, _ = as_role
    address = engine.url.render_as_string(hide_password=False)
    engine.dispose()
    downgrade(settings, "0003_parts_by_site")
    assert main(["upgrade", "--book", address, "--i-have-a-backup", "--by", "tester"]) == 2
    said = capsys.readouterr().err
    assert "by the role that owns the tables, not by that of the server" in said
    assert "driftbook grants" not in said
    owner = make_engine(settings)
    assert revision_of(owner) == "0003_parts_by_site"
    owner.dispose()
    upgrade(settings)


@pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
def test_a_server_whose_role_may_not_add_is_not_ready_to_record(
    as_role: tuple[sa.Engine, Site], settings: Settings
) -> None:
    engine, _ = as_role
    client = create_app(
        settings, Reader(engine), probe=lambda: within_rights(engine, readiness(engine, settings))
    ).server.test_client()
    assert client.get("/readyz").status_code == 200
    assert main(["grants", "--role", "driftbook_test_app", "--reads-only", "--apply", "--book", settings.book]) == 0
    answer = client.get("/readyz")
    assert (answer.status_code, answer.get_json()) == (
        503, {"ready": False, "book": True, "revision": True, "writable": False},
    )  # fmt: skip
    assert "driftbook_book_writable 0" in client.get("/metrics").get_data(as_text=True)
    owner = make_engine(settings)
    with owner.begin() as connection:  # of one table alone: what it holds could not be recorded
        for statement in grants("driftbook_test_app"):
            connection.exec_driver_sql(statement)
        connection.exec_driver_sql("REVOKE INSERT ON statement FROM driftbook_test_app")
    owner.dispose()
    assert client.get("/readyz").get_json()["writable"] is False


@pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
def test_a_role_that_may_not_is_told_which_one_may(
    as_role: tuple[sa.Engine, Site], settings: Settings, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    address = as_role[0].url.render_as_string(hide_password=False)
    assert main(["grants", "--role", "driftbook_test_app", "--apply", "--book", address]) == 2
    said = capsys.readouterr().err
    assert "by the owner of the tables, not by the role of the server" in said
    assert "driftbook grants" not in said, "that is what was typed"
    assert main(["grants", "--role", "driftbook_test_app", "--reads-only", "--apply", "--book", settings.book]) == 0
    for typed in (["backup", str(tmp_path / "copy.db")], ["move", "--to", str(tmp_path / "moved.db")]):
        assert main([*typed, "--book", address]) == 2
        said = capsys.readouterr().err
        assert "A role that got --reads-only" in said
        assert "need the rights of the server's role" in said
    assert {one.name for one in tmp_path.iterdir()} <= {"assets.csv", "mappings", "driftbook.db.key"}


@pytest.mark.parametrize(
    ("owner", "typed"),
    [
        ("driftbook_test_own", "driftbook_test_own"),
        ('My "100%" \\Plant', "%22My%5C%20%22%22100%25%22%22%5C%20%5C%5CPlant%22"),
    ],
)
def test_rights_are_given_where_the_tables_lie(
    server: sa.Engine, emptied: Settings, capsys: pytest.CaptureFixture[str], owner: str, typed: str
) -> None:
    """A name that has to stand in quotes too: as it is given to the server, and in an address, where a blank parts options."""
    app, quoted = "driftbook_test_app2", '"' + owner.replace('"', '""') + '"'
    name = sa.make_url(emptied.url).database
    with server.connect() as connection:
        for role in (quoted, app):
            connection.execute(sa.text(f"DROP ROLE IF EXISTS {role}"))
            connection.execute(sa.text(f"CREATE ROLE {role} LOGIN PASSWORD 'for a test'"))
        connection.execute(sa.text(f"ALTER DATABASE {name} OWNER TO {quoted}"))

    def as_who(role: str, more: str = "") -> Settings:
        url = sa.make_url(emptied.url).set(username=role, password="for a test")  # noqa: S106
        address = url.render_as_string(hide_password=False)
        return Settings(book=f"{address}{('&' if '?' in address else '?') + more if more else ''}")

    owners = as_who(owner)
    engine = make_engine(owners)
    with engine.begin() as connection:
        connection.execute(sa.text(f"CREATE SCHEMA {quoted}"))  # a search_path that nobody set begins with it
    make_site(owners)
    with engine.connect() as connection:
        assert {table for table, part in parts_of(connection) if not part.endswith("_default")} == set(PARTITIONED)
    assert main(["verify", "--book", owners.book, "--one-process"]) == 0
    assert main(["partition", "--book", owners.book]) == 0
    capsys.readouterr()
    with engine.begin() as connection:
        connection.exec_driver_sql(f"GRANT UPDATE ON job TO {app}")  # from before: taken away again
    assert main(["grants", "--role", app, "--book", owners.book]) == 0
    assert f'GRANT SELECT ON {quoted}.alembic_version TO "{app}";' in capsys.readouterr().out
    assert main(["grants", "--role", app, "--apply", "--book", owners.book]) == 0
    more = f"options=-csearch_path%3D{typed}"
    assert f"The tables lie in the schema {owner}, not in public." in (
        said := " ".join(capsys.readouterr().out.split())
    )
    assert said.endswith(f"?{more}")
    theirs = as_who(app, more)
    working = make_engine(theirs)
    assert within_rights(working, readiness(working, theirs)).ready
    with working.connect() as connection:
        asked = "SELECT has_table_privilege('job', 'INSERT'), has_table_privilege('job', 'UPDATE')"
        assert tuple(connection.exec_driver_sql(asked).one()) == (True, False)
    working.dispose()
    with engine.begin() as connection:
        connection.execute(sa.text(f"DROP SCHEMA {quoted} CASCADE"))
    engine.dispose()
    with server.connect() as connection:
        connection.exec_driver_sql(f"ALTER DATABASE {name} OWNER TO CURRENT_USER")
        for role in (quoted, app):
            connection.execute(sa.text(f"DROP ROLE {role}"))


def _fields(job: object, **changed: object) -> dict[str, object]:
    return {name: getattr(job, name) for name in job.__dataclass_fields__} | changed  # type: ignore[attr-defined]


def test_the_grants_name_every_table_once_and_refuse_a_name_that_is_none() -> None:
    text = " ".join(grants("app"))
    for mapped in (*MAPPED, *STATE):
        assert f"{mapped.__tablename__}" in text
    assert "UPDATE" not in next(line for line in grants("app") if "job," in line)
    assert not any("INSERT" in line or "credential" in line for line in grants("app", reads_only=True))
    with pytest.raises(InvalidValueError):
        list(grants('app"; DROP TABLE job; --'))


def test_two_upgrades_at_once_keep_apart(emptied: Settings) -> None:
    program = "import sys; from models.settings import Settings; from models.store.revision import upgrade; upgrade(Settings(book=sys.argv[1]))"
    both = [subprocess.Popen([sys.executable, "-c", program, emptied.book], cwd=ROOT) for _ in range(2)]
    assert [process.wait(60) for process in both] == [0, 0]
    engine = make_engine(emptied)
    assert revision_of(engine) == needed_revision()
    engine.dispose()


def test_an_upgrade_on_a_server_asks_for_a_backup_and_changes_nothing_without(
    emptied: Settings, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    upgrade(emptied)
    downgrade(emptied, "0001_the_book")
    asked = ["upgrade", "--book", emptied.book, "--by", "tester"]
    assert main(asked) == 2
    assert "--i-have-a-backup" in capsys.readouterr().err
    assert main(["backup", "--book", emptied.book, "-o", str(tmp_path / "before.db")]) == 2
    said = capsys.readouterr().err
    assert (
        "Stop the servers, then make a backup with the version that wrote it ('driftbook backup' of this one makes none)"
        in said
    )
    assert list(tmp_path.iterdir()) == []
    engine = make_engine(emptied)
    assert revision_of(engine) == "0001_the_book"
    assert main([*asked, "--i-have-a-backup"]) == 0
    assert revision_of(engine) == needed_revision()
    engine.dispose()


@pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
def test_a_backup_of_a_server_comes_back_into_a_file_and_into_another_server(
    settings: Settings, emptied: Settings, tmp_path: Path
) -> None:
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(2))
    assert bring_in(engine, site, sheet).written
    record_job(engine, site, job_of(0, 0), by="tester", now=LATER, bolts_tight=True)
    add_account(
        engine, [site], "ana", person="Ana Wick", roles=[Role.ADMINISTRATOR], by="tester", now=LATER,
        password="a long and plain sentence",  # noqa: S106
    )  # fmt: skip
    before = contents(engine)
    made = back_up(settings, engine, tmp_path / "copy.db")
    engine.dispose()
    for there in (Settings(book=str(tmp_path / "file.db")), emptied):
        assert restore(made.path, there) is not None
        engine = make_engine(there)
        assert contents(engine) == before
        with engine.connect() as connection:
            assert (
                credential(connection, int(str(before["account"][0][0]))) is not None
            )  # the password comes along, open sessions do not
        record_job(engine, site, job_of(0, 1), by="tester", now=LATER, bolts_tight=True)
        with one_state(engine) as connection:
            assert check_copy(connection, {}).unsealed == 0
        engine.dispose()
    with pytest.raises(DriftbookError, match="not empty"):
        restore(made.path, emptied)


def _with_options(settings: Settings, said: str) -> Settings:
    return Settings(book=f"{settings.book}{'&' if '?' in settings.book else '?'}options={said}")


@pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
def test_what_the_server_breaks_off_is_told_and_is_no_fault_of_the_program(
    settings: Settings, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site, hasty = make_site(settings), _with_options(settings, "-cstatement_timeout%3D300")
    engine = make_engine(hasty)
    with engine.begin() as connection:
        connection.exec_driver_sql("SET LOCAL statement_timeout = 1")
        with pytest.raises(BookCutOffError, match="statement timeout") as told:
            connection.exec_driver_sql("SELECT pg_sleep(9)")
        connection.rollback()
    said = away_of(told.value)
    assert said is not None
    assert (said.code, said.text) == ("busy", say("away.cut_off"))
    holder = make_engine(settings)
    with holder.connect() as holds, holds.begin():
        holds.exec_driver_sql("LOCK TABLE statement, entry IN ACCESS EXCLUSIVE MODE")
        monkeypatch.chdir(tmp_path)
        assert main(["verify", "--one-process", "--book", hasty.book]) == 2
        client = create_app(hasty, Reader(engine), probe=lambda: readiness(engine, hasty)).server.test_client()
        assert client.get("/readyz").status_code == 503
        answer = client.get(f"{PREFIX}/entries/1?site={site.code}")
        assert (answer.status_code, answer.get_json()["code"]) == (503, "busy")
    told_of = capsys.readouterr().err
    assert "broke off what was asked: canceling statement due to statement timeout" in told_of
    assert "need a role without: ALTER ROLE NAME SET statement_timeout = 0" in told_of
    assert not list(tmp_path.glob("*fault.log"))
    for one in (engine, holder):
        one.dispose()


def test_a_lock_that_is_not_had_is_told_as_busy(settings: Settings) -> None:
    if settings.is_file:
        pytest.skip("SQLite has no such lock")
    engine = make_engine(settings)
    with engine.connect() as holder, holder.begin():
        holder.exec_driver_sql("LOCK TABLE entry IN ACCESS EXCLUSIVE MODE")
        with engine.begin() as other:
            other.exec_driver_sql("SET LOCAL lock_timeout = '50ms'")
            with pytest.raises(BookBusyError):
                other.exec_driver_sql("SELECT count(*) FROM entry")
            other.rollback()
    engine.dispose()
