"""Roles, what each of them may do, and accounts that hold them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from models.errors import InvalidValueError
from models.sentences.told import Told


class Role(StrEnum):
    """What somebody is to a book; one person may be several of them, and another at another site."""

    READER = "reader"
    RECORDER = "recorder"
    ENGINEER = "engineer"
    AUDITOR = "auditor"
    ADMINISTRATOR = "administrator"


class Permission(StrEnum):
    """What can be allowed.

    ``OPEN`` needs nobody to be signed in, ``SELF`` anybody who is; no role grants
    these two.  ``TOKEN`` is the way in for programs: a token is asked for there
    instead of a session, and the interface itself checks what the token may do.
    """

    OPEN = "open"
    SELF = "self"
    TOKEN = "token"  # noqa: S105 - the word for it, no secret
    READ = "read"
    RECORD = "record"
    AMEND = "amend"
    IMPORT = "import"
    SIGN_OFF = "sign off"
    LIMITS = "limits"
    AUDIT = "audit"
    ADMINISTER = "administer"


_P = Permission

GRANTS: Mapping[Role, frozenset[Permission]] = {
    Role.READER: frozenset({_P.READ}),
    Role.RECORDER: frozenset({_P.READ, _P.RECORD, _P.AMEND}),
    Role.ENGINEER: frozenset({_P.READ, _P.RECORD, _P.AMEND, _P.IMPORT, _P.SIGN_OFF, _P.LIMITS, _P.AUDIT}),
    Role.AUDITOR: frozenset({_P.READ, _P.AUDIT}),
    Role.ADMINISTRATOR: frozenset({_P.READ, _P.ADMINISTER}),
}
"""The one table of roles.  Whoever looks after accounts and site writes nothing into the history of a machine, and an auditor changes nothing."""


def granted(roles: Iterable[Role]) -> frozenset[Permission]:
    """Give everything that several roles may do together."""
    return frozenset().union(*(GRANTS[role] for role in roles))


def roles_of(names: Iterable[str]) -> tuple[Role, ...]:
    """Read names of roles, in the order of the table.

    Raises
    ------
    InvalidValueError
        If one is no role.
    """
    asked = {name.strip().lower() for name in names if name.strip()}
    known = {str(role) for role in Role}
    for name in sorted(asked - known):
        raise InvalidValueError(Told("told.role", role=name), remedy=Told("told.role.remedy", roles=tuple(Role)))
    return tuple(role for role in Role if role in asked)


@dataclass(frozen=True, slots=True)
class AtSite:
    """What an account is at one site: the name under which it writes there, its address, roles, and whether it is open."""

    site_id: int
    person: str
    mail: str = ""
    roles: tuple[Role, ...] = ()
    active: bool = True
    outside: str | None = None

    @property
    def permissions(self) -> frozenset[Permission]:
        """Give what it may do there; a closed one may do nothing."""
        return granted(self.roles) if self.active else frozenset()


@dataclass(frozen=True, slots=True)
class Account:
    """An account of the book, with what it is at each site today."""

    account_id: int
    login: str
    sites: Mapping[int, AtSite]

    @property
    def active(self) -> bool:
        """Tell whether it may do anything anywhere."""
        return any(at.permissions for at in self.sites.values())

    @property
    def outside(self) -> str | None:
        """Give the identity of an outside provider that signs in as it: issuer, a blank, subject."""
        return next((at.outside for at in self.sites.values() if at.outside and at.active), None)

    def permissions(self, site_id: int) -> frozenset[Permission]:
        """Give what it may do at a site."""
        at = self.sites.get(site_id)
        return frozenset() if at is None else at.permissions

    def person(self, site_id: int) -> str:
        """Give the name under which it writes at a site."""
        at = self.sites.get(site_id) or next(iter(self.sites.values()))
        return at.person

    def may_administer(self, other: Account) -> bool:
        """Tell whether it may reset, close or hand out secrets for another: it has to administer every site of the other.

        Somebody who administers one site only could otherwise sign in as the other and work at the rest.
        """
        held = [site_id for site_id, at in other.sites.items() if at.permissions]
        return all(Permission.ADMINISTER in self.permissions(site_id) for site_id in held or other.sites)
