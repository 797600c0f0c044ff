"""The subcommands asset and sign: another tag, two records brought together, a signature under a job."""

from __future__ import annotations

import argparse

from dashboard.console.common import now, opened, out, settings_of, who
from models.commands.change_asset import merge_assets, rename_asset
from models.commands.sign_off import sign_off
from models.store.known import site_of
from models.values.kinds import Meaning


def run_asset(given: argparse.Namespace) -> int:
    """Rename a machine, or bring two records of one together."""
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        if given.act == "rename":
            entry = rename_asset(engine, site, given.old, given.new, by=who(given), now=now(), why=given.why)
            out.print(f"{given.old} is {given.new} from today on, by entry {entry}; the old tag still finds it.")
        else:
            jobs, breaks = merge_assets(engine, site, given.old, given.new, by=who(given), now=now(), why=given.why)
            out.print(
                f"{jobs} jobs and {breaks} replacements of {given.old} stand with {given.new} now; {given.old} is out of service."
            )
    return 0


def run_sign(given: argparse.Namespace) -> int:
    """Sign a job off."""
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        by = who(given)
        entry = sign_off(
            engine, site, given.entry, meaning=Meaning(given.meaning), by=by, now=now(), remark=given.remark
        )
        out.print(f"Entry {given.entry} is signed by {by} as '{given.meaning}', by entry {entry}.")
    return 0
