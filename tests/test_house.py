"""The house rules that are tests: lint, types, arrows, documents, and what must not stand in the repository."""

from __future__ import annotations

import ast
import graphlib
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).parents[1]
CODE = ("dashboard", "migrations", "models", "seed_data")


def tool(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", *arguments], cwd=ROOT, capture_output=True, text=True, check=False)


def tracked() -> list[Path]:
    """Give the files of the repository; in a copy without git, all that is not made by running it."""
    if (ROOT / ".git").exists() and shutil.which("git"):
        names = subprocess.run(
            ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        )
        return [ROOT / name for name in names.stdout.split("\0") if name and (ROOT / name).is_file()]
    skip = {
        ".venv",
        "__pycache__",
        ".git",
        "build",
        "dist",
        ".ruff_cache",
        ".mypy_cache",
        ".pytest_cache",
        ".hypothesis",
        ".import_linter_cache",
    }
    return [path for path in ROOT.rglob("*") if path.is_file() and not skip & set(path.relative_to(ROOT).parts)]


def project() -> dict[str, object]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    "arguments", [("ruff", "check", "."), ("ruff", "format", "--check", ".")], ids=["lint", "format"]
)
def test_ruff_finds_nothing(arguments: tuple[str, ...]) -> None:
    done = tool(*arguments)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]


def test_types_are_strict_and_complete() -> None:
    # A cache that nobody will read takes a seventh of the time to write.
    kept = [] if (ROOT / ".mypy_cache").is_dir() else ["--cache-dir", os.devnull]
    done = tool("mypy", *kept)
    assert done.returncode == 0, done.stdout[-3000:]


def test_arrows_only_point_down() -> None:
    command = [sys.executable, "-c", "from importlinter.cli import lint_imports_command as run; run()"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]


def test_no_modules_import_one_another_in_a_circle() -> None:
    """Nor by an import inside a function, which hides a circle; what is imported for types only is no arrow."""
    graph = grimp.build_graph(
        "models", "dashboard", "migrations", "seed_data", exclude_type_checking_imports=True, cache_dir=None
    )
    arrows = {name: graph.find_modules_directly_imported_by(name) for name in graph.modules}
    assert sum(map(len, arrows.values())) > 1_000
    order = list(graphlib.TopologicalSorter(arrows).static_order())  # a circle raises, and is named
    assert order.index("dashboard.auth.asking") < order.index("dashboard.auth.gate")


def test_every_dependency_has_its_reason_beside_it() -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    block = text[text.index("dependencies = [") : text.index("[project.scripts]")]
    for line in block.splitlines():
        if line.strip().startswith('"') and "driftbook[" not in line:
            assert re.search(r"#\s*\S+", line), f"no reason beside {line.strip()}"


def test_the_lock_names_versions_and_hashes_for_every_dependency_and_no_address() -> None:
    text = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    assert "://" not in text
    assert "--hash=sha256:" in text
    locked = {
        line.split("==")[0].split("[")[0].lower() for line in text.splitlines() if re.match(r"^[A-Za-z0-9]", line)
    }
    given = project()
    wanted = [*given["dependencies"], *(d for extra in given["optional-dependencies"].values() for d in extra)]  # type: ignore[misc, attr-defined]
    names = {re.split(r"[<>=\[; ]", str(item))[0].lower() for item in wanted} - {"driftbook"}
    assert names <= locked


def test_nothing_names_a_machine_or_a_registry() -> None:
    """No path of a machine it was made on, no registry's host, no lock file that carries one."""
    hosts = "|".join(["pypi" + r"\.org", "python" + "hosted", "registry" + r"\.npmjs", "deb" + r"\.debian\.org"])
    paths = "|".join(["/" + "work/", "/" + "root/", "/" + "home/[a-z]"])
    wrong = []
    for path in tracked():
        if path.name in {"uv.lock", "pylock.toml", "poetry.lock"}:
            wrong.append(str(path))
        if path.suffix.lower() in {".png", ".db", ".xlsx", ".pdf", ".woff2"}:
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        wrong += [f"{path.relative_to(ROOT)}: {match[0]}" for match in re.finditer(f"{hosts}|{paths}", text)]
    assert not wrong


@pytest.mark.parametrize("package", CODE)
def test_a_package_file_holds_a_docstring_only(package: str) -> None:
    for path in (ROOT / package).rglob("__init__.py"):
        body = ast.parse(path.read_text(encoding="utf-8")).body
        assert len(body) == 1, path
        assert isinstance(body[0], ast.Expr), path


def test_only_the_store_speaks_sql() -> None:
    allowed = {"models/store", "models/tables", "migrations", "tests"}
    for path in [p for package in CODE for p in (ROOT / package).rglob("*.py")]:
        name = path.relative_to(ROOT).as_posix()
        if any(name.startswith(folder) for folder in allowed):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Attribute)
                and isinstance(node.value, ast.Name)
                and node.value.id in {"sa", "sqlalchemy"}
            ):
                assert node.attr not in {"select", "insert", "update", "delete", "text"}, f"{name}:{node.lineno}"


def test_nothing_updates_or_deletes_but_the_state_of_the_present() -> None:
    """Sessions, tokens and passwords are no history; they are changed in one module, which may name their tables only."""
    for path in (ROOT / "models").rglob("*.py"):
        if path.relative_to(ROOT).as_posix() == "models/store/state.py":
            text = path.read_text(encoding="utf-8")
            named = set(re.findall(r"^from models\.tables\.(\w+) import", text, re.MULTILINE))
            assert named == {"accounts", "state"}
            assert "from models.tables.accounts import AccountRow\n" in text
            assert not re.search(r"sa\.(update|delete|insert)\(AccountRow", text)
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "sa":
                assert node.attr not in {"update", "delete"}, f"{path.name}:{node.lineno}"


def test_nothing_happens_on_import() -> None:
    """Every module imports in a fresh process with an empty environment, and makes no file and no connection."""
    code = (
        "import importlib, pkgutil, socket, sys\n"
        "def no(*a, **k): raise RuntimeError('a connection on import')\n"
        "socket.socket.connect = no\n"
        f"for package in {CODE!r}:\n"
        "    top = importlib.import_module(package)\n"
        "    for module in pkgutil.walk_packages(top.__path__, package + '.'):\n"
        "        if module.name in {'migrations.env', 'seed_data.__main__'} or '.versions.' in module.name: continue\n"
        "        importlib.import_module(module.name)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1", "PATH": "", "HOME": str(ROOT / "nowhere")},
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert not (ROOT / "driftbook.db").exists()


def docstrings() -> list[tuple[str, ast.FunctionDef]]:
    found = []
    for package in ("models/maths", "models/history"):
        for path in sorted((ROOT / package).glob("*.py")):
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    found.append((f"{path.stem}.{node.name}", node))  # noqa: PERF401 - the type is narrowed here
    return found


@pytest.mark.parametrize(("name", "node"), docstrings(), ids=[name for name, _ in docstrings()])
def test_a_formula_says_shape_and_unit_of_every_parameter(name: str, node: ast.FunctionDef) -> None:
    text = ast.get_docstring(node) or ""
    assert text, name
    arguments = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
    if not arguments or "Parameters" not in text:
        assert len(arguments) <= 2, f"{name} has {len(arguments)} parameters and no list of them"
        return
    listed = text[text.index("Parameters") :].split("\n\nReturns")[0].split("\n\nRaises")[0].split("\n\nNotes")[0]
    for argument in arguments:
        match = re.search(rf"^(?:\w+, )*{argument}(?:, \w+)* : .+(?:\n {{4}}.+)+", listed, re.MULTILINE)
        assert match, f"{name}: {argument} is not described"
        assert re.search(r"\[[^\]]+\]\.?\s*$", match[0].strip()), f"{name}: {argument} does not end with its unit"


def test_every_decision_has_one_number_and_one_place_in_the_index() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    index, _, listed = text[text.index("## 10. Decisions") : text.index("## 11. Releases")].partition("\n1. **")
    numbers = [1, *map(int, re.findall(r"^(\d+)\. \*\*", listed, re.MULTILINE))]
    assert numbers == list(range(1, len(numbers) + 1))
    found: list[int] = []
    for cell in re.findall(r"^\| [^|]+ \| ([\d, –]+) \|$", index, re.MULTILINE):
        for first, last in re.findall(r"(\d+)(?:–(\d+))?", cell):
            found += range(int(first), int(last or first) + 1)
    assert sorted(found) == numbers


def test_no_line_of_the_map_stands_twice() -> None:
    """Two branches that each add to one line leave both behind."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    lines = text[text.index("## 2. The map") :].split("```")[1].splitlines()
    begin: list[tuple[str, str, str]] = []
    top = part = ""
    for line in filter(str.strip, lines):
        depth, first = len(line) - len(line.lstrip()), line.split()[0]
        top, part = (first, "") if not depth else (top, first if depth == 2 else part)
        begin.append((top, part, "" if depth <= 2 else first))
    assert len(begin) > 50
    assert [one for one in dict.fromkeys(begin) if begin.count(one) > 1] == []
