"""What was moved on a visit, held against what machines are moved by, and against what was measured before and after.

Little is asked on purpose: shims are pressed together, feet settle, an as-found may have been read warm, and not
every move is written down.  The bounds are this project's own, common sense, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, zip_longest
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.errors import NotAQuantityError
from models.maths.geometry import deviation, line_at, line_through
from models.maths.plausible import Check, Doubt, Gravity
from models.maths.sizes import MOVE_ODD_MM
from models.maths.slips import limit_scale
from models.maths.soft_foot import MIN_MEASURED
from models.sentences.told import Told
from models.units import Display, Quantity, parse
from models.values.asset import Asset
from models.values.job import FeetValues, Job
from models.values.limits import LimitsGiven

FloatArray = NDArray[np.float64]

WORTH: Final = 0.5
"""Share of the limit that moves and measured change each have to reach: one against the other they are then a limit apart."""

TURNED: Final = 1.0 / 3.0
"""What may be left of the difference once the signs of the moves are turned: they are then between half and double the measured change."""

APART_MM: Final = 0.1
"""Moves and measured change that are no farther apart than this at every row of feet are no contradiction, however small the limit: feet settle,
and an as-found may have been read warm."""


def check_moves(job: Job, asset: Asset, limits: LimitsGiven, display: Display) -> tuple[Check, ...]:
    """Check the shims and side moves of a job.

    Parameters
    ----------
    job : Job
        What is to be recorded. [as stored]
    asset : Asset
        The machine as it is described for that day. [as stored]
    limits : LimitsGiven
        Limits in force. [mm, mm/m]
    display : Display
        Units for the sentences. [unitless]

    Returns
    -------
    tuple of Check
        Moves that are larger than moves are, moves though nothing changed, moves against the measured change or at other feet than it
        says, and left and right of a row that are too far apart.
    """
    measured = _measured(job, asset, limits, display)
    # Numbers that stand at the wrong feet are one slip: what they would do to the machine there is not asked beside it.
    twisted = [] if any(check.field.startswith("moves_v") for check in measured) else _twisted(job, limits, display)
    return (*_size(job, display), *_nothing(job), *measured, *twisted)


def _size(job: Job, display: Display) -> list[Check]:
    """Tell the largest odd shim and the largest odd side move: what is wrong with one is wrong with all."""
    found = []
    for axis, values in (("v", job.moves_v.values), ("h", job.moves_h.values)):
        place = max(range(len(values)), key=lambda at: abs(values[at] or 0.0), default=0)
        move = values[place] if values else None
        if move is None or abs(move) <= MOVE_ODD_MM:
            continue
        text, bound = display.text(move, Quantity.OFFSET, signed=True), display.text(MOVE_ODD_MM, Quantity.OFFSET)
        if axis == "v":
            sentence = Told("told.move.odd.v", foot=f"{place // 2 + 1}{'LR'[place % 2]}", move=text, bound=bound)
        else:
            sentence = Told("told.move.odd.h", row=place // 2 + 1, move=text, bound=bound)
        found.append(Check(Doubt.MOVE, Gravity.REASON, sentence, f"moves_{axis}.{place + 1}"))
    return found


def _nothing(job: Job) -> list[Check]:
    if job.found is None or job.left != job.found:
        return []
    for axis, feet in (("v", job.moves_v), ("h", job.moves_h)):
        place = next((at for at, move in enumerate(feet.values, start=1) if move), None)
        if place is not None:
            return [Check(Doubt.MOVED_NOTHING, Gravity.REASON, Told("told.move.nothing"), f"moves_{axis}.{place}")]
    return []


def _measured(job: Job, asset: Asset, limits: LimitsGiven, display: Display) -> list[Check]:
    """Hold the moves against left − found, whatever the target is: vertical and horizontal each by itself."""
    if job.found is None or job.left is None or job.left == job.found:
        return []
    machine = _machine(job)
    if machine not in {"movable", "stationary"}:
        return []  # where both were moved, whose feet the numbers are of is not known
    x = _distances(job, asset, machine)
    if len(x) < 2 or max(x) - min(x) < 1.0:
        return []
    sign = 1.0 if machine == "movable" else -1.0
    change = sign * np.array(deviation(job.left, job.found).as_tuple())
    went = line_at(change[None, :], np.array(x))[0]
    scale = np.array(limit_scale(limits, asset.coupling, asset.span_mm))
    found = []
    for axis, feet, place in (("v", job.moves_v, 0), ("h", job.moves_h, 1)):
        moved = _rows(feet, axis)
        if len(moved) != len(x):
            continue
        line = np.array(line_through(np.array(x), moved)) / scale
        row = int(np.argmax(np.abs(moved - went[:, place])))
        if abs(moved[row] - went[row, place]) <= APART_MM:
            continue
        by, to = (display.text(float(y), Quantity.OFFSET, signed=True) for y in (moved[row], went[row, place]))
        on = change[2 * place : 2 * place + 2] / scale
        at = f"moves_{axis}.{2 * row + 1}"
        # At the feet too: where only a line drawn on to the coupling turns its sign, nothing is contradicted.
        if _opposed(line, on) and not np.any(moved * went[:, place] > 0):
            sentence = Told(f"told.move.against.{axis}.{machine}", row=row + 1, moved=by, went=to)
            found.append(Check(Doubt.MOVED_AGAINST, Gravity.REASON, sentence, at))
        elif float(np.linalg.norm(line - on)) >= WORTH:
            told = _misplaced(feet, axis, moved, went[:, place], (row + 1, by, to))
            found += [Check(Doubt.MISPLACED, Gravity.REASON, told, at)] if told else []
    return found


def _misplaced(
    feet: FeetValues, axis: str, moved: FloatArray, went: FloatArray, said: tuple[int, str, str]
) -> Told | None:
    """Say at which other feet the moves would give the measured change: of two rows exchanged, or left and right taken for rows."""
    row, by, to = said
    may = TURNED * float(np.max(np.abs(moved - went)))
    for one, other in combinations(range(len(moved)), 2):
        exchanged = moved.copy()
        exchanged[[one, other]] = moved[[other, one]]
        if np.max(np.abs(exchanged - went)) <= may:
            return Told(f"told.move.rows.{axis}", one=one + 1, other=other + 1, row=row, moved=by, went=to)
    values = feet.values
    if axis == "v" and len(moved) == 2 and len(values) == 4 and None not in values:
        sides = np.array(values, dtype=float).reshape(2, 2).min(axis=0)
        if np.max(np.abs(sides - went)) <= may:
            return Told("told.move.sides", row=row, moved=by, went=to)
    return None


def _twisted(job: Job, limits: LimitsGiven, display: Display) -> list[Check]:
    """Tell where left and right of a row went so far apart that the machine stands twisted, and a foot that is blank beside one that was shimmed.

    What fills the gap of a foot whose rise was measured is no twist; where no rise was measured only a tilt of all rows to
    one side is asked about, for one soft foot is filled under one foot.  Rises that were measured afterwards answer it.
    """
    limit = limits.soft_foot_mm
    if (
        limit is None
        or _machine(job) != "movable"
        or sum(rise is not None for rise in job.soft_after.values) >= MIN_MEASURED
    ):
        return []
    most = max(limit, APART_MM)
    pairs, rises = _pairs(job.moves_v), dict(enumerate(_pairs(job.soft_before)))
    known: dict[int, float] = {}
    halves = []
    for row, (left, right) in enumerate(pairs):
        one = left if right is None else right
        if left is not None and right is not None:
            known[row] = left - right
        elif one is not None and abs(one) > most:
            move = display.text(one, Quantity.OFFSET, signed=True)
            blank = f"moves_v.{2 * row + (2 if right is None else 1)}"
            halves.append(Check(Doubt.TWISTED, Gravity.NOTE, Told("told.move.half", row=row + 1, move=move), blank))
    over = {}
    for row, apart in known.items():
        left, right = rises.get(row, (None, None))
        if left is not None and right is not None:
            over[row] = max(min(0.0, left - right) - apart, apart - max(0.0, left - right))
    if not over and len(known) == len(pairs) > 1 and abs(sum(np.sign(list(known.values())))) == len(pairs):
        over = dict.fromkeys(known, min(abs(apart) for apart in known.values()))
    row = max(over, key=lambda at: over[at], default=-1)
    if row < 0 or over[row] <= most:
        return halves
    by_left, by_right = (display.text(move, Quantity.OFFSET, signed=True) for move in pairs[row])
    bound = display.text(limit, Quantity.OFFSET)
    sentence = Told("told.move.twist", row=row + 1, left=by_left, right=by_right, limit=bound)
    return [*halves, Check(Doubt.TWISTED, Gravity.REASON, sentence, f"moves_v.{2 * row + 1}")]


def _pairs(feet: FeetValues) -> list[tuple[float | None, float | None]]:
    """Give left and right of each row."""
    return list(zip_longest(feet.values[::2], feet.values[1::2]))


def _machine(job: Job) -> str:
    """Give whose feet the moves are of, as a form is read that does not say it."""
    return next(iter(job.typed.get("moves", "").split()), "movable")


def _opposed(moved: FloatArray, went: FloatArray) -> bool:
    """Tell whether two changes of offset and angularity, in units of the limit, are about each other's negative."""
    apart, turned = float(np.linalg.norm(moved - went)), float(np.linalg.norm(moved + went))
    return min(float(np.linalg.norm(moved)), float(np.linalg.norm(went))) >= WORTH and turned <= TURNED * apart


def _rows(feet: FeetValues, axis: str) -> FloatArray:
    """Give one move a row of feet; none at all where a row is not known.

    What one foot of a row has more than the other lies under a soft foot and lifts nothing.
    """
    rows: list[float] = []
    for place in range(0, len(feet.values), 2):
        row = [move for move in feet.values[place : place + 2] if move is not None]
        if not row:
            return np.array([])
        rows.append(min(row) if axis == "v" else sum(row) / len(row))
    return np.array(rows)


def _distances(job: Job, asset: Asset, machine: str) -> Sequence[float]:
    """Give the distances of the rows of a machine, as they were typed over for this job; none where one is not understood."""
    known = asset.feet_movable_mm if machine == "movable" else asset.feet_stationary_mm
    x, beginning = dict(enumerate(known, start=1)), f"feet.{machine}."
    for name, text in job.typed.items():
        row = name.removeprefix(beginning).removesuffix(".at")
        if name == f"{beginning}{row}.at" and row.isdigit():
            try:
                at = parse(text, Quantity.DISTANCE, "mm").value
            except NotAQuantityError:
                return ()
            x[int(row)] = at if machine == "movable" else -abs(at)
    return [x[row] for row in sorted(x)] if all(row in x for row in range(1, len(x) + 1)) else ()
