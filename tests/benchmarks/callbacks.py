"""Server time of every callback of every page, beside an empty callback and one that gives a small figure.

``python -m tests.benchmarks.callbacks`` measures the demo;
``python -m tests.benchmarks.callbacks --jobs 1000000 --assets 50000 --cache FOLDER`` an invented book of that size, made once
and kept in the folder (``tests.benchmarks.big_book``).  With ``--fresh`` no answer is given a second time: every time of
the median is that of a page made anew, as for somebody who asks what nobody asked before.

The application runs in this process and is asked by Flask's test client: real
posts, with everything that Dash does to read and write them.  ``first`` is the
first time that a question is asked of a warm application; the median and the 95th
percentile are of the times after it.  The peers run in turn with the callbacks, so
that a busy machine slows both.
"""

from __future__ import annotations

import argparse
import gc
import json
import statistics
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

import dash
import numpy as np
from dash import Input, Output
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.context import context
from dashboard.ids import Shell
from dashboard.picture import StillReadingError
from dashboard.server import warm_up
from models.history.columns import History
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from tests.benchmarks.big_book import book_of
from tests.benchmarks.questions_asked import Names, Question, names_of, questions

EMPTY, FIGURE = "bench-empty", "bench-figure"
POINTS = 200

LONGEST_S = 7200.0
"""So long the benchmark waits for a whole picture: ten million jobs took most of an hour on two cores that others used too. [s]"""


@dataclass
class Line:
    """Times of one question. [ms]."""

    question: Question
    first: float
    first_cpu: float
    median: float
    p95: float
    median_cpu: float
    p95_cpu: float
    kilobytes: float
    empty: float
    figure: float
    empty_cpu: float
    figure_cpu: float


class Asker:
    """Asks an application as the browser does; ``fresh`` never as the same person, so that no kept answer fits."""

    def __init__(self, app: dash.Dash, *, fresh: bool = False) -> None:
        self._client: FlaskClient = app.server.test_client()
        self._people = count() if fresh else None
        self._callbacks: dict[str, dict[str, Any]] = app.callback_map

    def body(self, question: Question) -> dict[str, Any]:
        """Write the post of a question."""
        found = [
            (key, one)
            for key, one in self._callbacks.items()
            if one.get("callback") and _ids(key)[0].split(".")[0] == question.callback
        ]
        if len(found) != 1:
            raise SystemExit(f"{len(found)} callbacks write {question.callback}")
        key, known = found[0]
        outputs = [dict(zip(("id", "property"), one.split("."), strict=True)) for one in _ids(key)]

        def filled(parts: list[dict[str, Any]]) -> list[dict[str, Any]]:
            return [{**part, "value": question.given.get(f"{part['id']}.{part['property']}")} for part in parts]

        inputs = filled(known["inputs"])
        return {
            "output": key,
            "outputs": outputs if key.startswith("..") else outputs[0],
            "inputs": inputs,
            "changedPropIds": [f"{inputs[0]['id']}.{inputs[0]['property']}"],
            "state": filled(known["state"]),
        }

    def time(self, body: dict[str, Any]) -> tuple[float, float, int]:
        """Ask once; give the time and the processor's time of this thread [ms], and the length of the answer [byte]."""
        text = json.dumps(body)
        if self._people is not None:
            self._client.set_cookie("bench-person", str(next(self._people)))
        began, cpu = time.perf_counter(), time.thread_time()
        answer = self._client.post("/_dash-update-component", data=text, content_type="application/json")
        spent, worked = (time.perf_counter() - began) * 1000.0, (time.thread_time() - cpu) * 1000.0
        if answer.status_code not in {200, 204}:
            raise SystemExit(f"{answer.status_code} for {body['output']}: {answer.get_data(as_text=True)[:300]}")
        if b"sideUpdate" in answer.data:
            raise SystemExit(f"the page shows an error: {body['output']} {body['inputs']}")
        return spent, worked, len(answer.data)


def _ids(key: str) -> list[str]:
    return key.strip(".").split("...")


def add_peers(app: dash.Dash) -> None:
    """Give the application two more callbacks: one that does nothing, and one that gives a figure of 200 points."""

    def empty(pathname: str | None) -> None:
        del pathname

    def figure(pathname: str | None) -> Any:
        import plotly.graph_objects as go

        del pathname
        x = np.arange(POINTS, dtype=np.float64)
        return go.Figure(go.Scatter(x=x, y=np.sqrt(x), mode="markers"))

    app.callback(Output(EMPTY, "children"), Input(Shell.URL, "pathname"))(empty)
    app.callback(Output(FIGURE, "figure"), Input(Shell.URL, "pathname"))(figure)


def measure(app: dash.Dash, asked: list[Question], repeats: int, *, fresh: bool = False) -> list[Line]:
    """Ask everything; the peers are asked in turn with it."""
    asker = Asker(app, fresh=fresh)
    at = {f"{Shell.URL}.pathname": "/"}
    peers = [asker.body(Question("", name, "", at)) for name in (EMPTY, FIGURE)]
    for body in peers * 5:
        asker.time(body)
    lines = []
    for question in asked:
        body = asker.body(question)
        gc.collect()
        first, first_cpu, length = asker.time(body)
        print(f"{question.page} {question.callback} {question.filter}: {first:.0f} ms", file=sys.stderr, flush=True)
        times = np.array([[asker.time(one)[:2] for one in (body, *peers)] for _ in range(repeats)])
        own, empty, figure = times[:, :, 0].T
        worked, empty_cpu, figure_cpu = times[:, :, 1].T
        lines.append(
            Line(
                question,
                first,
                first_cpu,
                float(np.median(own)),
                float(np.quantile(own, 0.95)),
                float(np.median(worked)),
                float(np.quantile(worked, 0.95)),
                length / 1000.0,
                float(np.median(empty)),
                float(np.median(figure)),
                float(np.median(empty_cpu)),
                float(np.median(figure_cpu)),
            )
        )
    return lines


def show(lines: list[Line]) -> None:
    """Print the table."""
    print(
        f"{'page':9} {'callback':22} {'filter':58} {'first':>8} {'(cpu)':>7} {'median':>7} {'(cpu)':>7} {'p95':>7} {'(cpu)':>7} {'× empty':>8} {'× figure':>8} {'(cpu)':>7} {'kB':>6}"
    )
    for line in lines:
        q = line.question
        print(
            f"{q.page:9} {q.callback:22} {q.filter[:58]:58} {line.first:8.1f} {line.first_cpu:7.1f} {line.median:7.1f} {line.median_cpu:7.1f} {line.p95:7.1f} {line.p95_cpu:7.1f} "
            f"{line.median / line.empty:8.1f} {line.median / line.figure:8.1f} {line.p95_cpu / line.figure_cpu:7.1f} {line.kilobytes:6.0f}"
        )


def summary(lines: list[Line]) -> dict[str, Any]:
    """Say how the figures stand against what is asked."""
    empty = statistics.median(line.empty for line in lines)
    figure = statistics.median(line.figure for line in lines)

    def names(some: list[Line]) -> list[str]:
        return [f"{line.question.page} {line.question.callback} {line.question.filter}" for line in some]

    return {
        "empty_ms": empty,
        "figure_ms": figure,
        "median_over_twice_empty_plus_20_ms": names([line for line in lines if line.median > 2 * line.empty + 20.0]),
        "first_over_twice_empty_plus_20_ms": names([line for line in lines if line.first > 2 * line.empty + 20.0]),
        "median_over_100_ms": names([line for line in lines if line.median > 100.0]),
        "first_over_100_ms_of_processor": names([line for line in lines if line.first_cpu > 100.0]),
        "first_over_20_ms_of_processor_more_than_twice_empty": names(
            [line for line in lines if line.first_cpu > 20.0 + 2 * line.empty]
        ),
        "worst_first_cpu_ms": max(line.first_cpu for line in lines),
        "first_over_100_ms": names([line for line in lines if line.first > 100.0]),
        "p95_over_10_ms": names([line for line in lines if line.p95 > 10.0]),
        "p95_over_10_ms_of_processor": names([line for line in lines if line.p95_cpu > 10.0]),
        "p95_over_5_figures_of_processor": names([line for line in lines if line.p95_cpu > 5 * line.figure_cpu]),
        "empty_cpu_ms": statistics.median(line.empty_cpu for line in lines),
        "figure_cpu_ms": statistics.median(line.figure_cpu for line in lines),
        "median_over_5_figures": names([line for line in lines if line.median > 5 * line.figure]),
        "p95_over_100_ms": names([line for line in lines if line.p95 > 100.0]),
        "p95_of_all_medians_ms": float(np.quantile([line.median for line in lines], 0.95)),
        "p95_of_all_firsts_cpu_ms": float(np.quantile([line.first_cpu for line in lines], 0.95)),
        "worst_first_ms": max(line.first for line in lines),
        "worst_median_ms": max(line.median for line in lines),
        "worst_p95_ms": max(line.p95 for line in lines),
    }


def fresh_summary(lines: list[Line]) -> dict[str, Any]:
    """Say which pages take too long when they are made anew, the slowest first, with their times. [ms]."""

    def over(times: dict[str, float], bound: float) -> dict[str, float]:
        slow = sorted(times.items(), key=lambda one: -one[1])
        return {name: round(time, 1) for name, time in slow if time > bound}

    names = [f"{line.question.page} {line.question.callback} {line.question.filter}" for line in lines]
    empty = statistics.median(line.empty for line in lines)
    bound = 2 * empty + 20.0
    return {
        "empty_ms": empty,
        "bound_ms": bound,
        "questions": len(lines),
        "fresh_over_the_bound": over(dict(zip(names, (line.median for line in lines), strict=True)), bound),
        "fresh_over_the_bound_of_processor": over(
            dict(zip(names, (line.median_cpu for line in lines), strict=True)), bound
        ),
        "fresh_p95_over_the_bound": over(dict(zip(names, (line.p95 for line in lines), strict=True)), bound),
        "worst_fresh_ms": max(line.median for line in lines),
        "worst_fresh_cpu_ms": max(line.median_cpu for line in lines),
    }


def memory_mib() -> tuple[float, float]:
    """Give the memory that this process holds now, and the most that it held. [MiB]."""
    with Path("/proc/self/status").open(encoding="ascii") as stream:
        said = dict(line.split(":", 1) for line in stream)
    return float(said["VmRSS"].split()[0]) / 1024.0, float(said["VmHWM"].split()[0]) / 1024.0


def whole_picture(
    app: dash.Dash, reader: Reader, limit_s: float = LONGEST_S, stages: dict[str, Any] | None = None
) -> History:
    """Wait until the pages have everything to show: what is measured is a warm application.

    ``stages`` takes when the history was there and when all was [s, of the clock and of the processor], and with how
    much memory [MiB].

    Raises
    ------
    SystemExit
        If that takes longer than ``limit_s`` [s]; it says how far the picture has come.
    """
    site_id = reader.sites()[0].site_id
    began, worked = time.monotonic(), time.process_time()
    limit = began + limit_s

    def reached(stage: str) -> None:
        if stages is not None and stage not in stages:
            held, most = memory_mib()
            spent = (time.monotonic() - began, time.process_time() - worked)
            stages[stage] = {"s": spent[0], "cpu_s": spent[1], "mib": held, "peak_mib": most}

    how_far = "nothing was read yet"
    while time.monotonic() < limit:
        with app.server.app_context():
            here = context()
            with suppress(StillReadingError):
                shown = here.pictures.of(reader, site_id)
                reached("history")
                if here.pictures.whole(reader, site_id):
                    reached("whole picture")
                    return reader.history(site_id)
                how_far = f"{len(shown.history.jobs):,} jobs were read up to entry {shown.history.head:,} of {reader.head():,}, "
                how_far += "the study of them is missing" if shown.study is None else "a study is there, but not of all"
        time.sleep(0.1)
    raise SystemExit(
        f"after {limit_s:.0f} s there is no whole picture of the book: {how_far}. "
        "A larger limit may be given by --patience; what went wrong is in the log."
    )


def lists_by_key(app: dash.Dash, names: Names, repeats: int) -> dict[str, float]:
    """Ask for the first page of the Book's list and for one in its middle, in turn, each made anew.

    Lists go by entry number and not by how many to skip: both cost the same, however long the book is.
    """
    asker = Asker(app, fresh=True)
    first, middle = (
        asker.body(next(one for one in questions(names) if one.callback == "book-body" and one.filter == asked))
        for asked in ("–", f"?before={names.middle}")
    )
    for body in (first, middle) * 3:
        asker.time(body)
    times = np.array([[asker.time(body)[:2] for body in (first, middle)] for _ in range(repeats)])
    wall, worked = np.median(times, axis=0).T
    return {
        "first_ms": float(wall[0]),
        "middle_ms": float(wall[1]),
        "first_cpu_ms": float(worked[0]),
        "middle_cpu_ms": float(worked[1]),
        "middle_over_first": float(np.median(times[:, 1, 1] / times[:, 0, 1])),
    }


def demo(folder: Path) -> Path:
    """Make the demo."""
    from dashboard.console.demo import make_demo
    from models.units import Display

    book = folder / "driftbook.db"
    if not book.exists():
        make_demo(folder, Display())
    return book


def main() -> None:
    """Run the benchmark and print the table and how it stands."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, help="size of an invented book; without it the demo")
    parser.add_argument("--assets", type=int, help="its machines; a twentieth of the jobs without it")
    parser.add_argument("--cache", type=Path, help="folder in which books are kept; a passing one without it")
    parser.add_argument("--repeats", type=int, default=20)
    parser.add_argument("--only", default="", help="only pages whose name holds this")
    parser.add_argument("--fresh", action="store_true", help="no answer is given a second time: each is made anew")
    parser.add_argument("--json", type=Path, help="file for the figures")
    parser.add_argument("--book", type=Path, help="a book that is there, in the place of a made one")
    parser.add_argument(
        "--patience", type=float, default=LONGEST_S, help="longest wait for a whole picture, in seconds"
    )
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="driftbook-bench-") as passing:
        folder = given.cache or Path(passing)
        book = (
            given.book or book_of(folder, given.jobs, given.assets or given.jobs // 20)
            if given.book or given.jobs
            else demo(folder / "demo")
        )
        began = time.perf_counter()
        settings = Settings(book=str(book), cache=str(folder / f"{book.stem}.cache"))
        reader = Reader(make_engine(settings), settings.cache_folder)
        app = create_app(settings, reader)
        add_peers(app)
        warm_up(app)
        started = time.perf_counter() - began
        stages: dict[str, Any] = {}
        history = whole_picture(app, reader, given.patience, stages)
        read = time.perf_counter() - began - started
        names = names_of(reader, history)
        # The entries too: a reader reads them beforehand, and until then each filter of them walks through the book.
        reader.prepare(reader.sites()[0].site_id)
        asked = [one for one in questions(names) if given.only in one.page]
        began = time.perf_counter()
        lines = measure(app, asked, given.repeats, fresh=given.fresh)
        listed = lists_by_key(app, names, max(given.repeats, 15))
        print(
            f"{len(history.jobs):,} jobs of {len(history.assets):,} machines; started in {started:.2f} s, picture {read:.2f} s, asked in {time.perf_counter() - began:.0f} s"
        )
    show(lines)
    said = fresh_summary(lines) if given.fresh else summary(lines)
    stages["asked"] = dict(zip(("mib", "peak_mib"), memory_mib(), strict=True))
    size = {"jobs": len(history.jobs), "assets": len(history.assets)}
    result = {**size, "stages": stages, "book_list": listed, **said}
    print(json.dumps(result, indent=1))
    if given.json:
        each = [
            {
                **vars(line),
                "question": None,
                "page": line.question.page,
                "callback": line.question.callback,
                "filter": line.question.filter,
            }
            for line in lines
        ]
        given.json.write_text(json.dumps({**result, "lines": each}, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
