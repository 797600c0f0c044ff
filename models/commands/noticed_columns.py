"""What is noticed of plain rows, for many of them at once: the same counts as row by row."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence

import numpy as np

from models.commands.doubtful_moves import many_may_be_meant, told_of
from models.commands.import_jobs import JobRows
from models.commands.lexicon import Codes, Mask
from models.commands.noticed import FEW, Noticed
from models.commands.plain_columns import ColumnLane, PlainColumns
from models.intake.blocks import Chunk
from models.ledger.columns import Coded, Column, Same
from models.values.asset import Asset
from models.values.limits import LimitsGiven


class NoticedColumns:
    """Counts what is noticed of the plain rows of a chunk that are new.

    Parameters
    ----------
    noticed : Noticed
        What is noticed of the sheet. [unitless]
    plain : PlainColumns
        The rows. [as typed]
    rows : Chunk
        The chunk of which they are. [as typed]
    """

    def __init__(self, noticed: Noticed, plain: PlainColumns, rows: Chunk) -> None:
        self._noticed, self._plain, self._rows = noticed, plain, rows

    def count(self, work: JobRows) -> None:
        """Count rows that are left as found, and those with names that look like others."""
        if self._plain.left_as_found.any():
            self._noticed.left_as_found(*self._numbers(self._plain.left_as_found))
        for serial, named in _naming(self._plain.instrument, len(self._plain.refs), work.serials.odd, _alone):
            self._noticed.instrument(serial, *self._numbers(named))
        for name, named in _naming(self._plain.people, len(self._plain.refs), work.names.odd, _first):
            self._noticed.person(name, *self._numbers(named))

    def look_at_moves(self, work: JobRows, lane: ColumnLane, groups: Coded) -> None:
        """Look at the moves of the few rows that may be meant.

        Parameters
        ----------
        work : JobRows
            The import. [unitless]
        lane : ColumnLane
            Reader of the rows. [unitless]
        groups : Coded
            For each row its machine as it was that day, and its limits. [as stored]
        """
        plain = self._plain
        if not any(feet.size for feet in plain.moves):  # no rows, or no column of moves
            return
        used = np.unique(groups.codes)
        machines: list[Sequence[float]] = [()] * len(groups.of.values)
        for code in used.tolist():
            machines[code] = groups.of.values[code].asset.feet_movable_mm
        meant = many_may_be_meant(plain.found, plain.left, plain.moves, machines, groups.codes)
        for place in np.flatnonzero(meant).tolist():
            number, cells = self._rows.numbered(int(plain.at[place]))
            job = lane.one(cells)
            asset, limits = _judged_by(groups, place)
            if job is not None and (told := told_of(job, asset, limits, work.site.display)):
                self._noticed.moved(number, told)

    def _numbers(self, chosen: Mask) -> tuple[int, list[int]]:
        """Give how many rows are chosen, and the numbers of the first of them."""
        places: Codes = np.flatnonzero(chosen)
        return len(places), [self._rows.first + at for at in self._plain.at[places[:FEW]].tolist()]


def _judged_by(groups: Coded, place: int) -> tuple[Asset, LimitsGiven]:
    group = groups.of.values[groups.codes[place]]
    return group.asset, group.limits


def _naming(
    column: Column, rows: int, odd: Collection[str], names: Callable[[object], Sequence[str]]
) -> Iterator[tuple[str, Mask]]:
    """Give each odd name of a column with the rows that bear it."""
    if not odd:
        return
    if isinstance(column, Same):
        values, codes = [column.value], np.zeros(rows, np.intp)
    elif isinstance(column, Coded):
        used, codes = np.unique(column.codes, return_inverse=True)
        values = [column.of.values[code] for code in used.tolist()]
        values = values if column.read is None else list(map(column.read, values))
    else:
        distinct = {value: code for code, value in enumerate(dict.fromkeys(column.values))}
        values, codes = list(distinct), np.fromiter(map(distinct.__getitem__, column.values), np.intp, rows)
    bearing: dict[str, list[int]] = {}
    for code, value in enumerate(values):
        for name in names(value):
            if name in odd:
                bearing.setdefault(name, []).append(code)
    for name, of in bearing.items():
        yield name, np.isin(codes, of)


def _alone(value: object) -> Sequence[str]:
    return (str(value),)


def _first(value: object) -> Sequence[str]:
    """Give the names of a value that holds them with their JSON."""
    assert isinstance(value, tuple)  # noqa: S101 - names are read so
    names: Sequence[str] = value[0]
    return names
