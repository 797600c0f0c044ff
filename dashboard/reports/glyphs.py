"""Which characters the font of the papers has: what it has not is written as its number, never lost."""

from __future__ import annotations

import struct
import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any

from dashboard.words import say

FONTS = Path(__file__).parent / "fonts"
"""The folder of the fonts that go into every paper, with their licence."""

_PLAIN = FONTS / "Inter-Regular.otf"
_KEPT = "\n"
MANY = 24
"""Letters without a picture in one text, up to which each is written as its number: a tag or a name stays told from another."""
_UNSEEN = {"Cc", "Cf", "Co", "Cs", "Cn", "Zl", "Zp"}
"""Kinds of characters that have no picture: control, format, private use, half of a pair, not assigned, breaks."""


@lru_cache(maxsize=1)
def covered() -> frozenset[int]:
    """Give the code points that the font has a picture for.

    References
    ----------
    The table ``cmap`` in its format 4: OpenType specification, chapter cmap (read from memory; the test holds the
    result against another reader of the same file).
    """
    data = _PLAIN.read_bytes()
    tables = struct.unpack_from(">H", data, 4)[0]
    start = next(
        offset
        for name, _, offset, _ in (struct.unpack_from(">4sIII", data, 12 + 16 * index) for index in range(tables))
        if name == b"cmap"
    )
    count = struct.unpack_from(">H", data, start + 2)[0]
    records = [struct.unpack_from(">HHI", data, start + 4 + 8 * index) for index in range(count)]
    places = [start + offset for _, _, offset in records]
    place = next(place for place in places if struct.unpack_from(">H", data, place)[0] == 4)
    return frozenset(_segments(data, place))


def _segments(data: bytes, place: int) -> set[int]:
    doubled = struct.unpack_from(">H", data, place + 6)[0]
    width = doubled // 2

    def numbers(offset: int, kind: str) -> tuple[int, ...]:
        return struct.unpack_from(f">{width}{kind}", data, place + offset)

    ends, starts = numbers(14, "H"), numbers(16 + doubled, "H")
    deltas, ranges = numbers(16 + 2 * doubled, "h"), numbers(16 + 3 * doubled, "H")
    found = set()
    for segment, (first, last) in enumerate(zip(starts, ends, strict=True)):
        for code in range(first, min(last, 0xFFFE) + 1):
            glyph = code
            if ranges[segment]:
                at = place + 16 + 3 * doubled + 2 * segment + ranges[segment] + 2 * (code - first)
                glyph = struct.unpack_from(">H", data, at)[0]
                if not glyph:
                    continue
            if (glyph + deltas[segment]) & 0xFFFF:
                found.add(code)
    return found


def printable(text: str) -> str:
    """Give a text as it can be printed and stored for ten years: what the font has not is written as its number, or counted where it is a whole note.

    Parameters
    ----------
    text : str
        As somebody typed it. [unitless]
    """
    known = covered()
    joined = unicodedata.normalize("NFC", text).replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    if (
        all(ord(letter) in known or letter in _KEPT for letter in joined if letter.isprintable())
        and joined.isprintable()
    ):
        return joined
    letters = [(seen, letter) for letter in joined if (seen := _one(letter, known)) != ""]
    if sum(seen is None for seen, _ in letters) > MANY:
        return _counted([seen for seen, _ in letters])
    parts = []
    for unseen, run in groupby(letters, key=lambda pair: pair[0] is None):
        texts = [seen or f"{ord(letter):04X}" for seen, letter in run]
        parts.append(f"[U+{' '.join(texts)}]" if unseen else "".join(texts))
    return "".join(parts)


def _one(letter: str, known: frozenset[int]) -> str | None:
    """Give a letter as it is printed; ``None`` where the font has no picture for it."""
    if letter in _KEPT:
        return letter
    kind = unicodedata.category(letter)
    if kind in {"Cf", "Zl", "Zp"} or "\ufe00" <= letter <= "\ufe0f":
        return " " if kind in {"Zl", "Zp"} else ""
    return letter if kind not in _UNSEEN and ord(letter) in known else None


def _counted(letters: Sequence[str | None]) -> str:
    """Count the letters without a picture, with the blanks between them: their numbers would fill pages that nobody reads."""
    parts: list[str] = []
    count, gap = 0, ""
    for letter in (*letters, "."):
        if letter is None:
            count, gap = count + 1, ""
        elif count and letter.strip() == "":
            gap += letter
        else:
            parts += [say("report.unseen", n=count)] if count else []
            parts += [gap, letter]
            count, gap = 0, ""
    return "".join(parts)[:-1] + say("report.unseen.why")


def all_printable(value: Any) -> Any:
    """Give data with every text in it made printable; see :func:`printable`."""
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, dict):
        return {key: all_printable(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [all_printable(one) for one in value]
    return value
