"""The short way for plain rows of jobs: the same results as reading, checking and building each job, at a fraction of the time.

Nearly every row of a large file is plain: every cell reads without a remark,
nothing is missing, odd or unknown.  For such a row this gives at once what
would go into the book.  What a cell means is found by the very functions that
read any other cell, once for each text of a column; where anything would have
to be said about a row, it answers ``None`` and the row goes the long way.
A test imports the same files both ways and compares every table.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Final

from models.errors import NotAQuantityError
from models.intake.cell_values import Remarked, typed_text
from models.intake.checking import Known
from models.intake.checking_jobs import DAY_ONE, is_odd
from models.intake.clocks import clock_doubt
from models.intake.fields import Form, Table
from models.intake.reading import Cell
from models.intake.rows import RowReader
from models.intake.shown_cells import is_spoilt
from models.ledger.content import job_content_text
from models.tables.base import canonical_json, to_microseconds
from models.units import Parsed
from models.values.asset import Asset
from models.values.job import Misalignment
from models.values.kinds import Method, Reason
from models.values.limits import LimitsGiven
from models.values.spelling import seen

MOST_KEPT: Final = 50_000
"""Texts of a column that are remembered; more of them means that they do not repeat."""

_FEET: Final = ("soft_before", "soft_after", "move_v", "move_h")
NUMBERS: Final = {
    "temp_stationary": "temp_stationary_c",
    "temp_movable": "temp_movable_c",
    "temp_ambient": "temp_ambient_c",
    "hours_run": "hours_run",
}
"""Numbers that stand alone, with their columns in the book."""

STAGES: Final = ("found", "left", "target")
_TEXTS: Final = ("work_order", "notes", "reviewer")
_NO_TARGET: Final = Misalignment().as_tuple()
_ENCODER: Final = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)

_NONE4: Final = (None, None, None, None)

Four = tuple[float, float, float, float]


@dataclass(slots=True)
class PlainJob:
    """What a plain row says, as it is stored; only what the judgement and the row need."""

    ref: str
    tag: str
    performed_us: int
    day: date
    reason: str
    people: tuple[str, ...]
    people_json: str
    instrument: str
    method: str
    work_order: str
    found: Four | None
    left: Four | None
    target: Four
    feet: tuple[str, str, str, str]
    numbers: tuple[float | None, ...]
    checks: str
    notes: str
    reviewer: str
    typed: str
    content: bytes
    left_as_found: bool


class _Mark:
    """A value of its own."""


BLANK: Final = _Mark()
"""What a cell without a text means."""


class _Read:
    """What a number in a cell means: its value, and how it is written with the texts as typed."""

    __slots__ = ("typed", "value")

    def __init__(self, value: float, typed: str) -> None:
        self.value = value
        self.typed = typed


class PlainLane:
    """Reads plain rows of one sheet of jobs.

    ``usable`` is False for a sheet of which no row can be plain: one that
    brings machines along, or that keeps the time of day in a column of its own.
    ``…_columns`` say in which columns of the sheet numbers (in the order of their
    keys), words and texts stand, ``width`` how many of its columns are read.
    """

    def __init__(
        self, reader: RowReader, known: Known, has_asset: Callable[[str], bool], has_instrument: Callable[[str], bool]
    ) -> None:
        self.has_asset, self._has_instrument = has_asset, has_instrument
        self.zone, self.now, self.beyond = known.zone, known.now, reader.beyond
        steps = {key: (index, column, chosen, convert) for index, key, column, chosen, convert in reader.steps}
        self.usable = (
            reader.mapping.table is Table.JOBS
            and "time" not in steps
            and all(chosen.table is Table.JOBS for _, _, chosen, _ in steps.values())
            and {"ref", "tag", "performed"} <= steps.keys()
        )
        if not self.usable:
            return
        self.width = 1 + max(index for index, *_ in steps.values())
        self._kinds = dict(reader.measured)
        self.ref_column, self.tag_column, self.performed_column = (steps[key][0] for key in ("ref", "tag", "performed"))
        self.text_columns = [(key, steps[key][0]) for key in (*_TEXTS, "instrument") if key in steps]
        self._steps = {key: (column, chosen, convert) for key, (_, column, chosen, convert) in steps.items()}
        # What a text of a column means, by the text; a cell without one means nothing.
        self._kept: dict[str, dict[Any, Any]] = {key: {"": BLANK} for key in steps}
        words = [key for key in ("reason", "method", "people", "checks") if key in steps]
        numbers = sorted(key for key, (_, _, chosen, _) in steps.items() if chosen.form is Form.NUMBER)
        self.word_columns = {key: steps[key][0] for key in words}
        self.number_columns = {key: steps[key][0] for key in numbers}
        self._lists = [(key, steps[key][0], self._kept[key].get) for key in words]
        self._numbers = [(key, steps[key][0], self._kept[key].get) for key in numbers]
        self.feet = [reader.feet.get(prefix, ()) for prefix in _FEET]
        self.stages = {stage: reader.stages.get(stage) for stage in STAGES}
        plain = {"ref", "tag", "performed", *_TEXTS, "instrument", "reason", "method", "people", "checks"}
        self.usable = steps.keys() <= plain | set(numbers)
        self.today = known.now.astimezone(known.zone).date()

    def read(self, cells: Sequence[Cell]) -> PlainJob | None:  # noqa: C901, PLR0911, PLR0912 - one way out for each thing that would have to be said
        """Give what a row says; ``None`` for a row of which anything has to be said.

        Parameters
        ----------
        cells : sequence of Cell
            The row as it was read. [as typed]
        """
        if type(cells) is not list or len(cells) < self.width:
            return None
        if (self.beyond.untold or len(cells) > self.beyond.cells) and not self.beyond.is_silent(cells):
            return None
        ref, tag = " ".join(cells[self.ref_column].split()), " ".join(cells[self.tag_column].split())
        if not ref or not tag or not self.has_asset(tag):
            return None
        performed = self.moment(cells[self.performed_column])
        if performed is None:
            return None
        day = performed.astimezone(self.zone).date()
        if day < DAY_ONE or (performed > self.now and day > self.today):
            return None
        values: dict[str, float] = {}
        typed: list[str] = []
        for key, index, known in self._numbers:
            found = known(cells[index])
            if found is None:
                found = self.number(key, cells[index])
                if found is None:
                    return None
            if found is not BLANK:
                values[key] = found.value
                typed.append(found.typed)
        words: dict[str, Any] = {}
        for key, index, known in self._lists:
            word = known(cells[index])
            if word is None:
                word = self.word(key, cells[index])
                if word is None:
                    return None
            if word is not BLANK:
                words[key] = word
        texts: dict[str, str] = {key: " ".join(cells[index].split()) for key, index in self.text_columns}
        if is_spoilt(ref) or any(map(is_spoilt, texts.values())):
            return None
        reviewer = texts.get("reviewer", "")
        if seen(reviewer) != reviewer:
            return None
        instrument = texts.get("instrument", "")
        if instrument and not self._has_instrument(instrument):
            return None
        return self._job(ref, tag, performed, day, values, words, texts, instrument, "{" + ",".join(typed) + "}")

    def _job(
        self,
        ref: str,
        tag: str,
        performed: datetime,
        day: date,
        values: dict[str, float],
        words: dict[str, Any],
        texts: dict[str, str],
        instrument: str,
        typed: str,
    ) -> PlainJob | None:
        reason = words.get("reason", _OTHER_REASON)
        found, left = self._four("found", values), self._four("left", values)
        if found is _PART or left is _PART:
            return None
        as_found = False
        if reason == _INSTALLATION:
            if found is not None or left is None:
                return None
        elif found is None:
            return None
        elif left is None:
            if reason != _PLANNED or any(key.startswith("move_") and value for key, value in values.items()):
                return None
            left, as_found = found, True
        target_keys = self.stages["target"]
        target = _NO_TARGET if target_keys is None else tuple(values.get(key, 0.0) for key in target_keys)
        written = tuple(self._feet(keys, values) for keys in self.feet)
        four = [values.get(key) for key in NUMBERS]
        if four[3] is not None and four[3] < 0:
            return None
        (people, people_json), (checks, checks_json) = words.get("people", _NOBODY), words.get("checks", _NOBODY)
        method = words.get("method", _OTHER_METHOD)
        performed_us = to_microseconds(performed)
        order, notes, reviewer = texts.get("work_order", ""), texts.get("notes", ""), texts.get("reviewer", "")
        content = job_content_text(
            ref, tag, performed_us, reason, people, instrument, method, order,
            (found, left, target), written, four, checks, notes, reviewer,
        )  # fmt: skip
        return PlainJob(
            ref, tag, performed_us, day, reason, people, people_json, instrument, method, order, found, left, target,  # type: ignore[arg-type]
            written, tuple(four), checks_json, notes, reviewer, typed, content, as_found,  # type: ignore[arg-type]
        )  # fmt: skip

    def _feet(self, keys: Sequence[str], values: dict[str, float]) -> str:
        """Write the values of feet as JSON, up to the last one that was measured."""
        if not keys:
            return "[]"
        numbers = [values.get(key) for key in keys]
        while numbers and numbers[-1] is None:
            numbers.pop()
        return f"[{','.join(['null' if x is None else repr(x) for x in numbers])}]"

    def _four(self, stage: str, values: dict[str, float]) -> Any:
        """Give the four numbers of a stage, ``None`` where there is none of them, ``_PART`` where some are missing."""
        keys = self.stages[stage]
        if keys is None:
            return None
        first, second, third, fourth = keys
        try:
            return (values[first], values[second], values[third], values[fourth])
        except KeyError:
            return _PART if any(key in values for key in keys) else None

    def moment(self, cell: Cell) -> datetime | None:
        """Read a moment; ``None`` if anything has to be said of it."""
        if type(cell) is str and len(cell) == 16 and cell[4] == cell[7] == "-" and cell[10] in "T " and cell[13] == ":":
            try:
                local = datetime.fromisoformat(cell)
            except ValueError:
                return None
            return None if clock_doubt(local, self.zone) else local.replace(tzinfo=self.zone).astimezone(UTC)
        if cell is None or (isinstance(cell, str) and not cell.strip()):
            return None
        column, chosen, convert = self._steps["performed"]
        try:
            moment: datetime | Remarked = convert(cell, column, chosen)
        except NotAQuantityError:
            return None
        return None if isinstance(moment, Remarked) else moment

    def number(self, key: str, cell: Cell) -> Any:
        """Read a cell the long way and remember it; ``None`` if anything has to be said of it."""
        kept, (column, chosen, convert) = self._kept[key], self._steps[key]
        if not isinstance(cell, str):
            return None
        if not cell.strip():
            kept[cell] = BLANK
            return BLANK
        try:
            parsed: Parsed | Remarked = convert(cell, column, chosen)
        except NotAQuantityError:
            return None
        if isinstance(parsed, Remarked):
            return None
        value = parsed.value * column.times + 0.0
        kind = self._kinds.get(key)
        if kind is not None and is_odd(kind, value):
            return None
        found = _Read(value, f"{canonical_json(key)}:{canonical_json(typed_text(parsed))}")
        if len(kept) < MOST_KEPT:
            kept[cell] = found
        return found

    def word(self, key: str, cell: Cell) -> Any:
        """Read a word of a closed list, or a list of names, the long way and remember it, names with their JSON."""
        kept, (column, chosen, convert) = self._kept[key], self._steps[key]
        if not isinstance(cell, str):
            return None
        if not cell.strip():
            kept[cell] = BLANK
            return BLANK
        try:
            found = convert(cell, column, chosen)
        except NotAQuantityError:
            return None
        if not found or isinstance(found, Remarked):
            return None
        if chosen.form is Form.NAMES:
            found = (found, _ENCODER.encode(found))
        if len(kept) < MOST_KEPT:
            kept[cell] = found
        return found


def plain_row(
    entry: int,
    site_id: int,
    asset_id: int,
    job: PlainJob,
    asset: Asset,
    zone: str,
    person_id: int | None,
    instrument_id: int | None,
    limit_entry: int | None,
    limits: LimitsGiven,
    ratios: tuple[float | None, float | None],
) -> tuple[Any, ...]:
    """Give the row of ``job``, in the order of its columns, as ``models.store.rows.job_row`` gives it for a job that was built."""
    return (
        entry, site_id, entry, asset_id, None, False, job.ref, job.performed_us, zone, job.reason, person_id,
        job.people_json, instrument_id, job.method, job.work_order,
        *(job.found or _NONE4), *(job.left or _NONE4), *job.target, *job.feet, *job.numbers, job.checks, job.notes,
        job.reviewer, asset.limit_speed_rpm, str(asset.coupling), asset.span_mm, limit_entry, limits.offset_mm,
        limits.angle_mm_m, limits.flex_mm_m, limits.soft_foot_mm, limits.each_axis, *ratios, job.typed, job.content,
    )  # fmt: skip


_NOBODY: Final = ((), "[]")
_PART: Final = _Mark()
_OTHER_REASON: Final = str(Reason.OTHER)
_OTHER_METHOD: Final = str(Method.OTHER)
_INSTALLATION: Final = str(Reason.INSTALLATION)
_PLANNED: Final = str(Reason.PLANNED)
