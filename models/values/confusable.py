"""Letters that look alike across scripts: the skeleton of a text, by Unicode Technical Standard 39.

The letters stand in ``confusables.txt`` beside this file, which names its source.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from importlib.resources import files


def skeleton(text: str) -> str:
    """Give a text with each letter replaced by the one for which it, and all that look like it, stand.

    Two texts that look the same have the same skeleton; it is for comparing, and is never shown
    (Unicode Technical Standard 39, section 4, over compatible letters).

    Parameters
    ----------
    text : str
        A text without characters that nobody sees. [unitless]
    """
    plain = unicodedata.normalize("NFD", unicodedata.normalize("NFKC", text))
    return unicodedata.normalize("NFD", plain.translate(_prototypes()))


@cache
def _prototypes() -> dict[int, str]:
    """Give the prototype of each letter that has one, by its code point."""
    found: dict[int, str] = {}
    for line in files("models.values").joinpath("confusables.txt").read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            prototype, letters = line.split(";")
            said = "".join(chr(int(point, 16)) for point in prototype.split())
            found |= {int(point, 16): said for point in letters.split()}
    return found
