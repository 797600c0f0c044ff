"""Texts that a spreadsheet would take for a formula: how they are written so that they are not, and read back as they were.

A cell of a CSV that begins with ``=``, ``+``, ``-``, ``@``, a tab or a line
break is evaluated by spreadsheet programs, also after leading blanks; so is
its full-width form by some.  Written out, such a text gets one apostrophe
before it, which is every spreadsheet's own mark for 'this is text'.  Reading
takes one apostrophe off again from a text that begins so, and from no other,
so what was written is read back the same.

References
----------
OWASP, *CSV Injection*: the characters, the quoting of cells, and the apostrophe.
"""

from __future__ import annotations

import re

_ACTIVE = re.compile("'*\\s*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_NUMBER = re.compile(r"[+-]?\d[\d.,]*(?:[eE][+-]?\d+)?", re.ASCII)


def guarded(text: str) -> str:
    """Give a text as it is written to a CSV: with an apostrophe before it where it would be evaluated.

    A plain number with a sign is no formula and stays as it is.
    """
    return f"'{text}" if is_active(text) else text


def unguarded(text: str) -> str:
    """Give a text as it was; the inverse of :func:`guarded`."""
    return text[1:] if text[:1] == "'" and _ACTIVE.match(text, 1) else text


def is_active(text: str) -> bool:
    """Tell whether a spreadsheet would take the text for a formula."""
    return _ACTIVE.match(text) is not None and _NUMBER.fullmatch(text) is None
