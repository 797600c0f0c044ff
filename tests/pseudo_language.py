"""A language that nobody speaks: every text of the reader longer, with accents, between brackets, its placeholders kept.

A page in it shows at a glance what is not taken from the table of texts (no brackets), what was
made for the length of an English word (cut off) and what was put together of halves (brackets inside a word).
"""

from __future__ import annotations

import re
import string
from math import ceil

from dashboard.words import WORDS, Language

BEGIN, END = "⟦", "⟧"
LONGER = 1.38

KEPT = {"language": "en-x-pseudo", "brand": WORDS["brand"], "book.empty.command": WORDS["book.empty.command"]}
"""What is no text to be translated: the tag of the language, the name, and what is typed at a prompt."""

_ACCENTS = str.maketrans("aeiouyncszAEIOUNCSZ", "áëîøüýñçšžÅÉÏÕÛÑÇŠŽ")
_VOWELS = "áëîøüýÅÉÏÕÛ"
_MARKUP = re.compile(r"(<[^<>]*>)")
_WORD = re.compile(r"[^\W\d_]+")


def longer(word: str) -> str:
    """Write a word with accents and so much longer, by drawing out its vowels."""
    accented = word.translate(_ACCENTS)
    missing = ceil(len(word) * LONGER) - len(word)
    letters = list(accented)
    places = [place for place, letter in enumerate(letters) if letter in _VOWELS] or [len(letters) - 1]
    for number in range(missing):
        place = places[number % len(places)]
        letters[place] += letters[place][0].lower()
    return "".join(letters)


def pseudo(text: str) -> str:
    """Translate a text; what is in braces and between < and > stays."""
    parts = []
    for literal, name, form, conversion in string.Formatter().parse(text):
        for piece in _MARKUP.split(literal.replace("{", "{{").replace("}", "}}")):
            text_of_it = piece if piece.startswith("<") else _WORD.sub(lambda found: longer(found.group()), piece)
            parts.append(text_of_it)
        if name is not None:
            parts.append(f"{{{name}{f'!{conversion}' if conversion else ''}{f':{form}' if form else ''}}}")
    return f"{BEGIN}{''.join(parts)}{END}"


def pseudo_language() -> Language:
    """Give the whole table in it."""
    return Language({key: KEPT.get(key) or pseudo(text) for key, text in WORDS.items()})
