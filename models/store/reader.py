"""The reader: one object that answers every question of the screens from one state of the book."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from models.history.columns import History
from models.history.engine import Study, without_predictions
from models.ledger.findings import Finding
from models.store import known as ask
from models.store.calendar_addresses import find_address
from models.store.columns import Held, read_held
from models.store.course import kept_up_to
from models.store.decisions import undecided_left
from models.store.entries import page_of_entries, read_entries
from models.store.entry_columns import EntryColumns, cut, grown
from models.store.growth import grow, newest
from models.store.one_entry import read_entry
from models.store.proofs import book_mark, one_state, read_proof, root_of
from models.store.signoffs import looked_at, signed_entries
from models.store.snapshot import Kept, Snapshots
from models.store.story import read_story
from models.store.tree_proofs import KeptTree
from models.store.versions import (
    read_instrument_versions,
    read_limit_sets,
    read_people,
    read_site_settings,
    stated_instruments,
    stated_people,
    stated_rules,
)
from models.tables.base import to_microseconds
from models.values.calibration import calibrated_on
from models.values.decision import DecisionRule
from models.values.entry import AdoptedLimits, EntryFilter, EntryPage, EntryStory, Stated
from models.values.limits import LimitSet
from models.values.looked_at import LookedAt
from models.values.people import Instrument, Person
from models.values.proof import BookProof, Misfit
from models.values.site_day import day_at, day_number_at
from models.values.story import AssetStory, Site, SiteSetting

INLINE = 20_000
"""So many newer entries are read while a page of them waits; more are read beforehand, or asked for in the book itself."""

STORIES = 8
"""So many machines' stories are kept: a page comes in parts, and each part asks for the same story."""


class Reader:
    """Answers questions; keeps each site's history in memory, keyed by the number of the last entry.

    Safe for several threads: a history is a frozen value and is swapped whole.
    With a folder for it, large histories outlive the process; see ``models.store.snapshot``.
    """

    def __init__(self, engine: sa.Engine, cache: Path | None = None) -> None:
        self._engine = engine
        self._snapshots = None if cache is None else Snapshots(cache)
        self._lock = threading.Lock()
        self._held: dict[int, Held] = {}
        self._to_keep: dict[int, Held] = {}
        self._entry_lock = threading.Lock()
        self._entries: dict[int, EntryColumns] = {}
        self._story_lock = threading.Lock()
        self._stories: OrderedDict[tuple[int, str, int], tuple[date | None, AssetStory]] = OrderedDict()
        self._tree = KeptTree()

    @property
    def engine(self) -> sa.Engine:
        """Give the engine of the book, for questions that are not about the history."""
        return self._engine

    def head(self) -> int:
        """Give the number of the last entry; 0 for an empty book."""
        with self._engine.connect() as connection:
            return newest(connection)

    def book_mark(self) -> str | None:
        """Give what names the book and every copy of it, and no other book."""
        with self._engine.connect() as connection:
            return book_mark(connection)

    def root_at(self, size: int) -> str | None:
        """Give the root over the first so many entries, as hex; ``None`` where none is kept of just so many."""
        with self._engine.connect() as connection:
            root = root_of(connection, size)
        return None if root is None else root.hex()

    def sites(self) -> tuple[Site, ...]:
        """Give the sites as they are set today."""
        with self._engine.connect() as connection:
            return ask.sites(connection)

    def history(self, site_id: int) -> History:
        """Give the history of a site, reading only what is newer than what is held.

        Raises
        ------
        KeyError
            If there is no such site.
        """
        with self._engine.connect() as connection:
            # One transaction, so that the number of the last entry and the rows belong together.
            head = newest(connection)
            held = self._held.get(site_id)
            if held is not None and held.history.head == head and held.day == day_number_at(held.history.zone):
                return held.history
            with self._lock:
                held = self._held.get(site_id)
                if held is None or held.history.head < head or held.day != day_number_at(held.history.zone):
                    held = self._brought_up(connection, site_id, held, head)
                    kept_up_to(connection)
                    self._held[site_id] = held
                return held.history

    def _brought_up(self, connection: sa.Connection, site_id: int, held: Held | None, head: int) -> Held:
        site = next((site for site in ask.sites(connection) if site.site_id == site_id), None)
        if site is None:
            raise KeyError(site_id)
        if held is None and self._snapshots is not None:
            kept = self._snapshots.load(connection, site_id, head)
            held = None if kept is None else kept.held
        day = day_number_at(site.zone)
        return read_held(connection, site, head, day) if held is None else grow(connection, site, held, head, day)

    def kept_picture(self, site_id: int) -> tuple[History, Study | None, dict[Any, Any]] | None:
        """Give what was kept of a large history when the book was open last, and begin with it; ``None`` without.

        Parameters
        ----------
        site_id : int
            The site. [unitless]

        Returns
        -------
        tuple of History, (Study or None) and dict, or None
            Up to some entry of the past; and what was worked out of both.
        """
        if self._snapshots is None:
            return None
        with self._engine.connect() as connection:
            kept = self._snapshots.load(connection, site_id, newest(connection))
        if kept is None:
            return None
        with self._lock:
            self._held.setdefault(site_id, kept.held)
            if kept.entries is not None:
                self._entries.setdefault(site_id, kept.entries)
        return kept.held.history, kept.study, dict(kept.derived)

    def history_to_keep(self, site_id: int) -> History:
        """Give the history of a site, and hold it until it is kept, whatever is written meanwhile.

        Parameters
        ----------
        site_id : int
            The site. [unitless]
        """
        while True:
            history = self.history(site_id)
            with self._lock:
                held = self._held.get(site_id)
                if held is not None and held.history is history:
                    self._to_keep[site_id] = held
                    return history

    def forget(self, site_id: int) -> None:
        """Let go of what was read of a site: it is read again when somebody asks.

        Parameters
        ----------
        site_id : int
            The site. [unitless]
        """
        with self._lock, self._entry_lock:
            self._held.pop(site_id, None)
            self._to_keep.pop(site_id, None)
            self._entries.pop(site_id, None)

    def keep_picture(
        self, site_id: int, history: History, study: Study | None, derived: Mapping[Any, Any] | None = None
    ) -> None:
        """Keep a large history and what it says for the next start, where there is a folder for it and it is worth it.

        Parameters
        ----------
        site_id : int
            The site. [unitless]
        history : History
            The latest history, or that of :meth:`history_to_keep`; nothing is kept of another. [unitless]
        study : Study or None
            What it says. [unitless]
        derived : mapping, optional
            What was worked out of both. [unitless]
        """
        with self._lock:
            known = (self._to_keep.pop(site_id, None), self._held.get(site_id))
        held = next((one for one in known if one is not None and one.history is history), None)
        if self._snapshots is None or held is None:
            return
        # The predictions of the past are as long as the history and were scored: no page looks at them again.
        study = None if study is None else without_predictions(study)
        entries = self._entries.get(site_id)
        if entries is not None:
            # What binds a snapshot to its book is the last entry of the history: nothing in it may reach further.
            entries = cut(entries, history.head)
        kept = Kept(held, study, tuple((derived or {}).items()), entries)
        if self._snapshots.wanted(site_id, kept):
            with self._engine.connect() as connection:
                self._snapshots.save(connection, site_id, kept)

    def story(self, site_id: int, tag: str) -> AssetStory | None:
        """Give everything about one asset; ``None`` if there is none of that tag."""
        with self._engine.connect() as connection:
            # Everything in a story is said by entries: up to the same entry it is the same story, as long as it is the
            # same day at the site, for a description holds from a day on.
            place = (site_id, tag, newest(connection))
            with self._story_lock:
                day, known = self._stories.get(place, (None, None))
                if known is not None and day == day_at(known.site.zone):
                    self._stories.move_to_end(place)
                    return known
            site = next((site for site in ask.sites(connection) if site.site_id == site_id), None)
            day = None if site is None else day_at(site.zone)
            story = None if site is None else read_story(connection, site, tag)
            kept_up_to(connection)
        if story is not None:
            with self._story_lock:
                self._stories[place] = (day, story)
                while len(self._stories) > STORIES:
                    self._stories.popitem(last=False)
        return story

    def instruments(self, site_id: int) -> tuple[Instrument, ...]:
        """Give the instruments of a site with the calibration that counts today, by serial."""
        with self._engine.connect() as connection:
            found = ask.instruments(connection, site_id)
            today = ask.today(connection, site_id) if found else date.min
        return tuple(calibrated_on(found[serial][1], today) for serial in sorted(found))

    def limit_set(self, site_id: int) -> LimitSet | None:
        """Give the limit set in force today."""
        with self._engine.connect() as connection:
            site = next((site for site in ask.sites(connection) if site.site_id == site_id), None)
            if site is None:
                return None
            adopted = ask.in_force(ask.limit_sets(connection, site_id), day_at(site.zone))
        return None if adopted is None else adopted.limit_set

    def entries(
        self, site_id: int, asked: EntryFilter, *, before: int | None = None, after: int | None = None, most: int = 50
    ) -> EntryPage:
        """Give one page of the entries of a site that answer, the newest first."""
        with self._engine.connect() as connection:
            columns = self._entry_columns(connection, site_id, INLINE)
            if columns is None:
                return read_entries(connection, site_id, asked, before=before, after=after, most=most)
            return page_of_entries(connection, site_id, columns, asked, before=before, after=after, most=most)

    def prepare(self, site_id: int) -> None:
        """Read the entries of a large book into memory, so that no filter of them has to walk through the book.

        Parameters
        ----------
        site_id : int
            The site. [unitless]
        """
        with self._engine.connect() as connection:
            self._entry_columns(connection, site_id, None)

    def _entry_columns(self, connection: sa.Connection, site_id: int, most: int | None) -> EntryColumns | None:
        """Give the entries of a site as columns; ``None`` where more than ``most`` would have to be read for it."""
        head = newest(connection)
        held = self._entries.get(site_id, EntryColumns())
        if held.last == head:
            return held
        if most is not None and head - held.last > most:
            return None
        with self._entry_lock:
            held = self._entries.get(site_id, EntryColumns())
            # Another thread may have read further by now; what this transaction does not see is asked for later.
            if held.last < head:
                held = self._entries[site_id] = grown(connection, site_id, held, head)
                kept_up_to(connection)
            return held

    def entry(self, site_id: int, number: int) -> EntryStory | None:
        """Give everything that one entry says; ``None`` if the site has none of that number."""
        with self._engine.connect() as connection:
            site = next((site for site in ask.sites(connection) if site.site_id == site_id), None)
            return None if site is None else read_entry(connection, site, number)

    def differences(self, site_id: int, number: int) -> list[Finding]:
        """Give in what the rows of one entry are not what its statement says; nothing of an entry that the site has not."""
        from models.store.as_written import differences_in

        with one_state(self._engine) as connection:
            return differences_in(connection, site_id, number)

    def limit_sets(self, site_id: int) -> tuple[AdoptedLimits, ...]:
        """Give every version of every limit set, in order of the day of adoption, then of entry."""
        with self._engine.connect() as connection:
            return read_limit_sets(connection, site_id)

    def site_settings(self, site_id: int) -> tuple[SiteSetting, ...]:
        """Give how a site was set, entry by entry, the oldest first: the last one holds."""
        with self._engine.connect() as connection:
            return read_site_settings(connection, site_id)

    def people(self, site_id: int) -> tuple[Person, ...]:
        """Give the people of a site as they are known today, by name."""
        with self._engine.connect() as connection:
            return read_people(connection, site_id)

    def instrument_versions(self, site_id: int) -> tuple[Instrument, ...]:
        """Give every version of every instrument, in order of entry: each calibration is one."""
        with self._engine.connect() as connection:
            return read_instrument_versions(connection, site_id)

    def stated_people(self, site_id: int) -> tuple[Stated[Person], ...]:
        """Give every version of every person, each with its entry."""
        with self._engine.connect() as connection:
            return stated_people(connection, site_id)

    def stated_instruments(self, site_id: int) -> tuple[Stated[Instrument], ...]:
        """Give every version of every instrument, each with its entry."""
        with self._engine.connect() as connection:
            return stated_instruments(connection, site_id)

    def stated_rules(self, site_id: int) -> tuple[Stated[DecisionRule], ...]:
        """Give every decision rule that the site has chosen, each with its entry and reason."""
        with self._engine.connect() as connection:
            return stated_rules(connection, site_id)

    def signed(self, site_id: int) -> frozenset[int]:
        """Give the numbers of all entries of a site that bear a sign-off."""
        with self._engine.connect() as connection:
            return signed_entries(connection, site_id)

    def looked_at(self, site_id: int, entries: Sequence[int]) -> LookedAt:
        """Give who reviewed and who signed some jobs, by the numbers of their entries."""
        with self._engine.connect() as connection:
            return looked_at(connection, site_id, entries)

    def undecided(self, site_id: int, entries: Sequence[int]) -> int:
        """Count the jobs, by the numbers of their entries, whose as-left a guarded decision rule left undecided."""
        del site_id
        with self._engine.connect() as connection:
            return undecided_left(connection, entries)

    def proof(self, site_id: int) -> BookProof | None:
        """Give the newest head of the book, which is one for all sites; ``None`` before there is one."""
        del site_id
        with self._engine.connect() as connection:
            return read_proof(connection)

    def misfit(self, site_id: int, story: AssetStory, upto: int) -> Misfit | None:
        """Give the first thing in which a story is not what was written; see ``models.store.as_written``."""
        from models.store.as_written import misfit_of

        del site_id  # the gate asks whether it may be read
        with one_state(self._engine) as connection:
            return misfit_of(connection, self._tree, story, upto)

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
        """Give the auditor's package of a machine; see ``models.store.audit_package``."""
        from models.store.audit_package import Papers, audit_package

        with one_state(self._engine) as connection:
            return audit_package(
                connection, site_id, tag, Papers(readme, pdf, maker), made_us=to_microseconds(made), kept=kept
            )

    def calendar_site(self, secret: str) -> int | None:
        """Give the site whose calendar a secret address shows; ``None`` if there is none, or it has ended."""
        with self._engine.connect() as connection:
            found = find_address(connection, secret)
        return None if found is None else found.site_id
