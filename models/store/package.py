"""The whole book as an open data package: a CSV and a table schema for each table, and what binds them.

Data Package and Table Schema, version 2: ``datapackage.json`` names every
file with its length, its SHA-256 and its rows.  It is written last, so that a
package without it is one that was not finished.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any, Protocol

import sqlalchemy as sa

from models.errors import ConflictError, DriftbookError
from models.store.cells import NULL, CellError, write_row
from models.store.copying import Kind, Mapped, columns_of, rows_of, table_of
from models.store.meanings import meaning_of, references, table_meaning, unit_of
from models.store.proofs import last_head
from models.tables.book import EntryRow
from models.tables.every import MAPPED
from models.whole_files import give_name, making_book, not_written

DESCRIPTOR = "datapackage.json"
_MADE = "package"
"""Name of a package while it is made, in a folder that goes away."""

FORMAT = 1
"""Version of the form that is written here; a later form has a higher number."""

OWN = "driftbook"
"""Name of our own member of the descriptor."""

_PROFILES = "https://datapackage.org/profiles/2.0"
_TYPES = {
    Kind.BOOLEAN: "boolean",
    Kind.INTEGER: "integer",
    Kind.MOMENT: "integer",
    Kind.NUMBER: "number",
    Kind.BYTES: "string",
    Kind.TEXT: "string",
    Kind.JSON: "string",
    Kind.DAY: "date",
}

READ_ME = """\
A whole book of driftbook as an open data package (Data Package and Table Schema, version 2).

datapackage.json   names every table with its file, length, SHA-256 and number of rows
tables/*.csv       one table each: UTF-8, comma, texts in double quotes where they need them, one row a line
schemas/*.json     what each column means, with unit and sign

Values stand as they are stored: offsets and feet in mm, angularities in mm/m, moments in whole microseconds since 1970 in UTC.
NULL is \\N. A text that begins with a backslash bears one more. Bytes are hexadecimal.

Texts stand as they were typed, also those that begin with an equals sign: open the files with a program for data and not with
a spreadsheet, or take the tables of the pages, which are made for one.

Back into an empty book: driftbook take-in PACKAGE --book ADDRESS
The private key that signs the book's heads is not in here: keep its file yourself.
"""


class Sink(Protocol):
    """Where the files of a package go."""

    def open(self, name: str) -> Any:
        """Open a file of the package for writing bytes; used as a context."""


@dataclass(slots=True)
class FolderSink:
    """A package as a folder."""

    folder: Path

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        """Open a file in the folder."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as stream:
            yield stream


@dataclass(slots=True)
class ZipSink:
    """A package as one ZIP file."""

    archive: zipfile.ZipFile
    made_at: datetime

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        """Open a member of the archive."""
        info = zipfile.ZipInfo(name, self.made_at.timetuple()[:6])
        info.compress_type = zipfile.ZIP_DEFLATED
        info.external_attr = 0o644 << 16
        with self.archive.open(info, "w", force_zip64=True) as stream:
            yield stream


class Counted(io.RawIOBase):
    """Passes bytes on, and counts and hashes them."""

    def __init__(self, inner: IO[bytes]) -> None:
        super().__init__()
        self.inner = inner
        self.length = 0
        self.sha256 = hashlib.sha256()

    def writable(self) -> bool:
        """Tell that it can be written to."""
        return True

    def write(self, data: Any) -> int:
        """Write bytes."""
        held = bytes(data)
        self.length += len(held)
        self.sha256.update(held)
        self.inner.write(held)
        return len(held)


@dataclass(frozen=True, slots=True)
class Written:
    """What a package holds."""

    path: Path
    rows: dict[str, int]
    head: int
    root: bytes | None


@contextmanager
def new_package(path: Path, made_at: datetime) -> Iterator[Sink]:
    """Open a package that is not there yet; it stands under its name only when it is whole.

    What exports, backups and restores left in the same folder that were killed goes away first.

    Parameters
    ----------
    path : pathlib.Path
        A folder, or a file that ends in ``.zip``. [unitless]
    made_at : datetime
        Moment that the members of a ZIP file bear. [unitless]

    Raises
    ------
    ConflictError
        If something is there already.
    NotWrittenError
        If it cannot be written; nothing of it is left then.
    """
    try:
        _refuse_taken(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        with making_book(path.parent) as making:
            made = making.with_name(_MADE)
            if path.suffix.lower() == ".zip":
                with zipfile.ZipFile(made, "x") as archive:
                    yield ZipSink(archive, made_at)
                _name(made, path)
            else:
                made.mkdir()
                yield FolderSink(made)
                _refuse_taken(path)  # somebody else may have taken the name meanwhile
                if path.is_dir():
                    path.rmdir()
                made.rename(path)
    except OSError as fault:
        raise not_written(path, fault, "driftbook export FOLDER|FILE.zip") from fault


def _refuse_taken(path: Path) -> None:
    if os.path.lexists(path) and not (path.is_dir() and not any(path.iterdir())):
        raise _there(path)


def _name(made: Path, path: Path) -> None:
    try:
        give_name(made, path)
    except FileExistsError:
        raise _there(path) from None


def _there(path: Path) -> ConflictError:
    return ConflictError(f"{path} is there already and is not overwritten.", remedy="Give another name.")


def write_package(
    connection: sa.Connection,
    sink: Sink,
    path: Path,
    *,
    revision: str,
    version: str,
    made_at: datetime,
    tick: Callable[[str, int], None] | None = None,
) -> Written:
    """Write every table of the history.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        A connection that sees one state of the book. [unitless]
    sink : Sink
        Where to. [unitless]
    path : pathlib.Path
        Where it will stand. [unitless]
    revision : str
        Revision of the book. [unitless]
    version : str
        Version of this tool. [unitless]
    made_at : datetime
        Aware moment. [unitless]
    tick : callable, optional
        Is told each table and its rows. [unitless]
    """
    head = connection.execute(sa.select(sa.func.max(EntryRow.number))).scalar() or 0
    last, resources, rows = last_head(connection), [], {}
    for mapped in MAPPED:
        name = table_of(mapped).name
        resource = _resource(mapped)
        with sink.open(resource["path"]) as stream:
            counted = Counted(stream)
            rows[name] = _write_table(connection, mapped, counted)
        resource |= {"bytes": counted.length, "hash": f"sha256:{counted.sha256.hexdigest()}", "rows": rows[name]}
        _write_json(sink, resource["schema"], schema_of(mapped))
        resources.append(resource)
        if tick is not None:
            tick(name, rows[name])
    own = {
        "format": FORMAT,
        "revision": revision,
        "version": version,
        "head": head,
        "root": None if last is None else last.root.hex(),
        "root_size": None if last is None else last.size,
        "origin": None if last is None else last.origin,
    }
    with sink.open("README.txt") as stream:
        stream.write(READ_ME.encode())
    descriptor = {
        "$schema": f"{_PROFILES}/datapackage.json",
        "name": "driftbook-book",
        "title": "A whole book of driftbook: the alignment history of rotating machines",
        "description": "Every table as stored. Offsets in mm, angularities in mm/m, moments in µs since 1970 (UTC); each column is described in its schema.",
        "created": made_at.isoformat(timespec="seconds"),
        "resources": resources,
        OWN: own,
    }
    _write_json(sink, DESCRIPTOR, descriptor)
    return Written(path, rows, head, None if last is None else last.root)


def _write_table(connection: sa.Connection, mapped: Mapped, stream: Counted) -> int:
    columns = columns_of(mapped)
    text = io.TextIOWrapper(io.BufferedWriter(stream, 1 << 16), encoding="utf-8", newline="", write_through=False)
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([column.name for column in columns])
    done = 0
    for done, row in enumerate(rows_of(connection, mapped), start=1):
        try:
            writer.writerow(write_row(columns, row))
        except CellError as fault:
            raise DriftbookError(
                f"Table {table_of(mapped).name}, row {done}, {fault}: it cannot be exported.",
                remedy="It was not written by this tool; 'driftbook verify' says what the entry said.",
            ) from None
    text.flush()
    text.detach()
    return done


def _write_json(sink: Sink, name: str, value: object) -> None:
    with sink.open(name) as stream:
        stream.write((json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode())


def _resource(mapped: Mapped) -> dict[str, Any]:
    name = table_of(mapped).name
    return {
        "name": name,
        "type": "table",
        "path": table_path(name),
        "title": name.replace("_", " "),
        "description": table_meaning(mapped),
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"header": True, "delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"', "doubleQuote": True},
        "schema": f"schemas/{name}.json",
    }


def table_path(name: str) -> str:
    """Give where a table lies in a package."""
    return f"tables/{name}.csv"


def schema_of(mapped: Mapped) -> dict[str, Any]:
    """Give the Table Schema of a table.

    Parameters
    ----------
    mapped : type
        The table. [unitless]
    """
    table = table_of(mapped)
    fields = []
    for column in columns_of(mapped):
        made: dict[str, Any] = {"name": column.name, "type": _TYPES[column.kind]}
        made["description"] = meaning_of(mapped, column.name)
        unit = unit_of(table.name, column.name)
        if unit:
            made["unit"] = unit
        rules: dict[str, Any] = {} if column.nullable else {"required": True}
        if column.length is not None:
            rules["maxLength"] = column.length
        if column.kind is Kind.BYTES:
            rules["pattern"] = "([0-9a-f]{2})*"
        if rules:
            made["constraints"] = rules
        fields.append(made)
    return {
        "$schema": f"{_PROFILES}/tableschema.json",
        "fields": fields,
        "missingValues": [NULL],
        "primaryKey": [column.name for column in table.primary_key.columns],
        "foreignKeys": [
            {"fields": [name], "reference": {"resource": other, "fields": [there]}}
            for name, other, there in references(mapped)
        ],
    }
