"""A database server that goes away in mid-write, and two people at one machine."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
import sqlalchemy as sa

from models.commands.amend_job import amend_job
from models.commands.record_job import record_job
from models.errors import BookUnreachableError, ConflictError, DriftbookError
from models.maths.plausible import Doubt
from models.settings import Settings
from models.store.copying import check_copy, one_state
from models.store.engine import make_engine
from models.values.job import Misalignment
from models.values.story import JobLine, Site
from tests.conftest import NOW, make_site
from tests.recorder import job_of, machines
from tests.seeded import bring_in, contents

LATER = NOW + timedelta(minutes=1)


@pytest.fixture
def plant(settings: Settings, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Settings, sa.Engine, Site]]:
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = tmp_path_factory.mktemp("sheets") / "assets.csv"
    sheet.write_text(machines(3))
    assert bring_in(engine, site, sheet).written
    yield settings, engine, site
    engine.dispose()


def record(engine: sa.Engine, site: Site, number: int, **changed: object) -> JobLine:
    job = replace(job_of(0, number), **changed)  # type: ignore[arg-type]
    stated = {Doubt.EARLIER.value: "both of us were there"}
    return record_job(engine, site, job, by="tester", now=LATER, bolts_tight=True, stated_reasons=stated)


@pytest.mark.parametrize("settings", ["postgresql"], indirect=True)
@pytest.mark.parametrize("moment", ["INSERT INTO entry", "INSERT INTO job", "INSERT INTO statement", "commit"])
def test_a_connection_that_is_cut_in_mid_write_leaves_nothing_and_the_next_try_works(
    plant: tuple[Settings, sa.Engine, Site], moment: str
) -> None:
    settings, engine, site = plant
    record(engine, site, 0)
    before = contents(engine)
    cutter = sa.create_engine(settings.url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    cut: list[str] = []

    def cut_off(connection: sa.Connection) -> None:
        if not cut:
            cut.append(moment)
            pid = connection.connection.dbapi_connection.info.backend_pid  # type: ignore[union-attr]
            with cutter.connect() as other:
                other.execute(sa.text("SELECT pg_terminate_backend(:pid, 5000)"), {"pid": pid})

    if moment == "commit":
        sa.event.listen(engine, "commit", cut_off)
    else:

        @sa.event.listens_for(engine, "before_cursor_execute")
        def _before(connection: sa.Connection, _cursor: object, statement: str, *_: object) -> None:
            if statement.startswith(moment):
                cut_off(connection)

    with pytest.raises(BookUnreachableError, match="the connection to it is lost") as told:
        record(engine, site, 1)
    assert cut == [moment]
    assert "do it again" in told.value.remedy
    assert contents(engine) == before  # the same pool: it has mended itself
    line = record(engine, site, 1)
    assert line.entry == len(before["entry"]) + 1
    with one_state(engine) as connection:
        assert check_copy(connection, {}).entries == line.entry


def at_once(*doings: Callable[[], object]) -> list[object]:
    """Do several things in threads that start together; gives what each came to, a refusal too."""
    gate = threading.Barrier(len(doings))
    came: list[object] = [None] * len(doings)

    def run(place: int, doing: Callable[[], object]) -> None:
        gate.wait()
        try:
            came[place] = doing()
        except DriftbookError as fault:
            came[place] = fault

    threads = [threading.Thread(target=run, args=item) for item in enumerate(doings)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return came


def test_two_people_who_record_the_same_machine_at_once_are_both_in_the_book(
    plant: tuple[Settings, sa.Engine, Site],
) -> None:
    _, engine, site = plant
    came = at_once(*(lambda n=n: record(engine, site, n) for n in range(6)))  # type: ignore[misc]
    assert all(isinstance(one, JobLine) for one in came), came
    jobs = contents(engine)["job"]
    assert len(jobs) == 6
    with one_state(engine) as connection:
        assert check_copy(connection, {}).unsealed == 0


def test_of_two_who_take_the_same_job_number_one_is_told_whose_it_is(plant: tuple[Settings, sa.Engine, Site]) -> None:
    _, engine, site = plant
    other = Misalignment(0.012, 0.05, 0.0, 0.01)
    came = at_once(lambda: record(engine, site, 0), lambda: record(engine, site, 0, left=other))
    written = [one for one in came if isinstance(one, JobLine)]
    told = [one for one in came if isinstance(one, ConflictError)]
    assert (len(written), len(told)) == (1, 1)
    assert f"taken by entry {written[0].entry}" in told[0].message
    assert "another number" in told[0].remedy
    assert len(contents(engine)["job"]) == 1


def test_of_two_who_amend_the_same_version_one_is_told_that_it_is_amended(
    plant: tuple[Settings, sa.Engine, Site],
) -> None:
    _, engine, site = plant
    line = record(engine, site, 0)

    def amend(offset: float) -> JobLine:
        job = replace(line.job, left=Misalignment(offset, 0.05, 0.0, 0.01))
        return amend_job(engine, site, line.entry, job, by="tester", now=LATER, why="read wrongly", bolts_tight=True)

    came = at_once(lambda: amend(0.010), lambda: amend(0.012))
    assert sorted(type(one).__name__ for one in came) == ["JobLine", "OvertakenError"], came
    assert len(contents(engine)["job"]) == 2
