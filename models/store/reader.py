"""The reader: one object that answers every question of the screens from one state of the book."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from models.history.columns import History
from models.store import known as ask
from models.store.columns import EMPTY, RawJobs, build_history, read_newer
from models.store.entries import read_entries
from models.store.one_entry import read_entry
from models.store.story import read_story
from models.store.versions import read_instrument_versions, read_limit_sets, read_people
from models.tables.book import EntryRow
from models.values.entry import AdoptedLimits, EntryFilter, EntryPage, EntryStory
from models.values.limits import LimitSet
from models.values.people import Instrument, Person
from models.values.story import AssetStory, Site


class Reader:
    """Answers questions; keeps each site's history in memory, keyed by the number of the last entry.

    Safe for several threads: a history is a frozen value and is swapped whole.
    """

    def __init__(self, engine: sa.Engine) -> None:
        self._engine = engine
        self._lock = threading.Lock()
        self._raw: dict[int, RawJobs] = {}
        self._kept: dict[int, History] = {}

    def head(self) -> int:
        """Give the number of the last entry; 0 for an empty book."""
        with self._engine.connect() as connection:
            return connection.execute(sa.select(sa.func.max(EntryRow.number))).scalar() or 0

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
            head = connection.execute(sa.select(sa.func.max(EntryRow.number))).scalar() or 0
            kept = self._kept.get(site_id)
            if kept is not None and kept.head == head:
                return kept
            with self._lock:
                kept = self._kept.get(site_id)
                if kept is not None and kept.head >= head:
                    return kept
                site = next((site for site in ask.sites(connection) if site.site_id == site_id), None)
                if site is None:
                    raise KeyError(site_id)
                raw = read_newer(connection, site_id, self._raw.get(site_id, EMPTY))
                history = build_history(connection, site, raw, head)
                self._raw[site_id] = raw
                self._kept[site_id] = history
                return history

    def story(self, site_id: int, tag: str) -> AssetStory | None:
        """Give everything about one asset; ``None`` if there is none of that tag."""
        with self._engine.connect() as connection:
            site = next((site for site in ask.sites(connection) if site.site_id == site_id), None)
            return None if site is None else read_story(connection, site, tag)

    def instruments(self, site_id: int) -> tuple[Instrument, ...]:
        """Give the instruments of a site as they are known today, by serial."""
        with self._engine.connect() as connection:
            found = ask.instruments(connection, site_id)
        return tuple(found[serial][1] for serial in sorted(found))

    def limit_set(self, site_id: int) -> LimitSet | None:
        """Give the limit set in force today."""
        with self._engine.connect() as connection:
            site = next((site for site in ask.sites(connection) if site.site_id == site_id), None)
            if site is None:
                return None
            adopted = ask.in_force(
                ask.limit_sets(connection, site_id), datetime.now(UTC).astimezone(ZoneInfo(site.zone)).date()
            )
        return None if adopted is None else adopted.limit_set

    def entries(
        self, site_id: int, asked: EntryFilter, *, before: int | None = None, after: int | None = None, most: int = 50
    ) -> EntryPage:
        """Give one page of the entries of a site that answer, the newest first."""
        with self._engine.connect() as connection:
            return read_entries(connection, site_id, asked, before=before, after=after, most=most)

    def entry(self, site_id: int, number: int) -> EntryStory | None:
        """Give everything that one entry says; ``None`` if the site has none of that number."""
        with self._engine.connect() as connection:
            site = next((site for site in ask.sites(connection) if site.site_id == site_id), None)
            return None if site is None else read_entry(connection, site, number)

    def limit_sets(self, site_id: int) -> tuple[AdoptedLimits, ...]:
        """Give every version of every limit set, in order of the day of adoption, then of entry."""
        with self._engine.connect() as connection:
            return read_limit_sets(connection, site_id)

    def people(self, site_id: int) -> tuple[Person, ...]:
        """Give the people of a site as they are known today, by name."""
        with self._engine.connect() as connection:
            return read_people(connection, site_id)

    def instrument_versions(self, site_id: int) -> tuple[Instrument, ...]:
        """Give every version of every instrument, in order of entry: each calibration is one."""
        with self._engine.connect() as connection:
            return read_instrument_versions(connection, site_id)
