"""How long the command takes to start, beside an interpreter that does nothing: ``python -m tests.benchmarks.starting``.

Whole processes in turn, so that a busy machine slows all; the floor is ``python -c pass``.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from dashboard.console.demo import make_demo
from models.units import Display

FLOOR = "python -c pass"


@dataclass(frozen=True)
class Started:
    """One command: its median and how many times the floor it took."""

    command: str
    ms: float
    ratio: float


def spent(command: list[str]) -> float:
    """Run a command and give its time. [ms]."""
    began = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return (time.perf_counter() - began) * 1000.0


def measure(runs: int) -> list[Started]:
    """Run every command in turn, ``runs`` times; ratios are taken round by round."""
    program = str(Path(sys.executable).with_name("driftbook"))
    with tempfile.TemporaryDirectory() as folder:
        with contextlib.redirect_stdout(sys.stderr):
            book = make_demo(Path(folder), Display()).path
        commands = {
            FLOOR: [sys.executable, "-c", "pass"],
            "python -c 'import sqlalchemy'": [sys.executable, "-c", "import sqlalchemy"],
            "driftbook --help": [program, "--help"],
            "driftbook --version": [program, "--version"],
            "driftbook head": [program, "head", "--book", str(book)],
        }
        times: dict[str, list[float]] = {name: [] for name in commands}
        for command in commands.values():
            spent(command)
        for _ in range(runs):
            for name, command in commands.items():
                times[name].append(spent(command))
    floor = times[FLOOR]
    return [
        Started(
            name,
            statistics.median(own),
            statistics.median(mine / bare for mine, bare in zip(own, floor, strict=True)),
        )
        for name, own in times.items()
    ]


def main() -> None:
    """Run the benchmark and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=15)
    lines = measure(parser.parse_args().runs)
    print(f"{'whole process':32} {'median ms':>10} {'× floor':>8}")
    for line in lines:
        print(f"{line.command:32} {line.ms:10.1f} {line.ratio:8.1f}")
    print(json.dumps([vars(line) for line in lines]))


if __name__ == "__main__":
    main()
