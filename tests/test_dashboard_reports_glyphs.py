"""Characters of the papers: what the font has is printed, what it has not is written as its number and never lost."""

from __future__ import annotations

import random
from datetime import UTC, datetime

import pytest
import typst

from dashboard.reports.glyphs import all_printable, covered, printable
from dashboard.reports.press import Paper, fonts, print_pdf
from tests.papers import text_of


def test_the_letters_of_a_plant_are_there() -> None:
    letters = "ÄÖÜäöüßéèêñçřłőŞİøåæœ ΑΩαβσ Жщ €≤≥×÷−±√µ°²³½′“”‘’–—…·→↑←↓≈∞%\u202f"
    assert [letter for letter in letters if ord(letter) not in covered()] == []


def test_our_reading_of_the_font_equals_that_of_the_typesetter() -> None:
    """Authority: the reader of fonts inside the typesetter, which refuses a letter without a picture in an archive file."""
    known = sorted(code for code in covered() if 0x21 <= code < 0xE000)
    unknown = [code for code in range(0x2E80, 0x9FFF, 397) if code not in covered()]
    chosen = random.Random(7).sample(known, 300)
    setter: object = typst.compile
    head = '#set text(font: "Inter", fallback: false)\n'

    def set_in_type(codes: list[int]) -> bytes:
        text = "".join(f"#sym.zws\\u{{{code:x}}} " for code in codes)
        return setter({"main.typ": (head + text).encode()}, font_paths=fonts(), pdf_standards=["a-2b"])  # type: ignore[operator, no-any-return]

    assert set_in_type(chosen)
    for code in unknown:
        with pytest.raises(typst.TypstError):
            set_in_type([code])


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("Kühlwasserpumpe ≤ 0.05 mm", "Kühlwasserpumpe ≤ 0.05 mm"),
        ("a\u0301", "á"),
        ("泵 7", "[U+6CF5] 7"),
        ("hot \U0001f525", "hot [U+1F525]"),
        ("泵水\ufe0f 7", "[U+6CF5 6C34] 7"),
        ("\U0001f527\u200d\U0001f525", "[U+1F527 1F525]"),
        (
            "see 泵房 12: " + "轴承 温度 " * 10 + "85",
            "see [2 signs] 12: [40 signs] 85 (Signs for which this paper has no picture are counted; the book has them.)",
        ),
        ("a\x00b\x07", "a[U+0000]b[U+0007]"),
        ("zero\u200bwidth, \u202eturned", "zerowidth, turned"),
        ("one\r\ntwo\tthree\u2028four", "one\ntwo three four"),
        ("\ue000", "[U+E000]"),
    ],
)
def test_what_cannot_be_printed_is_written_as_its_number(typed: str, printed: str) -> None:
    assert printable(typed) == printed


def test_every_text_in_nested_data_is_looked_at() -> None:
    assert all_printable({"a": ["泵", {"b": ("\x07", 3, None)}]}) == {"a": ["[U+6CF5]", {"b": ["[U+0007]", 3, None]}]}


def test_a_paper_of_strange_texts_is_printed_all_the_same() -> None:
    texts = ["泵 \U0001f525 \x00", "ΑΩ Жщ łőş", "a" * 300, "\u202eabc"]
    data = {
        "foot": "x", "words": {"page": "{page} / {pages}"}, "caution": "c", "site": "s", "as_of": "t",
        "labels": [{"tag": text, "description": text, "area": text, "file": "code.svg", "says": text or "code"} for text in texts],
    }  # fmt: skip
    picture = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><rect width="1" height="1"/></svg>'
    paper = Paper("labels", "泵", data, datetime(2026, 11, 25, tzinfo=UTC), pictures={"code.svg": picture})
    told = text_of(print_pdf(paper))
    assert "[U+6CF5]" in told
    assert "ΑΩ Жщ łőş" in told
