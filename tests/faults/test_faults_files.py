"""Files that came only half: an upload that broke off is refused whole, and a half that cannot be told is not guessed at."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from models.errors import UnreadableFileError
from models.intake.problems import Code
from models.intake.reading import read_sheets
from models.intake.template import workbook
from models.settings import Settings
from models.store.engine import make_engine
from models.units import Display
from models.values.story import Site
from tests.conftest import make_site
from tests.seeded import FILES, bring_in, contents, write


@pytest.fixture
def book(sqlite_book: Settings) -> Iterator[tuple[sa.Engine, Site]]:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    yield engine, site
    engine.dispose()


def half(path: Path, kept: int) -> Path:
    cut = path.with_name(f"cut-{path.name}")
    cut.write_bytes(path.read_bytes()[:kept])
    return cut


@pytest.mark.parametrize("part", [0.02, 0.3, 0.7, 0.95, 0.999])
def test_a_workbook_that_came_half_is_refused_in_words(part: float, tmp_path: Path) -> None:
    whole = tmp_path / "register.xlsx"
    whole.write_bytes(workbook(Display()))
    with pytest.raises(UnreadableFileError, match=r"is damaged|cannot be read as a workbook") as told:
        read_sheets(half(whole, int(whole.stat().st_size * part)))
    assert told.value.remedy


def test_a_csv_that_breaks_off_within_a_row_is_refused_whole(book: tuple[sa.Engine, Site], tmp_path: Path) -> None:
    engine, site = book
    paths = write(tmp_path, **FILES)
    jobs = next(path for path in paths if path.stem == "jobs")
    others = [path for path in paths if path is not jobs]
    before = contents(engine)
    size = jobs.stat().st_size
    last = jobs.read_bytes().rstrip(b"\n").rindex(b"\n") + 1
    fields = [at for at, byte in enumerate(jobs.read_bytes()) if byte == ord(",") and at > last]
    assert len(fields) > 15
    for cut in [last + 3, *fields[:-1], fields[4] + 2, fields[9] + 1]:
        assert cut < size
        report = bring_in(engine, site, *others, half(jobs, cut))
        assert not report.written, f"cut at {cut - last} of the last row"
        assert Code.CUT_SHORT in {problem.code for problem in report.errors}
        assert contents(engine) == before
    assert bring_in(engine, site, *others, jobs).written


def test_the_good_rows_of_a_csv_that_broke_off_can_be_taken_and_the_broken_one_comes_back(
    book: tuple[sa.Engine, Site], tmp_path: Path
) -> None:
    engine, site = book
    paths = write(tmp_path, **FILES)
    jobs = next(path for path in paths if path.stem == "jobs")
    last = jobs.read_bytes().rstrip(b"\n").rindex(b"\n") + 1
    cut = half(jobs, last + 40)
    report = bring_in(engine, site, *(path for path in paths if path is not jobs), cut, accept_good=True)
    assert report.written
    sheet = next(sheet for sheet in report.sheets if sheet.source.path == cut)
    assert (sheet.taken, len(sheet.refused)) == (2, 1)
    assert "breaks off" in sheet.refused[0].why


def test_a_last_row_without_a_line_end_is_whole_where_it_has_all_its_cells(
    book: tuple[sa.Engine, Site], tmp_path: Path
) -> None:
    engine, site = book
    paths = write(tmp_path, **{name: text.rstrip("\n") for name, text in FILES.items()})
    assert bring_in(engine, site, *paths).written


def test_a_csv_that_breaks_off_within_quotes_or_a_character_is_refused(tmp_path: Path) -> None:
    named = tmp_path / "people.csv"
    named.write_text("name,qualification\nJosé Prado,fitter\nIngrid Åsen,millwright é")
    whole = named.read_bytes()
    broken = half(named, len(whole) - 1)
    with pytest.raises(UnreadableFileError, match="middle of a character"):
        read_sheets(broken)
    latin = tmp_path / "latin.csv"
    latin.write_bytes("name,qualification\nAna,fitter\nBo,chargé".encode("cp1252"))
    assert read_sheets(latin)[0].encoding == "cp1252"
    quoted = tmp_path / "notes.csv"
    quoted.write_text('name,qualification\nAna,fitter\nBo,"half a')
    assert len(list(read_sheets(quoted)[0].rows())) == 3


def test_a_csv_that_breaks_off_within_quotes_is_refused(book: tuple[sa.Engine, Site], tmp_path: Path) -> None:
    engine, site = book
    path = tmp_path / "people.csv"
    path.write_text('name,qualification\nAna,fitter\nBo,"half a')
    report = bring_in(engine, site, path)
    assert not report.written
    assert [problem.code for problem in report.errors] == [Code.CUT_SHORT]
