"""Limit sets: versions that are adopted, and the rows of each."""

from __future__ import annotations

from datetime import date

import sqlalchemy as sa

from models.tables.base import Base, Day
from models.tables.declared import Mapped, mapped_column


class LimitSetRow(Base):
    """A limit set by name."""

    __tablename__ = "limit_set"
    __table_args__ = (sa.UniqueConstraint("site_id", "name"),)
    id: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    name: Mapped[str] = mapped_column(sa.String(120))


class LimitVersionRow(Base):
    """One version of a limit set: its source, who adopted it and from which day it is in force."""

    __tablename__ = "limit_version"
    __table_args__ = (sa.UniqueConstraint("limit_set_id", "version"),)
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    limit_set_id: Mapped[int] = mapped_column(sa.ForeignKey("limit_set.id", ondelete="RESTRICT"))
    version: Mapped[int] = mapped_column(sa.Integer)
    source: Mapped[str] = mapped_column(sa.Text)
    adopted_by: Mapped[str] = mapped_column(sa.String(120))
    adopted_on: Mapped[date] = mapped_column(Day)
    starter: Mapped[bool] = mapped_column(sa.Boolean)
    note: Mapped[str] = mapped_column(sa.Text)


class LimitRowRow(Base):
    """One row of one version: what is judged, for which coupling and speeds, and the limit or its law."""

    __tablename__ = "limit_row"
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("limit_version.entry", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    row: Mapped[int] = mapped_column("row_no", sa.Integer, primary_key=True, autoincrement=False)
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    judged: Mapped[str] = mapped_column(sa.String(40))
    coupling: Mapped[str | None] = mapped_column(sa.String(40))
    above_rpm: Mapped[float] = mapped_column(sa.Double)
    upto_rpm: Mapped[float | None] = mapped_column(sa.Double)
    value: Mapped[float | None] = mapped_column("limit_value", sa.Double)
    per_rpm: Mapped[float | None] = mapped_column(sa.Double)
    floor_rpm: Mapped[float] = mapped_column(sa.Double)
    combine: Mapped[str] = mapped_column(sa.String(40))
