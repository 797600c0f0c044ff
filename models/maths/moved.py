"""What was moved on a visit, held against what machines are moved by, and against what was measured before and after.

Little is asked on purpose: shims are pressed together, feet settle, an as-found may have been read warm, and not
every move is written down.  The bounds are this project's own, common sense, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.errors import NotAQuantityError
from models.maths.geometry import deviation, line_at, line_through
from models.maths.plausible import Check, Doubt, Gravity
from models.maths.sizes import MOVE_ODD_MM
from models.maths.slips import limit_scale
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
        Moves that are larger than moves are, moves though nothing changed, and moves against the measured change.
    """
    return (*_size(job, display), *_nothing(job), *_against(job, asset, limits, display))


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


def _against(job: Job, asset: Asset, limits: LimitsGiven, display: Display) -> list[Check]:
    """Hold the moves against left − found, whatever the target is: vertical and horizontal each by itself."""
    if job.found is None or job.left is None or job.left == job.found:
        return []
    machine = next(iter(job.typed.get("moves", "").split()), "movable")  # as a form is read that does not say it
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
        line = np.array(line_through(np.array(x), moved))
        row = int(np.argmax(np.abs(moved - went[:, place])))
        if not _opposed(line / scale, change[2 * place : 2 * place + 2] / scale):
            continue
        # At the feet too: where only a line drawn on to the coupling turns its sign, nothing is contradicted.
        if np.any(moved * went[:, place] > 0) or abs(moved[row] - went[row, place]) <= APART_MM:
            continue
        by, to = (display.text(float(y), Quantity.OFFSET, signed=True) for y in (moved[row], went[row, place]))
        sentence = Told(f"told.move.against.{axis}.{machine}", row=row + 1, moved=by, went=to)
        found.append(Check(Doubt.MOVED_AGAINST, Gravity.REASON, sentence, f"moves_{axis}.{2 * row + 1}"))
    return found


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
