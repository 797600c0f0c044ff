"""Questions about the entries of the book: which answer, and a page of them as lines.

Pages go by entry number, never by how many to skip: a page is as quick at the
end of the book as at its start, and nothing slips by while the book grows.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import sqlalchemy as sa

from models.store.entry_columns import EntryColumns, Meant, answering
from models.store.known import asset_id_of, current_tag, on_day, today
from models.tables.accounts import AccountRow, AccountVersionRow
from models.tables.base import canonical_json
from models.tables.book import EntryRow, ImportedFileRow, SiteVersionRow
from models.tables.declared import aliased
from models.tables.jobs import JobRow
from models.tables.limits import LimitSetRow, LimitVersionRow
from models.tables.machines import AssetRow, AssetVersionRow, BreakRow
from models.tables.people import InstrumentRow, InstrumentVersionRow, PersonVersionRow
from models.tables.proofs import BookKeyRow, SignoffRow
from models.values.entry import EntryFilter, EntryLine, EntryPage
from models.values.kinds import Kind

COUNTED = 10_000
"""Entries are counted up to so many; beyond that it is said that there are more."""

NUMBERS, SITE = "numbers", "site"
"""Names of the parameters of the question for a page's entries."""

_OF_ACCOUNTS = [str(kind) for kind in (Kind.ACCOUNT_ADDED, Kind.ACCOUNT_CHANGED, Kind.PASSWORD_SET)]

_SMALL: dict[Kind, sa.Select[int]] = {
    Kind.SITE_SET: sa.select(SiteVersionRow.entry),
    Kind.ASSET_ADDED: sa.select(AssetVersionRow.entry),
    Kind.ASSET_CHANGED: sa.select(AssetVersionRow.entry),
    Kind.BREAK_RECORDED: sa.select(BreakRow.entry),
    Kind.PERSON_ADDED: sa.select(PersonVersionRow.entry),
    Kind.PERSON_CHANGED: sa.select(PersonVersionRow.entry),
    Kind.INSTRUMENT_ADDED: sa.select(InstrumentVersionRow.entry),
    Kind.INSTRUMENT_CHANGED: sa.select(InstrumentVersionRow.entry),
    Kind.LIMITS_ADOPTED: sa.select(LimitVersionRow.entry),
    Kind.FILE_IMPORTED: sa.select(ImportedFileRow.entry),
    Kind.SIGNED_OFF: sa.select(SignoffRow.entry),
    Kind.ACCOUNT_ADDED: sa.select(AccountRow.id),
    Kind.ACCOUNT_CHANGED: sa.select(AccountVersionRow.entry),
    Kind.KEY_SET: sa.select(BookKeyRow.entry),
}
"""Small tables that hold every entry of a kind: the long table of entries is not walked through for a rare kind."""


def read_entries(
    connection: sa.Connection,
    site_id: int,
    asked: EntryFilter,
    *,
    before: int | None = None,
    after: int | None = None,
    most: int = 50,
) -> EntryPage:
    """Give one page of the entries that answer, the newest first.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    asked : EntryFilter
        Which entries. [unitless]
    before : int, optional
        Only entries with a smaller number: the page of what is older. [unitless]
    after : int, optional
        Only entries with a larger number, the nearest of them: the page of what is newer. [unitless]
    most : int
        Longest page. [unitless]

    Returns
    -------
    EntryPage
        Lines, and whether there is more on either side.
    """
    wanted = sa.and_(EntryRow.site_id == site_id, *_conditions(connection, site_id, asked))
    number = EntryRow.number
    question = sa.select(number).where(wanted).limit(most + 1)
    if after is not None:
        found = list(connection.scalars(question.where(number > after).order_by(number)))
    else:
        bound = [] if before is None else [number < before]
        found = list(connection.scalars(question.where(*bound).order_by(number.desc())))
    beyond, shown = len(found) > most, found[:most]
    back = _any(connection, wanted, number <= after) if after is not None else beyond
    forth = beyond if after is not None else before is not None and _any(connection, wanted, number >= before)
    counted = sa.select(sa.literal(1)).select_from(EntryRow).where(wanted).limit(COUNTED + 1).subquery()
    count = connection.execute(sa.select(sa.func.count()).select_from(counted)).scalar_one()
    return EntryPage(tuple(lines_of(connection, site_id, shown)), back, forth, min(count, COUNTED), count > COUNTED)


def page_of_entries(
    connection: sa.Connection,
    site_id: int,
    columns: EntryColumns,
    asked: EntryFilter,
    *,
    before: int | None = None,
    after: int | None = None,
    most: int = 50,
) -> EntryPage:
    """Give the same page as :func:`read_entries`, found in the columns of the entries.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    columns : EntryColumns
        Its entries, up to the last one. [unitless]
    asked : EntryFilter
        Which entries. [unitless]
    before, after : int, optional
        As in :func:`read_entries`. [unitless]
    most : int
        Longest page. [unitless]
    """
    numbers = answering(columns, asked, _meant(connection, site_id, asked))
    total = len(numbers)
    if after is not None:
        begin = int(np.searchsorted(numbers, after, side="right"))
        shown = numbers[begin : begin + most]
        back, forth = begin > 0, begin + most < total
    else:
        end = total if before is None else int(np.searchsorted(numbers, before, side="left"))
        shown = numbers[max(end - most, 0) : end]
        back, forth = end > most, end < total
    lines = tuple(lines_of(connection, site_id, shown.tolist()))
    return EntryPage(lines, back, forth, min(total, COUNTED), total > COUNTED)


def _meant(connection: sa.Connection, site_id: int, asked: EntryFilter) -> Meant:
    instrument = None
    if asked.instrument:
        own = sa.select(InstrumentRow.id).where(
            InstrumentRow.site_id == site_id, InstrumentRow.serial == asked.instrument
        )
        instrument = connection.execute(own).scalar() or 0
    versions = None
    if asked.ref:
        versions = np.array(connection.execute(versions_of(site_id, asked.ref)).scalars().all(), dtype=np.int64)
    return Meant(asset_id_of(connection, site_id, asked.tag) or 0 if asked.tag else None, instrument, versions)


def _any(connection: sa.Connection, wanted: sa.ColumnElement[bool], side: sa.ColumnElement[bool]) -> bool:
    return connection.execute(sa.select(EntryRow.number).where(wanted, side).limit(1)).scalar() is not None


def _conditions(connection: sa.Connection, site_id: int, asked: EntryFilter) -> list[sa.ColumnElement[bool]]:
    number, job = EntryRow.number, JobRow
    found: list[sa.ColumnElement[bool]] = []
    if asked.tag:
        asset = sa.literal(asset_id_of(connection, site_id, asked.tag) or 0)
        found.append(
            number.in_(
                sa.union_all(
                    sa.select(job.entry).where(job.site_id == site_id, job.asset_id == asset),
                    sa.select(AssetVersionRow.entry).where(AssetVersionRow.asset_id == asset),
                    sa.select(BreakRow.entry).where(BreakRow.asset_id == asset),
                    sa.select(SignoffRow.entry)
                    .join(job, job.entry == SignoffRow.signed_entry)
                    .where(job.site_id == site_id, job.asset_id == asset),
                )
            )
        )
    if asked.person:
        # People of a job are kept as canonical JSON: the quotes make a whole name of it.  Not by LIKE: on SQLite capitals do not matter to it.
        people = sa.type_coerce(job.people, sa.Text)
        listed = sa.func.replace(people, canonical_json(asked.person), "") != people
        found.append(
            sa.or_(
                EntryRow.author == asked.person,
                _in_job(site_id, sa.or_(listed, job.reviewer == asked.person)),
                number.in_(sa.select(PersonVersionRow.entry).where(PersonVersionRow.name == asked.person)),
                number.in_(sa.select(LimitVersionRow.entry).where(LimitVersionRow.adopted_by == asked.person)),
            )
        )
    if asked.instrument:
        own = sa.select(InstrumentRow.id).where(
            InstrumentRow.site_id == site_id, InstrumentRow.serial == asked.instrument
        )
        found.append(
            sa.or_(
                _in_job(site_id, job.instrument_id == own.scalar_subquery()),
                number.in_(
                    sa.select(InstrumentVersionRow.entry).where(
                        InstrumentVersionRow.instrument_id == own.scalar_subquery()
                    )
                ),
            )
        )
    if asked.ref:
        found.append(number.in_(versions_of(site_id, asked.ref)))
    if asked.kind is not None:
        found += _of_kind(site_id, asked.kind)
    if asked.file is not None:
        found += [EntryRow.batch == asked.file, number > asked.file]
    if asked.recorded_from is not None:
        found.append(EntryRow.at >= asked.recorded_from)
    if asked.recorded_before is not None:
        found.append(EntryRow.at < asked.recorded_before)
    if asked.done_from is not None:
        found.append(_in_job(site_id, job.performed_at >= asked.done_from))
    if asked.done_before is not None:
        found.append(_in_job(site_id, job.performed_at < asked.done_before))
    return found


def _of_kind(site_id: int, kind: Kind) -> list[sa.ColumnElement[bool]]:
    amended = sa.select(JobRow.entry).where(JobRow.site_id == site_id, JobRow.supersedes.is_not(None))
    few = amended if kind is Kind.JOB_AMENDED else _SMALL.get(kind)
    of_kind = EntryRow.kind == str(kind)
    return [of_kind] if few is None else [of_kind, EntryRow.number.in_(few)]


def _in_job(site_id: int, condition: sa.ColumnElement[bool]) -> sa.ColumnElement[bool]:
    # An entry's job is of the same site: said again, so that a table that is cut by site is asked in one part only.
    return sa.exists().where(JobRow.entry == EntryRow.number, JobRow.site_id == site_id, condition).correlate(EntryRow)


def versions_of(site_id: int, ref: str) -> sa.CompoundSelect[int]:
    """Give the entries of every version of a job that bears, or once bore, a job number.

    First versions and amendments are asked for apart: each half has an index of its own.
    """
    job = JobRow
    bears = [job.site_id == site_id, job.ref == ref]
    jobs = sa.union_all(
        sa.select(job.job_id).where(*bears, job.supersedes.is_(None)),
        sa.select(job.job_id).where(*bears, job.supersedes.is_not(None)),
    )
    return sa.union_all(
        sa.select(job.entry).where(job.site_id == site_id, job.entry.in_(jobs)),
        sa.select(job.entry).where(job.site_id == site_id, job.supersedes.is_not(None), job.job_id.in_(jobs)),
    )


def lines_of(connection: sa.Connection, site_id: int, numbers: list[int]) -> list[EntryLine]:
    """Put a few entries of a site together with the names of what they speak of, the newest first."""
    if not numbers:
        return []
    given = {NUMBERS: numbers, SITE: site_id} | on_day(today(connection, site_id))
    return [_line(row) for row in connection.execute(_question(), given)]


@cache
def _question() -> sa.Select[*tuple[object, ...]]:
    """Give the question for some entries; putting it together takes longer than asking it."""
    e, job, brk, lv = EntryRow, JobRow, BreakRow, LimitVersionRow
    own_file, came_from = aliased(ImportedFileRow), aliased(ImportedFileRow)
    judged, judged_set = aliased(LimitVersionRow), aliased(LimitSetRow)
    later, signed = aliased(JobRow), aliased(JobRow)
    machine, signoff, key = aliased(AssetRow), SignoffRow, BookKeyRow
    site = sa.bindparam(SITE, type_=sa.Integer)
    return (
        sa.select(
            e.number, e.at, e.author, e.kind, e.why, e.batch, e.line,
            job.ref, job.performed_at, job.zone, job.people, job.void, job.supersedes, later.entry.label("later"),
            current_tag(sa.func.coalesce(machine.id, AssetVersionRow.asset_id)).label("tag"), brk.part, brk.on,
            PersonVersionRow.name.label("person"), InstrumentVersionRow.serial.label("own_serial"),
            InstrumentRow.serial.label("used_serial"), LimitSetRow.name.label("set_name"), lv.version, lv.adopted_on,
            judged_set.name.label("judged_name"), judged.version.label("judged_version"), own_file.name.label("own_file"),
            own_file.rows_taken, came_from.name.label("file"), SiteVersionRow.name.label("site_name"),
            signoff.signed_entry, signoff.meaning, AccountRow.login, key.origin,
        )
        .outerjoin(job, sa.and_(job.entry == e.number, job.site_id == site))
        .outerjoin(later, sa.and_(later.supersedes == e.number, later.site_id == site))
        .outerjoin(brk, brk.entry == e.number)
        .outerjoin(signoff, signoff.entry == e.number)
        .outerjoin(signed, sa.and_(signed.entry == signoff.signed_entry, signed.site_id == site))
        .outerjoin(machine, machine.id == sa.func.coalesce(job.asset_id, brk.asset_id, signed.asset_id))
        .outerjoin(AccountRow, sa.and_(AccountRow.id == e.subject, e.kind.in_(_OF_ACCOUNTS)))
        .outerjoin(key, key.entry == e.number)
        .outerjoin(AssetVersionRow, AssetVersionRow.entry == e.number)
        .outerjoin(PersonVersionRow, PersonVersionRow.entry == e.number)
        .outerjoin(InstrumentVersionRow, InstrumentVersionRow.entry == e.number)
        .outerjoin(InstrumentRow, InstrumentRow.id == job.instrument_id)
        .outerjoin(lv, lv.entry == e.number)
        .outerjoin(LimitSetRow, LimitSetRow.id == lv.limit_set_id)
        .outerjoin(judged, judged.entry == job.limit_entry)
        .outerjoin(judged_set, judged_set.id == judged.limit_set_id)
        .outerjoin(own_file, own_file.entry == e.number)
        .outerjoin(came_from, came_from.entry == e.batch)
        .outerjoin(SiteVersionRow, SiteVersionRow.entry == e.number)
        .where(e.number.in_(sa.bindparam(NUMBERS, expanding=True)))
        .order_by(e.number.desc())
    )  # fmt: skip


def _line(row: sa.Row[*tuple[object, ...]]) -> EntryLine:
    r = row._mapping  # noqa: SLF001 - the documented way to a row's names
    detail = (
        r["ref"] or r["part"] or r["version"] or r["meaning"] or (r["rows_taken"] if r["own_file"] is not None else "")
    )
    names = ("tag", "person", "own_serial", "set_name", "own_file", "site_name", "login", "origin")
    name = next((r[one] for one in names if r[one]), "")
    return EntryLine(
        number=r["number"],
        at=r["at_us"],
        author=r["author"],
        kind=Kind(r["kind"]),
        name=name,
        detail=str(detail),
        why=r["why"],
        done_at=r["performed_us"],
        zone=r["zone"] or "",
        people=tuple(r["people"] or ()),
        instrument=r["used_serial"] or "",
        limit_set=f"{r['judged_name']} {r['judged_version']}" if r["judged_name"] else "",
        on=r["on_day"] or r["adopted_on"],
        void=bool(r["void"]),
        supersedes=r["supersedes"],
        superseded_by=r["later"],
        file_entry=r["batch"],
        file=r["file"] or "",
        row=r["line"] or "",
        signed_entry=r["signed_entry"],
    )
