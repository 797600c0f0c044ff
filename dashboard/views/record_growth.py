"""The target that thermal growth asks for, as it is typed on the Record page: worked out row by row, and shown before it is taken."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from dashboard.views.record_fields import MAX_ROWS, Fields
from dashboard.views.record_names import four_text
from dashboard.words import say, tell
from models.errors import InvalidValueError, NotAQuantityError
from models.intake.typed import read_number
from models.maths.growth import MATERIALS, PER_K_OF_PER_F, Material, RowGrowth, growth, target_from_growth
from models.units import Display, Quantity, parse_number
from models.values.asset import Asset
from models.values.job import COMPONENTS, Misalignment

FIELD: Final = "growth"
SIDES: Final = ("movable", "stationary")
OWN: Final = "own"
"""The choice of a coefficient that is typed."""

LEAST_ALPHA: Final = 0.5e-6
"""A smaller coefficient was typed as it is and not in millionths, in 1/K (this project's own bound)."""

_COMPUTED: Final = {"height": Quantity.DISTANCE, "cold": Quantity.TEMPERATURE, "hot": Quantity.TEMPERATURE}
_TYPED: Final = ("alpha", *_COMPUTED, "up", "right")


@dataclass(slots=True)
class Grown:
    """What the growth that is typed comes to: its working in ``lines``, what is wrong by field, and the target where all is there.

    ``typed`` tells whether anything is typed at all.
    """

    lines: list[str] = field(default_factory=list)
    wrong: list[tuple[str, str]] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    target: Misalignment | None = None
    typed: bool = False

    def source(self) -> str:
        """Give where the target comes from, for the field of that name."""
        return say("record.growth.source", growth="; ".join(self.told))


def material_name(number: int) -> str:
    """Give the value by which a material is chosen; the names of the materials are those of their sources."""
    return f"material {number}"


def alpha_unit(display: Display) -> str:
    """Give the unit of a coefficient where temperatures are shown so."""
    return f"µm/(m·{display.temperature})" if display.length == "mm" else f"µin/(in·{display.temperature})"


def alpha_text(alpha_per_k: float, display: Display) -> str:
    """Write a coefficient in its unit, without it.

    Parameters
    ----------
    alpha_per_k : float
        Coefficient of expansion. [1/K]
    display : Display
        Units. [unitless]
    """
    return f"{alpha_per_k * 1e6 / (PER_K_OF_PER_F if display.temperature == '°F' else 1.0):.3g}"


def grown(fields: Fields, asset: Asset, display: Display) -> Grown:
    """Work out what the growth in a form comes to.

    Parameters
    ----------
    fields : mapping of str to str
        The form. [as typed]
    asset : Asset
        The machine, with the distances of its feet. [as stored]
    display : Display
        Units of plain numbers, and of the working. [unitless]
    """
    return _Growing(fields, asset, display).work()


class _Growing:
    def __init__(self, fields: Fields, asset: Asset, display: Display) -> None:
        self.fields, self.asset, self.display = fields, asset, display
        self.result = Grown()

    def work(self) -> Grown:
        result = self.result
        rows = {side: list(self._rows(side)) for side in SIDES}
        result.typed = any(rows.values())
        if not result.typed or result.wrong or None in (*rows["movable"], *rows["stationary"]):
            return result
        movable, stationary = ([row for row in rows[side] if row is not None] for side in SIDES)
        for side, grows in zip(SIDES, (movable, stationary), strict=True):
            if len(grows) < 2:
                key = "record.growth.even" if grows else "record.growth.none"
                result.lines.append(say(key, side=say(f"record.name.{side}")))
        try:
            result.target = target_from_growth(movable, stationary)
        except InvalidValueError as fault:
            result.wrong.append((FIELD, tell(fault.message)))
            return result
        result.lines.append(say("record.growth.target", target=four_text(result.target, self.display)))
        return result

    def _rows(self, side: str) -> Iterator[RowGrowth | None]:
        """Give the growth of each row for which something is typed; ``None`` for one that is not whole."""
        begun = [row for row in range(1, MAX_ROWS + 1) if any(self._text(side, row, name) for name in _TYPED)]
        for row in begun:
            x = self._at(side, row)
            up = self._number(side, row, "up", Quantity.OFFSET)
            right = self._number(side, row, "right", Quantity.OFFSET)
            if x is None and len(begun) > 1:
                self.result.wrong.append((f"{FIELD}.{side}.{row}.height", say("record.growth.no_at")))
            rise = self._measured(side, row, up) if up is not None else self._computed(side, row)
            yield None if rise is None else RowGrowth(x or 0.0, rise, right or 0.0)

    def _text(self, side: str, row: int, name: str) -> str:
        return self.fields.get(f"{FIELD}.{side}.{row}.{name}", "").strip()

    def _number(self, side: str, row: int, name: str, quantity: Quantity) -> float | None:
        own = f"{FIELD}.{side}.{row}.{name}"
        parsed, problem = read_number(own, self.fields.get(own, ""), quantity, self.display)
        if problem is not None:
            self.result.wrong.append((own, tell(problem.text)))
        return None if parsed is None else parsed.value

    def _at(self, side: str, row: int) -> float | None:
        """Give how far a row lies from the coupling centre, as it is typed over or as the book has it. [mm]."""
        parsed, _ = read_number("", self.fields.get(f"feet.{side}.{row}.at", ""), Quantity.DISTANCE, self.display)
        known = self.asset.feet_movable_mm if side == "movable" else self.asset.feet_stationary_mm
        at = parsed.value if parsed is not None else known[row - 1] if row <= len(known) else None
        return None if at is None else abs(at) if side == "movable" else -abs(at)

    def _measured(self, side: str, row: int, up: float) -> float:
        text = self.display.text(up, Quantity.OFFSET, signed=True)
        self._tell(side, row, say("record.growth.measured", up=text), text)
        return up

    def _computed(self, side: str, row: int) -> float | None:
        alpha = self._alpha(side, row)
        given = [self._number(side, row, name, quantity) for name, quantity in _COMPUTED.items()]
        height, cold, hot = given
        if alpha is None or height is None or cold is None or hot is None:
            words = (
                say("record.growth.alpha"),
                say("record.growth.height"),
                say("record.growth.cold"),
                say("record.growth.hot"),
            )
            names = [word for word, value in zip(words, (alpha, *given), strict=True) if value is None]
            self.result.lines.append(
                say("record.growth.missing", row=say(f"record.row.short.{side}", row=row), what=", ".join(names))
            )
            return None
        try:
            rise = growth(alpha, height, hot - cold)
        except InvalidValueError as fault:
            self.result.wrong.append((f"{FIELD}.{side}.{row}.height", tell(fault.message)))
            return None
        warmer = hot - cold if self.display.temperature == "°C" else (hot - cold) * PER_K_OF_PER_F
        text = self.display.text(rise, Quantity.OFFSET, signed=True)
        product = say(
            "record.growth.product", alpha=alpha_text(alpha, self.display), unit=alpha_unit(self.display), up=text,
            height=self.display.text(height, Quantity.DISTANCE), warmer=f"{warmer:.4g} {self.display.temperature}".replace("-", "−"),
        )  # fmt: skip
        self._tell(side, row, product, product)
        return rise

    def _alpha(self, side: str, row: int) -> float | None:
        own, chosen = f"{FIELD}.{side}.{row}.alpha", self._text(side, row, "material")
        typed = self._text(side, row, "alpha")
        material = next((one for number, one in enumerate(MATERIALS) if chosen == material_name(number)), None)
        if material is not None:
            if typed:
                self.result.wrong.append((own, say("record.growth.one")))
            return material.alpha_per_k
        if not typed:
            return None
        try:
            value = parse_number(typed) * 1e-6 * (PER_K_OF_PER_F if self.display.temperature == "°F" else 1.0)
            if 0 < value < LEAST_ALPHA:
                self.result.wrong.append((own, say("record.growth.millionths")))
                return None
            return Material(typed, value, OWN).alpha_per_k
        except (NotAQuantityError, InvalidValueError) as fault:
            self.result.wrong.append((own, tell(fault.message)))
            return None

    def _tell(self, side: str, row: int, working: str, short: str) -> None:
        name = say(f"record.row.short.{side}", row=row)
        self.result.lines.append(say("record.growth.row", row=name, working=working))
        self.result.told.append(say("record.growth.row", row=name, working=short))


def taken_fields(target: Misalignment, source: str, display: Display) -> dict[str, str]:
    """Give what taking a target over puts into the form: numbers as far as they are worth writing, and where they come from.

    Parameters
    ----------
    target : Misalignment
        The target that was worked out. [mm, mm/m]
    source : str
        Where it comes from. [unitless]
    display : Display
        Units. [unitless]
    """
    fields = {
        f"target.{name}": display.text(value, Quantity.OFFSET if name.startswith("offset") else Quantity.ANGULARITY)
        for name, value in zip(COMPONENTS, target.as_tuple(), strict=True)
    }
    return fields | {"target.source": source}
