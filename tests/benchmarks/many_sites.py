"""Many sites: studied by one process and by several, with the same figures; and what PostgreSQL does with many parts.

``python -m tests.benchmarks.many_sites --sites 10 --jobs 20000 [--workers 2] [--parts 1000] [--server-jobs 5000]``

Each site is an invented fleet of about so many jobs (``tests.fleet``), written
as columns.  They are studied by the code of ``driftbook group``: one after the
other in a process of its own, then by a Dask cluster of single-threaded worker
processes.  Both must give the same figures, to the last bit.  Beside them stands
the floor: as many plain processes that share the sites, with nothing between them
(on a machine whose processors are threads of one core it is far from half).  Then a server is
started: jobs are imported at two sites and their bytes counted, so many empty
sites are set up, and a question about one site is planned beside one about all.
At the end stands the arithmetic for 1,000 sites with 100,000 jobs each, from
these figures and nothing else.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import sqlalchemy as sa

ROOT = Path(__file__).resolve().parents[2]
SITES, JOBS_A_SITE = 1_000, 100_000
JOBS_A_MACHINE = 6
"""As the plan of the fleet has it: two to ten."""


@dataclass
class Figures:
    """What was measured: seconds, MiB, bytes; names end with the unit."""

    sites: int
    jobs: int
    workers: int
    one_s: float = 0.0
    one_processor_s: float = 0.0
    one_peak_mib: float = 0.0
    idle_mib: float = 0.0
    many_s: float = 0.0
    many_start_s: float = 0.0
    many_processor_s: float = 0.0
    worker_peak_mib: list[float] = field(default_factory=list)
    plain_s: float = 0.0
    plain_processor_s: float = 0.0
    columns_bytes: int = 0
    same: bool = False
    server: dict[str, float] = field(default_factory=dict)


def make_sites(folder: Path, sites: int, jobs: int) -> int:
    """Write invented sites as columns, and give the number of their jobs."""
    from models.store.column_files import write_columns
    from tests.fleet import Plan, make_fleet

    made = 0
    for number in range(sites):
        history, _ = make_fleet(number, Plan(assets=max(jobs // JOBS_A_MACHINE, 1)))
        write_columns(history, f"site-{number:04d}", folder)
        made += len(history.jobs)
    return made


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _processor_s() -> float:
    spent = resource.getrusage(resource.RUSAGE_SELF)
    return spent.ru_utime + spent.ru_stime


def _warm() -> float:
    """Load all that a study needs, by studying a very small fleet, and give the memory that this takes."""
    from models.history.engine import study_of
    from models.store.column_files import parquet
    from tests.fleet import Plan, make_fleet

    parquet()
    study_of(make_fleet(0, Plan(assets=50))[0])
    return _peak_mib()


def _spent() -> tuple[float, float]:
    return _processor_s(), _peak_mib()


def alone(folder: Path) -> tuple[str, float, float, float, float]:
    """Study all sites in this process: figures as text, seconds, seconds of processor, memory before and at its peak."""
    from dashboard.console.grouping import study_sites
    from models.store.column_files import sites_in

    idle, began, used = _warm(), time.perf_counter(), _processor_s()
    group = study_sites(sites_in(folder))
    return repr(group.as_dict()), time.perf_counter() - began, _processor_s() - used, idle, _peak_mib()


def side_by_side(folder: Path, workers: int) -> tuple[float, float]:
    """Let plain processes share the sites: seconds by the clock from when all are warm, and seconds of processor."""
    parts = [folder / f"part-{place}" for place in range(workers)]
    for place, site in enumerate(sorted(folder.glob("site-*"))):
        parts[place % workers].mkdir(exist_ok=True)
        (parts[place % workers] / site.name).symlink_to(site)
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        pool.map(_warm_one, range(workers), chunksize=1)
        began = time.perf_counter()
        found = pool.map(alone, parts, chunksize=1)
        return time.perf_counter() - began, sum(one[2] for one in found)


def _warm_one(_place: int) -> float:
    time.sleep(0.5)  # so that no process takes two
    return _warm()


def together(folder: Path, workers: int) -> tuple[str, float, float, float, list[float]]:
    """Study all sites by workers: figures as text, seconds, seconds to start, seconds of processor, peak of each worker."""
    import distributed

    from dashboard.console.grouping import study_sites
    from models.store.column_files import sites_in

    began = time.perf_counter()
    with distributed.LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        with distributed.Client(cluster) as client:
            client.wait_for_workers(workers)
            client.run(_warm)
            before = client.run(_spent)
        started = time.perf_counter() - began
        began = time.perf_counter()
        group = study_sites(sites_in(folder), scheduler=cluster.scheduler_address)
        took = time.perf_counter() - began
        with distributed.Client(cluster) as client:
            after = client.run(_spent)
    used = sum(after[name][0] - before[name][0] for name in after)
    return repr(group.as_dict()), took, started, used, [after[name][1] for name in after]


def on_server(parts: int, jobs: int) -> dict[str, float]:
    """Count the bytes of a job on PostgreSQL, set many sites up, and plan a question about one of them and about all."""
    from models.settings import Settings
    from models.store.engine import make_engine
    from models.store.partitions import make_parts
    from models.store.unit import locked
    from models.tables.every import HISTORY
    from tests.benchmarks.import_peers import make_files
    from tests.benchmarks.recorders import postgres

    found: dict[str, float] = {}
    with tempfile.TemporaryDirectory(prefix="driftbook-bench-") as folder, postgres() as (url, _):
        there = sa.make_url(url).set(database="plain").render_as_string(hide_password=False)
        settings = Settings(book=there, key=Path(folder) / "plain.key")
        files = make_files(Path(folder), max(jobs // 20, 1), jobs)
        for name in ("North Weir", "South Weir"):
            code = name.lower().replace(" ", "-")
            for words in (
                ["init", "--site", name, "--zone", "UTC"],
                ["import", *map(str, files), "--site", code, "--by", "bench"],
            ):
                command = [sys.executable, "-m", "dashboard.cli", *words, "--book", there]
                began = time.perf_counter()
                subprocess.run(command, cwd=folder, check=True, stdout=subprocess.DEVNULL, env=_here())
        found["imported_jobs_a_s"] = jobs / (time.perf_counter() - began)
        engine = make_engine(settings)
        with engine.begin() as connection:
            names = "', '".join(HISTORY)
            whole = connection.exec_driver_sql(
                "SELECT sum(pg_total_relation_size(c.oid)) FROM pg_class c LEFT JOIN pg_inherits i ON i.inhrelid = c.oid "
                "LEFT JOIN pg_class p ON p.oid = i.inhparent "
                f"WHERE c.relkind = 'r' AND (c.relname IN ('{names}') OR p.relname IN ('{names}'))"
            ).scalar_one()
            held = connection.exec_driver_sql("SELECT count(*) FROM job").scalar_one()
        found["bytes_a_job"] = float(whole) / held
        began = time.perf_counter()
        for site in range(3, parts + 1):
            with locked(engine) as connection:
                connection.exec_driver_sql(f"INSERT INTO site (id, code) VALUES ({site}, 'site-{site}')")
                assert make_parts(connection, [site])
        found["parts"], found["make_parts_ms"] = float(parts), (time.perf_counter() - began) * 1000 / max(parts - 2, 1)
        found |= _planned(engine)
        engine.dispose()
    return found


def _here() -> dict[str, str]:
    import os

    return os.environ | {"PYTHONPATH": str(ROOT)}


def _planned(engine: sa.Engine) -> dict[str, float]:
    """Plan and run a question about one site beside the same about all, and count the locks that the latter takes."""
    found: dict[str, float] = {}
    with engine.connect() as connection, connection.begin():
        entry = connection.exec_driver_sql("SELECT max(entry) FROM job").scalar_one()
    for name, where in (("one_site", f"site_id = 2 AND entry = {entry}"), ("all_sites", f"entry = {entry}")):
        took = []
        for _ in range(5):
            with engine.connect() as connection, connection.begin():
                began = time.perf_counter()
                try:
                    connection.exec_driver_sql(f"SELECT ref FROM job WHERE {where}").all()
                except sa.exc.OperationalError as fault:
                    print(f"{name}: {str(fault.orig).splitlines()[0]}")
                    return found
                took.append((time.perf_counter() - began) * 1000)
                asked = "SELECT count(*) FROM pg_locks WHERE pid = pg_backend_pid()"
                found[f"{name}_locks"] = float(connection.exec_driver_sql(asked).scalar_one())
        found[f"{name}_ms"] = sorted(took)[2]
    return found


def arithmetic(of: Figures) -> list[str]:
    """Give what 1,000 sites with 100,000 jobs each would take, by these figures."""
    jobs, a_site = SITES * JOBS_A_SITE, of.jobs / of.sites
    each_us = of.one_processor_s / of.jobs * 1e6
    hours = each_us / 1e6 * jobs / 3600
    peak = max(of.worker_peak_mib)
    large = of.idle_mib + (peak - of.idle_mib) * JOBS_A_SITE / a_site
    spread = of.one_s / of.many_s / of.workers
    bytes_a_job = of.columns_bytes / of.jobs
    words = f"for {SITES:,} sites with {JOBS_A_SITE:,} jobs each, {jobs / 1e6:,.0f} million, every site studied from nothing:"
    time_said = f"{each_us:.1f} µs of processor a job, {hours:.2f} hours of one core"
    lines = [
        words,
        f"  {time_said}; {hours * 60 / 16 / min(spread, 1.0):.1f} minutes on 16 cores that are as busy as these {of.workers}",
        f"  a worker held {peak:.0f} MiB at a site of {a_site:,.0f} jobs, {of.idle_mib:.0f} MiB after a very small one",
        f"  by proportion {large:,.0f} MiB at a site of {JOBS_A_SITE:,}",
        f"  columns: {bytes_a_job:.0f} bytes a job, {bytes_a_job * jobs / 1e9:.1f} GB",
    ]
    if a_site < JOBS_A_SITE / 2:
        lines.insert(
            1,
            "  (much of what small sites take does not grow with them: measure with --jobs 100000 before you rely on this)",
        )
    if of.server:
        lines.append(
            f"  PostgreSQL: {of.server['bytes_a_job']:,.0f} bytes a job with statements and indexes, "
            f"{of.server['bytes_a_job'] * jobs / 1e9:,.0f} GB"
        )
        lines.append(f"  importing all of them, one writer: {jobs / of.server['imported_jobs_a_s'] / 3600:,.1f} hours")
    return lines


def measure(sites: int, jobs: int, workers: int) -> Figures:
    """Make the sites and study them both ways."""
    with tempfile.TemporaryDirectory(prefix="driftbook-bench-") as name:
        folder = Path(name)
        # Each in a process of its own: the peak of one must not stand in the way of the other.
        with multiprocessing.get_context("spawn").Pool(1, maxtasksperchild=1) as pool:
            found = Figures(sites, pool.apply(make_sites, (folder, sites, jobs)), workers)
            one, found.one_s, found.one_processor_s, found.idle_mib, found.one_peak_mib = pool.apply(alone, (folder,))
        found.columns_bytes = sum(path.stat().st_size for path in folder.rglob("*.*") if path.is_file())
        many, found.many_s, found.many_start_s, found.many_processor_s, found.worker_peak_mib = together(
            folder, workers
        )
        found.same = one == many
        found.plain_s, found.plain_processor_s = side_by_side(folder, workers)
    return found


def show(of: Figures) -> None:
    """Print what was measured."""
    print(f"{of.sites} sites, {of.jobs:,} jobs")
    print(f"{'':28}{'seconds':>9}{'processor s':>13}{'peak MiB':>10}")
    print(f"{'one process':28}{of.one_s:>9.2f}{of.one_processor_s:>13.2f}{of.one_peak_mib:>10.0f}")
    print(
        f"{f'{of.workers} workers':28}{of.many_s:>9.2f}{of.many_processor_s:>13.2f}{max(of.worker_peak_mib):>10.0f}"
        f"   (a worker; {of.many_start_s:.1f} s to start them)"
    )
    print(f"{f'{of.workers} plain processes':28}{of.plain_s:>9.2f}{of.plain_processor_s:>13.2f}")
    print(f"workers against the floor {of.many_s / of.plain_s:.2f} times as long")
    print(f"ratio of times {of.one_s / of.many_s:.2f}; the same figures to the last bit: {'yes' if of.same else 'NO'}")


def main() -> None:
    """Measure, print, and fail where the figures of both ways differ."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sites", type=int, default=10)
    parser.add_argument("--jobs", type=int, default=20_000, help="jobs of each site, about")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--parts", type=int, default=1_000, help="sites to set up on a server of its own; 0 starts none"
    )
    parser.add_argument("--server-jobs", type=int, default=5_000, help="jobs to import there at each of two sites")
    given = parser.parse_args()
    found = measure(given.sites, given.jobs, given.workers)
    show(found)
    if given.parts:
        found.server = on_server(given.parts, given.server_jobs)
    for name, value in found.server.items():
        print(f"  {name:20}{value:>12,.1f}")
    print("\n".join(arithmetic(found)))
    as_json: dict[str, Any] = asdict(found)
    print(json.dumps(as_json))
    if not found.same:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
