"""The rows of a limit set in words and in the units of the page."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.words import say
from models.units import Display, Quantity
from models.values.limits import Combine, Judged, LimitRow, LimitSet

QUANTITY = {
    Judged.OFFSET: Quantity.OFFSET,
    Judged.ANGULARITY: Quantity.ANGULARITY,
    Judged.FLEX_ANGLE: Quantity.ANGULARITY,
    Judged.SOFT_FOOT: Quantity.OFFSET,
}
"""What each limit is measured in."""


@dataclass(frozen=True, slots=True)
class RowLine:
    """One row, each cell as a person reads it."""

    judged: str
    coupling: str
    speed: str
    limit: str
    combine: str

    @property
    def says(self) -> str:
        """Give the row as one text."""
        return say("rows.says", judged=self.judged, coupling=self.coupling, speed=self.speed, limit=self.limit)


def row_lines(limit_set: LimitSet, display: Display) -> tuple[RowLine, ...]:
    """Write the rows of a set.

    Parameters
    ----------
    limit_set : LimitSet
        The set. [unitless]
    display : Display
        Units of the page. [unitless]
    """
    return tuple(
        RowLine(
            say(f"judged.{row.judged}"),
            say(f"coupling.{row.coupling}") if row.coupling else say("rows.any"),
            _speed(row),
            limit_text(row, display),
            say("combine.none") if row.judged is Judged.SOFT_FOOT else say(f"combine.{Combine(row.combine)}"),
        )
        for row in limit_set.rows
    )


def limit_text(row: LimitRow, display: Display) -> str:
    """Write the limit of a row: a value, or a law of speed with its cap.

    Parameters
    ----------
    row : LimitRow
        The row. [unitless]
    display : Display
        Units of the page. [unitless]
    """
    quantity = QUANTITY[row.judged]
    if row.per_rpm is None:
        return say("rows.value", value=display.text(row.value, quantity))
    unit, factor = display.unit(quantity), factor_text(row.per_rpm, quantity, display)
    if row.floor_rpm <= 0:
        return say("rows.law", factor=factor, unit=unit)
    cap = display.text(row.per_rpm / row.floor_rpm, quantity)
    return say("rows.law.capped", factor=factor, unit=unit, cap=cap, floor=f"{row.floor_rpm:g}")


def factor_text(per_rpm: float, quantity: Quantity, display: Display) -> str:
    """Write the factor of a law of speed in the unit of the page, with five digits at most.

    Parameters
    ----------
    per_rpm : float
        Limit × speed. [mm·rpm or mm/m·rpm]
    quantity : Quantity
        What the limit is for. [unitless]
    display : Display
        Units of the page. [unitless]
    """
    return f"{display.show(per_rpm, quantity):.5g}"


def _speed(row: LimitRow) -> str:
    low, high = f"{row.above_rpm:g}", "" if row.upto_rpm is None else f"{row.upto_rpm:g}"
    if row.above_rpm > 0:
        return say("rows.speed.between", low=low, high=high) if high else say("rows.speed.above", low=low)
    return say("rows.speed.upto", high=high) if high else say("rows.speed.all")
