"""On PostgreSQL what the rows of the three long tables point to is looked up once for all rows of a statement.

Why: a foreign key looks up row by row, and of a large import that was half of what the server did.  History is never changed
or deleted, so one look is enough, when rows come in: a trigger of the statement does it for all of its rows, and refuses with
the SQLSTATE and the name of the foreign key that it takes the place of.  That the site of a job or a statement exists is said
by its entry, which is of the same site.
Existing rows: stay as they are; their foreign keys held until now.
On SQLite nothing changes.
Downgrade: makes the foreign keys again, which looks at every row; nothing is lost.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004_references_by_set"
down_revision = "0003_parts_by_site"
branch_labels = None
depends_on = None

POINTERS = {
    "entry": (("site_id", "site", "id", False, False),),
    "job": (
        ("entry", "entry", "number", True, False),
        ("supersedes", "entry", "number", True, True),
        ("asset_id", "asset", "id", False, False),
        ("limit_entry", "limit_version", "entry", False, True),
        ("person_id", "person", "id", False, True),
        ("instrument_id", "instrument", "id", False, True),
    ),
    "statement": (("entry", "entry", "number", True, False),),
}
"""By table: column, table and key that it points to, whether only within the row's site, whether it may be NULL."""

SITES = ("job", "statement")
"""Tables whose site had a foreign key of its own; it is that of their entry."""

SETTINGS = ("enable_bitmapscan", "enable_hashjoin", "enable_mergejoin", "enable_seqscan", "jit")


def upgrade() -> None:
    """Put the triggers in the place of the foreign keys on PostgreSQL; SQLite has nothing to do."""
    if op.get_bind().dialect.name != "postgresql":
        return
    _lock()
    schema = op.get_bind().execute(sa.text("SELECT quote_ident(current_schema())")).scalar_one()
    for table, pointers in POINTERS.items():
        _run(_function(table, schema))
        for name in (table, *_parts(table)):
            _run(
                f"CREATE TRIGGER refer_{name} AFTER INSERT ON {name} REFERENCING NEW TABLE AS new_rows "
                f"FOR EACH STATEMENT EXECUTE FUNCTION refer_{table}()"
            )
        for column, target, key, of_site, _ in pointers:
            _run(f"ALTER TABLE {table} DROP CONSTRAINT {_constraint(table, column, target, of_site=of_site)}")
            same = " of the same site" if of_site else ""
            op.alter_column(table, column, comment=f"points to {target}.{key}{same}")
    for table in SITES:
        _run(f"ALTER TABLE {table} DROP CONSTRAINT fk_{table}_site_id_site")


def downgrade() -> None:
    """Make the foreign keys again."""
    if op.get_bind().dialect.name != "postgresql":
        return
    _lock()
    for table, pointers in POINTERS.items():
        for column, target, key, of_site, _ in pointers:
            own, other = (f"{column}, site_id", f"{key}, site_id") if of_site else (column, key)
            _point(table, _constraint(table, column, target, of_site=of_site), own, target, other)
            op.alter_column(table, column, comment=None)
        for name in (table, *_parts(table)):
            _run(f"DROP TRIGGER refer_{name} ON {name}")
        _run(f"DROP FUNCTION refer_{table}()")
    for table in SITES:
        _point(table, f"fk_{table}_site_id_site", "site_id", "site", "id")


def _run(statement: str) -> None:
    op.execute(sa.text(statement))


def _lock() -> None:
    """Keep everybody off before anything is looked at: nobody may write between one way of looking and the other."""
    _run("LOCK TABLE entry, job, statement IN ACCESS EXCLUSIVE MODE")


def _parts(table: str) -> list[str]:
    asked = "SELECT c.relname FROM pg_inherits JOIN pg_class c ON c.oid = inhrelid WHERE inhparent = CAST(:of AS regclass) ORDER BY 1"
    return list(op.get_bind().execute(sa.text(asked), {"of": table}).scalars())


def _constraint(table: str, column: str, target: str, *, of_site: bool) -> str:
    return f"fk_{table}_{column}{'_site_id' if of_site else ''}_{target}"


def _point(table: str, name: str, own: str, target: str, other: str) -> None:
    _run(
        f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY ({own}) REFERENCES {target} ({other}) ON DELETE RESTRICT"
    )


def _function(table: str, schema: str) -> str:
    """Write the function that looks up what new rows point to, each by its key, and names the first that points nowhere."""
    joins, cases, lost = [], [], []
    for place, (column, target, key, of_site, nullable) in enumerate(POINTERS[table], start=1):
        to, new = f"t{place}.{key}", f"n.{column}"
        # Written so that no index on the site can be taken for it.
        same = f" AND t{place}.site_id IS NOT DISTINCT FROM n.site_id" if of_site else ""
        joins.append(f"    LEFT JOIN {target} t{place} ON {to} = {new}{same}")
        gone = f"{to} IS NULL" + (f" AND {new} IS NOT NULL" if nullable else "")
        names, values = (f"{column}, site_id", f"{new}, n.site_id") if of_site else (column, new)
        said = f"format('({names})=({', '.join(['%s'] * (1 + of_site))})', {values})"
        name = _constraint(table, column, target, of_site=of_site)
        cases.append(f"        WHEN {gone} THEN ARRAY['{name}', '{target}', {said}]")
        lost.append(f"({gone})")
    lines = [
        "",
        "DECLARE lost text[];",
        "BEGIN",
        "    SELECT CASE",
        *cases,
        "    END INTO lost FROM new_rows n",
        *joins,
        f"    WHERE {' OR '.join(lost)} LIMIT 1;",
        "    IF lost IS NOT NULL THEN",
        '        RAISE EXCEPTION \'insert or update on table "%" violates foreign key constraint "%"\', TG_TABLE_NAME, lost[1]',
        "            USING ERRCODE = 'foreign_key_violation',",
        "            DETAIL = format('Key %s is not present in table \"%s\".', lost[3], lost[2]),",
        "            SCHEMA = TG_TABLE_SCHEMA, TABLE = TG_TABLE_NAME, CONSTRAINT = lost[1];",
        "    END IF;",
        "    RETURN NULL;",
        "END ",
    ]
    settings = " ".join(f"SET {name} = off" for name in SETTINGS)
    return (
        f"CREATE FUNCTION refer_{table}() RETURNS trigger LANGUAGE plpgsql SET search_path = {schema}, pg_temp "
        f"{settings} AS $${chr(10).join(lines)}$$"
    )
