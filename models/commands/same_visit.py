"""Rows of jobs that may be visits that the book holds under other numbers: typed by hand, say, and on the crew's list too."""

from __future__ import annotations

import math
from array import array
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from models.commands.one_machine import OneMachine
from models.commands.report import SameVisit
from models.intake.problems import Code, Problem, Severity
from models.intake.reading import Cell
from models.intake.rows import Row, RowReader
from models.store.visits import Visit, visits_between
from models.tables.base import from_microseconds, to_microseconds
from models.values.doubled import COARSEST, Four, coarser, read_alike, read_to

Key = tuple[int, int]
"""Number of a machine, and a day of the site's calendar as its ordinal."""


class BookVisits:
    """What the book held of visits before an import began.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The connection of the import. [unitless]
    site_id : int
        Number of the site. [unitless]
    zone : zoneinfo.ZoneInfo
        Its zone. [unitless]
    before : int
        Number of the first entry of the import. [unitless]
    one_machine : OneMachine
        Knows which machines are one. [unitless]
    """

    def __init__(
        self, connection: sa.Connection, site_id: int, zone: ZoneInfo, before: int, one_machine: OneMachine
    ) -> None:
        self._connection, self._site_id, self._zone, self._before = connection, site_id, zone, before
        self._one_machine = one_machine

    def on(self, keys: Collection[Key]) -> dict[Key, list[Visit]]:
        """Give the visits of machines on days, under any of their records; keys without one are left out.

        Parameters
        ----------
        keys : collection of Key
            The machines and days. [unitless]
        """
        together = self._one_machine.together() if keys else {}
        stretches = {day: self._stretch(day) for day in {day for _, day in keys}}
        alias: dict[int, int] = {}  # the records of one machine have one number here
        for asset_id, group in together.items():
            alias[asset_id] = min(group)
        wanted = {(one, *stretches[day]) for asset_id, day in keys for one in together.get(asset_id, {asset_id})}
        held: dict[Key, list[Visit]] = {}
        for visit in visits_between(self._connection, self._site_id, sorted(wanted), before=self._before):
            day = from_microseconds(visit.performed_us).astimezone(self._zone).toordinal()
            held.setdefault((alias.get(visit.asset_id, visit.asset_id), day), []).append(visit)
        return {
            key: sorted(there, key=lambda one: one.entry)
            for key in keys
            if (there := held.get((alias.get(key[0], key[0]), key[1])))
        }

    def _stretch(self, day: int) -> tuple[int, int]:
        """Give the first moment of a day and that of the next one."""
        first = date.fromordinal(day)
        ends = (datetime.combine(one, time(), self._zone) for one in (first, first + timedelta(days=1)))
        begins, over = map(to_microseconds, ends)
        return begins, over


class ImportVisits:
    """Jobs that this import takes in, by machine and day: one file may name a visit under two numbers.

    Only numbers are kept, 42 bytes a job and what finds them: an import may have millions.
    """

    def __init__(self) -> None:
        self._newest: dict[int, int] = {}
        self._before: dict[int, int] = {}
        self._rows, self._sheets = array("q"), array("H")
        self._numbers = array("f")

    @staticmethod
    def key(asset_id: int, day: int) -> int:
        """Give the key of a machine and a day, which is its ordinal."""
        return asset_id << 20 | day

    def repeats(self, keys: Sequence[int]) -> set[int]:
        """Give those of some keys that stand among them twice, or that came before."""
        every, known = set(keys), self._newest.keys()
        twice = {key for key, count in Counter(keys).items() if count > 1} if len(every) < len(keys) else set[int]()
        return twice if known.isdisjoint(every) else twice | (known & every)

    def add(self, keys: Sequence[int], sheet: int, rows: Sequence[int], numbers: array[float]) -> None:
        """Take jobs in.

        Parameters
        ----------
        keys : sequence of int
            Their machines and days. [unitless]
        sheet : int
            Which sheet of the import. [unitless]
        rows : sequence of int
            Their rows. [unitless]
        numbers : array of float
            Eight a job: what was found and left, NaN where nothing was. [mm, mm/m]
        """
        first = len(self._rows)
        if len(keys) == 1 and (last := self._newest.get(keys[0])) is not None:
            self._before[first] = last
        self._newest.update(zip(keys, range(first, first + len(keys)), strict=True))
        self._rows.extend(rows)
        self._sheets.extend([sheet] * len(keys))
        self._numbers.extend(numbers)

    def alike(
        self, key: int, found: Four | None, left: Four | None, typed: Callable[[], Mapping[str, str]]
    ) -> tuple[int, int] | None:
        """Give sheet and row of the first job of a machine and day with the same readings; ``None`` where there is none.

        Parameters
        ----------
        key : int
            The machine and day. [unitless]
        found, left : tuple of four float or None
            What the job found and left. [mm, mm/m]
        typed : callable
            Gives its numbers as they were typed; asked only where the readings are near. [as typed]
        """
        place, first = self._newest.get(key), None
        while place is not None:
            numbers = self._numbers[8 * place : 8 * place + 8].tolist()
            there = (_kept(numbers[:4]), _kept(numbers[4:]))
            # A row that says more than the earlier one is not left out for it: its as-left would be in no record.
            says_more = any(new is not None and old is None for new, old in zip((found, left), there, strict=True))
            if not says_more and read_alike(there, (found, left), _NEAR):
                offset, angle = read_to(typed())
                if read_alike(there, (found, left), (offset + _SINGLE, angle + _SINGLE)):
                    first = place
            place = self._before.get(place)
        return None if first is None else (self._sheets[first], self._rows[first])


_SINGLE: Final = 1e-6
"""What a number loses that is kept with half of its digits [mm, mm/m]."""
_NEAR: Final = (COARSEST[0] + _SINGLE, COARSEST[1] + _SINGLE)
_NOTHING: Final = (math.nan,) * 4


def eight(found: Four | None, left: Four | None) -> array[float]:
    """Give what a job found and left as :class:`ImportVisits` keeps it."""
    return array("f", (found or _NOTHING) + (left or _NOTHING))


def _kept(numbers: Sequence[float]) -> Four | None:
    v, angle_v, h, angle_h = numbers
    return None if math.isnan(v) else (v, angle_v, h, angle_h)


def alike(
    there: Iterable[Visit],
    performed_us: int,
    found: Four | None,
    left: Four | None,
    typed: Callable[[], Mapping[str, str]],
) -> tuple[Visit, bool] | None:
    """Give the visit of that day that a job may be, and whether by its readings; ``None`` where there is none.

    One of the very same moment is told whatever its readings are.

    Parameters
    ----------
    there : iterable of Visit
        Visits of the machine on the day of the job. [unitless]
    performed_us : int
        Moment of the job. [µs]
    found, left : tuple of four float or None
        What it found and left. [mm, mm/m]
    typed : callable
        Gives the numbers of the job as they were typed; asked only where the readings are near. [as typed]
    """
    same_moment = None
    for visit in there:
        if read_alike((visit.found, visit.left), (found, left), COARSEST):
            to = coarser(read_to(typed()), read_to(visit.typed))
            if read_alike((visit.found, visit.left), (found, left), to):
                return visit, True
        if visit.performed_us == performed_us:
            same_moment = visit
    return None if same_moment is None else (same_moment, False)


def told_twice(reader: RowReader, row: Row, cells: Sequence[Cell], where: str, day: date, mode: SameVisit) -> Problem:
    """Say of a row that an earlier one of this import may be the same visit, and what becomes of it.

    Parameters
    ----------
    reader : RowReader
        Reader of its sheet. [unitless]
    row : Row
        The row. [unitless]
    cells : sequence of Cell
        Its cells. [as typed]
    where : str
        The earlier row. [unitless]
    day : datetime.date
        Their day. [site's calendar]
    mode : SameVisit
        What becomes of such rows. [unitless]
    """
    text = f"{where} has the same readings of this machine on the same day ({day}). If that is the same visit, it would count twice"
    text += {
        SameVisit.ASK: "; say beside ‘Import’ whether such rows are left out or taken.",
        SameVisit.TAKE: "; it is taken all the same (driftbook import --same-visit leave leaves such rows out). If both are one visit, void one of them.",
        SameVisit.LEAVE: "; it is left out.",
    }[mode]
    problem = reader.problem(
        row, "performed", Code.SAME_VISIT, Severity.WARNING, reader.shown("performed", cells), text
    )
    return replace(problem, is_sentence=True)


def told(
    reader: RowReader, row: Row, cells: Sequence[Cell], visit: Visit, mode: SameVisit, *, by_readings: bool
) -> Problem:
    """Say of a row that it may be a visit that the book holds, and what becomes of it.

    Parameters
    ----------
    reader : RowReader
        Reader of its sheet. [unitless]
    row : Row
        The row. [unitless]
    cells : sequence of Cell
        Its cells. [as typed]
    visit : Visit
        What the book holds. [unitless]
    mode : SameVisit
        What becomes of such rows. [unitless]
    by_readings : bool
        Whether the readings are the same; else only the moment is, and the row is taken. [unitless]
    """
    then = f"{from_microseconds(visit.performed_us).astimezone(reader.zone):%Y-%m-%d %H:%M}"
    held = f"job {visit.ref} (entry {visit.entry}) of this machine"
    if not by_readings:
        text = (
            f"{held} has the very same time ({then}), with other readings; two of one moment make no run and no return. If both are one "
            f"visit, void one of them: driftbook void {visit.entry}"
        )
        code = Code.SAME_MOMENT
    else:
        code = Code.SAME_VISIT
        text = f"{held} has the same readings on the same day ({then}). If that is the same visit, it would count twice"
        text += {
            SameVisit.ASK: "; say beside ‘Import’ whether such rows are left out or taken.",
            SameVisit.TAKE: (
                "; it is taken all the same (driftbook import --same-visit leave leaves such rows out). If both are one visit, "
                f"void one of them: driftbook void {visit.entry}"
            ),
            SameVisit.LEAVE: "; it is left out.",
        }[mode]
    problem = reader.problem(row, "performed", code, Severity.WARNING, reader.shown("performed", cells), text)
    return replace(problem, is_sentence=True)
