"""The order of the rows of a chunk: what is plain is made known, and what is not is looked at with everything before it known."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence

import numpy as np

from models.commands.import_jobs import JobRows
from models.commands.lexicon import Mask
from models.commands.pending import Pending
from models.commands.plain_columns import PlainColumns
from models.intake.blocks import Chunk
from models.intake.reading import Cell

Look = Callable[[int, Sequence[Cell]], Pending | None]
"""The row loop for one row: gives the job that waits to be written."""


class Order:
    """Walks through a chunk in the order of its rows: plain ones are made known, the others looked at one by one."""

    def __init__(self, work: JobRows, plain: PlainColumns, rows: Chunk, look: Look) -> None:
        self._work, self._plain, self._rows, self._look = work, plain, rows, look
        self._keep: Mask = np.ones(len(plain.refs), dtype=bool)
        self._moments = list(map(hash, zip(plain.tags.stored(len(plain.refs)), plain.us.tolist(), strict=True)))
        self._numbers = [rows.first + at for at in plain.at.tolist()]
        others = np.ones(len(rows), dtype=bool)
        others[plain.at] = False
        # Rows that have to be looked at, by their place in the chunk; with the place among the plain ones, or −1.
        self._heap: list[tuple[int, int]] = [(at, -1) for at in np.flatnonzero(others).tolist()]
        self._unknown: dict[int, tuple[str, list[int]]] = {}
        self._put_unknown_instruments()

    def _put_unknown_instruments(self) -> None:
        """Put the first row of each instrument that nobody knows among those to look at."""
        serials = list(self._plain.instrument.stored(len(self._plain.refs)))
        unknown = {serial for serial in set(serials) if serial and not self._work.knows_instrument(serial)}
        if not unknown:
            return
        places: dict[str, list[int]] = {serial: [] for serial in unknown}
        for place in range(len(serials) - 1, -1, -1):
            if serials[place] in unknown:
                places[serials[place]].append(place)
        for serial, of in places.items():
            self._put_next(serial, of)

    def _put_next(self, serial: str, places: list[int]) -> None:
        """Put the next row of an instrument among those to look at; the row before it did not make it known."""
        if places:
            place = places.pop()
            self._unknown[place] = (serial, places)
            self._put(place)

    def _put(self, place: int) -> None:
        heapq.heappush(self._heap, (int(self._plain.at[place]), place))

    def run(self) -> tuple[Mask, list[tuple[int, Pending]]]:
        """Give which plain rows stay plain, and the jobs of the others with their places in the chunk."""
        waiting: list[tuple[int, Pending]] = []
        done, end = 0, len(self._plain.refs)
        while True:
            stop = int(np.searchsorted(self._plain.at, self._heap[0][0])) if self._heap else end
            if stop > done:
                clashes = self._clashes(done, stop)
                for place in clashes:
                    self._put(place)
                if clashes:
                    continue
                self._make_known(done, stop)
                done = stop
            if not self._heap:
                return self._keep, waiting
            at, place = heapq.heappop(self._heap)
            if place >= 0:
                if not self._keep[place]:
                    continue  # put there for two reasons
                self._keep[place] = False
                done = place + 1
            pending = self._look(*self._rows.numbered(at))
            if pending is not None:
                waiting.append((at, pending))
            if place in self._unknown:
                serial, rest = self._unknown.pop(place)
                if not self._work.knows_instrument(serial):
                    self._put_next(serial, rest)

    def _clashes(self, first: int, end: int) -> list[int]:
        """Give the rows of a stretch whose job number or moment was there before."""
        refs, moments, seen = self._plain.refs[first:end], self._moments[first:end], self._work.seen
        count = end - first
        if (
            len(set(refs)) == len(set(moments)) == count
            and seen.refs().isdisjoint(refs)
            and seen.moments.isdisjoint(moments)
        ):
            return []
        before, then, found = set(), set(), []
        for place, (ref, moment) in enumerate(zip(refs, moments, strict=True), start=first):
            if ref in before or moment in then or ref in seen.refs() or moment in seen.moments:
                found.append(place)
            before.add(ref)
            then.add(moment)
        return found

    def _make_known(self, first: int, end: int) -> None:
        seen = self._work.seen
        seen.keep(self._plain.refs[first:end], self._numbers[first:end], self._plain.contents[first:end])
        seen.moments.update(self._moments[first:end])
