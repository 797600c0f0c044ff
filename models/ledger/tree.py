"""The Merkle tree over the entries: hashes of leaves and nodes, and a tree that grows without its past.

Source: RFC 9162, section 2.1 (the same tree as RFC 6962).  Leaf *n* is the
canonical text of entry *n* + 1.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field

HASH_BYTES = 32
EMPTY_ROOT = hashlib.sha256(b"").digest()


def leaf_hash(data: bytes) -> bytes:
    """Give the hash of a leaf: SHA-256 of a zero byte and the data.

    Parameters
    ----------
    data : bytes
        Canonical bytes of an entry. [unitless]

    Returns
    -------
    bytes
        32 bytes.
    """
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Give the hash of a node: SHA-256 of a one byte and both children.

    Parameters
    ----------
    left, right : bytes
        Hashes of the children, 32 bytes each. [unitless]

    Returns
    -------
    bytes
        32 bytes.
    """
    return hashlib.sha256(b"\x01" + left + right).digest()


@dataclass(slots=True)
class Frontier:
    """A tree by the roots of its full subtrees only, largest first: enough to go on and to give the root.

    Their sizes are the powers of two in ``size``, so 64 hashes carry any book.
    """

    size: int = 0
    hashes: list[bytes] = field(default_factory=list)

    def append(self, leaf: bytes) -> None:
        """Add the hash of the next leaf, 32 bytes."""
        carried, filled = leaf, self.size
        while filled & 1:
            carried = node_hash(self.hashes.pop(), carried)
            filled >>= 1
        self.hashes.append(carried)
        self.size += 1

    def append_full(self, root: bytes, height: int) -> None:
        """Add a full subtree of two to the power of ``height`` leaves by its root, 32 bytes.

        Raises
        ------
        ValueError
            If the tree does not end where such a subtree begins.
        """
        if self.size & ((1 << height) - 1):
            raise ValueError(f"a subtree of height {height} cannot stand after {self.size} leaves")
        carried, filled = root, self.size >> height
        while filled & 1:
            carried = node_hash(self.hashes.pop(), carried)
            filled >>= 1
        self.hashes.append(carried)
        self.size += 1 << height

    def extend(self, leaves: Iterable[bytes]) -> None:
        """Add the hashes of the next leaves, in their order."""
        for leaf in leaves:
            self.append(leaf)

    def root(self) -> bytes:
        """Give the root of the tree as it stands, 32 bytes."""
        if not self.hashes:
            return EMPTY_ROOT
        found = self.hashes[-1]
        for left in reversed(self.hashes[:-1]):
            found = node_hash(left, found)
        return found

    def to_bytes(self) -> bytes:
        """Give the hashes in one piece, as they are kept."""
        return b"".join(self.hashes)


def frontier_of(size: int, kept: bytes) -> Frontier:
    """Give a frontier back from what was kept.

    Parameters
    ----------
    size : int
        Number of leaves. [unitless]
    kept : bytes
        What ``to_bytes`` gave. [unitless]

    Raises
    ------
    ValueError
        If the kept bytes cannot belong to a tree of that size.
    """
    if size < 0 or len(kept) != HASH_BYTES * size.bit_count():
        raise ValueError(f"{len(kept)} bytes are no frontier of a tree of {size} leaves")
    return Frontier(size, [kept[at : at + HASH_BYTES] for at in range(0, len(kept), HASH_BYTES)])
