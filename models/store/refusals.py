"""What a database server that answers says when it lets nobody in, told as what a person can mend.

The client library gives such answers no code of their own, only words; what a server of version 15 says was tried.
What is worded otherwise is told as a server that does not answer, with the words themselves.
"""

from __future__ import annotations

import re
from typing import Final

from models.errors import BookCrowdedError, BookStateError, BookUnreachableError
from models.settings import ESCAPED

_NOTHING = "Nothing half-done is in the book."

_WORDS: Final = (
    (
        re.compile(r"no password supplied|authentication failed|role \"[^\"]*\" does not exist|no pg_hba\.conf entry"),
        "The database server of the book answers, and refuses this login",
        f"Check the user of the address and the password: in the address, in PGPASSWORD or in ~/.pgpass. {ESCAPED}",
    ),
    (
        re.compile(r"database \"[^\"]*\" does not exist"),
        "The database server of the book answers, and has no such database",
        "Check the name behind the host in the address; without one it is that of the user. Only its server makes a database (createdb).",
    ),
    (
        re.compile(r"invalid sslmode|does not support SSL|SSL was required|certificate"),
        "The encryption that was asked for does not come about with the database server of the book",
        "Check sslmode and sslrootcert in the address, or PGSSLMODE and PGSSLROOTCERT.",
    ),
    (
        re.compile(r"resolve host|translate host name|Name or service not known"),
        "The host of the book's address is not known",
        f"Check the address. {ESCAPED}",
    ),
)
"""Words of the answer, what they mean, and what to do."""

_CROWDED: Final = re.compile(r"too many connections|too many clients|connection slots are reserved")


def refused_by(said: str) -> BookStateError | None:
    """Give what an answer means; ``None`` where it is none of those that are known.

    Parameters
    ----------
    said : str
        The first line of what the client library says. [unitless]
    """
    if _CROWDED.search(said):
        return BookCrowdedError(
            f"The database server of the book answers, and takes no more connections: {said}.",
            remedy=f"{_NOTHING} Each process takes up to DRIFTBOOK_POOL_SIZE + DRIFTBOOK_POOL_EXTRA connections (8 + 4 is the rule), and a "
            "command one or two. All processes together need fewer than the server, the database and the role allow (max_connections, "
            "CONNECTION LIMIT): lower the first, or raise the others.",
        )
    for words, means, remedy in _WORDS:
        if words.search(said):
            return BookUnreachableError(f"{means}: {said}.", remedy=f"{_NOTHING} {remedy}")
    return None
