"""Take pictures of every page and state: ``python -m tests.pictures FOLDER``; ``--tour`` takes those of the README.

A demo book, an empty book and a book with one job are made in a temporary
folder and served in this process.  Pictures are for looking at, not for
comparing.
"""

from __future__ import annotations

import argparse
import tempfile
import threading
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from dashboard.app import create_app
from dashboard.console.book import starter_limits
from dashboard.console.demo import make_demo
from dashboard.desk import BookDesk
from dashboard.server import open_server, port_of
from models.commands.init_book import init_book
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import site_of
from models.store.reader import Reader
from models.units import Display
from tests.browser_tools import FLAGS, browser_program
from tests.seeded import ASSETS, JOBS, bring_in, write

NOW = datetime(2026, 11, 25, 8, tzinfo=UTC)
SIZES = {"wide": (1440, 900), "narrow": (390, 844)}
PAGES = {
    "month": "/",
    "month-quiet": "/?month=2020-12",
    "month-none": "/?month=2019-01",
    "month-jobs": "/?month=2026-10&jobs=found",
    "offenders": "/offenders",
    "offenders-all": "/offenders?window=all",
    "offenders-filtered": "/offenders?window=all&area=Sea+intake&coupling=short",
    "due": "/due",
    "due-rule": "/due?by=rule&month=2026-12",
    "machines": "/asset",
    "asset-spacer": "/asset/DS-P-204A",
    "asset-settling": "/asset/BH-P-711A",
    "asset-mil": "/asset/SI-P-101A?units=mil",
    "asset-unknown": "/asset/NO-SUCH-1",
    "record": "/record",
    "record-machine": "/record?asset=SI-P-101A",
    "asset-other-limits": "/asset/SI-P-101A?limits=today&risk=20",
    "asset-one-job": "/asset/AL-P-403B",
    "book": "/book",
    "book-nothing": "/book?asset=zzz",
    "book-entry": "/book/700",
    "book-file": "/book/4",
    "people": "/people",
    "people-rests": "/people?instrument=NV-D-004&since=2026-07-09",
    "limits": "/limits",
    "import": "/import",
    "site": "/site",
    "limits-trial": "/limits?offset=80&angle=700",
    "lost": "/no-such-page",
}
SMALL = {
    "month": "/",
    "offenders": "/offenders",
    "due": "/due",
    "machines": "/asset",
    "asset": "/asset/P-1",
    "record": "/record?asset=P-1",
}
TOUR = {
    "month": ("/", 1440, 1180, "light"),
    "offenders": ("/offenders", 1440, 1000, "light"),
    "asset": ("/asset/SI-P-101A", 1440, 1300, "light"),
    "record": ("/record?asset=SI-P-101A", 1440, 1200, "light"),
    "phone": ("/", 390, 844, "dark"),
}

OWN_LIST = """Equipment;Date;Reason;People;As found offset V;As found angle V;As found offset H;As found angle H
SI-P-101A;2026-11-20;PM;Ana Wick;1,8;0,3;-0,9;0,2
SI-P-101B;2026-11-20;PM;Ana Wick;2,2;0,4;1,1;-0,1
BH-P-711A;2026-11-23;growls;Bo Tarn;3.1 mil;0,5;-1,4;0,3
"""
"""A list of an invented plant in words of its own, and with units that only people know."""


def serve(settings: Settings) -> str:
    engine = make_engine(settings)
    server = open_server(create_app(settings, Reader(engine), clock=lambda: NOW, desk=BookDesk(engine)), "127.0.0.1", 0)
    threading.Thread(target=server.run, daemon=True).start()
    return f"http://127.0.0.1:{port_of(server)}"


def small_book(folder: Path, name: str, *, jobs: int) -> Settings:
    settings = Settings(book=str(folder / f"{name}.db"))
    init_book(
        settings,
        name="Small Quay (invented)",
        zone="Europe/Lisbon",
        display=Display(),
        limit_set=starter_limits("pictures"),
        by="pictures",
        now=NOW,
    )
    if jobs:
        engine = make_engine(settings)
        with engine.connect() as connection:
            site = site_of(connection, None)
        lines = JOBS.splitlines()
        bring_in(engine, site, *write(folder, assets=ASSETS, jobs="\n".join([lines[0], *lines[2 : 2 + jobs]])))
        engine.dispose()
    return settings


def show(browser: Browser, url: str, width: int, height: int, scheme: str) -> Page:
    page = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme).new_page()  # type: ignore[arg-type]
    page.goto(url)
    page.locator("main h1").first.wait_for()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(700)  # pictures only: the figures draw after the last request
    return page


def take_all(browser: Browser, folder: Path, books: dict[str, tuple[str, dict[str, str]]]) -> None:
    for book, (address, pages) in books.items():
        for name, path in pages.items():
            for size, (width, height) in SIZES.items():
                for scheme in ("light", "dark"):
                    page = show(browser, address + path, width, height, scheme)
                    page.screenshot(path=folder / f"{book}-{name}-{size}-{scheme}.png", full_page=True)
                    page.context.close()


def take_import(browser: Browser, folder: Path, work: Path, demo: str) -> None:
    """Take the picture of a file that was sent and is looked at."""
    path = work / "alignment november.csv"
    path.write_text(OWN_LIST, encoding="utf-8")
    page = show(browser, f"{demo}/import", 1440, 1500, "light")
    page.set_input_files("#file", path)
    page.locator("main button.main").click()
    page.locator(".mapping").wait_for()
    page.screenshot(path=folder / "import.png")
    page.context.close()


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tour", action="store_true")
    given = parser.parse_args(arguments)
    given.folder.mkdir(parents=True, exist_ok=True)
    program = browser_program()
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as tool:
        work = Path(temporary)
        demo = serve(make_demo(work / "demo", Display()))
        browser = tool.chromium.launch(args=FLAGS, **({"executable_path": program} if program else {}))
        if given.tour:
            for name, (path, width, height, scheme) in TOUR.items():
                page = show(browser, demo + path, width, height, scheme)
                page.screenshot(path=given.folder / f"{name}.png")
                page.context.close()
            take_import(browser, given.folder, work, demo)
        else:
            books = {
                "demo": (demo, PAGES),
                "empty": (serve(small_book(work, "empty", jobs=0)), SMALL),
                "one": (serve(small_book(work, "one", jobs=1)), SMALL),
            }
            take_all(browser, given.folder, books)
        browser.close()


if __name__ == "__main__":
    main()
