"""A later row of what the book knows already: what it does not say stays as it was.

A register is kept up with rows that name a machine, what has changed and from which
day on.  Read as a whole description such a row would take from the machine whatever
it leaves blank: a spacer coupling without its span is judged as another coupling.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from models.intake.rows import Row
from models.values.asset import Asset
from models.values.description import version_on
from models.values.kinds import Coupling
from models.values.people import Instrument, Person

_PLAIN: Final = {
    "description": "description", "area": "area", "train": "train", "driven": "driven", "driver": "driver",
    "speed": "speed_rpm", "speed_max": "speed_max_rpm", "power": "power_kw", "criticality": "criticality",
    "equipment_class": "equipment_class", "commissioned": "commissioned",
}  # fmt: skip
"""Fields of a machine that stand by themselves, and the attribute of each."""


def keep_machine(row: Row, versions: Sequence[Asset]) -> date | None:
    """Fill what a later row of a machine leaves blank with what held on the day from which it holds.

    Values belong together where one makes no sense without the other: a row that names a coupling without span keeps no
    span, one that brings the first span may change the coupling, and the feet of a side are given all or not at all.

    Parameters
    ----------
    row : Row
        The row, values in stored units; it is filled. [as stored]
    versions : sequence of Asset
        The descriptions of the machine, at least one, in order of entry. [as stored]

    Returns
    -------
    date or None
        The day on which the machine went out of service, where this row puts it back: it begins later and names none.
    """
    values = row.values
    begins = values.get("valid_from")
    held = version_on(versions, begins or date.min)
    for key, attribute in _PLAIN.items():
        _keep(values, key, getattr(held, attribute))
    if _blank(values, "coupling") and (_blank(values, "span") or held.span_mm is not None):
        values["coupling"] = held.coupling
        _keep(values, "span", held.span_mm)
    elif values.get("coupling") == Coupling.SPACER:
        _keep(values, "span", held.span_mm)
    for side, distances in (("movable", held.feet_movable_mm), ("stationary", held.feet_stationary_mm)):
        if not any(key.startswith(f"feet_{side}_") and value is not None for key, value in values.items()):
            values |= {f"feet_{side}_{number}": distance for number, distance in enumerate(distances, 1)}
    if not _blank(values, "retired") or held.retired is None:
        return None
    if begins is not None and begins > held.retired:
        return held.retired
    values["retired"] = held.retired
    return None


def said_of(row: Row) -> dict[str, str]:
    """Give what a row of a machine says of it, as typed, by field: of a later row, before it is filled.

    Parameters
    ----------
    row : Row
        The row. [as stored]
    """
    return {
        key: row.typed.get(key) or row.raw.get(key) or str(value)
        for key, value in row.values.items()
        if key != "tag" and not _blank(row.values, key)
    }


def keep_instrument(row: Row, held: Instrument) -> None:
    """Fill what a later row of an instrument leaves blank; a day by which it is due belongs to its calibration.

    Parameters
    ----------
    row : Row
        The row; it is filled. [as stored]
    held : Instrument
        The instrument as the book knows it. [as stored]
    """
    _keep(row.values, "description", held.description)
    if _blank(row.values, "calibrated"):
        _keep(row.values, "due", held.due)
        _keep(row.values, "calibrated", held.calibrated)


def keep_person(row: Row, held: Person) -> None:
    """Fill what a later row of a person leaves blank.

    Parameters
    ----------
    row : Row
        The row; it is filled. [as stored]
    held : Person
        The person as the book knows it. [as stored]
    """
    _keep(row.values, "qualification", held.qualification)


def _blank(values: dict[str, Any], key: str) -> bool:
    return values.get(key) in (None, "")


def _keep(values: dict[str, Any], key: str, held: object) -> None:
    if _blank(values, key) and held not in (None, ""):
        values[key] = held
