"""A description that begins on a day still to come: until then what was said before holds, for whoever asks; then it does."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

import models.values.site_day as calendar
from models.commands.change_asset import merge_assets, rename_asset
from models.commands.record_job import record_job
from models.errors import ConflictError
from models.intake.problems import Code, Severity
from models.store.growth import grow
from models.store.known import asset_id_of, current_tag, on_day
from models.store.one_job import tag_of_entry
from models.store.reader import Reader
from models.store.rows import asset_version_row
from models.store.unit import writing
from models.tables.machines import AssetRow, AssetVersionRow
from models.values.asset import Asset
from models.values.description import version_on
from models.values.entry import EntryFilter
from models.values.kinds import Kind
from models.values.story import AssetStory, Site
from tests.conftest import NOW
from tests.history_edits import unlike
from tests.seeded import ASSETS, JOBS, bring_in, write
from tests.test_commands_record_job import JOB

TODAY = NOW.date()
SOON = date(2027, 6, 1)
LATER = f"{ASSETS.splitlines()[0]},valid from\nP-1,pump with a new motor,,,2970,,,{SOON}\nP-2,,,,740,,,{SOON}\n"

GoTo = Callable[[date], None]


@pytest.fixture
def go_to(monkeypatch: pytest.MonkeyPatch) -> GoTo:
    """Let it be noon of a day; it begins on the day of the tests' clock."""

    def go(day: date) -> None:
        class Clock(datetime):
            @classmethod
            def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
                del tz
                return datetime.combine(day, time(12), UTC)

        monkeypatch.setattr(calendar, "datetime", Clock)

    go(TODAY)
    return go


@pytest.fixture
def book(engine: sa.Engine, site: Site, tmp_path: Path, go_to: GoTo) -> Reader:
    """Give a book of two machines with jobs, each described anew from a day on that is still to come."""
    del go_to
    assert bring_in(engine, site, *write(tmp_path, assets=ASSETS, jobs=JOBS)).written
    report = bring_in(engine, site, *write(tmp_path, later=LATER))
    assert report.written, report.problems
    told = [problem for problem in report.problems if problem.code is Code.HOLDS_LATER]
    assert [problem.severity for problem in told] == [Severity.NOTE]
    assert told[0].text.startswith(
        f"2 descriptions begin later than today (P-1 from {SOON} on, P-2 from {SOON} on): until"
    )
    return Reader(engine)


def story(book: Reader, tag: str) -> AssetStory:
    found = book.story(1, tag)
    assert found is not None
    return found


def speeds(book: Reader) -> list[float]:
    return [float(speed) for speed in book.history(1).assets.speed_rpm]


def test_it_holds_from_its_day_on_without_any_entry(book: Reader, go_to: GoTo) -> None:
    head = book.head()
    assert story(book, "P-1").asset.speed_rpm == 1485
    assert [one.speed_rpm for one in story(book, "P-1").upcoming] == [2970]
    assert speeds(book) == [1485, 2970]
    for day, now in ((SOON - timedelta(days=1), [1485, 2970]), (SOON, [2970, 740])):
        go_to(day)
        assert speeds(book) == now
        assert [story(book, tag).asset.speed_rpm for tag in ("P-1", "P-2")] == now
    assert story(book, "P-1").upcoming == ()
    assert unlike(book.history(1), Reader(book.engine).history(1)) == []
    go_to(TODAY)  # the site's zone may lead back by a day
    assert speeds(book) == [1485, 2970]
    assert book.head() == head


def test_what_grows_over_a_day_is_what_is_read_from_nothing(book: Reader, site: Site, go_to: GoTo) -> None:
    held = book._held.get(1) or (book.history(1), book._held[1])[1]
    go_to(SOON)
    fresh = Reader(book.engine)
    fresh.history(1)
    with book.engine.connect() as connection:
        grown = grow(connection, site, held, book.head(), fresh._held[1].day)
    assert unlike(grown.history, fresh.history(1)) == []
    assert grown.day == fresh._held[1].day
    assert grown.retired_day.tolist() == fresh._held[1].retired_day.tolist()


def test_a_job_is_judged_by_what_holds_on_its_day(book: Reader, site: Site) -> None:
    done = record_job(book.engine, site, replace(JOB, tag="P-1"), by="desk", now=NOW)
    assert done.judged_as is not None
    assert done.judged_as.speed_rpm == story(book, "P-1").asset.speed_rpm == 1485


def test_a_renamed_machine_keeps_its_new_tag_when_it_begins(book: Reader, site: Site, go_to: GoTo) -> None:
    job = story(book, "P-1").jobs[0].entry
    first = rename_asset(book.engine, site, "P-1", "P-101", by="desk", now=NOW, why="new tags")
    for day, speed in ((TODAY, 1485), (SOON, 2970)):
        go_to(day)
        one = story(book, "P-101")
        assert one == story(book, "P-1")
        assert (one.asset.tag, one.asset.speed_rpm) == ("P-101", speed)
        assert str(book.history(1).assets.tag[0]) == "P-101"
        assert {line.name for line in book.entries(1, EntryFilter(tag="P-1")).lines} == {"P-101"}
        with book.engine.connect() as connection:
            assert tag_of_entry(connection, 1, job) == "P-101"
    said = {version.entry: version.asset for version in story(book, "P-101").versions}
    assert [said[first].valid_from, said[first + 1].valid_from] == [TODAY, SOON]
    with pytest.raises(ConflictError, match="already"):
        rename_asset(book.engine, site, "P-1", "P-101", by="desk", now=NOW, why="again")


def test_a_row_under_the_old_tag_is_of_the_machine_as_it_is_called_by_then(
    book: Reader, site: Site, go_to: GoTo, tmp_path: Path
) -> None:
    rename_asset(book.engine, site, "P-1", "P-101", by="desk", now=NOW, why="new tags")
    text = LATER.replace(str(SOON), "2028-01-01").replace("pump with a new motor", "pump with yet another")
    report = bring_in(book.engine, site, *write(tmp_path, again=text))
    assert [p.text for p in report.problems if p.code is Code.HOLDS_LATER and "P-101 from 2028-01-01 on" in p.text]
    assert bring_in(book.engine, site, *write(tmp_path, again=text.replace("P-1,", "P-101,"))).sheets[0].unchanged == 2
    with pytest.raises(ConflictError, match="already"):
        rename_asset(book.engine, site, "P-1", "P-101", by="desk", now=NOW, why="again")
    go_to(date(2028, 1, 1))
    assert story(book, "P-1").asset.tag == "P-101"
    assert story(book, "P-1").asset.description == "pump with yet another"


def test_a_double_stays_out_of_service_when_it_begins(book: Reader, site: Site, go_to: GoTo, tmp_path: Path) -> None:
    assert len(merge_assets(book.engine, site, "P-1", "P-2", by="desk", now=NOW, why="one pump").moved) == 2
    for day in (TODAY, SOON):
        go_to(day)
        one = story(book, "P-1")
        assert (one.asset.retired, one.merged_into) == (TODAY, "P-2")
        assert book.history(1).assets.retired.tolist() == [True, False]
    go_to(TODAY)
    with pytest.raises(ConflictError, match="already"):
        merge_assets(book.engine, site, "P-1", "P-2", by="desk", now=NOW, why="again")
    text = LATER.replace(str(SOON), "2028-01-01").replace("pump with a new motor", "pump that comes back")
    assert bring_in(book.engine, site, *write(tmp_path, back=text)).written
    merge_assets(book.engine, site, "P-1", "P-2", by="desk", now=NOW, why="it does not come back")
    go_to(date(2028, 1, 1))
    assert story(book, "P-1").merged_into == "P-2"


def test_an_import_tells_a_job_of_the_time_out_of_service_of_a_machine_that_came_back(
    book: Reader, site: Site, tmp_path: Path
) -> None:
    head = "tag,description,running speed [rpm],retired,valid from\n"
    gone = f"{head}P-2,brine pump,2970,2025-06-01,2025-06-01\n"
    back = f"{head}P-2,brine pump again,2970,,2026-01-01\n"
    assert bring_in(book.engine, site, *write(tmp_path, gone=gone)).written
    assert bring_in(book.engine, site, *write(tmp_path, back=back)).written
    rows = JOBS.splitlines()
    late = [
        rows[0],
        *(
            rows[3].replace("J3", ref).replace("2025-05-04", day)
            for ref, day in (("J8", "2025-09-01"), ("J9", "2026-09-01"))
        ),
    ]
    report = bring_in(book.engine, site, *write(tmp_path, jobs="\n".join(late) + "\n"), dry_run=True)
    assert [problem.row for problem in report.problems if problem.code is Code.OUT_OF_SERVICE] == [2]


def test_the_tag_of_a_list_and_the_description_of_a_story_follow_one_rule(
    engine: sa.Engine, site: Site, go_to: GoTo
) -> None:
    """The rule is told twice: over values, and in the question that gives the tags of a page of entries."""
    lot, machines = random.Random(5), {}
    starts = [None, *(TODAY + timedelta(days=days) for days in (-9, -3, 0, 1, 4))]
    with writing(engine, site.site_id, "tester", NOW) as unit:
        for _ in range(60):
            number = None
            for place in range(lot.randint(1, 5)):
                entry = unit.append(Kind.ASSET_CHANGED if number else Kind.ASSET_ADDED, number)
                if number is None:
                    number, machines[entry] = entry, []
                    unit.add(AssetRow, (number, site.site_id, f"T-{number}-0"))
                asset = Asset(f"T-{number}-{place}", valid_from=lot.choice(starts))
                machines[number].append(asset)
                unit.add(AssetVersionRow, asset_version_row(entry, site.site_id, number, asset, {}))
    question = sa.select(AssetRow.id, current_tag(AssetRow.id))
    reader = Reader(engine)
    for days in range(-12, 7, 3):
        day = TODAY + timedelta(days=days)
        go_to(day)
        held = {number: version_on(versions, day).tag for number, versions in machines.items()}
        with engine.connect() as connection:
            assert dict(connection.execute(question, on_day(day)).all()) == held
            assert {asset_id_of(connection, site.site_id, tag) for tag in held.values()} == set(held)
        columns = reader.history(site.site_id).assets
        assert dict(zip(columns.asset.tolist(), columns.tag.tolist(), strict=True)) == held
