"""Into which machine a record was merged that was given up."""

from __future__ import annotations

from functools import cache

import sqlalchemy as sa

from models.store.known import asset_id_of, current_tag, on_day, today
from models.tables.book import EntryRow
from models.tables.machines import AssetRow
from models.values.asset import Asset
from models.values.merging import kept_of

ENTRY, ASSET = "entry", "asset"
"""Names of the parameters of the questions."""


def merged_into(connection: sa.Connection, site_id: int, asset_id: int, entry: int, asset: Asset) -> str:
    """Give today's tag of the machine into which a record was merged; empty where it was not, or is in service again.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book. [unitless]
    site_id : int
        The site. [unitless]
    asset_id : int
        Number of the record. [unitless]
    entry : int
        Entry of its description of today. [unitless]
    asset : Asset
        That description. [unitless]
    """
    if asset.retired is None:
        return ""
    reason = connection.execute(_why(), {ENTRY: entry}).scalar() or ""
    named = kept_of(reason, asset.tag)
    kept = asset_id_of(connection, site_id, named) if named else None
    if kept is None or kept == asset_id:
        return ""
    return str(connection.execute(_tag(), {ASSET: kept} | on_day(today(connection, site_id))).scalar() or "")


@cache
def _why() -> sa.Select[str]:
    return sa.select(EntryRow.why).where(EntryRow.number == sa.bindparam(ENTRY))


@cache
def _tag() -> sa.Select[str]:
    return sa.select(current_tag(AssetRow.id)).where(AssetRow.id == sa.bindparam(ASSET))
