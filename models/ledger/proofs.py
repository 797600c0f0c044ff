"""Proofs over the tree: that an entry is in it, and that an older tree is the beginning of a newer one.

Source: RFC 9162, sections 2.1.3 (inclusion) and 2.1.4 (consistency).  The
hashes of all full subtrees are kept, 64 bytes a leaf, so that a proof reads
a few dozen of them and hashes next to nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from models.ledger.tree import EMPTY_ROOT, HASH_BYTES, node_hash


class Tree:
    """A tree with the hashes of its full subtrees, level by level; it can be added to."""

    def __init__(self, leaves: Iterable[bytes] = ()) -> None:
        self._levels: list[bytearray] = [bytearray()]
        self.extend(leaves)

    def __len__(self) -> int:
        """Give the number of leaves."""
        return len(self._levels[0]) // HASH_BYTES

    def leaf(self, index: int) -> bytes:
        """Give the hash of a leaf by its place, from 0."""
        return bytes(self._levels[0][HASH_BYTES * index : HASH_BYTES * (index + 1)])

    def extend(self, leaves: Iterable[bytes]) -> None:
        """Add the hashes of the next leaves, 32 bytes each, in their order.

        Raises
        ------
        ValueError
            If one is not 32 bytes long; nothing is added then.
        """
        brought = list(leaves)
        if any(len(leaf) != HASH_BYTES for leaf in brought):
            raise ValueError("the hash of a leaf has 32 bytes")
        self._levels[0] += b"".join(brought)
        level = 0
        while len(self._levels[level]) >= 2 * HASH_BYTES:
            if level + 1 == len(self._levels):
                self._levels.append(bytearray())
            above = self._levels[level + 1]
            above += paired(self._levels[level][2 * len(above) :])
            level += 1

    def root(self, size: int | None = None) -> bytes:
        """Give the root of the tree over the first leaves.

        Parameters
        ----------
        size : int, optional
            Over how many; over all if left out. [unitless]

        Returns
        -------
        bytes
            32 bytes.

        Raises
        ------
        ValueError
            If there are not so many.
        """
        asked = len(self) if size is None else size
        self._check(asked)
        return self._span(0, asked) if asked else EMPTY_ROOT

    def inclusion(self, index: int, size: int | None = None) -> list[bytes]:
        """Give the proof that a leaf is in the tree over the first leaves (RFC 9162, section 2.1.3.1).

        Parameters
        ----------
        index : int
            Place of the leaf, from 0; that of an entry is its number less one. [unitless]
        size : int, optional
            Size of the tree; all leaves if left out. [unitless]

        Returns
        -------
        list of bytes
            Hashes of the neighbours, from the leaf up.

        Raises
        ------
        ValueError
            If the leaf is not in a tree of that size, or there is no tree of that size.
        """
        end = len(self) if size is None else size
        self._check(end)
        if not 0 <= index < end:
            raise ValueError(f"leaf {index} is not among {end}")
        start, path = 0, []
        while end - start > 1:
            middle = start + _split(end - start)
            if index < middle:
                path.append(self._span(middle, end))
                end = middle
            else:
                path.append(self._span(start, middle))
                start = middle
        return path[::-1]

    def consistency(self, older: int, newer: int | None = None) -> list[bytes]:
        """Give the proof that an older tree is the beginning of a newer one (RFC 9162, section 2.1.4.1).

        Parameters
        ----------
        older, newer : int
            Sizes of both; all leaves if the newer is left out. [unitless]

        Returns
        -------
        list of bytes
            Hashes, in the order of the standard; none where both are the same or the older is empty.

        Raises
        ------
        ValueError
            If the older is larger, or there are no such trees.
        """
        end = len(self) if newer is None else newer
        self._check(end)
        if not 0 <= older <= end:
            raise ValueError(f"a tree of {older} leaves is not the beginning of one of {end}")
        if older in {0, end}:
            return []
        start, path, whole = 0, [], True
        while older != end:
            middle = start + _split(end - start)
            if older <= middle:
                path.append(self._span(middle, end))
                end = middle
            else:
                path.append(self._span(start, middle))
                start, whole = middle, False
        if not whole:
            path.append(self._span(start, end))
        return path[::-1]

    def _check(self, size: int) -> None:
        if not 0 <= size <= len(self):
            raise ValueError(f"there is no tree of {size} leaves among {len(self)}")

    def _span(self, start: int, end: int) -> bytes:
        """Give the hash over leaves from ``start``, a multiple of every full subtree in them, up to ``end``."""
        found: list[bytes] = []
        while start < end:
            height = (end - start).bit_length() - 1
            at = (start >> height) * HASH_BYTES
            found.append(bytes(self._levels[height][at : at + HASH_BYTES]))
            start += 1 << height
        carried = found[-1]
        for left in reversed(found[:-1]):
            carried = node_hash(left, carried)
        return carried


def paired(hashes: bytes | bytearray) -> bytes:
    """Give the hashes of the nodes over pairs of hashes; an odd last one is left over.

    Parameters
    ----------
    hashes : bytes
        Hashes of one level, 32 bytes each, in one piece. [unitless]

    Returns
    -------
    bytes
        Hashes of the level above, in one piece.
    """
    sha256, both = hashlib.sha256, 2 * HASH_BYTES
    return b"".join(
        [sha256(b"\x01" + hashes[at : at + both]).digest() for at in range(0, len(hashes) - both + 1, both)]
    )


def _split(count: int) -> int:
    """Give the largest power of two that is smaller than a number of leaves above one."""
    return 1 << ((count - 1).bit_length() - 1)
