"""Accounts: who may sign in, and with which roles at which site; history like everything else."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from models.tables.base import Base, Json
from models.tables.declared import Mapped, mapped_column
from models.tables.proofs import NUMBER


class AccountRow(Base):
    """An account: its number and the name that is typed to sign in, one for all sites of the book."""

    __tablename__ = "account"
    __table_args__ = (sa.UniqueConstraint("login"),)
    id: Mapped[int] = mapped_column(
        NUMBER, sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    login: Mapped[str] = mapped_column(sa.String(80))


class AccountVersionRow(Base):
    """What an account may do at one site from an entry on; the latest entry for a site counts.

    ``person`` is the name that stands as author under what it writes.
    ``outside`` is issuer and subject of an OpenID Connect sign-in.
    """

    __tablename__ = "account_version"
    __table_args__ = (sa.Index("ix_account_version_account_id", "account_id"),)
    entry: Mapped[int] = mapped_column(
        NUMBER, sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    account_id: Mapped[int] = mapped_column(NUMBER, sa.ForeignKey("account.id", ondelete="RESTRICT"))
    person: Mapped[str] = mapped_column(sa.String(120))
    mail: Mapped[str] = mapped_column(sa.String(254))
    roles: Mapped[Any] = mapped_column(Json)
    active: Mapped[bool] = mapped_column(sa.Boolean)
    outside: Mapped[str | None] = mapped_column(sa.String(500))
