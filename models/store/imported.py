"""What the book says of files that were imported: for which site columns were read in one way first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from models.tables.book import ImportedFileRow


def first_site_of(connection: sa.Connection, sheets: Sequence[tuple[str, Sequence[Sequence[Any]]]]) -> int | None:
    """Give the number of the site for which a file was first read by one of some sheets of a mapping.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The book. [unitless]
    sheets : sequence of tuple of str and columns
        Names of sheets, each with its columns as they are kept with a file: heading, field, unit, factor. [unitless]

    Returns
    -------
    int or None
        ``None`` where no file of this book was read so.
    """
    wanted = {name: [list(column) for column in columns] for name, columns in sheets}
    asked = sa.select(ImportedFileRow.site_id, ImportedFileRow.mapping).order_by(ImportedFileRow.entry)
    for site_id, mapping in connection.execute(asked):
        if any(name in mapping and mapping[name].get("columns") == columns for name, columns in wanted.items()):
            return int(site_id)
    return None
