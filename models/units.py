"""Units: what is stored, what is shown, and how a typed text becomes a number.

Stored units are mm for offsets, feet and distances, mm/m for angularity,
rpm, °C, kW and hours.  1 mil = 1 thou = 0.001 in = 0.0254 mm exactly, and
1 mm/m = 1 mrad = 1 mil/in exactly, so an angularity has the same number in
all three.  Conversion happens in this file and nowhere else.

A verdict compares stored, unrounded numbers: rounding for a screen must not
change it.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum

from models.errors import InvalidValueError, NotAQuantityError
from models.sentences.told import Told

MM_PER_MIL = 0.0254
MM_PER_INCH = 25.4
KW_PER_HP = 0.745699872
"""Mechanical horsepower, 550 ft·lbf/s, in kW."""


class Quantity(StrEnum):
    """What a number measures; decides which units make sense for it."""

    OFFSET = "offset"
    ANGULARITY = "angularity"
    DISTANCE = "distance"
    TEMPERATURE = "temperature"
    SPEED = "speed"
    POWER = "power"
    DURATION = "duration"

    @property
    def told(self) -> Told:
        """Give it as a word of a sentence."""
        return Told(f"told.quantity.{self.name.lower()}")


STORED_UNIT: dict[Quantity, str] = {
    Quantity.OFFSET: "mm",
    Quantity.ANGULARITY: "mm/m",
    Quantity.DISTANCE: "mm",
    Quantity.TEMPERATURE: "°C",
    Quantity.SPEED: "rpm",
    Quantity.POWER: "kW",
    Quantity.DURATION: "h",
}
"""The unit in which each quantity is stored."""

_LENGTHS: dict[str, float] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "µm": 0.001,
    "mil": MM_PER_MIL,
    "thou": MM_PER_MIL,
    "in": MM_PER_INCH,
}

_FACTORS: dict[Quantity, dict[str, float]] = {
    Quantity.OFFSET: _LENGTHS,
    Quantity.DISTANCE: _LENGTHS,
    Quantity.ANGULARITY: {
        "mm/m": 1.0,
        "mrad": 1.0,
        "mil/in": 1.0,
        "thou/in": 1.0,
        "µm/m": 0.001,
        "mm/100mm": 10.0,
        "mil/ft": 1.0 / 12.0,
    },
    Quantity.TEMPERATURE: {"°C": 1.0, "°F": 1.0, "K": 1.0},
    Quantity.SPEED: {"rpm": 1.0, "Hz": 60.0},
    Quantity.POWER: {"kW": 1.0, "W": 0.001, "hp": KW_PER_HP},
    Quantity.DURATION: {"h": 1.0, "d": 24.0},
}

_SPELLINGS: dict[str, str] = {
    "um": "µm", "μm": "µm", "micron": "µm", "microns": "µm", "micrometre": "µm", "micrometer": "µm",
    "mils": "mil", "thous": "thou", "th": "thou", "inch": "in", "inches": "in", '"': "in",
    "millimetre": "mm", "millimeter": "mm", "millimetres": "mm", "millimeters": "mm",
    "mils/in": "mil/in", "mil/inch": "mil/in", "mils/inch": "mil/in", "mil/1in": "mil/in",
    "thou/inch": "thou/in", "mm/metre": "mm/m", "mm/meter": "mm/m", "mm/1000mm": "mm/m",
    "um/m": "µm/m", "μm/m": "µm/m", "µrad": "µm/m", "μrad": "µm/m", "urad": "µm/m", "mm/100": "mm/100mm", "mm/10cm": "mm/100mm", "mils/ft": "mil/ft",
    "c": "°C", "degc": "°C", "ºc": "°C", "°c": "°C", "f": "°F", "degf": "°F", "ºf": "°F", "°f": "°F", "k": "K",
    "r/min": "rpm", "1/min": "rpm", "min-1": "rpm", "u/min": "rpm", "rev/min": "rpm", "hz": "Hz",
    "kw": "kW", "w": "W", "bhp": "hp", "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "day": "d", "days": "d",
}  # fmt: skip

_MOST_TYPED = 120
_NUMBER = re.compile(r"^\s*([+-]?\s*(?:\d[\d.,'’\s]*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
DASHES = str.maketrans(dict.fromkeys("−–‒\u2010\u2011\ufe63\uff0d", "-"))
"""Minus, dashes and hyphens (one that does not break comes from text programs and phones) that stand before a number or in a date."""
_PER_MINUTE = re.compile(r"(?<=\d)[\s\u00a0\u202f]+1\s*/\s*min\b", re.IGNORECASE)
"""A unit that begins with a digit: behind a blank it would be read as one more digit of the number."""
_FRACTION = re.compile(r"^\s*([+-]?)\s*(?:(\d+)\s*)??(?:(\d+)\s*[/⁄]\s*(\d+)|([¼-¾⅐-⅞]))")
_OF_RULES = {2, 4, 8, 16, 32, 64, 128, 100, 1000, 10_000}
_SIDES = re.compile(
    r"(?:too\s+)?(?:high|low|up|down|left|right|above|below|open|closed|top|bottom|inboard|outboard|hoch|tief|oben|unten|links|rechts|haut|bas)\b",
    re.IGNORECASE,
)
"""Words for a direction that stand behind a reading."""
_REMARKS = {"ok", "o.k", "okay", "good", "bad", "new", "old", "est", "approx", "gut", "neu", "bon", "i.o", "n.i.o"}
"""Remarks behind a reading; anything else with letters is taken for a unit that is not understood."""
_SPACES = re.compile(r"[\s\u00a0\u202f\u2009'’]")
_INSIDE = re.compile(r"(?<=[\d.,])[\s'’]+(?=[\d.,])")
_BY_BLANKS = re.compile(r"^\s*[+-]?\s*[1-9]\d{0,2}([\s'’]\d{3})+(?:[.,]\d+)?(?:[eE][+-]?\d+)?\s*$")
_GROUPED = {
    ".": re.compile(r"^[+-]?\d{1,3}(,\d{3})+(\.\d+)?([eE][+-]?\d+)?$"),
    ",": re.compile(r"^[+-]?\d{1,3}(\.\d{3})+(,\d+)?([eE][+-]?\d+)?$"),
}


class Decimal(StrEnum):
    """Which sign stands before the decimals of a typed number."""

    POINT = "."
    COMMA = ","
    AUTO = "auto"


@dataclass(frozen=True, slots=True)
class Parsed:
    """A typed number: its value in the stored unit, the unit it was in, and the text."""

    value: float
    unit: str
    typed: str


def canonical_unit(text: str, quantity: Quantity) -> str:
    """Give the one spelling of a unit that is used here.

    Parameters
    ----------
    text : str
        Unit as typed, e.g. ``"thou"``, ``"MM"``, ``"mm/100 mm"``. [unitless]
    quantity : Quantity
        What the number measures. [unitless]

    Raises
    ------
    NotAQuantityError
        If the unit is not one for this quantity.
    """
    squeezed = _SPACES.sub("", text).replace("／", "/").strip(".[]()")
    known = _FACTORS[quantity]
    for candidate in (squeezed, _SPELLINGS.get(squeezed.lower(), ""), squeezed.lower()):
        if candidate in known:
            return candidate
    # Capitals are typed freely ("MM", "Mil"), but W and kW, K and k must not be confused by that: exact came first.
    for name in known:
        if name.lower() == squeezed.lower():
            return name
    raise NotAQuantityError(text, Told("told.expected.unit_of", quantity=quantity.told, units=", ".join(known)))


def units_for(quantity: Quantity) -> tuple[str, ...]:
    """Give the units that are understood for a quantity, the stored one first."""
    return tuple(_FACTORS[quantity])


def to_stored(value: float, unit: str, quantity: Quantity) -> float:
    """Convert a value to the stored unit of its quantity.

    Parameters
    ----------
    value : float
        The number as read. [unit]
    unit : str
        A canonical unit of ``quantity``. [unitless]
    quantity : Quantity
        What the number measures. [unitless]
    """
    if quantity is Quantity.TEMPERATURE:
        if unit == "°F":
            return (value - 32.0) / 1.8
        return value - 273.15 if unit == "K" else value
    return value * _FACTORS[quantity][unit]


def from_stored(value: float, unit: str, quantity: Quantity) -> float:
    """Convert a stored value to another unit; the inverse of :func:`to_stored`."""
    if quantity is Quantity.TEMPERATURE:
        if unit == "°F":
            return value * 1.8 + 32.0
        return value + 273.15 if unit == "K" else value
    return value / _FACTORS[quantity][unit]


def parse_number(text: str, decimal: Decimal = Decimal.AUTO) -> float:
    """Read a plain number in the spellings that people use.

    A decimal comma or point, grouped thousands, a true minus sign, a sign with
    a blank after it, and no-break blanks are understood; a blank or apostrophe
    between digits only where it groups thousands.  With ``AUTO`` a single
    comma or point is the decimal sign, unless exactly three digits follow it and
    one to three stand before it and the first is not 0 (``1,234``): that can be
    read two ways and is refused, because a guess would be wrong by a thousand.

    Raises
    ------
    NotAQuantityError
        If the text is no number, is not finite, or can be read two ways.
    """
    signed = _short(text).translate(DASHES)
    if _INSIDE.search(signed) and not _BY_BLANKS.match(signed):
        # '1 2' may be 12 or two numbers, and '0 05' lost its point
        raise NotAQuantityError(text.strip(), Told("told.expected.blank"))
    if signed.rstrip().endswith(("'", "’")):
        raise NotAQuantityError(text.strip(), Told("told.expected.number"))  # 2' are two feet, and no length here
    bare = _SPACES.sub("", signed)
    mark = decimal if decimal is not Decimal.AUTO else _decimal_sign(bare, text)
    other = "," if mark == "." else "."
    if other in bare:
        if not _GROUPED[mark].match(bare):
            # Which sign stands before the decimals is only told where somebody said so: a guessed one explains nothing.
            told = Told("told.expected.number") if decimal is Decimal.AUTO else Told("told.expected.decimal", mark=mark)
            raise NotAQuantityError(text, told)
        bare = bare.replace(other, "")
    try:
        value = float(bare.replace(mark, "."))
    except ValueError:
        raise NotAQuantityError(text, Told("told.expected.number")) from None
    if not math.isfinite(value):
        raise NotAQuantityError(text, Told("told.expected.finite"))
    return value + 0.0  # -0.0 becomes 0.0: the two would be different bytes in the book.


def _decimal_sign(bare: str, text: str) -> str:
    point, comma = bare.rfind("."), bare.rfind(",")
    if point >= 0 and comma >= 0:
        return "." if point > comma else ","
    if comma < 0:
        return "." if bare.count(".") <= 1 else ","
    if bare.count(",") > 1:
        return "."
    whole, _, rest = bare.lstrip("+-").partition(",")
    if len(rest) == 3 and rest.isdigit() and 1 <= len(whole) <= 3 and whole[0] != "0":
        raise NotAQuantityError(text, Told("told.expected.one_way"))
    return ","


def parse(text: str, quantity: Quantity, unit: str, decimal: Decimal = Decimal.AUTO) -> Parsed:
    """Read a typed number, with its own unit or in the unit that is assumed.

    Parameters
    ----------
    text : str
        As typed: ``"2.5 mil"``, ``"0,06 mm"``, ``"-3"``. [as typed]
    quantity : Quantity
        What the number measures. [unitless]
    unit : str
        The canonical unit of a number that carries none. [unitless]
    decimal : Decimal
        The decimal sign, if it is known. [unitless]

    Returns
    -------
    Parsed
        Value in the stored unit, the unit it was in, and the text as typed.

    Raises
    ------
    NotAQuantityError
        If it is no number, or its unit does not fit the quantity.
    """
    signed = _plain(_short(text))
    if (fraction := _FRACTION.match(signed)) is not None and _is_division(fraction):
        number = _decimals(fraction)
        told = Told("told.expected.fraction", number=number) if number else Told("told.expected.two_numbers")
        raise NotAQuantityError(text.strip(), told)
    match = _NUMBER.match(signed)
    if match is None:
        raise NotAQuantityError(text, Told("told.expected.number_of", quantity=quantity.told))
    own = _own_unit(match[2], quantity, text) if match[2] else unit
    value = to_stored(parse_number(match[1], decimal), own, quantity)
    return Parsed(value + 0.0, own, text.strip())


def _short(text: str) -> str:
    """Refuse a text that is longer than any number with its unit: looking at it would take long."""
    if len(text) <= _MOST_TYPED:
        return text
    if len(text := text.strip()) > _MOST_TYPED:
        raise NotAQuantityError(f"{text[:40]}…", Told("told.expected.shorter", most=str(_MOST_TYPED)))
    return text


def _plain(text: str) -> str:
    """Write a typed number with a plain minus, and with a unit that begins with a letter."""
    return _PER_MINUTE.sub(" r/min", text.translate(DASHES))


def _is_division(fraction: re.Match[str]) -> bool:
    """Tell whether something is divided, or two whole numbers stand beside one another; by nothing it is neither."""
    _, _, above, below, _ = fraction.groups()
    return below is None or (len(above + below) <= 9 and int(below) > 0)


def _decimals(fraction: re.Match[str]) -> str:
    """Write a fraction with decimals; nothing where it may be two numbers: '1480/990' are two speeds, '5/10' found and left.

    What rules bear is a fraction (halves down to 128ths), and so are hundredths and thousandths.
    """
    minus, whole, above, below, sign = fraction.groups()
    plain = sign is None and "/" in fraction[0]  # the sign of fractions parts no two numbers
    if plain and (int(below) not in _OF_RULES or not 0 < int(above) < int(below)):
        return ""
    part = unicodedata.numeric(sign) if sign else int(above) / int(below)
    return f"{minus.strip('+')}{int((whole or '0')[:9]) + part:.6g}"


def written_unit(text: str) -> str:
    """Give the unit that stands behind a typed number, as it is written; empty where there is none."""
    match = _NUMBER.match(_plain(text))
    return "" if match is None else match[2]


def _own_unit(written: str, quantity: Quantity, text: str) -> str:
    try:
        return canonical_unit(written, quantity)
    except NotAQuantityError as fault:
        told: str = fault.expected
        if any(letter.isdigit() for letter in written):  # '0.O5' is a slip in a number, and 'O5' no unit
            told = Told("told.expected.number_of", quantity=quantity.told)
        elif _SIDES.search(written):
            told = Told("told.expected.side", word=written)
        elif written.strip(" .").lower() in _REMARKS or not any(map(str.isalpha, written)):
            told = Told(
                "told.expected.behind", quantity=quantity.told, units=", ".join(_FACTORS[quantity]), word=written
            )
        raise NotAQuantityError(text.strip(), told) from None


@dataclass(frozen=True, slots=True)
class Display:
    """How a site reads its numbers: lengths in mm or mil, temperatures in °C or °F."""

    length: str = "mm"
    temperature: str = "°C"

    def __post_init__(self) -> None:
        """Refuse units that a site cannot choose."""
        if self.length not in {"mm", "mil"} or self.temperature not in {"°C", "°F"}:
            raise InvalidValueError(
                f"A site shows lengths in mm or mil and temperatures in °C or °F, not {self.length}, {self.temperature}."
            )

    def unit(self, quantity: Quantity) -> str:
        """Give the unit in which this site reads a quantity."""
        metric = self.length == "mm"
        if quantity is Quantity.OFFSET:
            return self.length
        if quantity is Quantity.ANGULARITY:
            return "mm/m" if metric else "mil/in"
        if quantity is Quantity.DISTANCE:
            return "mm" if metric else "in"
        if quantity is Quantity.TEMPERATURE:
            return self.temperature
        return STORED_UNIT[quantity]

    def decimals(self, quantity: Quantity) -> int:
        """Give how many decimals are worth showing: about a tenth of a good dial's division."""
        if quantity is Quantity.OFFSET:
            return 3 if self.length == "mm" else 1
        if quantity is Quantity.ANGULARITY:
            return 2
        return 0 if quantity is not Quantity.DISTANCE or self.length == "mm" else 1

    def show(self, value: float, quantity: Quantity) -> float:
        """Convert a stored value to the unit that this site reads."""
        return from_stored(value, self.unit(quantity), quantity)

    def text(self, value: float | None, quantity: Quantity, *, signed: bool = False, with_unit: bool = True) -> str:
        """Write a stored value for a person: converted, rounded, with its unit; '–' where it is unknown."""
        if value is None or not math.isfinite(value):
            return "–"
        if quantity is Quantity.DURATION:
            number = f"{value:.2f}".rstrip("0").rstrip(".")  # hours of a counter: a fraction only where there is one
            return f"{number} {self.unit(quantity)}" if with_unit else number
        places = self.decimals(quantity)
        if quantity is Quantity.TEMPERATURE:  # a tenth only where there is one: a change of half a degree is one
            places = int(round(self.show(value, quantity), 1) % 1 != 0)
        shown = round(self.show(value, quantity), places) + 0.0
        number = f"{shown:+.{places}f}" if signed and shown else f"{shown:.{places}f}"
        number = number.replace("-", "−")
        return f"{number} {self.unit(quantity)}" if with_unit else number
