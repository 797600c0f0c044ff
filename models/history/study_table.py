"""One table of a study: its columns with units, and rows without a NaN."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Value = str | int | float | None

COMPONENTS = ("offset V [mm]", "angularity V [mm/m]", "offset H [mm]", "angularity H [mm/m]")


@dataclass(frozen=True, slots=True)
class StudyTable:
    """One table: what it is called, what it means, its columns with units, and its rows."""

    name: str
    meaning: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]


def number(value: float | np.floating | None, places: int = 6) -> float | None:
    """Give a plain number, ``None`` for what is not known.

    Parameters
    ----------
    value : float or None
        The number. [any]
    places : int
        Decimals that are kept. [unitless]
    """
    return None if value is None or not np.isfinite(value) else round(float(value), places)
