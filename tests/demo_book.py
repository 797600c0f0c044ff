"""The demo, made once in a run of the tests and copied for whoever wants one of their own."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

from dashboard.console.demo import make_demo
from models.settings import Settings
from models.units import Display


def demo_in(folder: Path, display: Display) -> Settings:
    """Put a demo of one's own into a folder: its files and its book.

    Parameters
    ----------
    folder : pathlib.Path
        Where to. [unitless]
    display : Display
        Units of the site. [unitless]
    """
    shutil.copytree(_made(display), folder, dirs_exist_ok=True)
    return Settings(book=str(folder / "driftbook.db"), mappings=folder / "mappings")


@cache
def _made(display: Display) -> Path:
    folder = Path(tempfile.mkdtemp(prefix="driftbook-demo-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    made = make_demo(folder, display)
    assert made == Settings(book=str(folder / "driftbook.db"), mappings=folder / "mappings")
    return folder
