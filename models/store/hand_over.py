"""Hand-overs: that a key which was replaced signed the one that replaced it.

The signature stands in the words of the entry that names the new key, so it is sealed with it, goes wherever the entry
goes, and older versions read it as words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import sqlalchemy as sa

from models.errors import KeyFileError
from models.ledger import package_verifier as form
from models.ledger.checkpoint import Checkpoint
from models.ledger.findings import Fault, Finding
from models.ledger.keys import signature_holds
from models.store.proofs import raw_bytes, root_of
from models.tables.book import EntryRow
from models.tables.proofs import TreeHeadRow

if TYPE_CHECKING:
    from models.ledger.keys import Signer
    from models.store.proofs import BookKey


def hand_over_words(connection: sa.Connection, old: Signer, origin: str, entry: int, public_key: bytes) -> str:
    """Let a key hand over to the one that an entry is about to name; gives the words for that entry.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The transaction that writes the entry, before anything else of it is written. [unitless]
    old : Signer
        The key that signs today. [unitless]
    origin : str
        Name of the book. [unitless]
    entry : int
        Number that the entry will have. [unitless]
    public_key : bytes
        The new key (Ed25519, 32 bytes). [unitless]

    Raises
    ------
    KeyFileError
        If no head covers the entries before, so that there is nothing to sign.
    """
    root = root_of(connection, entry - 1)
    if root is None:
        raise KeyFileError(
            f"No head covers the {entry - 1} entries of the book, so the old key cannot hand over; nothing was written.",
            remedy="'driftbook verify' says what is missing. Without --old-key the new key is set all the same.",
        )
    return form.hand_over_words(old.sign(form.hand_over(origin, entry - 1, root, public_key)))


def handed_over(connection: sa.Connection, keys: Sequence[BookKey]) -> frozenset[int]:
    """Give the entries whose key was handed over by the key before it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    keys : sequence of BookKey
        All its keys, the oldest first. [unitless]
    """
    found = set()
    for old, new in pairwise(keys):
        root = root_of(connection, new.entry - 1)
        words = connection.execute(sa.select(EntryRow.why).where(EntryRow.number == new.entry)).scalar()
        if root is None or not isinstance(words, str):
            continue
        if form.handed_over(words, old.public_key, form.hand_over(old.origin, new.entry - 1, root, new.public_key)):
            found.add(new.entry)
    return frozenset(found)


def signed_since(connection: sa.Connection, keys: Sequence[BookKey], handed: frozenset[int]) -> frozenset[int]:
    """Give the entries that name a key again, where it signed since: a head that covers the entry, or a hand-over.

    Whoever can change the database can name any key, and sign with none but their own.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    keys : sequence of BookKey
        All its keys, the oldest first. [unitless]
    handed : frozenset of int
        Entries whose key was handed over by the key before it. [unitless]
    """
    found = {old.entry for old, new in pairwise(keys) if new.entry in handed}
    h = TreeHeadRow
    for at, one in enumerate(keys):
        if one.entry in found or all(one.public_key != old.public_key for old in keys[:at]):
            continue
        asked = sa.select(h.size, h.root, h.signature).where(h.key_entry == one.entry, h.signature.is_not(None))
        row = connection.execute(asked.order_by(h.size.desc()).limit(1)).first()
        if row is None or row.size < one.entry:
            continue
        body = Checkpoint(one.origin, row.size, raw_bytes(row.root)).body.encode()
        if signature_holds(one.public_key, raw_bytes(row.signature), body):
            found.add(one.entry)
    return frozenset(found)


def followed(
    keys: Sequence[BookKey], handed: frozenset[int], signed: frozenset[int], kept: int
) -> tuple[BookKey | None, tuple[BookKey, ...]]:
    """Give the first key to which nothing leads from the heads that were kept elsewhere, and those with which a known key came back.

    A kept head speaks for the key that signs where it ends, and a key for the one to which it hands over.  Where neither
    does, whoever can change the database may have named a key of their own, and signed all with it.  A known key that is
    named again behind such a one, and signed since, is known as before.

    Parameters
    ----------
    keys : sequence of BookKey
        All keys of the book, the oldest first. [unitless]
    handed : frozenset of int
        Entries whose key was handed over by the key before it. [unitless]
    signed : frozenset of int
        Entries that name a key again, where it signed since. [unitless]
    kept : int
        Entries for which the largest head that was kept elsewhere, and holds, speaks; none where there is none. [unitless]
    """
    if not kept:
        return None, ()
    by_entry = {one.entry: one for one in keys}
    broken, again = form.followed([form.Key(one.entry, one.public_key) for one in keys], handed, signed, kept)
    return None if broken is None else by_entry[broken.entry], tuple(by_entry[one.entry] for one in again)


def unvouched(keys: Sequence[BookKey], broken: BookKey | None, last: int) -> Iterator[Finding]:
    """Give the key to which nothing leads, as a finding.

    Parameters
    ----------
    keys : sequence of BookKey
        All keys of the book, the oldest first. [unitless]
    broken : BookKey or None
        The key. [unitless]
    last : int
        The last entry. [unitless]
    """
    if broken is not None:
        at = keys.index(broken)
        before = keys[at - 1].public_key.hex() if at else None
        yield Finding(
            Fault.KEY_NOT_VOUCHED, broken.entry, "book_key", "public_key", broken.public_key.hex(), before, last
        )
