"""A later row of what the book knows changes what it says, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import sqlalchemy as sa

from models.commands.change_asset import merge_assets, rename_asset
from models.intake.problems import Code
from models.settings import Settings
from models.store.described import why_and_typed
from models.store.known import instruments, people
from models.store.reader import Reader
from models.values.asset import Asset
from models.values.description import version_on
from models.values.kinds import Coupling
from models.values.people import Instrument, Person
from models.values.story import Site
from tests.conftest import NOW
from tests.seeded import bring_in, loud, write

REGISTER = (
    "tag,description,area,train,driven,driver,coupling,span [mm],power [kW],criticality,"
    "movable foot row 1 [mm],movable foot row 2 [mm],stationary foot row 1 [mm],commissioned\n"
    "P-9,wash pump,Mill,T1,pump,motor,spacer,200,90,A,300,900,-250,2012-05-01\n"
)
WHOLE = Asset(
    tag="P-9",
    description="wash pump",
    area="Mill",
    train="T1",
    driven="pump",
    driver="motor",
    coupling=Coupling.SPACER,
    span_mm=200.0,
    power_kw=90.0,
    criticality="A",
    feet_movable_mm=(300.0, 900.0),
    feet_stationary_mm=(-250.0,),
    commissioned=date(2012, 5, 1),
)


@pytest.fixture
def settings(sqlite_book: Settings) -> Settings:
    """Rows are read the same way for either database."""
    return sqlite_book


def described(engine: sa.Engine, site: Site, folder: Path, *rows: str) -> list[Asset]:
    """Bring a machine in, then later rows of it one file each, and give how it is described."""
    assert bring_in(engine, site, *write(folder, register=REGISTER)).written
    for number, row in enumerate(rows):
        report = bring_in(engine, site, *write(folder, **{f"later{number}": row}))
        assert report.written, report.problems
    story = Reader(engine).story(site.site_id, "P-9")
    assert story is not None
    return [version.asset for version in story.versions]


def test_a_new_speed_takes_nothing_from_the_machine(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    row = "tag,running speed [rpm],valid from\nP-9,1480,2024-11-01\n"
    versions = described(engine, site, tmp_path, row)
    assert versions == [WHOLE, replace(WHOLE, speed_rpm=1480.0, valid_from=date(2024, 11, 1))]
    again = bring_in(engine, site, *write(tmp_path, again=row))
    assert [sheet.unchanged for sheet in again.sheets] == [1], again.problems


@pytest.mark.parametrize(
    ("heading", "cells", "changed"),
    [
        ("coupling", "short flexible", {"coupling": Coupling.SHORT, "span_mm": None}),
        ("span [mm]", "240", {"span_mm": 240.0}),
        ("coupling", "spacer", {}),
        ("movable foot row 1 [mm]", "310", {"feet_movable_mm": (310.0,)}),
        ("stationary foot row 1 [mm]", "-260", {"feet_stationary_mm": (-260.0,)}),
        ("area", "", {}),
        ("retired", "2024-11-01", {"retired": date(2024, 11, 1)}),
    ],
)
def test_what_belongs_together_changes_together(
    engine: sa.Engine, site: Site, tmp_path: Path, heading: str, cells: str, changed: dict[str, object]
) -> None:
    row = f"tag,{heading},valid from\nP-9,{cells},2024-11-01\n"
    versions = described(engine, site, tmp_path, row)
    assert versions[-1] == replace(WHOLE, valid_from=date(2024, 11, 1), **changed)  # type: ignore[arg-type]


def test_a_short_coupling_that_gets_its_first_span_is_a_spacer(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    versions = described(
        engine, site, tmp_path,
        "tag,coupling,valid from\nP-9,short flexible,2023-01-01\n",
        "tag,span [mm],valid from\nP-9,180,2024-01-01\n",
    )  # fmt: skip
    assert [(one.coupling, one.span_mm) for one in versions] == [
        (Coupling.SPACER, 200.0), (Coupling.SHORT, None), (Coupling.SPACER, 180.0),
    ]  # fmt: skip


def test_a_row_holds_what_held_on_its_day_not_what_holds_today(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    versions = described(
        engine, site, tmp_path,
        "tag,area,valid from\nP-9,Yard,2024-01-01\n",
        "tag,running speed [rpm],valid from\nP-9,1480,2020-01-01\n",
    )  # fmt: skip
    assert versions[-2:] == [
        replace(WHOLE, speed_rpm=1480.0, valid_from=date(2020, 1, 1)),
        replace(WHOLE, speed_rpm=1480.0, area="Yard", valid_from=date(2024, 1, 1)),
    ]


def test_a_new_tag_leaves_what_a_register_says_of_the_days_before_it(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    described(engine, site, tmp_path, "tag,area,valid from\nP-9,Yard,2027-02-01\n")
    rename_asset(engine, site, "P-9", "P-9A", by="desk", now=NOW, why="new tags")
    (path,) = write(tmp_path, speed="tag,running speed [rpm],area,valid from\nP-9A,3600,Hall,2026-11-01\n")
    names = f"P-9A from {NOW.date()} on: area, running speed", "P-9A from 2027-02-01 on"
    for again in (False, True):
        report = bring_in(engine, site, path)
        assert [sheet.unchanged for sheet in report.sheets] == [again]
        told = [one.text for one in report.problems if one.code is Code.DESCRIBED_LATER]
        begins = "What begins earlier than a description in the book holds"
        assert told == ([] if again else [
            f"{begins} on in it, as that says nothing else of it ({names[0]}; {names[1]}: running speed).",
            f"{begins} only until that one, which says otherwise ({names[1]}: area).",
        ])  # fmt: skip
    story = Reader(engine).story(site.site_id, "P-9")
    assert story is not None
    versions = [version.asset for version in story.versions]
    days = [date(2026, 10, 31), date(2026, 11, 1), NOW.date(), date(2027, 2, 1)]
    assert [(a.tag, a.speed_rpm, a.area) for a in (version_on(versions, day) for day in days)] == [
        ("P-9", None, "Mill"), ("P-9", 3600, "Hall"), ("P-9A", 3600, "Hall"), ("P-9A", 3600, "Yard"),
    ]  # fmt: skip
    with engine.connect() as connection:
        why, _ = why_and_typed(connection, story.versions[-2].entry)
    assert why == "new tags; as said from 2026-11-01 on: area, running speed"
    (path,) = write(tmp_path, day=f"tag,power [kW],valid from\nP-9,75,{NOW.date()}\n")
    assert bring_in(engine, site, path).written, "a new tag alone does not take the day"
    (path,) = write(tmp_path, day=f"tag,power [kW],valid from\nP-9,55,{NOW.date()}\n")
    assert [one.code for one in loud(bring_in(engine, site, path))] == [Code.KEY_IN_BOOK]


def test_a_register_is_known_again_also_after_a_merge(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    said = (
        "tag,coupling,span [mm],area,running speed [rpm],valid from,retired\nP-9,short flexible,,North,1500,,\n"
        "P-9,short flexible,,North,1800,2024-01-01,2029-01-01\nP-9,short flexible,,North,3000,2027-03-01,\nP-1,short flexible,,,1500,,\n"
    )
    assert bring_in(engine, site, *write(tmp_path, register=said)).written
    said += "P-9,spacer,500,South,1500,2020-01-01,\n"
    report = bring_in(engine, site, *write(tmp_path, register=said))
    assert [(sheet.taken, sheet.unchanged) for sheet in report.sheets] == [(1, 4)], report.problems
    assert loud(report) == []
    story = Reader(engine).story(site.site_id, "P-9")
    assert story is not None
    assert (story.asset.coupling, story.asset.area) == (Coupling.SHORT, "North")
    merge_assets(engine, site, "P-9", "P-1", by="desk", now=NOW, why="twice")
    report = bring_in(engine, site, *write(tmp_path, register=said + "P-20,short flexible,,,1500,,\n"))
    assert [(sheet.taken, sheet.unchanged) for sheet in report.sheets] == [(1, 5)], report.problems
    assert loud(report) == []


def test_a_machine_stays_out_of_service_unless_a_row_begins_later_and_then_it_is_told(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    described(engine, site, tmp_path, "tag,retired,valid from\nP-9,2024-06-30,2024-06-01\n")
    (path,) = write(tmp_path, june="tag,area,valid from\nP-9,Yard,2024-06-15\n")
    assert loud(bring_in(engine, site, path)) == []
    story = Reader(engine).story(site.site_id, "P-9")
    assert story is not None
    assert story.asset.retired == date(2024, 6, 30)
    (path,) = write(tmp_path, day="tag,power [kW],valid from\nP-9,75,2024-06-30\n")
    assert loud(bring_in(engine, site, path)) == [], "a row of the very day puts nothing back"
    (path,) = write(tmp_path, july="tag,running speed [rpm],valid from\nP-9,1480,2024-07-15\n")
    (problem,) = loud(bring_in(engine, site, path))
    assert problem.code is Code.BACK_IN_SERVICE
    assert "out of service: it is since 2024-06-30" in problem.text
    story = Reader(engine).story(site.site_id, "P-9")
    assert story is not None
    assert story.asset.retired is None


def test_people_and_instruments_keep_what_a_later_row_leaves_blank(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    bring_in(
        engine, site,
        *write(
            tmp_path,
            crew="name,qualification\nAda Reed,course 2\n",
            kit="serial,description,calibrated,calibration due\nD-1,dial set,2024-01-10,2025-01-10\nD-2,lasers,2024-01-10,2025-01-10\n",
        ),
    )  # fmt: skip
    later = write(
        tmp_path,
        crew2="name,qualification\nAda Reed,\n",
        kit2="serial,calibrated\nD-1,2025-02-01\n",
        kit3="serial,calibration due\nD-2,2025-07-10\n",
    )
    assert bring_in(engine, site, *later).written
    with engine.connect() as connection:
        assert people(connection, site.site_id)["Ada Reed"][1] == Person("Ada Reed", "course 2")
        held = {serial: said[-1] for serial, (_, said) in instruments(connection, site.site_id).items()}
    # The old day by which it was due belonged to the calibration before.
    assert held["D-1"] == Instrument("D-1", "dial set", date(2025, 2, 1), None)
    assert held["D-2"] == Instrument("D-2", "lasers", date(2024, 1, 10), date(2025, 7, 10))
