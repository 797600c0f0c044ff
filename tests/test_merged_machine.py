"""A machine whose record was merged into another one, on the pages and in the interface: nothing is recorded on it without a word."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.console.changing import merged_lines
from dashboard.views import asset_view
from dashboard.views.finder_view import offers
from models.commands.adopt_limits import adopt_limits
from models.commands.amend_job import void_job
from models.commands.change_asset import merge_assets
from models.commands.import_files import import_files
from models.intake.problems import Code, Severity
from models.ledger.package_verifier import files_of
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import limit_sets
from models.store.reader import Reader
from models.values.limits import Judged, LimitRow, LimitSet
from models.values.roles import Role
from models.values.story import AssetStory, Site
from tests.conftest import NOW, make_site
from tests.fuzz.api_book import JOB, Program, tokened
from tests.record_book import Opened, open_book
from tests.seeded import ASSETS, JOBS, bring_in, seed, sources_of, write
from tests.test_commands_plain_jobs import WAYS, take_way
from tests.test_dashboard_pages_asset import Ids, ask
from tests.test_dashboard_pages_record import Form, results


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as opened:
        merged(opened)
        yield opened


def merged(opened: Opened) -> None:
    merge_assets(opened.reader.engine, opened.site, "F-1", "P-2", by="desk", now=NOW, why="one machine, two lists")


def test_its_pages_say_into_which_machine_and_lead_there(book: Opened) -> None:
    client: Any = book.app.server.test_client()
    text = ask(client, Ids.BODY, "/asset/F-1")
    assert "F-1 was merged into P-2 on" in text
    assert '"/asset/P-2"' in text
    text = Form(book, "?asset=F-1").body()
    assert "F-1 was merged into P-2 on" in text
    assert '"/record?asset=P-2"' in text
    for page in (ask(client, Ids.BODY, "/asset/P-2"), Form(book, "?asset=P-2").body()):
        assert "merged into" not in page
    history = book.reader.history(book.site.site_id)
    assert [one["label"] for one in offers(history, "kiln", str)] == ["F-1 · kiln fan · retired"]
    assert [one["label"] for one in offers(history, "brine", str)] == ["P-2 · brine pump"]


def test_the_record_page_asks_for_a_reason_from_the_start_and_keeps_it(book: Opened) -> None:
    form = Form(book, "?asset=F-1")
    said = json.dumps(form.look({**form.fields(), "by": "Ana Wick"}), ensure_ascii=False)
    assert "Record it on P-2." in said, "before anything is measured"
    fields = {**form.fields(), **results(), "found.by": "laser"}
    form.send(fields)
    assert not book.story("F-1").standing, "not without a reason"
    asks = form.look(fields)[form_asks()]["data"]
    given = {field: "typed from the old list" for _, field, *_ in asks}
    assert "stated.retired" in given
    form.send({**fields, **given})
    (line,) = book.story("F-1").standing
    assert line.job.typed["stated reason: out of service"] == "typed from the old list"
    assert merge_again(book) == (1, 0)
    assert not book.story("F-1").standing
    assert line.entry in {one.supersedes for one in book.story().standing}


def form_asks() -> str:
    from dashboard.ids import RecordIds

    return RecordIds.ASKS


def merge_again(book: Opened) -> tuple[int, int]:
    done = merge_assets(book.reader.engine, book.site, "F-1", "P-2", by="desk", now=NOW, why="the rest")
    return len(done.moved), done.breaks


def test_a_job_that_was_brought_over_is_amended_where_it_stands_now(book: Opened) -> None:
    old = book.story("F-1").jobs[0]
    now = next(line for line in book.story().standing if line.supersedes == old.entry)
    text = Form(book, f"?amend={old.entry}").body()
    assert f"was amended by entry {now.entry} of desk" in text
    assert f"/record?amend={now.entry}" in text
    void_job(book.reader.engine, book.site, now.entry, by="Bo Tarn", now=NOW, why="never done")
    assert "There is nothing to amend" in Form(book, f"?amend={now.entry}").body()


def test_the_interface_asks_for_a_stated_reason(sqlite_book: Settings, tmp_path: Path) -> None:
    with tokened(sqlite_book, tmp_path, Role.RECORDER) as (opened, secret):
        merged(opened)
        program = Program(opened, secret)
        job = JOB | {"tag": "F-1", "ref": "WO-70"}
        answer = program.post("/jobs", {"job": job})
        assert answer.status_code == 422
        errors = {one["check"]: one for one in answer.get_json()["errors"]}
        asked = errors["out of service"]
        assert (asked["pointer"], asked["asks"]) == ("#/job/tag", "a stated reason")
        assert "Record it on P-2." in asked["detail"]
        stated = dict.fromkeys(errors, "typed from the old list")
        assert program.post("/jobs", {"job": job, "stated_reasons": stated}).status_code == 201
        assert program.get("/assets/F-1")["merged_into"] == "P-2"
        assert program.get("/assets/P-2")["merged_into"] == ""
        refs = {tag: {one["job"]["ref"] for one in program.get(f"/jobs?tag={tag}")["items"]} for tag in ("F-1", "P-2")}
        assert refs["F-1"] - refs["P-2"] == {"WO-70"}, (
            "of the machine into which it was merged, and what came under the old tag since"
        )
        assert refs["P-2"] == {"J1", "J2", "J3", "J4", "J5"} < refs["F-1"]


def test_the_package_of_either_record_holds_both_with_what_became_of_their_jobs(
    sqlite_book: Settings, tmp_path: Path
) -> None:
    with open_book(sqlite_book, tmp_path) as book:
        form = Form(book, "?asset=F-1")
        form.send({**form.fields(), **results()})
        job = book.story("F-1").jobs[0]
        merged(book)
        packages = [
            json.loads(
                files_of(book.reader.package(book.site.site_id, tag, "", None, made=NOW))["manifest.txt"].splitlines()[
                    1
                ]
            )["entries"]
            for tag in ("F-1", "P-2")
        ]
        came = next(line for line in book.story("P-2").jobs if line.supersedes == job.entry)
        given_up = book.story("F-1").versions[-1]
        assert packages[0] == packages[1]
        assert {job.entry, came.entry, given_up.entry} <= set(packages[0])
        story = book.story("F-1")
        assert asset_view.build(story, book.site.display).sentence == (
            "No job stands here. In the book are 1 version of its jobs; what of them stands was brought over to P-2, with which this record was merged."
        )


def test_a_machine_that_only_went_out_of_service_says_since_when(book: Opened) -> None:
    from tests.seeded import bring_in, write

    gone = (NOW - timedelta(days=40)).date()
    folder = Path(str(book.reader.engine.url.database)).parent
    text = f"tag,description,running speed [rpm],retired\nG-1,gone fan,1480,{gone}\n"
    assert bring_in(book.reader.engine, book.site, *write(folder, gone=text)).written
    client: Any = book.app.server.test_client()
    shown = ask(client, Ids.BODY, "/asset/G-1")
    assert "G-1 is out of service since" in shown
    assert "merged" not in shown
    form = Form(book, "?asset=G-1")
    assert "G-1 is out of service since" in form.body()
    assert f"out of service since {gone}. Is it the right machine" in json.dumps(form.look(form.fields()))


@pytest.mark.parametrize("way", WAYS)
def test_an_import_says_it_in_words_and_takes_the_job(
    way: str, sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    take_way(monkeypatch, way)
    with open_book(sqlite_book, tmp_path) as opened:
        merged(opened)
        head = "job,tag,performed at,reason,instrument,method,left offset V [mm],left angle V [mm/m],left offset H [mm],left angle H [mm/m]\n"
        late = "N1,F-1,2026-11-20 09:00,planned,D-1,laser,0.01,0.05,0.01,0.05\n"
        other = "N2,P-2,2026-11-21 09:00,planned,D-1,laser,0.01,0.05,0.01,0.05\n"
        (path,) = write(tmp_path, jobs=head + late + other)
        report = bring_in(opened.reader.engine, opened.site, path)
        assert report.written, report.problems
        told = [one for one in report.problems if one.code is Code.OUT_OF_SERVICE]
        assert [(one.row, one.severity) for one in told] == [(2, Severity.WARNING)]
        assert "Record it on P-2." in told[0].text
        assert len(opened.story("F-1").standing) == 1
        again = bring_in(opened.reader.engine, opened.site, path)
        assert not [one for one in again.problems if one.code is Code.OUT_OF_SERVICE], (
            "what the book holds was said once"
        )


@pytest.fixture
def two(sqlite_book: Settings, tmp_path: Path) -> Iterator[tuple[sa.Engine, Site]]:
    """Give a book with a machine that is described as another one, word for word."""
    engine, site = make_engine(sqlite_book), make_site(sqlite_book)
    seed(engine, site, tmp_path)
    alike = ASSETS.splitlines()[2].replace("P-2", "P-3")
    assert bring_in(engine, site, *write(tmp_path, alike=f"{ASSETS.splitlines()[0]}\n{alike}\n")).written
    yield engine, site
    engine.dispose()


def story_of(engine: sa.Engine, tag: str) -> AssetStory:
    found = Reader(engine).story(1, tag)
    assert found is not None
    return found


def test_what_is_brought_over_keeps_the_limits_that_judged_it(two: tuple[sa.Engine, Site], tmp_path: Path) -> None:
    """Limits that were adopted since judge nothing anew: of two machines that are described alike no verdict changes."""
    engine, site = two
    with engine.connect() as connection:
        day = limit_sets(connection, 1)[0].limit_set.adopted_on + timedelta(days=10)
    now = datetime.combine(day, time(20), UTC)
    (path,) = write(tmp_path, later=JOBS.replace("J3,P-2,2025-05-04", f"J8,P-2,{day} 09:30"))
    assert import_files(engine, site, sources_of(site, path), by="desk", now=now).written
    old = story_of(engine, "P-2").standing[-1]
    rows = tuple(LimitRow(judged, value=1e-4) for judged in (Judged.OFFSET, Judged.FLEX_ANGLE))
    adopt_limits(engine, site, LimitSet("tight", "a test", "desk", day, rows), now=now)
    done = merge_assets(engine, site, "P-2", "P-3", by="desk", now=now, why="one pump")
    came = done.moved[-1]
    assert (came.job.ref, came.limits, came.limit_set, came.found_ratio) == (
        "J8",
        old.limits,
        old.limit_set,
        old.found_ratio,
    )
    assert came.found_ratio is not None
    said = " ".join(merged_lines(done, "P-2", "P-3", "UTC"))
    assert "by the versions of limits that had judged them: no verdict changed" in said


def test_a_row_of_a_register_for_a_merged_record_is_told_and_leaves_it_merged(
    two: tuple[sa.Engine, Site], tmp_path: Path
) -> None:
    engine, site = two
    merge_assets(engine, site, "P-2", "P-3", by="desk", now=NOW, why="one pump")
    rows = "tag,running speed [rpm],valid from\nP-2,2960,2025-06-01\nP-3,2960,2025-06-01\nP-2,1480,2025-07-01\n"
    jobs = "\n".join(
        [JOBS.splitlines()[0], JOBS.splitlines()[3].replace("J3", "J7").replace("2025-05-04", "2025-08-04")]
    )
    report = bring_in(engine, site, *write(tmp_path, rows=rows, jobs=jobs))
    told = [(one.row, one.text) for one in report.problems if one.code is Code.OUT_OF_SERVICE]
    gone = f"P-2 was merged into P-3 and is out of service since {NOW.date()}"
    assert [row for row, _ in told] == [2, 2, 4]
    assert all(gone in text for _, text in told), "since it was merged, not since the day of the job"
    assert told[-1][1].endswith("reaches no history that is looked at. Describe P-3.")
    double = story_of(engine, "P-2")
    assert (double.merged_into, double.asset.retired, double.asset.speed_rpm) == ("P-3", NOW.date(), 1480)
