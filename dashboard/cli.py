"""The command ``driftbook``: parsing only; each subcommand loads what it needs when it runs."""

from __future__ import annotations

import argparse
import gc
import os
import signal
import sys
from collections.abc import Callable, Container, Sequence
from importlib import import_module
from typing import TYPE_CHECKING

from dashboard import cli_files
from dashboard.console import people_parser
from dashboard.console.changing_parsers import RUNS as CHANGING_RUNS
from dashboard.console.changing_parsers import SITE_RUNS, add_changing, add_site
from dashboard.console.endings import DONE, NOT_DONE, STOPPED, told
from dashboard.console.grouping_parsers import RUNS as GROUPING_RUNS
from dashboard.console.grouping_parsers import add_grouping
from dashboard.console.keeping_parsers import add_keeping, add_running
from dashboard.console.proving_parser import RUNS as PROVING_RUNS
from dashboard.console.proving_parser import add_proving
from dashboard.console.reporting_parser import RUNS as REPORT_RUNS
from dashboard.console.reporting_parser import add_report
from dashboard.console.tokens_parser import RUNS as TOKEN_RUNS
from dashboard.console.tokens_parser import add_token
from dashboard.console.typed import Parser, file, hidden, port
from models.errors import DriftbookError

DEFAULT_PORT = 8750

_TOP = """\
driftbook keeps the alignment history of rotating machines and shows what it means.

A first look:      driftbook demo
A book of your own:
  driftbook init --site "North Quay" --zone Europe/Lisbon
  driftbook template                    writes a workbook to fill
  driftbook import register.xlsx        your own sheet works too: it asks once what each column means
  driftbook serve
"""


def _parser(wanted: str | None = None) -> argparse.ArgumentParser:
    """Make the parser: of all subcommands, or only of one and those described with it, for all take as long as the rest of the start."""
    form = argparse.RawDescriptionHelpFormatter
    parser: argparse.ArgumentParser = Parser(
        prog="driftbook", description=_TOP, formatter_class=form, allow_abbrev=False
    )
    parser.add_argument(
        "--version",
        action="store_true",
        help="print the version, and the revision of the books that it writes, and stop",
    )
    verbs = parser.add_subparsers(dest="verb", metavar="COMMAND", title="commands")
    for names, add in _PARSERS:
        if wanted is None or wanted in names:
            add(verbs)
    return parser


if TYPE_CHECKING:
    _Verbs = argparse._SubParsersAction[argparse.ArgumentParser]  # noqa: SLF001 - the only name that argparse gives it


def _verb(verbs: _Verbs, name: str, does: str, examples: str) -> argparse.ArgumentParser:
    return verbs.add_parser(
        name,
        help=does,
        description=does[0].upper() + does[1:] + ".",
        epilog="examples:\n" + examples + told(name),
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )


def _book(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--book",
        metavar="PATH|URL",
        help="the book: a SQLite file or a postgresql:// address (default: $DRIFTBOOK_BOOK or driftbook.db)",
    )


def _by(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--by", metavar="NAME", help="who does it, for the book (default: the name you are logged in under)"
    )


def _address(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--host", default="127.0.0.1", help="address to listen on (default: 127.0.0.1, this machine only)"
    )
    parser.add_argument(
        "--port",
        type=port,
        help=f"port to listen on; 0 takes any free one (default: {DEFAULT_PORT}, or the next free one)",
    )


def _add_demo(verbs: _Verbs) -> None:
    parser = _verb(
        verbs,
        "demo",
        "make an invented plant, import it and show it in the browser",
        "  driftbook demo                     in ./driftbook-demo\n"
        "  driftbook demo --temporary         in a folder that goes away at the end\n"
        "  driftbook demo --units mil --port 9000",
    )
    parser.add_argument("--folder", type=file, default="driftbook-demo", help="where to (default: ./driftbook-demo)")
    parser.add_argument(
        "--temporary", action="store_true", help="make it in a temporary folder that goes away at the end"
    )
    parser.add_argument("--fresh", action="store_true", help="make it anew although it is there")
    parser.add_argument("--units", choices=("mm", "mil"), default="mm", help="units of the site (default: mm)")
    _address(parser)


def _add_init(verbs: _Verbs) -> None:
    parser = _verb(
        verbs,
        "init",
        "make a new book, or add a site to one",
        '  driftbook init --site "North Quay" --zone Europe/Lisbon\n'
        '  driftbook init --site "Mill 2" --zone America/Halifax --units mil --temperature F --book plant.db\n'
        '  driftbook init --site "North Quay" --zone Europe/Lisbon --limits rule-2015.toml --from 2015-03-01',
    )
    _book(parser)
    parser.add_argument("--site", required=True, metavar="NAME", help="name of the site")
    parser.add_argument("--zone", required=True, metavar="ZONE", help="its time zone, by IANA name: Europe/Lisbon")
    parser.add_argument("--units", choices=("mm", "mil"), default="mm", help="how the site reads lengths (default: mm)")
    parser.add_argument(
        "--temperature", choices=("C", "F"), default="C", help="how the site reads temperatures (default: C)"
    )
    parser.add_argument(
        "--interval", type=int, default=12, metavar="MONTHS", help="rule for the next check (default: 12 months)"
    )
    parser.add_argument(
        "--limits",
        type=file,
        metavar="FILE",
        help="limit set to adopt (TOML; default: the starter set, to be replaced by your own)",
    )
    parser.add_argument("--from", dest="since", metavar="DATE", help="first day on which it is in force; else today")
    _by(parser)


def _add_upgrade(verbs: _Verbs) -> None:
    parser = _verb(
        verbs,
        "upgrade",
        "bring a book to the revision of this version; a SQLite book is copied aside first",
        "  driftbook upgrade\n  driftbook upgrade --book plant.db\n"
        "  driftbook upgrade --book postgresql://host/plant --i-have-a-backup",
    )
    _book(parser)
    parser.add_argument(
        "--i-have-a-backup",
        action="store_true",
        help="needed for a book on a database server, which is not copied aside",
    )
    _by(parser)


def _add_template(verbs: _Verbs) -> None:
    parser = _verb(
        verbs,
        "template",
        "write an empty workbook to fill, with a sheet that explains every column",
        "  driftbook template\n  driftbook template plant.xlsx --units mil\n  driftbook template --csv forms",
    )
    parser.add_argument(
        "file", nargs="?", type=file, metavar="FILE", help="where to (default: driftbook-template.xlsx)"
    )
    parser.add_argument("-o", "--output", type=file, metavar="FILE", help="the same")
    parser.add_argument("--csv", type=file, metavar="FOLDER", help="write CSV files into a folder instead")
    parser.add_argument("--units", choices=("mm", "mil"), default="mm", help="units in the headings (default: mm)")


def _add_import(verbs: _Verbs) -> None:
    parser = _verb(
        verbs,
        "import",
        "read machines and jobs from CSV or XLSX files into the book",
        "  driftbook import assets.csv jobs.csv\n"
        "  driftbook import register.xlsx                 asks once what each column means\n"
        "  driftbook import register.xlsx --confirm       the proposed meaning is right\n"
        "  driftbook import lista.csv --holds jobs        its headings are not understood: the mapping asks what each column is\n"
        "  driftbook import jobs.csv --dry-run            only look\n"
        "  driftbook import jobs.csv --accept-good        good rows go in, the rest come back in a file to mend",
    )
    parser.add_argument(
        "files", nargs="+", type=file, metavar="FILE", help="CSV or XLSX; several files go in together or not at all"
    )
    _book(parser)
    parser.add_argument("--site", metavar="CODE", help="which site, where the book holds several")
    parser.add_argument(
        "--mapping", type=file, metavar="FILE", help="read the files by this mapping instead of the kept one"
    )
    parser.add_argument("--confirm", action="store_true", help="confirm the proposed mapping as it stands")
    parser.add_argument(
        "--holds",
        choices=("assets", "breaks", "instruments", "people", "jobs"),
        help="what the file holds, where its headings are not understood: the mapping then waits for what each column is",
    )
    parser.add_argument(
        "--heading-row",
        type=int,
        metavar="ROW",
        help="with --holds: the row of the headings, where it is not the one that comes nearest",
    )
    parser.add_argument(
        "--sheet", metavar="NAME", help="with --holds: which sheet of a workbook, where several are not understood"
    )
    parser.add_argument("--dry-run", action="store_true", help="show what would happen; write nothing")
    parser.add_argument(
        "--accept-good", action="store_true", help="take the good rows; the rest come back in a file to mend"
    )
    parser.add_argument(
        "--same-visit", choices=("take", "leave"), default="take",
        help="what becomes of rows that may be visits that the book or an earlier row holds under other numbers: same machine, day and readings "
        "(default: take, with a warning)",
    )  # fmt: skip
    parser.add_argument("--encoding", default="", help="encoding of a CSV, where it is not found by itself")
    parser.add_argument(
        "--all-problems", action="store_true", help="list every problem, not only the first ones of a kind"
    )
    _by(parser)


def _add_serve(verbs: _Verbs) -> None:
    parser = _verb(
        verbs,
        "serve",
        "show the book in the browser",
        "  driftbook serve\n  driftbook serve --book plant.db --port 9000\n"
        "  driftbook serve --host 0.0.0.0 --name book.example.net       for others; they sign in\n"
        "  driftbook serve --proxy 127.0.0.1 --name book.example.net    behind a server that speaks https",
    )
    _book(parser)
    _address(parser)
    people_parser.add_serving(parser)
    add_running(parser)


def _add_work(verbs: _Verbs) -> None:
    parser = _verb(
        verbs,
        "work",
        "work out a paper sheet: readings in, misalignment, verdict and what each foot needs out; no book is needed",
        "  driftbook work --example reverse-indicator > sheet.toml\n"
        "  driftbook work sheet.toml\n"
        "  driftbook work sheet.toml --json",
    )
    parser.add_argument(
        "file", nargs="?", type=file, metavar="FILE", help="readings and dimensions as a small TOML file"
    )
    parser.add_argument("--json", action="store_true", help="print everything as JSON, in mm and mm/m")
    parser.add_argument(
        "--example",
        nargs="?",
        const="reverse-indicator",
        choices=("results", "reverse-indicator", "rim-and-face", "two-faces", "around-the-shaft"),
        help="print an example file that works, for one way of measuring (default: reverse-indicator)",
    )


def _add_study(verbs: _Verbs) -> None:
    parser = _verb(
        verbs,
        "study",
        "say what the history says: drift, forecast, returns, counts, patterns, people, back-test",
        "  driftbook study                              the fleet, the first lines of each table\n"
        "  driftbook study SI-P-101A                    one asset, with the evidence for and against each cause\n"
        "  driftbook study --part returns --as csv      one whole table for a spreadsheet\n"
        "  driftbook study --as json > study.json       everything, for another program\n"
        "  driftbook study --limits ours.toml --part whatif",
    )
    parser.add_argument("tag", nargs="?", help="one asset; the fleet if left out")
    _book(parser)
    parser.add_argument("--site", metavar="CODE", help="which site, where the book holds several")
    parser.add_argument(
        "--as", dest="form", choices=("text", "json", "csv"), default="text", help="form (default: text)"
    )
    parser.add_argument("--part", metavar="NAME", help="only this table; csv needs one")
    parser.add_argument(
        "--risk", type=int, default=10, metavar="PERCENT", help="accepted risk of being found over limit (default: 10)"
    )
    parser.add_argument(
        "--limits", type=file, metavar="FILE", help="count the verdicts that would change under this limit set (TOML)"
    )
    parser.add_argument(
        "--base",
        metavar="FROM..TO",
        help="months whose limits the charts of the part months keep, e.g. 2023-01..2024-12",
    )
    parser.add_argument("--why", metavar="REASON", help="why these months; with --base")
    parser.add_argument("--all", action="store_true", help="every row; as text only the first ones are shown")


_RUNS = {
    "backup": ("keeping", "run_backup"),
    "restore": ("keeping", "run_restore"),
    "grants": ("keeping", "run_grants"),
    "partition": ("keeping", "run_partition"),
    "demo": ("demo", "run_demo"),
    "init": ("book", "run_init"),
    "upgrade": ("book", "run_upgrade"),
    "template": ("book", "run_template"),
    "import": ("importing", "run_import"),
    "serve": ("serving", "run_serve"),
    "people": ("people_accounts", "run_people"),
    "study": ("study", "run_study"),
    "work": ("work", "run_work"),
    **cli_files.RUNS,
    **TOKEN_RUNS,
    **REPORT_RUNS,
    **CHANGING_RUNS,
    **SITE_RUNS,
    **GROUPING_RUNS,
    **PROVING_RUNS,
}
"""Where each subcommand lives in ``dashboard.console``; loaded only when it is called."""


_Verb = Callable[[str, str, str], argparse.ArgumentParser]


def _of(verbs: _Verbs) -> _Verb:
    return lambda *said: _verb(verbs, *said)


_PARSERS: tuple[tuple[Container[str], Callable[[_Verbs], None]], ...] = (
    ({"demo"}, _add_demo),
    ({"init"}, _add_init),
    ({"upgrade"}, _add_upgrade),
    ({"template"}, _add_template),
    ({"import"}, _add_import),
    ({"serve"}, _add_serve),
    (SITE_RUNS, lambda verbs: add_site(_of(verbs), _book, _by)),
    ({"work"}, _add_work),
    ({"study"}, _add_study),
    ({"people"}, lambda verbs: people_parser.add_people(_of(verbs), _book, _by)),
    (cli_files.RUNS, lambda verbs: cli_files.add(verbs, _verb, _book)),
    ({"backup", "restore", "grants", "partition"}, lambda verbs: add_keeping(_of(verbs), _book)),
    (CHANGING_RUNS, lambda verbs: add_changing(_of(verbs), _book, _by)),
    (GROUPING_RUNS, lambda verbs: add_grouping(_of(verbs), _book)),
    (TOKEN_RUNS, lambda verbs: add_token(_of(verbs), _book)),
    (REPORT_RUNS, lambda verbs: add_report(_of(verbs), _book)),
    (PROVING_RUNS, lambda verbs: add_proving(_of(verbs), _book, _by)),
)
"""What describes each subcommand to the parser, in the order of the help."""


def _run(given: argparse.Namespace) -> int:
    module, function = _RUNS[given.verb]
    run = getattr(import_module(f"dashboard.console.{module}"), function)
    if not gc.isenabled():
        gc.freeze()  # what is loaded by now is not looked through while the command runs either
        gc.enable()
    status: int = run(given)
    return status


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; the result is its exit code, of those of ``console/endings.py``."""
    if arguments is not None:
        return _command(arguments)
    # A process of its own. What is loaded stays to the end: the collector of circles need not look through it
    # while it is loaded, and not once more when the process ends; that was an eighth of a small import.
    gc.disable()
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # whoever is told to end clears up, as after Ctrl-C
    try:
        return _command(sys.argv[1:])
    finally:
        gc.freeze()


def _command(typed: Sequence[str]) -> int:  # noqa: PLR0911 - one way out a situation
    parser, Parser.typed = _parser(typed[0] if typed and typed[0] in _RUNS else None), typed
    given = parser.parse_args(typed)
    if given.version:
        from dashboard.version import program

        print(program())  # noqa: T201 - the command speaks here
        return DONE
    if given.verb is None:
        parser.print_help()
        return NOT_DONE
    try:
        return _run(given)
    except DriftbookError as fault:
        print(f"driftbook: {hidden(str(fault), typed)}", file=sys.stderr)  # noqa: T201
        return NOT_DONE
    except KeyboardInterrupt:
        print("\ndriftbook: stopped; what was not finished was not written.", file=sys.stderr)  # noqa: T201
        return STOPPED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as fault:
        if os.environ.get("DRIFTBOOK_DEBUG"):
            raise
        from dashboard.console.fault_log import unexpected

        return unexpected(fault, typed)


if __name__ == "__main__":
    sys.exit(main())
