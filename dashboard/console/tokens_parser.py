"""Parser of the subcommand token; it loads nothing, for the command's help must be quick."""

from __future__ import annotations

import argparse
from collections.abc import Callable

RUNS = {"token": ("tokens", "run_token")}
"""Where it lives in ``dashboard.console``."""

ROLES = ("reader", "recorder", "auditor")


def add_token(
    verb: Callable[[str, str, str], argparse.ArgumentParser], book: Callable[[argparse.ArgumentParser], None]
) -> None:
    """Add the parser.

    Parameters
    ----------
    verb : callable
        Makes a parser out of name, what it does and examples. [unitless]
    book : callable
        Adds the option ``--book``. [unitless]
    """
    parser = verb(
        "token",
        "make, list or end the tokens with which programs use the JSON interface",
        "  driftbook token make maintenance --login ana --role recorder\n"
        "  driftbook token list\n"
        "  driftbook token end maintenance",
    )
    does = parser.add_subparsers(dest="does", metavar="make|list|end", required=True)
    make = does.add_parser("make", help="make a token; it is shown once", allow_abbrev=False)
    make.add_argument("name", metavar="NAME", help="what it is for")
    make.add_argument(
        "--login", required=True, help="account in whose name it writes, and whose rights it never exceeds"
    )
    make.add_argument(
        "--role", required=True, action="append", choices=ROLES, help="what it may do; give it again for several"
    )
    every = does.add_parser("list", help="list the tokens of a site", allow_abbrev=False)
    end = does.add_parser("end", help="end a token: it is refused from then on", allow_abbrev=False)
    end.add_argument("name", metavar="NAME", help="which one")
    for one in (make, every, end):
        book(one)
        one.add_argument("--site", metavar="CODE", help="which site, where the book holds several")
