"""Parser of the subcommand report; it loads nothing, for the command's help must be quick."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from dashboard.console.typed import file

RUNS = {"report": ("reporting", "run_report")}
"""Where it lives in ``dashboard.console``."""

METHODS = ("results", "reverse-indicator", "rim-and-face", "two-faces", "readings-around-the-shaft")
SIZES = ("a4", "letter")

Add = Callable[[argparse.ArgumentParser], None]


def add_report(verb: Callable[[str, str, str], argparse.ArgumentParser], book: Add) -> None:
    """Add the parser.

    Parameters
    ----------
    verb : callable
        Makes a parser out of name, what it does and examples. [unitless]
    book : callable
        Adds the option ``--book``. [unitless]
    """
    parser = verb(
        "report",
        "print on paper (PDF): the monthly review, the history of a machine, a field sheet, labels",
        "  driftbook report month 2026-10\n"
        "  driftbook report month --mail manager@plant.example      the month that is over, for a schedule\n"
        "  driftbook report asset SI-P-101A -o history.pdf\n"
        "  driftbook report sheet SI-P-101A --date 2026-12-01 --paper letter\n"
        "  driftbook report labels --area 'Sea intake' --address http://plant-server:8750",
    )
    papers = parser.add_subparsers(dest="paper", metavar="month|asset|sheet|labels", required=True)
    _month(_add(papers, "month", "the monthly review, on two pages", book))
    _asset(_add(papers, "asset", "the history of one machine, with everything the book says of it", book))
    _sheet(_add(papers, "sheet", "a field sheet for one machine, to be filled in at the machine", book))
    _labels(_add(papers, "labels", "labels with codes that open the pages of machines on a phone", book))


def _add(papers: argparse._SubParsersAction[argparse.ArgumentParser], name: str, does: str, book: Add) -> argparse.ArgumentParser:  # fmt: skip
    parser = papers.add_parser(name, help=does, description=does[0].upper() + does[1:] + ".", allow_abbrev=False)
    book(parser)
    parser.add_argument("--site", metavar="CODE", help="which site, where the book holds several")
    parser.add_argument("-o", "--output", type=file, metavar="FILE", help="where to (default: a name in this folder), over an older PDF and nothing else; - for standard output")  # fmt: skip
    parser.add_argument("--paper", dest="size", choices=SIZES, default="a4", help="size of the paper (default: a4)")
    parser.add_argument("--units", choices=("mm", "mil"), help="units of length (default: the site's)")
    return parser


def _month(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("month", nargs="?", metavar="YEAR-MONTH", help="which month (default: the last one that is over)")  # fmt: skip
    parser.add_argument("--month", dest="named_month", metavar="YEAR-MONTH", help="the same")
    mail = parser.add_argument_group(
        "mail",
        "The server and the rest may stand in the environment: DRIFTBOOK_SMTP_HOST, _PORT, _USER, _FROM, _SECURITY, _CA, "
        "DRIFTBOOK_MAIL_TO. The password stands there only: DRIFTBOOK_SMTP_PASSWORD, or a file named by DRIFTBOOK_SMTP_PASSWORD_FILE.",
    )
    mail.add_argument("--mail", nargs="*", metavar="ADDRESS", help="send it to these (default: those of DRIFTBOOK_MAIL_TO); a file is then written with -o only, or where it cannot be sent")  # fmt: skip
    mail.add_argument("--smtp", metavar="HOST[:PORT]", help="mail server")
    mail.add_argument("--smtp-user", metavar="NAME", help="name under which the server knows us")
    mail.add_argument("--from", dest="sender", metavar="ADDRESS", help="address of the sender")
    mail.add_argument("--security", choices=("starttls", "tls", "none"), help="how it is encrypted (default: starttls)")


def _asset(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tag", help="the machine")


def _sheet(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tag", help="the machine")
    parser.add_argument("--date", metavar="YEAR-MONTH-DAY", help="day of the visit (default: today)")
    parser.add_argument("--method", choices=METHODS, help="how will be measured (default: as the last time)")
    parser.add_argument(
        "--fillable", action="store_true", help="with fields to fill in on a screen; it then claims no PDF/A"
    )
    _address(parser)


def _labels(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("tags", nargs="*", metavar="TAG", help="the machines (default: all in service)")
    parser.add_argument("--area", default="", help="the machines of one area")
    _address(parser)


def _address(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--address", metavar="URL", help="address under which phones reach the reader (default: $DRIFTBOOK_ADDRESS)"
    )
