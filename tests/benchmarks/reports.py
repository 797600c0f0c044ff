"""How long the papers take, beside an empty document of the same typesetter in the same run.

``python -m tests.benchmarks.reports``

Three papers: the history of an invented machine with sixty jobs (from its story on: the book is not
read), the monthly review of the demo (first with everything to compute, then with a history that is
known), and the demo's field sheet.  Each is made several times and the median is told; the ratio to an
empty document is what carries to another machine.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import typst

from dashboard.console.demo import make_demo
from dashboard.reports import makers
from dashboard.reports.press import STANDARDS, fonts, print_pdf
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from models.values.story import AssetStory
from tests.papers import pages_of
from tests.report_book import history_paper, story

EMPTY = '#set document(title: "x", date: datetime(year: 2026, month: 1, day: 1))\n#set text(font: "Inter")\n= x {}\n'


def seconds(make: Callable[[int], object], times: int) -> float:
    """Give the median of several makings; each is another document, for the typesetter remembers what it has set."""
    taken = []
    for number in range(times):
        start = time.perf_counter()
        make(number)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def empty(number: int) -> object:
    setter: Any = typst
    return setter.compile(
        {"main.typ": EMPTY.format(number).encode()}, font_paths=fonts(), pdf_standards=list(STANDARDS)
    )


def resident_mb() -> int:
    """Give the resident memory of this process, where the system tells it. [MB]."""
    told = Path("/proc/self/statm")
    return int(told.read_text(encoding="ascii").split()[1]) * 4096 // 1_000_000 if told.exists() else 0


def renamed(told: AssetStory, number: int) -> AssetStory:
    """Give the same story with other job numbers, notes and entries."""
    lines = [
        replace(
            line,
            entry=line.entry + number,
            job=replace(line.job, ref=f"{line.job.ref}-{number}", notes=f"run {number}"),
        )
        for line in told.jobs
    ]
    return replace(told, jobs=tuple(lines))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=7, help="how often each is made (default: 7)")
    times = parser.parse_args().times
    sixty = story(60)
    empty(-1)  # the fonts are read once
    floor = seconds(empty, 5 * times)
    history = seconds(lambda number: print_pdf(history_paper(renamed(sixty, number))), times)
    pages = len(pages_of(print_pdf(history_paper(sixty))))
    before = resident_mb()
    for number in range(100, 115):
        print_pdf(history_paper(renamed(sixty, number)))
    after = resident_mb()
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(make_demo(Path(folder), Display()))
        now = datetime(2026, 11, 25, 12, tzinfo=UTC)
        reader = Reader(engine)

        def asking(number: int) -> makers.Asking:
            return makers.Asking(
                reader, reader.sites()[0], Display(), now + timedelta(minutes=number), base="http://plant-server:8750"
            )

        first = seconds(lambda number: print_pdf(makers.month_review(asking(number), date(2026, 10, 1))), 1)
        again = seconds(
            lambda number: print_pdf(makers.month_review(asking(number), date(2026, 10 - number, 1))), min(times, 9)
        )
        tags = [str(tag) for tag in asking(0).history.assets.tag[:times]]
        sheet = seconds(lambda number: print_pdf(makers.field_sheet(asking(number), tags[number])), times)
        engine.dispose()
    print(f"resident memory before and after 15 more histories of 60 jobs: {before} and {after} MB")
    print(f"empty document, median of {5 * times}: {floor * 1000:.1f} ms")
    for name, taken in (
        (f"history of 60 jobs, {pages} pages", history),
        ("monthly review of the demo, nothing computed before", first),
        ("monthly review of the demo, history known", again),
        ("field sheet, its size chosen", sheet),
    ):
        print(f"{name}: {taken * 1000:.0f} ms, {taken / floor:.0f} times the empty document")


if __name__ == "__main__":
    main()
