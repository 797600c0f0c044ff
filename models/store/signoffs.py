"""Questions about sign-offs: what an entry needs to be signed, and what was signed by whom."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import sqlalchemy as sa

from models.tables.book import EntryRow
from models.tables.jobs import JobRow
from models.tables.proofs import SignoffRow, StatementRow
from models.values.kinds import Meaning
from models.values.story import Signoff


@dataclass(frozen=True, slots=True)
class Signable:
    """What has to be known of a job's entry before it is signed."""

    leaf: bytes | None
    involved: tuple[str, ...]
    superseded_by: int | None
    signed: tuple[tuple[str, str], ...]


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
        sa.select(e.author, job.people, StatementRow.leaf)
        .join(job, job.entry == e.number)
        .outerjoin(StatementRow, StatementRow.entry == e.number)
        .where(e.number == entry, e.site_id == site_id)
    ).first()
    if found is None:
        return None
    later = connection.execute(sa.select(job.entry).where(job.supersedes == entry)).scalar()
    signed = tuple((line.by, line.meaning) for line in signoffs_of(connection, [entry]))
    leaf = None if found.leaf is None else bytes(found.leaf)
    return Signable(leaf, (found.author, *found.people), later, signed)


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
    e, s = EntryRow, SignoffRow
    rows = connection.execute(
        sa.select(s.entry, s.signed_entry, s.meaning, e.author, e.at.label("at"), e.why)
        .join(e, e.number == s.entry)
        .where(s.signed_entry.in_(wanted))
        .order_by(s.entry)
    )
    return tuple(
        Signoff(row.entry, row.signed_entry, row.author, row.at, Meaning(row.meaning), row.why) for row in rows
    )


def signed_entries(connection: sa.Connection, site_id: int) -> frozenset[int]:
    """Give the numbers of all entries of a site that bear a sign-off."""
    return frozenset(connection.scalars(sa.select(SignoffRow.signed_entry).where(SignoffRow.site_id == site_id)))
