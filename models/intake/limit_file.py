"""A limit set as a small TOML file: the form in which the starter set ships."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

from models.errors import InvalidValueError, UnreadableFileError
from models.values.kinds import Coupling
from models.values.limits import Combine, Judged, LimitRow, LimitSet

_ROW_KEYS = {field.name for field in fields(LimitRow)}


def read_limit_set(path: Path, *, adopted_by: str, adopted_on: date, version: int = 1) -> LimitSet:
    """Read a limit set from a file.

    Parameters
    ----------
    path : pathlib.Path
        A TOML file with name, source and rows. [unitless]
    adopted_by : str
        Who adopts it. [unitless]
    adopted_on : date
        From which day it is in force. [unitless]
    version : int
        Number of this version. [unitless]

    Raises
    ------
    UnreadableFileError
        If the file is not such a set.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        rows = tuple(_row(row) for row in data["row"])
        return LimitSet(
            data["name"],
            data["source"],
            adopted_by,
            adopted_on,
            rows,
            version,
            bool(data.get("starter", False)),
            data.get("note", ""),
        )
    except (OSError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError, InvalidValueError) as fault:
        raise UnreadableFileError(
            f"{path} is not a limit set: {fault}", remedy="It needs name, source and at least one [[row]]."
        ) from fault


def _row(data: dict[str, Any]) -> LimitRow:
    unknown = set(data) - _ROW_KEYS
    if unknown:
        raise ValueError(f"a row has no field {', '.join(sorted(unknown))}")
    given = dict(data)
    given["judged"] = Judged(given["judged"])
    given["coupling"] = Coupling(given["coupling"]) if given.get("coupling") else None
    given["combine"] = Combine(given.get("combine", Combine.RESULTANT))
    return LimitRow(**given)
