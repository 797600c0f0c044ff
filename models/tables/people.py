"""People and instruments, each with versions: who they are today is not who they were then."""

from __future__ import annotations

from datetime import date

import sqlalchemy as sa

from models.tables.base import Base, Day
from models.tables.declared import Mapped, mapped_column


class PersonRow(Base):
    """A person, by the name on the sheets."""

    __tablename__ = "person"
    __table_args__ = (sa.UniqueConstraint("site_id", "name"),)
    id: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    name: Mapped[str] = mapped_column(sa.String(120))


class PersonVersionRow(Base):
    """What is known of a person from an entry on."""

    __tablename__ = "person_version"
    __table_args__ = (sa.Index("ix_person_version_person_id", "person_id"),)
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id", ondelete="RESTRICT"))
    name: Mapped[str] = mapped_column(sa.String(120))
    qualification: Mapped[str] = mapped_column(sa.Text)
    active: Mapped[bool] = mapped_column(sa.Boolean)


class InstrumentRow(Base):
    """An instrument, by its serial number."""

    __tablename__ = "instrument"
    __table_args__ = (sa.UniqueConstraint("site_id", "serial"),)
    id: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    serial: Mapped[str] = mapped_column(sa.String(80))


class InstrumentVersionRow(Base):
    """What is known of an instrument from an entry on: each calibration is a version."""

    __tablename__ = "instrument_version"
    __table_args__ = (sa.Index("ix_instrument_version_instrument_id", "instrument_id"),)
    entry: Mapped[int] = mapped_column(
        sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    instrument_id: Mapped[int] = mapped_column(sa.ForeignKey("instrument.id", ondelete="RESTRICT"))
    serial: Mapped[str] = mapped_column(sa.String(80))
    description: Mapped[str] = mapped_column(sa.Text)
    calibrated: Mapped[date | None] = mapped_column(Day)
    due: Mapped[date | None] = mapped_column(Day)
