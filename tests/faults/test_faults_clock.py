"""A clock that jumps back: entries stay in order, and those made meanwhile say what the clock said."""

from __future__ import annotations

from datetime import timedelta

import pytest
import sqlalchemy as sa

from models.commands.record_job import DoubtfulJobError, record_job
from models.store.copying import check_copy, one_state
from models.store.unit import CLOCK_SAID, _moment
from models.tables.book import EntryRow
from models.values.story import Site
from tests.conftest import NOW
from tests.recorder import job_of, machines
from tests.seeded import bring_in


def moments(engine: sa.Engine) -> list[tuple[object, str]]:
    with engine.connect() as connection:
        return [
            (row[0], row[1])
            for row in connection.execute(sa.select(EntryRow.at, EntryRow.why).order_by(EntryRow.number))
        ]


@pytest.fixture
def machine(engine: sa.Engine, site: Site, tmp_path_factory: pytest.TempPathFactory) -> None:
    sheet = tmp_path_factory.mktemp("sheets") / "assets.csv"
    sheet.write_text(machines(1))
    assert bring_in(engine, site, sheet).written


@pytest.mark.usefixtures("machine")
def test_an_entry_is_never_before_the_last_one_and_says_what_the_clock_said(engine: sa.Engine, site: Site) -> None:
    late, back = NOW + timedelta(hours=5), NOW + timedelta(hours=2)
    record_job(engine, site, job_of(0, 0), by="tester", now=late, bolts_tight=True)
    line = record_job(engine, site, job_of(0, 1), by="tester", now=back, bolts_tight=True)
    assert line.recorded_at == late
    found = moments(engine)
    assert [at for at, _ in found] == sorted(at for at, _ in found)
    at, why = found[-1]
    assert at == late
    assert why == "[The clock said 2026-11-25 09:00:00 UTC, before the moment of the last entry, which stands here.]"
    after = late + timedelta(seconds=1)
    record_job(engine, site, job_of(0, 2), by="tester", now=after, bolts_tight=True)
    assert moments(engine)[-1] == (after, "")
    with one_state(engine) as connection:
        check_copy(connection, {})


@pytest.mark.usefixtures("machine")
def test_clocks_of_two_machines_that_differ_a_little_are_no_news(engine: sa.Engine, site: Site) -> None:
    record_job(engine, site, job_of(0, 0), by="tester", now=NOW + timedelta(milliseconds=3600), bolts_tight=True)
    record_job(engine, site, job_of(0, 1), by="tester", now=NOW, bolts_tight=True)
    assert moments(engine)[-1] == (NOW + timedelta(milliseconds=3600), "")


def test_who_has_waited_for_another_writer_was_not_set_back() -> None:
    """The clock is read before the wait; what others recorded meanwhile is later than that."""
    late = NOW + timedelta(minutes=1)
    assert _moment(NOW, timedelta(seconds=58), late) == (late, "")
    told = _moment(NOW, timedelta(seconds=20), late)[1]
    assert "The clock said" in told
    assert [CLOCK_SAID.sub("", said) for said in (told, f"new tags {told}")] == ["", "new tags"]


@pytest.mark.usefixtures("machine")
def test_a_job_is_held_against_the_clock_and_not_against_the_moment_of_the_last_entry(
    engine: sa.Engine, site: Site
) -> None:
    """One entry by a clock that ran years ahead neither closes the book nor lets in jobs of the future."""
    ahead = NOW + timedelta(days=3650)
    record_job(engine, site, job_of(0, 0), by="tester", now=ahead, bolts_tight=True)
    with pytest.raises(DoubtfulJobError, match="has not come yet"):
        record_job(engine, site, job_of(0, 600), by="tester", now=NOW, bolts_tight=True)
    record_job(engine, site, job_of(0, 1), by="tester", now=NOW, bolts_tight=True)
