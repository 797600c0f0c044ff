"""On PostgreSQL the two long tables are cut by site.

Why: a book of many sites.  A question about one site touches that site's rows and indexes only, and the rows of a site can be
backed, moved and analysed by themselves.  ``job`` and ``statement`` become partitioned by ``site_id``: one part for each site
that is there, and one (``…_default``) that takes the rows of sites without a part, so that no write can fail for want of one.
Their keys become (entry, site_id).  That an entry brings one row only still holds: a row now points to an entry of its own
site, and a job that supersedes another points to an entry of its own site too.
Existing rows: are copied into their parts within the migration's one transaction and counted; rights that were given on the
two tables, and their owner, are set again.  It needs as much free room again as the two tables take, until it ends.
On SQLite nothing changes.
Downgrade: puts the rows back into plain tables; nothing is lost.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from migrations import guards

revision = "0003_parts_by_site"
down_revision = "0002_proofs_and_people"
branch_labels = None
depends_on = None

TABLES = ("job", "statement")

_POINTS = {
    "job": (
        ("asset_id", "asset", "id"),
        ("instrument_id", "instrument", "id"),
        ("limit_entry", "limit_version", "entry"),
        ("person_id", "person", "id"),
        ("site_id", "site", "id"),
    ),
    "statement": (("site_id", "site", "id"),),
}
"""Columns that point elsewhere, the same in both forms."""

_OWN = {"job": ("entry", "supersedes"), "statement": ("entry",)}
"""Columns that point to an entry of the row's own site, in the form that is cut."""

_INDEXES = {
    "job": (
        ("ix_job_asset_id_performed_us", False, ("asset_id", "performed_us"), None),
        ("uq_job_site_id_ref", True, ("site_id", "ref"), "supersedes IS NULL"),
        ("uq_job_supersedes", True, ("supersedes",), "supersedes IS NOT NULL"),
        ("ix_job_instrument_id", False, ("instrument_id",), "instrument_id IS NOT NULL"),
        ("ix_job_person_id", False, ("person_id",), "person_id IS NOT NULL"),
    ),
    "statement": (),
}
"""Indexes by name: unique or not, columns, and for which rows."""


def upgrade() -> None:
    """Cut the tables on PostgreSQL; SQLite has nothing to do."""
    if op.get_bind().dialect.name != "postgresql":
        return
    _lock()
    _run("ALTER TABLE entry ADD CONSTRAINT uq_entry_number_site_id UNIQUE (number, site_id)")
    sites = [row[0] for row in op.get_bind().execute(sa.text("SELECT id FROM site ORDER BY id"))]
    for table in TABLES:
        rights = _rights(table)
        guards.drop(table)
        _run(f"ALTER TABLE {table} RENAME TO {table}_before")
        _run(f"CREATE TABLE {table} (LIKE {table}_before INCLUDING CONSTRAINTS) PARTITION BY LIST (site_id)")
        _run(f"CREATE TABLE {table}_default PARTITION OF {table} DEFAULT")
        for site in sites:
            _run(f"CREATE TABLE {table}_site_{site} PARTITION OF {table} FOR VALUES IN ({site})")
        _fill(table, f"{table}_before")
        _finish(table, "entry, site_id", cut=True)
        names = [table, f"{table}_default", *(f"{table}_site_{site}" for site in sites)]
        for name in names:
            guards.create(name, [])
        _restore(rights, names)


def downgrade() -> None:
    """Put the rows back into plain tables."""
    if op.get_bind().dialect.name != "postgresql":
        return
    _lock()
    for table in TABLES:
        rights = _rights(table)
        guards.drop(table)
        _run(f"ALTER TABLE {table} RENAME TO {table}_before")
        _run(f"CREATE TABLE {table} (LIKE {table}_before INCLUDING CONSTRAINTS)")
        _fill(table, f"{table}_before")
        _finish(table, "entry", cut=False)
        guards.create(table, [])
        _restore(rights, [table])
    _run("ALTER TABLE entry DROP CONSTRAINT uq_entry_number_site_id")


def _run(statement: str) -> None:
    op.execute(sa.text(statement))


def _lock() -> None:
    """Keep everybody off before anything is looked at: nobody may write between the copy and the commit."""
    _run("LOCK TABLE entry, job, statement IN ACCESS EXCLUSIVE MODE")


def _fill(table: str, source: str) -> None:
    """Copy all rows and drop where they came from, once as many are there as were.

    Keys, indexes and references are made afterwards: they are then built at once and not row by row.
    """
    _run(f"INSERT INTO {table} SELECT * FROM {source} ORDER BY entry")  # noqa: S608 - our own names
    counts = [
        op.get_bind().execute(sa.text(f"SELECT count(*) FROM {name}")).scalar()  # noqa: S608 - our own names
        for name in (source, table)
    ]
    if counts[0] != counts[1]:
        raise RuntimeError(f"{table}: of {counts[0]} rows {counts[1]} arrived; nothing was changed")
    _run(f"DROP TABLE {source}")


def _finish(table: str, key: str, *, cut: bool) -> None:
    _run(f"ALTER TABLE {table} ADD CONSTRAINT pk_{table} PRIMARY KEY ({key})")
    for name, unique, columns, where in _INDEXES[table]:
        # A unique index of a table that is cut has to hold the site.
        held = (*columns, "site_id") if cut and unique and "site_id" not in columns else columns
        given = None if where is None else sa.text(where)
        op.create_index(name, table, list(held), unique=unique, postgresql_where=given)
    for column, target, of in _POINTS[table]:
        _point(table, column, column, target, of)
    if not cut:
        _point(table, "entry", "entry", "entry", "number")
        return
    for column in _OWN[table]:
        _point(table, f"{column}_site_id", f"{column}, site_id", "entry", "number, site_id")


def _point(table: str, name: str, columns: str, target: str, of: str) -> None:
    _run(
        f"ALTER TABLE {table} ADD CONSTRAINT fk_{table}_{name}_{target} "
        f"FOREIGN KEY ({columns}) REFERENCES {target} ({of}) ON DELETE RESTRICT"
    )


def _rights(table: str) -> list[str]:
    """Give the statements that set owner and rights again: a new table begins with none."""
    statements = []
    asked = (
        "SELECT pg_get_userbyid(c.relowner) <> current_user, quote_ident(pg_get_userbyid(c.relowner)) "
        "FROM pg_class c WHERE c.oid = CAST(:of AS regclass)"
    )
    foreign, owner = op.get_bind().execute(sa.text(asked), {"of": table}).one()
    if foreign:
        statements.append(f"ALTER TABLE {{table}} OWNER TO {owner}")
    given = (
        "SELECT a.privilege_type, CASE WHEN a.grantee = 0 THEN 'PUBLIC' ELSE quote_ident(pg_get_userbyid(a.grantee)) END, "
        "a.is_grantable FROM pg_class c, aclexplode(c.relacl) a WHERE c.oid = CAST(:of AS regclass) "
        "AND a.grantee <> c.relowner ORDER BY 2, 1"
    )
    for right, role, passes_on in op.get_bind().execute(sa.text(given), {"of": table}):
        statements.append(f"GRANT {right} ON {{table}} TO {role}{' WITH GRANT OPTION' if passes_on else ''}")
    return statements


def _restore(rights: list[str], names: list[str]) -> None:
    """Set the owner of all parts, and rights on the whole table only: whoever asks the whole needs none on its parts."""
    for statement in rights:
        for name in names if statement.startswith("ALTER") else names[:1]:
            _run(statement.format(table=name))
