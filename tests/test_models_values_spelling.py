"""Tags: what nobody sees is no part of one, and two that only their spelling tells apart are told."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

import models.commands.import_sheets as work
from models.commands.change_asset import rename_asset
from models.intake.problems import Code
from models.store.reader import Reader
from models.values.spelling import Alike, spellings
from models.values.story import Site
from tests.conftest import NOW
from tests.seeded import JOBS, bring_in, loud, seed, write

HEAD = "tag,description,coupling,running speed [rpm]\n"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("P-1", "p-1"),
        ("P-1", "P \u2013 1"),
        ("P-1", "P 1"),
        ("P-1", "P\u22121"),
        ("P 1", "P1"),
        ("P-1", "P-1\u200b"),
        ("STRASSE-1", "Straße-1"),
        ("P-1", "\uff30-1"),
    ],
)
def test_tags_that_look_the_same_are_found(one: str, other: str) -> None:
    assert Alike([one, "X-9"]).other(other) == one
    assert Alike([other, "X-9"]).other(one) == other


@pytest.mark.parametrize(
    ("one", "other"), [("P-1", "P-1"), ("P-1", "P-2"), ("P-1", "P1"), ("P-1-1", "P-11"), ("P-1A", "P-1B")]
)
def test_other_tags_are_left_alone(one: str, other: str) -> None:
    assert Alike([one]).other(other) is None


@pytest.mark.parametrize(
    ("typed", "tags"),
    [
        ("P-1\u200b", ("P-1",)),
        ("\ufeffP-1", ("P-1",)),
        ("P\u00a0-\u200d1 ", ("P -1",)),
        ("P\u00ad1", ("P1", "P-1")),
        ("Ö-1", ("Ö-1",)),
        ("\u200b\u2060", ("",)),
    ],
)
def test_what_nobody_sees_is_taken_off(typed: str, tags: tuple[str, ...]) -> None:
    assert spellings(typed) == tags


def test_a_register_and_a_sheet_of_jobs_say_which_tags_look_alike(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    rows = "p-1,x,short flexible,1480\nP\u2013 2,x,short flexible,1480\nN-1,x,short flexible,1480\nn 1,x,short flexible,1480\n"
    report = bring_in(engine, site, *write(tmp_path, more=HEAD + rows))
    assert report.written
    assert [(p.row, p.code) for p in report.problems] == [(n, Code.TAG_LOOKS_ALIKE) for n in (2, 3, 5)]
    assert report.problems[0].found == "p-1"
    assert "'P-1' differs only by" in report.problems[0].expected
    assert 'driftbook asset merge "p-1" "P-1"' in report.problems[0].expected
    again = bring_in(engine, site, tmp_path / "more.csv")
    assert not again.written
    assert not again.problems
    log = "job no,machine,rpm,date,why,found offset V [mm],found angle V [mm/m],found offset H [mm],found angle H [mm/m]\nR1,N\u20141,1480,2019-01-01,planned,.1,.1,.1,.1\n"
    report = bring_in(engine, site, *write(tmp_path, log=log))
    assert report.written
    assert [(p.row, p.code) for p in loud(report)] == [(2, Code.TAG_LOOKS_ALIKE)]


@pytest.mark.parametrize("columns", [False, True])
def test_an_unseen_character_founds_no_machine(
    engine: sa.Engine, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, columns: bool
) -> None:
    monkeypatch.setattr(work, "COLUMNS_FROM", 0 if columns else 10**9)
    seed(engine, site, tmp_path)
    machines = len(Reader(engine).history(1).assets.tag)
    rows = "P-1\u200b,cooling water pump,short flexible,1485\n"
    report = bring_in(engine, site, *write(tmp_path, more=HEAD + rows))
    assert not report.problems
    assert report.sheets[0].unchanged == 1, "it is P-1, and what the row leaves blank stays"
    breaks = "tag,date,replaced,reason\n\u2060P-2,2025-01-10,coupling,worn\n\u00ad,2025-01-10,coupling,worn\n"
    report = bring_in(engine, site, *write(tmp_path, breaks=breaks), accept_good=True)
    assert [(p.row, p.code) for p in report.problems] == [(3, Code.MISSING_VALUE)]
    assert report.sheets[0].unchanged == 1
    people = "name,qualification\nAna\u200b Wick,\n\u2060,\n"
    report = bring_in(engine, site, *write(tmp_path, people=people), accept_good=True)
    assert [(p.row, p.code) for p in report.problems] == [(3, Code.NOT_A_NUMBER)]
    assert report.sheets[0].unchanged == 1
    names = len(Reader(engine).people(site.site_id))
    jobs = (
        JOBS.replace("Ana Wick; Bo Tarn", "Ana\u200b Wick; \u202eBo Tarn; \u2060")
        .replace("J2,", "J8,")
        .replace("-03-04", "-03-05")
    )
    report = bring_in(
        engine,
        site,
        *write(tmp_path, jobs="\n".join(jobs.splitlines()[:1] + [one for one in jobs.splitlines() if one[:2] == "J8"])),
    )
    assert report.written, report.problems
    assert len(Reader(engine).people(site.site_id)) == names, "they are known"
    jobs = JOBS.replace(",P-1,", ",P-1\ufeff,").replace(",P-2,", ",P\u00ad2,")
    report = bring_in(engine, site, *write(tmp_path, jobs=jobs))
    assert not report.problems
    assert report.sheets[0].unchanged == 3
    assert len(Reader(engine).history(1).assets.tag) == machines
    rename_asset(engine, site, "P-1", "P-1\u200b", by="desk", now=NOW, why="an older book may hold such a tag")
    report = bring_in(engine, site, *write(tmp_path, jobs=JOBS.replace(",P-1,", ",P-1\u200b,")))
    assert not report.problems
    assert report.sheets[0].unchanged == 3
