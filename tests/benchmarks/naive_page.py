"""The Month page beside the page that one would write first: ``python -m tests.benchmarks.naive_page``.

The plain page reads the jobs with ``pandas.read_sql``, groups them by month and speed class
and draws two figures with plotly express; it counts nothing else.  Ours is asked
twice: fresh (nothing kept, everything on the page made anew) and again.  On the demo
(2,060 jobs), or on a larger book with ``--jobs`` and ``--cache``, or ``--book``.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

import dash
import pandas as pd
from dash import Input, Output

import dashboard.answers as kept_answers
from dashboard.app import create_app
from dashboard.ids import Shell
from dashboard.server import warm_up
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from tests.benchmarks.big_book import book_of
from tests.benchmarks.callbacks import Asker, demo, whole_picture
from tests.benchmarks.questions_asked import Question

PLAIN = "bench-plain"
BOUNDS = [0, 1000, 1500, 1800, 3000, 3600, 10**9]
JOBS = """
    SELECT j.performed_us, v.speed_rpm, j.found_ratio, j.left_ratio
    FROM job j JOIN asset_version v ON v.entry = (SELECT max(w.entry) FROM asset_version w WHERE w.asset_id = j.asset_id)
    WHERE j.void = 0 AND NOT EXISTS (SELECT 1 FROM job n WHERE n.supersedes = j.entry)
"""


def plain_page(reader: Reader) -> list[Any]:
    """Make the plain page: all jobs of the book, grouped, as two figures."""
    import plotly.express as px

    with reader.engine.connect() as connection:
        jobs = pd.read_sql(JOBS, connection)
    jobs["month"] = pd.to_datetime(jobs.performed_us, unit="us").dt.strftime("%Y-%m")
    jobs["class"] = pd.cut(jobs.speed_rpm, BOUNDS).astype(str)
    grouped = jobs.assign(found=jobs.found_ratio > 1.0, left=jobs.left_ratio > 1.0).groupby(["month", "class"])
    counts = grouped[["found", "left"]].sum().reset_index()
    return [px.line(counts, x="month", y=name, color="class") for name in ("found", "left")]


def measure(book: Path, cache: Path, repeats: int) -> dict[str, float]:
    """Ask both pages in turn. [ms]."""
    settings = Settings(book=str(book), cache=str(cache))
    reader = Reader(make_engine(settings), settings.cache_folder)
    app: dash.Dash = create_app(settings, reader)
    app.callback(Output(PLAIN, "figure"), Output(PLAIN, "data"), Input(Shell.URL, "pathname"))(
        lambda pathname: plain_page(reader) if pathname else None
    )
    warm_up(app)
    history = whole_picture(app, reader)
    asker = Asker(app)
    at = {
        f"{Shell.URL}.pathname": "/",
        f"{Shell.PAGE}.data": "/",
        f"{Shell.URL}.search": "",
        f"{Shell.SCHEME}.data": "light",
    }
    ours, plain = (asker.body(Question("", name, "", at)) for name in ("month-body", PLAIN))
    shown, times = kept_answers.SHOWN, {"plain page": [0.0], "ours, fresh": [0.0], "ours, again": [0.0]}
    for one in times.values():
        one.clear()
    asker.time(ours)
    for _ in range(repeats):
        times["plain page"].append(asker.time(plain)[0])
        kept_answers.SHOWN = frozenset()
        times["ours, fresh"].append(asker.time(ours)[0])
        kept_answers.SHOWN = shown
        times["ours, again"].append(asker.time(ours)[0])
    return {"jobs": float(len(history.jobs)), **{name: statistics.median(one) for name, one in times.items()}}


def main() -> None:
    """Run the benchmark and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, help="size of an invented book; without it the demo")
    parser.add_argument("--cache", type=Path, help="folder in which books are kept; a passing one without it")
    parser.add_argument("--book", type=Path, help="a book that is there, in the place of a made one")
    parser.add_argument("--repeats", type=int, default=15)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="driftbook-bench-") as passing:
        folder = given.cache or Path(passing)
        with contextlib.redirect_stdout(sys.stderr):
            book = given.book or (
                book_of(folder, given.jobs, given.jobs // 20) if given.jobs else demo(folder / "demo")
            )
        found = measure(book, folder / f"{book.stem}.cache", given.repeats)
    plain = found["plain page"]
    print(f"{found['jobs']:,.0f} jobs")
    for name in ("plain page", "ours, fresh", "ours, again"):
        print(f"{name:14} {found[name]:9.1f} ms   plain page / this {plain / found[name]:9.1f}")
    print(json.dumps(found))


if __name__ == "__main__":
    main()
