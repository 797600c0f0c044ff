"""A limit set as a small TOML file: the form in which the starter set ships."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import fields
from datetime import date
from itertools import combinations
from math import inf
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
        _refuse_two_ways(rows)
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
    except OSError as fault:
        raise UnreadableFileError(
            f"The limit set {path} cannot be read: {fault.strerror or fault}.", remedy="Check the name of the file."
        ) from fault
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError, InvalidValueError) as fault:
        raise UnreadableFileError(
            f"{path} is not a limit set: {fault}", remedy="It needs name, source and at least one [[row]]."
        ) from fault


def _refuse_two_ways(rows: Sequence[LimitRow]) -> None:
    """Refuse rows of which one would judge a machine axis by axis and another together: a job is judged in one way."""
    centre = [row for row in rows if row.judged in {Judged.OFFSET, Judged.ANGULARITY}]
    for coupling in {row.coupling for row in centre}:
        own = [row for row in centre if row.coupling in {coupling, None}]
        for one, other in combinations(own, 2):
            apart = min(one.upto_rpm or inf, other.upto_rpm or inf) <= max(one.above_rpm, other.above_rpm)
            if one.combine is not other.combine and one.judged is not other.judged and not apart:
                raise ValueError(
                    f"for one machine {one.judged} is judged '{one.combine}' and {other.judged} '{other.combine}'; "
                    "give both rows the same 'combine'"
                )


def _row(data: dict[str, Any]) -> LimitRow:
    unknown = set(data) - _ROW_KEYS
    if unknown:
        raise ValueError(f"a row has no field {', '.join(sorted(unknown))}")
    given = dict(data)
    given["judged"] = Judged(given["judged"])
    given["coupling"] = Coupling(given["coupling"]) if given.get("coupling") else None
    given["combine"] = Combine(given.get("combine", Combine.RESULTANT))
    return LimitRow(**given)
