"""Questions about sign-offs: what an entry needs to be signed, and what was signed by whom."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import sqlalchemy as sa

from models.tables.book import EntryRow
from models.tables.jobs import JobRow
from models.tables.proofs import SignoffRow, StatementRow
from models.values.kinds import Meaning
from models.values.looked_at import LookedAt
from models.values.story import Signoff

WANTED = "wanted"
"""Name of the parameter of the question for sign-offs."""

AT_ONCE = 500
"""Entries that one question asks for."""


@dataclass(frozen=True, slots=True)
class Signable:
    """What has to be known of a job's entry before it is signed.

    ``involved`` are who recorded it and who did the work by what it says; ``earlier`` the same of each version before it, by the number of its
    entry, the newest first.
    """

    leaf: bytes | None
    involved: tuple[str, ...]
    superseded_by: int | None
    signed: tuple[tuple[str, str], ...]
    void: bool = False
    earlier: tuple[tuple[int, tuple[str, ...]], ...] = ()


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
    job = JobRow
    found = _version(connection, site_id, entry)
    if found is None:
        return None
    later = connection.execute(sa.select(job.entry).where(job.site_id == site_id, job.supersedes == entry)).scalar()
    signed = tuple((line.by, line.meaning) for line in signoffs_of(connection, [entry]))
    leaf = None if found.leaf is None else bytes(found.leaf)
    earlier = []
    before = found.supersedes
    while before is not None and (old := _version(connection, site_id, before)) is not None:
        earlier.append((before, (old.author, *old.people)))
        before = old.supersedes
    return Signable(leaf, (found.author, *found.people), later, signed, bool(found.void), tuple(earlier))


def _version(connection: sa.Connection, site_id: int, entry: int) -> sa.Row[*tuple[Any, ...]] | None:
    """Give one version of a job with who recorded it; ``None`` if the entry is no job of the site."""
    e, job = EntryRow, JobRow
    return connection.execute(
        sa.select(e.author, job.people, job.void, job.supersedes, StatementRow.leaf)
        .join(job, sa.and_(job.entry == e.number, job.site_id == site_id))
        .outerjoin(StatementRow, sa.and_(StatementRow.entry == e.number, StatementRow.site_id == site_id))
        .where(e.number == entry, e.site_id == site_id)
    ).first()


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


def looked_at(connection: sa.Connection, site_id: int, entries: Sequence[int]) -> LookedAt:
    """Give who reviewed and who signed some jobs of a site.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    entries : sequence of int
        Entries of the jobs; as many as there are. [unitless]
    """
    reviewers: dict[int, str] = {}
    signers: dict[int, list[str]] = {}
    for begin in range(0, len(entries), AT_ONCE):
        some = list(entries[begin : begin + AT_ONCE])
        job = JobRow
        question = sa.select(job.entry, job.reviewer).where(job.site_id == site_id, job.entry.in_(some))
        reviewers |= {row.entry: row.reviewer for row in connection.execute(question) if row.reviewer}
        for one in signoffs_of(connection, some):
            signers.setdefault(one.signed_entry, []).append(one.by)
    return LookedAt(reviewers, {entry: "; ".join(names) for entry, names in signers.items()})


def signed_entries(connection: sa.Connection, site_id: int) -> frozenset[int]:
    """Give the numbers of all entries of a site that bear a sign-off."""
    return frozenset(connection.scalars(sa.select(SignoffRow.signed_entry).where(SignoffRow.site_id == site_id)))
