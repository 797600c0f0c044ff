"""What a callback may reach from inside a request: the reader, the settings and the clock.

This is the only place that asks Flask for the running application, so that
two applications in one process (tests) never see one another's book.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from typing import Any, Protocol, cast
from zoneinfo import ZoneInfo

from flask import Flask, current_app, g, has_request_context

from dashboard.auth.access import Access, Signed
from dashboard.auth.guarded import GuardedBook, GuardedDesk, GuardedKeepingBook
from dashboard.desk import Desk
from dashboard.picture import HistoryBook, Keeping
from dashboard.pictures import Pictures
from models.ledger.findings import Finding
from models.settings import Settings
from models.values.decision import DecisionRule
from models.values.entry import AdoptedLimits, EntryFilter, EntryPage, EntryStory, Stated
from models.values.limits import LimitSet
from models.values.looked_at import LookedAt
from models.values.people import Instrument, Person
from models.values.proof import BookProof, Misfit
from models.values.story import AssetStory, SiteSetting

KEY = "DRIFTBOOK"

Clock = Callable[[], datetime]
"""Gives the present time, with a zone."""


class Book(HistoryBook, Protocol):
    """What the pages ask of a book; ``models.store.reader.Reader`` answers it."""

    def story(self, site_id: int, tag: str) -> AssetStory | None:
        """Give everything about one asset; ``None`` where the site has no such tag."""

    def instruments(self, site_id: int) -> tuple[Instrument, ...]:
        """Give the instruments of a site."""

    def limit_set(self, site_id: int) -> LimitSet | None:
        """Give the limit set that is in force today."""

    def entries(
        self, site_id: int, asked: EntryFilter, *, before: int | None = None, after: int | None = None, most: int = 50
    ) -> EntryPage:
        """Give one page of the entries that answer, the newest first."""

    def entry(self, site_id: int, number: int) -> EntryStory | None:
        """Give everything that one entry says; ``None`` where the site has no such entry."""

    def differences(self, site_id: int, number: int) -> Sequence[Finding]:
        """Give in what the rows of one entry are not what its statement says; nothing where they agree."""

    def limit_sets(self, site_id: int) -> tuple[AdoptedLimits, ...]:
        """Give every version of every limit set, in order of the day of adoption."""

    def site_settings(self, site_id: int) -> tuple[SiteSetting, ...]:
        """Give how a site was set, entry by entry, the oldest first: the last one holds."""

    def people(self, site_id: int) -> tuple[Person, ...]:
        """Give the people of a site, by name."""

    def instrument_versions(self, site_id: int) -> tuple[Instrument, ...]:
        """Give every version of every instrument, in order of entry."""

    def stated_people(self, site_id: int) -> tuple[Stated[Person], ...]:
        """Give every version of every person, each with its entry, in their order."""

    def stated_instruments(self, site_id: int) -> tuple[Stated[Instrument], ...]:
        """Give every version of every instrument, each with its entry, in their order."""

    def stated_rules(self, site_id: int) -> tuple[Stated[DecisionRule], ...]:
        """Give every decision rule that the site has chosen, each with its entry and reason, in their order."""

    def signed(self, site_id: int) -> frozenset[int]:
        """Give the numbers of all entries of a site that bear a sign-off."""

    def looked_at(self, site_id: int, entries: Sequence[int]) -> LookedAt:
        """Give who reviewed and who signed some jobs, by the numbers of their entries."""

    def undecided(self, site_id: int, entries: Sequence[int]) -> int:
        """Count the jobs, by the numbers of their entries, whose as-left a guarded decision rule left undecided."""

    def proof(self, site_id: int) -> BookProof | None:
        """Give the newest head of the book; ``None`` before there is one."""

    def misfit(self, site_id: int, story: AssetStory, upto: int) -> Misfit | None:
        """Give the first thing in which a story is not what was written; ``None`` where there is none."""

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

    def calendar_site(self, secret: str) -> int | None:
        """Give the site whose calendar a secret address shows; ``None`` where there is none, or no more."""


class Chooser(Protocol):
    """Says from which server a request is read; ``dashboard.copies.Copy`` does, where there is a replica."""

    def chosen(self, here: Context) -> Context:
        """Give the context of this request."""


@dataclass(frozen=True, slots=True)
class Context:
    """Everything that a page may reach.

    Without a desk nothing can be written; without a door nobody is asked who they are.  ``copied`` says how far
    a replica has come from which this request is read; empty where it is not, or not behind.
    """

    settings: Settings
    book: Book
    clock: Clock
    desk: Desk | None = None
    pictures: Pictures = field(default_factory=Pictures)
    access: Access | None = None
    copy: Chooser | None = None
    copied: str = ""

    def today(self, zone: str) -> date:
        """Give the day that it is now on a site's calendar."""
        return self.clock().astimezone(ZoneInfo(zone)).date()


def system_clock() -> datetime:
    """Give the present time; the only place of the reader that asks the machine for it."""
    return datetime.now(UTC)


def install(server: Flask, context: Context) -> None:
    """Put the context where :func:`context` finds it."""
    server.config[KEY] = context


def as_read(here: Context) -> Context:
    """Give the context with the book of the server from which this request is read."""
    return here if here.copy is None else here.copy.chosen(here)


def context() -> Context:
    """Give the context of the application that answers this request, with book and desk as far as who is signed in may go.

    They go nowhere for nobody, where somebody has to be signed in.
    """
    config = cast("dict[str, Any]", current_app.config)
    here = as_read(cast("Context", config[KEY]))
    if here.access is None or not here.access.needed():
        return here
    who = cast("Signed | None", g.get("signed", None)) if has_request_context() else None
    kind = GuardedKeepingBook if isinstance(here.book, Keeping) else GuardedBook
    desk = None if here.desk is None else cast("Desk", GuardedDesk(here.desk, who))
    return replace(here, book=cast("Book", kind(here.book, who)), desk=desk)
