"""State of the present: secrets, sessions, tokens.  It is no history, is changed in place, and is never exported.

``sign_in`` is the exception: a log of who came in or was refused, which
only grows and refuses change like the history.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from models.tables.base import Base, Instant, Json
from models.tables.declared import Mapped, mapped_column
from models.tables.proofs import NUMBER

_ACCOUNT = "account.id"


class SignInRow(Base):
    """One try to sign in, or one end of a session: when, as whom, from where, and what came of it."""

    __tablename__ = "sign_in"
    __table_args__ = (
        sa.Index("ix_sign_in_login_at_us", "login", "at_us"),
        sa.Index("ix_sign_in_address_at_us", "address", "at_us"),
    )
    id: Mapped[int] = mapped_column(NUMBER, primary_key=True, autoincrement=True)
    at: Mapped[datetime] = mapped_column("at_us", Instant)
    login: Mapped[str] = mapped_column(sa.String(80))
    address: Mapped[str] = mapped_column(sa.String(80))
    outcome: Mapped[str] = mapped_column(sa.String(40))


class CredentialRow(Base):
    """The hash of a password (Argon2, in its encoded form)."""

    __tablename__ = "credential"
    account_id: Mapped[int] = mapped_column(
        NUMBER, sa.ForeignKey(_ACCOUNT, ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    secret: Mapped[str] = mapped_column(sa.Text)
    changed: Mapped[datetime] = mapped_column("changed_us", Instant)
    must_change: Mapped[bool] = mapped_column(sa.Boolean)


class LoginSessionRow(Base):
    """A session that is open: the hash of its token, whose it is, and until when."""

    __tablename__ = "login_session"
    __table_args__ = (sa.Index("ix_login_session_account_id", "account_id"),)
    token_hash: Mapped[str] = mapped_column(sa.String(64), primary_key=True)
    account_id: Mapped[int] = mapped_column(NUMBER, sa.ForeignKey(_ACCOUNT, ondelete="RESTRICT"))
    made: Mapped[datetime] = mapped_column("made_us", Instant)
    seen: Mapped[datetime] = mapped_column("seen_us", Instant)
    ends: Mapped[datetime] = mapped_column("ends_us", Instant)
    address: Mapped[str] = mapped_column(sa.String(80))


class ApiTokenRow(Base):
    """A token of the JSON interface: the hash of it, whose it is, for which site, and what it may do."""

    __tablename__ = "api_token"
    id: Mapped[int] = mapped_column(NUMBER, primary_key=True, autoincrement=True)
    account_id: Mapped[int] = mapped_column(NUMBER, sa.ForeignKey(_ACCOUNT, ondelete="RESTRICT"))
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    name: Mapped[str] = mapped_column(sa.String(80))
    token_hash: Mapped[str] = mapped_column(sa.String(64), unique=True)
    roles: Mapped[Any] = mapped_column(Json)
    made: Mapped[datetime] = mapped_column("made_us", Instant)
    ended: Mapped[datetime | None] = mapped_column("ended_us", Instant)


class CalendarAddressRow(Base):
    """A secret address of the calendar: the hash of it, whose it is, for which site."""

    __tablename__ = "calendar_address"
    id: Mapped[int] = mapped_column(NUMBER, primary_key=True, autoincrement=True)
    account_id: Mapped[int | None] = mapped_column(NUMBER, sa.ForeignKey(_ACCOUNT, ondelete="RESTRICT"))
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    person: Mapped[str] = mapped_column(sa.String(120))
    secret_hash: Mapped[str] = mapped_column(sa.String(64), unique=True)
    made: Mapped[datetime] = mapped_column("made_us", Instant)
    ended: Mapped[datetime | None] = mapped_column("ended_us", Instant)


class AnsweredRequestRow(Base):
    """A write through the interface that was answered: asked again under the same key, the same answer is given."""

    __tablename__ = "answered_request"
    token_id: Mapped[int] = mapped_column(
        NUMBER, sa.ForeignKey("api_token.id", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    request_key: Mapped[str] = mapped_column(sa.String(255), primary_key=True)
    at: Mapped[datetime] = mapped_column("at_us", Instant)
    asked_digest: Mapped[bytes] = mapped_column(sa.LargeBinary(32))
    status: Mapped[int] = mapped_column(sa.Integer)
    answer: Mapped[str] = mapped_column(sa.Text)
