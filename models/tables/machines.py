"""Assets with their versions, and the replacements that break a history."""

from __future__ import annotations

from datetime import date
from typing import Any

import sqlalchemy as sa

from models.tables.base import Base, Day, Json
from models.tables.declared import Mapped, mapped_column


class AssetRow(Base):
    """An asset: its number (that of its founding entry) and the tag it was founded under."""

    __tablename__ = "asset"
    __table_args__ = (sa.UniqueConstraint("site_id", "tag"),)
    id: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    tag: Mapped[str] = mapped_column(sa.String(80))


class AssetVersionRow(Base):
    """The description of an asset from a day on; the latest entry for a day counts."""

    __tablename__ = "asset_version"
    __table_args__ = (sa.Index("ix_asset_version_asset_id", "asset_id"),)
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    asset_id: Mapped[int] = mapped_column(sa.ForeignKey("asset.id", ondelete="RESTRICT"))
    valid_from: Mapped[date | None] = mapped_column(Day)
    tag: Mapped[str] = mapped_column(sa.String(80))
    description: Mapped[str] = mapped_column(sa.Text)
    area: Mapped[str] = mapped_column(sa.String(120))
    train: Mapped[str] = mapped_column(sa.String(120))
    driven: Mapped[str] = mapped_column(sa.String(120))
    driver: Mapped[str] = mapped_column(sa.String(120))
    coupling: Mapped[str] = mapped_column(sa.String(40))
    span_mm: Mapped[float | None] = mapped_column(sa.Double)
    speed_rpm: Mapped[float | None] = mapped_column(sa.Double)
    speed_max_rpm: Mapped[float | None] = mapped_column(sa.Double)
    power_kw: Mapped[float | None] = mapped_column(sa.Double)
    criticality: Mapped[str] = mapped_column(sa.String(40))
    equipment_class: Mapped[str] = mapped_column(sa.String(40))
    feet_movable_mm: Mapped[Any] = mapped_column(Json)
    feet_stationary_mm: Mapped[Any] = mapped_column(Json)
    commissioned: Mapped[date | None] = mapped_column(Day)
    retired: Mapped[date | None] = mapped_column(Day)
    typed: Mapped[Any] = mapped_column(Json)


class BreakRow(Base):
    """A machine, base or coupling replaced on a day, with the reason."""

    __tablename__ = "machine_break"
    __table_args__ = (sa.Index("ix_machine_break_asset_id", "asset_id"),)
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    asset_id: Mapped[int] = mapped_column(sa.ForeignKey("asset.id", ondelete="RESTRICT"))
    on: Mapped[date] = mapped_column("on_day", Day)
    part: Mapped[str] = mapped_column(sa.String(40))
    reason: Mapped[str] = mapped_column(sa.Text)
