"""Parsers of the subcommands verify, head, history and key; they load nothing, for the command's help must be quick."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from dashboard.console.typed import file

RUNS = {
    "verify": ("proving", "run_verify"),
    "head": ("proving", "run_head"),
    "history": ("proving", "run_history"),
    "key": ("proving", "run_key"),
}
"""Where they live in ``dashboard.console``."""

Add = Callable[[argparse.ArgumentParser], None]


def add_proving(verb: Callable[[str, str, str], argparse.ArgumentParser], book: Add, by: Add) -> None:
    """Add the parsers.

    Parameters
    ----------
    verb : callable
        Makes a parser out of name, what it does and examples. [unitless]
    book, by : callable
        Add the options ``--book`` and ``--by``. [unitless]
    """
    _verify(verb, book)
    _head(verb, book)
    _history(verb, book)
    parser = verb(
        "key",
        "show the keys that sign the book, or set the one in the key file as the one that signs from now on",
        '  driftbook key\n  driftbook key --set --why "a copy was made" --old-key old.key     the old key signs that it hands over\n'
        '  driftbook key --set --why "the old key file was lost"',
    )
    book(parser)
    parser.add_argument(
        "--set", action="store_true", help="let the key in the key file sign; one is made where none is"
    )
    parser.add_argument("--why", default="", help="reason; it stays in the book")
    parser.add_argument(
        "--old-key",
        type=file,
        metavar="FILE",
        help="where the key that signed so far lies or, if nothing is there yet, is to lie: it signs that a new one takes its place",
    )
    by(parser)


def _verify(verb: Callable[[str, str, str], argparse.ArgumentParser], book: Add) -> None:
    parser = verb(
        "verify",
        "compute the whole book again from its rows, and name what was changed",
        "  driftbook verify\n"
        "  driftbook verify --against heads.txt           heads that were kept elsewhere\n"
        "  driftbook verify --against -                   a head that is typed or piped in\n"
        "  driftbook verify --package SI-P-101A.zip       whether a package leaves anything out\n"
        "  driftbook verify --public-key 9f2c… --strict --json",
    )
    book(parser)
    parser.add_argument(
        "--against",
        type=file,
        metavar="FILE",
        action="append",
        help="heads kept elsewhere; - reads them from the input",
    )
    parser.add_argument(
        "--package",
        type=file,
        metavar="FILE",
        help="hold a package of a machine against the book: what it leaves out or says otherwise",
    )
    parser.add_argument("--public-key", metavar="HEX", help="the key that signs today, as you know it from elsewhere")
    parser.add_argument("--strict", action="store_true", help="a head without a signature is a fault too")
    parser.add_argument("--json", action="store_true", help="print everything as JSON")
    parser.add_argument("--one-process", action="store_true", help="do not share the work among processes")


def _head(verb: Callable[[str, str, str], argparse.ArgumentParser], book: Add) -> None:
    parser = verb(
        "head",
        "print the newest head of the book, and keep it elsewhere: for the system's scheduler",
        "  driftbook head                                 print it\n"
        "  driftbook head --line                          in one line, to be written down\n"
        "  driftbook head -o /mnt/elsewhere/heads.txt     add it to a file\n"
        "  driftbook head --mail audit@example.org --smtp mail.example.org --from book@example.org",
    )
    book(parser)
    parser.add_argument(
        "-o", "--output", type=file, metavar="FILE", help="add it to a file, where it does not stand there already"
    )
    parser.add_argument("--line", action="store_true", help="print it in one line")
    parser.add_argument("--mail", metavar="ADDRESS", action="append", help="send it; give it again for several")
    parser.add_argument("--smtp", metavar="SERVER[:PORT]", help="mail server (default: $DRIFTBOOK_SMTP_HOST)")
    parser.add_argument("--smtp-user", metavar="NAME", help="name at the mail server (default: $DRIFTBOOK_SMTP_USER)")
    parser.add_argument("--from", dest="sender", metavar="ADDRESS", help="sender (default: $DRIFTBOOK_SMTP_FROM)")
    parser.add_argument("--security", choices=("starttls", "tls", "none"), help="how the connection is encrypted")


def _history(verb: Callable[[str, str, str], argparse.ArgumentParser], book: Add) -> None:
    parser = verb(
        "history",
        "write the auditor's package of a machine: its entries with proofs, and a verifier that needs only Python",
        "  driftbook history SI-P-101A --package SI-P-101A.zip\n"
        "  driftbook history SI-P-101A --package SI-P-101A.zip --kept heads.txt",
    )
    parser.add_argument("tag", help="the machine")
    book(parser)
    parser.add_argument(
        "--package",
        type=file,
        metavar="OUT.zip",
        required=True,
        help="where to, over an older package and nothing else",
    )
    parser.add_argument(
        "--kept",
        type=file,
        metavar="FILE",
        help="heads that the auditor kept: the package proves that it goes on from them",
    )
    parser.add_argument("--site", metavar="CODE", help="which site, where the book holds several")
    parser.add_argument("--no-pdf", action="store_true", help="leave the printed history out")
