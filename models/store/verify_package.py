"""Verification of a package against the book of which it is: what it leaves out, and where it says otherwise.

A package can show by itself that what it holds is in the tree of its head, never that it holds all: only the book knows
what else there is.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from models.errors import DriftbookError
from models.ledger import package_verifier as form
from models.ledger.tree import Frontier
from models.store.audit_package import verifier
from models.store.package_entries import entries_of, job_versions, records_of
from models.store.proofs import last_head, read_keys
from models.tables.book import EntryRow
from models.tables.machines import AssetVersionRow
from models.tables.proofs import StatementRow

_AT_ONCE: Final = 500
_LARGEST: Final = 1 << 63
"""Numbers of sites and entries are below it; a database refuses to be asked for larger ones. [unitless]"""


@dataclass(frozen=True, slots=True)
class Named:
    """An entry of the book: its number, its kind, and who wrote it."""

    number: int
    kind: str
    author: str


@dataclass(frozen=True, slots=True)
class PackageSeen:
    """What a package holds, held against the book.

    ``refused`` says why it does not fit in itself or is of no such machine; then nothing else was looked at.  ``other`` are the
    entries that say otherwise than the book, ``strange`` those that are the book's and not of this machine, ``left_out`` those
    that the book has up to the package's head and the package has not, ``newer`` how many came since.  ``unsigned`` is what no
    key vouches for, and ``replaced`` the entry that replaced the key that signed it: what that key signs today, anybody may have made
    who had it. ``other_version`` says that another version
    of the program made it, by the verifier that lies in it: older ones packed less.
    """

    tag: str = ""
    size: int = 0
    entries: int = 0
    refused: str = ""
    root_fits: bool = False
    other: tuple[int, ...] = ()
    strange: tuple[Named, ...] = ()
    left_out: tuple[Named, ...] = ()
    newer: int = 0
    unsigned: tuple[str, ...] = ()
    other_version: bool = False
    replaced: int | None = None

    @property
    def fits(self) -> bool:
        """Tell whether it says all that the book says of the machine up to its head, and nothing else, and who vouches for it still does."""
        told = self.other or self.strange or self.left_out or self.unsigned
        return not (self.refused or told or self.replaced) and self.root_fits


def look_at_package(connection: sa.Connection, archive: bytes) -> PackageSeen:
    """Hold a package against the book.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection to the book that sees one state of it; nothing is written. [unitless]
    archive : bytes
        The package, as somebody handed it over. [unitless]
    """
    try:
        checked = form.check(archive)
        files = form.files_of(archive)
        listed = json.loads(files[form.MANIFEST].decode().split("\n")[1])
        tag, site, asset = str(listed["tag"]), int(listed["site"]), int(listed["asset"])
        head = form.head_of(files[form.HEAD])
        lines = files[form.STATEMENTS].splitlines()
    except form.RefusedError as fault:
        return PackageSeen(refused=f"{fault}.")
    except Exception as fault:  # noqa: BLE001 - a package may hold anything; the book is not asked here
        return PackageSeen(refused=f"Something in it cannot be read ({type(fault).__name__}).")
    newest = last_head(connection)
    if newest is None:
        raise DriftbookError("The book has no head yet, so nothing can be compared.", remedy="Type: driftbook upgrade")
    if head.origin != newest.origin:
        return PackageSeen(
            tag, head.size, refused=f"It is of another book: {head.origin}; this one is {newest.origin}."
        )
    if not _bore(connection, site, asset, tag, head.size):
        return PackageSeen(
            tag, head.size, refused=f"The book knows entry {asset} as no machine {form.quoted(tag)} of that site."
        )
    said = {int(form.parsed(line)["number"]): line for line in lines}
    records, now = records_of(connection, site, asset, head.size), records_of(connection, site, asset)
    wanted = entries_of(connection, site, records, job_versions(connection, records, head.size), head.size)
    today = entries_of(connection, site, now, job_versions(connection, now))
    return PackageSeen(
        tag,
        head.size,
        len(said),
        root_fits=_root(connection, head.size) == head.root,
        other=tuple(number for number in said if number > head.size or not _says(connection, number, said[number])),
        strange=tuple(_named(connection, sorted(number for number in set(said) - wanted if number <= head.size))),
        left_out=tuple(_named(connection, sorted(wanted - set(said)))),
        newer=sum(number > head.size for number in today),
        unsigned=tuple(checked.unsigned),
        other_version=files.get(form.VERIFIER) != verifier(),
        replaced=None if checked.unsigned else _replaced(connection, checked.key),
    )


def _bore(connection: sa.Connection, site: int, asset: int, tag: str, upto: int) -> bool:
    """Tell whether a machine bore a tag in any version up to an entry; what another bears today does not count."""
    v = AssetVersionRow
    if not all(0 < one < _LARGEST for one in (site, asset)):
        return False
    asked = sa.select(v.tag).where(v.site_id == site, v.asset_id == asset, v.entry <= upto)
    return tag in connection.scalars(asked).all()


def _replaced(connection: sa.Connection, key: form.Key | None) -> int | None:
    """Give the entry that named another key after the one by which a package vouches; ``None`` where that one signs today."""
    later = [one for one in read_keys(connection) if key is not None and one.entry > key.entry]
    return later[0].entry if key is not None and later and later[-1].public_key != key.digits else None


def _root(connection: sa.Connection, size: int) -> bytes | None:
    """Give the root of the first entries of the book; ``None`` where it has not so many."""
    s, tree = StatementRow, Frontier()
    tree.extend(bytes(leaf) for leaf in connection.scalars(sa.select(s.leaf).where(s.entry <= size).order_by(s.entry)))
    return tree.root() if tree.size == size else None


def _says(connection: sa.Connection, number: int, line: bytes) -> bool:
    s = StatementRow
    return connection.execute(sa.select(s.said).where(s.entry == number)).scalar() == line.decode()


def _named(connection: sa.Connection, numbers: Sequence[int]) -> list[Named]:
    e, found = EntryRow, []
    for at in range(0, len(numbers), _AT_ONCE):
        asked = (
            sa.select(e.number, e.kind, e.author).where(e.number.in_(numbers[at : at + _AT_ONCE])).order_by(e.number)
        )
        found += [Named(row.number, str(row.kind), str(row.author)) for row in connection.execute(asked)]
    return found
