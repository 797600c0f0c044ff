"""What an import has read so far, to find what stands twice."""

from __future__ import annotations

from array import array
from collections.abc import KeysView, Sequence


class Seen:
    """What one import has read so far, to find what stands twice.

    For a million references the contents are kept end to end and moments as hashes, which
    takes a third of the memory (a wrong alarm of a moment, one in 10⁷ for a million rows, is
    a warning to look, not a loss).
    """

    def __init__(self) -> None:
        self.moments: set[int] = set()
        self._places: dict[str, int] = {}
        self._rows = array("q")
        self._contents = bytearray()

    def refs(self) -> KeysView[str]:
        """Give the references of all jobs."""
        return self._places.keys()

    def earlier(self, ref: str) -> tuple[int, bytes] | None:
        """Give row and content of the job that has a reference; ``None`` where there is none yet."""
        place = self._places.get(ref)
        return None if place is None else (self._rows[place], bytes(self._contents[32 * place : 32 * place + 32]))

    def place(self, ref: str) -> int:
        """Tell how many jobs were kept before the one that has a reference."""
        return self._places[ref]

    def keep(self, refs: Sequence[str], rows: Sequence[int], contents: Sequence[bytes]) -> None:
        """Keep jobs that were not there before.

        Parameters
        ----------
        refs : sequence of str
            References. [unitless]
        rows : sequence of int
            Their rows. [unitless]
        contents : sequence of bytes
            Digests of what they say, 32 bytes each. [unitless]
        """
        first = len(self._rows)
        self._places.update(zip(refs, range(first, first + len(rows)), strict=True))
        self._rows.extend(rows)
        self._contents += b"".join(contents)
