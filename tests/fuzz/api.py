"""The JSON interface under a tester that knows it by its own description only (schemathesis, another project).

By hand, until so many requests were answered:

    python -m tests.fuzz.api --requests 5000
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from models.settings import Settings
from models.store.revision import upgrade

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from dashboard.api.operations import OPERATIONS, PREFIX  # noqa: E402 - the line above lets it find the fixtures' file
from dashboard.api.routes import _pattern  # noqa: E402 - the same
from tests.fuzz.api_book import serving, tokened  # noqa: E402 - the same

# A body that fits the description may still speak against itself or the book (a day that no month has, a machine that is
# not there, a job in the future): 422 is an answer that the description names, and so is 412 for a tag of no version. All other bounds are the tester's own.
CONFIG = """
request-timeout = 120.0

[parameters]
"query.site" = "test-quay"

[checks.positive_data_acceptance]
expected-statuses = ["2xx", 304, 401, 403, 404, 409, 412, 422]
"""


@dataclass(slots=True)
class Outcome:
    """What came of a run: how many requests, by which status they were answered, which operations did what they were asked."""

    requests: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    written: int = 0
    said: str = ""
    status: int = 0
    wrong: list[str] = field(default_factory=list)
    reached: set[str] = field(default_factory=set)


class Counting:
    """A layer in front of the application that counts what is asked and looks at every answer itself."""

    def __init__(self, app: Any, outcome: Outcome) -> None:
        self.app, self.outcome, self.lock = app, outcome, threading.Lock()

    def __call__(self, environ: dict[str, Any], start: Any) -> Any:
        def begun(status: str, headers: list[tuple[str, str]], *more: Any) -> Any:
            code, kind = int(status[:3]), dict(headers).get("Content-Type", "")
            with self.lock:
                self.outcome.requests += 1
                self.outcome.statuses[code] += 1
                self.outcome.written += environ["REQUEST_METHOD"] == "POST" and code == 201
                if code < 300:
                    self.outcome.reached.add(operation_at(environ["REQUEST_METHOD"], environ["PATH_INFO"]))
                wanted = "application/problem+json" if code >= 400 else "application/json"
                if code >= 500 or (not kind.startswith(wanted) and code != 304):
                    self.outcome.wrong.append(f"{environ['REQUEST_METHOD']} {environ['PATH_INFO']!r}: {status}, {kind}")
            return start(status, headers, *more)

        return self.app(environ, begun)


def operation_at(method: str, path: str) -> str:
    """Give the operation of an address; of several the one with the most words of its own."""
    found = [
        one for one in OPERATIONS if one.method == method and _pattern(one.path).fullmatch(path.removeprefix(PREFIX))
    ]
    return max(found, key=lambda one: one.path.count("/")).name if found else ""


def run(book: Settings, folder: Path, *, examples: int, seed: int, phases: str) -> Outcome:
    """Let the tester loose on a fresh book.

    Parameters
    ----------
    book : Settings
        A migrated book without a site. [unitless]
    folder : Path
        Folder for what it writes. [unitless]
    examples : int
        Longest series of requests for one operation and phase. [unitless]
    seed : int
        Seed of the requests. [unitless]
    phases : str
        Phases of the tester, with commas between. [unitless]
    """
    outcome, config = Outcome(), folder / "tester.toml"
    config.write_text(CONFIG, encoding="utf-8")
    with tokened(book, folder) as (opened, secret):
        opened.app.server.wsgi_app = Counting(opened.app.server.wsgi_app, outcome)  # type: ignore[method-assign]
        with serving(opened.app) as address:
            outcome.requests = 0
            outcome.statuses.clear()
            outcome.wrong.clear()
            done = subprocess.run(
                [
                    sys.executable, "-c", "from schemathesis.cli import schemathesis; schemathesis()",
                    "--config-file", str(config), "--no-color", "run", f"{address}/api/v1/openapi.json",
                    "--header", f"Authorization: Bearer {secret}", "--max-examples", str(examples), "--seed", str(seed),
                    "--phases", phases, "--continue-on-failure", "--suppress-health-check", "all", "--warnings", "off",
                    "--report", "json", "--report-json-path", str(folder / "report.json"), "--output-truncate", "false",
                ],
                cwd=folder, capture_output=True, text=True, check=False, env=os.environ | {"SCHEMATHESIS_HOOKS": "tests.fuzz.api_hooks", "PYTHONPATH": str(ROOT)},
            )  # fmt: skip
        outcome.status, outcome.said = done.returncode, done.stdout + done.stderr
    return outcome


def main() -> int:
    """Run until so many requests were answered, each round with another seed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--requests", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--examples", type=int, default=60)
    parser.add_argument("--phases", default="examples,coverage,fuzzing,stateful")
    given = parser.parse_args()
    total, statuses, seed, reached = 0, Counter[int](), given.seed, set[str]()
    while total < given.requests:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            book = Settings(book=str(folder / "fuzz.db"), mappings=folder / "mappings")
            upgrade(book)
            outcome = run(book, folder, examples=given.examples, seed=seed, phases=given.phases)
        print(outcome.said[-6000:] if outcome.status else f"seed {seed}: no failure in {outcome.requests} requests")
        total, seed = total + outcome.requests, seed + 1
        statuses += outcome.statuses
        reached |= outcome.reached
        print(json.dumps({"requests": total, "written": outcome.written, "answers": dict(sorted(statuses.items()))}))
        if outcome.status or outcome.wrong:
            print("\n".join(outcome.wrong[:40]))
            return 1
    every = {one.name for one in OPERATIONS}
    missed = every - reached
    print(f"{len(every & reached)} of {len(OPERATIONS)} operations did what they were asked", *sorted(missed))
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
