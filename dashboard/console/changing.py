"""The subcommands asset, sign and void: another tag, two records brought together, a signature under a job, a job that counts no more."""

from __future__ import annotations

import argparse

from dashboard.console.common import now, opened, out, settings_of, who
from models.commands.amend_job import take_back_job, void_job
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


def run_void(given: argparse.Namespace) -> int:
    """Take a job out of every count, or take one back."""
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        change = take_back_job if given.take_back else void_job
        line = change(engine, site, given.entry, by=who(given), now=now(), why=given.why)
        job = f"Job {line.job.ref} on {line.job.tag}"
        if given.take_back:
            out.print(f"{job} counts again, by entry {line.entry}.")
        else:
            out.print(
                f"{job} is void, by entry {line.entry}: it counts nowhere and stays readable. Its number is not given to another job."
            )
    return 0
