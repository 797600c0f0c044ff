"""How the subcommands asset, sign, void, limits and site are typed."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from dashboard.console.typed import file

RUNS = {
    "asset": ("changing", "run_asset"), "sign": ("changing", "run_sign"), "void": ("changing", "run_void"),
    "limits": ("limits", "run_limits"),
}  # fmt: skip
SITE_RUNS = {"site": ("book", "run_site")}


def add_changing(
    verb: Callable[[str, str, str], argparse.ArgumentParser],
    book: Callable[[argparse.ArgumentParser], None],
    by: Callable[[argparse.ArgumentParser], None],
) -> None:
    """Add the subcommands."""
    asset = verb(
        "asset",
        "give a machine another tag, or bring two records of one machine together",
        '  driftbook asset rename P-101A KP-101A --why "new tags for the whole plant"\n'
        '  driftbook asset merge P-101A-OLD P-101A --why "the same pump stood in two lists"',
    )
    asset.add_argument("act", choices=("rename", "merge"), help="rename OLD to NEW, or bring OLD's history under NEW")
    asset.add_argument("old", metavar="OLD", help="tag of today")
    asset.add_argument("new", metavar="NEW", help="tag from now on, or of the record that is kept")
    asset.add_argument("--why", default="", metavar="REASON", help="reason; it stays in the book")
    sign = verb(
        "sign",
        "sign a job off as a second person; the signature is bound to what the entry says",
        '  driftbook sign 1204 --meaning reviewed --by "Name of who signs"',
    )
    sign.add_argument("entry", type=int, metavar="ENTRY", help="number of the job's entry, as its page shows it")
    sign.add_argument("--meaning", choices=("reviewed", "approved", "responsible"), default="reviewed")
    sign.add_argument("--remark", default="", metavar="TEXT", help="words beside the signature")
    void = verb(
        "void",
        "take a job out of every count, with a reason: it was recorded on the wrong machine, twice, or by mistake",
        '  driftbook void 1204 --why "done on P-101B, not on P-101A"\n'
        '  driftbook void 1311 --take-back --why "it was P-101A after all"',
    )
    void.add_argument("entry", type=int, metavar="ENTRY", help="number of the job's entry, as its page shows it")
    void.add_argument("--why", default="", metavar="REASON", help="reason; it stays in the book")
    void.add_argument(
        "--take-back", action="store_true", help="ENTRY says that a job is void: let the job count again as it stood"
    )
    limits = verb(
        "limits",
        "show the limit sets that a site has adopted, or adopt one for its jobs from a day on",
        "  driftbook limits\n"
        "  driftbook limits our-standard.toml --from 2027-01-01\n"
        "The form of the file is that of seed_data/starter_limits.toml. Jobs that are in the book keep their verdicts.\n"
        "Limits that the plant had earlier are adopted before the jobs of their time are imported:\n"
        "  driftbook limits rule-2015.toml --from 2015-03-01",
    )
    limits.add_argument("file", nargs="?", type=file, metavar="FILE", help="limit set to adopt, as a small TOML file")
    limits.add_argument(
        "--from", dest="since", metavar="DATE", help="first day on which it is in force; today without it"
    )
    for parser in (asset, sign, void):
        parser.add_argument(
            "--without-account",
            action="store_true",
            help="where people sign in: do it under a name that no open account with that right has; the entry says so",
        )
    for parser in (asset, sign, void, limits):
        book(parser)
        parser.add_argument("--site", metavar="CODE", help="which site, where the book holds several")
        by(parser)


def add_site(
    verb: Callable[[str, str, str], argparse.ArgumentParser],
    book: Callable[[argparse.ArgumentParser], None],
    by: Callable[[argparse.ArgumentParser], None],
) -> None:
    """Add the subcommand that shows and changes how a site is set."""
    parser = verb(
        "site",
        "show how a site is set, or change its name, units, zone, interval or decision rule",
        "  driftbook site\n  driftbook site --units mil\n  driftbook site --interval 6\n"
        '  driftbook site --rename "North Quay 2" --why "there are two quays now"\n'
        '  driftbook site --rule guarded --confidence 95 --why "the customer asks for it"',
    )
    book(parser)
    parser.add_argument("--site", metavar="CODE", help="which site, where the book holds several")
    parser.add_argument(
        "--rename", metavar="NAME", help="its name from now on; its code stays, and earlier names still find it"
    )
    parser.add_argument("--units", choices=("mm", "mil"), help="how the site reads lengths")
    parser.add_argument("--temperature", choices=("C", "F"), help="how the site reads temperatures")
    parser.add_argument("--zone", metavar="ZONE", help="its time zone, by IANA name")
    parser.add_argument("--interval", type=int, metavar="MONTHS", help="rule for the next check")
    parser.add_argument(
        "--rule",
        choices=("simple", "guarded"),
        help="decision rule for jobs recorded from now on: simple acceptance, or guarded, with 'undecided' between the guards",
    )
    parser.add_argument(
        "--confidence", type=float, metavar="PERCENT", help="probability that a guarded rule asks for (default: 95)"
    )
    parser.add_argument("--why", default="", metavar="REASON", help="reason of the change; it stays in the book")
    by(parser)
