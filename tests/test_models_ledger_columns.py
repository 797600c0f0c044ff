"""Texts that are put together column by column are the texts that are written row by row, and RFC 8785's own.

Outside the project: the package ``rfc8785`` (JSON Canonicalization Scheme), other code by other people.
"""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import rfc8785
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from models.ledger.canonical import RowForm, statement_text
from models.ledger.columns import Coded, Column, Each, Pieces, Same, Some, Values, number_texts, picked, statement_texts
from models.tables.book import EntryRow

ENTRY = tuple(column.name for column in EntryRow.__table__.columns)
ROW = ("entry", "ratio", "void", "note", "content", "a_key", "typed")
"""A table of the test's own: names in no order, a boolean, bytes, and columns that may be NULL."""

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8) | st.sampled_from(
    ['"', "\\", "\n", "\u2028", "ü", "", "💡", "\x1f"]
)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False) | st.sampled_from(
    [0.0, -0.0, 1e21, 1e-7, 0.05, 1e16, 123456789.0]
)


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[tuple[Any, ...]], list[Column], list[Column]]:
    """Give rows of an entry and its row side by side, and the same as columns of every kind."""
    count = draw(st.integers(1, 6))

    def column(values: st.SearchStrategy[Any], *, nullable: bool = True) -> tuple[list[Any], Column]:
        each = (st.none() | values) if nullable else values
        kind = draw(st.sampled_from(["same", "coded", "some", "each"]))
        if kind == "same":
            value = draw(each)
            return [value] * count, Same(value)
        if kind == "each":
            found = draw(st.lists(each, min_size=count, max_size=count))
            return found, Each(found)
        several = draw(st.lists(each, min_size=1, max_size=4))
        codes = draw(st.lists(st.integers(0, len(several) - 1), min_size=count, max_size=count))
        of = Values(several)
        places = list(range(len(several)))
        coded = Coded(np.array(codes, dtype=np.intp), Some(of, places) if kind == "some" else of)
        return [several[code] for code in codes], coded

    numbers = draw(st.lists(st.integers(1, 2**53), min_size=count, max_size=count))
    entry = {name: column(TEXTS) for name in ENTRY} | {
        "number": (numbers, Each(numbers, list(map(str, numbers)))),
        "at_us": column(st.integers(0, 2**53), nullable=False),
        "site_id": column(st.integers(1, 9), nullable=False),
    }
    ratios = np.array(draw(st.lists(NUMBERS | st.just(math.nan), min_size=count, max_size=count)))
    stored = [None if math.isnan(value) else value for value in ratios.tolist()]
    row = {
        "entry": entry["number"],
        "ratio": (stored, Each(stored, number_texts(ratios))),
        "void": column(st.booleans()),
        "note": column(TEXTS),
        "content": column(st.binary(max_size=4)),
        "a_key": column(st.integers(-5, 5), nullable=False),
        "typed": column(NUMBERS),
    }
    rows = list(zip(*(entry[name][0] for name in ENTRY), *(row[name][0] for name in ROW), strict=True))
    return rows, [entry[name][1] for name in ENTRY], [row[name][1] for name in ROW]


@hypothesis_settings(max_examples=100, deadline=None)
@given(table=tables())
def test_statements_by_column_are_statements_by_row(
    table: tuple[list[tuple[Any, ...]], list[Column], list[Column]],
) -> None:
    rows, entries, columns = table
    entry_form, row_form = RowForm(ENTRY), RowForm(ROW, ["void"])
    found = statement_texts(len(rows), (entry_form, entries), "made_up", (row_form, columns))
    for text, row in zip(found, rows, strict=True):
        entry, brought = row[: len(ENTRY)], row[len(ENTRY) :]
        assert text == statement_text(entry_form, entry, {"made_up": [row_form.text(brought)]})
        assert text.encode() == rfc8785.dumps(json.loads(text, parse_int=float))
    for column, place in zip((*entries, *columns), range(len(ENTRY) + len(ROW)), strict=True):
        assert list(column.stored(len(rows))) == [row[place] for row in rows]


@hypothesis_settings(max_examples=150, deadline=None)
@given(values=st.lists(NUMBERS, min_size=1, max_size=20))
def test_numbers_by_column_are_those_of_rfc_8785(values: list[float]) -> None:
    assert number_texts(np.array(values)) == [rfc8785.dumps(value).decode() for value in values]


def test_pieces_keep_their_order_whatever_they_are_made_of() -> None:
    codes = np.array([1, 0, 1], dtype=np.intp)
    pieces = Pieces(3)
    for _ in range(2):
        pieces.same("<")
        pieces.coded(codes, ["no", "yes"])
        pieces.coded(codes, ["-", "+"])
        pieces.same("|")
        pieces.coded(codes, ["a", "b", "c", "d"])  # more texts than rows
        pieces.same("/")
        pieces.each(["x", "y", "z"])
        pieces.same("")
        pieces.same(">")
    wanted = ["<yes+|b/x>", "<no-|a/y>", "<yes+|b/z>"]
    assert pieces.joined() == [text * 2 for text in wanted]
    assert picked(["no", "yes"], codes) == ["yes", "no", "yes"]
