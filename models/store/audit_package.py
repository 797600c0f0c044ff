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

from models.errors import AlteredBookError, DriftbookError, UnknownNameError
from models.ledger import package_verifier as form
from models.ledger.checkpoint import key_hint
from models.ledger.proofs import Tree
from models.store.as_written import first_altered, statements_of
from models.store.known import asset_id_of
from models.store.package_entries import entries_of, job_versions, records_of
from models.store.proofs import Head, last_head, read_heads, read_keys
from models.store.signing import signer_of
from models.tables.base import canonical_json
from models.tables.book import EntryRow
from models.tables.proofs import StatementRow, TreeHeadRow

NEWEST = 50
"""So many of the newest heads are put in, and one of each month before."""

_MONTH_US = 2_629_746_000_000
"""A twelfth of the mean Gregorian year. [µs]"""

PDF = "history.pdf"


@dataclass(frozen=True, slots=True)
class Papers:
    """What is put in besides the proofs: words for a person, a readable history where one can be printed, and by what and for whom it is made."""

    readme: str
    pdf: bytes | None = None
    maker: str = ""


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
    assets = records_of(connection, site_id, asset)
    found = entries_of(connection, site_id, assets, job_versions(connection, assets))
    numbers = sorted(number for number in found if number <= head.size)
    held = statements_of(connection, numbers)
    altered = next((number for number in numbers if number not in held), None) or first_altered(
        connection, numbers, held
    )
    if altered is not None:
        raise AlteredBookError(
            f"Entry {altered} no longer says what was said when it was written: the book was altered.",
            remedy="'driftbook verify' says where.",
        )
    statements = [held[number][0] for number in numbers]
    proofs = [
        {"entry": number, "path": [step.hex() for step in tree.inclusion(number - 1, head.size)]} for number in numbers
    ]
    keys = [key for key in read_keys(connection) if key.entry <= head.size]
    content = {
        form.README: papers.readme.encode(),
        form.VERIFIER: verifier(),
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
        "entries": numbers, "asset": asset, "tag": tag, "site": site_id, "made_us": made_us, "maker": papers.maker,
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in content.items()},
    }  # fmt: skip
    body = f"{form.FORMAT}\n{canonical_json(listed)}\n"
    return form.archive_of([*content.items(), (form.MANIFEST, _signed(connection, head, body).encode())])


def verifier() -> bytes:
    """Give the verifier that is put into a package of this version."""
    return files("models.ledger").joinpath("package_verifier.py").read_bytes()


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


def _older(connection: sa.Connection, tree: Tree, head: Head, kept: Sequence[int]) -> list[dict[str, Any]]:
    """Give heads of smaller trees, each with the proof that this one goes on from it."""
    size = TreeHeadRow.size
    # Microseconds since 1970 by a month's length: the same whole number on both engines.
    month = sa.type_coerce(EntryRow.at, sa.BigInteger).op("/")(sa.literal(_MONTH_US, sa.BigInteger))
    monthly = sa.select(sa.func.min(size)).join(EntryRow, EntryRow.number == size).group_by(month)
    sizes = {*connection.scalars(monthly), *(one.size for one in read_heads(connection, last=NEWEST)), *kept}
    sizes |= {key.entry - 1 for key in read_keys(connection)[1:]}  # a key that hands over signs the root of these
    return [
        {"size": one, "root": tree.root(one).hex(), "proof": [step.hex() for step in tree.consistency(one, head.size)]}
        for one in sorted(sizes)
        if 0 < one < head.size
    ]


def _lines(values: Iterable[Mapping[str, Any]]) -> bytes:
    return "".join(json.dumps(value, separators=(",", ":")) + "\n" for value in values).encode()
