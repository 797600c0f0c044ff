"""The whole book out as a data package and in again, on the other engine, and what is refused on the way in."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from dashboard.cli import main
from dashboard.views import month_view
from models.commands.export_book import export_book
from models.commands.take_in import take_in
from models.errors import BookExistsError, ConflictError, UnreadableFileError, WrongRevisionError
from models.history.counts import count_over
from models.history.runs import runs_of
from models.settings import Settings
from models.store.cells import CellError, reader_of, write_cell
from models.store.copying import Column, DoesNotFitError, Kind, NotEmptyError, columns_of, table_of
from models.store.engine import make_engine
from models.store.meanings import MEANINGS, meaning_of
from models.store.package import DESCRIPTOR
from models.store.reader import Reader
from models.tables.every import MAPPED, STATE
from tests.conftest import NOW
from tests.whole_books import LEFT_BEHIND, fresh_postgres, slice_of_the_demo, stored

TODAY = date(2026, 11, 25)
TODAY_US = int(datetime(2026, 11, 25, 12, tzinfo=UTC).timestamp()) * 1_000_000


@pytest.fixture(scope="module")
def plant() -> Settings:
    return slice_of_the_demo()


@pytest.fixture(scope="module")
def package(plant: Settings, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return export(plant, tmp_path_factory.mktemp("package") / "plant")


def export(settings: Settings, path: Path) -> Path:
    engine = make_engine(settings)
    written = export_book(engine, path, version="test", now=NOW)
    engine.dispose()
    assert written.path == path
    return path


def month(settings: Settings) -> tuple[object, ...]:
    """Give the Month view and the counts of verdicts, in a form that can be compared."""
    engine = make_engine(settings)
    reader = Reader(engine)
    site = reader.sites()[0]
    history = reader.history(site.site_id)
    view = month_view.build(
        history, runs_of(history.jobs, history.breaks), date(2026, 10, 1), TODAY, site=site,
        instruments=reader.instruments(site.site_id), limit_set=reader.limit_set(site.site_id), today_us=TODAY_US,
    )  # fmt: skip
    counts = count_over(history.jobs).total()
    engine.dispose()
    assert view.jobs
    assert counts.found.count[0, 0] > 0
    totals = tuple(int(part.flat[0]) for share in (counts.found, counts.left) for part in (share.count, share.n))
    return (*totals, repr(view))


def test_a_book_goes_to_the_other_engine_and_back_with_equal_heads_verdicts_and_reports(
    plant: Settings, package: Path, postgres_url: str, tmp_path: Path
) -> None:
    there, back = fresh_postgres(postgres_url, None, "taken_in"), Settings(book=str(tmp_path / "back.db"))
    source = make_engine(plant)
    first = take_in(there, package)
    second = take_in(back, export(there, tmp_path / "again.zip"))
    whole = stored(source)
    assert all(whole.values()), "every table of the history holds a row, or it is not tested"
    for settings in (there, back):
        engine = make_engine(settings)
        assert stored(engine) == whole
        engine.dispose()
        assert month(settings) == month(plant)
    assert first == second
    assert first.entries == len(whole["entry"])
    assert first.unsealed == 0
    assert first.signed == first.heads == len(whole["tree_head"]) > 1
    assert first.root == whole["tree_head"][-1][1]
    source.dispose()
    # What PostgreSQL gives out again is byte for byte what SQLite gave out.
    with zipfile.ZipFile(tmp_path / "again.zip") as archive:
        for mapped in MAPPED:
            name = f"tables/{mapped.__tablename__}.csv"
            assert archive.read(name) == (package / name).read_bytes(), name


def test_a_book_taken_in_goes_on_where_it_ended(package: Path, tmp_path: Path) -> None:
    from models.commands.set_site import set_site

    settings = Settings(book=str(tmp_path / "on.db"))
    checked = take_in(settings, package)
    engine = make_engine(settings)
    set_site(engine, Reader(engine).sites()[0], by="tester", now=NOW, interval_months=7)
    assert Reader(engine).head() == checked.entries + 1
    engine.dispose()


def test_the_state_is_never_exported(package: Path) -> None:
    names = {path.stem for path in (package / "tables").iterdir()}
    assert names == {mapped.__tablename__ for mapped in MAPPED}
    assert not names & {mapped.__tablename__ for mapped in STATE}
    assert not [path for path in package.rglob("*") if path.is_file() and LEFT_BEHIND.encode() in path.read_bytes()]


def test_the_package_describes_itself_to_any_reader(package: Path) -> None:
    """Read with pandas by what the schemas say; lengths and hashes by hashlib."""
    whole = json.loads((package / DESCRIPTOR).read_text(encoding="utf-8"))
    kinds = {"integer": "Int64", "number": "Float64", "boolean": "boolean", "string": "string", "date": "string"}
    for resource in whole["resources"]:
        body = (package / resource["path"]).read_bytes()
        assert len(body) == resource["bytes"]
        assert hashlib.sha256(body).hexdigest() == resource["hash"].removeprefix("sha256:")
        schema = json.loads((package / resource["schema"]).read_text(encoding="utf-8"))
        types = {field["name"]: kinds[field["type"]] for field in schema["fields"]}
        frame = pd.read_csv(
            package / resource["path"], dtype=types, na_values=schema["missingValues"], keep_default_na=False,
            true_values=["true"], false_values=["false"],
        )  # fmt: skip
        assert len(frame) == resource["rows"] > 0
        assert list(frame.columns) == [field["name"] for field in schema["fields"]]
        needed = [f["name"] for f in schema["fields"] if f.get("constraints", {}).get("required")]
        assert frame[needed].notna().all(axis=None)
        assert not frame.duplicated(schema["primaryKey"]).any()
        for key in schema["foreignKeys"]:
            other = next(one for one in whole["resources"] if one["name"] == key["reference"]["resource"])
            there = pd.read_csv(package / other["path"], dtype="string", na_values=["\\N"], keep_default_na=False)
            values = frame[key["fields"][0]].dropna().astype("string")
            assert values.isin(there[key["reference"]["fields"][0]]).all(), (resource["name"], key)
        assert all(field["description"] for field in schema["fields"])
    units = {field["name"]: field.get("unit") for field in json.loads((package / "schemas/job.json").read_text(encoding="utf-8"))["fields"]}  # fmt: skip
    assert units["found_offset_v"] == "mm"
    assert units["left_angle_h"] == "mm/m"
    assert str(units["performed_us"]).startswith("µs since 1970")


def test_every_column_is_described_and_no_description_is_left_over() -> None:
    known = {f"{table_of(m).name}.{c.name}" for m in MAPPED for c in columns_of(m)}
    bare = {name.partition(".")[2] for name in known}
    assert [name for name in MEANINGS if name not in known and name not in bare] == []
    missing = [
        f"{table_of(mapped).name}.{column.name}"
        for mapped in MAPPED
        for column in columns_of(mapped)
        if meaning_of(mapped, column.name).startswith("As stored in column")
    ]
    assert missing == []


# -- what is refused ------------------------------------------------------------------------------------------------


def altered(package: Path, folder: Path, table: str, change: Callable[[list[list[str]]], None], *, hide: bool) -> Path:
    """Copy a package with one table changed; ``hide`` makes the descriptor fit what was changed."""
    copy = folder / "altered"
    shutil.copytree(package, copy)
    path = copy / "tables" / f"{table}.csv"
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    change(rows)
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)
    if hide:
        whole = json.loads((copy / DESCRIPTOR).read_text(encoding="utf-8"))
        body = path.read_bytes()
        resource = next(one for one in whole["resources"] if one["name"] == table)
        resource |= {"bytes": len(body), "hash": f"sha256:{hashlib.sha256(body).hexdigest()}", "rows": len(rows) - 1}
        (copy / DESCRIPTOR).write_text(json.dumps(whole), encoding="utf-8")
    return copy


def put(row: int, column: str, value: str) -> Callable[[list[list[str]]], None]:
    def change(rows: list[list[str]]) -> None:
        rows[row][rows[0].index(column)] = value

    return change


def drop(row: int) -> Callable[[list[list[str]]], None]:
    def change(rows: list[list[str]]) -> None:
        del rows[row]

    return change


def head_of(rows: list[list[str]]) -> None:
    rows[0][0] = "number_of_entry"


ALTERED = {
    "a reading": ("job", put(3, "found_offset_v", "9.0"), "Table job, row of entry .*, column found_offset_v: the statement says .*, the row 9"),
    "a verdict": ("job", put(3, "left_ratio", "0.5"), "Table job, row of entry .*, column left_ratio"),
    "a moment": ("entry", put(5, "at_us", "17"), "Table entry, row of entry 5, column at_us: the statement says .*, the row 17"),
    "an author": ("entry", put(5, "author", "Somebody Else"), 'column author: the statement says "tester", the row "Somebody Else"'),
    "a limit": ("limit_row", put(1, "limit_value", "12.5"), "Table limit_row, row of entry 2, column limit_value"),
    "a statement": ("statement", put(4, "said", "{}"), "of entry 4"),
    "a leaf": ("statement", put(4, "leaf", "00" * 32), "Table statement, row of entry 4, column leaf"),
    "a head": ("tree_head", put(1, "root", "00" * 32), "Table tree_head, row of size .*, column root"),
    "a signature": ("tree_head", put(1, "signature", "00" * 64), "Table tree_head, row of size .*, column signature"),
    "no statement": ("statement", drop(4), "Table tree_head"),
    "no row of an entry": ("machine_break", drop(1), "Table machine_break, rows of entry .*: the statement says 1 of them, 0 came in"),
    "no entry": ("entry", drop(-1), "the database refuses it|without a gap|FOREIGN KEY"),
    "a word for a number": ("job", put(2, "found_offset_v", "0,12"), "Table job, row 2, column found_offset_v: '0,12': a finite number"),
    "not a number": ("job", put(2, "left_offset_v", "nan"), "Table job, row 2, column left_offset_v: 'nan'"),
    "a number for a truth": ("job", put(2, "void", "1"), "Table job, row 2, column void: '1': 'true' or 'false'"),
    "nothing where something is needed": ("job", put(2, "ref", "\\N"), "Table job, row 2, column ref: .*a value is needed"),
    "a text too long": ("person", put(1, "name", "x" * 121), "Table person, row 1, column name: .*121 letters where 120"),
    "a key that is nowhere": ("job", put(2, "asset_id", "999999"), "Table job, row 2: the database refuses it"),
    "the same twice": ("person", lambda rows: rows.append(rows[1]), "Table person, row .*: the database refuses it"),
    "a cell too many": ("job", lambda rows: rows[2].append("x"), "Table job, row 2: .* cells where"),
    "another heading": ("entry", head_of, "Table entry: its columns .*'number_of_entry' where 'number' is expected"),
}  # fmt: skip


@pytest.mark.parametrize("what", ALTERED)
def test_what_does_not_fit_is_refused_by_table_row_and_column_and_nothing_is_written(
    package: Path, tmp_path: Path, what: str
) -> None:
    table, change, message = ALTERED[what]
    settings = Settings(book=str(tmp_path / "new.db"))
    with pytest.raises(DoesNotFitError, match=message):
        take_in(settings, altered(package, tmp_path, table, change, hide=True))
    assert not list(tmp_path.glob("new.db*"))


def test_postgresql_refuses_the_same_and_stays_empty(
    package: Path, tmp_path: Path, postgres_url: str, postgres_template: str
) -> None:
    there = fresh_postgres(postgres_url, postgres_template, "refused")
    for number, what in enumerate(("a reading", "a key that is nowhere", "a signature")):
        table, change, message = ALTERED[what]
        folder = tmp_path / str(number)
        folder.mkdir()
        with pytest.raises(DoesNotFitError, match=message):
            take_in(there, altered(package, folder, table, change, hide=True))
    engine = make_engine(there)
    assert not any(stored(engine).values())
    engine.dispose()


def test_a_damaged_file_is_known_by_its_hash(package: Path, tmp_path: Path) -> None:
    copy = altered(package, tmp_path, "job", put(1, "notes", "a"), hide=False)
    with pytest.raises(DoesNotFitError, match=r"Table job: tables/job.csv is not the file|longer than"):
        take_in(Settings(book=str(tmp_path / "new.db")), copy)


def test_the_descriptor_must_name_every_table_and_the_head(package: Path, tmp_path: Path) -> None:
    def changed(name: str, change: Callable[[dict], None]) -> Path:  # type: ignore[type-arg]
        copy = tmp_path / name
        shutil.copytree(package, copy)
        whole = json.loads((copy / DESCRIPTOR).read_text(encoding="utf-8"))
        change(whole)
        (copy / DESCRIPTOR).write_text(json.dumps(whole), encoding="utf-8")
        return copy

    new = Settings(book=str(tmp_path / "new.db"))
    with pytest.raises(DoesNotFitError, match="does not hold the tables of a book: tree_head"):
        take_in(new, changed("a", lambda whole: whole["resources"].pop()))
    with pytest.raises(DoesNotFitError, match="what came in ends at"):
        take_in(new, changed("b", lambda whole: whole["driftbook"].update(root="00" * 32)))
    with pytest.raises(WrongRevisionError, match="was written at revision 0001"):
        take_in(new, changed("c", lambda whole: whole["driftbook"].update(revision="0001_the_book")))
    with pytest.raises(WrongRevisionError, match="of form 2"):
        take_in(new, changed("d", lambda whole: whole["driftbook"].update(format=2)))
    (package.parent / "empty").mkdir()
    with pytest.raises(UnreadableFileError, match=r"holds no datapackage.json"):
        take_in(new, package.parent / "empty")
    with pytest.raises(UnreadableFileError, match="no data package"):
        take_in(new, package / "README.txt")
    with pytest.raises(UnreadableFileError, match="There is no package"):
        take_in(new, tmp_path / "nowhere")
    assert not new.path.exists()


def test_only_an_empty_book_takes_one_in(plant: Settings, package: Path, tmp_path: Path, postgres_url: str) -> None:
    with pytest.raises(NotEmptyError, match="its table site holds rows"):
        take_in(plant, package)
    strange = fresh_postgres(postgres_url, None, "strange")
    engine = make_engine(strange)
    with engine.begin() as connection:
        connection.execute(sa.text("CREATE TABLE somebody_elses (id INTEGER)"))
    engine.dispose()
    with pytest.raises(BookExistsError, match="somebody_elses"):
        take_in(strange, package)
    del tmp_path


def test_an_export_that_breaks_off_leaves_nothing_and_nothing_is_overwritten(plant: Settings, tmp_path: Path) -> None:
    engine = make_engine(plant)

    def stop(table: str, _rows: int) -> None:
        if table == "job":
            raise KeyboardInterrupt

    def meanwhile(_table: str, _rows: int) -> None:
        taken = tmp_path / name / ("" if name == "file.zip" else "x")  # by another export, or anybody
        taken.parent.mkdir(exist_ok=True)
        taken.touch()

    for name in ("folder", "file.zip"):
        left = tmp_path / ".driftbook-killed"  # by an export that was killed
        (left / "package").mkdir(parents=True)
        for one in (".lock", "making.db", "package/README.md"):
            (left / one).touch()
        with pytest.raises(KeyboardInterrupt):
            export_book(engine, tmp_path / name, version="test", now=NOW, tick=stop)
        assert not list(tmp_path.iterdir())
        export_book(engine, tmp_path / name, version="test", now=NOW)
        with pytest.raises(ConflictError, match="is there already"):
            export_book(engine, tmp_path / name, version="test", now=NOW)
        shutil.rmtree(tmp_path / name) if name == "folder" else (tmp_path / name).unlink()
        with pytest.raises(ConflictError, match="is there already"):
            export_book(engine, tmp_path / name, version="test", now=NOW, tick=meanwhile)
        shutil.rmtree(tmp_path / name) if name == "folder" else (tmp_path / name).unlink()
    engine.dispose()


def test_the_commands_say_what_they_did(plant: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export", str(tmp_path / "p.zip"), "--book", plant.book]) == 0
    said = capsys.readouterr().out
    root = said.split("Head of the book: ")[1].split()[0]
    assert main(["take-in", str(tmp_path / "p.zip"), "--book", str(tmp_path / "copy.db")]) == 0
    assert f"Head of the book: {root}" in capsys.readouterr().out
    assert main(["take-in", str(tmp_path / "p.zip"), "--book", str(tmp_path / "copy.db")]) == 2
    assert "is not empty" in capsys.readouterr().err


# -- cells ----------------------------------------------------------------------------------------------------------

TEXTS = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=40)


@given(st.one_of(st.none(), TEXTS, st.sampled_from(["\\N", "\\", "\\\\N", "", " ", "=1+1", "a\r\nb", '"', ","])))
def test_a_text_comes_back_as_it_was(text: str | None) -> None:
    read = reader_of(Column("x", Kind.TEXT, nullable=True, length=None))
    assert read(write_cell(Kind.TEXT, text)) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_comes_back_bit_for_bit(value: float) -> None:
    back = reader_of(Column("x", Kind.NUMBER, nullable=False, length=None))(write_cell(Kind.NUMBER, value))
    assert back.hex() == value.hex()


@given(st.integers(-(2**63), 2**63 - 1), st.binary(max_size=70), st.booleans())
def test_whole_numbers_bytes_and_truths_come_back(whole: int, data: bytes, truth: bool) -> None:
    for kind, value in ((Kind.INTEGER, whole), (Kind.BYTES, data), (Kind.BOOLEAN, truth)):
        assert reader_of(Column("x", kind, nullable=False, length=None))(write_cell(kind, value)) == value


def test_a_value_of_another_kind_is_not_written() -> None:
    for kind, value in ((Kind.NUMBER, "0.1"), (Kind.BOOLEAN, 2), (Kind.INTEGER, 1.5), (Kind.NUMBER, float("inf"))):
        with pytest.raises(CellError):
            write_cell(kind, value)
