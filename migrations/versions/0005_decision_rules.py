"""Decision rules of sites, and what was decided of jobs by them.

Why: a site may choose a guarded decision rule; rule, uncertainty, probability and verdict are then kept with each job, so that
an auditor can redo them.  Two new tables: ``decision_rule`` (one row for each time that a site chose) and ``decision`` (one row
for each measurement of a version of a job that was decided).  ``job`` stays as it is: it is the wide table on which the speed
of imports hangs, and most sites never decide anything.
Existing rows: none is touched; a site that never chose goes by simple acceptance, and no statement changes.
On PostgreSQL the new tables have the owner and the rights of ``site_version``.
Downgrade: drops both tables; rules and decisions are lost, and the statements of the entries that brought them no longer fit.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from migrations import guards

revision = "0005_decision_rules"
down_revision = "0004_references_by_set"
branch_labels = None
depends_on = None

KEYS = {
    "decision_rule": ["entry = NEW.entry"],
    "decision": ["entry = NEW.entry AND side = NEW.side"],
}
"""New tables, each with what a row that is put in must not share with one that is there."""

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Create both tables with their guards."""
    op.create_table(
        "decision_rule",
        sa.Column("entry", _NUMBER, autoincrement=False, nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.String(length=40), nullable=False),
        sa.Column("confidence", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.number"], name="fk_decision_rule_entry_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_decision_rule_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", name="pk_decision_rule"),
    )
    op.create_table(
        "decision",
        sa.Column("entry", _NUMBER, autoincrement=False, nullable=False),
        sa.Column("side", sa.String(length=8), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.String(length=40), nullable=False),
        sa.Column("confidence", sa.Double(), nullable=False),
        sa.Column("covariance", sa.Text(), nullable=True),
        sa.Column("probability", sa.Double(), nullable=True),
        sa.Column("verdict", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entry.number"], name="fk_decision_entry_entry", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_decision_site_id_site", ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("entry", "side", name="pk_decision"),
    )
    for table, keys in KEYS.items():
        guards.create(table, keys)
        _give(table)


def downgrade() -> None:
    """Drop both tables."""
    for table in reversed(KEYS):
        guards.drop(table)
        op.drop_table(table)


def _give(table: str) -> None:
    """Give a new table the owner and the rights of one that is written by the same commands; PostgreSQL only."""
    if op.get_bind().dialect.name != "postgresql":
        return
    given = (
        "SELECT a.privilege_type, CASE WHEN a.grantee = 0 THEN 'PUBLIC' ELSE quote_ident(pg_get_userbyid(a.grantee)) END, "
        "a.is_grantable FROM pg_class c, aclexplode(c.relacl) a WHERE c.oid = 'site_version'::regclass "
        "AND a.grantee <> c.relowner ORDER BY 2, 1"
    )
    for right, role, passes_on in op.get_bind().execute(sa.text(given)).all():
        op.execute(sa.text(f"GRANT {right} ON {table} TO {role}{' WITH GRANT OPTION' if passes_on else ''}"))
    owner = (
        "SELECT pg_get_userbyid(relowner) <> current_user, quote_ident(pg_get_userbyid(relowner)) "
        "FROM pg_class WHERE oid = 'site_version'::regclass"
    )
    foreign, name = op.get_bind().execute(sa.text(owner)).one()
    if foreign:
        op.execute(sa.text(f"ALTER TABLE {table} OWNER TO {name}"))
