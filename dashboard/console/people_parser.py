"""What the subcommand people and the door of serve take; parsing only."""

from __future__ import annotations

import argparse
from collections.abc import Callable


def add_serving(parser: argparse.ArgumentParser) -> None:
    """Add to serve what the door needs."""
    parser.add_argument(
        "--open",
        action="store_true",
        help="ask nobody who they are although others can reach it: whoever reaches it may read and write everything, under any name",
    )
    parser.add_argument(
        "--name",
        action="append",
        metavar="HOST",
        default=[],
        help="a name under which browsers reach this server; others are refused (may be repeated)",
    )
    parser.add_argument(
        "--proxy",
        metavar="ADDRESS",
        help="IP address of a server in front that speaks https and is believed about who asks; needs --name",
    )


def add_people(
    verb: Callable[..., argparse.ArgumentParser], book: Callable[..., None], by: Callable[..., None]
) -> None:
    """Add the subcommand people."""
    parser = verb(
        "people",
        "say who may sign in, and with which roles: reader, recorder, engineer, auditor, administrator",
        '  driftbook people add ana.wick --name "Ana Wick" --role administrator    the first one: from now on everybody signs in\n'
        "  driftbook people list\n"
        "  driftbook people change bo.tarn --role recorder --role engineer\n"
        "  driftbook people close bo.tarn --why 'left the plant'\n"
        "  driftbook people password bo.tarn",
    )
    does = parser.add_subparsers(dest="does", metavar="WHAT", required=True)
    add = does.add_parser("add", help="add somebody; the password is asked for", allow_abbrev=False)
    change = does.add_parser("change", help="change name, roles or address", allow_abbrev=False)
    close = does.add_parser("close", help="let somebody in no more", allow_abbrev=False)
    password = does.add_parser("password", help="set a new password; it is asked for", allow_abbrev=False)
    every = does.add_parser("list", help="show who may sign in", allow_abbrev=False)
    for one in (add, change, close, password):
        one.add_argument("login", help="what is typed to sign in")
    for one in (add, change, close, password, every):
        book(one)
    for one, where in (
        (add, "at every site of the book"),
        (change, "at every site at which they were added; roles only where they have one, the other sites are named"),
        (close, "at every site"),
    ):
        one.add_argument(
            "--site", metavar="CODE", action="append", help=f"at which site; may be repeated (default: {where})"
        )
    for one in (add, change, close, password):
        by(one)
    for one in (add, change):
        one.add_argument(
            "--name", metavar="NAME", required=one is add, help="name that stands as author under what they write"
        )
        one.add_argument("--role", action="append", metavar="ROLE", required=one is add, help="may be repeated")
        one.add_argument("--mail", metavar="ADDRESS", help="address for mail")
        one.add_argument("--outside", metavar="'ISSUER SUBJECT'", help="identity at a sign-in provider outside")
    for one in (change, close):
        one.add_argument("--why", default="", metavar="REASON", help="reason; it stays in the book")
    change.add_argument("--open", action="store_true", dest="reopen", help="open it again after it was closed")
    for one in (add, password):
        one.add_argument(
            "--password-stdin", action="store_true", help="read the password from the standard input, its first line"
        )
        one.add_argument("--must-change", action="store_true", help="they have to choose another at the next sign-in")
