"""Where a browser is, and how to get one: used by the command that runs the tests and by the browser tests."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")


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


def _own_of_the_tool() -> str | None:
    try:
        from playwright.sync_api import sync_playwright
    except ModuleNotFoundError:
        return None
    with sync_playwright() as tool:
        path = tool.chromium.executable_path
    return path if Path(path).exists() else None
