"""Where a browser is, and how to get one: used by the command that runs the tests and by the browser tests."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

SHELL = "chromium-headless-shell"
"""The same browser without windows, as Debian packs it: it takes half the processor's time."""

NAMES = (SHELL, "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")


def find_browser() -> str | None:
    """Give the path of a Chromium-like browser, or ``None``.

    ``DRIFTBOOK_BROWSER`` names one; then the search path; then the one that the browser tool has installed itself.
    """
    given = os.environ.get("DRIFTBOOK_BROWSER")
    if given:
        return given
    for name in NAMES:
        path = shutil.which(name)
        if path:
            return path
    return _own_of_the_tool()


def driver_runs() -> bool:
    """Tell whether the browser tool's own program starts: on a small system a library of it may be missing."""
    command = [sys.executable, "-m", "playwright", "--version"]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def _own_of_the_tool() -> str | None:
    """Give the browser that the tool has installed, asked in a process of its own: a driver that fails would hang on."""
    code = "from playwright.sync_api import sync_playwright as s\nwith s() as t: print(t.chromium.executable_path)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    path = done.stdout.strip()
    return path if done.returncode == 0 and path and Path(path).exists() else None
