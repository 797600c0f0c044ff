"""The subcommand calendar: the dates of the next checks as a file, and the secret addresses of the feed."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from dashboard.console.common import now, opened, out, settings_of
from dashboard.console.whole import put_new
from dashboard.writing import counted
from models.errors import DriftbookError
from models.settings import Settings
from models.store.calendar_addresses import end_addresses, make_address, read_addresses
from models.store.known import site_of
from models.store.reader import Reader
from models.values.story import Site


def run_calendar(given: argparse.Namespace) -> int:
    """Write the calendar, or make, end or list addresses."""
    settings = settings_of(given)
    with opened(settings) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        if given.act == "write":
            return _write(given, settings, engine, site)
        if given.act == "list":
            return _list(engine, site)
        if not given.name:
            raise DriftbookError(
                "It is not said whose address.", remedy=f'Say it: driftbook calendar {given.act} "NAME"'
            )
        if given.act == "end":
            ended = end_addresses(engine, site.site_id, given.name, now())
            out.print(f"{ended} of the addresses of {given.name} worked; they do no more.", markup=False)
            return 0
        secret, address = make_address(engine, site.site_id, given.name, now())
    out.print(
        f"The address of {address.person} for {site.name}; it is shown this once, and whoever knows it can read what is due:",
        markup=False,
        soft_wrap=True,
    )
    out.print(f"  http://THE-SERVER/calendar/{secret}.ics", markup=False, soft_wrap=True)
    out.print(
        "Put the name and port of your own server in its place, and give it to a calendar program as a subscription."
    )
    return 0


def _write(given: argparse.Namespace, settings: Settings, engine: sa.Engine, site: Site) -> int:
    from dashboard.files.recheck_calendar import recheck_calendar
    from dashboard.picture import patient

    history = Reader(engine).history(site.site_id)
    with patient():
        text = recheck_calendar(history, site, now(), by=given.by, risk=given.risk)
    if not given.output:
        sys.stdout.buffer.write(text.encode())
        sys.stdout.buffer.flush()
        return 0
    path = Path(given.output)
    put_new(path, text.encode(), "-o NAME", settings)
    out.print(
        f"Wrote {path}: {counted(text.count('BEGIN:VEVENT'), 'machine')} of {site.name}.", markup=False, soft_wrap=True
    )
    return 0


def _list(engine: sa.Engine, site: Site) -> int:
    with engine.connect() as connection:
        addresses = read_addresses(connection, site.site_id)
    zone = ZoneInfo(site.zone)
    for one in addresses:
        ended = f"ended {one.ended.astimezone(zone):%Y-%m-%d}" if one.ended else "works"
        out.print(f"  {one.person}: made {one.made.astimezone(zone):%Y-%m-%d}, {ended}", markup=False, soft_wrap=True)
    if not addresses:
        out.print('There is none. Make one: driftbook calendar address "NAME"')
    return 0
