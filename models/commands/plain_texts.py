"""The texts that plain rows bring into the book: values of feet, numbers as typed, and the digest of what was said."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from json.encoder import encode_basestring
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from models.commands.plain_jobs import BLANK, STAGES
from models.ledger.columns import Coded, Column, Each, Pieces, Same, Values

Codes = NDArray[np.intp]
Coding = tuple[Values, Codes]
Mask = NDArray[np.bool_]

COMPONENTS: Final = ("offset_v", "angle_v", "offset_h", "angle_h")


def _typed(read: Any) -> str:
    return "" if read is BLANK else f",{read.typed}"


def _typed_escaped(read: Any) -> str:
    return "" if read is BLANK else encode_basestring(f",{read.typed}")[1:-1]


def typed_column(rows: int, columns: Sequence[Coding]) -> Column:
    """Give the numbers of each row as typed, as JSON.

    Parameters
    ----------
    rows : int
        Number of rows. [unitless]
    columns : sequence of tuple of Values and Codes
        Columns of numbers in the order of their names. [as typed]
    """
    plain, escaped = Pieces(rows), Pieces(rows)
    for values, codes in columns:
        plain.coded(codes, values.parts("typed", _typed))
        escaped.coded(codes, values.parts("typed escaped", _typed_escaped))
    if not columns:
        return Same("{}")
    texts = [f"{{{text[1:]}}}" for text in plain.joined()]
    return Each(texts, [f'"{{{text[1:]}}}"' for text in escaped.joined()])


def _foot(read: Any) -> str:
    return "null" if read is BLANK else repr(read.value)


def feet_column(columns: Sequence[tuple[Coding, Mask] | None], rows: int) -> Column:
    """Give the values of feet of each row as JSON, up to the last one that was measured.

    Parameters
    ----------
    columns : sequence of tuple or None
        For each foot in order its column with the rows in which it is blank; ``None`` for one without a column. [mm]
    rows : int
        Number of rows. [unitless]
    """
    last = np.zeros(rows, dtype=np.intp)
    for place, column in enumerate(columns, start=1):
        if column is not None:
            last[~column[1]] = place
    # Counted, not sorted: the library's way to different values loads its arrays with holes, a twentieth of a small import.
    lengths = np.flatnonzero(np.bincount(last))
    if not lengths.any():
        return Same("[]")
    made: NDArray[np.object_] = np.full(rows, "[]", dtype=object)
    for length in lengths[lengths > 0].tolist():
        chosen = np.flatnonzero(last == length)
        pieces = Pieces(len(chosen))
        for place, column in enumerate(columns[:length]):
            pieces.same("," if place else "[")
            if column is None:
                pieces.same("null")
            else:
                (values, codes), _ = column
                pieces.coded(codes[chosen], values.parts("foot", _foot))
        pieces.same("]")
        made[chosen] = pieces.joined()
    texts: list[Any] = made.tolist()
    return Each(texts, [f'"{text}"' for text in texts])


def _put(pieces: Pieces, column: Column, name: str, write: Callable[[Any], str]) -> None:
    if isinstance(column, Same):
        pieces.same(write(column.value))
    elif isinstance(column, Coded):
        pieces.coded(column.codes, column.parts(f"said {name}", write))
    elif column.texts is None:
        pieces.each(list(map(write, column.values)))
    else:
        pieces.each(column.texts)


def _names(value: tuple[Sequence[str], str]) -> str:
    return f"[{','.join(map(encode_basestring, value[0]))}]"


def _number(value: float | None) -> str:
    return "null" if value is None else repr(value)


def contents_of(
    rows: int, jobs: dict[str, Column], tags: Coded, people: Column, instrument: Column, checks: Column
) -> list[bytes]:
    """Give the digest of what each row says: what :func:`models.ledger.content.job_content_text` gives for one.

    Parameters
    ----------
    rows : int
        Number of rows. [unitless]
    jobs : dict of str to Column
        Columns of the table of jobs, by name. [as stored]
    tags, instrument : Column
        Tags of the machines and serials of the instruments. [unitless]
    people, checks : Column
        Names with their JSON. [unitless]
    """
    pieces = Pieces(rows)
    pieces.same("[")
    said: list[tuple[str, Column, Callable[[Any], str]]] = [
        ("ref", jobs["ref"], encode_basestring), ("tag", tags, encode_basestring), ("us", jobs["performed_us"], str),
        ("reason", jobs["reason"], encode_basestring), ("people", people, _names), ("instrument", instrument, encode_basestring),
        ("method", jobs["method"], encode_basestring), ("work order", jobs["work_order"], encode_basestring),
    ]  # fmt: skip
    for name, column, write in said:
        _put(pieces, column, name, write)
        pieces.same(",")
    for stage in STAGES:
        _put_stage(pieces, [jobs[f"{stage}_{component}"] for component in COMPONENTS], stage)
        pieces.same(",")
    for name in ("soft_before", "soft_after", "moves_v", "moves_h"):
        column = jobs[name]
        pieces.same(column.value) if isinstance(column, Same) else pieces.each(column.stored(rows))
        pieces.same(",")
    pieces.same("[")
    for place, name in enumerate(("temp_stationary_c", "temp_movable_c", "temp_ambient_c", "hours_run")):
        pieces.same("," if place else "")
        _put(pieces, jobs[name], name, _number)
    pieces.same("],")
    _put(pieces, checks, "checks", _names)
    for name in ("notes", "reviewer"):
        pieces.same(",")
        _put(pieces, jobs[name], name, encode_basestring)
    pieces.same("]")
    digest = hashlib.sha256
    return [digest(text.encode()).digest() for text in pieces.joined()]


def _put_stage(pieces: Pieces, four: Sequence[Column], stage: str) -> None:
    """Add the four numbers of a stage, or null where there are none: they are there together or not at all."""
    if all(isinstance(column, Same) and column.value is None for column in four):
        pieces.same("null")
        return
    for place, column in enumerate(four):
        before, after = "[" if place == 0 else ",", "]" if place == 3 else ""

        def write(value: float | None, place: int = place, before: str = before, after: str = after) -> str:
            if value is None:
                return "" if place else "null"
            return f"{before}{value!r}{after}"

        _put(pieces, column, f"{stage} {place}", write)
