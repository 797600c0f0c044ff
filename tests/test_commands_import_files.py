"""Import: whole, in part, or not at all; twice is once; every problem has its place."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

from models.commands.amend_job import void_job
from models.commands.change_asset import rename_asset
from models.commands.import_files import import_files
from models.commands.report import SameVisit
from models.errors import UnreadableFileError
from models.intake.problems import Code, Severity
from models.store.reader import Reader
from models.values.story import Site
from tests.conftest import NOW
from tests.seeded import ASSETS, FILES, JOBS, bring_in, contents, loud, seed, sources_of, write

HEAD = JOBS.splitlines()[0]


def job_line(**given: str) -> str:
    names = HEAD.split(",")
    return ",".join(given.get(name.split(" [")[0].replace(" ", "_"), "") for name in names)


GOOD = {
    "tag": "P-1", "performed_at": "2025-06-01", "reason": "planned",
    "found_offset_V": "0.01", "found_angle_V": "0.1", "found_offset_H": "0.02", "found_angle_H": "0.1",
    "left_offset_V": "0.01", "left_angle_V": "0.1", "left_offset_H": "0.02", "left_angle_H": "0.1",
}  # fmt: skip


def jobs_file(folder: Path, *lines: dict[str, str], name: str = "more") -> Path:
    path = folder / f"{name}.csv"
    path.write_text("\n".join([HEAD, *(job_line(**line) for line in lines)]) + "\n", encoding="utf-8")
    return path


def codes(report: object) -> list[str]:
    return [str(problem.code) for problem in report.problems]  # type: ignore[attr-defined]


def test_a_plants_files_go_in_and_every_row_has_its_entry(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    report = seed(engine, site, tmp_path)
    assert [(sheet.table, sheet.read, sheet.taken) for sheet in report.sheets] == [
        ("people", 1, 1), ("instruments", 1, 1), ("assets", 2, 2), ("breaks", 1, 1), ("jobs", 3, 3)
    ]  # fmt: skip
    tables = contents(engine)
    numbers = [row[0] for row in tables["entry"]]
    assert sorted(numbers) == list(range(1, len(numbers) + 1)), "no gap"
    for table in ("asset_version", "machine_break", "person_version", "instrument_version", "job", "imported_file"):
        assert {row[0] for row in tables[table]} <= set(numbers)
    assert {row[3] for row in tables["entry"]} == {"tester"}


def test_importing_the_same_files_again_changes_nothing(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    before = contents(engine)
    report = bring_in(engine, site, *(tmp_path / f"{name}.csv" for name in FILES))
    assert not report.written
    assert not report.problems
    assert sum(sheet.unchanged for sheet in report.sheets) == 8
    assert contents(engine) == before


def test_the_same_numbers_in_another_spelling_are_the_same_job(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    before = contents(engine)
    again = tmp_path / "again.csv"
    again.write_text(JOBS.replace("0.12,0.3,-0.05", "120 µm,0.30,-50 um"), encoding="utf-8")
    report = bring_in(engine, site, again)
    assert not report.written, report.problems
    assert contents(engine) == before


def test_a_job_that_the_book_holds_otherwise_is_refused_and_told_in_what_it_differs(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    first = seed(engine, site, tmp_path)
    assert first.last_entry is not None
    head = JOBS.splitlines()[0].replace("left angle V [mm/m]", "left angle V [mm/100mm]")
    rows = [
        "J2,P-1,2025-03-04 09:30,planned,Ana Wick; Bo Tarn,D-1,0.12,0.3,-2 mil,0.2,0.02,0.012,0.01,-0.05,0.02,0.01,0.09,0.01,",
        "J3,P-1,2025-05-05,condition,Bo Tarn; Ana Wick,,0.05,0.8,0.0,0.1,,,,,,,,,seen again",
    ]
    path = write(tmp_path, other="\n".join([head, *rows]) + "\n")
    report = bring_in(engine, site, *path)
    assert [(problem.code, problem.row, problem.entry) for problem in report.problems if problem.severity is Severity.ERROR] == [
        (Code.KEY_IN_BOOK, 2, first.last_entry - 1), (Code.KEY_IN_BOOK, 3, None),  # no amendment moves it to another machine
    ]  # fmt: skip
    two, three = report.errors
    assert two.column == "I (found offset H [mm])"
    assert two.text == (
        f"the book has this job otherwise in entry {first.last_entry - 1}: found offset H [mm]: the sheet -2 mil, the book -0.05 mm; "
        "left angle V [mm/100mm]: the sheet 0.012 mm/100mm, the book 0.01 mm/100mm. "
        f"A job is changed by an amendment, not by a second import: amend entry {first.last_entry - 1}"
    )
    assert (
        "tag: the sheet P-1, the book P-2; performed at: the sheet 2025-05-05 12:00, the book 2025-05-04 12:00"
        in three.text
    )
    assert (
        "people: the sheet ‘Bo Tarn; Ana Wick’, the book ‘Bo Tarn’; instrument: the sheet nothing, the book ‘D-1’; and 5 more."
        in three.text
    )


def test_one_bad_row_keeps_everything_out_and_a_dry_run_says_so(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    before = contents(engine)
    path = jobs_file(tmp_path, GOOD, {**GOOD, "performed_at": "2025-07-01", "found_offset_V": "x"})
    for dry in (True, False):
        report = bring_in(engine, site, path, dry_run=dry)
        assert codes(report) == [Code.NOT_A_NUMBER]
        assert (report.problems[0].row, report.problems[0].column) == (3, "G (found offset V [mm])")
        assert not report.written
        assert contents(engine) == before
    good = bring_in(engine, site, jobs_file(tmp_path, GOOD), dry_run=True)
    assert good.taken == 1
    assert contents(engine) == before


def test_the_good_rows_can_go_in_alone(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    path = jobs_file(tmp_path, GOOD, {**GOOD, "performed_at": "2025-07-01", "tag": "P-9"})
    report = bring_in(engine, site, path, accept_good=True)
    assert report.written
    assert report.taken == 1
    (refused,) = report.sheets[0].refused
    assert (refused.row, refused.cells[1]) == (3, "P-9")
    assert "tag of an asset" in refused.why


@pytest.mark.parametrize(
    ("change", "code", "column"),
    [
        ({"tag": "P-7"}, Code.UNKNOWN_ASSET, "B"),
        ({"performed_at": "2030-01-01"}, Code.FUTURE_DATE, "C"),
        ({"performed_at": "2025-13-01"}, Code.BAD_DATE, "C"),
        ({"performed_at": ""}, Code.MISSING_VALUE, "C"),
        ({"performed_at": "1925-01-01"}, Code.IMPOSSIBLE_VALUE, "C"),
        ({"reason": "because"}, Code.NOT_A_CHOICE, "D"),
        ({"reason": "installation"}, Code.IMPOSSIBLE_VALUE, "D"),
        ({"found_angle_V": ""}, Code.INCOMPLETE, "H"),
        ({"found_offset_V": "30"}, Code.IMPOSSIBLE_VALUE, "G"),
        ({"found_offset_V": "3"}, Code.ODD_VALUE, "G"),
        ({"found_offset_V": "3 °C"}, Code.WRONG_UNIT, "G"),
        ({"soft_foot_before_1L": "-0.1"}, Code.ODD_VALUE, "O"),
        ({"instrument": "D-77"}, Code.UNKNOWN_INSTRUMENT, "F"),
        ({f"found_{part}": "" for part in ("offset_V", "angle_V", "offset_H", "angle_H")}, Code.LEFT_WITHOUT_FOUND, "G"),
        ({"reason": "condition", **{f"left_{part}": "" for part in ("offset_V", "angle_V", "offset_H", "angle_H")}},
         Code.FOUND_WITHOUT_LEFT, "K"),
    ],
)  # fmt: skip
def test_each_kind_of_fault_is_named_with_its_column(
    engine: sa.Engine, site: Site, tmp_path: Path, change: dict[str, str], code: Code, column: str
) -> None:
    seed(engine, site, tmp_path)
    report = bring_in(engine, site, jobs_file(tmp_path, {**GOOD, **change}), dry_run=True)
    assert [(str(p.code), p.column.split(" ")[0], p.row) for p in report.problems] == [(code, column, 2)]


def test_two_jobs_under_one_number_or_at_one_moment_are_told(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    first = {**GOOD, "job": "N1"}
    path = jobs_file(
        tmp_path,
        first,
        first,
        {**first, "found_offset_V": "0.03"},
        {**GOOD, "job": "N2", "left_offset_H": "0.09"},
        {**GOOD, "job": "N3", "performed_at": "2025-06-02"},
        {**GOOD, "job": "N4", "performed_at": "2025-06-03 09:30"},
        {**GOOD, "job": "N5", "performed_at": "2025-06-03 09:30", "left_offset_H": "0.09"},
    )
    report = bring_in(engine, site, path, dry_run=True)
    assert [(str(p.code), p.row) for p in report.problems] == [
        (Code.DUPLICATE, 3), (Code.KEY_CONFLICT, 4), (Code.SAME_MOMENT, 5), (Code.SAME_MOMENT, 8)
    ]  # fmt: skip
    told = [problem.text.partition(";")[0] for problem in report.problems[2:]]
    assert told == ["found '2025-06-01'", "found '2025-06-03 09:30'"], "as it stands in the file"
    moments = [problem.expected.partition("(")[2].partition(")")[0] for problem in report.problems[2:]]
    assert moments == ["2025-06-01", "2025-06-03 09:30"], "on the site's clock: the time may stand in another column"


def test_a_planned_look_without_an_as_left_leaves_what_it_found(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    blank = {f"left_{part}": "" for part in ("offset_V", "angle_V", "offset_H", "angle_H")}
    report = bring_in(engine, site, jobs_file(tmp_path, {**GOOD, **blank}))
    assert report.written
    assert [(p.code, p.severity) for p in report.problems] == [(Code.LEFT_AS_FOUND, Severity.NOTE)], "it is said"
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    job = story.standing[-1].job
    assert job.left == job.found


def test_a_machine_is_judged_with_what_was_true_then(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    """The speed doubled on 1 May 2025: the limit of a job before it stays what it was."""
    assets = (
        ASSETS.replace("tag,description", "tag,valid from,description")
        .replace("P-1,", "P-1,,")
        .replace("P-2,", "P-2,,")
    )
    later = assets + "P-1,2025-05-01,cooling water pump,short flexible,,2970,200,600\n"
    jobs = jobs_file(tmp_path, {**GOOD, "performed_at": "2025-04-30"}, {**GOOD, "performed_at": "2025-05-01"})
    (path,) = write(tmp_path, assets=later)
    assert bring_in(engine, site, path, jobs).written
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    limits = [line.limits.offset_mm for line in story.standing]
    assert limits == [pytest.approx(120 / 1485), pytest.approx(120 / 2970)]
    ratios = [line.found_ratio for line in story.standing]
    # offset √(0.01² + 0.02²) = 0.02236 mm; angularity √2 · 0.1 mm/m; the larger of the two ratios counts
    assert ratios == [pytest.approx(max(0.02236068 * n / 120, 0.14142136 * n / 1000), rel=1e-6) for n in (1485, 2970)]
    assert len(story.versions) == 2
    assert story.asset.speed_rpm == 2970


def test_a_register_with_the_machine_in_the_row_of_its_job_founds_the_machine(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    path = tmp_path / "log.csv"
    path.write_text(
        "Machine;Name;RPM;Date;Left offset V (mil);Left angle V (mil/in);Left offset H (mil);Left angle H (mil/in)\n"
        "F-1;roof fan;985;3.4.2021;1,5;0,2;-2,0;0,1\n"
        "F-1;roof fan;985;5.4.2022;1,0;0,2;-2,0;0,1\n",
        encoding="cp1252",
    )
    report = bring_in(engine, site, path)
    assert report.written, report.problems
    story = Reader(engine).story(site.site_id, "F-1")
    assert story is not None
    assert (story.asset.description, story.asset.speed_rpm) == ("roof fan", 985)
    assert len(story.standing) == 2
    assert story.standing[0].job.left is not None
    assert story.standing[0].job.left.offset_v == pytest.approx(1.5 * 0.0254)
    assert story.standing[0].job.typed["left_offset_v"] == "1,5 mil"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_any_common_delimiter_and_encoding_is_read(
    engine: sa.Engine, site: Site, tmp_path: Path, encoding: str, delimiter: str
) -> None:
    if engine.dialect.name == "postgresql":
        pytest.skip("reading does not depend on the engine; once is enough")
    text = 'tag,description,running speed [rpm]\nÖ-1,"Kühlwasser, groß\nzwei Zeilen",1485\nÄ-2,Lüfter,985\n'
    path = tmp_path / "assets.csv"
    quoted = text.replace(",", delimiter).replace(f"Kühlwasser{delimiter}", "Kühlwasser,")
    path.write_bytes(quoted.encode(encoding))
    report = bring_in(engine, site, path)
    assert report.written, report.problems
    story = Reader(engine).story(site.site_id, "Ö-1")
    assert story is not None
    assert story.asset.description == "Kühlwasser, groß zwei Zeilen"


def test_a_machine_without_a_speed_is_taken_and_said_not_to_be_judged(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    (assets,) = write(tmp_path, assets="tag,description\nP-1,no speed\n")
    report = bring_in(engine, site, assets, jobs_file(tmp_path, GOOD))
    assert report.written
    assert codes(report) == [Code.NOT_JUDGED]
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    assert story.standing[0].found_ratio is None


def test_the_reader_reads_only_what_is_newer_and_agrees_with_a_fresh_one(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    reader = Reader(engine)
    first = reader.history(site.site_id)
    assert reader.history(site.site_id) is first
    bring_in(engine, site, jobs_file(tmp_path, GOOD, {**GOOD, "tag": "P-2", "performed_at": "2023-01-01"}))
    grown, fresh = reader.history(site.site_id), Reader(engine).history(site.site_id)
    assert len(grown.jobs) == len(first.jobs) + 2
    for name in grown.jobs.__slots__:
        a, b = getattr(grown.jobs, name), getattr(fresh.jobs, name)
        assert a.dtype == b.dtype
        assert ((a == b) | ((a != a) & (b != b))).all(), name  # noqa: PLR0124 - NaN equals NaN here
    assert grown.people == fresh.people == ("Ana Wick", "Bo Tarn")


def test_a_change_of_an_old_machine_may_stand_before_a_new_one(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    assert bring_in(engine, site, *write(tmp_path, assets=ASSETS)).written
    more = (
        "tag,valid from,description,coupling,running speed [rpm]\n"
        "P-1,2026-01-01,cooling water pump,short flexible,1490\nP-3,,drain pump,short flexible,2950\n"
    )
    report = bring_in(engine, site, *write(tmp_path, more=more))
    assert report.written, report.problems
    assert len(contents(engine)["asset_version"]) == 4


def test_what_stands_twice_names_the_other_file(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    first = jobs_file(
        tmp_path, {**GOOD, "job": "N1"}, {**GOOD, "job": "N2", "performed_at": "2025-06-02"}, name="first"
    )
    other = {**GOOD, "job": "N2", "performed_at": "2025-06-02", "found_offset_V": "0.03"}
    second = jobs_file(tmp_path, {**GOOD, "job": "N1"}, other, {**GOOD, "job": "N1"}, name="second")
    report = bring_in(engine, site, first, second, dry_run=True)
    assert [p.expected for p in report.problems] == [
        "each record once; row 2 of first.csv says the same, and this one is left out",
        "a number of its own; row 3 of first.csv has it with other content",
        "each record once; row 2 of first.csv says the same, and this one is left out",
    ]
    assert [sheet.left_out for sheet in report.sheets] == [0, 2]
    bare = [{**GOOD, "job": "", "found_offset_V": number} for number in ("0.02", "0.03", "0.02")]
    report = bring_in(engine, site, jobs_file(tmp_path, *bare, name="bare"), dry_run=True)
    assert [(p.severity, p.found, p.column.split(" ")[0]) for p in report.problems] == [
        (Severity.ERROR, "2025-06-01", "C"), (Severity.WARNING, "2025-06-01", "C")
    ]  # fmt: skip
    assert "one visit of P-1 at this time; row 2 is another one, with other content: if both" in report.problems[0].text
    assert bring_in(engine, site, jobs_file(tmp_path, bare[0], bare[2], name="same")).taken == 1
    (tmp_path / "more").mkdir()
    paths = [
        *write(tmp_path, people="name,qualification\nNew One,\nNew One,\n"),
        *write(tmp_path / "more", people="name,qualification\nNew One,\n"),
    ]
    report = bring_in(engine, site, *paths, dry_run=True)
    assert [(p.row, p.found) for p in report.problems] == [
        (2, "the same as row 2 of people.csv"), (3, "the same as row 2")
    ]  # fmt: skip


def test_a_file_that_is_changed_while_it_is_read_is_refused(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    before = contents(engine)
    path = jobs_file(tmp_path, GOOD)
    other = jobs_file(tmp_path, {**GOOD, "found_offset_V": "0.07"}, name="other").read_bytes()
    for how in (lambda: path.write_bytes(other), lambda: path.write_bytes(path.read_bytes() + b"\n")):
        sources = sources_of(site, path)
        with pytest.raises(UnreadableFileError, match="changed while it was read"):
            import_files(engine, site, sources, by="tester", now=NOW, progress=lambda _rows, how=how: how())  # type: ignore[misc]
        assert contents(engine) == before
    assert bring_in(engine, site, path).written


def test_a_total_under_a_list_of_names_is_left_out_and_a_machine_truly_called_so_is_renamed_to_it(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    files = write(
        tmp_path,
        register="tag,description,running speed [rpm]\nP-8,pump,1480\nTotal,,1\n",
        crew="name,qualification\nAna Wick,level 2\nTotal: 1,\n",
    )
    report = bring_in(engine, site, *files)
    assert (report.written, report.taken, [sheet.left_out for sheet in report.sheets]) == (True, 2, [1, 1])
    assert codes(report) == [Code.LOOKS_LIKE_TOTAL, Code.LOOKS_LIKE_TOTAL]
    rename_asset(engine, site, "P-8", "Total", why="its name on the plate", by="tester", now=NOW)
    again = bring_in(engine, site, files[0])
    assert again.sheets[0].left_out == 0
    assert Code.LOOKS_LIKE_TOTAL not in codes(again)


def test_a_visit_that_was_typed_by_hand_and_comes_on_a_list_too_is_told_with_its_entry(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    first = bring_in(engine, site, jobs_file(tmp_path, {**GOOD, "job": "N1", "performed_at": "2025-06-01 07:00"}))
    rename_asset(engine, site, "P-1", "KP-1", why="new tags", by="tester", now=NOW)
    listed = {
        **GOOD,
        "job": "L1",
        "performed_at": "2025-06-01",
        "found_offset_V": "0.4 mil",
    }  # on paper in mil: 0.0102 mm
    other = {**listed, "job": "L2", "performed_at": "2025-06-02"}
    unlike = {**listed, "job": "L3", "performed_at": "2025-06-01 15:00", "left_offset_H": "0.03"}
    path = jobs_file(tmp_path, listed, other, unlike, name="list")

    look = bring_in(engine, site, path, dry_run=True, same_visit=SameVisit.ASK)
    (told,) = loud(look)
    assert (told.code, told.row, told.found, look.doubled, look.taken) == (Code.SAME_VISIT, 2, "2025-06-01", 1, 3)
    assert (
        f"job N1 (entry {first.last_entry}) of this machine has the same readings on the same day (2025-06-01 07:00)"
        in told.text
    )
    assert not bring_in(engine, site, path, same_visit=SameVisit.ASK).written, "nobody has said what becomes of it"
    left = bring_in(engine, site, path, same_visit=SameVisit.LEAVE)
    assert (left.written, left.taken, left.doubled) == (True, 2, 1)
    taken = bring_in(engine, site, path)
    assert (taken.taken, taken.sheets[0].unchanged, codes(taken)) == (1, 2, [Code.SAME_VISIT])
    assert first.last_entry is not None
    void_job(engine, site, first.last_entry, why="twice", by="tester", now=NOW)
    again = bring_in(engine, site, jobs_file(tmp_path, {**listed, "job": "L4", "performed_at": "2025-06-01 18:00"}))
    assert [str(taken.last_entry) in problem.text for problem in loud(again)] == [True], "a void job is no visit"


def test_a_list_that_was_rounded_more_coarsely_names_the_same_visit(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    fine = {**GOOD, "job": "N1", "performed_at": "2025-06-01 07:00", "found_offset_V": "0.12", "left_offset_H": "-0.03"}
    bring_in(engine, site, jobs_file(tmp_path, fine))
    mil = {
        key: {"0.12": "5 mil", "0.01": "0 mil", "0.02": "1 mil", "-0.03": "-1 mil"}.get(text, text)
        for key, text in fine.items()
    } | {"performed_at": "2025-06-01"}
    rounded, other = {**mil, "job": "L1"}, {**mil, "job": "L2", "found_offset_V": "7 mil"}
    look = bring_in(engine, site, jobs_file(tmp_path, rounded, other, name="list"), dry_run=True)
    assert [(problem.row, problem.code) for problem in loud(look)] == [(2, Code.SAME_VISIT), (3, Code.SAME_MOMENT)]
    # And the other way round: the coarse list is in the book, and the fine row comes.
    bring_in(engine, site, jobs_file(tmp_path, {**rounded, "performed_at": "2025-07-01"}, name="coarse"))
    fine |= {"job": "N2", "performed_at": "2025-07-01 07:00"}
    look = bring_in(engine, site, jobs_file(tmp_path, fine, name="fine"), dry_run=True)
    assert [problem.code for problem in loud(look)] == [Code.SAME_VISIT]


def test_a_void_number_and_one_of_another_machine_are_told_what_can_be_done(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    first = bring_in(engine, site, jobs_file(tmp_path, {**GOOD, "job": "A1"}))
    moved = jobs_file(tmp_path, {**GOOD, "job": "A1", "tag": "P-2"}, name="moved")
    (told,) = bring_in(engine, site, moved).errors
    assert "A job does not change its machine" in told.text
    assert f"void entry {first.last_entry} and give the row a job number of its own" in told.text
    assert first.last_entry is not None
    void_job(engine, site, first.last_entry, why="wrong machine", by="tester", now=NOW)
    (told,) = bring_in(engine, site, moved).errors
    assert ("which is void" in told.text, "amend" in told.text, told.entry) == (True, False, None)
    assert bring_in(engine, site, jobs_file(tmp_path, {**GOOD, "job": "A1-b", "tag": "P-2"}, name="anew")).written


def test_a_tag_that_is_spelled_otherwise_is_refused_with_the_one_that_fits(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    rows = [{**GOOD, "job": f"T{n}", "tag": tag} for n, tag in enumerate(("P1", "p 1", "P\u20111", "P_1", "P-12"))]
    told = bring_in(engine, site, jobs_file(tmp_path, *rows), dry_run=True).errors
    assert ["'P-1' differs by capitals" in problem.text for problem in told] == [True, True, True, True, False]
