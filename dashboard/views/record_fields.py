"""The fields of the Record page: their names, and what stands in them as values of the book.

A form is a table of texts by name.  What belongs to one measurement begins
with its stage, ``found.`` or ``left.``; behind that stand the names of
:mod:`models.intake.typed`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from dashboard.views.record_when import clock_text
from models.errors import NotAQuantityError
from models.intake.fields import FEET
from models.intake.typed import CLOCK, TypedProblem, as_kept, read_number
from models.units import Display, Parsed, Quantity, parse
from models.values.asset import Asset
from models.values.draft import Way, WorkCheck
from models.values.job import COMPONENTS, FeetValues, Job, Misalignment
from models.values.kinds import Method

Fields = Mapping[str, str]
"""Texts of a form by the name of their field."""

STAGES: Final = ("found", "left")
NOT_MEASURED: Final = "none"
NOTHING_MOVED: Final = "same"

MIN_ROWS, MAX_ROWS = 2, 6
PLACES, MORE_PLACES, MAX_PLACES = 8, 8, 48
"""Readings of one sweep that are offered at first, added at a time, and at most."""

ROOMS: Final = ("shim_out", "shim_in", "left", "right")
TEMPERATURES: Final = ("stationary", "movable", "ambient")
BEFORE: Final = (WorkCheck.ISOLATED, WorkCheck.ROUGH, WorkCheck.OBVIOUS_SOFT_FOOT)
AFTER: Final = (WorkCheck.TORQUED, WorkCheck.FINAL_SOFT_FOOT, WorkCheck.PIPE_STRAIN, WorkCheck.GUARDS)
"""Checks to tick; whether the as-left was measured after the last bolt was tight is a question of its own."""

_DIALS: Final[dict[Way, tuple[tuple[str, ...], tuple[str, ...]]]] = {
    Way.REVERSE_INDICATOR: (("clock", "plane", "bracket", "sag"), ("clock", "plane", "bracket", "sag")),
    Way.RIM_FACE: (("clock", "plane", "bracket", "sag"), ("clock", "diameter", "side", "sag")),
    Way.FACE_FACE: (("clock", "opposite", "diameter", "side", "sag"), ("clock", "opposite", "diameter", "side", "sag")),
    Way.AROUND: (("around", "plane", "bracket", "sag"), ("around", "plane", "diameter", "bracket", "side", "sag")),
}
_PARTS: Final[dict[str, tuple[str, ...]]] = {
    "clock": (*CLOCK, "returned"),
    "opposite": tuple(f"opposite_{place}" for place in CLOCK),
    "plane": ("plane",),
    "diameter": ("diameter",),
    "bracket": ("bracket",),
    "side": ("side",),
    "sag": ("sag", "sag_is", "sag_sd"),
}


def way_of(fields: Fields, stage: str) -> Way | None:
    """Give how a stage is measured; ``None`` where it is not, or where nothing was moved."""
    chosen = fields.get(f"{stage}.method", "")
    return next((way for way in Way if way.value == chosen), None)


def dial_parts(way: Way, number: int) -> tuple[str, ...]:
    """Give the parts of the block of a dial, 1 or 2, in their order; empty for results."""
    return _DIALS[way][number - 1] if way in _DIALS else ()


def usual(stage: str, way: Way) -> dict[str, str]:
    """Give what nearly always stands in a field: the zero at 12 o'clock, and the bracket on the other shaft."""
    brackets = ("movable shaft", "stationary shaft") if way is Way.REVERSE_INDICATOR else ("stationary shaft",) * 2
    names = stage_names(way)
    given = {f"dial.{number}.bracket": bracket for number, bracket in zip((1, 2), brackets, strict=True)}
    given |= {f"dial.{number}.top": "0" for number in (1, 2)}
    return {f"{stage}.{name}": text for name, text in given.items() if name in names}


def carried_over(fields: Fields, stage: str, was: str) -> dict[str, str]:
    """Give a form whose way of measuring was changed, without what would mean something else now.

    A bracket stands where the new way has it as a rule, unless somebody put it elsewhere: left as it was, the one that
    stood there by itself would turn a sign.  Around the shaft a diameter makes a dial one on a face and a plane one on a
    rim: neither is taken over from a way in which that dial was the other thing.

    Parameters
    ----------
    fields : mapping of str to str
        The form, with the new way. [as typed]
    stage : str
        ``"found"`` or ``"left"``. [unitless]
    was : str
        The last way with dials that was chosen; empty where there was none. [unitless]
    """
    way, old = way_of(fields, stage), way_of({f"{stage}.method": was}, stage)
    if way is None or way is Way.RESULTS or way is old:
        return dict(fields)
    before = usual(stage, old) if old is not None else {}
    gone = {
        name
        for number in (1, 2)
        if (name := f"{stage}.dial.{number}.bracket") not in before or fields.get(name, "") == before[name]
    }
    if way is Way.AROUND:
        gone |= {f"{stage}.dial.{number}.diameter" for number in (1, 2)}
        if old is not Way.REVERSE_INDICATOR:
            gone.add(f"{stage}.dial.2.plane")
    return {name: text for name, text in fields.items() if name not in gone}


def taken_over(fields: Fields, *, span: bool) -> dict[str, str]:
    """Give the distances of the as-left that are blank and stand in an as-found of the same form: the same fixture, on the same visit.

    Of a dial nothing is taken over where the as-left has its plane or its diameter: around the shaft one of them alone
    makes it a dial on a rim or on a face.

    Parameters
    ----------
    fields : mapping of str to str
        The form. [as typed]
    span : bool
        Take the span too: the book knows none. [unitless]
    """
    if not _same_dials(fields):
        return {}
    dials = ((f"dial.{number}.plane", f"dial.{number}.diameter") for number in (1, 2))
    return {
        f"left.{name}": text
        for names in (*dials, *([("span",)] if span else []))
        if not any(fields.get(f"left.{name}", "").strip() for name in names)
        for name in names
        if (text := fields.get(f"found.{name}", "").strip())
    }


def placed_as_found(fields: Fields) -> dict[str, str]:
    """Give brackets, sides and from where the clock is seen, as an as-found of the same form has them, for the fields of the as-left."""
    names = ("seen_from", *(f"dial.{number}.{part}" for number in (1, 2) for part in ("bracket", "side")))
    if not _same_dials(fields):
        return {}
    return {f"left.{name}": fields[f"found.{name}"] for name in names if fields.get(f"found.{name}")}


def _same_dials(fields: Fields) -> bool:
    way = way_of(fields, "left")
    return way is not None and way is not Way.RESULTS and way is way_of(fields, "found")


def places_of(fields: Fields, stage: str) -> int:
    """Give how many readings of a sweep are offered: as many as are filled in, in steps."""
    filled = [
        int(name.rpartition(".")[2])
        for name, text in fields.items()
        if name.startswith(f"{stage}.dial.") and (".angles." in name or ".readings." in name) and text.strip()
        and name.rpartition(".")[2].isdigit()
    ]  # fmt: skip
    asked = fields.get(f"{stage}.places", "")
    wanted = max([PLACES, *filled, int(asked) if asked.isdigit() and len(asked) < 3 else 0])
    return min(-(-wanted // MORE_PLACES) * MORE_PLACES, MAX_PLACES)


def stage_names(way: Way, places: int = PLACES) -> tuple[str, ...]:
    """Give the names of the fields that a way of measuring asks for, without their stage.

    Parameters
    ----------
    way : Way
        How it is measured. [unitless]
    places : int
        How many readings of a sweep there are where they are a list. [unitless]
    """
    if way is Way.RESULTS:
        return (*(f"results.{name}" for name in COMPONENTS), "results.sd_offset", "results.sd_angle")
    names = ["seen_from"]
    for number in (1, 2):
        for part in dial_parts(way, number):
            if part == "around":
                names += [f"dial.{number}.{kind}.{place}" for place in range(1, places + 1) for kind in ("angles", "readings")]  # fmt: skip
            else:
                names += [f"dial.{number}.{name}" for name in _PARTS[part]]
    if way is Way.FACE_FACE:
        names.append("span")
    return (*names, "noise.reading", "noise.distance", "noise.diameter")


_BY_LAST: Final[dict[str, Quantity]] = {
    **dict.fromkeys(
        (*CLOCK, *_PARTS["opposite"], *ROOMS, "returned", "sag", "sag_sd", "reading", "sd_offset"), Quantity.OFFSET
    ),
    **dict.fromkeys(("offset_v", "offset_h"), Quantity.OFFSET),
    **dict.fromkeys(("angle_v", "angle_h", "sd_angle"), Quantity.ANGULARITY),
    **dict.fromkeys(("at", "plane", "diameter", "span", "distance"), Quantity.DISTANCE),
    "hours_run": Quantity.DURATION,
    "up": Quantity.OFFSET,
    "height": Quantity.DISTANCE,
    **dict.fromkeys(("cold", "hot"), Quantity.TEMPERATURE),
}
_BY_FIRST: Final[dict[str, Quantity]] = {
    "temp": Quantity.TEMPERATURE,
    **dict.fromkeys(("soft_before", "soft_after", "shim", "side"), Quantity.OFFSET),
}


def quantity_of(name: str) -> Quantity | None:
    """Give what a field measures by its name; ``None`` where it is no number with a unit."""
    first, last = name.split(".", maxsplit=1)[0], name.rpartition(".")[2]
    if first == "stated":
        return None  # the reason why a span is right is a sentence, whatever a span is
    if ".readings." in name:
        return Quantity.OFFSET
    return _BY_FIRST.get(first) or _BY_LAST.get(last)


def rows_of(asset: Asset, fields: Fields, side: str) -> int:
    """Give how many rows of feet of a machine are offered: those of the book, those that are filled in, two at least."""
    known = len(asset.feet_movable_mm if side == "movable" else asset.feet_stationary_mm)
    filled = [_place(name, 2) for name, text in fields.items() if name.startswith(f"feet.{side}.") and text.strip()]
    feet = [(_place(name, 1) + 1) // 2 for name, text in fields.items()
            if name.startswith(("soft_before.", "soft_after.", "shim.")) and text.strip()] if side == "movable" else []  # fmt: skip
    return min(max([MIN_ROWS, known, *filled, *feet]), MAX_ROWS)


def _place(name: str, part: int) -> int:
    """Give the number in a part of a field's name; 0 where none of ours stands there."""
    text = name.split(".")[part]
    return int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0


def check_name(check: WorkCheck) -> str:
    """Give the name of the field in which a check is ticked."""
    return f"check.{check.name.lower()}"


def exact_text(value: float | None, quantity: Quantity, display: Display) -> str:
    """Write a stored number so that reading it gives that very number, with as few digits as that takes."""
    if value is None:
        return ""
    unit = display.unit(quantity)
    shown = display.show(value, quantity)
    for digits in range(1, 18):
        text = f"{shown:.{digits}g}"
        if "e" not in text and parse(text, quantity, unit).value == value:
            return f"{text} {unit}"
    return f"{value!r} {Display().unit(quantity)}"


def typed_or_exact(typed: str | None, value: float | None, quantity: Quantity, display: Display) -> str:
    """Give a number as it was typed, where that reads as the stored number; else the number itself."""
    if typed:
        try:
            parsed = parse(typed, quantity, display.unit(quantity))
        except NotAQuantityError:
            parsed = None
        if parsed is not None and value is not None and abs(parsed.value - value) <= 1e-9 * max(1.0, abs(value)):
            return as_kept(parsed)
    return exact_text(value, quantity, display)


def fields_of(job: Job, display: Display) -> dict[str, str]:
    """Write a job as the texts of the form, as they were typed where that is known.

    Parameters
    ----------
    job : Job
        A job that stands in the book. [as stored]
    display : Display
        Units for numbers of which it is not known how they were typed. [unitless]
    """
    fields = {
        "ref": job.ref,
        "performed": clock_text(
            job.performed_at, job.zone, "%Y-%m-%d %H:%M:%S" if job.performed_at.second else "%Y-%m-%d %H:%M"
        ),
        "reason": job.reason.value,
        "people": "; ".join(job.people),
        "instrument": job.instrument,
        "work_order": job.work_order,
        "hours_run": typed_or_exact(job.typed.get("hours_run"), job.hours_run, Quantity.DURATION, display),
        "notes": job.notes,
    }
    fields |= _numbers_of(job, display)
    fields |= {check_name(check): "yes" for check in (*BEFORE, *AFTER) if check in job.checks}
    if WorkCheck.LEFT_WHEN_TIGHT in job.checks:
        fields["left.tight"] = "yes"
    for stage in STAGES:
        fields |= _stage_fields(job, stage, display)
    fields |= {name: text for name, text in job.typed.items() if name.startswith(("feet.", "target.source", "moves"))}
    return {name: text for name, text in fields.items() if text} | four_fields("target", job.target, job.typed, display)


def _numbers_of(job: Job, display: Display) -> dict[str, str]:
    fields = {}
    for name in TEMPERATURES:
        key = f"temp_{name}_c"
        fields[f"temp.{name}"] = typed_or_exact(job.typed.get(key), getattr(job, key), Quantity.TEMPERATURE, display)
    for prefix, key, feet in (
        ("soft_before", "soft_before", job.soft_before),
        ("soft_after", "soft_after", job.soft_after),
        ("shim", "move_v", job.moves_v),
        ("side", "move_h", FeetValues(job.moves_h.values[::2])),
    ):
        every = FEET[::2] if prefix == "side" else FEET
        for place, value in enumerate(feet.values):
            typed = job.typed.get(f"{key}_{every[place]}")
            fields[f"{prefix}.{place + 1}"] = typed_or_exact(typed, value, Quantity.OFFSET, display)
    return fields


def _stage_fields(job: Job, stage: str, display: Display) -> dict[str, str]:
    measured: Misalignment | None = getattr(job, stage)
    if measured is None:
        return {f"{stage}.method": NOT_MEASURED}
    if stage == "left" and measured == job.found:
        return {"left.method": NOTHING_MOVED}
    kept = {
        f"{stage}.{name.removeprefix(f'{stage} ')}": text
        for name, text in job.typed.items()
        if name.startswith(f"{stage} ")
    }
    way = way_of(kept, stage)
    if way is not None and way is not Way.RESULTS:
        return kept
    kept |= {f"{stage}.method": Way.RESULTS.value, f"{stage}.by": job.method.value}
    for component, value in zip(COMPONENTS, measured.as_tuple(), strict=True):
        quantity = Quantity.OFFSET if component.startswith("offset") else Quantity.ANGULARITY
        kept[f"{stage}.results.{component}"] = typed_or_exact(
            job.typed.get(f"{stage}_{component}"), value, quantity, display
        )
    return kept


def four_fields(name: str, four: Misalignment, typed: Mapping[str, str], display: Display) -> dict[str, str]:
    """Write four components as texts of the form; a misalignment of zero is blank."""
    if not any(four.as_tuple()):
        return {}
    return {
        f"{name}.{component}": typed_or_exact(
            typed.get(f"{name}_{component}"),
            value,
            Quantity.OFFSET if component.startswith("offset") else Quantity.ANGULARITY,
            display,
        )
        for component, value in zip(COMPONENTS, four.as_tuple(), strict=True)
    }


def in_units(fields: Fields, typed_in: Display, shown_in: Display) -> dict[str, str]:
    """Write a draft for other units: a plain number gets the unit in which it was meant.

    Parameters
    ----------
    fields : mapping of str to str
        The draft. [as typed]
    typed_in, shown_in : Display
        Units of the page on which it was typed, and of the page on which it is shown now. [unitless]
    """
    if typed_in == shown_in:
        return dict(fields)
    kept = {}
    for name, text in fields.items():
        quantity = quantity_of(name)
        parsed, _ = (None, None) if quantity is None else read_number(name, text, quantity, typed_in)
        kept[name] = (
            text if parsed is None or (parsed.value == 0 and quantity is not Quantity.TEMPERATURE) else as_kept(parsed)
        )
    return kept


@dataclass(frozen=True, slots=True)
class Reading:
    """One number of a form as it was understood, or what is wrong with it."""

    name: str
    parsed: Parsed | None
    problem: TypedProblem | None


def numbers(fields: Fields, names: Iterable[str], display: Display) -> list[Reading]:
    """Read those fields that hold a number with a unit; blanks are left out."""
    found = []
    for name in names:
        quantity = quantity_of(name)
        if quantity is not None and fields.get(name, "").strip():
            found.append(Reading(name, *read_number(name, fields[name], quantity, display)))
    return found


def method_of(fields: Fields) -> Method | None:
    """Give the method that the book keeps: that of the as-found, else that of the as-left; ``None`` where it is still to be said."""
    for stage in STAGES:
        way = way_of(fields, stage)
        if way is Way.RESULTS:
            chosen = fields.get(f"{stage}.by", "")
            return Method(chosen) if chosen in set(Method) else None
        if way is not None:
            return way.method
    return Method.OTHER
