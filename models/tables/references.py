"""What the rows of the three long tables point to on PostgreSQL, looked up for all new rows of a statement at once.

A foreign key looks up row by row, and of a large import that was half of what the server
did.  A row of history never changes and what it points to is never deleted: guards refuse
both.  So it is enough to look once, when rows come in.  A trigger of the statement does it
for all of its rows, and refuses as a foreign key would: same SQLSTATE, name and words.

Each row is looked up by the key of what it points to, whatever the planner thought of the
tables when they were small.  That the site of a job or a statement exists is said by its
entry: a row points to an entry *of its own site*.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Pointer:
    """A column that points to the key of a table; with ``of_site`` only to a row of the same site."""

    column: str
    table: str
    key: str
    of_site: bool = False
    nullable: bool = False

    def constraint(self, table: str) -> str:
        """Give the name under which it is refused."""
        return f"fk_{table}_{self.column}{'_site_id' if self.of_site else ''}_{self.table}"

    @property
    def meaning(self) -> str:
        """Say what it points to, for whoever reads the tables."""
        return f"points to {self.table}.{self.key}{' of the same site' if self.of_site else ''}"


POINTERS: Final[dict[str, tuple[Pointer, ...]]] = {
    "entry": (Pointer("site_id", "site", "id"),),
    "job": (
        Pointer("entry", "entry", "number", of_site=True),
        Pointer("supersedes", "entry", "number", of_site=True, nullable=True),
        Pointer("asset_id", "asset", "id"),
        Pointer("limit_entry", "limit_version", "entry", nullable=True),
        Pointer("person_id", "person", "id", nullable=True),
        Pointer("instrument_id", "instrument", "id", nullable=True),
    ),
    "statement": (Pointer("entry", "entry", "number", of_site=True),),
}
"""The long tables, and what their columns point to."""

SETTINGS: Final = ("enable_bitmapscan", "enable_hashjoin", "enable_mergejoin", "enable_seqscan", "jit")
"""Ways of the planner that are no way to look up some rows by their keys; whatever it once planned is kept for a session."""


def body(table: str) -> str:
    """Give the body of the function that looks up what new rows of a table point to.

    Parameters
    ----------
    table : str
        One of :data:`POINTERS`. [unitless]
    """
    joins, cases, lost = [], [], []
    for place, pointer in enumerate(POINTERS[table], start=1):
        to, new = f"t{place}.{pointer.key}", f"n.{pointer.column}"
        # Written so that no index on the site can be taken for it.
        same = f" AND t{place}.site_id IS NOT DISTINCT FROM n.site_id" if pointer.of_site else ""
        joins.append(f"    LEFT JOIN {pointer.table} t{place} ON {to} = {new}{same}")
        gone = f"{to} IS NULL" + (f" AND {new} IS NOT NULL" if pointer.nullable else "")
        key = (
            f"format('({pointer.column}, site_id)=(%s, %s)', {new}, n.site_id)"
            if pointer.of_site
            else f"format('({pointer.column})=(%s)', {new})"
        )
        cases.append(f"        WHEN {gone} THEN ARRAY['{pointer.constraint(table)}', '{pointer.table}', {key}]")
        lost.append(f"({gone})")
    return "\n".join(
        [
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
    )


def function(table: str, schema: str) -> str:
    """Give the statement that makes the function of a table.

    Parameters
    ----------
    table : str
        One of :data:`POINTERS`. [unitless]
    schema : str
        Where the tables are, as an identifier; a temporary table of the same name must not stand before them. [unitless]
    """
    settings = " ".join(f"SET {name} = off" for name in SETTINGS)
    return (
        f"CREATE FUNCTION refer_{table}() RETURNS trigger LANGUAGE plpgsql SET search_path = {schema}, pg_temp "
        f"{settings} AS $${body(table)}$$"
    )


def trigger(table: str, on: str | None = None) -> str:
    """Give the statement that makes the trigger of a table, or of one of its parts.

    Parameters
    ----------
    table : str
        One of :data:`POINTERS`. [unitless]
    on : str, optional
        Its part; the trigger of the whole table speaks for statements that name the whole table only. [unitless]
    """
    name = on or table
    return (
        f"CREATE TRIGGER refer_{name} AFTER INSERT ON {name} REFERENCING NEW TABLE AS new_rows "
        f"FOR EACH STATEMENT EXECUTE FUNCTION refer_{table}()"
    )
