"""A further limit set: adopted from a day on, stored verdicts stay, later jobs are judged by it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.cli import main
from dashboard.console import book
from models.commands.adopt_limits import adopt_limits
from models.commands.record_job import record_job
from models.errors import InvalidValueError
from models.settings import Settings
from models.store.reader import Reader
from models.store.verify import verify_book
from models.values.kinds import Coupling
from models.values.limits import Judged, LimitRow, LimitSet
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.seeded import contents, seed
from tests.test_commands_record_job import JOB

DAY = date(2099, 1, 1)
"""After the day on which the starter set of a test's book is adopted, which is that of the clock."""

WHEN = datetime(2099, 2, 1, 9, tzinfo=UTC)
OURS = LimitSet("ours", "made for a test", "Ana Wick", DAY, (LimitRow(Judged.OFFSET, Coupling.SHORT, value=0.5),))
FILE = """name = "ours"
source = "made for a test"
[[row]]
judged = "offset"
value = 0.1
"""


def test_jobs_from_that_day_on_are_judged_by_it_and_stored_verdicts_stay(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    old = record_job(engine, site, JOB, by="Ana Wick", now=NOW)
    made = adopt_limits(engine, site, OURS, now=NOW)
    assert made.version == 1
    later = replace(JOB, ref="later", performed_at=WHEN - timedelta(hours=1))
    line = record_job(engine, site, later, by="Ana Wick", now=WHEN)
    assert (line.limit_set, line.limits.offset_mm) == ("ours, version 1", 0.5)
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    kept = next(one for one in story.jobs if one.entry == old.entry)
    assert (kept.limits, kept.found_ratio, kept.limit_set) == (old.limits, old.found_ratio, old.limit_set)
    more = replace(OURS, rows=(LimitRow(Judged.OFFSET, value=0.4),), adopted_on=made.adopted_on)
    assert adopt_limits(engine, site, more, now=WHEN).version == 2
    sets = Reader(engine).limit_sets(site.site_id)
    assert [(one.limit_set.name, one.limit_set.version) for one in sets][-2:] == [("ours", 1), ("ours", 2)]
    with engine.connect() as connection:
        assert verify_book(connection).faults() == 0


def test_a_set_that_begins_before_the_last_one_or_says_the_same_is_refused(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    adopt_limits(engine, site, OURS, now=NOW)
    before = contents(engine)
    for given, says in (
        (replace(OURS, name="older", adopted_on=DAY - timedelta(days=1)), "cannot begin before it"),
        (OURS, "says the same already"),
    ):
        with pytest.raises(InvalidValueError, match=says):
            adopt_limits(engine, site, given, now=NOW)
    assert contents(engine) == before


def test_the_command_adopts_a_file_and_lists_what_is_in_force(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(sqlite_book)
    path = tmp_path / "ours.toml"
    path.write_text(FILE)
    book = ["--book", str(sqlite_book.path)]
    assert main(["limits", str(path), "--from", "2099-01-01", "--by", "Ana Wick", *book]) == 0
    assert "from 2099-01-01 on by 'ours', version 1" in " ".join(capsys.readouterr().out.split())
    assert main(["limits", *book]) == 0
    assert "from 2099-01-01: 'ours', version 1, adopted by Ana Wick" in " ".join(capsys.readouterr().out.split())
    for wrong in (["--from", "soon"], ["--from", "2000-01-01"]):
        assert main(["limits", str(path), *wrong, *book]) != 0
    assert main(["limits", "--from", "2099-01-01", *book]) != 0


@pytest.mark.parametrize(
    ("zone", "day"), [("America/Chicago", date(2026, 11, 29)), ("Pacific/Auckland", date(2026, 11, 30))]
)
def test_the_first_set_is_adopted_on_the_day_of_the_site(monkeypatch: pytest.MonkeyPatch, zone: str, day: date) -> None:
    monkeypatch.setattr(book, "now", lambda: datetime(2026, 11, 30, 1, 27, tzinfo=UTC))
    assert book.starter_limits("desk", zone).adopted_on == day, "another set may begin on that very day"
    with pytest.raises(InvalidValueError, match="is not a time zone"):
        book.starter_limits("desk", "America/Chicogo")
