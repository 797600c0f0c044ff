"""A data package back into rows: nothing is believed that is not checked, and every refusal names table, row and column."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from models.errors import DriftbookError, UnreadableFileError, WrongRevisionError
from models.store.cells import CellError, reader_of
from models.store.copying import DoesNotFitError, Mapped, Values, columns_of, table_of
from models.store.package import DESCRIPTOR, FORMAT, OWN, table_path
from models.tables.every import MAPPED

_NOTHING = "Nothing was taken in."
_LONGEST_CELL = 1 << 27
_LONGEST_DESCRIPTOR = 1 << 24


@dataclass(frozen=True, slots=True)
class Described:
    """What the descriptor says of one table."""

    rows: int
    length: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Package:
    """An open package: its tables as described, and the head of the book that it holds."""

    path: Path
    tables: dict[str, Described]
    head: int
    root: str | None
    _archive: zipfile.ZipFile | None

    @contextmanager
    def _opened(self, name: str) -> Iterator[IO[bytes]]:
        with _member(self.path, self._archive, name) as stream:
            yield stream

    def rows(self, mapped: Mapped) -> Iterator[Values]:
        """Give the rows of a table, each checked; the file as a whole is checked when its end is reached.

        Parameters
        ----------
        mapped : type
            The table. [unitless]

        Raises
        ------
        DoesNotFitError
            If a cell is no value of its column, or the file is not the one that is described.
        """
        name = table_of(mapped).name
        columns, described = columns_of(mapped), self.tables[name]
        names, readers = [column.name for column in columns], [reader_of(column) for column in columns]
        with self._opened(table_path(name)) as stream:
            watched = _Watched(stream, described.length)
            lines = _lines(watched, name)
            heading = next(lines, [])
            if heading != names:
                raise DoesNotFitError(
                    f"Table {name}: its columns are not those of this version: {_first_difference(heading, names)}.",
                    remedy=_NOTHING,
                )
            done = 0
            for done, cells in enumerate(lines, start=1):
                if len(cells) != len(columns):
                    raise DoesNotFitError(
                        f"Table {name}, row {done}: {len(cells)} cells where {len(columns)} are expected.",
                        remedy=_NOTHING,
                    )
                yield _row(name, done, cells, names, readers)
            watched.finish(name, described, done)


def _row(table: str, number: int, cells: list[str], names: list[str], readers: list[Any]) -> Values:
    try:
        return tuple([read(cell) for read, cell in zip(readers, cells, strict=True)])
    except CellError:
        for name, read, cell in zip(names, readers, cells, strict=True):
            try:
                read(cell)
            except CellError as fault:
                shown = cell if len(cell) <= 60 else f"{cell[:59]}…"
                raise DoesNotFitError(
                    f"Table {table}, row {number}, column {name}: '{shown}': {fault}.", remedy=_NOTHING
                ) from None
        raise


class _Watched(io.RawIOBase):
    """Reads a file of the package, hashes it, and stops where it is longer than described."""

    def __init__(self, inner: IO[bytes], most: int) -> None:
        super().__init__()
        self.inner, self.most, self.length, self.sha256 = inner, most, 0, hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        data = self.inner.read(len(buffer))
        self.length += len(data)
        self.sha256.update(data)
        if self.length > self.most:
            raise DoesNotFitError(
                f"A file of the package is longer than its {self.most} described bytes.", remedy=_NOTHING
            )
        buffer[: len(data)] = data
        return len(data)

    def finish(self, name: str, described: Described, rows: int) -> None:
        if rows != described.rows:
            raise DoesNotFitError(
                f"Table {name}: {rows} rows came in where {described.rows} are described.", remedy=_NOTHING
            )
        if self.length != described.length or self.sha256.hexdigest() != described.sha256:
            raise DoesNotFitError(
                f"Table {name}: {table_path(name)} is not the file that was exported (its SHA-256 differs).",
                remedy=f"{_NOTHING} It was altered or damaged since: take another copy of the package.",
            )


def _lines(stream: _Watched, table: str) -> Iterator[list[str]]:
    csv.field_size_limit(_LONGEST_CELL)
    text = io.TextIOWrapper(io.BufferedReader(stream, 1 << 16), encoding="utf-8", errors="strict", newline="")
    reader = csv.reader(text, strict=True)
    try:
        yield from reader
    except (csv.Error, UnicodeDecodeError) as fault:
        raise DoesNotFitError(f"Table {table}, line {reader.line_num}: {fault}.", remedy=_NOTHING) from fault


def _first_difference(found: list[str], wanted: list[str]) -> str:
    for one, other in zip(found, wanted, strict=False):
        if one != other:
            return f"'{one}' where '{other}' is expected"
    return f"{len(found)} columns where {len(wanted)} are expected"


@contextmanager
def _member(path: Path, archive: zipfile.ZipFile | None, name: str) -> Iterator[IO[bytes]]:
    try:
        with archive.open(name) if archive is not None else (path / name).open("rb") as stream:
            yield stream
    except (FileNotFoundError, KeyError, NotADirectoryError):
        raise DoesNotFitError(f"The package {path} holds no file {name}.", remedy=_NOTHING) from None
    except (zipfile.BadZipFile, EOFError, zipfile.zlib.error) as fault:  # type: ignore[attr-defined]
        raise DoesNotFitError(f"The file {name} in {path} is damaged: {fault}.", remedy=_NOTHING) from fault


@contextmanager
def opened_package(path: Path, revision: str) -> Iterator[Package]:
    """Open a package and check what its descriptor says.

    Parameters
    ----------
    path : pathlib.Path
        A folder or a ZIP file. [unitless]
    revision : str
        Revision of the books of this version. [unitless]

    Raises
    ------
    UnreadableFileError
        If there is no package there.
    WrongRevisionError
        If it was written at another revision.
    DoesNotFitError
        If it does not describe every table once.
    """
    if not path.exists():
        raise UnreadableFileError(
            f"There is no package {path}.", remedy="Check the name: a folder, or a file that ends in .zip."
        )
    if path.is_dir():
        yield _described(path, None, revision)
        return
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, OSError) as fault:
        raise UnreadableFileError(
            f"{path} is no data package: {fault}.",
            remedy="Give the folder or the ZIP file that 'driftbook export' wrote.",
        ) from fault
    with archive:
        yield _described(path, archive, revision)


def _described(path: Path, archive: zipfile.ZipFile | None, revision: str) -> Package:
    try:
        with _member(path, archive, DESCRIPTOR) as stream:
            whole = json.loads(stream.read(_LONGEST_DESCRIPTOR).decode())
        own = whole[OWN]
        form, written, head, root = int(own["format"]), str(own["revision"]), int(own["head"]), own["root"]
        tables = {
            str(one["name"]): Described(int(one["rows"]), int(one["bytes"]), str(one["hash"]).removeprefix("sha256:"))
            for one in whole["resources"]
        }
    except (ValueError, KeyError, TypeError, DoesNotFitError) as fault:
        if isinstance(fault, DriftbookError) and path.is_dir() and (path / DESCRIPTOR).exists():
            raise
        raise UnreadableFileError(
            f"{path} holds no {DESCRIPTOR} of driftbook.",
            remedy="Give the folder or the ZIP file that 'driftbook export' wrote; without that file it was not finished.",
        ) from fault
    if form > FORMAT:
        raise WrongRevisionError(
            f"The package {path} is of form {form}; this version reads up to {FORMAT}.",
            remedy="Take it in with the version of driftbook that wrote it, or a newer one.",
        )
    if written != revision:
        raise WrongRevisionError(
            f"The package {path} was written at revision {written}; this version takes in {revision}.",
            remedy=f"Take it in with the driftbook that wrote it (version {own.get('version', 'not named')}; its 'driftbook --version' "
            "names that revision), then bring that book to this version: driftbook upgrade",
        )
    wanted = {table_of(mapped).name for mapped in MAPPED}
    if set(tables) != wanted or len(whole["resources"]) != len(wanted):
        odd = ", ".join(sorted(set(tables) ^ wanted)) or "one is named twice"
        raise DoesNotFitError(f"The package {path} does not hold the tables of a book: {odd}.", remedy=_NOTHING)
    return Package(path, tables, head, root, archive)
