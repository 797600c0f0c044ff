"""The subcommand report: papers as PDF files, and the monthly review by mail."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from dashboard.console.common import now, one_of, opened, out, settings_of
from dashboard.console.whole import PAPER, check_over, put_over
from dashboard.place import Place, read_month
from dashboard.reports import makers
from dashboard.reports.codes import VARIABLE, base_address, only_here
from dashboard.reports.mail import MailError, MailSettings, message_of, read_mail_settings, send
from dashboard.reports.month_report import mail_texts
from dashboard.reports.press import Paper, print_pdf
from dashboard.reports.routes import read_day, read_way
from dashboard.views.month_view import MonthView
from dashboard.words import say
from models.errors import InvalidValueError
from models.settings import Settings
from models.store.known import site_of
from models.store.reader import Reader
from models.units import Display

_ELSEWHERE = "-o FILE"


@dataclass(frozen=True, slots=True)
class Made:
    """A paper that was printed: the name of its file, and what it is; of a review also what it shows."""

    name: str
    paper: Paper
    pdf: bytes
    view: MonthView | None = None


def run_report(given: argparse.Namespace, environ: Mapping[str, str] = os.environ) -> int:
    """Print a paper; write it, and send it where that was asked for."""
    makes: dict[str, Callable[[argparse.Namespace, makers.Asking], Made]] = {
        "month": _month,
        "asset": _asset,
        "sheet": _sheet,
        "labels": _labels,
    }
    mail = _mail_settings(given, environ)
    base = base_address(getattr(given, "address", None), environ)
    settings = settings_of(given)
    if given.output and given.output != "-":  # before it is printed, and sent
        check_over(Path(given.output), PAPER, _ELSEWHERE, settings)
    with opened(settings) as engine:
        with engine.connect() as connection:
            site = site_of(connection, given.site)
        display = Display(given.units, site.display.temperature) if given.units else site.display
        asking = makers.Asking(Reader(engine), site, display, now(), given.size, base, by=say("report.maker.command"))
        made = makes[given.paper](given, asking)
        if mail is not None and made.view is not None:
            _send(mail, made, made.view, asking.now, given, settings)
    if given.output or mail is None:
        _write(made, given.output, settings)
    _warn(given, base)
    return 0


def last_month_over(today: date) -> date:
    """Give the first day of the last month that is over: what a schedule asks for."""
    return (today.replace(day=1) - timedelta(days=1)).replace(day=1)


def _asked_month(given: argparse.Namespace, asking: makers.Asking) -> date:
    month = one_of(given.month, given.named_month, "YEAR-MONTH", "--month")
    if not month:
        return last_month_over(asking.today)
    asked = read_month(Place("/", {"month": month}))
    if asked.value is None:
        raise InvalidValueError(say("report.unknown.month", asked=month))
    return asked.value


def _month(given: argparse.Namespace, asking: makers.Asking) -> Made:
    month = _asked_month(given, asking)
    view = makers.month_view(asking, month)
    paper = makers.review_of(asking, view)
    return Made(f"review-{month:%Y-%m}.pdf", paper, print_pdf(paper), view)


def _asset(given: argparse.Namespace, asking: makers.Asking) -> Made:
    paper = makers.asset_history(asking, given.tag)
    return Made(f"history-{file_name(given.tag)}.pdf", paper, print_pdf(paper))


def _sheet(given: argparse.Namespace, asking: makers.Asking) -> Made:
    day, way = read_day(given.date or ""), read_way(given.method or "")
    paper = makers.field_sheet(asking, given.tag, day, way, fillable=given.fillable)
    name = f"sheet-{file_name(given.tag)}.pdf"
    if not given.fillable:
        return Made(name, paper, print_pdf(paper))
    from dashboard.reports.forms import fillable_pdf

    return Made(name, paper, fillable_pdf(paper))


def _labels(given: argparse.Namespace, asking: makers.Asking) -> Made:
    paper = makers.labels(asking, given.tags, given.area)
    return Made("labels.pdf", paper, print_pdf(paper))


def file_name(tag: str) -> str:
    """Write a tag so that it can stand in the name of a file on every system."""
    return "".join(letter if letter.isalnum() or letter in "-_." else "-" for letter in tag).strip(".") or "machine"


def _mail_settings(given: argparse.Namespace, environ: Mapping[str, str]) -> MailSettings | None:
    """Read the settings before anything is computed: a schedule that cannot send says so at once."""
    to = getattr(given, "mail", None)
    if to is None:
        return None
    return read_mail_settings(
        environ, to=to, server=given.smtp, user=given.smtp_user, sender=given.sender, security=given.security
    )


def _send(
    mail: MailSettings, made: Made, view: MonthView, at: datetime, given: argparse.Namespace, settings: Settings
) -> None:
    # What the paper shows, and not the book asked once more: somebody may have written while it was printed.
    subject, body = mail_texts(view, made.paper.title)
    try:
        send(mail, message_of(mail, subject, body, (made.name, made.pdf), at))
    except MailError as fault:
        # The paper is there, so it is kept although nobody got it.
        _write(made, given.output, settings)
        if given.output == "-":
            raise
        kept = say("report.mail.kept", remedy=fault.remedy, path=given.output or made.name).strip()
        raise MailError(fault.message, remedy=kept) from None
    _say(f"Sent to {', '.join(mail.to)} through {mail.host}.", given)


def _write(made: Made, output: str | None, settings: Settings) -> None:
    if output == "-":
        sys.stdout.buffer.write(made.pdf)
        return
    path = Path(output or made.name)
    put_over(path, made.pdf, PAPER, _ELSEWHERE, settings)
    out.print(f"{path}: {made.paper.title}.", markup=False)


def _say(text: str, given: argparse.Namespace) -> None:
    if given.output != "-":
        out.print(text, markup=False)


def _warn(given: argparse.Namespace, base: str) -> None:
    if given.paper == "sheet" and not base:
        _say(f"The sheet has no code: no address of the reader is known (--address URL, or ${VARIABLE}).", given)
    elif given.paper in {"sheet", "labels"} and only_here(base):
        _say(f"The codes open {base}, which only this very machine can reach.", given)
