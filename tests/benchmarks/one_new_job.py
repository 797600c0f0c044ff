"""What the first page after one new job costs, beside the same page before it.

``python -m tests.benchmarks.one_new_job`` measures the demo;
``--jobs 100000 --assets 5000 --cache FOLDER`` an invented book of that size (``tests.benchmarks.big_book``);
``--book FILE`` a copy of a book that is there.

In turn for each page: a job of some machine is recorded through a connection of its
own, and the page is asked for.  *before* is the page made anew of an unchanged book
(another person's, so that no finished answer is given again), *kept* the finished
answer, *after* the first page after the new job, *next* the page made anew after
that.  Each page must show the book up to its last entry.  At the end: how long the
whole study takes until the class averages have followed, and what pages take while it
is made and more jobs come.
"""

from __future__ import annotations

import argparse
import itertools
import shutil
import statistics
import tempfile
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import dash
import numpy as np
import sqlalchemy as sa

from dashboard.app import create_app
from dashboard.context import context
from dashboard.ids import Shell
from dashboard.making import QUIET_S
from dashboard.place import asset_path
from dashboard.server import warm_up
from models.commands.record_job import DoubtfulJobError, record_job
from models.history.columns import History
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.values.job import Job, Misalignment
from models.values.kinds import Method, Reason
from models.values.story import Site
from tests.benchmarks.big_book import book_of
from tests.benchmarks.callbacks import Asker, demo, whole_picture
from tests.benchmarks.questions_asked import Question

SEED = 20261125
MORE = 4
"""So many further jobs are recorded while the whole study is made …"""

PAUSE_S = 10.0
"""… one each so many seconds. [s]"""

PAGES = {
    "Month": (("month-body",), "/"),
    "Offenders": (("offenders-body",), "/offenders"),
    "Due": (("due-body",), "/due"),
    "that Asset": (("asset-body", "asset-study-body", "asset-rest-body"), ""),
}


@dataclass
class Times:
    """Times of one page, one a new job. [ms]."""

    kept: list[float] = field(default_factory=list)
    before: list[float] = field(default_factory=list)
    idle: list[float] = field(default_factory=list)
    after: list[float] = field(default_factory=list)
    next: list[float] = field(default_factory=list)
    worked: list[float] = field(default_factory=list)


class Recorder:
    """Records plausible jobs of machines drawn by chance."""

    def __init__(self, engine: sa.Engine, site: Site, history: History) -> None:
        self._engine, self._site, self._rng = engine, site, np.random.default_rng(SEED)
        jobs = history.jobs
        last = np.flatnonzero(np.append(jobs.asset[1:] != jobs.asset[:-1], True))
        some = last[~np.isnan(jobs.left[last]).any(axis=1) & ~history.assets.retired[jobs.asset[last]]]
        self._rows = iter(self._rng.permutation(some).tolist())
        self._tags, self._assets, self._left = history.assets.tag, jobs.asset, jobs.left
        self._people, self._instruments = history.people, history.instruments

    def record(self) -> str:
        """Record one job, and give the tag of its machine."""
        for row in self._rows:
            tag = str(self._tags[self._assets[row]])
            found = self._left[row] + self._rng.normal(0.0, (0.01, 0.05, 0.01, 0.05))
            left = self._rng.normal(0.0, (0.005, 0.02, 0.005, 0.02))
            at = datetime.now(UTC).replace(microsecond=0) - timedelta(minutes=1)
            job = Job(
                ref=f"NEW-{row}-{at:%H%M%S}", tag=tag, performed_at=at, zone=self._site.zone, reason=Reason.PLANNED,
                people=(self._people[0],), instrument=self._instruments[0], method=Method.LASER,
                found=Misalignment(*found.tolist()), left=Misalignment(*left.tolist()),
            )  # fmt: skip
            if self._write(job):
                return tag
        raise SystemExit("no machine is left that takes a job")

    def _write(self, job: Job) -> bool:
        reasons: dict[str, str] = {}
        for _ in range(2):
            try:
                record_job(
                    self._engine, self._site, job, by="bench", now=datetime.now(UTC), stated_reasons=reasons,
                    bolts_tight=True,
                )  # fmt: skip
            except DoubtfulJobError as doubt:
                reasons = {check.doubt: "invented for a measurement" for check in doubt.checks}
            else:
                return True
        return False


class Reading:
    """Asks for pages as a browser does."""

    def __init__(self, app: dash.Dash) -> None:
        self._asker, self._visits = Asker(app), itertools.count()

    def page(self, name: str, tag: str, *, anew: bool = True) -> tuple[float, float]:
        """Ask for all parts of a page; give the time and the processor's time [ms]."""
        bodies, path = PAGES[name]
        given = {
            f"{Shell.PAGE}.data": path or asset_path(tag),
            f"{Shell.URL}.search": "",
            f"{Shell.SCHEME}.data": "light",
        }
        if anew:
            self._asker._client.set_cookie("visit", str(next(self._visits)))
        times = [self._asker.time(self._asker.body(Question(name, body, "", given))) for body in bodies]
        return sum(one[0] for one in times), sum(one[1] for one in times)


def shown(app: dash.Dash, reader: Reader, site_id: int) -> tuple[int, bool]:
    """Give the entry up to which the pages show the book, and whether all estimates go as far."""
    with app.server.app_context():
        picture = context().pictures.of(reader, site_id)
    return picture.history.head, picture.study is not None and picture.study.whole


def run(app: dash.Dash, reader: Reader, recorder: Recorder, site_id: int, rounds: int) -> dict[str, Times]:
    """Record and ask, page by page in turn."""
    reading, found = Reading(app), {name: Times() for name in PAGES}
    tag = recorder.record()
    for name in PAGES:
        reading.page(name, tag)
    for _, (name, times) in itertools.product(range(rounds), found.items()):
        spent, worked = reading.page(name, tag)
        times.before.append(spent)
        times.idle.append(worked)
        times.kept.append(reading.page(name, tag, anew=False)[0])
        tag = recorder.record()
        spent, worked = reading.page(name, tag)
        times.after.append(spent)
        times.worked.append(worked)
        times.next.append(reading.page(name, tag)[0])
        head = reader.head()
        if shown(app, reader, site_id)[0] != head:
            raise SystemExit(f"{name} does not show entry {head}")
    return found


def meanwhile(app: dash.Dash, reader: Reader, recorder: Recorder, site_id: int) -> dict[str, list[float]]:
    """Ask for pages in turn while the whole study is made, and record a few more jobs meanwhile; give the times [ms]."""
    reading = Reading(app)
    found: dict[str, list[float]] = {name: [] for name in PAGES}
    time.sleep(QUIET_S + 1.0)
    tag = recorder.record()
    more, due = MORE, time.monotonic() + PAUSE_S
    while more or not shown(app, reader, site_id)[1]:
        if more and time.monotonic() > due:
            tag, more, due = recorder.record(), more - 1, time.monotonic() + PAUSE_S
        for name, times in found.items():
            times.append(reading.page(name, tag)[0])
            time.sleep(0.1)
    return found


def main() -> None:
    """Run the benchmark and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, help="size of an invented book; without it the demo")
    parser.add_argument("--assets", type=int, help="its machines; a twentieth of the jobs without it")
    parser.add_argument("--cache", type=Path, help="folder in which made books are kept; a passing one without it")
    parser.add_argument("--book", type=Path, help="a book that is there; it is copied first")
    parser.add_argument("--in-place", action="store_true", help="do not copy it: the new jobs stay in it")
    parser.add_argument("--rounds", type=int, default=20)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="driftbook-new-job-") as passing:
        folder = Path(passing)
        book = given.book or (
            book_of(given.cache or folder, given.jobs, given.assets or given.jobs // 20)
            if given.jobs
            else demo(folder / "demo")
        )
        if not given.in_place:
            book = Path(shutil.copy(book, folder / "copy.db"))
        settings = Settings(book=str(book), cache=str((given.cache or folder) / f"{book.stem}.cache"))
        reader = Reader(make_engine(settings), settings.cache_folder)
        app = create_app(settings, reader)
        warm_up(app)
        history, site = whole_picture(app, reader), reader.sites()[0]
        print(f"{len(history.jobs):,} jobs of {len(history.assets):,} machines", flush=True)
        recorder = Recorder(make_engine(settings), site, history)
        found = run(app, reader, recorder, site.site_id, given.rounds)
        began, worked = time.perf_counter(), time.process_time()
        while not shown(app, reader, site.site_id)[1]:
            time.sleep(0.1)
        print(
            f"whole again after {time.perf_counter() - began:.1f} s, {time.process_time() - worked:.1f} s of processor time"
        )
        show(found)
        print(f"while the whole study is made, with {MORE + 1} more jobs   [ms]")
        for name, spent in meanwhile(app, reader, recorder, site.site_id).items():
            most = np.percentile(spent, 95.0)
            print(
                f"{name:12} {len(spent):4d} times: median {statistics.median(spent):.1f}, 95 % within {most:.1f}, worst {max(spent):.1f}"
            )


def show(found: dict[str, Times]) -> None:
    """Print the medians."""
    names = ("kept", "before", "(cpu)", "after", "(cpu)", "worst", "next", "after − before", "(cpu)")
    print(f"{'page':12}" + "".join(f"{name:>{max(len(name) + 2, 8)}}" for name in names) + "   [ms]")
    for name, times in found.items():
        parts = (times.kept, times.before, times.idle, times.after, times.worked)
        more, cpu = (
            statistics.median(b - a for a, b in zip(*both, strict=True))
            for both in ((times.before, times.after), (times.idle, times.worked))
        )
        line = (*map(statistics.median, parts), max(times.after), statistics.median(times.next), more, cpu)
        print(f"{name:12}" + "".join(f"{one:>{max(len(of) + 2, 8)}.1f}" for of, one in zip(names, line, strict=True)))


if __name__ == "__main__":
    main()
