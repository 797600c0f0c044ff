"""A job under any tag that its machine has had is the same job, row by row and as columns."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

import models.commands.import_sheets as work
from models.commands.change_asset import merge_assets, rename_asset
from models.intake.problems import Code
from models.values.story import Site
from tests.conftest import NOW
from tests.seeded import ASSETS, BREAKS, JOBS, bring_in, contents, seed, write

WAYS = ("long", "plain", "columns")


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setattr(work, "PLAIN_LANE", request.param != "long")
    monkeypatch.setattr(work, "COLUMNS_FROM", 0 if request.param == "columns" else 10**9)
    return str(request.param)


def unchanged(engine: sa.Engine, site: Site, folder: Path, **files: str) -> int:
    before = contents(engine)
    report = bring_in(engine, site, *write(folder, **files))
    assert not report.problems
    assert not report.written
    assert contents(engine) == before
    return sum(sheet.unchanged for sheet in report.sheets)


@pytest.mark.usefixtures("way")
def test_after_a_new_tag_the_old_jobs_are_known_under_it(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    rename_asset(engine, site, "P-1", "P-101", by="desk", now=NOW, why="new tags")
    rename_asset(engine, site, "P-1", "P-1001", by="desk", now=NOW, why="newer tags")
    for tag in ("P-1", "P-101", "P-1001"):
        assert unchanged(engine, site, tmp_path, again=JOBS.replace(",P-1,", f",{tag},")) == 3
    other = JOBS.replace(",P-1,", ",P-1001,").replace("0.12,0.3", "0.13,0.3")
    report = bring_in(engine, site, *write(tmp_path, other=other))
    assert [(p.row, p.code) for p in report.problems] == [(3, Code.KEY_IN_BOOK)]
    elsewhere = JOBS.replace(",P-1,", ",P-2,")
    report = bring_in(engine, site, *write(tmp_path, elsewhere=elsewhere))
    assert [(p.row, p.code) for p in report.problems] == [(n, Code.KEY_IN_BOOK) for n in (2, 3)], "another machine"


@pytest.mark.usefixtures("way")
def test_after_two_records_were_brought_together_jobs_are_known_under_both(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    rename_asset(engine, site, "P-2", "P-22", by="desk", now=NOW, why="new tags")
    merge_assets(engine, site, "P-2", "P-1", by="desk", now=NOW, why="one pump in two lists")
    rename_asset(engine, site, "P-1", "P-101", by="desk", now=NOW, why="new tags")
    for tag in ("P-1", "P-101", "P-2", "P-22"):
        assert (
            unchanged(engine, site, tmp_path, again=JOBS.replace(",P-1,", f",{tag},").replace(",P-2,", f",{tag},")) == 3
        )


def test_jobs_without_numbers_are_known_under_the_new_tag(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    """Their number is made from tag and time: under a new tag it is another one, and the job would be in the book twice."""
    bare = "\n".join([JOBS.splitlines()[0], *(line[2:] for line in JOBS.splitlines()[1:])]) + "\n"
    bring_in(engine, site, *write(tmp_path, assets=ASSETS, jobs=bare))
    rename_asset(engine, site, "P-1", "P-101", by="desk", now=NOW, why="new tags")
    merge_assets(engine, site, "P-2", "P-101", by="desk", now=NOW, why="one pump in two lists")
    for tag in ("P-1", "P-101", "P-2"):
        assert (
            unchanged(engine, site, tmp_path, again=bare.replace(",P-1,", f",{tag},").replace(",P-2,", f",{tag},")) == 3
        )
    other = bare.replace(",P-1,", ",P-101,").replace("0.12,0.3", "0.13,0.3")
    report = bring_in(engine, site, *write(tmp_path, other=other))
    assert [(p.row, p.code) for p in report.problems] == [(3, Code.KEY_IN_BOOK)]
    assert report.problems[0].found == "", "a number that was made of tag and time stands nowhere in the sheet"
    assert "found offset V [mm]: the sheet 0.13 mm, the book 0.12 mm." in report.problems[0].text
    later = bare.splitlines()[2].replace("2025-03-04", "2025-09-04")
    twice = f"{bare.splitlines()[0]}\n{later}\n{later.replace(',P-1,', ',P-101,')}\n"
    report = bring_in(engine, site, *write(tmp_path, twice=twice))
    assert [(p.row, p.code) for p in report.problems] == [(3, Code.DUPLICATE)]


def test_descriptions_and_replacements_are_known_under_the_new_tag(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    rename_asset(engine, site, "P-2", "P-22", by="desk", now=NOW, why="new tags")
    for tag in ("P-2", "P-22"):
        text = {name: text.replace("P-2,", f"{tag},") for name, text in {"assets": ASSETS, "breaks": BREAKS}.items()}
        assert unchanged(engine, site, tmp_path, **text) == 3
    other = ASSETS.replace("P-2,", "P-22,").replace("2970", "1480")
    report = bring_in(engine, site, *write(tmp_path, other=other))
    assert [(p.row, p.code) for p in report.problems] == [(3, Code.KEY_IN_BOOK)]
