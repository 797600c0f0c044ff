"""What proves that the book is as it was written: statements, heads of the tree, keys, sign-offs."""

from __future__ import annotations

import sqlalchemy as sa

from models.tables.base import Base
from models.tables.declared import Mapped, mapped_column

NUMBER = sa.BigInteger().with_variant(sa.Integer, "sqlite")
"""Type of an entry's number; SQLite wants its plain integer for a key."""


class StatementRow(Base):
    """The canonical text of an entry with all its rows (RFC 8785), and its leaf hash (RFC 9162).

    The text says again what the rows say: whoever changes a value behind the
    tool's back is shown, column by column, what stood there before.
    """

    __tablename__ = "statement"
    entry: Mapped[int] = mapped_column(
        NUMBER, sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    said: Mapped[str] = mapped_column(sa.Text)
    leaf: Mapped[bytes] = mapped_column(sa.LargeBinary(32))


class BookKeyRow(Base):
    """The public key (Ed25519, 32 bytes) that signs the heads from an entry on, and the name under which it signs."""

    __tablename__ = "book_key"
    entry: Mapped[int] = mapped_column(
        NUMBER, sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    origin: Mapped[str] = mapped_column(sa.String(120))
    public_key: Mapped[bytes] = mapped_column(sa.LargeBinary(32))


class TreeHeadRow(Base):
    """A kept head of the tree: over how many entries, its root, and the signature of the book's key.

    ``frontier`` holds the roots of the full subtrees, largest first: with it
    the tree goes on without reading what is before.  One head covers all
    sites of the book, so it carries none.
    """

    __tablename__ = "tree_head"
    size: Mapped[int] = mapped_column(
        NUMBER, sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    root: Mapped[bytes] = mapped_column(sa.LargeBinary(32))
    frontier: Mapped[bytes] = mapped_column(sa.LargeBinary)
    key_entry: Mapped[int | None] = mapped_column(NUMBER, sa.ForeignKey("book_key.entry", ondelete="RESTRICT"))
    signature: Mapped[bytes | None] = mapped_column(sa.LargeBinary(64))


class SignoffRow(Base):
    """A signature under an entry: what it means, bound to the entry's leaf hash; who and when stand in its own entry."""

    __tablename__ = "signoff"
    __table_args__ = (sa.Index("ix_signoff_signed_entry", "signed_entry"),)
    entry: Mapped[int] = mapped_column(
        NUMBER, sa.ForeignKey("entry.number", ondelete="RESTRICT"), primary_key=True, autoincrement=False
    )
    site_id: Mapped[int] = mapped_column(sa.ForeignKey("site.id", ondelete="RESTRICT"))
    signed_entry: Mapped[int] = mapped_column(NUMBER, sa.ForeignKey("entry.number", ondelete="RESTRICT"))
    meaning: Mapped[str] = mapped_column(sa.String(40))
    signed_leaf: Mapped[bytes] = mapped_column(sa.LargeBinary(32))
