"""Run all tests: ``python -m tests``.

Looks for a browser first, and gets one where none is found: Debian's package
as root, the browser tool's own installer elsewhere; it says what it did.
Options after the command go to pytest; ``--without-browser`` leaves the
browser tests out, and says so.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.browser_path import SHELL, driver_runs, find_browser


def say(text: str) -> None:
    print(f"tests: {text}", flush=True)


QUIET: dict[str, Any] = {"env": {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}, "stdout": subprocess.DEVNULL}


@cache
def debian_lists() -> None:
    """Ask once what packages there are."""
    subprocess.run(["apt-get", "update", "-qq"], check=False, **QUIET)


def debian(*packages: str) -> None:
    """Install Debian's packages; says nothing itself."""
    debian_lists()
    subprocess.run(["apt-get", "install", "-y", "-qq", *packages], check=False, **QUIET)


def get_browser() -> str | None:
    """Find a browser, or get one, and say what was done."""
    root = hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("apt-get") is not None
    if root and shutil.which(SHELL) is None and "DRIFTBOOK_BROWSER" not in os.environ:
        say(
            f"installing Debian's packages {SHELL} and fonts-dejavu-core with apt-get: a browser without windows is quicker."
        )
        debian(SHELL, "fonts-dejavu-core")
    found = find_browser()
    if found is None and root:
        say("no browser found; installing Debian's packages chromium and fonts-dejavu-core with apt-get.")
        debian("chromium", "fonts-dejavu-core")
        found = find_browser()
    if not driver_runs():
        if not root:
            say("the browser tool's program does not start; on Debian it needs the package libatomic1.")
            return None
        say("the browser tool needs a library; installing Debian's package libatomic1 with apt-get.")
        debian("libatomic1")
    if found is None:
        say("no browser found; asking the browser tool to install its own (python -m playwright install chromium).")
        subprocess.run([sys.executable, "-m", "playwright", "install", "chromium"], check=False)
        found = find_browser()
    if found:
        say(f"the browser tests use {found}.")
    return found


def get_office() -> None:
    """Find LibreOffice, or get it where that is one command; without it the test that opens our files in it is skipped."""
    if shutil.which("soffice"):
        return
    if hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("apt-get") is not None:
        say("no LibreOffice found; installing Debian's package libreoffice-calc-nogui with apt-get.")
        debian("--no-install-recommends", "libreoffice-calc-nogui")
    if shutil.which("soffice") is None:
        say(
            "there is no LibreOffice: the test that opens CSV and XLSX in it is skipped. On Debian it is libreoffice-calc-nogui."
        )


def main(arguments: list[str]) -> int:
    given = [argument for argument in arguments if argument != "--without-browser"]
    if "--without-browser" in arguments:
        say("the browser tests are left out, as asked.")
        given += ["-m", "not browser"]
    elif get_browser() is None:
        say("there is no browser and none could be installed. Install Chromium and run this again,")
        say("or run the rest with --without-browser.")
        return 2
    # The tests start the command some hundred times: without compiled code each start takes twice as long.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    if not given:
        return in_three()
    get_office()
    return int(pytest.main(["-q", *given]))


FAULTS = "faults"
OFFICE = ("test_dashboard_files_libreoffice.py", "test_models_intake_spoilt_xls.py")
LAST = ("test_kill_import.py", "test_readme.py", *OFFICE)
"""What starts many processes and is long, or needs LibreOffice, which is got meanwhile: it runs after other parts, so that all three runs
end at about the same time."""

MEMORY, ROOM = Path("/dev/shm"), 4 << 30  # noqa: S108 - a folder of one's own is made in it
"""A folder that lies in memory on Linux, and how much has to be free there. [byte]"""


@contextmanager
def quick_folder() -> Iterator[dict[str, str]]:
    """Give what sends the passing files of the tests into memory, where that is large enough: most tests wait for the disk."""
    found = os.statvfs(MEMORY) if hasattr(os, "statvfs") and MEMORY.is_dir() else None
    if "TMPDIR" in os.environ or found is None or found.f_bavail * found.f_frsize < ROOM or found.f_flag & os.ST_NOEXEC:
        yield {}
        return
    with tempfile.TemporaryDirectory(prefix="driftbook-tests-", dir=MEMORY, ignore_cleanup_errors=True) as folder:
        Path(folder).chmod(0o755)  # the database server of the tests runs as a user of its own
        yield {"TMPDIR": folder}


def in_three() -> int:
    """Run the browser tests, and every second file of the others and then what is long, beside the rest: most tests wait a good deal.

    Two of these go on at once, beside the first half of the others.
    """
    here = Path(__file__).parent
    browser = sorted(str(path) for path in here.glob("test_browser_*.py"))
    last = [str(here / name) for name in LAST]
    others = sorted({str(path) for path in here.glob("test_*.py")}.difference(browser, last))
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"]
    started = time.monotonic()
    with (
        quick_folder() as quick, ThreadPoolExecutor(1) as getting, ThreadPoolExecutor(2) as beside, tempfile.TemporaryDirectory() as folder,
    ):  # fmt: skip
        office = getting.submit(get_office)
        say(
            "three runs go on beside each other; what the browser tests and every second of the others say comes at the end."
        )

        def run(place: int, paths: list[str], more: dict[str, str]) -> int:
            if paths is last:
                office.result()
            with (Path(folder) / str(place)).open("wb") as told:
                done = subprocess.run(
                    [*command, *paths], stdout=told, stderr=subprocess.STDOUT, check=False, env=os.environ | more
                )
            return done.returncode

        # Whoever is done first takes what comes next; faults of disks need one, and no memory in its place.
        parts: list[tuple[list[str], dict[str, str]]] = [
            (browser, {}),
            (others[1::2], quick),
            (last, {}),
            ([str(here / FAULTS)], {}),
        ]
        answers = [beside.submit(run, place, paths, more) for place, (paths, more) in enumerate(parts)]
        try:
            first = subprocess.run([*command, *others[::2]], env=os.environ | quick, check=False)
        except BaseException:
            beside.shutdown(wait=False, cancel_futures=True)  # whoever stops the run stops all of it
            raise
        codes = [first.returncode, *(answer.result() for answer in answers)]
        say("the tests beside say:")
        for place in range(len(parts)):
            print((Path(folder) / str(place)).read_text(encoding="utf-8", errors="replace"), flush=True)
    say(f"all of it took {time.monotonic() - started:.0f} s.")
    return next((code for code in codes if code), 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
