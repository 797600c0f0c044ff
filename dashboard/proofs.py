"""Proofs for people: findings in words, and the auditor's package with its papers."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import datetime
from typing import Protocol
from zoneinfo import ZoneInfo

from dashboard.reports.identity import maker
from dashboard.words import say
from models.errors import AlteredBookError, BookStateError, DriftbookError, UnknownNameError
from models.ledger import package_verifier as form
from models.ledger.findings import Fault, Finding
from models.values.proof import BookProof
from models.values.story import Site

LOG = logging.getLogger("driftbook.proofs")


class Packs(Protocol):
    """What is asked of a book to make a package."""

    def proof(self, site_id: int) -> BookProof | None:
        """Give the newest head of the book."""

    def package(
        self,
        site_id: int,
        tag: str,
        readme: str,
        pdf: bytes | None,
        *,
        made: datetime,
        kept: Sequence[int] = (),
        maker: str = "",
    ) -> bytes:
        """Give the auditor's package of a machine."""


def fault_words(finding: Finding) -> str:
    """Say what does not fit.

    Parameters
    ----------
    finding : Finding
        What was found. [unitless]
    """
    key = f"fault.{finding.fault}"
    if finding.fault in {Fault.ENTRY_MISSING, Fault.UNREADABLE} and finding.upto != finding.entry:
        key += ".several"
    if finding.fault is Fault.UNREADABLE and finding.entry is None:
        key += ".table" if finding.table else ".beside"
    if finding.fault is Fault.INDEX_ROW and finding.entry is not None:
        key += ".one"
    place = f"{finding.table}.{finding.column}" if finding.column else finding.table
    return say(
        key, entry=finding.entry if finding.entry is not None else "–", upto=finding.upto, place=place, table=finding.table,
        found=_quoted(finding.found), said=_quoted(finding.said),
    )  # fmt: skip


def _quoted(text: str | None) -> str:
    return say("fault.nothing") if text is None else f"‘{text}’"


def package_of(
    book: Packs, site: Site, tag: str, now: datetime, *, kept: Sequence[int] = (), pdf: bool = True, by: str = ""
) -> bytes:
    """Make the auditor's package of a machine, with its README and, where one can be printed, its history as PDF.

    Parameters
    ----------
    book : Packs
        The way out of the book. [unitless]
    site : Site
        The site. [unitless]
    tag : str
        The machine. [unitless]
    now : datetime
        Aware moment. [unitless]
    kept : sequence of int
        Sizes of heads that somebody kept. [unitless]
    pdf : bool
        Whether to print the history. [unitless]
    by : str
        For whom, or by what, it is made, in words. [unitless]
    """
    made_by = maker(by)
    proof = book.proof(site.site_id)
    local = now.astimezone(ZoneInfo(site.zone))
    readme = say(
        "package.readme",
        tag=tag,
        site=site.name,
        at=f"{local:%Y-%m-%d %H:%M} ({site.zone})",
        origin=proof.origin if proof else "–",
        maker=made_by,
    )
    history = _history(book, site, tag, now, by) if pdf else None
    return book.package(site.site_id, tag, readme, history, made=now, kept=kept, maker=made_by)


def is_signed(package: bytes) -> bool:
    """Tell whether the key of the book signed the list of files of a package that was just made.

    Parameters
    ----------
    package : bytes
        The package, as :func:`package_of` gives it. [unitless]
    """
    return bool(form.files_of(package)[form.MANIFEST].partition(b"\n\n")[2].strip())


def _history(book: Packs, site: Site, tag: str, now: datetime, by: str) -> bytes | None:
    from dashboard.reports import makers
    from dashboard.reports.press import print_pdf

    try:
        asking = makers.Asking(book, site, site.display, now, by=by)  # type: ignore[arg-type]
        return print_pdf(makers.asset_history(asking, tag, only_as_written=True))
    except (UnknownNameError, BookStateError, AlteredBookError):
        raise  # there is no such machine, no book to ask, or it is not what was written: then there is no package either
    except (DriftbookError, ImportError, OSError):
        # The package proves without it; what is missing is only the paper for reading.
        LOG.warning("The history of %s could not be printed; the package goes without it.", tag, exc_info=True)
        return None
