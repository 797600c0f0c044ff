"""Decision rules of sites, and what was decided of jobs by them."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from models.tables.base import Base, Json
from models.tables.declared import Mapped, mapped_column


class DecisionRuleRow(Base):
    """The decision rule of a site from an entry on; a site without a row goes by simple acceptance."""

    __tablename__ = "decision_rule"
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    rule: Mapped[str] = mapped_column(sa.String(40))
    confidence: Mapped[float] = mapped_column(sa.Double)


class DecisionRow(Base):
    """What was decided of one measurement of a job: keyed by the entry of the version of the job, and the side.

    Rule and confidence are copied here because a verdict must be readable without knowing what changed since.
    """

    __tablename__ = "decision"
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    side: Mapped[str] = mapped_column(sa.String(8), primary_key=True)
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    rule: Mapped[str] = mapped_column(sa.String(40))
    confidence: Mapped[float] = mapped_column(sa.Double)
    covariance: Mapped[Any] = mapped_column(Json, nullable=True)
    probability: Mapped[float | None] = mapped_column(sa.Double)
    verdict: Mapped[str] = mapped_column(sa.String(40))
