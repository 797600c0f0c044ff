"""What texts mean, each text looked at once; and moments, which are days and times of day."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from models.commands.plain_jobs import BLANK, MOST_KEPT, PlainLane
from models.intake.checking_jobs import DAY_ONE
from models.ledger.columns import Values
from models.tables.base import to_microseconds

_EPOCH: Final = date(1970, 1, 1).toordinal()
_DAY: Final = timedelta(days=1)
_DAY_US: Final = 86_400_000_000
_MINUTE_US: Final = 60_000_000
_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_CLOCK: Final = re.compile(r"[T ]([01]\d|2[0-3]):([0-5]\d)", re.ASCII)

Codes = NDArray[np.intp]
Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


class Lexicon(Values):
    """What the texts of a column mean: each text is read once.

    Parameters
    ----------
    read : callable
        Gives the meaning of a text; ``None`` where anything has to be said of it. [as typed]
    """

    def __init__(self, read: Callable[[str], Any]) -> None:
        self._read = read
        self._begin()

    def _begin(self) -> None:
        super().__init__()
        self._known: dict[str, int] = {}
        self._blank: int | None = None
        self._numbers: NDArray[np.float64] = np.zeros(0)
        self._whole: Ints = np.zeros(0, np.int64)

    def codes(self, cells: Sequence[str]) -> Codes:
        """Give the place of the meaning of each cell, −1 where it has none that is plain."""
        if len(self._known) > MOST_KEPT:
            self._begin()  # texts that do not repeat would fill it for nothing
        try:
            return np.fromiter(map(self._known.__getitem__, cells), dtype=np.intp, count=len(cells))
        except KeyError:
            for text in dict.fromkeys(cells):
                if text not in self._known:
                    self._known[text] = self._learn(text)
        return np.fromiter(map(self._known.__getitem__, cells), dtype=np.intp, count=len(cells))

    def _learn(self, text: str) -> int:
        meaning = self._read(text)
        if meaning is None:
            return -1
        if meaning is BLANK:
            if self._blank is None:
                self._blank = self.add(meaning)
            return self._blank
        return self.add(meaning)

    def blank(self, codes: Codes) -> Mask:
        """Tell which cells are blank."""
        return np.zeros(len(codes), dtype=bool) if self._blank is None else codes == self._blank

    def numbers(self, codes: Codes) -> NDArray[np.float64]:
        """Give the numbers that cells hold, NaN where they are blank."""
        if len(self._numbers) < len(self.values):
            values = [np.nan if value is BLANK else value.value for value in self.values]
            self._numbers = np.array(values, dtype=np.float64)
        return self._numbers[codes]

    def whole_numbers(self, codes: Codes) -> Ints:
        """Give the whole numbers that the meanings are, those of a tuple side by side."""
        if len(self._whole) < len(self.values):
            self._whole = np.array(self.values, dtype=np.int64)
        return self._whole[codes]


class Moments:
    """Reads moments: what most files write at once, anything else by the lane."""

    def __init__(self, lane: PlainLane) -> None:
        self._lane, self._zone = lane, lane.zone
        self._dates = Lexicon(self._day)
        self._clocks = Lexicon(_minutes)
        self._now = to_microseconds(lane.now)
        self._today = lane.today.toordinal() - _EPOCH

    def read(self, cells: Sequence[str]) -> tuple[Ints, Ints, Mask]:
        """Give the moment [µs since 1970, UTC] and day [days since 1970, site] of each cell, and whether it is plain."""
        dates, clocks = (
            self._dates.codes([cell[:10] for cell in cells]),
            self._clocks.codes([cell[10:] for cell in cells]),
        )
        plain = (dates >= 0) & (clocks >= 0)
        days, starts = np.zeros(len(cells), np.int64), np.zeros(len(cells), np.int64)
        if plain.any():
            found = self._dates.whole_numbers(dates[plain])
            days[plain] = found[:, 0]
            starts[plain] = found[:, 1] + self._clocks.whole_numbers(clocks[plain]) * _MINUTE_US
        for place in np.flatnonzero(~plain).tolist():
            moment = self._lane.moment(cells[place])
            if moment is not None:
                plain[place] = True
                days[place] = moment.astimezone(self._zone).date().toordinal() - _EPOCH
                starts[place] = to_microseconds(moment)
        future = (starts > self._now) & (days > self._today)
        return starts, days, plain & ~future & (days >= DAY_ONE.toordinal() - _EPOCH)

    def _day(self, text: str) -> tuple[int, int] | None:
        """Give the day, and the moment at which its clock shows 0:00; ``None`` where the clock is changed on that day."""
        if not _DATE.fullmatch(text):
            return None
        try:
            midnight = datetime.combine(date.fromisoformat(text), time())
            # No zone changes its clock twice within a day (a test looks), so both ends of it tell all.
            ends = [moment.replace(tzinfo=self._zone).utcoffset() for moment in (midnight, midnight + _DAY)]
        except (ValueError, OverflowError):
            return None
        offset = ends[0]
        if offset is None or ends[1] != offset:
            return None
        day = midnight.toordinal() - _EPOCH
        return day, day * _DAY_US - offset // timedelta(microseconds=1)


def _minutes(text: str) -> int | None:
    match = _CLOCK.fullmatch(text)
    return None if match is None else int(match[1]) * 60 + int(match[2])
