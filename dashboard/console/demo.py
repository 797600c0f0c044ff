"""The subcommand demo: an invented plant, through the same import as any other, in the browser."""

from __future__ import annotations

import argparse
import shutil
import tempfile
from pathlib import Path

from dashboard.console.book import starter_limits
from dashboard.console.common import now, opened, out
from dashboard.console.importing import import_with_bar, show_report
from dashboard.console.serving import begin_log, free_port, serve_book
from models.commands.init_book import init_book
from models.commands.report import Source
from models.errors import DriftbookError
from models.intake.mapping import propose
from models.intake.reading import read_sheets
from models.settings import Settings
from models.units import Display

_GREETING = "The plant, its machines, people and numbers are invented."


def run_demo(given: argparse.Namespace) -> int:
    """Make the demo and serve it."""
    from dashboard.cli import DEFAULT_PORT

    port = given.port if given.port is not None else free_port(given.host, DEFAULT_PORT)
    begin_log("quiet")
    if given.temporary:
        with tempfile.TemporaryDirectory(prefix="driftbook-") as passing:
            settings = make_demo(Path(passing), Display(given.units))
            serve_book(settings, given.host, port, greeting=_GREETING)
        return 0
    folder = Path(given.folder)
    settings = Settings(book=str(folder / "driftbook.db"), mappings=folder / "mappings")
    if given.fresh:
        _clear(folder)
    if settings.path.exists():
        out.print(f"The demo is in {folder} already; --fresh makes it anew.")
    else:
        settings = make_demo(folder, Display(given.units))
    serve_book(settings, given.host, port, greeting=_GREETING)
    return 0


def _clear(folder: Path) -> None:
    """Remove an earlier demo, but never a folder that holds something else."""
    if not folder.exists():
        return
    if not (folder / "truths.json").exists():
        raise DriftbookError(
            f"{folder} does not look like a demo and is left alone.", remedy="Give another folder: --folder NAME."
        )
    shutil.rmtree(folder)


def make_demo(folder: Path, display: Display) -> Settings:
    """Write the invented plant's files and import them into a new book.

    Parameters
    ----------
    folder : pathlib.Path
        Where to; made if it is missing. [unitless]
    display : Display
        Units of the site. [unitless]
    """
    from seed_data.generate import generate, write

    folder.mkdir(parents=True, exist_ok=True)
    settings = Settings(book=str(folder / "driftbook.db"), mappings=folder / "mappings")
    half = Settings(book=str(folder / "making.db"), mappings=folder / "mappings", key=settings.key_path)
    half.path.unlink(missing_ok=True)
    plant = generate()
    out.print(f"Making the invented plant '{plant.name}' in {folder} …")
    written = write(folder, plant)
    site = init_book(
        half,
        name=plant.name,
        zone=plant.zone,
        display=display,
        limit_set=starter_limits("demo", plant.zone),
        by="demo",
        now=now(),
    )
    sources: list[Source] = []
    for path in written:
        sheets = read_sheets(path)
        sources.extend(
            Source(sheet, mapping) for sheet, mapping in zip(sheets, propose(sheets, display).sheets, strict=True)
        )
    with opened(half) as engine:
        report = import_with_bar(engine, site, sources, by="demo")
    show_report(report, warnings=False)
    if not report.written:
        raise DriftbookError("The demo's own files have problems; this is a fault of driftbook.", remedy="Report it.")
    half.path.rename(settings.path)  # a demo that was interrupted is made anew the next time
    return settings
