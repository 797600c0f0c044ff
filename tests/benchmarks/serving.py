"""How many requests a second the server answers, beside other servers where they are installed.

``python -m tests.benchmarks.serving [--seconds 4] [--runs 3]``

The demo is served by each server as a process of its own; a second process
asks over loopback on eight kept connections: an empty callback, and the callback that
fills a page.  The servers take turns, so that a busy machine slows all of
them.  gunicorn and granian are no dependencies: they are measured where they
can be imported (``PYTHONPATH`` may name a folder that holds them).
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
import os
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
BOOK = "DRIFTBOOK_BENCH_BOOK"
CONNECTIONS = 8
PATH = "/_dash-update-component"


def make() -> Any:
    """Make the application with two more callbacks, and warm it up; the servers call this in each of their processes."""
    from dashboard.app import create_app
    from dashboard.server import warm_up
    from models.settings import Settings
    from models.store.engine import make_engine
    from models.store.reader import Reader
    from tests.benchmarks.callbacks import add_peers, whole_picture

    settings = Settings(book=os.environ[BOOK])
    reader = Reader(make_engine(settings))
    app = create_app(settings, reader)
    add_peers(app)
    warm_up(app)
    whole_picture(app, reader)
    return app


def application() -> Any:
    """Give the WSGI application."""
    return make().server


def bodies() -> dict[str, bytes]:
    """Write the two questions."""
    from tests.benchmarks.callbacks import EMPTY, Asker, whole_picture
    from tests.benchmarks.questions_asked import Question, names_of, questions

    app = make()
    from dashboard.context import KEY

    here = app.server.config[KEY]
    asker = Asker(app)
    history = whole_picture(app, here.book)
    page = next(
        one
        for one in questions(names_of(here.book, history))
        if one.page.startswith("offenders") or one.callback.startswith("offenders")
    )
    empty = Question("", EMPTY, "", {"url.pathname": "/"})
    return {
        name: json.dumps(asker.body(one)).encode()
        for name, one in (("empty callback", empty), ("offenders page", page))
    }


def commands(port: int) -> dict[str, list[str]]:
    """Give how each server that is installed is started."""
    at = f"127.0.0.1:{port}"
    found = {
        "waitress, 1 process × 8 threads": [sys.executable, "-m", "tests.benchmarks.serving", "--serve", str(port)],
    }
    if find_spec("gunicorn"):
        plain = [sys.executable, "-m", "gunicorn", "-b", at, "--log-level", "error", "--no-control-socket"]
        target = "tests.benchmarks.serving:application()"
        found["gunicorn, 1 × 8"] = [*plain, "-w", "1", "--threads", "8", target]
        found["gunicorn, 2 × 4"] = [*plain, "-w", "2", "--threads", "4", target]
    if find_spec("granian"):
        plain = [sys.executable, "-m", "granian", "--host", "127.0.0.1", "--port", str(port), "--interface", "wsgi"]
        plain += ["--log-level", "error", "--factory"]
        target = "tests.benchmarks.serving:application"
        found["granian, 1 × 8"] = [*plain, "--workers", "1", "--blocking-threads", "8", target]
        found["granian, 2 × 4"] = [*plain, "--workers", "2", "--blocking-threads", "4", target]
    return found


@contextlib.contextmanager
def serving(command: list[str], port: int) -> Iterator[None]:
    """Start a server and wait until it answers."""
    process = subprocess.Popen(command, cwd=ROOT, start_new_session=True)
    try:
        until = time.monotonic() + 90
        while time.monotonic() < until:
            with contextlib.suppress(OSError):
                line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
                line.request("GET", "/healthz")
                if line.getresponse().status == 200:
                    break
            time.sleep(0.2)
        yield
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def ask(port: int, body: bytes, seconds: float) -> dict[str, float]:
    """Ask on several connections for some seconds; gives requests a second and times. [1/s, ms]."""
    times: list[list[float]] = [[] for _ in range(CONNECTIONS)]
    until = time.perf_counter() + seconds

    def run(kept: list[float]) -> None:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        while time.perf_counter() < until:
            began = time.perf_counter()
            line.request("POST", PATH, body, {"Content-Type": "application/json"})
            answer = line.getresponse()
            answer.read()
            if answer.status not in {200, 204}:
                raise SystemExit(f"status {answer.status}")
            kept.append((time.perf_counter() - began) * 1000)

    threads = [threading.Thread(target=run, args=(kept,)) for kept in times]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    spent = time.perf_counter() - began
    every = sorted(one for kept in times for one in kept)
    return {
        "requests_s": len(every) / spent,
        "median_ms": statistics.median(every),
        "p99_ms": every[int(len(every) * 0.99)],
    }


def asked_from_outside(port: int, body: bytes, seconds: float) -> dict[str, float]:
    """Ask from a process of its own."""
    with tempfile.NamedTemporaryFile() as kept:
        kept.write(body)
        kept.flush()
        done = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.serving", "--ask", str(port), kept.name, str(seconds)],
            cwd=ROOT, capture_output=True, text=True, check=True,
        )  # fmt: skip
    found: dict[str, float] = json.loads(done.stdout)
    return found


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


def main() -> None:
    """Run the benchmark and print the table and the JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=4.0)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--serve", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--ask", nargs=3, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.serve:
        from dashboard.server import serve

        serve(make(), "127.0.0.1", given.serve, lambda _address: None)
        return
    if given.ask:
        port, body, seconds = given.ask
        print(json.dumps(ask(int(port), Path(body).read_bytes(), float(seconds))))
        return
    from tests.benchmarks.callbacks import demo

    with tempfile.TemporaryDirectory(prefix="driftbook-bench-") as folder:
        os.environ[BOOK] = str(demo(Path(folder)))
        asked = bodies()
        runs: dict[tuple[str, str], list[dict[str, float]]] = {}
        for _ in range(given.runs):
            for name in commands(0):
                port = free_port()
                with serving(commands(port)[name], port):
                    for what, body in asked.items():
                        asked_from_outside(port, body, 1.0)
                        runs.setdefault((name, what), []).append(asked_from_outside(port, body, given.seconds))
    results = [
        {"server": name, "asked": what} | {key: statistics.median(one[key] for one in every) for key in every[0]}
        for (name, what), every in runs.items()
    ]
    print(f"{'server':34} {'asked':16} {'requests/s':>10} {'median ms':>10} {'p99 ms':>8}")
    for one in results:
        print(
            f"{one['server']:34} {one['asked']:16} {one['requests_s']:10.0f} {one['median_ms']:10.1f} {one['p99_ms']:8.1f}"
        )
    print(json.dumps(results))


if __name__ == "__main__":
    main()
