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

import pytest

from tests.browser_path import find_browser


def say(text: str) -> None:
    print(f"tests: {text}", flush=True)


def get_browser() -> str | None:
    found = find_browser()
    if found:
        say(f"the browser tests use {found}.")
        return found
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    if root and shutil.which("apt-get"):
        say("no browser found; installing Debian's packages chromium and fonts-dejavu-core with apt-get.")
        quiet = {"env": {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}, "stdout": subprocess.DEVNULL}
        subprocess.run(["apt-get", "update", "-qq"], check=False, **quiet)  # type: ignore[call-overload]
        subprocess.run(["apt-get", "install", "-y", "-qq", "chromium", "fonts-dejavu-core"], check=False, **quiet)  # type: ignore[call-overload]
    else:
        say("no browser found; asking the browser tool to install its own (python -m playwright install chromium).")
        subprocess.run([sys.executable, "-m", "playwright", "install", "chromium"], check=False)
    found = find_browser()
    if found:
        say(f"installed; the browser tests use {found}.")
    return found


def main(arguments: list[str]) -> int:
    given = [argument for argument in arguments if argument != "--without-browser"]
    if "--without-browser" in arguments:
        say("the browser tests are left out, as asked.")
        given += ["-m", "not browser"]
    elif get_browser() is None:
        say("there is no browser and none could be installed. Install Chromium and run this again,")
        say("or run the rest with --without-browser.")
        return 2
    return int(pytest.main(["-q", *given]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
