"""The subcommand limits: which limit sets a site has adopted, and a further one from a day on."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from dashboard.console.common import now, opened, out, settings_of, who
from models.commands.adopt_limits import adopt_limits
from models.errors import InvalidValueError
from models.intake.limit_file import read_limit_set
from models.store.known import AdoptedSet, limit_sets, site_of
from models.values.limits import LimitSet


def run_limits(given: argparse.Namespace) -> int:
    """Show the sets of a site, or adopt one."""
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        if given.file:
            since = day_of(given.since) if given.since else now().astimezone(ZoneInfo(site.zone)).date()
            wanted = read_limit_set(Path(given.file), adopted_by=who(given), adopted_on=since)
            made = adopt_limits(engine, site, wanted, now=now())
            with engine.connect() as connection:
                sets = limit_sets(connection, site.site_id)
            out.print(
                f"{site.name} judges jobs {_time(made, sets)} by '{made.name}', version {made.version}. Jobs that are in the book keep their verdicts;",
                soft_wrap=True,
            )
            out.print("the page Limits shows what the set says of them.")
            return 0
        if given.since:
            raise InvalidValueError("--from is the first day of a set that is adopted.", remedy="Name its file too.")
        with engine.connect() as connection:
            sets = limit_sets(connection, site.site_id)
    for one in sets:
        held = one.limit_set
        out.print(
            f"from {held.adopted_on}: '{held.name}', version {held.version}, adopted by {held.adopted_by} (entry {one.entry}); {held.source}",
            soft_wrap=True,
        )
    return 0


def _time(made: LimitSet, sets: Sequence[AdoptedSet]) -> str:
    """Say in which time a set that was just adopted is in force."""
    days = [one.limit_set.adopted_on for one in sets]
    until = next((day for day in days if day > made.adopted_on), None)
    if until is None:
        return f"from {made.adopted_on} on"
    last = until - timedelta(days=1)
    if made.adopted_on > days[0]:
        return f"from {made.adopted_on} to {last}"
    return f"up to {last} (those from before {made.adopted_on} as well, for it is the first set)"


def day_of(text: str) -> date:
    """Read the first day of a set.

    Raises
    ------
    InvalidValueError
        If it is no day.
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InvalidValueError(f"'{text}' is not a day.", remedy="Write it as in 2027-01-31.") from None
