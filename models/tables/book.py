"""Sites, entries and imported files: the spine that all other tables hang on."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from models.tables.base import Base, Instant, Json, some_rows
from models.tables.declared import Mapped, mapped_column


class SiteRow(Base):
    """A site: only its number and code; what may change stands in ``site_version``."""

    __tablename__ = "site"
    id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    code: Mapped[str] = mapped_column(sa.String(40), unique=True)


class EntryRow(Base):
    """One append-only line of the book.  Numbers run from 1 without a gap.

    ``subject`` is the number of the entry that founded the thing spoken of.
    Its canonical text and leaf hash stand in ``statement``.
    ``batch`` and ``line`` say from which imported file and row it came.
    """

    __tablename__ = "entry"
    __table_args__ = (
        sa.CheckConstraint("number > 0", name="number"),
        sa.Index("ix_entry_site_id_at_us", "site_id", "at_us"),
        some_rows("ix_entry_batch", "batch", where="batch IS NOT NULL"),
    )
    number: Mapped[int] = mapped_column(
        sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    at: Mapped[datetime] = mapped_column("at_us", Instant)
    author: Mapped[str] = mapped_column(sa.String(120))
    kind: Mapped[str] = mapped_column(sa.String(40))
    subject: Mapped[int] = mapped_column(sa.BigInteger)
    supersedes: Mapped[int | None] = mapped_column(sa.BigInteger)
    why: Mapped[str] = mapped_column(sa.Text)
    batch: Mapped[int | None] = mapped_column(sa.BigInteger)
    line: Mapped[str | None] = mapped_column(sa.String(60))


class SiteVersionRow(Base):
    """How a site is set from an entry on: name, zone, units, rule for the next check."""

    __tablename__ = "site_version"
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    name: Mapped[str] = mapped_column(sa.String(120))
    zone: Mapped[str] = mapped_column(sa.String(64))
    length_unit: Mapped[str] = mapped_column(sa.String(8))
    temperature_unit: Mapped[str] = mapped_column(sa.String(8))
    interval_months: Mapped[int] = mapped_column(sa.Integer)


class ImportedFileRow(Base):
    """A file that was imported: its name, its digest, and the mapping that read it."""

    __tablename__ = "imported_file"
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    name: Mapped[str] = mapped_column(sa.Text)
    sha256: Mapped[str] = mapped_column(sa.String(64))
    rows_read: Mapped[int] = mapped_column(sa.Integer)
    rows_taken: Mapped[int] = mapped_column(sa.Integer)
    rows_refused: Mapped[int] = mapped_column(sa.Integer)
    mapping: Mapped[Any] = mapped_column(Json)
