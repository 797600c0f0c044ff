"""Book and desk as far as somebody who is signed in may go: their sites, and what they may do at each.

The gate looks at what is called; this looks at the site that it is called for, which the
browser could name wrongly.  What is not known here is refused.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any, Final, cast

from dashboard.auth.access import NotAllowedError, Signed
from dashboard.desk import Desk, Handed
from dashboard.picture import HistoryBook, Keeping
from dashboard.words import say
from models.values.roles import Permission
from models.values.story import JobLine, Site


def need(who: Signed | None, permission: Permission, site_id: object) -> Signed:
    """Give who it is, if they may do that at a site.

    Raises
    ------
    NotAllowedError
        If not.
    """
    if who is None or not isinstance(site_id, int) or not who.may(permission, site_id):
        raise NotAllowedError(
            say("gate.roles", needed=say(f"permission.{permission.value}")), remedy=say("gate.remedy")
        )
    return who


def need_somebody(who: Signed | None) -> None:
    """Refuse where nobody is signed in."""
    if who is None:
        raise NotAllowedError(say("gate.signed_out"))


class GuardedBook:
    """A book that shows the sites of one person."""

    def __init__(self, book: HistoryBook, who: Signed | None) -> None:
        self._book, self._who = book, who

    def sites(self) -> tuple[Site, ...]:
        """Give the sites that they may read."""
        who = self._who
        return tuple(site for site in self._book.sites() if who and who.may(Permission.READ, site.site_id))

    def head(self) -> int:
        """Give the number of the last entry."""
        return self._book.head() if self._who is not None else 0

    def __getattr__(self, name: str) -> Callable[..., Any]:
        """Give a question to the book; every one takes the site that it is about first."""
        asked = getattr(self._book, name)
        if not callable(asked):  # the engine, for what reads it after the gate has looked at route and site
            need_somebody(self._who)
            return cast("Callable[..., Any]", asked)

        def ask(*given: Any, **named: Any) -> Any:
            need(self._who, Permission.READ, given[0] if given else named.get("site_id"))
            return asked(*given, **named)

        return ask


class GuardedKeepingBook(GuardedBook):
    """The same for a book that keeps pictures between two starts; it is told from others by these names."""

    def kept_picture(self, site_id: int) -> Any:
        """Give what was kept of a site."""
        return self.__getattr__("kept_picture")(site_id)

    def keep_picture(self, site_id: int, history: Any, study: Any, derived: Any = None) -> None:
        """Keep a picture of a site."""
        self.__getattr__("keep_picture")(site_id, history, study, derived)

    def history_to_keep(self, site_id: int) -> Any:
        """Give the history of a site, which is going to be kept."""
        return self.__getattr__("history_to_keep")(site_id)

    def forget(self, site_id: int) -> None:
        """Let go of what was read of a site; that shows nothing, so it is asked of nobody whether they may read it."""
        cast("Keeping", self._book).forget(site_id)

    def prepare(self, site_id: int) -> None:
        """Make ready what the pages of a site ask for."""
        self.__getattr__("prepare")(site_id)


ASKS: Final = {
    "limit_set": Permission.READ,
    "tag_of": Permission.READ,
    "why_no_signature": Permission.SIGN_OFF,
}
"""Questions to the desk that write nothing."""

WRITES: Final = {
    "sign_off": Permission.SIGN_OFF,
    "void": Permission.AMEND,
    "bring_in": Permission.IMPORT,
    "set_site": Permission.ADMINISTER,
}
"""What the desk writes besides jobs, each with the author as ``by``."""


class GuardedDesk:
    """A desk that writes in the name of one person."""

    def __init__(self, desk: Desk, who: Signed | None) -> None:
        self._desk, self._who = desk, who

    def hand_in(self, site: Site, handed: Handed, now: datetime) -> JobLine:
        """Write a job or an amendment in the name of who is signed in."""
        permission = Permission.RECORD if handed.amends is None else Permission.AMEND
        who = need(self._who, permission, site.site_id)
        return self._desk.hand_in(site, replace(handed, by=who.account.person(site.site_id)), now)

    def __getattr__(self, name: str) -> Callable[..., Any]:
        """Give what the desk does; the site comes first."""
        permission = ASKS.get(name) or WRITES.get(name)
        if permission is None:
            raise NotAllowedError(say("gate.unknown"))
        done = getattr(self._desk, name)

        def do(site: Site, *given: Any, **named: Any) -> Any:
            who = need(self._who, permission, site.site_id)
            if name in WRITES:
                named["by"] = who.account.person(site.site_id)
            return done(site, *given, **named)

        return do
