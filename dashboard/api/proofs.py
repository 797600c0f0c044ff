"""What an auditor's program reads: entries with their statements, heads of the tree, and proofs over it."""

from __future__ import annotations

import base64
from typing import Any

from dashboard.api.asking import Asked
from dashboard.api.problems import ProblemError
from dashboard.api.reads import Given, not_found
from dashboard.api.shown import entry_line
from models.store.as_written import differences_in
from models.store.proofs import Head
from models.store.tree_proofs import head_of, newest_heads, statement_of
from models.values.entry import EntryFilter, EntryLine
from models.values.kinds import Kind


def entries(asked: Asked) -> Given:
    """Give entries, the newest first."""
    given = asked.given
    kind = given["kind"]
    wanted = EntryFilter(
        tag=given["tag"] or "",
        person=given["person"] or "",
        instrument=given["instrument"] or "",
        ref=given["ref"] or "",
        kind=None if kind is None else Kind(kind),
    )
    book = asked.here.book
    page = book.entries(asked.site.site_id, wanted, before=given["before"], most=given["limit"])
    onward = {"before": page.lines[-1].number} if page.older and page.lines else {}
    return Given({"items": [entry_line(line) for line in page.lines], "head": book.head()}, onward)


def _line(asked: Asked, number: int) -> EntryLine:
    page = asked.here.book.entries(asked.site.site_id, EntryFilter(), before=number + 1, most=1)
    found = next((line for line in page.lines if line.number == number), None)
    if found is None:
        raise not_found(f"The site {asked.site.name} has no entry {number}.")
    return found


def entry(asked: Asked) -> Given:
    """Give one entry with its statement."""
    line = _line(asked, asked.given["number"])
    with asked.engine.connect() as connection:
        held, parted = (
            statement_of(connection, line.number),
            differences_in(connection, asked.site.site_id, line.number),
        )
    statement = None if held is None else {"text": held[0], "leaf": held[1].hex()}
    differences = [
        {
            "fault": str(one.fault),
            "table": one.table,
            "column": one.column or None,
            "row": one.found,
            "statement": one.said,
        }
        for one in parted
    ]
    return Given({"entry": entry_line(line), "statement": statement, "differences": differences})


def _head(head: Head) -> dict[str, Any]:
    return {
        "size": head.size,
        "root": head.root.hex(),
        "signed": head.signature is not None,
        "note": head.note,
        "origin": head.origin,
        "public_key": None if head.key is None else base64.b64encode(head.key.public_key).decode(),
    }


def heads(asked: Asked) -> Given:
    """Give kept heads, the newest first."""
    limit = asked.given["limit"]
    with asked.engine.connect() as connection:
        found = newest_heads(connection, limit + 1, asked.given["before"])
    onward = {"before": found[limit - 1].size} if len(found) > limit else {}
    return Given({"items": [_head(one) for one in found[:limit]]}, onward)


def _kept(asked: Asked, size: int | None) -> Head:
    with asked.engine.connect() as connection:
        found = head_of(connection, size)
    if found is None:
        raise not_found("The book keeps no head yet." if size is None else f"The book keeps no head of {size} entries.")
    return found


def head(asked: Asked) -> Given:
    """Give one kept head."""
    return Given(_head(_kept(asked, asked.given["size"])))


def inclusion(asked: Asked) -> Given:
    """Give the proof that an entry is in the tree of a head."""
    number = _line(asked, asked.given["number"]).number
    kept = _kept(asked, asked.given["size"])
    if number > kept.size:
        where = {"parameter": "size", "detail": f"The head of {kept.size} entries is older than entry {number}."}
        raise ProblemError(
            422, "not-valid", "The entry came after the head.", remedy="Ask for a newer head.", errors=[where]
        )
    with asked.engine.connect() as connection:
        leaf, hashes = asked.tree.inclusion(connection, number, kept)
    return Given(
        {
            "entry": number, "index": number - 1, "size": kept.size, "leaf": leaf.hex(), "root": kept.root.hex(),
            "hashes": [one.hex() for one in hashes],
        }
    )  # fmt: skip


def consistency(asked: Asked) -> Given:
    """Give the proof that an older head is the beginning of this one."""
    newer, older = _kept(asked, asked.given["size"]), _kept(asked, asked.given["from"])
    if older.size > newer.size:
        where = {"parameter": "from", "detail": f"The head of {older.size} entries is newer than that of {newer.size}."}
        raise ProblemError(422, "not-valid", "The older head is the newer one.", remedy="Swap them.", errors=[where])
    with asked.engine.connect() as connection:
        hashes = asked.tree.consistency(connection, older, newer)
    return Given(
        {
            "from": older.size, "size": newer.size, "root_from": older.root.hex(), "root": newer.root.hex(),
            "hashes": [one.hex() for one in hashes],
        }
    )  # fmt: skip
