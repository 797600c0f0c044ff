"""Import at the console: which mapping reads a file, what is asked, what is told, and the rows that come back."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pytest
import sqlalchemy as sa

from dashboard.cli import main
from dashboard.texts.files_columns import WORDS
from models.commands import import_sheets
from models.commands.amend_job import amend_job, void_job
from models.intake import mend
from models.intake.own_table import AMENDED, VOID
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import site_of
from models.store.reader import Reader
from models.values.job import Job
from tests.seeded import ASSETS

Spoken = Callable[..., tuple[int, str]]

HEAD = "Job no,Machine,Date,Why,Found V offset,Found V angle,Found horiz offset,Found horiz angle"
STATED = HEAD.replace("offset", "offset mm").replace("angle", "angle mm/m")


def register(path: Path, *rows: str, head: str = HEAD) -> Path:
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def row(ref: str, offset: object = 0.1, day: str = "2019-01-01", why: str = "planned") -> str:
    return f"{ref},P-1,{day},{why},{offset},0.2,0.05,0.1"


def workbook(path: Path, **sheets: list[str]) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, lines in sheets.items():
        sheet = book.create_sheet(name)
        for line in lines:
            sheet.append([float(cell) if cell.replace(".", "", 1).isdigit() else cell for cell in line.split(",")])
    book.save(path)
    return path


def jobs_of(book: str = "driftbook.db", site: int = 1) -> dict[str, Job]:
    engine = make_engine(Settings(book=book))
    story = Reader(engine).story(site, "P-1")
    engine.dispose()
    return {} if story is None else {line.job.ref: line.job for line in story.standing}


def found_v(ref: str, site: int = 1, book: str = "driftbook.db") -> float:
    found = jobs_of(book, site)[ref].found
    assert found is not None
    return found.offset_v


@pytest.fixture
def say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Spoken:
    """Give the command, in a folder with the book of a plant that reads mil."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "400")

    def run(*arguments: object) -> tuple[int, str]:
        status = main([*map(str, arguments), "--by", "A"])
        spoken = capsys.readouterr()
        return status, " ".join((spoken.out + spoken.err).split())

    assert run("init", "--site", "Ash Works", "--zone", "Europe/Lisbon", "--units", "mil")[0] == 0
    (tmp_path / "assets.csv").write_text(ASSETS, encoding="utf-8")
    assert run("import", "assets.csv")[0] == 0
    return run


@pytest.fixture
def second(say: Spoken) -> Spoken:
    """Give the command with a second plant in the book, which reads mm."""
    assert say("init", "--site", "Birch Works", "--zone", "Europe/Lisbon")[0] == 0
    assert say("import", "assets.csv", "--site", "birch-works")[0] == 0
    return say


def mappings() -> list[Path]:
    return sorted(Path("mappings").glob("*.toml"))


# -- for which site a mapping holds --------------------------------------------------------------------------------


def test_an_import_lets_the_library_of_arrays_start_no_threads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for said, then in (("4", "4"), ("", "1")):
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", said)
        if not said:
            monkeypatch.delenv("OPENBLAS_NUM_THREADS")
        assert main(["import", "jobs.csv", "--book", "none.db"]) == 2
        assert os.environ["OPENBLAS_NUM_THREADS"] == then
    assert "none.db" in capsys.readouterr().err


def test_what_one_site_confirmed_is_asked_anew_for_another_where_units_are_not_stated(second: Spoken) -> None:
    register(Path("a.csv"), row("A1", 4))
    register(Path("b.csv"), row("B1", 0.1))
    assert second("import", "a.csv", "--site", "ash-works", "--confirm")[0] == 0
    (first,) = mappings()
    kept = first.read_bytes()
    status, said = second("import", "b.csv", "--site", "birch-works")
    assert status == 3
    assert "confirmed for Ash Works (mil, °C)" in said
    assert "'Found V offset' in mm (there mil)" in said
    assert jobs_of(site=2) == {}
    status, said = second("import", "b.csv", "--site", "birch-works", "--confirm")
    assert (status, len(mappings()), first.read_bytes()) == (0, 2, kept)
    assert (found_v("A1"), found_v("B1", 2)) == (pytest.approx(0.1016), pytest.approx(0.1))
    register(Path("next.csv"), row("N1", 2, "2019-02-01"))
    for site, number in (("ash-works", 1), ("birch-works", 2)):
        assert second("import", "next.csv", "--site", site)[0] == 0
        assert found_v("N1", number) == pytest.approx((0.0508, 2.0)[number - 1])


def test_a_mapping_that_is_named_is_no_exception(second: Spoken) -> None:
    register(Path("a.csv"), row("A1", 4))
    assert second("import", "a.csv", "--site", "ash-works", "--confirm")[0] == 0
    (first,) = mappings()
    assert second("import", "a.csv", "--site", "birch-works", "--mapping", first)[0] == 3
    assert second("import", "a.csv", "--site", "birch-works", "--mapping", first, "--confirm")[0] == 0
    assert len(mappings()) == 2, "the second look found the first proposal"
    assert found_v("A1", 2) == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("head", "line", "asks"),
    [
        (STATED, row("A1", 0.1), False),
        (HEAD, "A1,P-1,2019-01-01,planned,0.1 mm,0.2 mm/m,0.05 mm,0.1 mm/m", False),
        (HEAD, "A1,P-1,2019-01-01,planned,0.1 mm,0.2,0.05 mm,0.1 mm/m", True),
    ],
)
def test_where_every_unit_is_stated_nothing_is_asked(second: Spoken, head: str, line: str, asks: bool) -> None:
    register(Path("a.csv"), line, head=head)
    assert second("import", "a.csv", "--site", "ash-works", "--confirm")[0] == 0
    status, said = second("import", "a.csv", "--site", "birch-works")
    assert status == (3 if asks else 0)
    assert "confirmed for Ash Works" in said
    if not asks:
        assert found_v("A1", 2) == found_v("A1", 1) == pytest.approx(0.1)


@pytest.mark.parametrize(("old", "new"), [('unit = "mm"', 'unit = "mm"\ntimes = -1'), ('unit = "mm"', 'unit = "mil"')])
def test_a_factor_or_a_unit_set_by_hand_is_one_sites_own(second: Spoken, old: str, new: str) -> None:
    register(Path("a.csv"), row("A1"), head=STATED)
    assert second("import", "a.csv", "--site", "ash-works")[0] == 3
    (first,) = mappings()
    first.write_text(
        first.read_text(encoding="utf-8").replace(old, new).replace("confirmed = false", "confirmed = true")
    )
    assert second("import", "a.csv", "--site", "ash-works")[0] == 0
    assert second("import", "a.csv", "--site", "birch-works")[0] == 3


def test_words_beside_a_reading_are_asked_of_each_site(second: Spoken) -> None:
    # One unit is stated, one is not; both words were answered at the first site.
    head = STATED.replace("Found V offset mm", "Found V offset (hot) [mm]").replace(
        "Found horiz offset mm", "Found horiz offset (result)"
    )
    register(Path("a.csv"), row("A1", 0.1), head=head)
    assert second("import", "a.csv", "--site", "ash-works")[0] == 3
    (first,) = mappings()
    answered = first.read_text(encoding="utf-8").replace('?"', '"').replace("confirmed = false", "confirmed = true")
    first.write_text(answered, encoding="utf-8")
    assert second("import", "a.csv", "--site", "ash-works")[0] == 0
    status, said = second("import", "a.csv", "--site", "birch-works", "--confirm")
    assert (status, jobs_of(site=2)) == (3, {})
    assert "'hot' beside what is understood" in said
    assert "'result' beside what is understood" in said


def test_another_site_s_order_of_dates_is_not_taken_over(second: Spoken) -> None:
    register(Path("a.csv"), row("A1", day="3/4/2019"), row("A2", day="25/4/2019"), head=STATED)
    assert second("import", "a.csv", "--site", "ash-works", "--confirm")[0] == 0
    register(Path("b.csv"), row("B1", day="3/4/2019"), row("B2", day="4/25/2019"), head=STATED)
    assert second("import", "b.csv", "--site", "birch-works")[0] == 0
    assert jobs_of(site=1)["A1"].performed_at.month == 4
    assert jobs_of(site=2)["B1"].performed_at.month == 3


def test_other_units_of_the_site_or_another_book_beside_it_are_asked_too(say: Spoken) -> None:
    register(Path("a.csv"), row("A1", 4))
    assert say("import", "a.csv", "--confirm")[0] == 0
    register(Path("b.csv"), row("B1", 0.1, "2019-02-01"))
    assert say("init", "--book", "other.db", "--site", "Cedar Works", "--zone", "UTC")[0] == 0
    assert say("import", "assets.csv", "--book", "other.db")[0] == 0
    assert say("import", "b.csv", "--book", "other.db")[0] == 3
    assert say("site", "--units", "mm")[0] == 0
    status, said = say("import", "b.csv")
    assert (status, "confirmed for Ash Works (mil, °C)" in said) == (3, True)


def without_mark(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text(
        "\n".join(line for line in lines if not line.startswith(("site =", "units =", "left_out ="))) + "\n"
    )


def test_a_confirmed_mapping_that_names_no_site_waits_for_one_and_stops_no_other_list(say: Spoken) -> None:
    register(Path("a.csv"), row("A1", 4))
    assert say("import", "a.csv")[0] == 3
    (first,) = mappings()
    without_mark(first)
    assert say("import", "a.csv", "--confirm")[0] == 0, "one that waits is confirmed for the site that reads it"
    assert "site = " in first.read_text(encoding="utf-8")
    without_mark(first)
    other = first.rename(first.with_name("other.toml"))
    status, said = say("import", "a.csv", "--dry-run")
    assert status == 3
    said = " ".join(said.split())
    assert f"--confirm confirms it for Ash Works. Nothing was imported yet. Look through {other}" in said
    register(Path("b.csv"), row("B1", 4, "2019-03-01"), head=STATED)
    status, said = say("import", "b.csv", "--confirm")
    assert (status, str(other) in said) == (0, False), "a list with other headings hears nothing of it"
    assert say("import", "a.csv", "--confirm")[0] == 0
    assert 'site = "Ash Works"' in other.read_text(encoding="utf-8")


# -- sheets ---------------------------------------------------------------------------------------------------------


def test_a_sheet_that_is_not_read_is_named(say: Spoken) -> None:
    rows = [STATED, row("C1")]
    workbook(Path("w.xlsx"), log=rows, odd=["Colour,Weight", "red,4"], empty=[])
    status, said = say("import", "w.xlsx", "--confirm")
    assert status == 0
    assert "warning: w.xlsx › odd: expected a row of headings" in said
    assert "was not read" in said
    assert "empty" not in said
    _, said = say("import", "w.xlsx")
    assert "w.xlsx › odd" in said


def test_the_template_s_own_explanation_is_not_told_and_another_sheet_in_it_is(say: Spoken) -> None:
    assert main(["template", "t.xlsx"]) == 0
    book = openpyxl.load_workbook("t.xlsx")
    book["assets"].append(["P-7"])
    book.save("t.xlsx")
    status, said = say("import", "t.xlsx")
    assert (status, "not read" in said) == (0, False)
    book.create_sheet("Notes").append(["remember", "this"])
    book.save("t.xlsx")
    status, said = say("import", "t.xlsx")
    assert (status, "t.xlsx › Notes: expected" in said) == (0, True)


def test_further_sheets_of_a_later_workbook_are_asked_for(say: Spoken) -> None:
    workbook(Path("jan.xlsx"), y2018=[STATED, row("C1")])
    assert say("import", "jan.xlsx", "--confirm")[0] == 0
    later = {"y2018": [STATED, row("C1")], "y2019": [STATED, row("C2", day="2019-02-01")]}
    workbook(Path("feb.xlsx"), **later)
    status, said = say("import", "feb.xlsx")
    assert (status, "sheets that no mapping reads ('y2019')" in said) == (3, True)
    assert say("import", "feb.xlsx", "--confirm")[0] == 0
    assert jobs_of().keys() == {"C1", "C2"}
    assert say("import", "feb.xlsx")[0] == 0


def test_a_sheet_can_be_left_out_by_its_mapping_and_that_is_told(say: Spoken) -> None:
    workbook(Path("w.xlsx"), log=[STATED, row("C1")])
    assert say("import", "w.xlsx", "--confirm")[0] == 0
    (first,) = mappings()
    first.write_text(first.read_text(encoding="utf-8").replace("left_out = []", 'left_out = ["old"]'), encoding="utf-8")
    workbook(Path("w.xlsx"), log=[STATED, row("C1")], old=[STATED, row("C0")])
    status, said = say("import", "w.xlsx")
    assert (status, "w.xlsx › old" in said) == (0, True)
    assert jobs_of().keys() == {"C1"}


# -- mappings that a person has changed ---------------------------------------------------------------------------------


def test_a_mapping_with_a_column_taken_out_is_neither_used_nor_written_over(say: Spoken) -> None:
    register(Path("x.csv"), row("X1") + ",red", head=HEAD + ",Colour")
    assert say("import", "x.csv")[0] == 3
    (place,) = mappings()
    text = place.read_text(encoding="utf-8")
    cut = text[: text.rindex("[[sheet.column]]", 0, text.index('heading = "Colour"'))].replace('"mil"', '"mm"')
    place.write_text(cut, encoding="utf-8")
    status, said = say("import", "x.csv", "--confirm")
    assert status == 2
    assert "only in the file: 'Colour'" in said
    assert 'field = "" leaves a column out' in said
    assert (mappings(), place.read_text(encoding="utf-8")) == ([place], cut)
    assert jobs_of() == {}


def test_a_field_cannot_be_two_columns(say: Spoken) -> None:
    register(Path("y.csv"), row("Y1") + ",0.9", head=HEAD + ",Checked")
    assert say("import", "y.csv")[0] == 3
    (place,) = mappings()
    before, after = place.read_text(encoding="utf-8").split('heading = "Checked"')
    place.write_text(
        before + 'heading = "Checked"' + after.replace('field = ""', 'field = "found_offset_v"'), encoding="utf-8"
    )
    status, said = say("import", "y.csv", "--confirm")
    assert (status, "'Found V offset' and 'Checked' are both 'found_offset_v'" in said) == (2, True)


def test_a_second_look_shows_samples_and_factors(say: Spoken) -> None:
    register(Path("x.csv"), row("X1"))
    assert say("import", "x.csv")[0] == 3
    (place,) = mappings()
    text = place.read_text(encoding="utf-8")
    place.write_text(text.replace('unit = "mil"\n', 'unit = "mil"\ntimes = -0.5\n', 1), encoding="utf-8")
    status, said = say("import", "x.csv", "--confirm")
    assert (status, "2019-01-01" in said, "mil × -0.5" in said) == (0, True, True)
    assert "times = -0.5" in place.read_text(encoding="utf-8")
    assert found_v("X1") == pytest.approx(-0.5 * 0.1 * 0.0254)


def test_two_mappings_that_read_the_same_sheet_in_two_ways_are_not_chosen_between(say: Spoken) -> None:
    workbook(Path("one.xlsx"), log=[HEAD, row("C1", 4)])
    assert say("import", "one.xlsx", "--confirm")[0] == 0
    (first,) = mappings()
    text = first.read_text(encoding="utf-8")
    same = Path("mappings/another.toml")
    same.write_text(text.replace('dates = "by the rows"', 'dates = "day first"'), encoding="utf-8")
    assert say("import", "one.xlsx")[0] == 0, "what differs changes nothing"
    same.write_text(text.replace('unit = "mil"', 'unit = "mm"'), encoding="utf-8")
    status, said = say("import", "one.xlsx")
    assert (status, "in different ways" in said, str(first) in said, str(same) in said) == (2, True, True, True)
    assert say("import", "one.xlsx", "--mapping", first)[0] == 0


# -- rows that come back ------------------------------------------------------------------------------------------------


def mended(path: str, old: str, new: str) -> None:
    place = Path(path)
    if place.suffix == ".csv":
        place.write_text(place.read_text(encoding="utf-8-sig").replace(old, new), encoding="utf-8")
        return
    book = openpyxl.load_workbook(place)
    for sheet in book:
        for cells in sheet.iter_rows():
            for cell in cells:
                if cell.value == old:
                    cell.value = float(new)
    book.save(place)


def test_rows_of_one_sheet_are_read_by_the_mapping_of_the_whole_workbook(say: Spoken) -> None:
    workbook(
        Path("p.xlsx"), machines=["Machine,rpm", "P-9,1480"], log=[HEAD, row("C1"), row("C2", "5..0", "2019-02-01")]
    )
    assert say("import", "p.xlsx")[0] == 3
    (place,) = mappings()
    text = place.read_text(encoding="utf-8").replace('unit = "mil"\n', 'unit = "mil"\ntimes = -0.5\n')
    place.write_text(text.replace("confirmed = false", "confirmed = true"), encoding="utf-8")
    assert say("import", "p.xlsx", "--accept-good")[0] == 4
    mended("p.to-mend.xlsx", "5..0", "5.0")
    status, said = say("import", "p.to-mend.xlsx")
    assert (status, f"confirmed mapping {place}" in said, mappings()) == (0, True, [place])
    assert found_v("C2") == pytest.approx(-0.5 * 5 * 0.0254)


def test_a_date_comes_back_as_it_was_understood(say: Spoken) -> None:
    head = (
        "job,tag,performed at,reason,found offset V [mm],found angle V [mm/m],found offset H [mm],found angle H [mm/m]"
    )
    register(Path("us.csv"), row("A1", day="04/25/2019"), row("A2", "0.O5", "03/04/2019 14:30"), head=head)
    assert say("import", "us.csv", "--accept-good")[0] == 4
    mended("us.to-mend.csv", "0.O5,", "0.05,")
    assert say("import", "us.to-mend.csv")[0] == 0
    assert jobs_of()["A2"].performed_at.strftime("%m-%d %H:%M") == "03-04 14:30"


def test_a_file_to_mend_is_never_written_over_and_comes_every_time(say: Spoken) -> None:
    for name, ref in (("s.csv", "A"), ("s.txt", "B")):
        register(Path(name), row(f"{ref}1", "bad"), row(f"{ref}2", day=f"2019-0{1 + (ref == 'B')}-02"), head=STATED)
    assert say("import", "s.csv", "s.txt", "--confirm", "--accept-good")[0] == 4
    made = [Path("s.to-mend.csv"), Path("s.to-mend-2.csv")]
    assert [list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))[1][0] for path in made] == ["A1", "B1"]
    kept = [path.read_bytes() for path in made]
    status, said = say("import", "s.csv", "--accept-good")
    assert status == 1
    assert "Nothing new went in: 1 row was refused" in said
    assert "holds all of it" not in said
    assert Path("s.to-mend-3.csv").is_file()
    assert [path.read_bytes() for path in made] == kept
    assert say("import", "s.to-mend.csv", "--accept-good")[0] == 1
    assert Path("s.to-mend-4.csv").is_file(), "rows that came back twice"


def test_where_rows_cannot_be_kept_nothing_goes_in(say: Spoken, monkeypatch: pytest.MonkeyPatch) -> None:
    register(Path("j.csv"), row("A1"), row("A2", "bad", "2019-02-01"), head=STATED)
    assert say("import", "j.csv", "--confirm", "--dry-run")[0] == 1
    assert not list(Path().rglob("*.toml")), "a dry run keeps no mapping"
    with monkeypatch.context() as patch:

        def full(*_given: object, **_named: object) -> None:
            raise OSError("no space left")

        patch.setattr(mend, "write_mend", full)
        status, said = say("import", "j.csv", "--confirm", "--accept-good")
    assert status == 2
    assert "no space left" in said
    assert "nothing was imported" in said
    assert jobs_of() == {}
    assert not list(Path().glob("*to-mend*"))
    assert say("import", "j.csv", "--confirm", "--accept-good", "--dry-run")[0] == 1, "nothing was written"
    assert say("import", "j.csv", "--confirm", "--accept-good")[0] == 4
    assert jobs_of().keys() == {"A1"}
    assert Path("j.to-mend.csv").is_file()


def test_files_to_mend_of_an_import_that_fell_are_taken_away(say: Spoken, monkeypatch: pytest.MonkeyPatch) -> None:
    register(Path("j.csv"), row("A1"), row("A2", "bad", "2019-02-01"), head=STATED)
    assert say("import", "j.csv", "--confirm", "--dry-run")[0] == 1
    write = mend.write_mend

    def then_fall(*given: object, **named: object) -> None:
        write(*given, **named)  # type: ignore[arg-type]
        raise sa.exc.OperationalError("COMMIT", None, Exception("gone"))

    monkeypatch.setattr(mend, "write_mend", then_fall)
    assert say("import", "j.csv", "--confirm", "--accept-good")[0] == 2
    assert not list(Path().glob("*to-mend*"))
    assert jobs_of() == {}


# -- what is told -------------------------------------------------------------------------------------------------------


def test_a_guessed_encoding_is_told_with_what_was_read(say: Spoken) -> None:
    Path("people.csv").write_bytes("name,qualification\nJörg Weiß,fitter\n".encode("cp850"))
    status, said = say("import", "people.csv", "--dry-run")
    assert status == 0
    assert "warning: people.csv, row 2: found 'J”rg Weiá'" in said
    assert "read as cp1252, which is a guess" in said
    _, said = say("import", "people.csv", "--dry-run", "--encoding", "cp850")
    assert "guess" not in said
    Path("people.csv").write_text("name,qualification\nJörg Weiß,fitter\n", encoding="utf-8")
    _, said = say("import", "people.csv", "--dry-run")
    assert "guess" not in said


def test_a_file_that_is_named_twice_is_read_once(say: Spoken) -> None:
    register(Path("z.csv"), row("Z1"), head=STATED)
    status, said = say("import", "z.csv", "./z.csv", "--confirm")
    assert (status, said.count("1 row of jobs, 1 went in")) == (0, 1)


def test_one_is_told_as_one_and_a_sentence_as_a_sentence(say: Spoken, tmp_path: Path) -> None:
    head = "tag,description,coupling,spacer span [mm],running speed [rpm]"
    path = register(tmp_path / "machines.csv", "M-4,invented,spacer,,1480", head=head)
    status, said = say("import", path)
    assert status == 1
    assert "1 row of assets" in said
    assert ": M-4 has a spacer coupling: give the span between its flex planes." in said
    assert "expected M-4" not in said
    assert "Nothing was imported: 1 error. Mend it and import again" in " ".join(said.split())


# -- what cannot be understood for certain -------------------------------------------------------------------------


def test_a_heading_that_is_not_understood_is_answered_in_the_mapping_before_anything_is_read(say: Spoken) -> None:
    register(Path("a.csv"), row("A1", 12), head=HEAD.replace("Found V offset", "Found V offset [1/100 mm]"))
    status, said = say("import", "a.csv", "--confirm")
    assert status == 3
    assert "a question waits for an answer" in said
    assert "'1/100 mm' where a unit stands" in said
    (kept,) = mappings()
    text = kept.read_text()
    assert 'unit = "?"' in text
    assert "confirmed = false" in text
    # Confirming by hand answers nothing, and nor does taking the question away.
    # Nor does a unit alone: the heading says hundredths, and as they stand its numbers would be a hundred times too large.
    mm = text.replace('unit = "?"', 'unit = "mm"')
    for changed in (
        text,
        text.replace('unit = "?"\n', ""),
        mm,
        mm.replace('"?"', '""'),
        mm.replace('times = "?"\n', ""),
        "\n".join(line for line in mm.splitlines() if not line.startswith(("times =", "ask ="))),
    ):
        kept.write_text(changed.replace("confirmed = false", "confirmed = true"))
        assert say("import", "a.csv", "--confirm")[0] == 3
    kept.write_text(mm.replace('times = "?"', "times = 0.01"))
    assert say("import", "a.csv", "--confirm")[0] == 0
    assert found_v("A1") == pytest.approx(0.12)
    register(Path("b.csv"), row("B1", 5), head=HEAD.replace("Found V offset", "Found V offset [1/100 mm]"))
    assert say("import", "b.csv")[0] == 0


def test_what_a_heading_leaves_open_is_asked_anew_at_another_site(second: Spoken) -> None:
    head = STATED.replace("Found V offset mm", "Found V offset [thousandths]")
    register(Path("a.csv"), row("A1", 4), head=head)
    register(Path("b.csv"), row("B1", 4), head=head)
    assert second("import", "a.csv", "--site", "ash-works")[0] == 3
    (kept,) = mappings()
    kept.write_text(kept.read_text().replace('unit = "?"', 'unit = "mil"').replace('times = "?"', "times = 1"))
    assert second("import", "a.csv", "--site", "ash-works", "--confirm")[0] == 0
    assert second("import", "a.csv", "--site", "ash-works")[0] == 0, "that numbers are as they stand is an answer too"
    assert second("import", "b.csv", "--site", "birch-works", "--confirm")[0] == 3
    other = next(path for path in mappings() if path != kept)
    assert 'unit = "mil?"' in other.read_text()
    other.write_text(other.read_text().replace('?"', '"'))
    assert second("import", "b.csv", "--site", "birch-works", "--confirm")[0] == 0
    assert found_v("B1", site=2) == pytest.approx(4 * 0.0254)


# -- other lists in the same sheet, and headings in another row ----------------------------------------------------


def test_a_list_above_the_headings_is_refused_with_its_rows(say: Spoken) -> None:
    lines = [
        "Jobs 2019",
        STATED,
        row("A1"),
        row("A2", day="2019-02-01"),
        "",
        "Jobs 2020",
        f"{STATED},Notes",
        row("B1", day="2020-01-01"),
    ]
    register(Path("a.csv"), *lines[1:], head=lines[0])
    for _ in range(2):  # as proposed, and by the mapping that is then kept
        status, said = say("import", "a.csv", "--confirm")
        assert status == 1
        assert "rows 3 to 4 stand under the headings of jobs in row 2, above those that are read (row 7)" in said
        assert not jobs_of()
    assert say("import", "a.csv", "--accept-good")[0] == 4
    assert set(jobs_of()) == {"B1"}


def test_a_list_of_another_kind_above_is_told_and_titles_are_not(say: Spoken) -> None:
    register(Path("a.csv"), "P-7,feed pump", "", STATED, row("A1"), head="Tag,Description")
    status, said = say("import", "a.csv", "--confirm")
    assert status == 0
    assert "row 2 stands under the headings of assets in row 1" in said
    titles = ["Asset,P-1,Unit,Area 2", "Speed,1480,Power,45", "Rev,3,Page,1,Date,2019-03-01", "1,2,3,4,5,6,7,8"]
    register(Path("b.csv"), *titles[1:], STATED, row("B1"), head=titles[0])
    assert "nothing of that is read" not in say("import", "b.csv", "--confirm")[1]


def test_rows_without_headings_above_are_told(say: Spoken) -> None:
    register(Path("a.csv"), row("A2", day="2019-03-01"), STATED, row("A1"), head=row("A3", day="2019-02-01"))
    assert "rows 1 to 2 stand above the headings, filled like records" in say("import", "a.csv", "--confirm")[1]


def test_another_list_below_stops_all_of_it(say: Spoken, monkeypatch: pytest.MonkeyPatch) -> None:
    other = STATED.replace("Found V offset mm,Found V angle mm/m", "Found V angle mm/m,Found V offset mm")
    register(Path("a.csv"), row("A1"), "", other, row("B1", day="2020-01-01"), head=STATED)
    for least in (1_500, 1):  # row by row, and as columns
        monkeypatch.setattr(import_sheets, "COLUMNS_FROM", least)
        status, said = say("import", "a.csv", "--confirm", "--accept-good")
        assert status == 2
        assert "a.csv, row 4: here another list begins ('Found V angle mm/m' stands under 'Found V offset mm')" in said
        assert not jobs_of()


@pytest.mark.parametrize(
    "machines", ["Tag,Description,Area,Train,Driver,Equipment class", "Tag,Description,Area,Speed [rpm],Power [kW]"]
)
def test_jobs_below_machines_and_machines_below_jobs_stop_all_of_it(say: Spoken, machines: str) -> None:
    machine = "P-7,feed pump,A2," + ("1480,45" if "rpm" in machines else "T1,motor,PU")
    jobs = "Tag,Job,Performed at,People,Notes,Work order", "P-7,J1,2019-01-01,Ann,as it was,WO-1"
    register(Path("a.csv"), machine, machine.replace("P-7", "P-8"), "", *jobs, head=machines)
    status, said = say("import", "a.csv", "--confirm", "--accept-good")
    assert status == 2
    assert "a.csv, row 5: here another list begins (the headings of jobs, below a list of assets)" in said
    register(Path("b.csv"), row("A1"), "", machines, machine, head=STATED)
    status, said = say("import", "b.csv", "--confirm", "--accept-good")
    assert (status, jobs_of()) == (2, {})
    assert "b.csv, row 4: here another list begins (the headings of assets, below a list of jobs)" in said
    # The same headings again are no other list.
    register(Path("c.csv"), machine, machines, machine.replace("P-7", "P-8"), head=machines)
    status, said = say("import", "c.csv", "--confirm")
    assert (status, "row 3: expected a record; the headings stand here once more, and the row is left out" in said) == (
        0,
        True,
    )
    # So a program begins a file that stands behind another; the reason is no word that waits for its meaning.
    register(Path("d.csv"), row("A1"), f"\ufeff{STATED}", row("A2", day="2020-01-01"), head=STATED)
    status, said = say("import", "d.csv", "--confirm")
    assert (status, "1 left out" in said, "means" in said) == (0, True, False)


def test_a_kept_mapping_finds_its_headings_below_one_more_title(say: Spoken) -> None:
    register(Path("a.csv"), row("A1"), head=STATED)
    assert say("import", "a.csv", "--confirm")[0] == 0
    register(Path("b.csv"), "", STATED, row("B1", day="2020-01-01"), head="Exported 2020-11-30")
    status, said = say("import", "b.csv")
    assert status == 0
    assert "confirmed mapping" in said
    assert set(jobs_of()) == {"A1", "B1"}
    assert len(mappings()) == 1


# -- the program's own table of jobs -------------------------------------------------------------------------------


def test_versions_that_do_not_count_stay_out_when_the_own_table_comes_back(
    say: Spoken, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert WORDS["files.column.amended_by"] == AMENDED
    assert WORDS["files.column.void"] == VOID
    register(Path("a.csv"), *(f"{row(ref, day=f'2019-0{month}-01')},0.1,0.2,0.05,0.1" for month, ref in enumerate(("A1", "A2", "A3"), 1)),
             head=f"{STATED},Left V offset mm,Left V angle mm/m,Left H offset mm,Left H angle mm/m")  # fmt: skip
    assert say("import", "a.csv", "--confirm")[0] == 0
    engine = make_engine(Settings(book="driftbook.db"))
    story = Reader(engine).story(1, "P-1")
    assert story is not None
    first, second = (line for line in story.standing if line.job.ref in {"A1", "A2"})
    site = site_of(engine.connect(), "ash-works")
    void_job(engine, site, first.entry, by="A", now=datetime.now(UTC), why="never done")
    amend_job(
        engine,
        site,
        second.entry,
        replace(second.job, notes="better"),
        by="A",
        now=datetime.now(UTC),
        why="more is known",
    )
    engine.dispose()
    assert main(["table", "asset-jobs", "--query", "asset=P-1", "-o", "own.csv"]) == 0
    for least in (1_500, 1):  # row by row, and where a file is read as columns
        monkeypatch.setattr(import_sheets, "COLUMNS_FROM", least)
        book = f"fresh-{least}.db"
        assert say("init", "--site", "Ash Works", "--zone", "Europe/Lisbon", "--units", "mil", "--book", book)[0] == 0
        assert say("import", "assets.csv", "--book", book)[0] == 0
        status, said = say("import", "own.csv", "--confirm", "--accept-good", "--book", book)
        assert status == 0, said
        assert "3 left out (no record)" in said
        assert "took the place of this one" in said
        assert "this one is void" in said
        assert {ref: job.notes for ref, job in jobs_of(book).items()} == {"A2": "better", "A3": ""}
