"""The entries of one machine and all that they rest on, asked for past every index.

What is signed must hold all of a machine.  An index can be made to look past a row, and nothing that is
left would tell: so tables are read from end to end here, but for rows whose number is known.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import sqlalchemy as sa

from models.store.known import asset_id_of
from models.store.sealing import BOUND, key_column
from models.tables.accounts import AccountVersionRow
from models.tables.book import EntryRow, SiteRow, SiteVersionRow
from models.tables.every import metadata
from models.tables.jobs import JobRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.tables.people import InstrumentVersionRow, PersonRow, PersonVersionRow
from models.tables.proofs import BookKeyRow, SignoffRow
from models.values.kinds import Kind
from models.values.merging import kept_of

AT_ONCE = 500
"""Numbers in one question; engines limit them."""


def past_indexes(connection: sa.Connection, mapped: Any, *columns: str) -> sa.Select[*tuple[Any, ...]]:
    """Begin a question that reads a whole table: no index takes part, whatever the planner thinks of it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    mapped : type
        The table. [unitless]
    columns : str
        What is asked for; conditions are to name columns by :func:`bare`. [unitless]
    """
    table: str = mapped.__tablename__
    from_table = f"{table} NOT INDEXED" if connection.dialect.name == "sqlite" else table
    return sa.select(*(sa.column(name) for name in columns)).select_from(sa.text(from_table))


def bare(column: str) -> sa.ColumnElement[int]:
    """Give a column of whole numbers as an expression that no index is made of."""
    return sa.literal_column(f"+{column}", sa.BigInteger)


def records_of(connection: sa.Connection, site_id: int, asset: int, upto: int | None = None) -> set[int]:
    """Give the numbers of all records of a machine: its own, and those that were merged with it, before or since.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    asset : int
        Number of one of them. [unitless]
    upto : int, optional
        The last entry that counts: what was merged later was not one machine then. [unitless]
    """
    retired = past_indexes(connection, AssetVersionRow, "entry", "asset_id", "tag").where(
        sa.column("retired").is_not(None)
    )
    if upto is not None:
        retired = retired.where(sa.column("entry") <= upto)
    told = connection.execute(retired).all()
    reasons = {
        row[0]: row[1]
        for some in parts([row[0] for row in told])
        for row in connection.execute(sa.select(EntryRow.number, EntryRow.why).where(EntryRow.number.in_(some)))
    }
    pairs = set()
    for entry, double, tag in told:
        kept_tag = kept_of(reasons.get(entry, ""), tag)
        kept = asset_id_of(connection, site_id, kept_tag) if kept_tag else None
        if kept is not None:
            pairs.add((double, kept))
    found = {asset}
    while more := {one for pair in pairs if found & set(pair) for one in pair} - found:
        found |= more
    return found


class Version(NamedTuple):
    """A version of a job: its entry, the job, the record that it stands under, and the entry that it supersedes."""

    entry: int
    job: int
    asset: int
    supersedes: int | None


def job_versions(connection: sa.Connection, assets: Iterable[int], upto: int | None = None) -> list[Version]:
    """Give all versions of the jobs that any version puts under some records, in one reading of the whole table for each step.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    assets : iterable of int
        Numbers of the records, see :func:`records_of`. [unitless]
    upto : int, optional
        The last entry that counts. [unitless]
    """
    wanted = sorted(assets)
    under = _upto(past_indexes(connection, JobRow, "job_id").where(bare("asset_id").in_(wanted)), upto)
    asked = _upto(past_indexes(connection, JobRow, "entry", "job_id", "asset_id", "supersedes"), upto)
    rows = connection.execute(asked.where(bare("job_id").in_(under)))
    return [Version(*row) for row in rows]


def _upto(asked: sa.Select[Any], upto: int | None) -> sa.Select[Any]:
    return asked if upto is None else asked.where(bare("entry") <= upto)


def entries_of(
    connection: sa.Connection, site_id: int, assets: Iterable[int], versions: Iterable[Version], upto: int | None = None
) -> set[int]:
    """Give the entries of a machine and all that they rest on.

    The versions and breaks of all its records, their jobs in every version with
    the sign-offs; the limits, people and instruments that they name, in every
    version; the files that they came from; how the site was set; the accounts
    of who signed; the keys.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    assets : iterable of int
        Numbers of its records, see :func:`records_of`. [unitless]
    versions : iterable of Version
        Their jobs, see :func:`job_versions`. [unitless]
    upto : int, optional
        The last entry that counts: on what only later entries rest, nothing rested then. [unitless]
    """
    site = SiteVersionRow
    found = {
        *assets,
        *connection.scalars(sa.select(BookKeyRow.entry)),
        *connection.scalars(sa.select(site.entry).where(site.site_id == site_id)),
        *(version.entry for version in versions),
    }
    for mapped in (AssetVersionRow, BreakRow):
        found |= _where(connection, mapped, "entry", "asset_id", sorted(assets))
    found = _counted(found, upto)
    fresh = set(found)
    while fresh:
        named = set().union(
            *(_named_by(connection, some) | _speaking_of(connection, some, upto) for some in parts(sorted(fresh)))
        )
        fresh = _counted(named - found, upto)
        found |= fresh
    return found


def _counted(numbers: set[int], upto: int | None) -> set[int]:
    return {number for number in numbers if upto is None or number <= upto}


def _where(connection: sa.Connection, mapped: Any, column: str, of: str, numbers: Sequence[int]) -> set[int]:
    return set(connection.scalars(past_indexes(connection, mapped, column).where(bare(of).in_(numbers))))


def _named_by(connection: sa.Connection, numbers: Sequence[int]) -> set[int]:
    """Give the entries that some entries name: by themselves, and in the rows that they brought."""
    e = EntryRow
    line = connection.execute(sa.select(e.subject, e.supersedes, e.batch, e.kind).where(e.number.in_(numbers)))
    found: set[int | None] = set()
    for subject, supersedes, batch, kind in line:
        # A site is spoken of by its own number, which is no entry.
        found |= {supersedes, batch} | ({subject} if kind != Kind.SITE_SET else set())
    for mapped in BOUND:
        table = metadata.tables[mapped.__tablename__]
        own = table.c[key_column(mapped)]
        names = [
            column for column in table.columns
            if column is not own and any(key.column.table.name != SiteRow.__tablename__ for key in column.foreign_keys)
        ]  # fmt: skip
        if names and mapped is not SiteRow:
            found |= {value for row in connection.execute(sa.select(*names).where(own.in_(numbers))) for value in row}
    return {number for number in found if number is not None}


def _speaking_of(connection: sa.Connection, numbers: Sequence[int], upto: int | None) -> set[int]:
    """Give the entries that speak of some entries: versions, sign-offs, people by their names, accounts of who signed."""
    found: set[int] = set()
    for mapped, of in ((PersonVersionRow, "person_id"), (InstrumentVersionRow, "instrument_id"),
                       (AccountVersionRow, "account_id"), (SignoffRow, "signed_entry")):  # fmt: skip
        found |= _where(connection, mapped, "entry", of, numbers)
    job, e = JobRow, EntryRow
    people = {
        name for names in connection.scalars(sa.select(job.people).where(job.entry.in_(numbers))) for name in names
    }
    people |= set(connection.scalars(sa.select(job.reviewer).where(job.entry.in_(numbers))))
    sites = set(connection.scalars(sa.select(e.site_id).where(e.number.in_(numbers))))
    if people:
        known = connection.execute(
            past_indexes(connection, PersonRow, "id", "name").where(bare("site_id").in_(sorted(sites)))
        )
        found |= {row[0] for row in known if row[1] in people}
    signers = sa.select(e.author).join(SignoffRow, SignoffRow.entry == e.number).where(e.number.in_(numbers))
    borne = sa.select(AccountVersionRow.account_id).where(AccountVersionRow.person.in_(signers))
    found |= set(connection.scalars(borne if upto is None else borne.where(AccountVersionRow.entry <= upto)))
    return found


def parts(numbers: Sequence[int]) -> Iterable[Sequence[int]]:
    """Give numbers some at a time."""
    return [numbers[at : at + AT_ONCE] for at in range(0, len(numbers), AT_ONCE)]
