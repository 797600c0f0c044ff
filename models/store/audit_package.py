"""The auditor's package: the entries of one machine and all that they rest on, with proofs and a verifier.

What each entry says is its statement, word for word as it was hashed.  The
verifier that checks the package also has the functions that make it, so that
there is one form of each file.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import sqlalchemy as sa

from models.errors import DriftbookError, UnknownNameError
from models.ledger import package_verifier as form
from models.ledger.checkpoint import key_hint
from models.ledger.proofs import Tree
from models.store.known import asset_id_of
from models.store.proofs import Head, last_head, read_heads, read_keys
from models.store.sealing import BOUND, key_column, seal
from models.store.signing import signer_of
from models.store.tree_proofs import AlteredBookError
from models.tables.accounts import AccountVersionRow
from models.tables.base import canonical_json
from models.tables.book import EntryRow, SiteRow, SiteVersionRow
from models.tables.every import metadata
from models.tables.jobs import JobRow
from models.tables.machines import AssetVersionRow, BreakRow
from models.tables.people import InstrumentVersionRow, PersonRow, PersonVersionRow
from models.tables.proofs import BookKeyRow, SignoffRow, StatementRow, TreeHeadRow
from models.values.kinds import Kind

AT_ONCE = 500
NEWEST = 50
"""So many of the newest heads are put in, and one of each month before."""

_MONTH_US = 2_629_746_000_000
"""A twelfth of the mean Gregorian year. [µs]"""

PDF = "history.pdf"


@dataclass(frozen=True, slots=True)
class Papers:
    """What is put in besides the proofs: words for a person, and a readable history where one can be printed."""

    readme: str
    pdf: bytes | None = None


def audit_package(
    connection: sa.Connection, site_id: int, tag: str, papers: Papers, *, made_us: int, kept: Sequence[int] = ()
) -> bytes:
    """Make the package of a machine.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book that sees one state of it. [unitless]
    site_id : int
        The site. [unitless]
    tag : str
        The machine; a tag that it once bore finds it too. [unitless]
    papers : Papers
        What is put in for a person to read. [unitless]
    made_us : int
        Moment at which it is made. [µs since 1970, UTC]
    kept : sequence of int
        Sizes of heads that somebody kept: the package then proves that it goes on from them. [unitless]

    Returns
    -------
    bytes
        A ZIP archive.

    Raises
    ------
    UnknownNameError
        If the site has no such machine.
    AlteredBookError
        If the leaves do not give the root of the newest head.
    DriftbookError
        If the book has no head yet.
    """
    asset = asset_id_of(connection, site_id, tag)
    if asset is None:
        raise UnknownNameError(f"There is no machine '{tag}' at this site.", remedy="Look the tag up: driftbook study")
    head = last_head(connection)
    if head is None:
        raise DriftbookError("The book has no head yet, so nothing can be proved.", remedy="Type: driftbook upgrade")
    tree = _tree(connection, head)
    numbers = sorted(number for number in entries_of(connection, site_id, asset) if number <= head.size)
    statements = _statements(connection, numbers)
    _rows_fit(connection, numbers, statements)
    proofs = [
        {"entry": number, "path": [step.hex() for step in tree.inclusion(number - 1, head.size)]} for number in numbers
    ]
    keys = [key for key in read_keys(connection) if key.entry <= head.size]
    content = {
        form.README: papers.readme.encode(),
        form.VERIFIER: files("models.ledger").joinpath("package_verifier.py").read_bytes(),
        form.HEAD: head.note.encode(),
        form.KEYS: "".join(f"{key.entry} {key.public_key.hex()}\n" for key in keys).encode(),
        form.STATEMENTS: b"".join(said + b"\n" for said in statements),
        form.PROOFS: _lines(proofs),
        form.OLDER: _lines(_older(connection, tree, head, kept)),
        form.JOBS: form.jobs_csv(form.parsed(said) for said in statements),
    }
    if papers.pdf is not None:
        content[PDF] = papers.pdf
    listed = {
        "entries": numbers, "asset": asset, "tag": tag, "site": site_id, "made_us": made_us,
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in content.items()},
    }  # fmt: skip
    body = f"{form.FORMAT}\n{canonical_json(listed)}\n"
    return form.archive_of([*content.items(), (form.MANIFEST, _signed(connection, head, body).encode())])


def _signed(connection: sa.Connection, head: Head, body: str) -> str:
    """Sign a list of files with the key of the book, where it can be read; it can be taken for no head."""
    signer = signer_of(connection)
    if signer is None or head.key is None or signer.public_key != head.key.public_key:
        return body + "\n"
    signed = key_hint(head.origin, signer.public_key) + signer.sign(body.encode())
    return f"{body}\n— {head.origin} {base64.b64encode(signed).decode()}\n"


def _tree(connection: sa.Connection, head: Head) -> Tree:
    s = StatementRow
    leaves = connection.scalars(sa.select(s.leaf).where(s.entry <= head.size).order_by(s.entry))
    tree = Tree(bytes(leaf) for leaf in leaves)
    if len(tree) != head.size or tree.root() != head.root:
        raise AlteredBookError(
            f"The entries do not give the head of {head.size} entries that was kept: the book was altered.",
            remedy="'driftbook verify' says where.",
        )
    return tree


def _statements(connection: sa.Connection, numbers: Sequence[int]) -> list[bytes]:
    found: dict[int, bytes] = {}
    s = StatementRow
    for some in _parts(numbers):
        found |= {
            row[0]: row[1].encode() for row in connection.execute(sa.select(s.entry, s.said).where(s.entry.in_(some)))
        }
    return [found[number] for number in numbers]


def _rows_fit(connection: sa.Connection, numbers: Sequence[int], statements: Sequence[bytes]) -> None:
    """Look whether the rows still say what the statements say: the printed history is made of the rows."""
    for some in _parts(numbers):
        rows = {
            mapped.__tablename__: _stored(connection, mapped, key_column(mapped), some)
            for mapped in BOUND
            if mapped is not SiteRow
        }
        settings = rows[SiteVersionRow.__tablename__]
        first = {row[0]: row[1] for row in connection.execute(_FIRST_SETTINGS)}
        sites = _stored(connection, SiteRow, "id", sorted({row[1] for row in settings if first.get(row[1]) == row[0]}))
        lines = _stored(connection, EntryRow, "number", some)
        said = {row[0]: row[2].encode() for row in seal(lines, rows | {SiteRow.__tablename__: sites})}
        for number in some:
            if said.get(number) != statements[numbers.index(number)]:
                raise AlteredBookError(
                    f"Entry {number} no longer says what was said when it was written: the book was altered.",
                    remedy="'driftbook verify' says where.",
                )


_FIRST_SETTINGS = sa.select(SiteVersionRow.site_id, sa.func.min(SiteVersionRow.entry)).group_by(SiteVersionRow.site_id)


def _stored(connection: sa.Connection, mapped: Any, column: str, numbers: Sequence[int]) -> list[tuple[Any, ...]]:
    """Read rows just as the database holds them."""
    table = mapped.__table__
    plain = [sa.type_coerce(one, sa.types.NullType()).label(one.name) for one in table.columns]
    return [tuple(row) for row in connection.execute(sa.select(*plain).where(table.c[column].in_(numbers)))]


def _older(connection: sa.Connection, tree: Tree, head: Head, kept: Sequence[int]) -> list[dict[str, Any]]:
    """Give heads of smaller trees, each with the proof that this one goes on from it."""
    size = TreeHeadRow.size
    # Microseconds since 1970 by a month's length: the same whole number on both engines.
    month = sa.type_coerce(EntryRow.at, sa.BigInteger).op("/")(sa.literal(_MONTH_US, sa.BigInteger))
    monthly = sa.select(sa.func.min(size)).join(EntryRow, EntryRow.number == size).group_by(month)
    sizes = {*connection.scalars(monthly), *(one.size for one in read_heads(connection, last=NEWEST)), *kept}
    return [
        {"size": one, "root": tree.root(one).hex(), "proof": [step.hex() for step in tree.consistency(one, head.size)]}
        for one in sorted(sizes)
        if 0 < one < head.size
    ]


def _lines(values: Iterable[Mapping[str, Any]]) -> bytes:
    return "".join(json.dumps(value, separators=(",", ":")) + "\n" for value in values).encode()


def entries_of(connection: sa.Connection, site_id: int, asset: int) -> set[int]:
    """Give the entries of a machine and all that they rest on.

    Its versions, breaks and jobs with their sign-offs; the limits, people and
    instruments that they name, in every version; the files that they came
    from; how the site was set; the accounts of who signed; the keys.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    asset : int
        Number of the machine. [unitless]
    """
    site = SiteVersionRow
    found = {
        asset,
        *connection.scalars(sa.select(BookKeyRow.entry)),
        *connection.scalars(sa.select(site.entry).where(site.site_id == site_id)),
    }
    for mapped in (AssetVersionRow, BreakRow, JobRow):
        found |= set(connection.scalars(sa.select(mapped.entry).where(mapped.asset_id == asset)))
    fresh = set(found)
    while fresh:
        named = set().union(
            *(_named_by(connection, some) | _speaking_of(connection, some) for some in _parts(sorted(fresh)))
        )
        fresh = named - found
        found |= fresh
    return found


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


def _speaking_of(connection: sa.Connection, numbers: Sequence[int]) -> set[int]:
    """Give the entries that speak of some entries: versions, sign-offs, people by their names, accounts of who signed."""
    found: set[int] = set()
    for mapped, of in ((PersonVersionRow, PersonVersionRow.person_id), (InstrumentVersionRow, InstrumentVersionRow.instrument_id),
                       (AccountVersionRow, AccountVersionRow.account_id), (SignoffRow, SignoffRow.signed_entry)):  # fmt: skip
        found |= set(connection.scalars(sa.select(mapped.entry).where(of.in_(numbers))))
    job, person, e = JobRow, PersonRow, EntryRow
    people = {
        name for names in connection.scalars(sa.select(job.people).where(job.entry.in_(numbers))) for name in names
    }
    people |= set(connection.scalars(sa.select(job.reviewer).where(job.entry.in_(numbers))))
    sites = set(connection.scalars(sa.select(e.site_id).where(e.number.in_(numbers))))
    found |= set(
        connection.scalars(sa.select(person.id).where(person.name.in_(sorted(people)), person.site_id.in_(sites)))
    )
    signers = sa.select(e.author).join(SignoffRow, SignoffRow.entry == e.number).where(e.number.in_(numbers))
    found |= set(
        connection.scalars(sa.select(AccountVersionRow.account_id).where(AccountVersionRow.person.in_(signers)))
    )
    return found


def _parts(numbers: Sequence[int]) -> Iterable[Sequence[int]]:
    return [numbers[at : at + AT_ONCE] for at in range(0, len(numbers), AT_ONCE)]
