"""What our connections to a database server set for themselves: what is read and compared must not hang on who set up the server.

A server, a database and a role may each have settings of their own, and an old
configuration goes on for decades.  Those named here change what a text says, not
how quickly it comes; of types whose form such a setting gives (moments, intervals) the book has none,
and the driver takes bytes in either form.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Any, Final

import sqlalchemy as sa

from models.errors import DriftbookError
from models.settings import Settings

SET: Final = MappingProxyType({
    "extra_float_digits": "3",  # 15 digits are not the number that was stored, and look altered
    "client_encoding": "UTF8",  # any other lacks letters that the book holds
    "standard_conforming_strings": "on",  # off turns the NULL of our COPY into the letter N
    "quote_all_identifiers": "off",  # definitions of indexes are compared as texts
    "default_transaction_isolation": "read committed",  # behind the writers' lock the last number is read as it is then
})  # fmt: skip
"""Name and value; every role may set them, so no login fails by it."""

_READS_ONLY: Final = "default_transaction_read_only"


def keep_settings(engine: sa.Engine, *, reads_only: bool = False) -> None:
    """Let each connection of an engine set what it rests on, before anything is asked of it.

    By a statement and not among the options of the login: these would take the place of those in the address
    (``?options=…``, by which a schema is named), and not everything between us and a server passes them on.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The engine of a book on PostgreSQL. [unitless]
    reads_only : bool
        Refuse writing, whatever answers there. [unitless]
    """
    named = {**SET, _READS_ONLY: "on"} if reads_only else SET
    asked = "SELECT " + ", ".join(f"set_config('{name}', '{value}', FALSE)" for name, value in named.items())

    # The first of all that hear of a new connection: SQLAlchemy asks it how texts are written, and keeps the answer.
    @sa.event.listens_for(engine, "connect", insert=True)
    def _set(connection: Any, _record: sa.pool.ConnectionPoolEntry) -> None:
        connection.autocommit = True  # a transaction that is taken back would take the settings with it
        connection.execute(asked)
        connection.autocommit = False


UTF8: Final = "createdb -E UTF8 -T template0 --owner OWNER NAME"
"""How a database is made that holds every letter."""


def check_encoding(engine: sa.Engine, settings: Settings) -> None:
    """Refuse a database for a new book that does not hold every letter; a file does.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The engine of the book that is to be. [unitless]
    settings : Settings
        Where it is to be. [unitless]

    Raises
    ------
    DriftbookError
        If its encoding is not UTF-8.
    """
    if engine.dialect.name != "postgresql":
        return
    with engine.connect() as connection:
        encoding = connection.exec_driver_sql("SELECT current_setting('server_encoding')").scalar()
    if encoding != "UTF8":
        raise DriftbookError(
            f"The database of {settings.shown} is in the encoding {encoding}, which does not hold every letter that a book may hold: no book was made.",
            remedy=f"Let the administrator of the server make one in UTF-8: {UTF8}",
        )
