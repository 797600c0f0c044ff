"""What stands for people in a cell: nobody, one, or several; each new name as it would be taken."""

from __future__ import annotations

import pytest

from models.values.several import is_several, may_be_several, names_in


@pytest.mark.parametrize(
    ("text", "names", "nobody"),
    [
        *((sign, (), True) for sign in ("n/a", "N/A ", "-", "–", "?", "??", "...", "unknown", "k.A.", "tbd")),
        (" \u200b", (), False),
        ("Ana Wick / Bo Tarn; Ana Wick", ("Ana Wick", "Bo Tarn"), False),
        ("Ana Wick; -", ("Ana Wick",), True),
        ("Bo Tarn\nAna Wick", ("Bo Tarn", "Ana Wick"), False),
        ("Bo\nTarn", ("Bo Tarn",), False),  # one name, broken by a narrow column
        ("Ana Wick\nelectrician", ("Ana Wick electrician",), False),
        ("4711", ("4711",), False),
        ("Na", ("Na",), False),
    ],
)
def test_the_names_in_a_text(text: str, names: tuple[str, ...], nobody: bool) -> None:
    assert names_in(text) == (names, nobody)


@pytest.mark.parametrize(
    ("name", "may_be", "is_so"),
    [
        ("Ana Wick & Bo Tarn", True, True),
        ("Ana Wick + Bo Tarn", True, True),
        ("Ana Wick and Bo Tarn", True, True),
        ("Wick, Ana", True, False),
        ("Andy Band", False, False),
        ("Ana &", False, False),
    ],
)
def test_a_name_that_may_be_several(name: str, may_be: bool, is_so: bool) -> None:
    assert (may_be_several(name), is_several(name)) == (may_be, is_so)
