"""Which requests are read from a replica, and what a page says while the replica is behind.

What only shows is read from it: the pages, their tables as files, calendars, the papers
about the past.  Everything else is read from the book's own server: the Record page and
the sheet for the next job, signing, accounts, the interface, and all that is written.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any, Final

import dash
from flask import g, has_request_context, request

from dashboard import roles
from dashboard.context import Clock, Context
from dashboard.desk import Asked, Brought, Desk, Handed, KeepRefused
from dashboard.files.routes import CALENDAR, TABLE
from dashboard.reports.routes import ASSET, LABELS, MONTH
from dashboard.warming import pictures_of
from dashboard.words import say
from dashboard.writing import count
from models.commands.report import Report
from models.errors import DriftbookError
from models.store.replica import Replica, Standing
from models.values.kinds import Meaning
from models.values.limits import LimitSet
from models.values.roles import Permission
from models.values.story import JobLine, Site, SiteSetting

ROUTES: Final = frozenset({TABLE, CALENDAR, MONTH, ASSET, LABELS})
"""Addresses of files that only show, by endpoint."""

PATIENCE_S: Final = 1.5
"""So long the first pages after a job wait for the replica to take it over. [s]"""

JUST_S: Final = 4.0
"""A job that was recorded longer ago is not waited for: the replica is behind for longer than a moment. [s]"""

MOST_WRITERS: Final = 1_000


class Copy:
    """The replica of one application, and who has just written what."""

    def __init__(self, replica: Replica, clock: Clock) -> None:
        self.replica = replica
        self.pictures = pictures_of(replica.book, clock)
        self._lock = threading.Lock()
        self._own: OrderedDict[str, tuple[int, float]] = OrderedDict()

    def chosen(self, here: Context) -> Context:
        """Give the context of a request: with the replica's book where it only shows and the replica can be used."""
        if not has_request_context() or not _only_shows():
            return here
        if "copied" not in g:
            g.copied = self._look()
        found: tuple[Standing, int] | None = g.copied
        if found is None:
            return here
        return replace(here, book=self.replica.book, pictures=self.pictures, copied=told(*found))

    def written(self, entry: int) -> None:
        """Remember that whoever asks has just written an entry."""
        if has_request_context():
            with self._lock:
                self._own[_asker()] = (entry, time.monotonic())
                while len(self._own) > MOST_WRITERS:
                    self._own.popitem(last=False)

    def _look(self) -> tuple[Standing, int] | None:
        with self._lock:
            entry, at = self._own.get(_asker(), (0, 0.0))
        just = entry and time.monotonic() - at < JUST_S
        standing = self.replica.wait_for(entry, PATIENCE_S) if just else self.replica.look()
        return None if standing is None else (standing, entry)


def told(standing: Standing, own: int = 0) -> str:
    """Say up to which entry a page shows the book, where that is not all of it; nothing otherwise.

    Parameters
    ----------
    standing : Standing
        How far the replica has come. [unitless]
    own : int
        The last entry that whoever asks has written here, 0 for none. [unitless]
    """
    shown = count(standing.head)
    if own > standing.head:
        return say("copy.own", own=count(own), shown=shown)
    if standing.newest is None:
        return say("copy.alone", shown=shown)
    return say("copy.behind", shown=shown, head=count(standing.newest)) if standing.behind else ""


def _only_shows() -> bool:
    if request.endpoint != roles.UPDATE:
        return request.endpoint in ROUTES
    body = request.get_json(silent=True)
    if not isinstance(body, dict):
        return False
    return roles.of_callback(body.get("output")) == frozenset({Permission.READ}) and not _about_to_write(body)


def _about_to_write(body: dict[str, Any]) -> bool:
    """Tell whether the frame is asked for around a page on which something is written."""
    texts = [one.get("value") for one in body.get("inputs", []) if isinstance(one, dict)]
    return any(text in roles.PAGES for text in texts if isinstance(text, str))


def _asker() -> str:
    """Give what tells one browser or program from another; kept in memory only."""
    return repr((request.remote_addr, sorted(request.cookies.items()), request.headers.get("User-Agent")))


class NotedDesk:
    """A desk that tells the replica's keeper what was written."""

    def __init__(self, desk: Desk, written: Callable[[int], None]) -> None:
        self._desk, self._written = desk, written

    def limit_set(self, site: Site, day: Any) -> LimitSet | None:
        """Give the limit set that was in force at a site on a day."""
        return self._desk.limit_set(site, day)

    def tag_of(self, site: Site, entry: int) -> str | None:
        """Give the tag of the machine whose job an entry says."""
        return self._desk.tag_of(site, entry)

    def hand_in(self, site: Site, handed: Handed, now: datetime) -> JobLine:
        """Write a job or an amendment."""
        line = self._desk.hand_in(site, handed, now)
        self._written(line.entry)
        return line

    def sign_off(
        self, site: Site, entry: int, *, meaning: Meaning, by: str, now: datetime, made_from: str, remark: str = ""
    ) -> int:
        """Write a signature."""
        signed = self._desk.sign_off(site, entry, meaning=meaning, by=by, now=now, made_from=made_from, remark=remark)
        self._written(signed)
        return signed

    def why_no_signature(self, site: Site, entry: int, by: str) -> DriftbookError | None:
        """Give why somebody cannot sign a job; ``None`` where they can."""
        return self._desk.why_no_signature(site, entry, by)

    def void(
        self, site: Site, entry: int, *, by: str, now: datetime, why: str, made_from: str, back: bool = False
    ) -> JobLine:
        """Write that a job is void, or that a void one counts again."""
        line = self._desk.void(site, entry, by=by, now=now, why=why, made_from=made_from, back=back)
        self._written(line.entry)
        return line

    def set_site(self, site: Site, asked: Asked, *, by: str, now: datetime, why: str, made_from: str) -> SiteSetting:
        """Write how a site is set from now on."""
        setting = self._desk.set_site(site, asked, by=by, now=now, why=why, made_from=made_from)
        self._written(setting.entry)
        return setting

    def bring_in(
        self, site: Site, brought: Brought, *, by: str, now: datetime, keep_refused: KeepRefused | None = None
    ) -> Report:
        """Import sheets, or only look at what that would do."""
        report = self._desk.bring_in(site, brought, by=by, now=now, keep_refused=keep_refused)
        if report.written and report.last_entry is not None:
            self._written(report.last_entry)
        return report


def read_again(app: dash.Dash, copy: Copy) -> None:
    """Let a request in which the replica failed be answered once more, from the book's own server.

    Parameters
    ----------
    app : dash.Dash
        The application. [unitless]
    copy : Copy
        Its replica. [unitless]
    """
    views = app.server.view_functions
    for endpoint in (roles.UPDATE, *ROUTES):
        views[endpoint] = _twice(views[endpoint], copy.replica)


def _twice(make: Callable[..., Any], replica: Replica) -> Callable[..., Any]:
    """Give a view that is asked again where the replica failed meanwhile; a callback tells its faults in its answer."""

    def failed(before: int) -> bool:
        return replica.faults != before and g.get("copied") is not None

    def answer(*args: Any, **kwargs: Any) -> Any:
        before = replica.faults
        try:
            made = make(*args, **kwargs)
        except DriftbookError:
            if not failed(before):
                raise
        else:
            if not failed(before):
                return made
        g.copied = None
        return make(*args, **kwargs)

    return answer
