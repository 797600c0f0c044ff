"""Rows of totals under a list: what stands there in place of a record."""

from __future__ import annotations

import re
from typing import Final

_MONTH: Final = r"(?:jan|feb|f[eé]v|mar|mär|a[pv]r|ma[iy]|jun|jul|jui|aug|ao[uû]|sep|o[ck]t|nov|d[eé]c|dez)[a-zäéû]*\.?"
_TOTAL: Final = re.compile(
    r"\s*(?:(?:grand|sub)[\s-]?)?(?:totals?|totale|sums?|summe|summa|averages?|means?|counts?)\s*"
    rf"(?:[:=]\s*|\s|$)(?:{_MONTH}|[\d.,/:()%\s–-])*",
    re.IGNORECASE,
)


def is_total(text: str) -> bool:
    """Tell whether a text is the word for a total, alone or with a colon, numbers or a month beside it.

    'Sump pump', 'SUM-3' and 'Summers' are none: a row that holds one of these is a record.

    Parameters
    ----------
    text : str
        The text of a cell. [as typed]
    """
    return _TOTAL.fullmatch(text) is not None
