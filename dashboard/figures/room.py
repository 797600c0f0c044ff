"""How much room the words of a picture take, so that none is cut off in another language or on a narrow screen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

PER_LETTER = 6.6
"""Width of a letter of 12 pixels in the type of the pictures, a little more than its mean. [pixel]"""

NARROW = 190.0
"""Width of a drawing on the narrowest screen, between its numbers and its names. [pixel]"""

LINE = 15.0
"""Height of a line of words. [pixel]"""


def width_of(text: str) -> float:
    """Estimate how wide a text is written, its longest line counted. [pixel].

    Parameters
    ----------
    text : str
        The text; ``<br>`` begins a line. [unitless]
    """
    return PER_LETTER * max(len(line) for line in text.split("<br>"))


def wrapped(text: str, most: int = 48) -> str:
    """Break a text into lines at its blanks.

    Parameters
    ----------
    text : str
        The text. [unitless]
    most : int
        Longest line. [character]
    """
    lines = [""]
    for word in text.split(" "):
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".lstrip()
    return "<br>".join(lines)


def margin_for(texts: Iterable[str], *, least: float = 12.0) -> float:
    """Give the margin that words beside a picture need. [pixel].

    Parameters
    ----------
    texts : iterable of str
        The words. [unitless]
    least : float
        Margin without any. [pixel]
    """
    return max([least, *(width_of(text) + 14.0 for text in texts)])


def anchor_at(share: float) -> str:
    """Tell on which side of its place a word stands so that it stays in the picture.

    Parameters
    ----------
    share : float
        Where its place is, from 0 at the left end to 1 at the right. [unitless]
    """
    return "left" if share < 0.25 else "right" if share > 0.75 else "center"


def levels(places: Sequence[float], widths: Sequence[float]) -> tuple[int, ...]:
    """Give the line on which each word stands so that neighbours do not lie over one another.

    Parameters
    ----------
    places : sequence of float
        Middle of each word, ascending. [pixel]
    widths : sequence of float
        Width of each. [pixel]

    Returns
    -------
    tuple of int
        0 for the first line, 1 for the one below it, and so on. [unitless]
    """
    ends: list[float] = []
    found = []
    for place, width in zip(places, widths, strict=True):
        begin = place - width / 2.0
        level = next((at for at, end in enumerate(ends) if end <= begin), len(ends))
        end = place + width / 2.0
        if level == len(ends):
            ends.append(end)
        else:
            ends[level] = end
        found.append(level)
    return tuple(found)
