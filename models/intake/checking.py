"""Rows to values: what a row claims, checked against sense and against what is known.

Nothing here touches the book: what is known of it comes in as
:class:`Known`, and what is wrong goes out as problems.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, KeysView, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from models.errors import InvalidValueError, NotAQuantityError
from models.intake.dates import with_clock
from models.intake.fields import FOOT_ROWS
from models.intake.problems import Code, Severity
from models.intake.rows import Row, RowReader, clock_told
from models.maths.sizes import IMPOSSIBLE, ODD, RISE_IMPOSSIBLE_MM, RISE_ODD_MM, is_odd_rise
from models.values.asset import Asset, MachineBreak
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Coupling, Method, Part, Reason
from models.values.people import Instrument, Person

_ODD = {"offset": ODD[0], "angle": ODD[1], "soft": RISE_ODD_MM, "move": 10.0}
"""Sizes beyond which a value is odd: mm, mm/m, mm, mm.  Bounds of sense of this project, no source."""

_IMPOSSIBLE = {"offset": IMPOSSIBLE[0], "angle": IMPOSSIBLE[1], "soft": RISE_IMPOSSIBLE_MM, "move": 100.0}
"""Sizes beyond which a value cannot be a reading of aligned machines.  Bounds of sense of this project, no source."""

_TEMPERATURES_C = (-60.0, 700.0)
_NO_FEET = FeetValues()
DAY_ONE = date(1950, 1, 1)
"""Before this day nobody wrote down an alignment that is still kept; a bound of sense."""


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


class Seen:
    """What one import has read so far, to find what stands twice.

    For a million references the contents are kept end to end and moments as hashes, which
    takes a third of the memory (a wrong alarm of a moment, one in 10⁷ for a million rows, is
    a warning to look, not a loss).
    """

    def __init__(self) -> None:
        self.moments: set[int] = set()
        self._places: dict[str, int] = {}
        self._rows = array("q")
        self._contents = bytearray()

    def refs(self) -> KeysView[str]:
        """Give the references of all jobs."""
        return self._places.keys()

    def earlier(self, ref: str) -> tuple[int, bytes] | None:
        """Give row and content of the job that has a reference; ``None`` where there is none yet."""
        place = self._places.get(ref)
        return None if place is None else (self._rows[place], bytes(self._contents[32 * place : 32 * place + 32]))

    def place(self, ref: str) -> int:
        """Tell how many jobs were kept before the one that has a reference."""
        return self._places[ref]

    def keep(self, refs: Sequence[str], rows: Sequence[int], contents: Sequence[bytes]) -> None:
        """Keep jobs that were not there before.

        Parameters
        ----------
        refs : sequence of str
            References. [unitless]
        rows : sequence of int
            Their rows. [unitless]
        contents : sequence of bytes
            Digests of what they say, 32 bytes each. [unitless]
        """
        first = len(self._rows)
        self._places.update(zip(refs, range(first, first + len(rows)), strict=True))
        self._rows.extend(rows)
        self._contents += b"".join(contents)


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
        row.problems.append(_whole(reader, row, fault, _blamed(fault, prefix)))
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


def _whole(reader: RowReader, row: Row, fault: InvalidValueError, key: str = "") -> Any:
    found = row.typed.get(key, str(row.values.get(key) or ""))
    return replace(
        reader.problem(row, key, Code.IMPOSSIBLE_VALUE, Severity.ERROR, found, fault.message), is_sentence=True
    )


def check_break(reader: RowReader, row: Row, known: Known) -> MachineBreak | None:
    """Build a break from a row."""
    _known_asset(reader, row, known)
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
        row.problems.append(_whole(reader, row, fault, "due"))
        return None


def check_person(row: Row) -> Person | None:
    """Build a person from a row."""
    return Person(row.values["name"], row.values.get("qualification") or "") if row.is_good else None


def check_job(reader: RowReader, row: Row, known: Known) -> Job | None:
    """Build a job from a row; ``None``, with problems in the row, where it cannot be one."""
    values = row.values
    _known_asset(reader, row, known)
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
        row.problems.append(_whole(reader, row, fault, "hours_run" if "Hours" in fault.message else ""))
        return None


def made_ref(tag: str, performed: datetime, zone: ZoneInfo) -> str:
    """Give the number of a job that has none: tag and time."""
    return f"{tag} {performed.astimezone(zone):%Y-%m-%d %H:%M}"


def _known_asset(reader: RowReader, row: Row, known: Known) -> None:
    tag = row.values.get("tag")
    if tag and not known.has_asset(tag):
        row.problems.append(
            reader.problem(
                row,
                "tag",
                Code.UNKNOWN_ASSET,
                Severity.ERROR,
                tag,
                "the tag of an asset that is in the book or in the files given",
            )
        )
    instrument = row.values.get("instrument")
    if instrument and not known.has_instrument(instrument):
        row.problems.append(
            reader.problem(
                row,
                "instrument",
                Code.UNKNOWN_INSTRUMENT,
                Severity.WARNING,
                instrument,
                "the serial of a known instrument; it is added without calibration dates",
            )
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


def _not_future(reader: RowReader, row: Row, key: str, day: date | None, today: date) -> None:
    if day is not None and day > today:
        row.problems.append(
            reader.problem(row, key, Code.FUTURE_DATE, Severity.ERROR, day, "a date that is not in the future")
        )


def is_odd(kind: str, value: float) -> bool:
    """Tell whether anything has to be said about the size of a number: impossible, odd, or a rise below 0.

    Parameters
    ----------
    kind : str
        Kind of number: "offset", "angle", "soft", "move" or "temperature". [unitless]
    value : float
        The number. [mm, mm/m, °C]
    """
    if kind == "temperature":
        return not _TEMPERATURES_C[0] <= value <= _TEMPERATURES_C[1]
    return is_odd_rise(value) if kind == "soft" else not abs(value) <= min(_ODD[kind], _IMPOSSIBLE[kind])


def _sizes(reader: RowReader, row: Row) -> None:
    values = row.values
    for key, kind in reader.measured:
        value = values.get(key)
        if value is None:
            continue
        if kind == "temperature":
            if not _TEMPERATURES_C[0] <= value <= _TEMPERATURES_C[1]:
                row.problems.append(
                    reader.problem(
                        row, key, Code.IMPOSSIBLE_VALUE, Severity.ERROR, row.typed[key], "a temperature of a machine"
                    )
                )
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
