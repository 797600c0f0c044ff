"""What stands in a cell or field for people: one name, several of them, or a sign that names nobody."""

from __future__ import annotations

import re
from typing import Final

from models.values.spelling import seen

_SIGNS_OF_NOBODY: Final = {
    "n/a", "n.a.", "n.a", "n. a.", "n/k", "none", "no one", "nobody", "not known", "unknown", "tbd", "tba", "tbc", "xxx",
    "k.a.", "k. a.", "unbekannt", "niemand", "inconnu", "s/o",
}  # fmt: skip
"""In the languages in which months are read; a common practice, no source.  Whoever is called so writes more of the name."""

_AND: Final = re.compile(r"\s*[&+]\s*|\s+(?:and|und|et)\s+", re.IGNORECASE)
_MANY: Final = re.compile(rf"\s*,\s*|{_AND.pattern}", re.IGNORECASE)


def is_nobody(text: str) -> bool:
    """Tell whether a text stands for nobody: a word for that, or signs without a letter or digit.

    Parameters
    ----------
    text : str
        What stands where a name is asked for. [as typed]
    """
    bare = seen(text).casefold()
    return bare in _SIGNS_OF_NOBODY or not any(letter.isalnum() for letter in bare)


def names_in(text: str) -> tuple[tuple[str, ...], bool]:
    """Give the names in a text, parted by semicolons and slashes, and whether something in it stands for nobody.

    A break of the line parts names where each line has two words and more.

    Parameters
    ----------
    text : str
        A cell, or a field. [as typed]
    """
    if is_nobody(text):
        return (), bool(seen(text))
    lines = [line for line in re.split(r"[\r\n\v\u2028]+", text) if seen(line)]
    if len(lines) > 1 and all(len(line.split()) > 1 for line in lines):
        text = ";".join(lines)
    parts = [name for part in re.split("[;/]", text) if (name := seen(part))]
    names = tuple(dict.fromkeys(part for part in parts if not is_nobody(part)))
    return names, any(map(is_nobody, parts))


def may_be_several(name: str) -> bool:
    """Tell whether a name may be those of several people: a comma, '&', '+' or 'and' stands between its words."""
    return len(pieces_of(name)) > 1


def is_several(name: str) -> bool:
    """Tell whether a name says by itself that it is several: by '&', '+' or 'and'; a comma may stand within one."""
    return len([piece for piece in _AND.split(name) if piece.strip()]) > 1


def pieces_of(name: str) -> list[str]:
    """Give the names of which a name may be made."""
    return [piece for part in _MANY.split(name) if (piece := " ".join(part.split()))]
