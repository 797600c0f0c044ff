"""Jobs of a large file: plain rows as columns, any other row one by one, in the order of the file.

A chunk of rows is read as columns.  Rows that are not plain go through the row
loop, each with everything before it already known, and so does every plain row of
which more has to be said because of another: a job number or a moment that was
there before, an instrument that nobody mentioned yet.  Then all of them get their
numbers in the order of the file, and the plain ones are written as columns.
"""

from __future__ import annotations

import json
from array import array
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import compress
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from models.commands.import_jobs import JobRows
from models.commands.import_order import Look, Order
from models.commands.import_things import File
from models.commands.lexicon import Codes, Mask
from models.commands.noticed_columns import NoticedColumns
from models.commands.pending import Clash, Pending, refs_of
from models.commands.plain_columns import ColumnLane, PlainColumns
from models.commands.plain_jobs import Four
from models.commands.report import SheetReport
from models.commands.same_visit import alike, eight
from models.intake.blocks import Chunk
from models.intake.reading import Cell
from models.intake.rows import Row, RowReader
from models.ledger.columns import Coded, Column, Each, Same, Some, Values, number_texts
from models.maths.limits import limit_ratio
from models.tables.jobs import JobRow
from models.values.asset import Asset
from models.values.description import place_on
from models.values.kinds import Coupling, Kind
from models.values.limits import LimitsGiven

_EPOCH: Final = date(1970, 1, 1).toordinal()


@dataclass(frozen=True, slots=True)
class Group:
    """What jobs of one machine have in common as long as neither its description nor the limits change."""

    asset_id: int
    asset: Asset
    limit_entry: int | None
    limits: LimitsGiven


class JobColumns(JobRows):
    """The jobs of an import, many rows at once."""

    _groups: Values
    _group_places: dict[tuple[int, int, int | None], int]

    def _chunk(
        self,
        reader: RowReader,
        lane: ColumnLane,
        rows: Chunk,
        look: Look,
        sheet: SheetReport,
        file: File,
    ) -> None:
        """Take a chunk of rows in.

        Parameters
        ----------
        reader : RowReader
            Reader of the sheet. [unitless]
        lane : ColumnLane
            Reader of its plain rows. [unitless]
        rows : Chunk
            The rows. [as typed]
        look : callable
            The row loop for one row; gives the job that waits to be written. [unitless]
        sheet, file : SheetReport, File
            What becomes of the sheet, and its file. [unitless]
        """
        # Columns bring one row an entry; where jobs bring decisions too, they go one by one.
        plain = lane.read(rows) if self.rule is None else None
        if plain is None:
            self._write(reader, [p for at in range(len(rows)) if (p := look(*rows.numbered(at)))], sheet, file)
            return
        keep, waiting = Order(self, plain, rows, look).run()
        sheet.read += int(keep.sum())
        plain = plain.only(keep)
        clashes: list[Clash] = []
        taken = self._taken([*plain.refs, *refs_of(p for _, p in waiting)])
        if taken:
            plain = plain.only(self._new(lane, plain, rows, taken, sheet, clashes))
        by_columns = list(clashes)
        fresh = [(at, p) for at, p in waiting if self._is_fresh(reader, p, taken, sheet, clashes)]
        self._tell_taken(reader, clashes)
        for clash in by_columns:
            self._settle(clash.row, clash.cells, sheet)
        if self.had_jobs:
            plain = plain.only(self._not_held(reader, lane, plain, rows, sheet))
            kept = set(map(id, self._held_against_visits(reader, [p for _, p in fresh], sheet)))
            fresh = [(at, p) for at, p in fresh if id(p) in kept]
        taken_rows, kept = self._come_once(reader, lane, plain, [p for _, p in fresh], rows, sheet)
        plain, fresh = plain.only(taken_rows), [(at, p) for at, p in fresh if id(p) in kept]
        if fresh or len(plain.refs):
            groups = self._grouped(plain)
            self._write_chunk(reader, plain, groups, fresh, rows, sheet, file)
            noticed = NoticedColumns(sheet.noticed, plain, rows)
            noticed.count(self)
            noticed.look_at_moves(self, lane, groups)
        for _, pending in waiting:
            if pending.row is not None:
                self._settle(pending.row, pending.cells, sheet)
        self._flush()

    def _new(
        self,
        lane: ColumnLane,
        plain: PlainColumns,
        rows: Chunk,
        taken: dict[str, set[bytes]],
        sheet: SheetReport,
        clashes: list[Clash],
    ) -> Mask:
        """Tell which plain rows the book does not know yet; count the others, or put them among those that clash."""
        new = np.fromiter((ref not in taken for ref in plain.refs), bool, len(plain.refs))
        for place in np.flatnonzero(~new).tolist():
            ref = plain.refs[place]
            if plain.contents[place] in taken[ref]:
                sheet.unchanged += 1
                continue
            number, cells = rows.numbered(int(plain.at[place]))
            job = lane.one(cells)
            if job is not None and self._is_said(job, ref, taken[ref]):
                sheet.unchanged += 1
            else:
                tag = plain.tags.of.values[plain.tags.codes[place]]
                clashes.append(Clash(Row(number), cells, ref, tag, int(plain.us[place])))
        return new

    def _not_held(
        self, reader: RowReader, lane: ColumnLane, plain: PlainColumns, rows: Chunk, sheet: SheetReport
    ) -> Mask:
        """Say of each plain row that is new whether it may be a visit that the book holds; tell which are taken."""
        codes, tags = plain.tags.codes.tolist(), plain.tags.of.values
        numbers = {code: self.versions[tags[code]][0][0] for code in set(codes)}
        keys = [(numbers[code], day + _EPOCH) for code, day in zip(codes, plain.days.tolist(), strict=True)]
        held, taken = self.visits.on(set(keys)), np.ones(len(keys), dtype=bool)
        for place, key in enumerate(keys) if held else ():
            if key not in held:
                continue
            at = int(plain.us[place])
            typed = partial(_typed, lane, rows, int(plain.at[place]))
            known = alike(held[key], at, _four(plain.found[place]), _four(plain.left[place]), typed)
            if known is not None:
                number, cells = rows.numbered(int(plain.at[place]))
                row = Row(number)
                taken[place] = self._tell_visit(reader, row, cells, known, sheet)
                self._settle(row, cells, sheet)
        return taken

    def _come_once(
        self,
        reader: RowReader,
        lane: ColumnLane,
        plain: PlainColumns,
        fresh: list[Pending],
        rows: Chunk,
        sheet: SheetReport,
    ) -> tuple[Mask, set[int]]:
        """Say of each new job that may be the visit of an earlier row; tell which plain rows and which others are taken."""
        keys, here = self._visit_keys(plain), len(self.report.sheets) - 1
        repeated = self.came.repeats([*keys, *(self.visit_key(p.asset_id, p.day) for p in fresh)])
        taken, kept = np.ones(len(keys), dtype=bool), set[int]()
        alone = np.fromiter((key not in repeated for key in keys), bool, len(keys)) if repeated else np.ones_like(taken)
        numbers = array("f")
        numbers.frombytes(np.hstack((plain.found[alone], plain.left[alone])).astype(np.float32).tobytes())
        places = (rows.first + plain.at[alone]).tolist()
        self.came.add(list(compress(keys, alone)), here, places, numbers)
        # The others one by one, in the order of the file.
        waiting: list[tuple[int, int | Pending]] = [(p.number, p) for p in fresh]
        waiting += [(rows.first + int(plain.at[place]), place) for place in np.flatnonzero(~alone).tolist()]
        for number, one in sorted(waiting, key=lambda numbered: numbered[0]):
            if isinstance(one, Pending):
                if self._comes_once(reader, one, sheet):
                    kept.add(id(one))
                continue
            found, left = _four(plain.found[one]), _four(plain.left[one])
            at, earlier = int(plain.at[one]), None
            if number not in self.told_visits:
                earlier = self.came.alike(keys[one], found, left, partial(_typed, lane, rows, at))
            if earlier is not None:
                row, cells = Row(number), rows.numbered(at)[1]
                day = date.fromordinal(int(plain.days[one]) + _EPOCH)
                taken[one] = self.tell_twice(reader, row, cells, earlier, day, sheet)
                self._settle(row, cells, sheet)
            if taken[one]:
                self.came.add([keys[one]], here, [number], eight(found, left))
        self.told_visits.clear()
        return taken, kept

    def _visit_keys(self, plain: PlainColumns) -> list[int]:
        """Give the keys of the visits of plain rows."""
        tags, codes = plain.tags.of.values, plain.tags.codes
        used, of = np.unique(codes, return_inverse=True)
        machines = [self.visit_key(self.versions[tags[code]][0][0], date.min) - date.min.toordinal() for code in used]
        keys: list[int] = (np.array(machines, dtype=np.int64)[of] + plain.days + _EPOCH).tolist()
        return keys

    def _write_chunk(
        self,
        reader: RowReader,
        plain: PlainColumns,
        groups: Coded,
        fresh: list[tuple[int, Pending]],
        rows: Chunk,
        sheet: SheetReport,
        file: File,
    ) -> None:
        """Give jobs their numbers in the order of the file, and hand them over to be written."""
        batch = self._batch(file)
        numbers = np.zeros(len(plain.refs), dtype=np.int64)
        events: list[tuple[int, int, Any]] = [
            (int(plain.at[place]), place, None) for place in self._firsts(plain, groups)
        ]
        for (at, pending), judged in zip(fresh, self._judged([p for _, p in fresh]), strict=True):
            events.append((at, int(np.searchsorted(plain.at, at)), (pending, judged)))
        done = 0
        for at, place, slow in sorted(events, key=lambda event: event[0]):
            first = self.unit.take(place - done)
            numbers[done:place] = np.arange(first, first + place - done)
            done = place
            if slow is None:
                self._mention(reader, plain, groups, place, rows.numbered(at), sheet, batch)
            else:
                pending, judged = slow
                self._write_one(reader, pending, judged, sheet, file)
        first = self.unit.take(len(numbers) - done)
        numbers[done:] = np.arange(first, first + len(numbers) - done)
        sheet.taken += len(numbers)
        if len(numbers):
            sheet.saw(*[date.fromordinal(int(day) + _EPOCH) for day in (plain.days.min(), plain.days.max())])
        if len(numbers) and self._writes:
            lines = [str(rows.first + at) for at in plain.at.tolist()]
            columns = self._job_columns(plain, groups, numbers.tolist())
            self.unit.add_block(Kind.JOB_RECORDED, batch, Each(lines, [f'"{line}"' for line in lines]), JobRow, columns)

    def _firsts(self, plain: PlainColumns, groups: Coded) -> list[int]:
        """Give the rows that may bring a name that the book does not know, or a machine without a limit."""
        found: set[int] = set()
        if isinstance(plain.people, Coded):
            codes, first = np.unique(plain.people.codes, return_index=True)
            read = plain.people.read
            assert read is not None  # noqa: S101 - words are read with what stands for a blank
            for code, place in zip(codes.tolist(), first.tolist(), strict=True):
                if any(name not in self.people for name in read(plain.people.of.values[code])[0]):
                    found.add(place)
        serials = list(plain.instrument.stored(len(plain.refs)))
        for serial in set(serials) - self.instruments.keys() - {""}:
            found.add(serials.index(serial))
        codes, first = np.unique(groups.codes, return_index=True)
        for code, place in zip(codes.tolist(), first.tolist(), strict=True):
            limits = groups.of.values[code].limits
            if limits.offset_mm is None and limits.flex_mm_m is None:
                found.add(place)
        return sorted(found)

    def _mention(
        self,
        reader: RowReader,
        plain: PlainColumns,
        groups: Coded,
        place: int,
        numbered: tuple[int, Sequence[Cell]],
        sheet: SheetReport,
        batch: int,
    ) -> None:
        """Say and add what a plain row brings before it gets its number."""
        number, cells = numbered
        limits = groups.of.values[groups.codes[place]].limits
        tag = plain.tags.of.values[plain.tags.codes[place]]
        if limits.offset_mm is None and limits.flex_mm_m is None and tag not in self.unjudged:
            row = Row(number)
            self._tell_unjudged(reader, row, tag)
            self._settle(row, cells, sheet)
        for name in _at(plain.people, place)[0]:
            self._person_id(name, batch, str(number))
        if serial := _at(plain.instrument, place):
            self._instrument_id(serial, batch, str(number))

    def _grouped(self, plain: PlainColumns) -> Coded:
        """Give for each plain row its machine as described on its day, with the limits in force then."""
        if not hasattr(self, "_groups"):
            self._groups, self._group_places = Values(), {}
        days, day_of = np.unique(plain.days, return_inverse=True)
        entries = [self.judge.entry_on(date.fromordinal(day + _EPOCH)) for day in days.tolist()]
        places = {entry: place for place, entry in enumerate(dict.fromkeys(entries))}
        in_force = np.array([places[entry] for entry in entries], dtype=np.int64)[day_of]
        tags = plain.tags.of.values
        versions = self._versions_on(plain)
        keys = (plain.tags.codes * (1 + int(versions.max(initial=0))) + versions) * len(places) + in_force
        _, first, group_of = np.unique(keys, return_index=True, return_inverse=True)
        codes = []
        for place in first.tolist():
            tag = tags[plain.tags.codes[place]]
            asset_id, entry, asset = self.versions[tag][versions[place]]
            day = date.fromordinal(int(plain.days[place]) + _EPOCH)
            codes.append(self._group(asset_id, entry, asset, day))
        # Those of this chunk only: a large site has many more machines than a chunk has rows.
        here = {code: place for place, code in enumerate(dict.fromkeys(codes))}
        local = np.array([here[code] for code in codes], dtype=np.intp)
        return Coded(local[group_of], Some(self._groups, list(here)))

    def _group(self, asset_id: int, entry: int, asset: Asset, day: date) -> int:
        limit_entry, limits = self.judge.limits_on(day, asset)
        key = (asset_id, entry, limit_entry)
        if key not in self._group_places:
            self._group_places[key] = self._groups.add(Group(asset_id, asset, limit_entry, limits))
        return self._group_places[key]

    def _versions_on(self, plain: PlainColumns) -> Codes:
        """Give for each row which of the descriptions of its machine held on its day."""
        tags = plain.tags.of.values
        told = plain.tags.of.parts("several", lambda tag: "several" if len(self.versions[tag]) > 1 else "")
        several = np.array(told, dtype=bool)
        found = np.zeros(len(plain.refs), dtype=np.intp)
        for place in np.flatnonzero(several[plain.tags.codes]).tolist():
            tag, day = tags[plain.tags.codes[place]], date.fromordinal(int(plain.days[place]) + _EPOCH)
            found[place] = self._version_place(tag, day)
        return found

    def _version_place(self, tag: str, day: date) -> int:
        return place_on([version.valid_from for _, _, version in self.versions[tag]], day)

    def _job_columns(self, plain: PlainColumns, groups: Coded, numbers: list[int]) -> list[Column]:
        """Give all columns of the table of jobs."""
        entry = Each(numbers, list(map(str, numbers)))
        contents = Each(plain.contents, [f'"{content.hex()}"' for content in plain.contents])
        columns: dict[str, Column] = plain.jobs | {
            "entry": entry, "site_id": Same(self.site.site_id), "job_id": entry, "supersedes": Same(None),
            "void": Same(False), "zone": Same(self.known.zone.key), "content": contents,
            "person_id": self._person_column(plain.people), "instrument_id": self._instrument_column(plain.instrument),
        }  # fmt: skip
        columns |= {name: Coded(groups.codes, groups.of, read) for name, read in _OF_GROUP.items()}
        columns |= self._ratio_columns(plain, groups)
        return [columns[name] for name in JobRow.names()]

    def _person_column(self, people: Column) -> Column:
        """Give the number of the first person of each job."""
        if not isinstance(people, Coded):
            return Same(None)
        assert people.read is not None  # noqa: S101 - words are read with what stands for a blank
        ids = []
        for value in map(people.read, people.of.values):
            held = self.people.get(value[0][0]) if value[0] else None
            ids.append(None if held is None else held[0])
        return Coded(people.codes, Values(ids))

    def _instrument_column(self, serials: Column) -> Column:
        def number(serial: str) -> int | None:
            held = self.instruments.get(serial)
            return None if held is None else held[0]

        if isinstance(serials, Same):
            return Same(number(serials.value))
        if isinstance(serials, Coded):
            return Coded(serials.codes, Values(list(map(number, serials.of.values))))
        return Each(list(map(number, serials.values)))

    def _ratio_columns(self, plain: PlainColumns, groups: Coded) -> dict[str, Column]:
        of: list[Group] = groups.of.values
        each_bound = [(g.limits.offset_mm, g.limits.angle_mm_m, g.limits.flex_mm_m, g.limits.soft_foot_mm) for g in of]
        bounds = np.array(each_bound, dtype=np.float64)[groups.codes]
        each = np.array([g.limits.each_axis for g in of])[groups.codes]
        spans = [g.asset.span_mm if g.asset.coupling is Coupling.SPACER else None for g in of]
        span = np.array(spans, dtype=np.float64)[groups.codes]
        columns: dict[str, Column] = {}
        for name, measured in (("found_ratio", plain.found), ("left_ratio", plain.left)):
            ratios = limit_ratio(measured - plain.target, bounds, each, span)
            stored = [None if value != value else value for value in ratios.tolist()]  # noqa: PLR0124 - NaN
            columns[name] = Each(stored, number_texts(ratios))
        return columns


_OF_GROUP: Final[dict[str, Callable[[Group], Any]]] = {
    "asset_id": lambda group: group.asset_id,
    "speed_rpm": lambda group: group.asset.limit_speed_rpm,
    "coupling": lambda group: str(group.asset.coupling),
    "span_mm": lambda group: group.asset.span_mm,
    "limit_entry": lambda group: group.limit_entry,
    "limit_offset_mm": lambda group: group.limits.offset_mm,
    "limit_angle_mm_m": lambda group: group.limits.angle_mm_m,
    "limit_flex_mm_m": lambda group: group.limits.flex_mm_m,
    "limit_soft_mm": lambda group: group.limits.soft_foot_mm,
    "limit_each_axis": lambda group: group.limits.each_axis,
}


def _four(numbers: NDArray[np.float64]) -> Four | None:
    v, angle_v, h, angle_h = numbers.tolist()
    return None if v != v else (v, angle_v, h, angle_h)  # noqa: PLR0124 - NaN: not measured


def _typed(lane: ColumnLane, rows: Chunk, at: int) -> Mapping[str, str]:
    """Give the numbers of a plain row as they were typed."""
    job = lane.one(rows.numbered(at)[1])
    read: Mapping[str, str] = {} if job is None else json.loads(job.typed)
    return read


def _at(column: Column, place: int) -> Any:
    """Give the value of one row."""
    if isinstance(column, Same):
        return column.value
    if isinstance(column, Coded):
        value = column.of.values[column.codes[place]]
        return value if column.read is None else column.read(value)
    return column.values[place]
