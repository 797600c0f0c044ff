"""A process that records jobs through the commands, one transaction each, and says which were acknowledged.

``python -m tests.recorder BOOK FIRST WORKERS JOBS [--patience SECONDS] [--at INSTANT]``

Runs WORKERS threads; the one numbered *w* records JOBS jobs of machine ``M-w``
in turn.  ``ok M-3 17`` on the standard output is an acknowledgement: the
command came back.  What can pass (a lost connection, a busy book) is tried
again under the same job number until the patience ends; a job that is found
to be there already counts as acknowledged, for its number and content are
the same.  ``no M-3 17 …`` is a job that was given up.
"""

from __future__ import annotations

import argparse
import sys
import threading
import time
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa

from models.commands.record_job import record_job
from models.errors import BookBusyError, BookUnreachableError, ConflictError, DriftbookError
from models.settings import read_settings
from models.store.engine import make_engine
from models.store.known import site_of
from models.values.job import Job, Misalignment
from models.values.kinds import Method, Reason
from models.values.story import Site

BEGAN = datetime(2016, 1, 4, 9, 0, tzinfo=UTC)
HEADS = "tag,description,coupling,running speed [rpm],movable foot row 1 [mm],movable foot row 2 [mm]\n"
_OUT = threading.Lock()


def machines(count: int) -> str:
    """Give a sheet of invented machines, M-0 and on."""
    return HEADS + "".join(f"M-{n},made for a test,short flexible,1485,210,640\n" for n in range(count))


def job_of(worker: int, number: int) -> Job:
    """Give the job with a number of a machine: the same each time it is asked."""
    small = (number % 7) / 1000
    return Job(
        ref=f"M-{worker} {number}",
        tag=f"M-{worker}",
        performed_at=BEGAN + timedelta(days=7 * number, minutes=worker),
        zone="UTC",
        reason=Reason.PLANNED,
        people=(f"Person {worker % 5}",),
        instrument="D-1",
        method=Method.LASER,
        found=Misalignment(0.021 + small, 0.11 + small, -0.012 - small, 0.05 + small),
        left=Misalignment(0.011 + small / 2, 0.06 + small, -0.004 - small, 0.03 + small),
    )


def say(line: str) -> None:
    with _OUT:
        sys.stdout.write(line + "\n")
        sys.stdout.flush()


def record(engine: sa.Engine, site: Site, worker: int, number: int, *, now: datetime | None, patience: float) -> None:
    until = time.monotonic() + patience
    job = job_of(worker, number)
    while True:
        try:
            record_job(
                engine,
                site,
                job,
                by=f"recorder {worker}",
                now=now or datetime.now(UTC),
                bolts_tight=True,
            )
        except ConflictError as fault:
            if "with the same content" in fault.message:
                say(f"ok {job.ref}")
            else:
                say(f"no {job.ref} {fault.message}")
        except (BookBusyError, BookUnreachableError, sa.exc.TimeoutError) as fault:
            if time.monotonic() < until:
                time.sleep(0.05)
                continue
            say(f"no {job.ref} {fault}".replace("\n", " "))
        except DriftbookError as fault:
            say(f"no {job.ref} {type(fault).__name__} {fault}".replace("\n", " "))
        else:
            say(f"ok {job.ref}")
        return


def find_site(engine: sa.Engine, patience: float) -> Site:
    until = time.monotonic() + patience
    while True:
        try:
            with engine.connect() as connection:
                return site_of(connection, None)
        except BookUnreachableError:
            if time.monotonic() > until:
                raise
            time.sleep(0.2)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("book")
    parser.add_argument("first", type=int)
    parser.add_argument("workers", type=int)
    parser.add_argument("jobs", type=int)
    parser.add_argument("--patience", type=float, default=0.0)
    parser.add_argument("--at", help="what the clock says, in ISO form; the system's if left out")
    given = parser.parse_args()
    engine = make_engine(read_settings(book=given.book))
    site = find_site(engine, given.patience)
    now = datetime.fromisoformat(given.at) if given.at else None

    def work(worker: int) -> None:
        for number in range(given.jobs):
            record(engine, site, worker, number, now=now, patience=given.patience)

    threads = [threading.Thread(target=work, args=(given.first + n,)) for n in range(given.workers)]
    say("ready")
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    engine.dispose()
    say("done")


if __name__ == "__main__":
    main()
