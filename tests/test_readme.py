"""The README's commands do what it says, in a clean copy of the repository with nothing but Python."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.cli import _RUNS
from tests.test_house import ROOT, tracked

README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
DEMO = "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/driftbook demo"
TESTS = "python3 -m venv .venv && .venv/bin/pip install --no-compile '.[test]' && .venv/bin/python -m tests"


def test_the_job_comes_first_and_then_the_two_commands() -> None:
    first = README.index("## Two commands")
    assert README.index("the book in which that is kept") < first
    assert [block.strip() for block in BLOCKS[:2]] == [DEMO, TESTS]


def test_ci_runs_the_readmes_own_test_command_and_nothing_else() -> None:
    lines = [
        line
        for line in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    assert lines == ["set -euo pipefail", 'cd "$(dirname "$0")/.."', TESTS.replace("pip install", "pip install -q")]


@pytest.mark.parametrize("verb", tuple(_RUNS))
def test_every_subcommand_stands_in_the_readme(verb: str) -> None:
    assert f"driftbook {verb}" in README or f"`{verb}`" in README


def test_every_picture_and_page_that_is_linked_exists() -> None:
    for name in re.findall(r"\]\(([^)#]+)\)", README):
        assert "://" not in name
        assert (ROOT / name).is_file(), name


def test_numbers_in_the_readme_are_those_of_the_demo() -> None:
    from seed_data.generate import generate

    plant = generate()
    machines = len({asset.tag for asset in plant.assets})
    assert f"{machines} machines, {len(plant.jobs):,} jobs" in README


@pytest.fixture(scope="module")
def clean_copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("checkout") / "driftbook"
    for path in tracked():
        target = folder / path.relative_to(ROOT)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(path, target)
    return folder


@pytest.fixture(scope="module")
def served(clean_copy: Path) -> Iterator[str]:
    """Run the first command as it stands there and give the address that it prints."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("VIRTUAL_ENV", "PYTHONPATH", "DRIFTBOOK"))
    }
    environment["PYTHONUNBUFFERED"] = "1"
    environment["PIP_COMPILE"] = (
        "0"  # what is never loaded need not be compiled; PIP_NO_COMPILE=1 means the contrary to pip
    )
    command = DEMO.replace("python3", sys.executable, 1)
    process = subprocess.Popen(
        ["bash", "-c", command],
        cwd=clean_copy,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=environment,
        start_new_session=True,
    )
    said = []
    try:
        assert process.stdout is not None
        for line in process.stdout:
            said.append(line)
            match = re.search(r"http://127\.0\.0\.1:\d+", line)
            if match:
                yield match[0]
                return
        pytest.fail("the demo did not come up:\n" + "".join(said[-30:]))
    finally:
        os.killpg(process.pid, signal.SIGINT)
        for _ in range(100):
            if process.poll() is not None:
                break
            time.sleep(0.1)
        else:
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        if process.stdout is not None:
            process.stdout.close()


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="the form for Windows stands beside it; this one needs a POSIX shell")
def test_the_first_command_ends_with_the_demo_served(served: str, clean_copy: Path) -> None:
    for path in ("/", "/offenders", "/asset/SI-P-101A", "/healthz"):
        with urllib.request.urlopen(served + path, timeout=30) as answer:
            assert answer.status == 200, path
    assert (clean_copy / "driftbook-demo" / "driftbook.db").exists()


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="the form for Windows stands beside it; this one needs a POSIX shell")
def test_the_commands_for_a_book_of_ones_own_work_one_after_another(served: str, clean_copy: Path) -> None:
    del served  # it has installed the package into the copy's environment
    own = BLOCKS[next(place for place, block in enumerate(BLOCKS) if "driftbook init" in block) :]
    lines = [line for block in own for line in block.strip().splitlines()]
    done = 0
    for line in lines:
        if "driftbook serve" in line:
            continue  # it goes on until it is stopped; the demo above shows that it serves
        typed = "harbour kelp 1907 bell\n"
        # Where a person types a password, here it comes from a pipe.
        command = f"{line} --password-stdin" if "people add" in line else line
        ran = subprocess.run(
            ["bash", "-c", command], cwd=clean_copy, capture_output=True, text=True, check=False, input=typed
        )
        assert ran.returncode == 0, (line, ran.stdout, ran.stderr)
        done += 1
    assert done >= 10
    for made in ("driftbook.db", "driftbook.db.key", "heads.txt", "due.xlsx", "checks.ics", "plant.zip"):
        assert (clean_copy / made).exists(), made
