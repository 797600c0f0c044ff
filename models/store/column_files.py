"""The history of a site as Parquet files, so that it can be studied without its book, on another machine.

A folder a site: ``jobs-….parquet``, ``assets-….parquet``, ``breaks-….parquet`` and
``site.json``, which names the three under ``files``: their names bear their content, so that a new export lies
beside the old one until the description that names it takes the place of the other, in one step; and whoever reads
holds each file against its name.  One process writes at a time, by the lock of a file beside them.  A column of several numbers (the four components of a
misalignment, two rows of feet) becomes one column for each, named by its place.
The description names the book by the leaf hash of its first entry, which every copy of a book shares and no other has,
and its state by the root over its entries, which a copy that went another way has not.
Numbers are stored as they are: what is read back is the same, bit for bit.
"""

from __future__ import annotations

import json
import os
import re
import secrets
from collections.abc import Callable, Iterable
from contextlib import suppress
from hashlib import file_digest
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from models.errors import DriftbookError, NotWrittenError, UnreadableFileError
from models.history.columns import AssetColumns, BreakColumns, History, JobColumns
from models.whole_files import only_writer, settle_names

T = TypeVar("T")

SITE_FILE = "site.json"
FORMAT = 3
"""In forms 1 and 2 soft foot was another number: how far one foot rose above the median of the others."""
KINDS = ("jobs", "assets", "breaks")

_OURS = re.compile(rf"({'|'.join(KINDS)})-[0-9a-f]{{16}}\.parquet|({'|'.join(KINDS)}|site)-[0-9a-f]{{16}}\.part")
_LOCK = ".lock"
_TRACES = ("*.parquet", "*.part")


def parquet() -> Any:
    """Give the library that reads and writes Parquet.

    Raises
    ------
    DriftbookError
        If it is not installed.
    """
    try:
        import pyarrow.parquet
    except ModuleNotFoundError:
        raise DriftbookError(
            "Parquet needs a library that is not installed.",
            remedy="Install it: in driftbook's checkout, pip install '.[parquet]'.",
        ) from None
    return pyarrow.parquet


def write_columns(
    history: History,
    code: str,
    folder: Path,
    *,
    book: str | None = None,
    root_at: Callable[[int], str | None] = lambda _: None,
) -> Path:
    """Write the history of a site into a folder of its own; an export that lies there holds until the new one is whole.

    Parameters
    ----------
    history : History
        The columns. [unitless]
    code : str
        Short code of the site: the name of its folder. [unitless]
    folder : Path
        Where the folder of the site is made. [unitless]
    book : str, optional
        What names the book, see :func:`models.store.proofs.book_mark`; without it nothing is asked of what lies there. [unitless]
    root_at : callable, optional
        Gives the root over the first so many entries of the book, as hex; ``None`` where it keeps none of just so many. [unitless]

    Raises
    ------
    NotWrittenError
        If another process writes there, or what lies there is of another book, of a later state of this one, or of a copy of it that went another way.
    OSError
        If it cannot be written; what was there stays as it was.
    """
    place = folder / code
    place.mkdir(parents=True, exist_ok=True)
    with only_writer(place / _LOCK, place):
        if book is not None:
            _may_take_the_place(place, book, history, root_at)
        _write_alone(history, code, place, book, root_at(history.head))
    return place


def _may_take_the_place(place: Path, book: str, history: History, root_at: Callable[[int], str | None]) -> None:
    """Refuse to write over what another book gave, this one when it was further on, or a copy of it that went another way."""
    there = _description(place)
    if not there:
        return
    if there.get("book") != book:
        raise NotWrittenError(
            f"{place} holds a site of another book, which has the same code.",
            remedy="Write each book into a folder of its own, and give driftbook group a folder with both; or take that one away.",
        )
    head = there.get("head")
    if not isinstance(head, int):
        return
    if head > history.head:
        raise NotWrittenError(
            f"{place} holds entries of this book up to {head}, and this copy of it ends at {history.head}.",
            remedy="Write the newer book; or take that folder away, if this older state is what shall be studied.",
        )
    if there.get("root") not in {None, root_at(head)}:
        raise NotWrittenError(
            f"{place} holds the state of entry {head} of a copy of this book that went another way: the first {head} entries here are others.",
            remedy="Write a copy to practise on into a folder of its own; or take that folder away, if this book is the true one.",
        )


def _description(place: Path) -> dict[str, Any]:
    """Give what describes an export; nothing where there is none or it cannot be read."""
    try:
        said = json.loads((place / SITE_FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return said if isinstance(said, dict) else {}


def _write_alone(history: History, code: str, place: Path, book: str | None, root: str | None) -> None:
    mark = secrets.token_hex(8)  # where a disk knows no locks, each writer still has parts of its own
    parts = {kind: place / f"{kind}-{mark}.part" for kind in (*KINDS, "site")}
    added: list[Path] = []
    try:
        for kind, columns in zip(KINDS, (history.jobs, history.assets, history.breaks), strict=True):
            _write(columns, parts[kind])
        named = {kind: f"{kind}-{_content(parts[kind])}.parquet" for kind in KINDS}
        said = {
            "format": FORMAT,
            "site": code,
            "book": book,
            "head": history.head,
            "root": root,
            "zone": history.zone,
            "files": named,
            "people": list(history.people),
            "instruments": list(history.instruments),
        }
        parts["site"].write_text(json.dumps(said, ensure_ascii=False, indent=1), encoding="utf-8")
        for part in parts.values():
            _settle(part)
        # All of it is on the disk: from here on only names change, and the last one decides.
        for kind in KINDS:
            added += [place / named[kind]] if not (place / named[kind]).exists() else []
            parts[kind].replace(place / named[kind])
        settle_names(place)
        parts["site"].replace(place / SITE_FILE)
        added.clear()  # they are named now: whatever happens, they stay
        settle_names(place)
    except BaseException:
        _take_away((*parts.values(), *added))
        raise
    _take_away(path for path in place.iterdir() if _OURS.fullmatch(path.name) and path.name not in named.values())


def read_columns(place: Path) -> tuple[str, History]:
    """Give a site's code and history back from its folder.

    Parameters
    ----------
    place : Path
        Folder of the site. [unitless]

    Raises
    ------
    UnreadableFileError
        If the folder holds no whole export.
    """
    try:
        said = json.loads((place / SITE_FILE).read_text(encoding="utf-8"))
        if said["format"] != FORMAT:
            raise UnreadableFileError(
                f"{place} was written in form {said['format']} by another version; this one reads form {FORMAT} only.",
                remedy="Write it again with this version: driftbook columns",
            )
        named = _named(place, said)
        history = History(
            said["head"],
            said["zone"],
            _read(JobColumns, named["jobs"]),
            _read(BreakColumns, named["breaks"]),
            _read(AssetColumns, named["assets"]),
            tuple(said["people"]),
            tuple(said["instruments"]),
        )
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise UnreadableFileError(
            f"{place} holds no whole export of a site: {fault}.", remedy="Write it again: driftbook columns"
        ) from fault
    return str(said["site"]), history


def sites_in(folder: Path) -> tuple[Path, ...]:
    """Give the folders of sites in a folder, by name.

    Parameters
    ----------
    folder : Path
        The folder into which :func:`write_columns` wrote, or one with several such folders. [unitless]

    Raises
    ------
    UnreadableFileError
        If in one of them an export broke off, or its description is gone: what all sites say together would be said without it;
        if two of them are of one site, which would count twice.
    """
    found = tuple(sorted(place.parent for place in [*folder.glob(f"*/{SITE_FILE}"), *folder.glob(f"*/*/{SITE_FILE}")]))
    traces = {path.parent for trace in _TRACES for depth in ("*", "*/*") for path in folder.glob(f"{depth}/{trace}")}
    if broken := sorted(traces - set(found)):
        raise UnreadableFileError(
            f"{', '.join(map(str, broken))}: no whole export of a site. Its {SITE_FILE} is missing: writing it broke off, or the file was taken away.",
            remedy="Write it again (driftbook columns), or take that folder away if the site shall be left out.",
        )
    _once_each(found)
    return found


def _once_each(places: Iterable[Path]) -> None:
    """Refuse two exports of one site; two of one code are of one site unless they name different books."""
    by_code: dict[Any, list[tuple[Path, Any]]] = {}
    for place in places:
        said = _description(place)
        same = by_code.setdefault(said.get("site"), [])
        for other, book in same:
            if None in {book, said.get("book")} or book == said["book"]:
                raise UnreadableFileError(
                    f"{other} and {place} are exports of one site, {said.get('site')}: it would count twice.",
                    remedy="Take the older one out of that folder.",
                )
        same.append((place, said.get("book")))


def _write(columns: Any, part: Path) -> None:
    import pyarrow as pa

    arrays: dict[str, Any] = {}
    for name in columns.__slots__:
        values = getattr(columns, name)
        if values.ndim == 1:
            arrays[name] = values.tolist() if values.dtype == object else values
        else:
            arrays |= {f"{name}.{place}": np.ascontiguousarray(values[:, place]) for place in range(values.shape[1])}
    table = pa.table({name: pa.array(values, from_pandas=False) for name, values in arrays.items()})
    parquet().write_table(table, part, compression="zstd")


def _named(place: Path, said: dict[str, Any]) -> dict[str, Path]:
    """Give the files that a description names: in its own folder, of the form that we write, with the content that their names say."""
    named = {kind: str(said["files"][kind]) for kind in KINDS}
    if not all(re.fullmatch(rf"{kind}-[0-9a-f]{{16}}\.parquet", name) for kind, name in named.items()):
        raise ValueError(f"{SITE_FILE} names files that are none of ours")
    for kind, name in named.items():
        if name != f"{kind}-{_content(place / name)}.parquet":
            raise ValueError(f"{name} does not hold what its name says")
    return {kind: place / name for kind, name in named.items()}


def _content(path: Path) -> str:
    """Give what stands for the content of a file in its name."""
    with path.open("rb") as stream:
        return file_digest(stream, "sha256").hexdigest()[:16]


def _take_away(paths: Iterable[Path]) -> None:
    for path in paths:
        with suppress(OSError):  # a disk that can only be read refuses this too
            path.unlink(missing_ok=True)


def _settle(path: Path) -> None:
    """Wait until a file is on the disk: some say only then that they are full."""
    with path.open("rb") as stream:
        os.fsync(stream.fileno())


def _read(kind: type[T], path: Path) -> T:
    table = parquet().read_table(path)
    found: dict[str, Any] = {}
    many: dict[str, list[Any]] = {}
    for name in table.column_names:
        values = _values(table.column(name))
        base, dot, _ = name.partition(".")
        if dot:
            many.setdefault(base, []).append(values)
        else:
            found[name] = values
    found |= {name: np.column_stack(values) for name, values in many.items()}
    return kind(**found)


def _values(column: Any) -> Any:
    import pyarrow as pa

    if pa.types.is_string(column.type) or pa.types.is_null(column.type):
        values = np.empty(len(column), dtype=object)
        values[:] = column.to_pylist()
        return values
    return column.to_numpy()
