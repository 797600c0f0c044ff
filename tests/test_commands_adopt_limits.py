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
        (replace(OURS, name="older", adopted_on=date(2024, 1, 1)), "3 stand in the book with their verdict"),
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
    assert main(["limits", str(path), "--from", "soon", *book]) != 0
    assert main(["limits", "--from", "2099-01-01", *book]) != 0


def test_limits_that_a_plant_had_earlier_judge_the_jobs_of_their_days(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    """The book begins with the starter set of today; three sets of earlier years are adopted, the oldest last."""
    earlier = {
        day: replace(OURS, name=f"rule {day.year}", adopted_on=day, rows=(LimitRow(Judged.OFFSET, value=value),))
        for day, value in ((date(2024, 6, 1), 0.3), (date(2025, 3, 4), 0.2), (date(2015, 1, 1), 0.4))
    }
    for one in earlier.values():
        assert adopt_limits(engine, site, one, now=NOW).version == 1
    with pytest.raises(InvalidValueError, match="'rule 2024', version 1, says the same already"):
        adopt_limits(engine, site, replace(earlier[date(2024, 6, 1)], adopted_on=date(2024, 7, 1)), now=NOW)
    seed(engine, site, tmp_path)  # jobs of 2024-03-04, 2025-03-04 09:30 and 2025-05-04
    reader = Reader(engine)
    sets = [one.limit_set.name for one in reader.limit_sets(site.site_id)]
    assert sets == ["rule 2015", "rule 2024", "rule 2025", "starter"]
    story = reader.story(site.site_id, "P-1")
    assert story is not None
    judged = {one.job.performed_at.year: (one.limit_set, one.limits.offset_mm) for one in story.jobs}
    assert judged == {2024: ("rule 2015, version 1", 0.4), 2025: ("rule 2025, version 1", 0.2)}
    assert judged_by_today(reader, site) == "starter"
    # Between two sets as long as nothing was judged there; a time with a job keeps the set that judged it.
    adopt_limits(engine, site, replace(OURS, name="rule 2024b", adopted_on=date(2024, 9, 1)), now=NOW)
    with pytest.raises(InvalidValueError, match="from 2025-05-04 up to that day, of which 1 stand in the book") as told:
        adopt_limits(engine, site, replace(OURS, name="late", adopted_on=date(2025, 5, 4)), now=NOW)
    assert "make a new book with driftbook init" in told.value.remedy
    with engine.connect() as connection:
        assert verify_book(connection).faults() == 0


def judged_by_today(reader: Reader, site: Site) -> str:
    held = reader.limit_set(site.site_id)
    assert held is not None
    return held.name


def test_a_book_begins_with_the_limits_of_then(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, later = tmp_path / "ours.toml", tmp_path / "later.toml"
    path.write_text(FILE)
    later.write_text(FILE.replace("ours", "later").replace("0.1", "0.05"))
    book = ["--book", str(tmp_path / "b.db")]
    begin = ["init", "--site", "Quay", "--zone", "Europe/Lisbon", "--limits", str(path), *book]
    assert main([*begin, "--from", "in spring"]) != 0
    assert main([*begin, "--from", "2015-03-01"]) == 0
    for day, says in (
        ("2023-01-01", "judges jobs from 2023-01-01 on by 'later', version 1"),
        ("2019-01-01", "judges jobs from 2019-01-01 to 2022-12-31 by 'later', version 2"),
        ("2010-01-01", "judges jobs up to 2015-02-28 (those from before 2010-01-01 as well, for it is the first set)"),
    ):
        capsys.readouterr()
        assert main(["limits", str(later), "--from", day, *book]) == 0
        assert says in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("zone", "day"), [("America/Chicago", date(2026, 11, 29)), ("Pacific/Auckland", date(2026, 11, 30))]
)
def test_the_first_set_is_adopted_on_the_day_of_the_site(monkeypatch: pytest.MonkeyPatch, zone: str, day: date) -> None:
    monkeypatch.setattr(book, "now", lambda: datetime(2026, 11, 30, 1, 27, tzinfo=UTC))
    assert book.starter_limits("desk", zone).adopted_on == day, "another set may begin on that very day"
    with pytest.raises(InvalidValueError, match="is not a time zone"):
        book.starter_limits("desk", "America/Chicogo")
