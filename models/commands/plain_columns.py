"""Plain rows of jobs as columns: what :class:`PlainLane` says of a row, for many rows at once.

Whether a cell is plain, and what it means, is decided by the lane itself, once
for each different text of a column; here the meanings are only put together.
A row that is not plain for certain is left to the row loop.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import compress
from json.encoder import encode_basestring
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from models.commands.lexicon import Codes, Ints, Lexicon, Mask, Moments
from models.commands.plain_jobs import BLANK, NUMBERS, STAGES, PlainJob, PlainLane
from models.commands.plain_texts import COMPONENTS, contents_of, feet_column, typed_column
from models.intake.blocks import Chunk
from models.intake.reading import Cell
from models.intake.shown_cells import is_spoilt
from models.ledger.columns import Coded, Column, Each, Same, Values
from models.values.kinds import Method, Reason
from models.values.spelling import seen

_NOBODY: Final = ((), "[]")


@dataclass(frozen=True, slots=True)
class PlainColumns:
    """Plain rows of a chunk: where in the chunk each stood, and what they say, column by column.

    ``jobs`` holds columns of the table of jobs by name; ``found``, ``left`` and
    ``target`` the same numbers for the judgement, NaN where nothing was measured;
    ``left_as_found`` tells where what was left is what was found, and no cell says so;
    ``moves`` holds shims and side moves, a column a foot, NaN where none is given.
    """

    at: Codes
    refs: list[str]
    tags: Coded
    us: Ints
    days: Ints
    people: Column
    instrument: Column
    jobs: dict[str, Column]
    found: NDArray[np.float64]
    left: NDArray[np.float64]
    target: NDArray[np.float64]
    contents: list[bytes]
    left_as_found: Mask
    moves: tuple[NDArray[np.float64], NDArray[np.float64]]

    def only(self, keep: Mask) -> PlainColumns:
        """Give some of the rows."""
        if keep.all():
            return self
        tags = chosen(self.tags, keep)
        assert isinstance(tags, Coded)  # noqa: S101 - what was coded stays coded
        return replace(
            self,
            at=self.at[keep], refs=list(compress(self.refs, keep)), tags=tags, us=self.us[keep], days=self.days[keep],
            people=chosen(self.people, keep), instrument=chosen(self.instrument, keep),
            jobs={name: chosen(column, keep) for name, column in self.jobs.items()},
            found=self.found[keep], left=self.left[keep], target=self.target[keep],
            contents=list(compress(self.contents, keep)), left_as_found=self.left_as_found[keep],
            moves=(self.moves[0][keep], self.moves[1][keep]),
        )  # fmt: skip


def chosen(column: Column, keep: Mask) -> Column:
    """Give a column of some of the rows."""
    if isinstance(column, Coded):
        return Coded(column.codes[keep], column.of, column.read)
    if isinstance(column, Each):
        texts = None if column.texts is None else list(compress(column.texts, keep))
        return Each(list(compress(column.values, keep)), texts)
    return column


class ColumnLane:
    """Reads chunks of rows of one sheet.

    Parameters
    ----------
    lane : PlainLane
        The lane for single rows of the same sheet, usable. [unitless]
    """

    def __init__(self, lane: PlainLane) -> None:
        self._lane = lane
        self._lexicons = {key: Lexicon(_reader(lane.number, key)) for key in lane.number_columns}
        self._lexicons |= {key: Lexicon(_reader(lane.word, key)) for key in lane.word_columns}
        self._tags = Lexicon(self._tag)
        self._moments = Moments(lane)

    def _tag(self, cell: str) -> str | None:
        tag = " ".join(cell.split())
        return tag if tag and self._lane.has_asset(tag) else None

    def read(self, chunk: Chunk) -> PlainColumns | None:
        """Give the rows of a chunk that are plain by themselves; ``None`` if none is.

        Parameters
        ----------
        chunk : Chunk
            The rows as they were read. [as typed]
        """
        whole, columns = chunk.columns(self._lane.width, self._lane.beyond)
        at = np.flatnonzero(np.array(whole, dtype=bool))
        return _Chunk(self, self._lane, at, columns).read() if len(at) else None

    def one(self, cells: Sequence[Cell]) -> PlainJob | None:
        """Give what one plain row says."""
        return self._lane.read(cells)

    def codes(self, key: str, cells: Sequence[str]) -> tuple[Lexicon, Codes]:
        """Give the meanings of the cells of a column."""
        lexicon = self._tags if key == "tag" else self._lexicons[key]
        return lexicon, lexicon.codes(cells)

    def moments(self, cells: Sequence[str]) -> tuple[Ints, Ints, Mask]:
        """Give moment and day of each cell, and whether it has any."""
        return self._moments.read(cells)


def _reader(read: Callable[[str, Any], Any], key: str) -> Callable[[str], Any]:
    return lambda text: read(key, text)


class _Chunk:
    """One chunk while it is read: which rows are plain still, and what was found of their columns."""

    def __init__(self, owner: ColumnLane, lane: PlainLane, at: Codes, columns: list[Sequence[str]]) -> None:
        self.owner, self.lane, self.at, self.columns = owner, lane, at, columns
        self.rows = len(at)
        self.plain: Mask = np.ones(self.rows, dtype=bool)
        self.refs: list[str] = []
        self.us: Ints = np.zeros(self.rows, np.int64)
        self.days: Ints = self.us
        self.coded: dict[str, tuple[Lexicon, Codes]] = {}
        self.blank: dict[str, Mask] = {}
        self.numbers: dict[str, NDArray[np.float64]] = {}

    def read(self) -> PlainColumns | None:
        lane = self.lane
        for key, index in (("tag", lane.tag_column), *lane.number_columns.items(), *lane.word_columns.items()):
            lexicon, codes = self.owner.codes(key, self.columns[index])
            self.plain &= codes >= 0
            self.coded[key] = (lexicon, codes)
        self.refs = _squeezed(self.columns[lane.ref_column])
        self.us, self.days, dated = self.owner.moments(self.columns[lane.performed_column])
        self.plain &= dated & np.fromiter(map(bool, self.refs), bool, self.rows)
        for cells in (self.refs, *(self.columns[index] for _, index in lane.text_columns)):
            self.plain &= _has_value(cells)
        for cells in (self.columns[index] for key, index in lane.text_columns if key == "reviewer"):
            self.plain &= _is_seen(cells)
        if not self._narrow():
            return None
        for key, (lexicon, codes) in self.coded.items():
            self.blank[key] = lexicon.blank(codes)
        self.numbers = {key: self.coded[key][0].numbers(self.coded[key][1]) for key in lane.number_columns}
        found, left, copied = self._measured()
        if "hours_run" in self.numbers:
            self.plain &= ~(self.numbers["hours_run"] < 0)
        keep = self.plain
        return self._together(found[keep], left[keep], copied[keep]) if self._narrow() else None

    def _narrow(self) -> bool:
        """Go on with the rows that are plain; tell whether there are any."""
        keep = self.plain
        if not keep.all():
            self.rows = int(keep.sum())
            self.at, self.us, self.days = self.at[keep], self.us[keep], self.days[keep]
            self.refs = list(compress(self.refs, keep))
            self.columns = [tuple(compress(column, keep)) for column in self.columns]
            self.coded = {key: (lexicon, codes[keep]) for key, (lexicon, codes) in self.coded.items()}
            self.blank = {key: mask[keep] for key, mask in self.blank.items()}
            self.numbers = {key: numbers[keep] for key, numbers in self.numbers.items()}
            self.plain = np.ones(self.rows, dtype=bool)
        return self.rows > 0

    def _word(self, key: str, otherwise: Any) -> Column:
        if key not in self.coded:
            return Same(otherwise)
        lexicon, codes = self.coded[key]
        return Coded(codes, lexicon, lambda word: otherwise if word is BLANK else word)

    def _four(self, stage: str) -> tuple[NDArray[np.float64], Mask]:
        """Give the four numbers of a stage, NaN where there are none; rows with some of them are not plain."""
        keys = self.lane.stages[stage]
        numbers = np.full((self.rows, 4), np.nan)
        for place, key in enumerate(keys or ()):
            if key in self.numbers:
                numbers[:, place] = self.numbers[key]
        there = ~np.isnan(numbers)
        self.plain &= there.all(axis=1) | ~there.any(axis=1)
        return numbers, there[:, 0]

    def _measured(self) -> tuple[NDArray[np.float64], NDArray[np.float64], Mask]:
        """Give what was found and left, and in which rows what was left is what was found."""
        found, has_found = self._four("found")
        left, has_left = self._four("left")
        words = self._reason().stored(self.rows)
        said = np.fromiter((_KINDS.get(word, 0) for word in words), np.int8, self.rows)
        installed, planned = said == _KINDS[str(Reason.INSTALLATION)], said == _KINDS[str(Reason.PLANNED)]
        moved = np.zeros(self.rows, dtype=bool)
        for key, numbers in self.numbers.items():
            if key.startswith("move_"):
                moved |= ~np.isnan(numbers) & (numbers != 0.0)
        copied = has_found & ~has_left & planned & ~moved
        self.plain &= np.where(installed, ~has_found & has_left, has_found & (has_left | copied))
        left[copied] = found[copied]
        return found, left, copied & ~installed

    def _reason(self) -> Column:
        return self._word("reason", str(Reason.OTHER))

    def _together(self, found: NDArray[np.float64], left: NDArray[np.float64], copied: Mask) -> PlainColumns:
        lane = self.lane
        texts = {key: _text_column(self.columns[index]) for key, index in lane.text_columns}
        nothing: Column = Same("")
        moments = self.us.tolist()
        tags = Coded(self.coded["tag"][1], self.coded["tag"][0])
        jobs: dict[str, Column] = {
            "ref": _written(self.refs),
            "performed_us": Each(moments, list(map(str, moments))),
            "reason": self._reason(),
            "method": self._word("method", str(Method.OTHER)),
            "work_order": texts.get("work_order", nothing),
            "notes": texts.get("notes", nothing),
            "reviewer": texts.get("reviewer", nothing),
            "typed": typed_column(self.rows, [self.coded[key] for key in lane.number_columns]),
        }
        for stage in STAGES:
            jobs |= self._stage(stage, copied)
        for key, column in NUMBERS.items():
            jobs[column] = Coded(self.coded[key][1], self.coded[key][0], _value) if key in self.coded else Same(None)
        for keys, column in zip(lane.feet, ("soft_before", "soft_after", "moves_v", "moves_h"), strict=True):
            jobs[column] = feet_column(
                [(self.coded[key], self.blank[key]) if key in self.coded else None for key in keys], self.rows
            )
        people, checks = self._word("people", _NOBODY), self._word("checks", _NOBODY)
        instrument = texts.get("instrument", nothing)
        target = np.zeros((self.rows, 4))
        for place, key in enumerate(lane.stages["target"] or ()):
            if key in self.numbers:
                target[:, place] = np.where(np.isnan(self.numbers[key]), 0.0, self.numbers[key])
        contents = contents_of(self.rows, jobs, tags, people, instrument, checks)
        jobs["people"] = _second(people)
        jobs["checks"] = _second(checks)
        return PlainColumns(
            self.at, self.refs, tags, self.us, self.days, people, instrument, jobs, found, left, target, contents,
            copied, (self._feet(lane.feet[2]), self._feet(lane.feet[3])),
        )  # fmt: skip

    def _feet(self, keys: Sequence[str]) -> NDArray[np.float64]:
        """Give the numbers of feet, a column a foot, NaN where there are none."""
        numbers = np.full((self.rows, len(keys)), np.nan)
        for place, key in enumerate(keys):
            if key in self.numbers:
                numbers[:, place] = self.numbers[key]
        return numbers

    def _stage(self, stage: str, copied: Mask) -> dict[str, Column]:
        """Give the four columns of a stage; what was left is what was found where nothing was moved."""
        columns: dict[str, Column] = {}
        for component in COMPONENTS:
            key = f"{stage}_{component}"
            if key in self.coded:
                lexicon, codes = self.coded[key]
                columns[key] = Coded(codes, lexicon, _value_or_zero if stage == "target" else _value)
            else:
                columns[key] = Same(0.0 if stage == "target" else None)
            if stage == "left" and copied.any():
                columns[key] = self._left_as_found(columns[key], f"found_{component}", copied)
        return columns

    def _left_as_found(self, left: Column, found: str, copied: Mask) -> Column:
        other, others = self.coded[found]
        if not isinstance(left, Coded):
            blank = other.values.index(BLANK) if BLANK in other.values else None
            if blank is None:
                values = Values([*other.values, BLANK])
                blank = len(values.values) - 1
            else:
                values = other
            return Coded(np.where(copied, others, blank), values, _value)
        both = Values([*left.of.values, *other.values])
        return Coded(np.where(copied, others + len(left.of.values), left.codes), both, _value)


_KINDS: Final = {str(Reason.INSTALLATION): 1, str(Reason.PLANNED): 2}


def _value(read: Any) -> float | None:
    number: float | None = None if read is BLANK else read.value
    return number


def _value_or_zero(read: Any) -> float:
    number: float = 0.0 if read is BLANK else read.value
    return number


def _second(column: Column) -> Column:
    """Give the column of the texts of names with their JSON."""
    if isinstance(column, Coded):
        read = column.read
        assert read is not None  # noqa: S101 - words are read with what stands for a blank
        return Coded(column.codes, column.of, lambda value: read(value)[1])
    assert isinstance(column, Same)  # noqa: S101 - a column of words is coded, or not there
    return Same(column.value[1])


def _has_value(cells: Sequence[str]) -> Mask | bool:
    """Tell which cells are not what a spreadsheet shows where it has no value."""
    joined = "".join(cells)
    if "#" not in joined and "Err:" not in joined:
        return True
    return np.fromiter((not is_spoilt(" ".join(cell.split())) for cell in cells), bool, len(cells))


def _is_seen(cells: Sequence[str]) -> Mask | bool:
    """Tell in which cells nothing is hidden."""
    joined = "".join(cells)
    if joined.isascii() and joined.isprintable():
        return True
    return np.fromiter((seen(cell) == " ".join(cell.split()) for cell in cells), bool, len(cells))


def _squeezed(cells: Sequence[str]) -> list[str]:
    """Give texts with single blanks, as every text is read."""
    joined = "".join(cells)
    if len(joined.split()) <= 1 and joined.strip() == joined:
        return list(cells)
    return [" ".join(cell.split()) for cell in cells]


def _text_column(cells: Sequence[str]) -> Column:
    distinct = dict.fromkeys(cells)
    if len(distinct) == 1:
        return Same(" ".join(cells[0].split()))
    if len(distinct) * 2 < len(cells):
        places = {text: place for place, text in enumerate(distinct)}
        codes = np.fromiter(map(places.__getitem__, cells), dtype=np.intp, count=len(cells))
        return Coded(codes, Values([" ".join(text.split()) for text in distinct]))
    return _written(_squeezed(cells))


def _written(texts: list[str]) -> Each:
    return Each(texts, list(map(encode_basestring, texts)))
