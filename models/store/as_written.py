"""Whether what is told of a machine is what was written: rows against statements, statements against the tree, and nothing left out.

Pages and papers read rows, and find them by indexes.  Whoever can change the
database can change both; what bears the root of the book has to be held
against it first.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from models.errors import AlteredBookError
from models.ledger.differences import entry_differences
from models.ledger.findings import Fault, Finding, shown
from models.ledger.tree import leaf_hash
from models.store.package_entries import Version, bare, entries_of, job_versions, parts, past_indexes, records_of
from models.store.proofs import last_head, raw_bytes
from models.store.sealing import BOUND, key_column, seal
from models.store.tree_proofs import KeptTree
from models.store.verify_cells import shape_of
from models.tables.book import EntryRow, SiteRow, SiteVersionRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.tables.proofs import SignoffRow, StatementRow
from models.values.proof import Flaw, Misfit
from models.values.story import AssetStory

_FIRST_SETTINGS = sa.select(SiteVersionRow.site_id, sa.func.min(SiteVersionRow.entry)).group_by(SiteVersionRow.site_id)


def misfit_of(connection: sa.Connection, tree: KeptTree, story: AssetStory, upto: int) -> Misfit | None:
    """Give the first thing in which a story is not what was written; ``None`` where there is none.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book that sees one state of it. [unitless]
    tree : KeptTree
        The tree of the book. [unitless]
    story : AssetStory
        What is told of a machine. [as stored]
    upto : int
        The last entry when the story was read; what came later is not looked for. [unitless]
    """
    head = last_head(connection)
    if head is None:
        return None
    site_id, assets = story.site.site_id, records_of(connection, story.site.site_id, story.asset_id)
    versions = job_versions(connection, assets, upto)
    numbers = sorted(entries_of(connection, site_id, assets, versions, upto))
    held = statements_of(connection, numbers)
    lost = next((number for number in numbers if number not in held), None) or first_altered(connection, numbers, held)
    if lost is not None:
        return Misfit(Flaw.ALTERED, lost)
    try:
        leaves = tree.leaves(connection, head, [number for number in numbers if number <= head.size])
    except AlteredBookError:
        return Misfit(Flaw.TREE)
    other = next((number for number, leaf in leaves.items() if held[number][1] != leaf), None)
    return _not_told(connection, story, versions, upto) if other is None else Misfit(Flaw.ALTERED, other)


def statements_of(
    connection: sa.Connection, numbers: Sequence[int], site_id: int | None = None
) -> dict[int, tuple[bytes, bytes]]:
    """Give the statements of some entries and their leaves, by number; none for an entry that has none, or not at the site."""
    s = StatementRow
    asked = sa.select(s.entry, s.said, s.leaf)
    if site_id is not None:
        asked = asked.where(s.site_id == site_id)
    return {
        row[0]: (row[1].encode(), raw_bytes(row[2]))
        for some in parts(numbers)
        for row in connection.execute(asked.where(s.entry.in_(some)))
    }


def first_altered(
    connection: sa.Connection, numbers: Sequence[int], held: dict[int, tuple[bytes, bytes]]
) -> int | None:
    """Give the first entry whose rows no longer say what its statement says, or whose leaf is not that of it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    numbers : sequence of int
        Numbers of entries. [unitless]
    held : dict of int to tuple
        Their statements and leaves. [unitless]
    """
    for some in parts(numbers):
        rows, lines = _rows_of(connection, some), _stored(connection, EntryRow, "number", some)
        try:
            sealed = seal(lines, rows)
        except LookupError:  # a row whose entry is gone
            there = {line[0] for line in lines}
            return next((number for number in some if number not in there), some[0])
        said = {row[0]: (row[2].encode(), row[3]) for row in sealed}
        altered = next((number for number in some if said.get(number) != held.get(number)), None)
        if altered is not None:
            return altered
    return None


def differences_in(connection: sa.Connection, site_id: int, number: int) -> list[Finding]:
    """Give every value in which the rows of one entry and its statement do not agree; the tree is not looked at.

    Of an entry that the site has not there is nothing to tell.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        Number of the site. [unitless]
    number : int
        Number of the entry. [unitless]
    """
    lines = _stored(connection, EntryRow, "number", [number])
    if not lines or lines[0][1] != site_id:
        return []
    held = statements_of(connection, [number], site_id).get(number)
    if held is None:
        return [Finding(Fault.STATEMENT_MISSING, number, "statement", "entry")]
    said, leaf = held
    stored = _rows_of(connection, [number], site_id) | {"entry": lines}
    shapes = {table: shape_of(table) for table in stored}
    rows = {table: _in_shape(table, of) for table, of in stored.items()}
    found = entry_differences(number, shapes, rows.pop("entry")[0], rows, said)
    if leaf != leaf_hash(said):
        found.append(Finding(Fault.LEAF, number, "statement", "leaf", shown(leaf), leaf_hash(said).hex()))
    return found


def _in_shape(table: str, rows: Sequence[tuple[Any, ...]]) -> list[Sequence[Any]]:
    """Put values in the order of the shape, which is that of the names of the columns."""
    columns = EntryRow.metadata.tables[table].columns.keys()
    order = [columns.index(name) for name, _ in shape_of(table).columns]
    return [[row[place] for place in order] for row in rows]


def _rows_of(
    connection: sa.Connection, numbers: Sequence[int], site_id: int | None = None
) -> dict[str, list[tuple[Any, ...]]]:
    """Read every row that some entries bind, by table; a site is bound by the entry that sets it for the first time."""
    rows = {
        mapped.__tablename__: _stored(connection, mapped, key_column(mapped), numbers, site_id)
        for mapped in BOUND
        if mapped is not SiteRow
    }
    settings = rows[SiteVersionRow.__tablename__]
    first = {row[0]: row[1] for row in connection.execute(_FIRST_SETTINGS)} if settings else {}
    founded = sorted({row[1] for row in settings if first.get(row[1]) == row[0]})
    return rows | {SiteRow.__tablename__: _stored(connection, SiteRow, "id", founded)}


def _stored(
    connection: sa.Connection, mapped: Any, column: str, numbers: Sequence[int], site_id: int | None = None
) -> list[tuple[Any, ...]]:
    """Read rows just as the database holds them; with a site those of its part alone, so that no other part is looked at."""
    table = mapped.__table__
    plain = [sa.type_coerce(one, sa.types.NullType()).label(one.name) for one in table.columns]
    asked = sa.select(*plain).where(table.c[column].in_(numbers))
    if site_id is not None:
        asked = asked.where(table.c.site_id == site_id)
    return [tuple(row) for row in connection.execute(asked)]


def _not_told(connection: sa.Connection, story: AssetStory, versions: Sequence[Version], upto: int) -> Misfit | None:
    """Give an entry of the machine that the story leaves out: it was looked for by indexes, which may lead past it."""
    own = story.asset_id
    later = {one.supersedes: one.entry for one in versions if one.supersedes is not None}
    # A job that was brought here from another record has its older versions there: they belong to its story too.
    brought: dict[int, int] = {}
    for one in versions:
        if one.asset == own:
            brought[one.job] = max(one.entry, brought.get(one.job, 0))
    jobs = {
        (one.entry, later.get(one.entry)) for one in versions if one.asset == own or one.entry < brought.get(one.job, 0)
    }
    told = {(line.entry, line.superseded_by) for line in story.jobs}
    for entry, by in sorted(jobs - told, key=lambda pair: pair[0]):
        # A version that is told, and not by what it was superseded: that one is not found.
        return Misfit(Flaw.UNSEEN, by if by is not None and entry in {one for one, _ in told} else entry)
    for entry, _ in told - jobs:
        return Misfit(Flaw.UNSEEN, entry)
    signed = past_indexes(connection, SignoffRow, "entry").where(
        bare("signed_entry").in_(sorted(entry for entry, _ in jobs))
    )
    described = past_indexes(connection, AssetVersionRow, "entry").where(bare("asset_id") == own)
    for asked, held in (
        (signed, {one.entry for one in story.signoffs}),
        (described, {one.entry for one in story.versions}),
    ):
        for entry in sorted({entry for entry in connection.scalars(asked) if entry <= upto} ^ held):
            return Misfit(Flaw.UNSEEN, entry)
    breaks = sorted(
        entry
        for entry in connection.scalars(past_indexes(connection, BreakRow, "entry").where(bare("asset_id") == own))
        if entry <= upto
    )
    return Misfit(Flaw.UNSEEN, breaks[-1] if breaks else None) if len(breaks) != len(story.breaks) else None
