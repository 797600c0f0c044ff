"""Rows of totals under a list: what stands there in place of a record."""

from __future__ import annotations

import re
from typing import Final

from models.intake.fields import Table

_MONTH: Final = (
    r"(?:jan|feb|f[eé]v|mar|mär|a[pv]r|ma[iy]|jun|jul|jui|aug|ao[uû]|sep|o[ck]t|nov|d[eé]c|dez)[a-zäéû]*+\.?"
)
_COUNTED: Final = r"(?:machines?|assets?|records?|rows?|items?|entries|pcs|maschinen)\b"
_LONGEST: Final = 200
_TOTAL: Final = re.compile(
    r"\s*(?:(?:grand|sub)[\s-]?)?(?:totals?|totale|sums?|summe|summa|averages?|means?|counts?)\s*"
    rf"(?:[:=]\s*|\s|$)(?:{_MONTH}|{_COUNTED}|[\d.,/:()%\s–-])*",
    re.IGNORECASE,
)

LEFT_OUT: Final = "a record; this looks like a total and is left out"
"""What is said of a row that is a total."""

TRULY_CALLED_SO: Final = {
    Table.ASSETS: (
        ". A machine that is truly called so comes in under another tag; then driftbook asset rename gives it its own, and "
        "rows of a machine that the book knows are always taken"
    ),
    Table.PEOPLE: ". Somebody who is truly called so comes in with a job that names them; then their row here is taken too",
    Table.INSTRUMENTS: ". An instrument that is truly called so comes in with a job that names it; then its row here is taken too",
}
"""What more is said where a row is left out by its name alone: lists in which nothing else is needed."""


def is_total(text: str) -> bool:
    """Tell whether a text is the word for a total, alone or with a colon, numbers, a month or what is counted beside it.

    'Sump pump', 'SUM-3', 'Sum pump' and 'Summers' are none: a row that holds one of these is a record.

    Parameters
    ----------
    text : str
        The text of a cell. [as typed]
    """
    return len(text) <= _LONGEST and _TOTAL.fullmatch(text) is not None
