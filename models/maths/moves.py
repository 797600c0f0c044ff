"""What each foot needs: shims and side moves, for either machine or both, within what the feet allow.

A machine is rigid: its rows of feet move on a straight line, whatever their
number.  Where some feet cannot move far enough the moves are those that leave the
smallest limit ratio, and what remains is stated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from models.errors import InvalidValueError
from models.maths.bounded import least_squares_within
from models.maths.geometry import after_moves
from models.maths.smallest_ratio import Point, Strip, smallest, strip, summed
from models.sentences.told import Told
from models.values.job import Misalignment

FloatArray = NDArray[np.float64]

SHORT_SCALE: Final = (0.12, 1.0)
"""How much offset [mm] weighs as much as how much angularity [mm/m]: as in the starter set, this project's own."""

CORRECTED_WITHIN: Final = 1e-6
"""A remainder below this, in mm and mm/m, is arithmetic and no misalignment."""

_LEFT: Final = 1e-9
"""Parts of the scale below which a remainder is arithmetic."""


class Moving(StrEnum):
    """Which machine is moved."""

    MOVABLE = "movable machine"
    STATIONARY = "stationary machine"
    BOTH = "both machines"


@dataclass(frozen=True, slots=True)
class FootRow:
    """A row of feet (left and right) and how far it can go; infinite where nothing stops it.

    ``shim_out_mm`` is what lies under the feet and can be taken out: 0 for a
    base-bound row.  ``left_mm`` and ``right_mm`` are the room that the bolt
    holes leave: 0 for a bolt-bound row.
    """

    x_mm: float
    shim_out_mm: float = math.inf
    shim_in_mm: float = math.inf
    left_mm: float = math.inf
    right_mm: float = math.inf

    def __post_init__(self) -> None:
        """Refuse a row at the coupling centre, and negative room."""
        if not math.isfinite(self.x_mm) or self.x_mm == 0:
            raise InvalidValueError(Told("told.needs.at_zero"))
        if not all(room >= 0 for room in (self.shim_out_mm, self.shim_in_mm, self.left_mm, self.right_mm)):
            raise InvalidValueError(Told("told.needs.room"))


@dataclass(frozen=True, slots=True)
class MachineMoves:
    """Moves of one machine, one number a row of feet, from the coupling.

    ``shims_mm`` + is put in, − is taken out; ``side_mm`` + is to the right.
    ``held_v`` and ``held_h`` tell which rows went as far as they can.
    """

    x_mm: tuple[float, ...]
    shims_mm: tuple[float, ...]
    side_mm: tuple[float, ...]
    held_v: tuple[bool, ...]
    held_h: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class MovePlan:
    """Moves of one machine or both, and the deviation that remains after them."""

    moving: Moving
    movable: MachineMoves | None
    stationary: MachineMoves | None
    remains: Misalignment

    @property
    def complete(self) -> bool:
        """Tell whether nothing remains."""
        return all(abs(value) < CORRECTED_WITHIN for value in self.remains.as_tuple())


def leaves_some(remains: Misalignment | None, *, vertical: bool) -> bool:
    """Tell whether something remains along one axis: a row that stays where it is then keeps it there.

    Parameters
    ----------
    remains : Misalignment or None
        What remains after the moves. [mm, mm/m]
    vertical : bool
        Which axis. [unitless]
    """
    if remains is None:
        return False
    pair = (remains.offset_v, remains.angle_v) if vertical else (remains.offset_h, remains.angle_h)
    return any(abs(value) >= CORRECTED_WITHIN for value in pair)


def spacer_scale(span_mm: float) -> tuple[float, float]:
    """Give the scale under which both flex planes of a spacer coupling weigh alike.

    Parameters
    ----------
    span_mm : float
        Distance between the flex planes. [mm]

    Returns
    -------
    tuple of two float
        Offset that weighs as much as an angularity of 1 mm/m: α² + β² = 2·(offset/span)² + angularity²/2. [mm, mm/m]
    """
    return (span_mm / 2000.0, 1.0)


def plan_moves(
    deviation: Misalignment,
    *,
    movable: Sequence[FootRow] = (),
    stationary: Sequence[FootRow] = (),
    moving: Moving = Moving.MOVABLE,
    scale: tuple[float, float] = SHORT_SCALE,
    each_axis: bool = False,
    at_flex_planes: bool = False,
    judged: tuple[bool, bool] = (True, True),
) -> MovePlan:
    """Give the moves that take a deviation away, or leave the smallest limit ratio that the feet allow.

    Parameters
    ----------
    deviation : Misalignment
        Measured − target, at the coupling centre. [mm, mm/m]
    movable, stationary : sequence of FootRow
        Rows of feet of each machine, from the coupling. [mm]
    moving : Moving
        Which machine is moved. [unitless]
    scale : tuple of two float
        Offset and angularity that count as equally bad where not both can be taken away: best the two
        limits in force, or what makes both flex planes weigh alike. [mm, mm/m]
    each_axis : bool
        Judge vertical and horizontal each by itself, not by their resultant. [unitless]
    at_flex_planes : bool
        Judge the angles at both flex planes of a spacer; ``scale`` is then :func:`spacer_scale` times their limit. [unitless]
    judged : tuple of two bool
        Whether offset and angularity have a limit: what has none comes second (:func:`models.maths.slips.judged_of`). [unitless]

    Returns
    -------
    MovePlan
        Moves per row, and what remains.

    Raises
    ------
    InvalidValueError
        If a machine that is moved has fewer than two rows, or rows that lie on the wrong side.

    Notes
    -----
    With one machine and no bounds each row simply gets −y(x) (movable) or +y(x)
    (stationary).  With both, the smallest moves are taken (least squares).  Where
    bounds leave something, the larger of the two judged sizes is made as small as it
    can be (:mod:`models.maths.smallest_ratio`); where one has no limit, the judged one,
    and then the other.
    """
    machines: list[tuple[float, tuple[FootRow, ...]]] = []
    if moving in {Moving.MOVABLE, Moving.BOTH}:
        machines.append((1.0, _checked(movable, "movable", 1.0)))
    if moving in {Moving.STATIONARY, Moving.BOTH}:
        machines.append((-1.0, _checked(stationary, "stationary", -1.0)))
    if not all(math.isfinite(unit) and unit > 0 for unit in scale):
        raise InvalidValueError("The scale of offset and angularity must be above 0.")
    d = deviation
    axes = [
        _Axis.of((d.offset_v, d.angle_v), machines, scale, ("shim_out_mm", "shim_in_mm")),
        _Axis.of((d.offset_h, d.angle_h), machines, scale, ("left_mm", "right_mm")),
    ]
    wanted: list[Point] = [(0.0, 0.0), (0.0, 0.0)]
    moved = [axis.moves(at) for axis, at in zip(axes, wanted, strict=True)]
    if any(axis.leaves(moves) for axis, moves in zip(axes, moved, strict=True)):
        reached = [axis.reached(at_flex_planes=at_flex_planes) for axis in axes]
        wanted = [smallest([strips], judged)[0] for strips in reached] if each_axis else smallest(reached, judged)
        moved = [axis.moves(_unjudged(at) if at_flex_planes else at) for axis, at in zip(axes, wanted, strict=True)]
    vertical, horizontal = (axis.by_machine(moves) for axis, moves in zip(axes, moved, strict=True))
    done = {
        sign: MachineMoves(tuple(row.x_mm for row in rows), *_numbers(v), *_numbers(h), *_held(rows, v, h))
        for (sign, rows), v, h in zip(machines, vertical, horizontal, strict=True)
    }
    moves = {sign: _as_arrays(done[sign]) if sign in done else None for sign in (1.0, -1.0)}
    remains = after_moves(deviation, movable=moves[1.0], stationary=moves[-1.0])
    return MovePlan(moving, done.get(1.0), done.get(-1.0), remains)


def _as_arrays(moves: MachineMoves) -> tuple[FloatArray, FloatArray, FloatArray]:
    return np.array(moves.x_mm), np.array(moves.shims_mm), np.array(moves.side_mm)


def _numbers(values: FloatArray) -> tuple[tuple[float, ...]]:
    return (tuple(float(value) + 0.0 for value in values),)


def _held(rows: Sequence[FootRow], v: FloatArray, h: FloatArray) -> tuple[tuple[bool, ...], tuple[bool, ...]]:
    def at(value: float, back: float, ahead: float) -> bool:
        return bool(value <= CORRECTED_WITHIN - back or value >= ahead - CORRECTED_WITHIN)

    vertical = tuple(at(x, row.shim_out_mm, row.shim_in_mm) for row, x in zip(rows, v, strict=True))
    return vertical, tuple(at(x, row.left_mm, row.right_mm) for row, x in zip(rows, h, strict=True))


def _checked(rows: Sequence[FootRow], name: str, side: float) -> tuple[FootRow, ...]:
    planes = [row.x_mm for row in rows]
    if len(planes) < 2 or max(planes) - min(planes) < 1.0:
        raise InvalidValueError(Told(f"told.needs.apart.{name}"), remedy=Told("told.needs.apart.remedy"))
    if any(side * plane < 0 for plane in planes):
        raise InvalidValueError(Told(f"told.needs.side.{name}"), remedy=Told("told.needs.side.remedy"))
    return tuple(rows)


def _unjudged(at: Point) -> Point:
    """Give offset and angularity, in parts of the scale, of two angles at flex planes in parts of their limit."""
    return at[0] - at[1], at[0] + at[1]


@dataclass(frozen=True, slots=True)
class _Axis:
    """One axis; the unknowns are the moves of the first and the last row of each machine.

    ``start`` is the deviation and ``effect`` what each unknown does to it, both in parts of the scale (offset, then
    angularity); ``placed`` gives the moves of the rows of each machine, bounded by ``lower`` and ``upper``.
    """

    start: FloatArray
    effect: FloatArray
    placed: tuple[FloatArray, ...]
    lower: FloatArray
    upper: FloatArray

    @classmethod
    def of(
        cls,
        deviation: Point,
        machines: list[tuple[float, tuple[FootRow, ...]]],
        scale: tuple[float, float],
        rooms: tuple[str, str],
    ) -> Self:
        """Put the problem of one axis together."""
        unknowns = 2 * len(machines)
        effect, placed = np.zeros((2, unknowns)), []
        for place, (sign, rows) in enumerate(machines):
            x = np.array([row.x_mm for row in rows])
            near, far = x[np.argmin(np.abs(x))], x[np.argmax(np.abs(x))]
            effect[:, 2 * place : 2 * place + 2] = (
                sign * np.array([[far, -near], [-1000.0, 1000.0]]) / (far - near)
            )  # offset and angularity of the line through the two moves
            share = np.zeros((x.size, unknowns))
            share[:, 2 * place] = (far - x) / (far - near)
            share[:, 2 * place + 1] = (x - near) / (far - near)
            placed.append(share)
        weight = 1.0 / np.array(scale)
        all_rows = [row for _, rows in machines for row in rows]
        lower = np.array([-getattr(row, rooms[0]) for row in all_rows])
        upper = np.array([getattr(row, rooms[1]) for row in all_rows])
        return cls(np.array(deviation) * weight, effect * weight[:, None], tuple(placed), lower, upper)

    def moves(self, wanted: Point) -> FloatArray:
        """Give the smallest moves that leave what is wanted, in parts of the scale, or what is nearest to it."""
        answer = least_squares_within(
            self.effect, np.array(wanted) - self.start, np.concatenate(self.placed), self.lower, self.upper
        )
        assert answer is not None  # noqa: S101 - no move at all keeps every bound
        return answer

    def leaves(self, moves: FloatArray) -> bool:
        """Tell whether moves leave more than arithmetic does."""
        return bool(np.abs(self.start + self.effect @ moves).max() > _LEFT)

    def by_machine(self, moves: FloatArray) -> list[FloatArray]:
        """Give the moves of all rows, machine by machine."""
        return [share @ moves for share in self.placed]

    def reached(self, *, at_flex_planes: bool) -> list[Strip]:
        """Give what can remain, in parts of what is judged, as strips."""
        turn = np.array([[0.5, 0.5], [-0.5, 0.5]]) if at_flex_planes else np.eye(2)
        start, sets, first = turn @ self.start, [], 0
        for place, share in enumerate(self.placed):
            own = slice(2 * place, 2 * place + 2)
            back = share[:, own] @ np.linalg.inv(turn @ self.effect[:, own])
            bounds = slice(first, first + len(share))
            made = zip(back.tolist(), self.lower[bounds].tolist(), self.upper[bounds].tolist(), strict=True)
            sets.append([found for (u, w), low, high in made if (found := strip((u, w), low, high)) is not None])
            first += len(share)
        strips = sets[0] if len(sets) == 1 else summed(*sets)
        moved = [one.normal[0] * start[0] + one.normal[1] * start[1] for one in strips]
        return [Strip(one.normal, one.low + by, one.high + by) for one, by in zip(strips, moved, strict=True)]
