"""Why a description of a machine was written, and what a list said for it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import sqlalchemy as sa

from models.store.unit import CLOCK_SAID
from models.tables.book import EntryRow
from models.tables.machines import AssetVersionRow

ENTRY = "entry"
"""Name of the parameter of the question."""


def why_and_typed(connection: sa.Connection, entry: int) -> tuple[str, Mapping[str, str]]:
    """Give the reason of a description, without what the clock said, and what was typed for it, by field.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    entry : int
        Entry of the description. [unitless]
    """
    row = connection.execute(_question(), {ENTRY: entry}).one()
    return CLOCK_SAID.sub("", row[0] or ""), row[1]


@cache
def _question() -> sa.Select[str, Any]:
    v = AssetVersionRow
    return (
        sa.select(EntryRow.why, v.typed)
        .join(EntryRow, EntryRow.number == v.entry)
        .where(v.entry == sa.bindparam(ENTRY))
    )
