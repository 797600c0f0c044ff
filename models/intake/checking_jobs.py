"""Rows of jobs to jobs: what a row claims of a visit, checked against sense and against what is known."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from models.errors import InvalidValueError, NotAQuantityError
from models.intake.checking import Known, known_asset, whole
from models.intake.clocks import clock_told, with_clock
from models.intake.problems import Code, Severity
from models.intake.rows import Row, RowReader
from models.maths.sizes import (
    AIR_USUAL_C,
    IMPOSSIBLE,
    MOVE_ODD_MM,
    ODD,
    RISE_IMPOSSIBLE_MM,
    RISE_ODD_MM,
    TEMPERATURES_C,
    TEMPERATURES_USUAL_C,
    is_odd_rise,
)
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Method, Reason

_ODD = {"offset": ODD[0], "angle": ODD[1], "soft": RISE_ODD_MM, "move": MOVE_ODD_MM}
"""Sizes beyond which a value is odd: mm, mm/m, mm, mm.  Bounds of sense of this project, no source."""

_IMPOSSIBLE = {"offset": IMPOSSIBLE[0], "angle": IMPOSSIBLE[1], "soft": RISE_IMPOSSIBLE_MM, "move": 100.0}
"""Sizes beyond which a value cannot be a reading of aligned machines.  Bounds of sense of this project, no source."""

_USUAL_C = {"temperature": TEMPERATURES_USUAL_C, "air": AIR_USUAL_C}
_NO_FEET = FeetValues()
DAY_ONE = date(1950, 1, 1)
"""Before this day nobody wrote down an alignment that is still kept; a bound of sense."""


def check_job(reader: RowReader, row: Row, known: Known) -> Job | None:
    """Build a job from a row; ``None``, with problems in the row, where it cannot be one."""
    values = row.values
    known_asset(reader, row, known)
    _known_instrument(reader, row, known)
    performed = _moment(reader, row, known)
    _sizes(reader, row)
    found = _misalignment(reader, row, "found")
    left = _misalignment(reader, row, "left")
    target = _misalignment(reader, row, "target") or Misalignment()
    reason = Reason(values.get("reason") or Reason.OTHER)
    if row.is_good:
        _stages(reader, row, found, left, reason)
    if not row.is_good or performed is None:
        return None
    if left is None and reason is Reason.PLANNED and not _moved(values):
        left = found  # a planned look that moved nothing leaves what it found
        row.left_as_found = True
    try:
        return Job(
            ref=values.get("ref") or made_ref(values["tag"], performed, known.zone),
            tag=values["tag"],
            performed_at=performed,
            zone=known.zone.key,
            reason=reason,
            people=values.get("people") or (),
            instrument=values.get("instrument") or "",
            method=Method(values.get("method") or Method.OTHER),
            work_order=values.get("work_order") or "",
            found=found,
            left=left,
            target=target,
            soft_before=_feet(reader, values, "soft_before"),
            soft_after=_feet(reader, values, "soft_after"),
            moves_v=_feet(reader, values, "move_v"),
            moves_h=_feet(reader, values, "move_h"),
            temp_stationary_c=values.get("temp_stationary"),
            temp_movable_c=values.get("temp_movable"),
            temp_ambient_c=values.get("temp_ambient"),
            hours_run=values.get("hours_run"),
            checks=values.get("checks") or (),
            notes=values.get("notes") or "",
            reviewer=values.get("reviewer") or "",
            typed=row.typed,
        )
    except InvalidValueError as fault:
        row.problems.append(whole(reader, row, fault, "hours_run" if "Hours" in fault.message else ""))
        return None


def made_ref(tag: str, performed: datetime, zone: ZoneInfo) -> str:
    """Give the number of a job that has none: tag and time."""
    return f"{tag} {performed.astimezone(zone):%Y-%m-%d %H:%M}"


def _known_instrument(reader: RowReader, row: Row, known: Known) -> None:
    instrument = row.values.get("instrument")
    if instrument and not known.has_instrument(instrument):
        expected = "the serial of a known instrument; it is added without calibration dates"
        row.problems.append(
            reader.problem(row, "instrument", Code.UNKNOWN_INSTRUMENT, Severity.WARNING, instrument, expected)
        )


def _moment(reader: RowReader, row: Row, known: Known) -> datetime | None:
    performed: datetime | None = row.values.get("performed")
    if performed is None:
        return None
    clock = row.values.get("time")
    if clock:
        try:
            performed, doubt = with_clock(performed, clock, known.zone)
        except NotAQuantityError as fault:
            row.problems.append(reader.problem(row, "time", Code.BAD_DATE, Severity.ERROR, clock, fault.expected))
            return None
        if doubt is not None:
            told = clock_told(doubt, performed, known.zone)
            row.problems.append(reader.problem(row, "time", Code.ODD_TIME, Severity.WARNING, clock, told))
    day = performed.astimezone(known.zone).date()
    # A day without a time stands for noon: compare days then, or a job of this morning would lie in the future.
    if performed > known.now and day > known.now.astimezone(known.zone).date():
        row.problems.append(
            reader.problem(row, "performed", Code.FUTURE_DATE, Severity.ERROR, day, "a date that is not in the future")
        )
    elif day < DAY_ONE:
        row.problems.append(
            reader.problem(row, "performed", Code.IMPOSSIBLE_VALUE, Severity.ERROR, day, f"a date after {DAY_ONE}")
        )
    return performed


def is_odd(kind: str, value: float) -> bool:
    """Tell whether anything has to be said about the size of a number: impossible, odd, or a rise below 0.

    Parameters
    ----------
    kind : str
        Kind of number: "offset", "angle", "soft", "move", "temperature" or "air". [unitless]
    value : float
        The number. [mm, mm/m, °C]
    """
    if kind in _USUAL_C:
        return not _USUAL_C[kind][0] <= value <= _USUAL_C[kind][1]
    return is_odd_rise(value) if kind == "soft" else not abs(value) <= min(_ODD[kind], _IMPOSSIBLE[kind])


def _temperature(reader: RowReader, row: Row, key: str, kind: str, value: float) -> None:
    """Say what is asked when a job is recorded: a list is told, and goes in."""
    if not TEMPERATURES_C[0] <= value <= TEMPERATURES_C[1]:
        wanted = "a temperature of a machine" if kind == "temperature" else "a temperature of the air"
        row.problems.append(reader.problem(row, key, Code.IMPOSSIBLE_VALUE, Severity.ERROR, row.typed[key], wanted))
    elif is_odd(kind, value):
        low, high = _USUAL_C[kind]
        wanted = f"between {low:g} and {high:g} °C as a rule (are unit and sign right?)"
        row.problems.append(reader.problem(row, key, Code.ODD_VALUE, Severity.WARNING, row.typed[key], wanted))


def _sizes(reader: RowReader, row: Row) -> None:
    values = row.values
    for key, kind in reader.measured:
        value = values.get(key)
        if value is None:
            continue
        if kind in _USUAL_C:
            _temperature(reader, row, key, kind, value)
            continue
        size = abs(value)
        unit = "mm/m" if kind == "angle" else "mm"
        if size > _IMPOSSIBLE[kind]:
            row.problems.append(
                reader.problem(
                    row,
                    key,
                    Code.IMPOSSIBLE_VALUE,
                    Severity.ERROR,
                    row.typed[key],
                    f"at most {_IMPOSSIBLE[kind]:g} {unit} (is the unit right?)",
                )
            )
        elif size > _ODD[kind]:
            row.problems.append(
                reader.problem(
                    row,
                    key,
                    Code.ODD_VALUE,
                    Severity.WARNING,
                    row.typed[key],
                    f"at most {_ODD[kind]:g} {unit} as a rule (is the unit right?)",
                )
            )
        elif kind == "soft" and value < 0:
            row.problems.append(
                reader.problem(row, key, Code.ODD_VALUE, Severity.WARNING, row.typed[key], "a rise, 0 or more")
            )


def _misalignment(reader: RowReader, row: Row, stage: str) -> Misalignment | None:
    keys = reader.stages.get(stage)
    if keys is None:
        return None
    values = row.values
    numbers = [values.get(key) for key in keys]
    if not any(key in values for key in keys):
        return None
    if stage == "target":
        return Misalignment(*(x or 0.0 for x in numbers))
    missing = [key for key in keys if key not in values]
    if missing:
        words = ", ".join(
            key.removeprefix(f"{stage}_").replace("_", " ").replace(" v", " V").replace(" h", " H") for key in missing
        )
        row.problems.append(
            reader.problem(
                row, missing[0], Code.INCOMPLETE, Severity.ERROR, "", f"all four numbers as {stage}; missing: {words}"
            )
        )
        return None
    return None if any(x is None for x in numbers) else Misalignment(*(x or 0.0 for x in numbers))


def _stages(reader: RowReader, row: Row, found: Misalignment | None, left: Misalignment | None, reason: Reason) -> None:
    if found is None and left is None:
        row.problems.append(
            reader.problem(
                row, "left_offset_v", Code.MISSING_VALUE, Severity.ERROR, "", "an as-found, an as-left, or both"
            )
        )
    elif found is None and reason is not Reason.INSTALLATION:
        row.problems.append(
            reader.problem(
                row,
                "found_offset_v",
                Code.LEFT_WITHOUT_FOUND,
                Severity.WARNING,
                "",
                "an as-found beside the as-left; what was found is kept as unknown",
            )
        )
    elif found is not None and reason is Reason.INSTALLATION:
        row.problems.append(
            reader.problem(
                row,
                "reason",
                Code.IMPOSSIBLE_VALUE,
                Severity.ERROR,
                row.raw.get("reason", reason),
                "no as-found for an installation: nothing stood there before",
            )
        )
    elif left is None and (reason is not Reason.PLANNED or _moved(row.values)):
        row.problems.append(
            reader.problem(
                row,
                "left_offset_v",
                Code.FOUND_WITHOUT_LEFT,
                Severity.WARNING,
                "",
                "an as-left beside the as-found; what was left is kept as unknown",
            )
        )


def _moved(values: dict[str, Any]) -> bool:
    return any(key.startswith("move_") and value for key, value in values.items())


def _feet(reader: RowReader, values: dict[str, Any], prefix: str) -> FeetValues:
    numbers = [values.get(key) for key in reader.feet.get(prefix, ())]
    while numbers and numbers[-1] is None:
        numbers.pop()
    return FeetValues(tuple(numbers)) if numbers else _NO_FEET
