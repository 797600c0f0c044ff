"""The subcommands asset, sign and void: another tag, two records brought together, a signature under a job, a job that counts no more."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from dashboard.console.common import now, opened, out, settings_of, who
from dashboard.writing import counted, moment
from models.commands.amend_job import take_back_job, void_job
from models.commands.change_asset import Merged, merge_assets, rename_asset
from models.commands.on_server import OnServer
from models.commands.sign_off import sign_off
from models.store.known import site_of
from models.store.one_job import ref_of_entry, tag_of_entry
from models.values.kinds import Meaning
from models.values.story import JobLine


def run_asset(given: argparse.Namespace) -> int:
    """Rename a machine, or bring two records of one together."""
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        if given.act == "rename":
            entry = rename_asset(engine, site, given.old, given.new, by=who(given), now=now(), why=given.why)
            out.print(f"{given.old} is {given.new} from today on, by entry {entry}; the old tag still finds it.")
        else:
            merged = merge_assets(
                engine, site, given.old, given.new, by=who(given), now=now(), why=given.why, command=_command(given)
            )
            for text in merged_lines(merged, given.old, given.new, site.zone):
                out.print(text)
    return 0


def merged_lines(done: Merged, old: str, new: str, zone: str) -> Iterator[str]:
    """Say what a merge did, and what a person has to look at, line by line.

    Parameters
    ----------
    done : Merged
        What it did. [unitless]
    old, new : str
        Tags of the double and of the kept record, as typed. [unitless]
    zone : str
        IANA name of the site's zone. [unitless]
    """
    jobs, breaks = _some(len(done.moved), "job"), _some(done.breaks, "replacement")
    yield f"{old} is out of service; what stands with {new} now: {jobs} and {breaks} of it."
    if done.moved:
        changed = (
            "no verdict changed" if not done.verdicts else f"the verdict of {counted(done.verdicts, 'job')} changed"
        )
        yield (
            f"They were judged anew, as {new} was described on the day of each (coupling, speed, span), by the versions of "
            f"limits that had judged them: {changed}."
        )
    if done.doubled:
        yield (
            f"{counted(len(done.doubled), 'job')} of {old} stood with {new} already, at the same moment with "
            "the same readings, and came over void: the visit counts once."
        )
    for one in done.doubled:
        also = f"; it also says, or says otherwise: {', '.join(one.differs)}" if one.differs else ""
        yield f"  {_named(one.job, zone)} doubles {_named(one.there, zone)}{also}."
    if done.unsure:
        yield (
            f"{counted(len(done.unsure), 'job')} of {old} may be a visit that {new} holds already. Look at both; if they are "
            "one visit, take the wrong one out of every count:"
        )
    for one in done.unsure:
        why = "at the same moment, other readings" if one.same_moment else "the same readings, another time of that day"
        yield f'  {_named(one.job, zone)}, beside {_named(one.there, zone)}: {why}. driftbook void {one.job.entry} --why "…"'


def _some(n: int, noun: str) -> str:
    return counted(n, noun) if n else f"no {noun}"


def _named(line: JobLine, zone: str) -> str:
    return f"job {line.job.ref} (entry {line.entry}, {moment(line.job.performed_at, zone)})"


def _command(given: argparse.Namespace) -> OnServer:
    return OnServer(without_account=given.without_account)


def run_sign(given: argparse.Namespace) -> int:
    """Sign a job off."""
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        by = who(given)
        entry = sign_off(
            engine, site, given.entry, meaning=Meaning(given.meaning), by=by, now=now(), remark=given.remark,
            command=_command(given),
        )  # fmt: skip
        with engine.connect() as connection:
            ref, tag = (of(connection, site.site_id, given.entry) for of in (ref_of_entry, tag_of_entry))
        out.print(
            f"Entry {given.entry}, job {ref} on {tag}, is signed by {by} as '{given.meaning}', by entry {entry}.",
            markup=False,
        )
    return 0


def run_void(given: argparse.Namespace) -> int:
    """Take a job out of every count, or take one back."""
    with opened(settings_of(given)) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        change = take_back_job if given.take_back else void_job
        line = change(engine, site, given.entry, by=who(given), now=now(), why=given.why, command=_command(given))
        job = f"Job {line.job.ref} on {line.job.tag}"
        if given.take_back:
            out.print(f"{job} counts again, by entry {line.entry}.")
        else:
            out.print(
                f"{job} is void, by entry {line.entry}: it counts nowhere and stays readable. Its number is not given to another job."
            )
    return 0
