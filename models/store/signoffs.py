"""Questions about sign-offs: what an entry needs to be signed, and what was signed by whom."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any

import sqlalchemy as sa

from models.tables.book import EntryRow
from models.tables.jobs import JobRow
from models.tables.proofs import SignoffRow, StatementRow
from models.values.kinds import Meaning
from models.values.story import Signoff

WANTED = "wanted"
"""Name of the parameter of the question for sign-offs."""


@dataclass(frozen=True, slots=True)
class Signable:
    """What has to be known of a job's entry before it is signed."""

    leaf: bytes | None
    involved: tuple[str, ...]
    superseded_by: int | None
    signed: tuple[tuple[str, str], ...]
    void: bool = False


def signable(connection: sa.Connection, site_id: int, entry: int) -> Signable | None:
    """Give what has to be known of a job's entry before it is signed; ``None`` if it is no job of the site.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    entry : int
        Number of the entry. [unitless]
    """
    e, job = EntryRow, JobRow
    found = connection.execute(
        sa.select(e.author, job.people, job.void, StatementRow.leaf)
        .join(job, sa.and_(job.entry == e.number, job.site_id == site_id))
        .outerjoin(StatementRow, sa.and_(StatementRow.entry == e.number, StatementRow.site_id == site_id))
        .where(e.number == entry, e.site_id == site_id)
    ).first()
    if found is None:
        return None
    later = connection.execute(sa.select(job.entry).where(job.site_id == site_id, job.supersedes == entry)).scalar()
    signed = tuple((line.by, line.meaning) for line in signoffs_of(connection, [entry]))
    leaf = None if found.leaf is None else bytes(found.leaf)
    return Signable(leaf, (found.author, *found.people), later, signed, bool(found.void))


def signoffs_of(connection: sa.Connection, entries: Iterable[int]) -> tuple[Signoff, ...]:
    """Give the sign-offs that stand under some entries, in the order in which they were given.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    entries : iterable of int
        Numbers of the signed entries; a few hundred at most. [unitless]
    """
    wanted = list(entries)
    if not wanted:
        return ()
    rows = connection.execute(_question(), {WANTED: wanted})
    return tuple(
        Signoff(row.entry, row.signed_entry, row.author, row.at, Meaning(row.meaning), row.why) for row in rows
    )


@cache
def _question() -> sa.Select[*tuple[Any, ...]]:
    """Give the question for the sign-offs of some entries; putting it together takes longer than asking it."""
    e, s = EntryRow, SignoffRow
    return (
        sa.select(s.entry, s.signed_entry, s.meaning, e.author, e.at.label("at"), e.why)
        .join(e, e.number == s.entry)
        .where(s.signed_entry.in_(sa.bindparam(WANTED, expanding=True)))
        .order_by(s.entry)
    )


def signed_entries(connection: sa.Connection, site_id: int) -> frozenset[int]:
    """Give the numbers of all entries of a site that bear a sign-off."""
    return frozenset(connection.scalars(sa.select(SignoffRow.signed_entry).where(SignoffRow.site_id == site_id)))
