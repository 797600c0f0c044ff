"""Everything that one entry of the book says, with what was said of the same thing before it."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa

from models.store.entries import lines_of
from models.store.known import asset_from, limit_sets
from models.store.proofs import read_keys
from models.store.read_back import from_rows
from models.store.signoffs import signoffs_of
from models.store.story import read_story
from models.store.versions import read_limit_sets, read_site_settings
from models.tables.accounts import AccountRow, AccountVersionRow
from models.tables.book import EntryRow, ImportedFileRow
from models.tables.jobs import JobRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.tables.people import InstrumentVersionRow, PersonVersionRow
from models.values.asset import Asset, MachineBreak
from models.values.entry import EntryLine, EntryStory, ImportedFile, KeySet, Said
from models.values.kinds import Kind, Part
from models.values.limits import LimitSet
from models.values.people import Account, Instrument, Person
from models.values.story import Site


def read_entry(connection: sa.Connection, site: Site, number: int) -> EntryStory | None:
    """Give everything that one entry says; ``None`` where the site has no such entry.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site : Site
        The site. [unitless]
    number : int
        Number of the entry. [unitless]
    """
    e = EntryRow
    held = connection.execute(sa.select(e.kind, e.subject).where(e.number == number, e.site_id == site.site_id)).first()
    if held is None:
        return None
    line = lines_of(connection, site.site_id, [number])[0]
    kind, subject = Kind(held[0]), int(held[1])
    if kind in {Kind.JOB_RECORDED, Kind.JOB_AMENDED}:
        return _job_story(connection, site, line)
    said = _said(connection, site, line, kind, subject)
    return EntryStory(line, said[-1], said[-2] if len(said) > 1 else None)


def _job_story(connection: sa.Connection, site: Site, line: EntryLine) -> EntryStory | None:
    story = read_story(connection, site, line.name)
    if story is None:
        return None
    versions = {one.entry: one for one in story.jobs}
    mine = versions[line.number]
    mine_only = sa.select(JobRow.limit_entry).where(JobRow.site_id == site.site_id, JobRow.entry == line.number)
    limit_entry = connection.execute(mine_only).scalar()
    judged_by = next((one for one in read_limit_sets(connection, site.site_id) if one.entry == limit_entry), None)
    chain = tuple(sorted((one for one in story.jobs if one.job_id == mine.job_id), key=lambda one: one.entry))
    before = versions.get(mine.supersedes) if mine.supersedes is not None else None
    return EntryStory(line, mine, before, judged_by, chain)


def _said(connection: sa.Connection, site: Site, line: EntryLine, kind: Kind, subject: int) -> Sequence[Said]:
    """Give what was said of the thing up to this entry, the oldest first; the entry's own words are the last."""
    number = line.number
    said: Sequence[Said]
    if kind in {Kind.ASSET_ADDED, Kind.ASSET_CHANGED}:
        said = _assets(connection, subject, number)
    elif kind in {Kind.PERSON_ADDED, Kind.PERSON_CHANGED}:
        said = _people(connection, subject, number)
    elif kind in {Kind.INSTRUMENT_ADDED, Kind.INSTRUMENT_CHANGED}:
        said = _instruments(connection, subject, number)
    elif kind is Kind.BREAK_RECORDED:
        b = BreakRow
        broken = connection.execute(sa.select(b.on, b.part, b.reason).where(b.entry == number)).one()
        said = [MachineBreak(line.name, broken[0], Part(broken[1]), broken[2])]
    elif kind is Kind.LIMITS_ADOPTED:
        said = _limits(connection, site, number)
    elif kind is Kind.FILE_IMPORTED:
        said = [_file(connection, number)]
    elif kind is Kind.SIGNED_OFF:
        said = [one for one in signoffs_of(connection, [subject]) if one.entry == number]
    elif kind in {Kind.ACCOUNT_ADDED, Kind.ACCOUNT_CHANGED, Kind.PASSWORD_SET}:
        said = _accounts(connection, site, subject, number)
    elif kind is Kind.KEY_SET:
        said = [KeySet(key.origin, key.public_key) for key in read_keys(connection) if key.entry <= number]
    else:
        said = _sites(connection, site, number)
    return said


def _accounts(connection: sa.Connection, site: Site, account_id: int, upto: int) -> list[Account]:
    v, a = AccountVersionRow, AccountRow
    question = sa.select(a.login, v.person, v.mail, v.roles, v.active, v.outside).join(a, a.id == v.account_id)
    question = question.where(v.account_id == account_id, v.site_id == site.site_id, v.entry <= upto).order_by(v.entry)
    return [
        Account(row.login, row.person, tuple(row.roles), bool(row.active), row.mail, row.outside or "")
        for row in connection.execute(question)
    ]


@from_rows
def _people(connection: sa.Connection, person_id: int, upto: int) -> list[Person]:
    v = PersonVersionRow
    question = sa.select(v.name, v.qualification, v.active).where(v.person_id == person_id, v.entry <= upto)
    return [Person(row[0], row[1], bool(row[2])) for row in connection.execute(question.order_by(v.entry))]


@from_rows
def _instruments(connection: sa.Connection, instrument_id: int, upto: int) -> list[Instrument]:
    v = InstrumentVersionRow
    question = sa.select(v.serial, v.description, v.calibrated, v.due)
    question = question.where(v.instrument_id == instrument_id, v.entry <= upto).order_by(v.entry)
    return [Instrument(*row) for row in connection.execute(question)]


def _limits(connection: sa.Connection, site: Site, number: int) -> list[LimitSet]:
    sets = limit_sets(connection, site.site_id)
    mine = next(one for one in sets if one.entry == number)
    same = (one for one in sets if one.limit_set_id == mine.limit_set_id and one.entry <= number)
    return [one.limit_set for one in sorted(same, key=lambda one: one.entry)]


def _assets(connection: sa.Connection, asset_id: int, upto: int) -> list[Asset]:
    v = AssetVersionRow
    question = sa.select(v).where(v.asset_id == asset_id, v.entry <= upto).order_by(v.entry)
    return [asset_from(row) for row in connection.execute(question).mappings()]


@from_rows
def _sites(connection: sa.Connection, site: Site, upto: int) -> list[Site]:
    return [one.site for one in read_site_settings(connection, site.site_id) if one.entry <= upto]


def _file(connection: sa.Connection, number: int) -> ImportedFile:
    f = ImportedFileRow
    row = connection.execute(
        sa.select(f.name, f.sha256, f.rows_read, f.rows_taken, f.rows_refused, f.mapping).where(f.entry == number)
    ).one()
    return ImportedFile(*row)
