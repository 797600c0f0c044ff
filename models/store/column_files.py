"""The history of a site as Parquet files, so that it can be studied without its book, on another machine.

A folder a site: ``jobs.parquet``, ``assets.parquet``, ``breaks.parquet`` and
``site.json``.  A column of several numbers (the four components of a
misalignment, two rows of feet) becomes one column for each, named by its place.
Numbers are stored as they are: what is read back is the same, bit for bit.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from models.errors import DriftbookError, UnreadableFileError
from models.history.columns import AssetColumns, BreakColumns, History, JobColumns

T = TypeVar("T")

SITE_FILE = "site.json"
FORMAT = 1


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


def write_columns(history: History, code: str, folder: Path) -> Path:
    """Write the history of a site into a folder of its own; an export that lies there stays until the new one is whole.

    Parameters
    ----------
    history : History
        The columns. [unitless]
    code : str
        Short code of the site: the name of its folder. [unitless]
    folder : Path
        Where the folder of the site is made. [unitless]

    Raises
    ------
    OSError
        If it cannot be written; what was there stays as it was.
    """
    place = folder / code
    place.mkdir(parents=True, exist_ok=True)
    said = {
        "format": FORMAT,
        "site": code,
        "head": history.head,
        "zone": history.zone,
        "people": list(history.people),
        "instruments": list(history.instruments),
    }
    made = [place / f"{name}.parquet" for name in ("jobs", "assets", "breaks")]
    parts = [path.with_suffix(".part") for path in (*made, place / SITE_FILE)]
    try:
        for part, columns in zip(parts, (history.jobs, history.assets, history.breaks), strict=False):
            _write(columns, part)
        parts[-1].write_text(json.dumps(said, ensure_ascii=False, indent=1), encoding="utf-8")
        for part in parts:
            _settle(part)
        # All of it is on the disk: from here on only names change. The description is taken away first and comes
        # back last, for a folder without it is not read.
        (place / SITE_FILE).unlink(missing_ok=True)
        for part, path in zip(parts, (*made, place / SITE_FILE), strict=True):
            part.replace(path)
    finally:
        for part in parts:
            with suppress(OSError):  # a disk that can only be read refuses this too
                part.unlink(missing_ok=True)
    return place


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
                f"{place} was written in form {said['format']}, which this version does not know.",
                remedy="Write it again with this version: driftbook columns",
            )
        history = History(
            said["head"],
            said["zone"],
            _read(JobColumns, place / "jobs.parquet"),
            _read(BreakColumns, place / "breaks.parquet"),
            _read(AssetColumns, place / "assets.parquet"),
            tuple(said["people"]),
            tuple(said["instruments"]),
        )
    except (OSError, ValueError, KeyError) as fault:
        raise UnreadableFileError(
            f"{place} holds no whole export of a site: {fault}.", remedy="Write it again: driftbook columns"
        ) from fault
    return str(said["site"]), history


def sites_in(folder: Path) -> tuple[Path, ...]:
    """Give the folders of sites in a folder, by name."""
    return tuple(sorted(place.parent for place in folder.glob(f"*/{SITE_FILE}")))


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
