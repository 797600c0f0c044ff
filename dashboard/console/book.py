"""The subcommands init, upgrade, template and site."""

from __future__ import annotations

import argparse
from importlib.resources import as_file, files
from pathlib import Path

from dashboard.console.common import now, opened, out, settings_of, who
from models.commands.init_book import init_book
from models.commands.seal_book import seal_book
from models.commands.set_site import set_site
from models.errors import DriftbookError
from models.intake.limit_file import read_limit_set
from models.intake.template import write_csv_files, write_workbook
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import site_of
from models.store.revision import missing, needed_revision, revision_of, upgrade
from models.units import Display
from models.values.limits import LimitSet
from models.values.story import Site


def starter_limits(by: str) -> LimitSet:
    """Read the starter limit set that ships with the tool, adopted today."""
    with as_file(files("seed_data") / "starter_limits.toml") as path:
        return read_limit_set(path, adopted_by=by, adopted_on=now().date())


def run_init(given: argparse.Namespace) -> int:
    """Make a book or add a site."""
    settings, by = settings_of(given), who(given)
    limit_set = (
        read_limit_set(Path(given.limits), adopted_by=by, adopted_on=now().date())
        if given.limits
        else starter_limits(by)
    )
    display = Display(given.units, f"°{given.temperature}")
    site = init_book(
        settings,
        name=given.site,
        zone=given.zone,
        display=display,
        limit_set=limit_set,
        by=by,
        now=now(),
        interval_months=given.interval,
    )
    out.print(
        f"The book {settings.shown} holds the site '{site.name}' ({site.code}), {site.zone}, in {display.length} and {display.temperature}."
    )
    if limit_set.starter:
        out.print(
            "Its limits are the starter set: a starting point, to be replaced by the limits of the coupling's or the machine's maker"
        )
        out.print("or by the site's own standard.")
    out.print("Next: driftbook template, or driftbook import FILE")
    return 0


def run_upgrade(given: argparse.Namespace) -> int:
    """Bring a book to the revision of this version."""
    settings = settings_of(given)
    if settings.is_file and not settings.path.exists():
        raise missing(settings)
    engine = make_engine(settings)
    found = revision_of(engine)
    engine.dispose()
    if found is None:
        raise missing(settings)
    copy = None
    if found == needed_revision():
        out.print(f"The book {settings.shown} is at revision {found} already.")
    else:
        if not settings.is_file and not given.i_have_a_backup:
            raise DriftbookError(
                f"The book {settings.shown} lies on a database server, which is not copied aside: nothing was changed.",
                remedy="Make a backup with the version that wrote it (driftbook backup) or with the server's own tools, "
                "then say so: driftbook upgrade --i-have-a-backup",
            )
        copy = upgrade(settings)
        out.print(f"The book {settings.shown} went from revision {found} to {needed_revision()}.")
    if copy:
        out.print(f"A copy of it as it was is {copy}.")
    sealed = seal_book(settings, by=who(given), now=now())
    if not sealed and found == needed_revision():
        out.print("Nothing to do.")
    if sealed:
        out.print(
            f"Sealed {sealed:,} entries that had no statement: from now on a change behind the tool's back is noticed."
        )
    return 0


def run_template(given: argparse.Namespace) -> int:
    """Write the template."""
    display = Display(given.units)
    if given.csv:
        paths = write_csv_files(Path(given.csv), display)
        out.print("Wrote " + ", ".join(str(path) for path in paths))
        return 0
    path = Path(given.file)
    if path.suffix.lower() != ".xlsx":
        raise DriftbookError(
            f"The template is a workbook, not '{path.suffix or path.name}'.",
            remedy="Give a name that ends in .xlsx, or --csv FOLDER.",
        )
    if path.exists():
        raise DriftbookError(
            f"{path} is there already and is not overwritten.", remedy="Give another name: driftbook template NAME.xlsx"
        )
    write_workbook(path, display)
    out.print(f"Wrote {path}. Fill it, then: driftbook import {path}")
    return 0


def run_site(given: argparse.Namespace) -> int:
    """Show or change how a site is set."""
    settings = settings_of(given)
    with opened(settings) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        asked = (given.units, given.temperature, given.zone, given.interval)
        if any(value is not None for value in asked):
            display = Display(
                given.units or site.display.length,
                f"°{given.temperature}" if given.temperature else site.display.temperature,
            )
            site = set_site(
                engine, site, by=who(given), now=now(), display=display, zone=given.zone, interval_months=given.interval
            )
    _show(settings, site)
    return 0


def _show(settings: Settings, site: Site) -> None:
    out.print(
        f"{site.name} ({site.code}) in {settings.shown}: {site.zone}; lengths in {site.display.length}, "
        f"temperatures in {site.display.temperature}; next check {site.interval_months} months after the last."
    )
