"""What a person types into a form: texts by the name of their field, read into numbers, with problems as values.

'2.5 mil', '0,06 mm' and a plain number in the unit of the site are all
understood.  A blank is no problem: a form is read again after every key.

Names of the fields: ``method``, ``seen_from``, ``span``, ``moves``,
``results.offset_v`` (and the other components), ``results.sd_offset``,
``results.sd_angle``, ``dial.1.top`` (``right``, ``bottom``, ``left``,
``returned``), or ``dial.1.angles.1`` with ``dial.1.readings.1``,
``dial.1.opposite.1`` (or ``opposite_top`` and so on), ``dial.1.plane``,
``dial.1.diameter``, ``dial.1.bracket``, ``dial.1.side``, ``dial.1.sag``,
``dial.1.sag_is``, ``dial.1.sag_sd``, ``noise.reading``, ``noise.distance``,
``noise.diameter``, ``soft_foot.1``, ``feet.movable.1.at`` (``shim_out``,
``shim_in``, ``left``, ``right``), ``target.offset_v``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, TypeVar

from models.errors import NotAQuantityError
from models.sentences.told import Told
from models.units import Display, Parsed, Quantity, parse, parse_number, written_unit
from models.values.draft import (
    CarriedBy,
    DialDraft,
    Draft,
    HubFace,
    RowDraft,
    SagStands,
    ViewedFrom,
    Way,
    WhichMoves,
)
from models.values.job import COMPONENTS, Misalignment

T = TypeVar("T")

CLOCK: Final = ("top", "right", "bottom", "left")
"""The four clock readings in the order of their angles: 12, 3, 6 and 9 o'clock."""

MOST: Final = 72
"""Readings of one sweep that are looked for; one every five degrees."""

MOST_FEET: Final = 12

_BRACKETS: Final[dict[str, CarriedBy]] = {
    "stationary shaft": "stationary shaft",
    "stationary": "stationary shaft",
    "movable shaft": "movable shaft",
    "movable": "movable shaft",
}
_SIDES: Final[dict[str, HubFace]] = {
    "front": "front of the hub",
    "front of the hub": "front of the hub",
    "back": "back of the hub",
    "back of the hub": "back of the hub",
}
_SAGS: Final[dict[str, SagStands]] = {
    "half": "half of the roll-over reading",
    "half of the roll-over reading": "half of the roll-over reading",
    "full": "full roll-over reading",
    "full roll-over reading": "full roll-over reading",
}
_VIEWS: Final[dict[str, ViewedFrom]] = {
    "movable machine": "movable machine",
    "movable": "movable machine",
    "stationary machine": "stationary machine",
    "stationary": "stationary machine",
}
_MOVES: Final[dict[str, WhichMoves]] = {
    "movable machine": "movable machine",
    "movable": "movable machine",
    "stationary machine": "stationary machine",
    "stationary": "stationary machine",
    "both machines": "both machines",
    "both": "both machines",
}
_WAYS: Final[dict[str, Way]] = {str(way): way for way in Way}


@dataclass(frozen=True, slots=True)
class TypedProblem:
    """Something in a form that is not understood: in which field, what stands there, what was expected.

    ``told`` is the whole sentence, where one value alone is not what is wrong.
    """

    field: str
    found: str
    expected: str
    told: str = ""

    @property
    def text(self) -> str:
        """Give it as a sentence."""
        if self.told:
            return self.told
        if self.found:
            return Told("told.typed.not", found=self.found, expected=self.expected)
        return Told("told.typed.missing", expected=self.expected)


def as_kept(parsed: Parsed) -> str:
    """Give a typed number as the book keeps it: as typed, with its unit where none was typed."""
    return f"{parsed.typed} {parsed.unit}" if parsed.typed[-1:].isdigit() or parsed.typed[-1:] in ".," else parsed.typed


def read_number(
    field: str, text: str, quantity: Quantity, display: Display
) -> tuple[Parsed | None, TypedProblem | None]:
    """Read one number of a form.

    Parameters
    ----------
    field : str
        Name of the field, for the problem. [unitless]
    text : str
        As typed: ``"2.5 mil"``, ``"0,06 mm"``, or a plain number in the unit of the site. [as typed]
    quantity : Quantity
        What the number measures. [unitless]
    display : Display
        Units of the site. [unitless]

    Returns
    -------
    tuple of Parsed or None, and TypedProblem or None
        The number in the stored unit, or what is wrong; neither for a blank. [stored unit]
    """
    if not text.strip():
        return None, None
    try:
        return parse(text, quantity, display.unit(quantity)), None
    except NotAQuantityError as fault:
        # Of '2.5 mil' in a field of angles the number is right: what is wrong is the unit alone.
        is_unit = isinstance(fault.expected, Told) and fault.expected.key == "told.expected.unit_of"
        return None, TypedProblem(field, written_unit(text) if is_unit else fault.found.strip(), fault.expected)


class TypedForm:
    """Reads the texts of a form; collects what was typed, what was wrong, and which fields were asked for."""

    def __init__(self, given: Mapping[str, str], display: Display) -> None:
        self.given = given
        self.display = display
        self.typed: dict[str, str] = {}
        self.problems: list[TypedProblem] = []
        self.asked: set[str] = set()

    def has(self, beginning: str) -> bool:
        """Tell whether any field that begins so is filled in."""
        return any(name.startswith(beginning) and text.strip() for name, text in self.given.items())

    def text(self, name: str) -> str:
        """Give a text without blanks around it; empty where there is none."""
        self.asked.add(name)
        return " ".join(self.given.get(name, "").split())

    def number(self, name: str, quantity: Quantity) -> float | None:
        """Give a number in the stored unit; ``None`` for a blank or a problem."""
        parsed, problem = read_number(name, self.text(name), quantity, self.display)
        if problem is not None:
            self.problems.append(problem)
        if parsed is None:
            return None
        self.typed[name] = as_kept(parsed)
        return parsed.value

    def plain(self, name: str, what: str) -> float | None:
        """Give a number without a unit; ``what`` says what it is, for the problem."""
        text = self.text(name).removesuffix("°").rstrip()
        if not text:
            return None
        try:
            value = parse_number(text)
        except NotAQuantityError:
            self.problems.append(TypedProblem(name, text, what))
            return None
        self.typed[name] = text
        return value

    def word(self, name: str, words: Mapping[str, T], *, needed: str = "") -> T | None:
        """Give the member of a closed list; ``needed`` says what is missing where it is blank."""
        text = self.text(name)
        if not text:
            if needed:
                self.problems.append(TypedProblem(name, "", needed))
            return None
        chosen = words.get(text.lower())
        if chosen is None:
            listed = ", ".join(dict.fromkeys(f"'{word}'" for word in words))
            self.problems.append(TypedProblem(name, text, Told("told.expected.one_of", words=listed)))
            return None
        self.typed[name] = text
        return chosen

    def unknown(self) -> tuple[str, ...]:
        """Give the fields that nobody asked for, in the order in which they stand."""
        return tuple(name for name in self.given if name not in self.asked)


def read_draft(form: TypedForm) -> Draft:
    """Read a measurement from a form; what is wrong is in ``form.problems``.

    Parameters
    ----------
    form : TypedForm
        The form. [as typed]

    Returns
    -------
    Draft
        What could be read; what could not is blank in it.
    """
    way = form.word("method", _WAYS, needed=Told("told.expected.method"))
    q = Quantity
    sd_offset, sd_angle = form.number("results.sd_offset", q.OFFSET), form.number("results.sd_angle", q.ANGULARITY)
    numbers = [form.number(f"results.{name}", _quantity(name)) for name in COMPONENTS]
    return Draft(
        way=way or Way.RESULTS,
        results=(numbers[0], numbers[1], numbers[2], numbers[3]),
        results_sd=(sd_offset, sd_angle, sd_offset, sd_angle),
        dials=tuple(_dial(form, number, way) for number in (1, 2) if form.has(f"dial.{number}.")),
        seen_from=form.word("seen_from", _VIEWS) or "movable machine",
        span_mm=form.number("span", q.DISTANCE),
        reading_sd_mm=form.number("noise.reading", q.OFFSET),
        distance_sd_mm=form.number("noise.distance", q.DISTANCE) or 0.0,
        diameter_sd_mm=form.number("noise.diameter", q.DISTANCE) or 0.0,
        soft_foot_mm=_soft_foot(form),
        feet_movable=_rows(form, "movable"),
        feet_stationary=_rows(form, "stationary"),
        moves=form.word("moves", _MOVES) or "movable machine",
        typed=form.typed,
    )


def read_misalignment(form: TypedForm, name: str) -> Misalignment | None:
    """Read four numbers such as a target; a blank among filled ones is 0, ``None`` where all are blank."""
    numbers = [form.number(f"{name}.{component}", _quantity(component)) for component in COMPONENTS]
    return None if all(x is None for x in numbers) else Misalignment(*(x or 0.0 for x in numbers))


def _quantity(component: str) -> Quantity:
    return Quantity.OFFSET if component.startswith("offset") else Quantity.ANGULARITY


def _dial(form: TypedForm, number: int, way: Way | None) -> DialDraft:
    name = f"dial.{number}"
    q = Quantity
    angles, readings, opposite = _sweep(form, name)
    sag = form.number(f"{name}.sag", q.OFFSET)
    stands = form.word(f"{name}.sag_is", _SAGS, needed=Told("told.expected.sag_is") if sag else "")
    diameter = form.number(f"{name}.diameter", q.DISTANCE)
    # Around the shaft a swept diameter tells a face from a rim; elsewhere the way does, and a stray one tells nothing.
    swept = diameter is not None and way in {Way.AROUND, None}
    is_face = way is Way.FACE_FACE or (way is Way.RIM_FACE and number == 2) or swept
    carried = form.word(f"{name}.bracket", _BRACKETS, needed="" if is_face else Told("told.expected.bracket"))
    return DialDraft(
        angles_deg=angles,
        readings_mm=readings,
        opposite_mm=opposite,
        returned_mm=form.number(f"{name}.returned", q.OFFSET),
        plane_mm=form.number(f"{name}.plane", q.DISTANCE),
        diameter_mm=diameter,
        carried_by=carried or "stationary shaft",
        side=form.word(f"{name}.side", _SIDES) or "front of the hub",
        sag_mm=sag,
        sag_stands=stands or "half of the roll-over reading",
        sag_sd_mm=form.number(f"{name}.sag_sd", q.OFFSET) or 0.0,
    )


_Numbers = tuple[float | None, ...]


def _sweep(form: TypedForm, name: str) -> tuple[_Numbers, _Numbers, _Numbers]:
    """Read the positions, the readings and those of an opposite dial: by the clock, or as lists."""
    if form.has(f"{name}.readings.") or form.has(f"{name}.angles."):
        if any(form.has(f"{name}.{place}") for place in CLOCK):
            form.problems.append(TypedProblem(name, "", "", told=Told("told.typed.both")))
        places = range(1, MOST + 1)
        angles = [form.plain(f"{name}.angles.{place}", Told("told.expected.angle")) for place in places]
        readings = [form.number(f"{name}.readings.{place}", Quantity.OFFSET) for place in places]
        opposite = [form.number(f"{name}.opposite.{place}", Quantity.OFFSET) for place in places]
        for place, (angle, reading) in enumerate(zip(angles, readings, strict=True), start=1):
            if angle is None and reading is not None:
                form.problems.append(TypedProblem(f"{name}.angles.{place}", "", Told("told.expected.reading_angle")))
        last = max((place for place in places if angles[place - 1] is not None), default=0)
        return tuple(angles[:last]), tuple(readings[:last]), tuple(opposite[:last])
    readings = [form.number(f"{name}.{place}", Quantity.OFFSET) for place in CLOCK]
    opposite = [form.number(f"{name}.opposite_{place}", Quantity.OFFSET) for place in CLOCK]
    return (0.0, 90.0, 180.0, 270.0), tuple(readings), tuple(opposite)


def _soft_foot(form: TypedForm) -> _Numbers:
    rises = [form.number(f"soft_foot.{foot}", Quantity.OFFSET) for foot in range(1, MOST_FEET + 1)]
    while rises and rises[-1] is None:
        rises.pop()
    return tuple(rises)


def _rows(form: TypedForm, side: str) -> tuple[RowDraft, ...]:
    """Read rows of feet; those of the stationary machine may be typed without their sign, as on every sheet."""
    rows = []
    for number in range(1, MOST_FEET // 2 + 1):
        name = f"feet.{side}.{number}"
        at = form.number(f"{name}.at", Quantity.DISTANCE)
        if at is None:
            at = form.number(name, Quantity.DISTANCE)
        room = [form.number(f"{name}.{key}", Quantity.OFFSET) for key in ("shim_out", "shim_in", "left", "right")]
        if at is None and any(x is not None for x in room):
            form.problems.append(TypedProblem(f"{name}.at", "", Told("told.expected.row")))
        if at is not None:
            rows.append(RowDraft(-abs(at) if side == "stationary" else at, *room))
    return tuple(rows)
