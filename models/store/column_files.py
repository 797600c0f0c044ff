"""The history of a site as Parquet files, so that it can be studied without its book, on another machine.

A folder a site: ``jobs.parquet``, ``assets.parquet``, ``breaks.parquet`` and
``site.json``.  A column of several numbers (the four components of a
misalignment, two rows of feet) becomes one column for each, named by its place.
Numbers are stored as they are: what is read back is the same, bit for bit.
"""

from __future__ import annotations

import json
import os
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
    """Write the history of a site into a folder of its own; what lay there under the same name is replaced file by file.

    Parameters
    ----------
    history : History
        The columns. [unitless]
    code : str
        Short code of the site: the name of its folder. [unitless]
    folder : Path
        Where the folder of the site is made. [unitless]
    """
    place = folder / code
    place.mkdir(parents=True, exist_ok=True)
    # The description goes last and is taken away first: a folder without it is not read.
    (place / SITE_FILE).unlink(missing_ok=True)
    for name, columns in (("jobs", history.jobs), ("assets", history.assets), ("breaks", history.breaks)):
        _write(columns, place / f"{name}.parquet")
    said = {
        "format": FORMAT,
        "site": code,
        "head": history.head,
        "zone": history.zone,
        "people": list(history.people),
        "instruments": list(history.instruments),
    }
    (place / SITE_FILE).write_text(json.dumps(said, ensure_ascii=False, indent=1), encoding="utf-8")
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


def _write(columns: Any, path: Path) -> None:
    import pyarrow as pa

    arrays: dict[str, Any] = {}
    for name in columns.__slots__:
        values = getattr(columns, name)
        if values.ndim == 1:
            arrays[name] = values.tolist() if values.dtype == object else values
        else:
            arrays |= {f"{name}.{place}": np.ascontiguousarray(values[:, place]) for place in range(values.shape[1])}
    table = pa.table({name: pa.array(values, from_pandas=False) for name, values in arrays.items()})
    part = path.with_suffix(".part")
    parquet().write_table(table, part, compression="zstd")
    os.replace(part, path)  # noqa: PTH105 - one step, so that no half file is ever read


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
