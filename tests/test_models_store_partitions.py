"""The long tables on PostgreSQL, cut by site: made, filled, guarded, asked in one part only, and put back."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.cli import main
from models.commands.amend_job import amend_job
from models.commands.record_job import record_job
from models.commands.sign_off import sign_off
from models.commands.take_in import move_book
from models.errors import BookBusyError, InvalidValueError
from models.ledger.findings import Fault
from models.settings import Settings
from models.store.copying import check_copy, one_state
from models.store.engine import make_engine
from models.store.partitions import AT_ONCE, parts_of, settle
from models.store.reader import Reader
from models.store.revision import downgrade, upgrade
from models.store.roles import give, grants
from models.store.verify_schema import guard_findings
from models.tables.every import MAPPED
from models.tables.partitions import PARTITIONED, on_postgresql, partition_name
from models.values.entry import EntryFilter
from models.values.kinds import Kind, Meaning
from models.values.story import Site
from tests.conftest import NOW, database_url, make_site
from tests.recorder import job_of, machines
from tests.seeded import NEWER, bring_in, contents, seed_old_tables
from tests.test_migrations import shape

pytestmark = pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
LATER = NOW + timedelta(minutes=1)


@pytest.fixture
def owner(settings: Settings) -> Iterator[sa.Engine]:
    engine = make_engine(settings)
    yield engine
    engine.dispose()


def two_sites(settings: Settings, engine: sa.Engine, folder: Path) -> list[Site]:
    """Give a book with two sites that hold the same machines, job numbers and an amendment each."""
    sites = [make_site(settings, name=name) for name in ("North Weir", "South Weir")]
    sheet = folder / "assets.csv"
    sheet.write_text(machines(2))
    for site in sites:
        assert bring_in(engine, site, sheet).written
        first = record_job(engine, site, job_of(0, 0), by="tester", now=LATER, bolts_tight=True)
        again = job_of(0, 0).__class__(**_fields(job_of(0, 0), notes="read again"))
        amend_job(engine, site, first.entry, again, by="tester", now=LATER, why="a note", bolts_tight=True)
        job = record_job(engine, site, job_of(1, 0), by="tester", now=LATER, bolts_tight=True)
        sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=LATER)
    return sites


def _fields(job: object, **changed: object) -> dict[str, object]:
    return {name: getattr(job, name) for name in job.__dataclass_fields__} | changed  # type: ignore[attr-defined]


def rows_in(engine: sa.Engine) -> dict[str, int]:
    names = {(table, partition_name(table, None)) for table in PARTITIONED}
    with engine.connect() as connection:
        parts = sorted({part for _, part in parts_of(connection)} | {part for _, part in names})
        return {part: connection.exec_driver_sql(f"SELECT count(*) FROM ONLY {part}").scalar_one() for part in parts}


def heads(engine: sa.Engine) -> list[tuple[object, ...]]:
    with engine.connect() as connection:
        return [tuple(row) for row in connection.exec_driver_sql("SELECT size, root FROM tree_head ORDER BY size")]


def test_a_site_gets_its_parts_when_it_is_set_up(settings: Settings, owner: sa.Engine, tmp_path: Path) -> None:
    sites = two_sites(settings, owner, tmp_path)
    held = rows_in(owner)
    assert held["job_default"] == held["statement_default"] == 0
    for site in sites:
        assert held[f"job_site_{site.site_id}"] == 3
        assert held[f"statement_site_{site.site_id}"] > 3
    with owner.connect() as connection:
        assert list(guard_findings(connection)) == []
    with one_state(owner) as connection:
        assert check_copy(connection, {}).unsealed == 0


def test_the_models_make_the_same_tables_by_themselves(owner: sa.Engine, postgres_url: str) -> None:
    """Keys, checks and references of the cut tables are compared as text: the comparison of Alembic does not look at all of them."""
    name = "as_the_models_say"
    server = sa.create_engine(postgres_url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    direct = make_engine(Settings(book=database_url(postgres_url, name)))
    on_postgresql().create_all(direct)

    def whole(engine: sa.Engine) -> set[str]:
        left = ("guard_", "_default", "refuse_change")
        return {line for line in shape(engine) if not any(name in line for name in left)}

    assert whole(direct) == whole(owner)
    direct.dispose()
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    server.dispose()


def test_rows_move_into_parts_and_back_by_migration(settings: Settings, owner: sa.Engine, tmp_path: Path) -> None:
    site = make_site(settings)
    seed_old_tables(owner, site, tmp_path)
    two_sites(settings, owner, tmp_path)
    before, kept, cut = contents(owner, without=NEWER), heads(owner), shape(owner)
    with owner.begin() as connection:
        connection.exec_driver_sql("DROP ROLE IF EXISTS driftbook_test_parts")
        connection.exec_driver_sql("CREATE ROLE driftbook_test_parts")
    give(owner, grants("driftbook_test_parts"))
    rights = _rights(owner)
    assert ("job", "INSERT") in rights
    assert ("job", "UPDATE") not in rights
    held = rows_in(owner)
    owner.dispose()
    downgrade(settings, "0002_proofs_and_people")
    older = {right for right in rights if right[0] not in NEWER}
    assert (contents(owner, without=NEWER), heads(owner), _rights(owner)) == (before, kept, older)
    with owner.connect() as connection:
        assert not parts_of(connection)
        # What looks rows up and two tables came with later revisions; its guards a book had from the first.
        guards = [f for f in guard_findings(connection) if f.fault is Fault.GUARD and f.table not in NEWER]
        assert [f for f in guards if not f.found.startswith("refer_")] == []
    owner.dispose()
    upgrade(settings)
    assert (contents(owner, without=NEWER), heads(owner), _rights(owner), rows_in(owner)) == (
        before,
        kept,
        rights,
        held,
    )
    assert shape(owner) == cut
    with one_state(owner) as connection:
        assert check_copy(connection, {}).unsealed == 0
    with owner.begin() as connection:
        connection.exec_driver_sql("DROP OWNED BY driftbook_test_parts")
        connection.exec_driver_sql("DROP ROLE driftbook_test_parts")


def _rights(engine: sa.Engine) -> set[tuple[str, str]]:
    asked = "SELECT table_name, privilege_type FROM information_schema.role_table_grants WHERE grantee = 'driftbook_test_parts'"
    with engine.connect() as connection:
        return {(row[0], row[1]) for row in connection.exec_driver_sql(asked)}


def test_a_part_refuses_changes_by_itself(settings: Settings, owner: sa.Engine, tmp_path: Path) -> None:
    (site, _) = two_sites(settings, owner, tmp_path)
    before = contents(owner)
    for table, column in (("job", "notes"), ("statement", "said")):
        for part in (partition_name(table, site.site_id), partition_name(table, None), table):
            for statement in (f"UPDATE {part} SET {column} = ''", f"DELETE FROM {part}", f"TRUNCATE {part}"):
                with pytest.raises(sa.exc.DatabaseError, match="is history"), owner.begin() as connection:
                    connection.exec_driver_sql(statement)
    assert contents(owner) == before


def test_verification_names_a_part_whose_guard_is_gone(settings: Settings, owner: sa.Engine, tmp_path: Path) -> None:
    (site, _) = two_sites(settings, owner, tmp_path)
    name = f"job_site_{site.site_id}"
    with owner.begin() as connection:
        connection.exec_driver_sql(f"ALTER TABLE {name} DISABLE TRIGGER guard_{name}")
        (finding,) = guard_findings(connection)
    assert (finding.fault, finding.table, finding.found) == (Fault.GUARD, "job", f"guard_{name}")


def test_an_entry_brings_one_row_and_is_superseded_once_whatever_site_a_row_says(
    settings: Settings, owner: sa.Engine, tmp_path: Path
) -> None:
    """The key holds the site now: the same entry under another site would be a second row of it, were it not refused."""
    first, second = two_sites(settings, owner, tmp_path)
    new = {"site_id": str(second.site_id), "ref": "'new'"}
    fresh = {"entry": str(_first_entry(owner, second))}
    for table, changed, where, told in (
        ("job", new, "supersedes IS NULL", "fk_job_entry_site_id_entry"),
        ("job", new | fresh, "supersedes IS NOT NULL", "fk_job_supersedes_site_id_entry"),
        ("statement", {"site_id": str(second.site_id)}, "true", "fk_statement_entry_site_id_entry"),
    ):
        names = [column.name for column in on_postgresql().tables[table].columns]
        cells = ", ".join(changed.get(name, name) for name in names)
        with pytest.raises(sa.exc.IntegrityError, match=told), owner.begin() as connection:
            connection.exec_driver_sql(
                f"INSERT INTO {table} SELECT {cells} FROM {table} WHERE site_id = {first.site_id} AND {where} LIMIT 1"
            )


def test_numbers_of_jobs_stay_single_at_each_site(settings: Settings, owner: sa.Engine, tmp_path: Path) -> None:
    first, second = two_sites(settings, owner, tmp_path)
    names = [column.name for column in on_postgresql().tables["job"].columns]
    asked = "INSERT INTO job SELECT {cells} FROM job WHERE site_id = {site} AND supersedes {what} LIMIT 1"
    for what, index, changed in (
        ("IS NULL", "site_id_ref", {"entry": "1"}),
        ("IS NOT NULL", "supersedes", {"entry": "1"}),
    ):
        for site in (first, second):
            one = changed if site is first else {"entry": str(_first_entry(owner, site))}
            cells = ", ".join(one.get(name, name) for name in names)
            with (
                pytest.raises(sa.exc.IntegrityError, match=f"job_site_{site.site_id}_.*{index}.*idx"),
                owner.begin() as on,
            ):
                on.exec_driver_sql(asked.format(cells=cells, site=site.site_id, what=what))


def _first_entry(engine: sa.Engine, site: Site) -> int:
    with engine.connect() as connection:
        asked = f"SELECT min(number) FROM entry WHERE site_id = {site.site_id}"
        return int(connection.exec_driver_sql(asked).scalar_one())


def test_questions_about_a_site_touch_its_parts_only(settings: Settings, owner: sa.Engine, tmp_path: Path) -> None:
    """Every question that the reader asks about one site is explained: no plan may name another site's part."""
    first, second = two_sites(settings, owner, tmp_path)
    asked: list[tuple[str, object]] = []

    @sa.event.listens_for(owner, "before_cursor_execute")
    def _keep(_c: object, _u: object, statement: str, values: object, _x: object, many: bool) -> None:
        if not many and statement.lstrip().startswith("SELECT") and ("job" in statement or "statement" in statement):
            asked.append((statement, values))

    reader = Reader(owner)
    reader.history(first.site_id)
    story = reader.story(first.site_id, "M-0")
    assert story is not None
    filters = [EntryFilter(), EntryFilter(tag="M-0"), EntryFilter(person="Person 0"), EntryFilter(ref="M-0 0"),
               EntryFilter(kind=Kind.JOB_AMENDED), EntryFilter(instrument="D-1"), EntryFilter(done_from=NOW)]  # fmt: skip
    for one in filters:
        reader.entries(first.site_id, one)
        Reader(owner).prepare(first.site_id)
    for line in story.jobs:
        reader.entry(first.site_id, line.entry)
    record_job(owner, first, job_of(1, 1), by="tester", now=LATER, bolts_tight=True)
    sign_off(owner, first, story.jobs[-1].entry, meaning=Meaning.APPROVED, by="Dora Linn", now=LATER)
    reader.history(first.site_id)
    questions = [one for one in asked if "information_schema" not in one[0] and "pg_" not in one[0]]
    assert len(questions) > 25
    others = {partition_name(table, second.site_id) for table in PARTITIONED}
    with owner.connect() as connection:
        for statement, values in questions:
            plan = connection.exec_driver_sql(f"EXPLAIN (FORMAT JSON) {statement}", values).scalar_one()  # type: ignore[arg-type]
            named = set(_relations(plan if isinstance(plan, list) else json.loads(plan)))
            assert not named & others, statement
            assert named, statement
    assert any("job_site" in name for name in named | _named(owner, questions))


def _named(engine: sa.Engine, questions: list[tuple[str, object]]) -> set[str]:
    with engine.connect() as connection:
        plans = [
            connection.exec_driver_sql(f"EXPLAIN (FORMAT JSON) {statement}", values).scalar_one()  # type: ignore[arg-type]
            for statement, values in questions
        ]
    return {name for plan in plans for name in _relations(plan)}


def _relations(plan: object) -> Iterator[str]:
    if isinstance(plan, dict):
        if "Relation Name" in plan:
            yield plan["Relation Name"]
        for value in plan.values():
            yield from _relations(value)
    elif isinstance(plan, list):
        for value in plan:
            yield from _relations(value)


def test_a_role_without_rights_to_make_tables_sets_a_site_up_and_the_owner_cuts_it_later(
    settings: Settings, owner: sa.Engine, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = make_site(settings, name="North Weir")
    with owner.begin() as connection:
        connection.exec_driver_sql("DROP ROLE IF EXISTS driftbook_test_daily")
        connection.exec_driver_sql("CREATE ROLE driftbook_test_daily LOGIN PASSWORD 'for a test'")
    give(owner, grants("driftbook_test_daily"))
    url = sa.make_url(settings.url).set(username="driftbook_test_daily", password="for a test")  # noqa: S106
    daily = Settings(book=url.render_as_string(hide_password=False), key=settings.key_path)
    site = make_site(daily, name="South Weir")
    engine = make_engine(daily)
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(2))
    assert bring_in(engine, site, sheet).written
    record_job(engine, site, job_of(0, 0), by="tester", now=LATER, bolts_tight=True)
    held = rows_in(owner)
    assert (held["job_default"], held.get("job_site_2")) == (1, None)
    with pytest.raises(InvalidValueError, match="does not own"):
        settle(engine)
    before, kept = contents(owner), heads(owner)
    assert main(["partition", "--book", settings.book]) == 0
    assert ": 1 site; moved into them: " in " ".join(capsys.readouterr().out.split())
    assert (contents(owner), heads(owner)) == (before, kept)
    now = rows_in(owner)
    assert (now["job_default"], now["statement_default"], now["job_site_2"]) == (0, 0, 1)
    assert now["statement_site_2"] == held["statement_default"]
    with owner.connect() as connection:
        assert list(guard_findings(connection)) == []
    # The daily role goes on through the whole tables; it has no rights on the parts, and needs none.
    record_job(engine, site, job_of(0, 1), by="tester", now=LATER, bolts_tight=True)
    assert len(Reader(engine).history(site.site_id).jobs) == 2
    with pytest.raises(Exception, match="permission denied"), engine.begin() as connection:
        connection.exec_driver_sql("SELECT count(*) FROM job_site_2")
    assert main(["partition", "--book", settings.book]) == 0
    assert "nothing was changed" in capsys.readouterr().out
    assert first.site_id == 1
    engine.dispose()
    with owner.begin() as connection:
        connection.exec_driver_sql("DROP OWNED BY driftbook_test_daily")
        connection.exec_driver_sql("DROP ROLE driftbook_test_daily")


def test_who_reads_for_long_keeps_no_site_from_being_set_up(
    settings: Settings, owner: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_site(settings, name="North Weir")
    monkeypatch.setattr("models.store.partitions._WAIT_S", "0.2")
    with owner.connect() as long, long.begin():
        long.exec_driver_sql("SELECT count(*) FROM job").all()
        site = make_site(settings, name="South Weir")
        with pytest.raises(BookBusyError):
            settle(owner)
    assert rows_in(owner)["statement_default"] == 2
    assert settle(owner).sites == (site.site_id,)
    assert settle(owner).sites == ()


def test_many_rows_that_wait_are_moved_in_several_strides(
    settings: Settings, owner: sa.Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert AT_ONCE > 2
    monkeypatch.setattr("models.store.partitions.AT_ONCE", 2)
    monkeypatch.setattr("models.store.partitions._owns", lambda _connection: False)
    sites = two_sites(settings, owner, tmp_path)
    assert set(rows_in(owner)) == {"job_default", "statement_default"}
    monkeypatch.undo()
    monkeypatch.setattr("models.store.partitions.AT_ONCE", 2)
    before = contents(owner)
    done = settle(owner)
    assert done.sites == tuple(site.site_id for site in sites)
    assert done.moved == len(before["job"]) + len(before["statement"])
    assert contents(owner) == before


def test_a_book_of_two_sites_moves_to_a_file_and_back_with_equal_heads(
    settings: Settings, owner: sa.Engine, tmp_path: Path, postgres_url: str
) -> None:
    two_sites(settings, owner, tmp_path)
    name = "moved_parts"
    server = sa.create_engine(postgres_url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    file, again = Settings(book=str(tmp_path / "file.db")), Settings(book=database_url(postgres_url, name))
    first = move_book(owner, file)
    middle = make_engine(file)
    second = move_book(middle, again)
    end = make_engine(again)
    assert first == second
    assert contents(owner) == contents(middle) == contents(end)
    assert heads(owner) == heads(middle) == heads(end)
    assert rows_in(end) == rows_in(owner)
    assert {mapped.__tablename__ for mapped in MAPPED} >= set(PARTITIONED)
    for engine in (middle, end):
        engine.dispose()
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    server.dispose()
