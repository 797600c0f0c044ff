"""Names that look alike: what stands in a cell and is not seen, and which tags or serials only their spelling tells apart."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from itertools import islice
from typing import Final

SOFT_HYPHEN: Final = "\u00ad"

_UNSEEN: Final = {"\u034f", "\u115f", "\u1160", "\u17b4", "\u17b5", "\u2065", "\u2800", "\u3164", "\uffa0"}
"""Characters without a picture that are no format characters: a joiner, fillers, an empty cell of Braille."""

_UNSEEN_RANGES: Final = (("\u180b", "\u180f"), ("\ufe00", "\ufe0f"), ("\ufff0", "\ufff8"), ("\U000e0000", "\U000e0fff"))
"""Selectors of variants, and what Unicode sets aside to be ignored (Default_Ignorable_Code_Point)."""

_MINUS: Final = {"\u2212", "\u02d7", "\u2043"}
"""Signs that are taken for a dash, though they are none: minus, modifier, bullet."""


def seen(name: str) -> str:
    """Give a person's name as anybody sees it: without format and control characters, fillers and blanks too many.

    What turns the order of letters round for the eye (bidirectional overrides) is among them.

    Parameters
    ----------
    name : str
        A name as it was typed or read. [unitless]
    """
    return " ".join(name.split()) if name.isascii() and name.isprintable() else _bare(name)


def spellings(text: str) -> tuple[str, ...]:
    """Give a tag without the characters that nobody sees; first as it stands, if it holds none.

    A soft hyphen is one of them, but in old encodings it stands where a hyphen is
    meant: a tag that holds one is given both ways.

    Parameters
    ----------
    text : str
        A tag as it was read. [unitless]
    """
    if text.isascii() and text.isprintable():
        return (text,)
    bare = _bare(text)
    return (bare, _bare(text.replace(SOFT_HYPHEN, "-"))) if SOFT_HYPHEN in text else (bare,)


def _bare(text: str) -> str:
    return " ".join("".join([letter for letter in text if not _is_unseen(letter)]).split())


def _is_unseen(letter: str) -> bool:
    if letter.isspace():
        return False
    return (
        unicodedata.category(letter) in {"Cf", "Cc"}
        or letter in _UNSEEN
        or any(first <= letter <= last for first, last in _UNSEEN_RANGES)
    )


def _looks(tag: str) -> tuple[str, str]:
    """Give a tag in two plain forms: without blanks, and with one dash for each run of blanks and dashes.

    'P 1' differs from 'P1' by a blank and from 'P-1' by the kind of gap; 'P1' and
    'P-1' do not look alike, for 'P-1-1' and 'P-11' are two machines.
    """
    if tag.isascii() and tag.isprintable():  # nothing unseen, and one dash only: most tags
        dashed = " ".join(tag.split()).casefold()
    else:
        plain = unicodedata.normalize("NFKC", _bare(tag)).casefold()
        dashed = "".join("-" if unicodedata.category(c) == "Pd" or c in _MINUS else c for c in plain)
    return "".join(dashed.split()), "-".join(dashed.replace("-", " ").split())


def gapless(text: str) -> str:
    """Give a text in small letters without blanks and dashes, as a tag is typed with a thumb: 'P 204' and 'P-204' are 'p204'.

    Two tags may become one so: it is for finding, not for telling apart.

    Parameters
    ----------
    text : str
        A tag, or what is typed for one. [as typed]
    """
    return _looks(text)[0].replace("-", "")


class Near:
    """Finds, for a tag that nobody knows, those that are written with the same letters and digits.

    Parameters
    ----------
    tags : mapping of str
        Tags that are there; what is added to them later is found too. [unitless]
    """

    def __init__(self, tags: Mapping[str, object]) -> None:
        self._tags, self._seen = tags, 0
        self._by_letters: dict[str, list[str]] = {}

    def to(self, tag: str) -> tuple[str, ...]:
        """Give the tags that differ from this one only by capitals, blanks and signs.

        Parameters
        ----------
        tag : str
            A tag as it was read. [as typed]
        """
        for one in islice(self._tags, self._seen, None):
            self._by_letters.setdefault(_letters(one), []).append(one)
        self._seen = len(self._tags)
        return tuple(self._by_letters.get(_letters(tag), ()))


def _letters(tag: str) -> str:
    return "".join(letter for letter in unicodedata.normalize("NFKC", tag).casefold() if letter.isalnum())


class Alike:
    """Finds, for a new tag or serial, one that is there and looks the same.

    Parameters
    ----------
    tags : iterable of str
        Tags, or serials, that are there. [unitless]
    """

    def __init__(self, tags: Iterable[str]) -> None:
        self._by_look: dict[str, str] = {}
        for tag in tags:
            self.add(tag)

    def add(self, tag: str) -> None:
        """Take a tag in."""
        for look in _looks(tag):
            self._by_look.setdefault(look, tag)

    def other(self, tag: str) -> str | None:
        """Give a tag that differs from this one only by capitals, blanks, dashes or what is not seen."""
        found = (self._by_look.get(look) for look in _looks(tag))
        return next((held for held in found if held is not None and held != tag), None)
