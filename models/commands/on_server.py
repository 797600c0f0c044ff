"""What a command on the server signs, voids or amends where people sign in.

Nobody asks there for a password.  The name has to be that of an open account
that may do it at the site, unless whoever looks after the server says that it
shall be done without one; and the entry says in its own words by which way it came.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from models.errors import ConflictError
from models.sentences.told import Told
from models.store.accounts import may_now
from models.store.state import any_account
from models.store.unit import Unit
from models.values.roles import Permission
from models.values.spelling import seen
from models.values.story import Site

NO_PASSWORD: Final = "[By a command on the server, where no password is asked for.]"  # noqa: S105 - words, no secret
NO_ACCOUNT: Final = (
    "[By a command on the server, where no password is asked for; no account of this name was allowed to do it.]"
)


@dataclass(frozen=True, slots=True)
class OnServer:
    """A command on the server; ``without_account`` lets it do under any name what it does."""

    without_account: bool = False


def hold(command: OnServer | None, unit: Unit, site: Site, by: str, needed: Permission) -> None:
    """Refuse a name that may not do it, and let the entries say that a command wrote them; in a book without accounts nothing.

    Parameters
    ----------
    command : OnServer or None
        The command; ``None`` where somebody was asked who they are, or nobody is by design. [unitless]
    unit : Unit
        The open transaction. [unitless]
    site : Site
        The site. [unitless]
    by : str
        The name that was given. [unitless]
    needed : Permission
        What it takes. [unitless]

    Raises
    ------
    ConflictError
        If nobody of that name has an open account that may do it at the site.
    """
    if command is None or not any_account(unit.connection):
        return
    if may_now(unit.connection, site.site_id, by, needed):
        unit.tell(NO_PASSWORD)
        return
    if not command.without_account:
        right = Told(f"told.server.right.{needed.value.replace(' ', '_')}")
        raise ConflictError(
            Told("told.server.no_account", name=seen(by), right=right, site=site.name),
            remedy=Told("told.server.no_account.remedy"),
        )
    unit.tell(NO_ACCOUNT)
