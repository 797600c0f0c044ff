"""Hand-overs: that a key which was replaced signed the one that replaced it.

The signature stands in the words of the entry that names the new key, so it is sealed with it, goes wherever the entry
goes, and older versions read it as words.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import sqlalchemy as sa

from models.errors import KeyFileError
from models.ledger import package_verifier as form
from models.ledger.checkpoint import Checkpoint, Note, key_hint
from models.ledger.findings import Fault, Finding
from models.ledger.keys import signature_holds
from models.ledger.tree import Frontier
from models.store.proofs import raw_bytes, read_keys, root_of
from models.tables.book import EntryRow
from models.tables.proofs import StatementRow, TreeHeadRow

if TYPE_CHECKING:
    from models.ledger.keys import Signer
    from models.store.proofs import BookKey, Head

_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Beside:
    """What a head of the book is to the heads that somebody kept before it, by what the book says of itself; sizes, each the largest."""

    ahead: int | None
    """A kept head of more entries than the book has."""
    other: int | None
    """A kept head with another root than the book's there."""
    signer: int | None
    """The newest kept head of the book that is signed, where it is not by the key that the book names for it."""
    key: BookKey | None
    """The first key to which nothing leads from the kept heads that are the book's beginnings."""
    again: tuple[tuple[BookKey, BookKey], ...]
    """Keys to which the kept heads lead and that are named again, each with the one before it."""
    first: bool
    """Whether no key is named before that one."""
    size: int
    """The kept head from which it was looked for: the newest, or the newest that is signed where the book's is."""


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


def after_others(keys: Sequence[BookKey], again: Sequence[BookKey]) -> tuple[tuple[BookKey, BookKey], ...]:
    """Give keys that came back, each with the key that signed before it.

    Parameters
    ----------
    keys : sequence of BookKey
        All keys of the book, the oldest first. [unitless]
    again : sequence of BookKey
        Those that came back; none of them is the first. [unitless]
    """
    return tuple((new, old) for old, new in pairwise(keys) if new in again)


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


def beside(connection: sa.Connection, head: Head, notes: Collection[Note]) -> Beside:
    """Hold a head of the book against heads that somebody kept: no entry is computed again, as verification does.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    head : Head
        Its newest head. [unitless]
    notes : collection of Note
        The heads that were kept, all of this book. [unitless]
    """
    keys = tuple(one for one in read_keys(connection) if one.entry <= head.size)
    handed = handed_over(connection, keys)
    roots = _roots(connection, sorted({one.checkpoint.size for one in notes if one.checkpoint.size <= head.size}))
    held = [one for one in notes if roots.get(one.checkpoint.size) == one.checkpoint.root]
    not_held = {one.checkpoint.size for one in notes if roots.get(one.checkpoint.size) != one.checkpoint.root}
    signed = [one for one in held if any(name == head.origin for name, _, _ in one.signatures)]
    last = max(signed, key=lambda one: one.checkpoint.size, default=None)
    base = (
        last.checkpoint.size
        if last is not None and head.signature is not None
        else max((one.checkpoint.size for one in held), default=0)
    )
    broken, again = followed(keys, handed, signed_since(connection, keys, handed), base)
    return Beside(
        ahead=max((size for size in not_held if size > head.size), default=None),
        other=max((size for size in not_held if size <= head.size), default=None),
        signer=None if last is None or _signed(last, keys) else last.checkpoint.size,
        key=broken,
        again=after_others(keys, again),
        first=broken is not None and broken == keys[0],
        size=base,
    )


def _roots(connection: sa.Connection, sizes: Sequence[int]) -> dict[int, bytes]:
    """Give the roots of the book at some sizes, as its heads say them; where there is no head, from the leaves."""
    h, s, tree = TreeHeadRow, StatementRow, Frontier()
    found = {0: tree.root()}
    for at in range(0, len(sizes), _AT_ONCE):
        asked = sa.select(h.size, h.root).where(h.size.in_(sizes[at : at + _AT_ONCE]))
        found |= {row.size: raw_bytes(row.root) for row in connection.execute(asked)}
    for size in (one for one in sizes if one not in found):
        leaves = sa.select(s.leaf).where(s.entry > tree.size, s.entry <= size).order_by(s.entry)
        tree.extend(raw_bytes(leaf) for leaf in connection.scalars(leaves))
        if tree.size != size:
            break
        found[size] = tree.root()
    return found


def _signed(note: Note, keys: Sequence[BookKey]) -> bool:
    """Tell whether the key in force at a kept head signed it."""
    head, force = note.checkpoint, [one for one in keys if one.entry <= note.checkpoint.size][-1:]
    return any(
        name == head.origin
        and key_hint(name, one.public_key) == hint
        and signature_holds(one.public_key, signature, head.body.encode())
        for one in force
        for name, hint, signature in note.signatures
    )
