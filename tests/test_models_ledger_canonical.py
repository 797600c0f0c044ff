"""The one byte form of an entry: RFC 8785 by its published numbers, and against another implementation."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from models.ledger.canonical import RowForm, any_text, number_text, statement_text

# RFC 8785, appendix B; how the values were come by stands in the file.
PUBLISHED: dict[str, Any] = json.loads((Path(__file__).parent / "published" / "rfc8785_numbers.json").read_text())

texts = st.text(st.characters(exclude_categories=["Cs"]))
numbers = st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(2**53) + 1, 2**53 - 1)
cells = st.none() | texts | numbers | st.booleans()
names = st.from_regex(r"[a-z][a-z_0-9]{0,12}", fullmatch=True)


def kept(row: dict[str, Any]) -> dict[str, Any]:
    """Give a row as a database keeps it whose columns are no booleans: without NULL, and 0 or 1 for a truth."""
    return {name: int(cell) if isinstance(cell, bool) else cell for name, cell in row.items() if cell is not None}


def double(bits: str) -> float:
    found: float = struct.unpack(">d", bytes.fromhex(bits))[0]
    return found


@pytest.mark.parametrize(("bits", "written"), PUBLISHED["numbers"])
def test_numbers_are_written_as_published(bits: str, written: str) -> None:
    assert number_text(double(bits)) == written


@pytest.mark.parametrize("bits", PUBLISHED["no_number"])
def test_what_is_not_finite_is_refused(bits: str) -> None:
    with pytest.raises(ValueError, match="not finite"):
        number_text(double(bits))


def test_text_is_escaped_as_published() -> None:
    assert any_text(PUBLISHED["escaping"]["text"]).encode().hex() == PUBLISHED["escaping"]["written_hex"]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_twin_writes_the_same_number(value: float) -> None:
    """Against the library rfc8785, another implementation of the same standard."""
    assert number_text(value).encode() == rfc8785.dumps(value)


@given(st.integers(-330, 330), st.integers(1, 10**17 - 1))
def test_twin_writes_the_same_number_of_any_size(power: int, digits: int) -> None:
    value = float(f"{digits}e{power}")
    if value not in {0.0, float("inf")}:
        assert number_text(-value).encode() == rfc8785.dumps(-value)


@given(st.dictionaries(names, cells, max_size=12))
def test_twin_writes_the_same_row(row: dict[str, Any]) -> None:
    columns = list(row)
    written = RowForm(columns).text([row[name] for name in columns])
    assert written.encode() == rfc8785.dumps(kept(row))


@given(st.lists(cells, max_size=12), st.booleans())
def test_how_a_value_is_written_does_not_depend_on_what_was_written_before(values: list[Any], truth: bool) -> None:
    form = RowForm(["a"], ["a"] if truth else [])
    for value in [*values, True, 1, True, 1.0, False, 0, False]:
        assert form.text([value]) == RowForm(["a"], ["a"] if truth else []).text([value])


ENTRY = ["number", "site_id", "at_us", "author", "kind", "subject", "supersedes", "why", "batch", "line"]


@given(
    st.fixed_dictionaries(
        {"number": st.integers(1, 2**53 - 1), "site_id": st.integers(1, 9), "at_us": st.integers(0, 2**53 - 1),
         "author": texts, "kind": texts, "subject": st.integers(1, 99), "supersedes": st.none() | st.integers(1, 99),
         "why": texts | st.just(',"site_id":'), "batch": st.none() | st.integers(1, 99),
         "line": st.none() | texts | st.just('","site_id":')}
    ),
    st.dictionaries(names, st.lists(st.dictionaries(names, cells, min_size=1, max_size=5), min_size=1, max_size=3), max_size=3),
)  # fmt: skip
def test_twin_writes_the_same_statement(entry: dict[str, Any], tables: dict[str, list[dict[str, Any]]]) -> None:
    rows = {name: [RowForm(list(row)).text(list(row.values())) for row in brought] for name, brought in tables.items()}
    said = statement_text(RowForm(ENTRY), [entry[name] for name in ENTRY], rows)
    whole: dict[str, Any] = {name: value for name, value in entry.items() if value is not None}
    if tables:
        # Rows of a table stand in the order of their own texts.
        whole["rows"] = {
            name: [kept(row) for _, row in sorted(zip(rows[name], brought, strict=True), key=lambda pair: pair[0])]
            for name, brought in tables.items()
        }
    assert said.encode() == rfc8785.dumps(whole)


def test_what_a_database_may_hold_otherwise() -> None:
    form = RowForm(["a", "flag", "z"], ["flag"])
    assert form.text([b"\x01\xff", 1, None]) == '{"a":"01ff","flag":true}'
    assert form.text([None, 0, -0.0]) == '{"flag":false,"z":0}'
    assert form.text([None, "odd", 7]) == '{"flag":"odd","z":7}'
    with pytest.raises(TypeError, match="no canonical form"):
        any_text(object())
