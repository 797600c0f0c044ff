"""Verification of tables, indexes and guards on PostgreSQL, from the server's own catalogue."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import sqlalchemy as sa

from models.errors import BookDamagedError
from models.ledger.findings import Fault, Finding, shown
from models.store.partitions import parts_of
from models.tables.every import HISTORY, STATE
from models.tables.partitions import PARTITIONED, on_postgresql
from models.tables.references import POINTERS, body
from models.tables.state import SignInRow

_REFUSAL = "is history: it is amended by a new entry, never changed or deleted"

GUARDED = (*HISTORY, SignInRow.__tablename__)
"""Tables that refuse changes: the history, and the log of sign-ins beside it."""

TABLES = (*HISTORY, *(mapped.__tablename__ for mapped in STATE))
"""All tables of a book."""

# PostgreSQL makes triggers of its own for foreign keys, and only those are left out: the mark alone can be set by hand.
_TRIGGERS = (
    "SELECT c.relname, t.tgname, t.tgenabled, t.tgtype, p.prosrc, t.tgqual IS NULL, t.tgnewtable, "
    "p.proconfig[1] = 'search_path=' || quote_ident(current_schema()) || ', pg_temp' FROM pg_trigger t "
    "JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid "
    "WHERE NOT (t.tgisinternal AND p.pronamespace = 'pg_catalog'::regnamespace AND starts_with(p.proname, 'RI_FKey_')) "
    "AND c.relnamespace = quote_ident(current_schema())::regnamespace ORDER BY 1, 2"
)

_TABLES = (
    "SELECT c.relname, c.relkind IN ('r', 'p'), c.relrowsecurity OR c.relforcerowsecurity, "
    "COALESCE(to_regclass(quote_ident(c.relname)) = c.oid, FALSE) "
    "FROM pg_class c WHERE c.relnamespace = quote_ident(current_schema())::regnamespace AND c.relkind IN ('r', 'p', 'v', 'm', 'f')"
)

_RULES = (
    "SELECT c.relname, r.rulename FROM pg_rewrite r JOIN pg_class c ON c.oid = r.ev_class "
    "WHERE c.relnamespace = quote_ident(current_schema())::regnamespace AND c.relkind IN ('r', 'p') ORDER BY 1, 2"
)

_HEIRS = (
    "SELECT p.relname, c.relname FROM pg_inherits i JOIN pg_class p ON p.oid = i.inhparent "
    "JOIN pg_class c ON c.oid = i.inhrelid WHERE p.relnamespace = quote_ident(current_schema())::regnamespace "
    "AND p.relkind = 'r' ORDER BY 1, 2"
)

_INDEXES = (
    "SELECT c.relname, i.relname, w.relname, x.indisunique, x.indisvalid AND x.indisready AND x.indislive, "
    "pg_get_indexdef(x.indexrelid) FROM pg_index x JOIN pg_class i ON i.oid = x.indexrelid "
    "JOIN pg_class c ON c.oid = x.indrelid LEFT JOIN pg_inherits h ON h.inhrelid = i.oid "
    "LEFT JOIN pg_class w ON w.oid = h.inhparent WHERE c.relnamespace = quote_ident(current_schema())::regnamespace ORDER BY 1, 2"
)

_CHECKER = (
    "SELECT quote_ident(n.nspname) FROM pg_extension e JOIN pg_namespace n ON n.oid = e.extnamespace "
    "JOIN pg_proc p ON p.pronamespace = n.oid AND p.proname = 'bt_index_check' AND p.pronargs = 2 "
    "WHERE e.extname = 'amcheck' AND has_function_privilege(p.oid, 'EXECUTE')"
)


def server_findings(connection: sa.Connection) -> Iterator[Finding]:
    """Give the tables, indexes and triggers that are missing, altered, off, or not of the tool's making.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book on a server. [unitless]
    """
    named: dict[str, list[str]] = {table: [table] for table in TABLES}
    # A part of a table that is cut by site can be named by itself: it needs guards and indexes of its own.
    for whole, part in sorted(parts_of(connection)):
        named.setdefault(whole, []).append(part)
    whole_of = {name: whole for whole, names in named.items() for name in names}
    yield from _tables(connection, whole_of)
    yield from _triggers(connection, named, whole_of)
    yield from _indexes(connection, whole_of)


def _tables(connection: sa.Connection, whole_of: dict[str, str]) -> Iterator[Finding]:
    found = {row[0]: row[1:] for row in connection.exec_driver_sql(_TABLES)}
    for name in whole_of:
        plain, hides, first = found.get(name, (False, False, False))
        if not plain or not first:
            yield Finding(Fault.SHAPE, None, name, found=name)
        if hides:
            yield Finding(Fault.FOREIGN, None, name, found="row security")
    for name, rule in connection.exec_driver_sql(_RULES):
        if name in whole_of:
            yield Finding(Fault.FOREIGN, None, name, found=shown(f"rule {rule}"))
    for name, heir in connection.exec_driver_sql(_HEIRS):
        if name in whole_of:
            yield Finding(Fault.FOREIGN, None, name, found=shown(f"table {heir}"))


_BEFORE_STATEMENT, _INSERT, _DELETE, _UPDATE, _TRUNCATE = 2, 4, 8, 16, 32
"""Bits of ``pg_trigger.tgtype`` (PostgreSQL's own headers); a trigger for each statement lacks the first bit."""


def _triggers(connection: sa.Connection, named: dict[str, list[str]], whole_of: dict[str, str]) -> Iterator[Finding]:
    wanted = _BEFORE_STATEMENT | _DELETE | _UPDATE | _TRUNCATE
    needed = {(name, f"guard_{name}"): table for table in GUARDED for name in named[table]}
    needed |= {(name, f"refer_{name}"): table for table in POINTERS for name in named[table]}
    held, foreign = set(), []
    # Of a database or role that is set to be a replica none fires but those that are marked for it; only a superuser sets that.
    role = connection.exec_driver_sql("SELECT current_setting('session_replication_role')").scalar()
    fires = {"R", "A"} if role == "replica" else {"O", "A"}
    for table, name, enabled, kind, source, always, rows, own_tables in connection.exec_driver_sql(_TRIGGERS):
        refuses = re.fullmatch(
            r"BEGIN RAISE EXCEPTION '% (.*)', TG_TABLE_NAME USING ERRCODE = 'restrict_violation'; END",
            " ".join(str(source).split()),
        )
        switched_on = _text(enabled) in fires
        if (table, name) not in needed:
            foreign += [(table, name)] if table in whole_of else []
        elif name.startswith("guard_"):
            fits = kind & wanted == wanted and not kind & 1 and refuses and refuses[1] == _REFUSAL
            held |= {(table, name)} if switched_on and always and fits else set()
        elif switched_on and always and kind == _INSERT and rows == "new_rows" and own_tables:
            held |= {(table, name)} if source == body(needed[table, name]) else set()
    for (table, name), whole in needed.items():
        if (table, name) not in held:
            yield Finding(Fault.GUARD, None, whole, found=name)
    for table, name in foreign:
        yield Finding(Fault.FOREIGN, None, table, found=shown(f"trigger {name}"))


def _text(value: Any) -> str:
    return value.decode() if isinstance(value, bytes) else str(value)


@cache
def _as_made() -> dict[str, dict[str, str]]:
    """Give, by table, the indexes as the migrations make them: their names, and what the server says of each."""
    made: dict[str, dict[str, str]] = {}
    for table in on_postgresql().tables.values():
        keys = [c for c in table.constraints if isinstance(c, sa.PrimaryKeyConstraint | sa.UniqueConstraint)]
        of = {str(c.name): _definition([column.name for column in c.columns], unique=True) for c in keys}
        for index in table.indexes:
            where = index.dialect_options["postgresql"]["where"]
            names = [column.name for column in index.columns]
            of[str(index.name)] = _definition(
                names, unique=bool(index.unique), where="" if where is None else str(where)
            )
        made[table.name] = of
    return made


def _definition(columns: list[str], *, unique: bool, where: str = "") -> str:
    """Write an index as the server does, but for its own name and that of its table."""
    return f"{'UNIQUE ' if unique else ''}btree ({', '.join(columns)})" + (f" WHERE ({where})" if where else "")


def _indexes(connection: sa.Connection, whole_of: dict[str, str]) -> Iterator[Finding]:
    made = _as_made()
    lacking = {name: dict(made[whole]) for name, whole in whole_of.items()}
    foreign = []
    for table, own, above, unique, usable, text in connection.exec_driver_sql(_INDEXES):
        if table not in whole_of:
            continue
        name = own if table == whole_of[table] else above  # that of a part belongs to one of the whole
        wanted = made[whole_of[table]].get(name or "")
        if wanted is None:
            foreign.append((table, own))
        elif usable and f"{'UNIQUE ' if unique else ''}{text.partition(' USING ')[2]}" == wanted:
            lacking[table].pop(name, None)
    for table, names in lacking.items():
        for name in names:
            yield Finding(Fault.INDEX, None, table, found=name)
    for table, name in foreign:
        yield Finding(Fault.FOREIGN, None, table, found=shown(f"index {name}"))


def index_row_findings(connection: sa.Connection) -> tuple[list[Finding], bool]:
    """Hold the indexes against the rows where the server has the means for it (its extension amcheck).

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book on a server. [unitless]

    Returns
    -------
    tuple of list of Finding and bool
        What does not fit, and whether it was looked at.
    """
    schema = connection.exec_driver_sql(_CHECKER).scalar()
    if schema is None:
        return [], False
    wholes = {*TABLES, *(part for _, part in parts_of(connection))} - set(PARTITIONED)
    asked = (
        "SELECT c.relname, i.relname, x.indexrelid FROM pg_index x JOIN pg_class i ON i.oid = x.indexrelid "
        "JOIN pg_class c ON c.oid = x.indrelid WHERE c.relnamespace = quote_ident(current_schema())::regnamespace "
        "AND x.indisvalid AND x.indisready ORDER BY 1, 2"
    )
    found = []
    for table, name, number in connection.exec_driver_sql(asked).all():
        if table not in wholes:
            continue
        try:
            with connection.begin_nested():
                connection.exec_driver_sql(f"SELECT {schema}.bt_index_check({number:d}::regclass, TRUE)")
        except BookDamagedError:
            found.append(Finding(Fault.INDEX_ROW, None, table, found=name))
    return found, True
