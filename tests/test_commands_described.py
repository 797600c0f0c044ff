"""Machine and job in one row: the machine is what all its rows say, and whoever says otherwise is told."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

from models.intake.problems import Code, Problem, Severity
from models.store.reader import Reader
from models.values.asset import Asset
from models.values.kinds import Coupling
from models.values.story import AssetStory, Site
from tests.seeded import bring_in, contents, loud, write

HEAD = (
    "job no,machine,machine name,rpm,coupling,spacer length [mm],date,why,found offset V [mm],found angle V [mm/m],found offset H [mm],"
    "found angle H [mm/m]\n"
)
GOOD = "0.1,0.1,0.1,0.1"


def line(
    ref: str, tag: str, rpm: str = "", coupling: str = "", span: str = "", *, day: str = "", name: str = "",
    found: str = GOOD,
) -> str:  # fmt: skip
    day = day or f"2019-03-{int(ref[1:]):02d}"  # each job on a day of its own
    return f"{ref},{tag},{name},{rpm},{coupling},{span},{day},planned,{found}\n"


def register(folder: Path, *lines: str, name: str = "register") -> Path:
    return write(folder, **{name: HEAD + "".join(lines)})[0]


def story_of(engine: sa.Engine, tag: str) -> AssetStory:
    story = Reader(engine).story(1, tag)
    assert story is not None
    return story


def machine(engine: sa.Engine, tag: str) -> Asset:
    return story_of(engine, tag).asset


def told(problems: list[Problem], code: Code) -> list[tuple[int, str, str]]:
    return [(p.row, p.column, p.text) for p in problems if p.code is code]


def test_each_description_is_the_first_that_any_row_gives_and_judges_the_first_job(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    """The same book as if every row had said everything."""
    spread = register(
        tmp_path,
        line("R1", "N-1"),
        line("R2", "N-1", "2960", name="feed pump"),
        line("R3", "N-1", coupling="spacer"),
        line("R4", "N-1", span="180"),
    )
    report = bring_in(engine, site, spread)
    assert report.written, report.problems
    assert not loud(report)
    asset = machine(engine, "N-1")
    assert (asset.description, asset.speed_rpm, asset.coupling, asset.span_mm) == (
        "feed pump", 2960.0, Coupling.SPACER, 180.0,
    )  # fmt: skip
    whole = [line(f"W{n}", "N-2", "2960", "spacer", "180", name="feed pump") for n in (1, 2)]
    assert bring_in(engine, site, register(tmp_path, *whole, name="whole")).written
    (ratio,) = {job.found_ratio for job in story_of(engine, "N-1").standing}
    assert ratio is not None
    assert ratio > 0
    assert {job.found_ratio for job in story_of(engine, "N-2").standing} == {ratio}


def test_a_machine_described_in_a_later_file_is_the_same_for_the_first_one(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    first = register(tmp_path, line("R1", "N-1", coupling="short flexible"), name="a")
    second = register(tmp_path, line("R2", "N-1", "740"), name="b")
    report = bring_in(engine, site, first, second)
    assert report.written
    assert not loud(report)
    assert machine(engine, "N-1").speed_rpm == 740.0


def test_who_says_otherwise_is_told_once_for_a_machine_and_a_description(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    path = register(
        tmp_path,
        line("R1", "N-2", "1480", "short flexible"),
        line("R2", "N-2", "2960", "spacer", "150"),
        line("R3", "N-2", "740"),
        line("R4", "N-3", "1480"),
        line("R5", "N-3", "24.6666666666666667 Hz", "Short Flexible"),
    )
    report = bring_in(engine, site, path)
    assert report.written
    assert {p.severity for p in loud(report)} == {Severity.WARNING}
    found = told(loud(report), Code.MACHINE_DIFFERS)
    assert [(row, column[:1]) for row, column, _ in found] == [(3, "D"), (3, "E")]
    assert len(found) == len(loud(report))
    assert "found '2960 rpm'; expected 1480 rpm, which row 2 says of N-2" in found[0][2]
    assert "register of machines" in found[0][2]
    assert {job.found_ratio for job in story_of(engine, "N-2").standing} == {
        job.found_ratio for job in story_of(engine, "N-3").standing
    }


def test_the_row_that_counts_is_named_with_its_file(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    first = register(tmp_path, line("R1", "N-2", "1480"), name="a")
    second = register(tmp_path, line("R2", "N-2", "2960"), name="b")
    ((row, _, text),) = told(bring_in(engine, site, first, second).problems, Code.MACHINE_DIFFERS)
    assert row == 2
    assert "which row 2 of a.csv says of N-2" in text


def test_a_machine_that_is_in_the_book_stays_what_it_is_and_that_is_said(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    assets = "tag,coupling,spacer span [mm],running speed [rpm],valid from\nP-1,short flexible,,1480,\nP-1,short flexible,,2960,2020-01-01\nP-2,short flexible,,,\n"
    assert bring_in(engine, site, *write(tmp_path, assets=assets)).written
    path = register(
        tmp_path,
        line("R1", "P-1", "1480"),  # as it was that day
        line("R2", "P-1", "2960"),  # as it is today: registers print that beside old jobs too
        line("R3", "P-1"),
        line("R4", "P-1", "740", "spacer", "140"),
        line("R5", "P-1", "750", "spacer", "140"),
        line("R6", "P-2", "1480"),
    )
    report = bring_in(engine, site, path)
    assert report.written
    found = told(loud(report), Code.MACHINE_DIFFERS)
    assert [(row, column[:1]) for row, column, _ in found] == [(5, "D"), (5, "E"), (5, "F"), (7, "D")]
    assert "found '740 rpm'; expected 1480 rpm, as P-1 is described already" in found[0][2]
    assert "expected nothing, as P-1 is described already" in found[2][2]
    assert machine(engine, "P-1").speed_rpm == 2960.0
    assert machine(engine, "P-2").speed_rpm is None


def test_a_row_that_cannot_be_read_says_nothing_of_its_machine(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    path = register(
        tmp_path,
        line("R1", "N-1", "5", found="0.O5,0.1,0.1,0.1"),
        line("R2", "N-1", "1480"),
    )
    report = bring_in(engine, site, path, accept_good=True)
    assert [(p.row, p.code) for p in loud(report)] == [(2, Code.NOT_A_NUMBER)]
    assert machine(engine, "N-1").speed_rpm == 1480.0


def test_a_speed_of_nothing_gives_way_to_one_that_can_be(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    path = register(tmp_path, line("R1", "N-1", "0"), line("R2", "N-1", "1480"))
    report = bring_in(engine, site, path)
    assert report.written
    assert [(p.row, p.code) for p in loud(report)] == [(2, Code.MACHINE_DIFFERS)]
    assert machine(engine, "N-1").speed_rpm == 1480.0
    alone = bring_in(engine, site, register(tmp_path, line("R9", "N-9", "0"), name="alone"))
    assert [(p.row, p.code) for p in alone.problems] == [(2, Code.IMPOSSIBLE_VALUE)]


def test_a_fault_of_a_value_in_another_row_names_that_row(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    path = register(
        tmp_path,
        line("R1", "N-1", "1480"),
        line("R2", "N-1", coupling="spacer"),
    )
    report = bring_in(engine, site, path)
    assert not report.written
    assert [p.row for p in report.errors] == [2, 3]
    assert all("give the span" in p.expected for p in report.errors)
    odd = register(tmp_path, line("R1", "N-2"), line("R2", "N-2", "12"), name="odd")
    (problem,) = loud(bring_in(engine, site, odd))
    assert (problem.row, problem.code) == (2, Code.ODD_VALUE)
    assert "row 3 says so of this machine" in problem.expected


@pytest.mark.parametrize("accept_good", [False, True])
def test_rows_whose_machine_is_described_by_a_refused_row_are_refused_with_words(
    engine: sa.Engine, site: Site, tmp_path: Path, *, accept_good: bool
) -> None:
    path = register(
        tmp_path,
        line("S1", "Z-1", "1480", found="0.O5,0.1,0.1,0.1"),
        line("S2", "Z-1"),
        line("S3", "Z-2", "1480", found="0.O5,0.1,0.1,0.1"),
        line("S4", "Z-2"),
        line("S5", "Z-2", "1480"),
    )
    report = bring_in(engine, site, path, accept_good=accept_good)
    assert [(p.row, p.code) for p in loud(report)] == [
        (2, Code.NOT_A_NUMBER), (3, Code.UNKNOWN_ASSET), (4, Code.NOT_A_NUMBER),
    ]  # fmt: skip
    assert "row 2 of register.csv, which describes it, is refused" in loud(report)[1].expected
    assert report.written is accept_good
    if accept_good:
        assert {job.job.ref for job in story_of(engine, "Z-2").standing} == {"S4", "S5"}
        assert Reader(engine).story(1, "Z-1") is None


def test_a_refused_job_brings_no_machine(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    path = register(tmp_path, line("S1", "Z-1", "1480", day="2031-04-01"), line("S2", "Z-2", "1480"))
    report = bring_in(engine, site, path, accept_good=True)
    assert [(p.row, p.code) for p in loud(report)] == [(2, Code.FUTURE_DATE)]
    assert Reader(engine).story(1, "Z-1") is None


def test_the_same_register_again_changes_nothing(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    path = register(tmp_path, line("R1", "N-1"), line("R2", "N-1", "2960"))
    assert bring_in(engine, site, path).written
    before = contents(engine)
    again = bring_in(engine, site, path)
    assert not again.written
    assert not again.problems
    assert contents(engine) == before
