"""Rows to values: what a row claims of machines, people and instruments, checked against sense and against what is known.

Nothing here touches the book: what is known of it comes in as
:class:`Known`, and what is wrong goes out as problems.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from models.errors import InvalidValueError
from models.intake.fields import FOOT_ROWS
from models.intake.problems import Code, Problem, Severity
from models.intake.rows import Row, RowReader
from models.values.asset import Asset, MachineBreak
from models.values.kinds import Coupling, Part
from models.values.people import Instrument, Person

_NAMED = 3
"""So many tags that a row may mean are named."""


@dataclass(frozen=True, slots=True)
class Known:
    """What a check may know of the book and of the clock.

    ``now`` is the time of the import; ``assets`` and ``instruments`` are asked
    by name, and grow while files are read.
    """

    zone: ZoneInfo
    now: datetime
    has_asset: Callable[[str], bool]
    has_instrument: Callable[[str], bool]
    near: Callable[[str], Sequence[str]] = lambda _tag: ()
    """Gives tags that are known and are written with the same letters and digits."""


def check_asset(reader: RowReader, row: Row, prefix: str = "") -> Asset | None:
    """Build an asset from a row; ``None``, with problems in the row, where it cannot be one."""
    values = row.values

    def get(key: str, default: Any = None) -> Any:
        value = values.get(f"{prefix}{key}", default)
        return default if value is None else value

    for key in ("speed", "speed_max"):
        speed = get(key)
        if speed is not None and speed <= 0:
            row.problems.append(
                reader.problem(
                    row,
                    f"{prefix}{key}",
                    Code.IMPOSSIBLE_VALUE,
                    Severity.ERROR,
                    row.typed[f"{prefix}{key}"],
                    "a speed above 0",
                )
            )
        elif speed is not None and not 50.0 <= speed <= 30_000.0:
            row.problems.append(
                reader.problem(
                    row,
                    f"{prefix}{key}",
                    Code.ODD_VALUE,
                    Severity.WARNING,
                    row.typed[f"{prefix}{key}"],
                    "a speed between 50 and 30000 rpm",
                )
            )
    span = get("span")
    coupling = get("coupling", Coupling.SPACER if span else Coupling.SHORT)
    if not row.is_good:
        return None
    try:
        return Asset(
            tag=values["tag"],
            description=get("description", ""),
            area=get("area", ""),
            train=get("train", ""),
            driven=get("driven", ""),
            driver=get("driver", ""),
            coupling=Coupling(coupling),
            span_mm=span,
            speed_rpm=get("speed"),
            speed_max_rpm=get("speed_max"),
            power_kw=get("power"),
            criticality=get("criticality", ""),
            equipment_class=get("equipment_class", ""),
            feet_movable_mm=_feet_rows(get, "movable", 1.0),
            feet_stationary_mm=_feet_rows(get, "stationary", -1.0),
            commissioned=get("commissioned"),
            retired=get("retired"),
            valid_from=get("valid_from"),
        )
    except InvalidValueError as fault:
        row.problems.append(whole(reader, row, fault, _blamed(fault, prefix)))
        return None


def _feet_rows(get: Callable[..., Any], side: str, sign: float) -> tuple[float, ...]:
    distances = (get(f"feet_{side}_{number}") for number in range(1, FOOT_ROWS + 1))
    return tuple(sign * abs(x) if sign < 0 else x for x in distances if x is not None)


def _blamed(fault: InvalidValueError, prefix: str) -> str:
    for word, key in (
        ("highest speed", "speed_max"),
        ("span", "span"),
        ("speed", "speed"),
        ("movable", "feet_movable_1"),
        ("retired", "retired"),
    ):
        if word in fault.message:
            return f"{prefix}{key}"
    return ""


def whole(reader: RowReader, row: Row, fault: InvalidValueError, key: str = "") -> Problem:
    """Give what a whole record is refused for as a problem of its row."""
    found = row.typed.get(key, str(row.values.get(key) or ""))
    return replace(
        reader.problem(row, key, Code.IMPOSSIBLE_VALUE, Severity.ERROR, found, fault.message), is_sentence=True
    )


def check_break(reader: RowReader, row: Row, known: Known) -> MachineBreak | None:
    """Build a break from a row."""
    known_asset(reader, row, known)
    _not_future(reader, row, "on", row.values.get("on"), known.now.astimezone(known.zone).date())
    if not row.is_good:
        return None
    values = row.values
    return MachineBreak(values["tag"], values["on"], Part(values["part"]), values.get("why") or "")


def check_instrument(reader: RowReader, row: Row) -> Instrument | None:
    """Build an instrument from a row."""
    if not row.is_good:
        return None
    values = row.values
    try:
        return Instrument(
            values["serial"], values.get("description") or "", values.get("calibrated"), values.get("due")
        )
    except InvalidValueError as fault:
        row.problems.append(whole(reader, row, fault, "due"))
        return None


def check_person(row: Row) -> Person | None:
    """Build a person from a row."""
    return Person(row.values["name"], row.values.get("qualification") or "") if row.is_good else None


def known_asset(reader: RowReader, row: Row, known: Known) -> None:
    """Say of a row that nobody knows its machine."""
    tag = row.values.get("tag")
    if tag and not known.has_asset(tag):
        expected = "the tag of an asset that is in the book or in the files given"
        if near := known.near(tag):
            listed = " and ".join(f"'{one}'" for one in near[:_NAMED])
            one = "if that machine is meant, write it so" if len(near) == 1 else "if one of them is meant, write it so"
            expected += f"; {listed} {'differs' if len(near) == 1 else 'differ'} by capitals, blanks, dashes or other signs only: {one}"
        row.problems.append(reader.problem(row, "tag", Code.UNKNOWN_ASSET, Severity.ERROR, tag, expected))


def _not_future(reader: RowReader, row: Row, key: str, day: date | None, today: date) -> None:
    if day is not None and day > today:
        row.problems.append(
            reader.problem(row, key, Code.FUTURE_DATE, Severity.ERROR, day, "a date that is not in the future")
        )
