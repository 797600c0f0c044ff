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
from models.ledger.findings import Fault, Finding
from models.store.proofs import root_of
from models.tables.book import EntryRow

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


def unvouched(
    keys: Sequence[BookKey], handed: frozenset[int], kept: int, last: int, public_key: bytes | None
) -> Iterator[Finding]:
    """Give the first key to which nothing leads from the heads that were kept elsewhere.

    A kept head speaks for the keys that are named in it, and a key for the one to which it hands over.  Where neither
    does, whoever can change the database may have named a key of their own, and signed all with it.

    Parameters
    ----------
    keys : sequence of BookKey
        All keys of the book, the oldest first. [unitless]
    handed : frozenset of int
        Entries whose key was handed over by the key before it. [unitless]
    kept : int
        Entries for which the largest head that was kept elsewhere, and holds, speaks; none where there is none. [unitless]
    last : int
        The last entry. [unitless]
    public_key : bytes or None
        The key of today, as it is known from elsewhere: it speaks for all before it. [unitless]
    """
    if not kept or (keys and keys[-1].public_key == public_key):
        return
    at = next((at for at, one in enumerate(keys) if one.entry > kept and one.entry not in handed), None)
    if at is not None:
        before = keys[at - 1].public_key.hex() if at else None
        said = keys[at].public_key.hex()
        yield Finding(Fault.KEY_NOT_VOUCHED, keys[at].entry, "book_key", "public_key", said, before, last)
