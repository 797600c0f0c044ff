"""Verification of signatures over the whole book: stretches of heads that bear none, and the key that is known from elsewhere.

A head that is signed speaks for all entries before it, as they were found when it was signed.  So the next
signature covers what lies under heads without one, and cannot tell whether it was written anew before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from models.ledger.findings import Fault, Finding
from models.store.proofs import Head


@dataclass(frozen=True, slots=True)
class Unsigned:
    """Entries that lie under heads without a signature: which, under how many heads, and the signed heads around them."""

    first: int
    last: int
    heads: int
    before: int | None
    """Size of the last signed head before; ``None`` where there is none."""
    after: int | None
    """Size of the first signed head after; ``None`` where there is none yet."""

    def open_from(self, kept: int) -> int | None:
        """Give the first entry for which no kept head speaks; ``None`` where one speaks for all of them.

        Parameters
        ----------
        kept : int
            Entries for which the largest head that was kept elsewhere, and holds, speaks. [unitless]
        """
        first = max(self.first, kept + 1)
        return first if first <= self.last else None


class Signatures:
    """Heads as they come, the smallest first, put into stretches that bear no signature."""

    def __init__(self, since: int | None) -> None:
        """Begin; ``since`` is the entry of the first key, before which nobody could sign."""
        self._since = since
        self._sizes: list[int] = []
        self._signed: int | None = None
        self._found: list[Unsigned] = []

    def take(self, size: int, *, signed: bool) -> None:
        """Take a head."""
        if not signed:
            if self._since is not None and size >= self._since:
                self._sizes.append(size)
            return
        self._end(size)
        self._signed = size

    def found(self) -> list[Unsigned]:
        """Give the stretches once all heads were taken."""
        self._end(None)
        return self._found

    def _end(self, after: int | None) -> None:
        if self._sizes:
            first = (self._signed or 0) + 1
            self._found.append(Unsigned(first, self._sizes[-1], len(self._sizes), self._signed, after))
            self._sizes = []


def key_findings(
    newest: Head | None, unsigned: Iterable[Unsigned], kept: int, public_key: bytes | None
) -> Iterator[Finding]:
    """Give what speaks against a key that is known from elsewhere: it has to vouch for the book from its first entry on.

    Parameters
    ----------
    newest : Head or None
        The newest head. [unitless]
    unsigned : iterable of Unsigned
        Entries under heads without a signature. [unitless]
    kept : int
        Entries for which the largest head that was kept elsewhere, and holds, speaks. [unitless]
    public_key : bytes or None
        The key (Ed25519, 32 bytes); without one nothing is asked. [unitless]
    """
    if public_key is None:
        return
    signs = b"" if newest is None or newest.key is None else newest.key.public_key
    if signs != public_key:
        size = None if newest is None else newest.size
        yield Finding(Fault.KEY_NOT_GIVEN, size, "book_key", "public_key", signs.hex() or None, public_key.hex())
    for one in unsigned:
        first = one.open_from(kept)
        if first is not None:
            yield Finding(Fault.UNSIGNED_ENTRIES, first, "tree_head", "signature", upto=one.last)
