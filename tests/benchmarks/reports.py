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
from datetime import UTC, date, datetime
from pathlib import Path

import typst

from dashboard.console.demo import make_demo
from dashboard.reports import makers
from dashboard.reports.press import STANDARDS, fonts, print_pdf
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from tests.papers import pages_of
from tests.report_book import history_paper, story

EMPTY = b'#set document(title: "x", date: datetime(year: 2026, month: 1, day: 1))\n#set text(font: "Inter")\n= x\n'


def seconds(make: Callable[[], object], times: int) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        make()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def empty() -> object:
    setter = typst.compile
    return setter({"main.typ": EMPTY}, font_paths=fonts(), pdf_standards=list(STANDARDS))  # type: ignore[call-overload]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=7, help="how often each is made (default: 7)")
    times = parser.parse_args().times
    sixty = story(60, amended=True)
    empty()  # the fonts are read once
    print_pdf(history_paper(story(1)))
    floor = seconds(empty, 5 * times)
    history = seconds(lambda: print_pdf(history_paper(sixty)), times)
    pages = len(pages_of(print_pdf(history_paper(sixty))))
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(make_demo(Path(folder), Display()))
        now, month = datetime(2026, 11, 25, 12, tzinfo=UTC), date(2026, 10, 1)

        def asking() -> makers.Asking:
            reader = Reader(engine)
            return makers.Asking(reader, reader.sites()[0], Display(), now, base="http://plant-server:8750")

        first = seconds(lambda: print_pdf(makers.month_review(asking(), month)), 1)
        known = asking()
        print_pdf(makers.month_review(known, month))
        again = seconds(lambda: print_pdf(makers.month_review(known, month)), times)
        tag = str(known.history.assets.tag[0])
        sheet = seconds(lambda: print_pdf(makers.field_sheet(known, tag)), times)
        engine.dispose()
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
