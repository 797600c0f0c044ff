"""The command: help and examples, messages that say what to do, never a traceback, nothing heavy for a word of help."""

from __future__ import annotations

import ast
import csv
import gc
import os
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import openpyxl
import pytest

from dashboard import cli
from dashboard.cli import main
from dashboard.console import endings
from models.intake.fields import FIELDS, Table, fields_of
from models.intake.mapping import propose
from models.intake.reading import read_sheets
from models.settings import Settings, read_settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.store.revision import needed_revision
from models.units import Display
from tests.conftest import make_site
from tests.seeded import FILES, write

VERBS = tuple(cli._RUNS)
ROOT = Path(__file__).parents[1]
WRITES = {"0.1.0": "0005_decision_rules"}
"""The revision of the books that each version writes: a new revision adds a line, and changes none of a version that was given out."""


def run(*arguments: str) -> int:
    return main(list(arguments))


@pytest.mark.parametrize("verb", VERBS)
def test_each_subcommand_has_help_with_examples(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        run(verb, "--help")
    assert stop.value.code == 0
    text = capsys.readouterr().out
    assert "examples:" in text
    assert f"driftbook {verb}" in text


def test_help_loads_nothing_heavy() -> None:
    code = "import sys; from dashboard.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass\nprint('LOADED', *sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split("LOADED", 1)[1].split())
    assert not loaded & {"pandas", "numpy", "scipy", "dash", "plotly", "sqlalchemy", "alembic", "rich"}


HEAVY = {
    "pandas", "numpy", "scipy", "dash", "plotly", "flask", "alembic", "rich", "tomlkit", "openpyxl", "python_calamine",
    "charset_normalizer", "xlsxwriter", "multiprocessing", "sqlalchemy.orm", "sqlalchemy.dialects.postgresql",
}  # fmt: skip
"""What an import of a small CSV file has no use for: each of them takes longer to load than a hundred rows to import."""


def test_a_small_import_loads_nothing_heavy(sqlite_book: Settings, tmp_path: Path) -> None:
    make_site(sqlite_book)
    files = [str(path) for path in write(tmp_path, **FILES)]
    code = (
        "import sys; from dashboard.cli import main\n"
        "status = main(['import', *sys.argv[1:], '--by', 'A'])\n"
        "print('LOADED', *sorted(sys.modules)); sys.exit(status)"
    )
    command = [sys.executable, "-c", code, *files, "--book", str(sqlite_book.path)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    said, _, loaded = done.stdout.partition("LOADED")
    assert "3 rows of jobs, 3 went in" in said
    assert not set(loaded.split()) & HEAVY


@pytest.mark.parametrize("port", ["99999", "-1", "x", "٣"])
def test_what_is_no_port_is_refused_by_the_parser(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        run("serve", f"--port={port}")
    assert "from 0 to 65535" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("serve", "--book", "none.db"), "driftbook init"),
        (("import", "x.csv", "--book", "none.db"), "There is no book at none.db"),
        (("upgrade", "--book", "none.db"), "There is no book"),
        (("site", "--book", "none.db"), "There is no book"),
        (("init", "--book", "b.db", "--site", "X", "--zone", "Mars/Olympus"), "not a time zone"),
        (("init", "--book", "b.db", "--site", "…", "--zone", "UTC"), "needs a name"),
        (("init", "--book", "b.db", "--site", "X", "--zone", "UTC", "--interval", "0"), "at least one month"),
        (("init", "--book", "b.db", "--site", "X", "--zone", "UTC", "--limits", "no.toml"), "no.toml"),
        (
            ("init", "--book", "b.db", "--site", "X", "--zone", "UTC", "--limits", "no.toml"),
            "cannot be read: No such file",
        ),
        (("template", "sheet.doc"), "ends in .xlsx"),
        (("template", "no/such/sheet.xlsx"), "no/such"),
        (("template", "-o", "sheet.doc"), "ends in .xlsx"),
        (("template", "a.xlsx", "--csv", "forms"), "'a.xlsx' is a workbook, 'forms' a folder"),
        (("template", "a.xlsx", "-o", "b.xlsx"), "say two things: 'a.xlsx' and 'b.xlsx'"),
        (("init", "--book", "postgresql//u:pw@h/x", "--site", "X", "--zone", "UTC"), "begins like an address"),
        (("serve", "--book", "none.db", "--name", "http://x/"), "no name of a server"),
        (("restore", ".", "--book", "b.db"), "is a folder"),
    ],
)
def test_a_mistake_is_told_with_what_to_do(
    arguments: tuple[str, ...],
    says: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(*arguments) == 2
    spoken = capsys.readouterr()
    assert says in spoken.err
    assert "Traceback" not in spoken.err + spoken.out
    assert not list(tmp_path.iterdir()), "nothing was left behind"


def test_files_that_cannot_be_read_are_named(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(sqlite_book)
    bad = {
        "empty.csv": b"",
        "noise.csv": bytes(range(256)) * 8,
        "broken.xlsx": b"PK\x03\x04 not a workbook",
        "letter.csv": b"Dear all,\nthe pump is fine.\n",
        "quote.csv": b'tag,description\n"P-1,never closed\n' + b"x" * (1 << 21),
    }
    for name, content in bad.items():
        path = tmp_path / name
        path.write_bytes(content)
        assert run("import", str(path), "--book", str(sqlite_book.path)) == 2, name
        spoken = capsys.readouterr()
        assert name in spoken.err, name
        assert "Traceback" not in spoken.err
    assert run("import", str(tmp_path / "absent.csv"), "--book", str(sqlite_book.path)) == 2
    assert "There is no file" in capsys.readouterr().err


def test_a_fault_of_the_program_is_told_in_words_and_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)

    def fall(_given: object) -> int:
        raise RuntimeError("the roof fell in")

    monkeypatch.setattr(cli, "_run", fall)
    assert run("upgrade") == 2
    spoken = capsys.readouterr().err
    assert "the roof fell in" in spoken
    assert "Traceback" not in spoken
    assert "Traceback" in (tmp_path / "driftbook-fault.log").read_text(encoding="utf-8")


def test_init_template_import_and_site_work_one_after_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run("init", "--site", "North Quay", "--zone", "Europe/Lisbon", "--by", "A") == 0
    assert "starter set: a starting point" in " ".join(capsys.readouterr().out.split())
    assert run("init", "--site", "North Quay", "--zone", "Europe/Lisbon", "--by", "A") == 2
    assert "already holds" in capsys.readouterr().err
    files = [str(path) for path in write(tmp_path, **FILES)]
    assert run("import", *files, "--dry-run") == 0
    assert "nothing was written" in capsys.readouterr().out
    assert run("import", *files) == 0
    capsys.readouterr()
    assert run("site", "--units", "mil", "--interval", "6", "--by", "A") == 0
    assert "lengths in mil" in capsys.readouterr().out
    engine = make_engine(Settings(book="driftbook.db"))
    site = Reader(engine).sites()[0]
    assert (site.display, site.interval_months) == (Display("mil", "°C"), 6)
    engine.dispose()
    assert run("upgrade") == 0
    assert "Nothing to do" in capsys.readouterr().out


def test_a_second_site_has_to_be_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("One", "Two"):
        assert run("init", "--site", name, "--zone", "UTC", "--by", "A") == 0
    (assets,) = write(tmp_path, assets=FILES["assets"])
    assert run("import", str(assets)) == 2
    assert "--site CODE" in capsys.readouterr().err
    assert run("import", str(assets), "--site", "two") == 0
    engine = make_engine(Settings(book="driftbook.db"))
    reader = Reader(engine)
    assert [len(reader.history(site.site_id).assets) for site in reader.sites()] == [0, 2]
    engine.dispose()


@pytest.mark.parametrize("units", ["mm", "mil"])
def test_the_template_explains_every_column_and_is_read_without_asking(
    units: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "t.xlsx"
    assert run("template", str(path), "--units", units) == 0
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == [*(str(table) for table in Table), "read me"]
    explained = [row[1].value for row in book["read me"].iter_rows() if row[0].value in set(Table)]
    assert explained == [field.heading_with_unit(Display(units)) for field in FIELDS]
    mapping = propose(read_sheets(path), Display(units))
    assert mapping.is_template
    assert [(sheet.table, len([c for c in sheet.columns if c.field])) for sheet in mapping.sheets] == [
        (table, len([field for field in fields_of(table) if field.in_template])) for table in Table
    ]
    for again in ([str(path)], ["-o", str(path)]):
        assert run("template", *again) == 2
    assert "not overwritten" in capsys.readouterr().err


def test_a_backup_is_named_in_its_place_or_by_its_option(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(sqlite_book)
    target = tmp_path / "copy.db"
    assert run("backup", str(target), "--book", sqlite_book.book) == 0
    assert target.exists()
    assert run("backup", "-o", str(target), "--book", sqlite_book.book) == 2
    assert run("backup", str(target), "-o", "other.db", "--book", sqlite_book.book) == 2
    assert "say two things" in capsys.readouterr().err


def test_a_filled_template_in_mil_is_read_in_mil(sqlite_book: Settings, tmp_path: Path) -> None:
    site = make_site(sqlite_book, units="mil")
    folder = tmp_path / "forms"
    assert run("template", "--csv", str(folder), "--units", "mil") == 0
    for name, row in {
        "assets": {"tag": "P-1", "running speed [rpm]": "1770", "movable foot row 1 [in]": "8"},
        "jobs": {"tag": "P-1", "performed at": "2025-01-02 10:00", "reason": "planned",
                 **{f"{stage} {part}": "1.5" for stage in ("found", "left")
                    for part in ("offset V [mil]", "angle V [mil/in]", "offset H [mil]", "angle H [mil/in]")}},
    }.items():  # fmt: skip
        path = folder / f"{name}.csv"
        with path.open(encoding="utf-8-sig", newline="") as stream:
            heads = next(csv.reader(stream))
        assert set(row) <= set(heads)
        with path.open("a", encoding="utf-8", newline="") as stream:
            csv.DictWriter(stream, heads).writerow(row)
    files = [str(folder / f"{table}.csv") for table in Table]
    assert run("import", *files, "--book", str(sqlite_book.path)) == 0
    engine = make_engine(sqlite_book)
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    assert story.asset.feet_movable_mm == (pytest.approx(203.2),)
    found = story.standing[0].job.found
    assert found is not None
    assert (found.offset_v, found.angle_v) == (pytest.approx(0.0381), pytest.approx(1.5))
    assert story.standing[0].job.typed["found_offset_v"] == "1.5 mil"
    engine.dispose()


def test_settings_come_from_what_is_typed_then_the_environment() -> None:
    assert read_settings("a.db", environ={"DRIFTBOOK_BOOK": "b.db"}).book == "a.db"
    assert read_settings(environ={"DRIFTBOOK_BOOK": "b.db"}).book == "b.db"
    assert read_settings(environ={}).url == "sqlite:///driftbook.db"
    secret = read_settings("postgresql://u:word@h/d", environ={})
    assert secret.url == "postgresql+psycopg://u:word@h/d"
    assert "word" not in secret.shown


def test_the_installed_command_runs_by_its_name(tmp_path: Path) -> None:
    command = Path(sys.executable).with_name("driftbook.exe" if os.name == "nt" else "driftbook")
    if not command.exists():
        pytest.skip("the package is not installed in this environment; the README's commands install it")
    done = subprocess.run([command, "--version"], cwd=tmp_path, capture_output=True, text=True, check=True)
    match = re.fullmatch(r"driftbook \d+\.\d+\S*, books of revision (\w+)\n", done.stdout)
    assert match is not None, done.stdout
    assert match[1] == needed_revision(), "by it the program is found that a message about another revision asks for"


def test_a_new_revision_gets_a_new_number() -> None:
    """A message about a book of another revision names a version: of one number there is one revision."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        version = tomllib.load(file)["project"]["version"]
    assert WRITES[version] == needed_revision()


def test_what_a_missing_book_asks_for_can_be_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run("verify", "--book", "none.db") == 2
    match = re.search(r"Type: driftbook (.+?)  \(or: driftbook demo\)", capsys.readouterr().err)
    assert match is not None
    assert run(*shlex.split(match[1])) == 0


def test_the_parser_of_one_subcommand_is_that_of_all(capsys: pytest.CaptureFixture[str]) -> None:
    for verb in VERBS:
        told = []
        for parser in (cli._parser(verb), cli._parser()):
            for wrong in ("--help", "--no-such-option"):
                with pytest.raises(SystemExit):
                    parser.parse_args([verb, wrong])
            told.append(capsys.readouterr())
        assert told[0] == told[1], verb
    assert {verb for names, _ in cli._PARSERS for verb in VERBS if verb in names} == set(VERBS)


def test_a_large_file_is_read_as_columns_and_a_small_one_without_the_library_of_arrays() -> None:
    code = (
        "import sys; from types import SimpleNamespace as Of\n"
        "from models.commands import import_sheets as work; from models.commands.import_files import _kind; from models.intake.fields import Table\n"
        "def kind(rows, table=Table.JOBS, sign=','):\n"
        "    sheet, mapping = Of(delimiter=sign), Of(table=table)\n"
        "    return _kind([Of(sheet=sheet, mapping=mapping, expected=rows)]).__name__\n"
        "print(kind(work.COLUMNS_FROM - 1), kind(10**6, Table.ASSETS), kind(10**6, sign=''), 'numpy' in sys.modules)\n"
        "print(kind(work.COLUMNS_FROM), 'numpy' in sys.modules)\n"
        "print({'models.intake.number_formats', 'models.intake.spoilt', 'xml.etree.ElementTree'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["Sheets", "Sheets", "Sheets", "False", "LargeSheets", "True", "set()"]


def test_what_shows_no_table_and_computes_no_book_again_loads_neither_tables_nor_processes() -> None:
    code = (
        "import sys; import dashboard.cli, dashboard.console.importing, dashboard.console.people_accounts, dashboard.console.proving\n"
        "import dashboard.console.tokens; print({'rich', 'multiprocessing', 'models.store.verify'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["set()"]


def test_a_process_of_its_own_collects_while_it_works_and_not_while_it_starts_and_ends(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    seen: list[object] = []
    make, was = cli._parser, gc.isenabled()

    def look(wanted: str | None = None) -> object:
        seen.append(gc.isenabled())
        return make(wanted)

    monkeypatch.setattr(gc, "freeze", lambda: seen.append("frozen"))
    monkeypatch.setattr(cli, "_parser", look)
    monkeypatch.setattr(sys, "argv", ["driftbook", "work", "--example"])
    try:
        assert main() == 0
        assert seen == [False, "frozen", "frozen"]
        assert gc.isenabled()
    finally:
        (gc.enable if was else gc.disable)()
    assert "[" in capsys.readouterr().out


# -- exit codes -------------------------------------------------------------------------------------------------------


def _codes_of(module: str, function: str) -> set[int]:
    """Give the codes with which a command can end by its source: those of its function, and of whatever it names in its module that gives a whole number."""
    tree = ast.parse((ROOT / "dashboard" / "console" / f"{module}.py").read_text(encoding="utf-8"))
    functions = {
        one.name: one
        for one in tree.body
        if isinstance(one, ast.FunctionDef) and ast.unparse(one.returns or one) == "int"
    }
    found, open_, seen = set[int](), [function], set[str]()
    while open_:
        parts = list(ast.walk(functions[open_.pop()]))
        named = {part.id for part in parts if isinstance(part, ast.Name)} & set(functions)
        open_ += sorted(named - seen)
        seen |= named
        for value in (part.value for part in parts if isinstance(part, ast.Return) and part.value is not None):
            for way in (value.body, value.orelse) if isinstance(value, ast.IfExp) else (value,):
                assert isinstance(way, ast.Constant | ast.Name | ast.Call), (module, ast.unparse(way))
                if not isinstance(way, ast.Call):
                    found.add(getattr(endings, way.id) if isinstance(way, ast.Name) else way.value)  # type: ignore[arg-type]
    return found


def test_every_exit_code_is_told_and_every_told_one_can_come() -> None:
    for verb, (module, function) in cli._RUNS.items():
        assert _codes_of(module, function) - set(endings.EVERY) == set(endings.OWN.get(verb, {})), verb
    assert set(endings.OWN) <= set(VERBS)


def test_the_readme_tells_the_exit_codes_as_the_program_does() -> None:
    told = re.findall(
        r"^\| ([0-9]+) \| (\S+) \| (.+) \|$", (ROOT / "README.md").read_text(encoding="utf-8"), re.MULTILINE
    )
    every = [(code, "every", says) for code, says in endings.EVERY.items()]
    own = [(code, f"`{verb}`", says) for verb, codes in endings.OWN.items() for code, says in codes.items()]
    assert told == [(str(code), verb, says) for code, verb, says in sorted([*every, *own])]
