"""Proofs, sign-offs, and people who sign in.

Why: every entry gets its canonical text and leaf hash (``statement``), the tree over them its kept heads (``tree_head``) and
the keys that sign them (``book_key``); people sign off (``signoff``) and sign in (``account`` and what belongs to it).
Existing rows: stay as they are.  ``entry.leaf``, which was never filled, goes.  ``driftbook upgrade`` afterwards makes the
statements of entries that have none; until then the book works, and verification says what is not sealed.
Downgrade: drops the new tables with all sign-offs, accounts and heads in them; it cannot bring those back.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.schema import SchemaItem

from migrations import guards

revision = "0002_proofs_and_people"
down_revision = "0001_the_book"
branch_labels = None
depends_on = None

KEYS = {
    "statement": ["entry = NEW.entry"],
    "tree_head": ["size = NEW.size"],
    "book_key": ["entry = NEW.entry"],
    "signoff": ["entry = NEW.entry"],
    "account": ["id = NEW.id", "login = NEW.login"],
    "account_version": ["entry = NEW.entry"],
    "sign_in": ["id = NEW.id"],
}
"""New tables that are guarded, and under which conditions a new row would replace one."""

STATE = ("credential", "login_session", "api_token", "calendar_address", "answered_request")
"""New tables that hold the state of the present and no history."""

INDEXES = (
    ("ix_entry_site_id_at_us", "entry", ["site_id", "at_us"], None),
    ("ix_entry_batch", "entry", ["batch"], "batch IS NOT NULL"),
    ("ix_job_instrument_id", "job", ["instrument_id"], "instrument_id IS NOT NULL"),
    ("ix_job_person_id", "job", ["person_id"], "person_id IS NOT NULL"),
    ("ix_signoff_signed_entry", "signoff", ["signed_entry"], None),
    ("ix_account_version_account_id", "account_version", ["account_id"], None),
    ("ix_sign_in_login_at_us", "sign_in", ["login", "at_us"], None),
    ("ix_sign_in_address_at_us", "sign_in", ["address", "at_us"], None),
    ("ix_login_session_account_id", "login_session", ["account_id"], None),
)


def _number() -> sa.types.TypeEngine[int]:
    return sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _entry(table: str, name: str = "entry") -> list[SchemaItem]:
    return [
        sa.Column(name, _number(), autoincrement=False, nullable=False),
        sa.PrimaryKeyConstraint(name, name=f"pk_{table}"),
        sa.ForeignKeyConstraint([name], ["entry.number"], name=f"fk_{table}_{name}_entry", ondelete="RESTRICT"),
    ]


def _site(table: str) -> list[SchemaItem]:
    return [
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=f"fk_{table}_site_id_site", ondelete="RESTRICT"),
    ]


def _account(table: str, *, nullable: bool = False) -> list[SchemaItem]:
    return [
        sa.Column("account_id", _number(), autoincrement=False, nullable=nullable),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name=f"fk_{table}_account_id_account", ondelete="RESTRICT"
        ),
    ]


def upgrade() -> None:
    """Create the tables, their guards and indexes."""
    op.execute(sa.text("ALTER TABLE entry DROP COLUMN leaf"))
    _create_history()
    _create_state()
    for table, keys in KEYS.items():
        guards.create(table, keys)
    for name, table, columns, where in INDEXES:
        given = None if where is None else sa.text(where)
        op.create_index(name, table, columns, sqlite_where=given, postgresql_where=given)


def _create_history() -> None:
    op.create_table(
        "statement",
        *_entry("statement"),
        *_site("statement"),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("leaf", sa.LargeBinary(length=32), nullable=False),
    )
    op.create_table(
        "book_key",
        *_entry("book_key"),
        *_site("book_key"),
        sa.Column("origin", sa.String(length=120), nullable=False),
        sa.Column("public_key", sa.LargeBinary(length=32), nullable=False),
    )
    op.create_table(
        "tree_head",
        *_entry("tree_head", "size"),
        sa.Column("root", sa.LargeBinary(length=32), nullable=False),
        sa.Column("frontier", sa.LargeBinary(), nullable=False),
        sa.Column("key_entry", _number(), nullable=True),
        sa.Column("signature", sa.LargeBinary(length=64), nullable=True),
        sa.ForeignKeyConstraint(
            ["key_entry"], ["book_key.entry"], name="fk_tree_head_key_entry_book_key", ondelete="RESTRICT"
        ),
    )
    op.create_table(
        "signoff",
        *_entry("signoff"),
        *_site("signoff"),
        sa.Column("signed_entry", _number(), nullable=False),
        sa.Column("meaning", sa.String(length=40), nullable=False),
        sa.Column("signed_leaf", sa.LargeBinary(length=32), nullable=False),
        sa.ForeignKeyConstraint(
            ["signed_entry"], ["entry.number"], name="fk_signoff_signed_entry_entry", ondelete="RESTRICT"
        ),
    )
    op.create_table(
        "account",
        *_entry("account", "id"),
        *_site("account"),
        sa.Column("login", sa.String(length=80), nullable=False),
        sa.UniqueConstraint("login", name="uq_account_login"),
    )
    op.create_table(
        "account_version",
        *_entry("account_version"),
        *_site("account_version"),
        *_account("account_version"),
        sa.Column("person", sa.String(length=120), nullable=False),
        sa.Column("mail", sa.String(length=254), nullable=False),
        sa.Column("roles", sa.Text(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("outside", sa.String(length=500), nullable=True),
    )


def _create_state() -> None:
    op.create_table(
        "sign_in",
        sa.Column("id", _number(), autoincrement=True, nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("login", sa.String(length=80), nullable=False),
        sa.Column("address", sa.String(length=80), nullable=False),
        sa.Column("outcome", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sign_in"),
    )
    op.create_table(
        "credential",
        *_account("credential"),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("changed_us", sa.BigInteger(), nullable=False),
        sa.Column("must_change", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("account_id", name="pk_credential"),
    )
    op.create_table(
        "login_session",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        *_account("login_session"),
        sa.Column("made_us", sa.BigInteger(), nullable=False),
        sa.Column("seen_us", sa.BigInteger(), nullable=False),
        sa.Column("ends_us", sa.BigInteger(), nullable=False),
        sa.Column("address", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("token_hash", name="pk_login_session"),
    )
    op.create_table(
        "api_token",
        sa.Column("id", _number(), autoincrement=True, nullable=False),
        *_account("api_token"),
        *_site("api_token"),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("roles", sa.Text(), nullable=False),
        sa.Column("made_us", sa.BigInteger(), nullable=False),
        sa.Column("ended_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_api_token"),
        sa.UniqueConstraint("token_hash", name="uq_api_token_token_hash"),
    )
    op.create_table(
        "calendar_address",
        sa.Column("id", _number(), autoincrement=True, nullable=False),
        *_account("calendar_address", nullable=True),
        *_site("calendar_address"),
        sa.Column("person", sa.String(length=120), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("made_us", sa.BigInteger(), nullable=False),
        sa.Column("ended_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_calendar_address"),
        sa.UniqueConstraint("secret_hash", name="uq_calendar_address_secret_hash"),
    )
    op.create_table(
        "answered_request",
        sa.Column("token_id", _number(), autoincrement=False, nullable=False),
        sa.Column("request_key", sa.String(length=255), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("asked_digest", sa.LargeBinary(length=32), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("token_id", "request_key", name="pk_answered_request"),
        sa.ForeignKeyConstraint(
            ["token_id"], ["api_token.id"], name="fk_answered_request_token_id_api_token", ondelete="RESTRICT"
        ),
    )


def downgrade() -> None:
    """Drop what was created; sign-offs, accounts and heads are lost."""
    for table in KEYS:
        guards.drop(table)
    for name, table, _, _ in reversed(INDEXES):
        op.drop_index(name, table_name=table)
    for table in reversed(STATE):
        op.drop_table(table)
    for table in ("sign_in", "account_version", "account", "signoff", "tree_head", "book_key", "statement"):
        op.drop_table(table)
    op.add_column("entry", sa.Column("leaf", sa.LargeBinary(length=32), nullable=True))
