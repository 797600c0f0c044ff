"""Moves of imported jobs that speak against what was measured: asked as the form asks, of the few rows that may be meant.

Whether a row may be meant is found by numbers alone, one row or many at once, and on the
safe side; what is said of it, and whether anything is, the check of the form decides.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import combinations, zip_longest
from typing import TYPE_CHECKING, Any, Final

from models.commands.noticed import Moved
from models.intake.fields import FEET
from models.intake.problems import Code
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Reason

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from models.commands.plain_jobs import Four, PlainJob
    from models.units import Display
    from models.values.asset import Asset
    from models.values.limits import LimitsGiven

    FloatArray = NDArray[np.float64]
    Codes = NDArray[np.intp]
    Mask = NDArray[np.bool_]

CLOSER: Final = 0.3334
"""So much of the distance is left where moves are at other feet than where they fit."""

Feet = Sequence[float | None]

NEAR_MM: Final = 1e-9
"""So much is left for rounding: what may be meant is looked at, and the look decides."""

APART_MM: Final = 0.0999
"""Moves and measured change that are nearer to each other at every row of feet are never asked about."""


def told_of(job: Job | PlainJob, asset: Asset, limits: LimitsGiven, display: Display) -> list[Moved]:
    """Say what speaks against the moves of a job; nothing where nothing does.

    Parameters
    ----------
    job : Job or PlainJob
        The job. [as stored]
    asset : Asset
        Its machine as it was that day. [as stored]
    limits : LimitsGiven
        What it is judged by. [mm, mm/m]
    display : Display
        Units for the sentences. [unitless]
    """
    if job.found is None or job.left is None:
        return []
    if isinstance(job, Job):
        found, left, moves = job.found.as_tuple(), job.left.as_tuple(), (job.moves_v.values, job.moves_h.values)
    else:
        if job.feet[2] == job.feet[3] == "[]":
            return []
        found, left, moves = job.found, job.left, (json.loads(job.feet[2]), json.loads(job.feet[3]))
    if not may_be_meant(found, left, moves, asset.feet_movable_mm):
        return []
    # Loaded here only: most files have no such row, and what checks moves needs the library of arrays.
    from models.maths.moved import check_moves
    from models.maths.plausible import Doubt

    # A list that gives one number a row under the left foot is ordinary: what twists a machine is asked of whoever types it.
    codes = {
        Doubt.MOVED_AGAINST: Code.MOVED_AGAINST,
        Doubt.MISPLACED: Code.MOVED_AGAINST,
        Doubt.MOVED_NOTHING: Code.MOVED_NOTHING,
    }
    checks = check_moves(_with_moves(job, found, left, moves), asset, limits, display)
    return [
        Moved(codes[one.doubt], getattr(one.sentence, "key", ""), str(one.sentence), _field(one.field))
        for one in checks
        if one.doubt in codes  # how large a move is was looked at with its cell
    ]


def _with_moves(job: Any, found: Four, left: Four, moves: tuple[Feet, Feet]) -> Job:
    """Give a job that says no more than what was measured and moved."""
    if isinstance(job, Job):
        return job
    return Job(
        job.ref, job.tag, datetime.fromtimestamp(0, UTC), "UTC", Reason.OTHER, found=Misalignment(*found),
        left=Misalignment(*left), moves_v=FeetValues(tuple(moves[0])), moves_h=FeetValues(tuple(moves[1])),
    )  # fmt: skip


def _field(where: str) -> str:
    """Give the field of a file for that of a form: 'moves_v.3' is the shim of foot 2L."""
    axis, _, place = where.partition(".")
    return f"move_{axis[-1]}_{FEET[int(place) - 1]}"


def may_be_meant(found: Four, left: Four, moves: tuple[Feet, Feet], x_mm: Sequence[float]) -> bool:
    """Tell whether anything may have to be asked of the moves of one job.

    Parameters
    ----------
    found, left : tuple of four float
        As-found and as-left. [mm, mm/m]
    moves : tuple of two sequences of float or None
        Shims and side moves of the movable machine, foot by foot. [mm]
    x_mm : sequence of float
        Distances of its rows of feet from the coupling centre. [mm]
    """
    if not any(move for feet in moves for move in feet):
        return False
    if found == left:
        return True
    change = [b - a for a, b in zip(found, left, strict=True)]
    for axis, feet in enumerate(moves):
        rows = [[m for m in pair if m is not None] for pair in zip_longest(feet[::2], feet[1::2])]
        if len(rows) != len(x_mm) or len(rows) < 2 or not all(rows):
            continue
        moved = [min(row) if axis == 0 else sum(row) / len(row) for row in rows]
        went = [change[2 * axis] + change[2 * axis + 1] * (x / 1000.0) for x in x_mm]
        if all(m * w <= NEAR_MM for m, w in zip(moved, went, strict=True)) and any(
            abs(m - w) > APART_MM for m, w in zip(moved, went, strict=True)
        ):
            return True
        if _fits_elsewhere(moved, went, rows if axis == 0 else []):
            return True
    return False


def _fits_elsewhere(moved: list[float], went: list[float], feet: list[list[float]]) -> bool:
    """Tell whether moves fit the measured change better with two rows exchanged, or with left and right taken for rows."""
    worst = max(abs(m - w) for m, w in zip(moved, went, strict=True))
    if worst <= APART_MM:
        return False
    others = []
    for one, other in combinations(range(len(moved)), 2):
        exchanged = list(moved)
        exchanged[one], exchanged[other] = moved[other], moved[one]
        others.append(exchanged)
    if len(feet) == 2 and len(feet[0]) == len(feet[1]) == 2:
        others.append([min(feet[0][side], feet[1][side]) for side in (0, 1)])
    return any(max(abs(m - w) for m, w in zip(made, went, strict=True)) <= CLOSER * worst for made in others)


def many_may_be_meant(
    found: FloatArray,
    left: FloatArray,
    moves: tuple[FloatArray, FloatArray],
    machines: Sequence[Sequence[float]],
    machine: Codes,
) -> Mask:
    """Tell of which jobs anything may have to be asked: as :func:`may_be_meant`, for many at once.

    Parameters
    ----------
    found, left : (n, 4) float array
        As-found and as-left, NaN where nothing was measured. [mm, mm/m]
    moves : tuple of two (n, feet) float array
        Shims and side moves, NaN where none is given. [mm]
    machines : sequence of sequence of float
        Distances of the rows of feet of each machine from the coupling centre. [mm]
    machine : (n,) int array
        Which of the machines each job is of. [unitless]

    Returns
    -------
    (n,) bool array
        True where the moves have to be looked at. [unitless]
    """
    import numpy as np

    meant: Mask = (found == left).all(axis=1)
    change = left - found
    rows = np.array([len(x) for x in machines])[machine]
    for length in {len(x) for x in machines} - {0, 1}:
        of = np.flatnonzero(rows == length)
        x = np.array([x if len(x) == length else [0.0] * length for x in machines])[machine[of]]
        for axis, feet in enumerate(moves):
            pairs = np.full((len(of), length, 2), np.nan)
            given = feet[of, : 2 * length]
            pairs.reshape(len(of), -1)[:, : given.shape[1]] = given
            low, high = np.fmin(*pairs.transpose(2, 0, 1)), np.fmax(*pairs.transpose(2, 0, 1))
            moved = low if axis == 0 else (low + high) / 2
            went = change[of, 2 * axis, None] + change[of, 2 * axis + 1, None] * (x / 1000.0)
            others = ~np.isnan(feet[of, 2 * length :]).all(axis=1)
            against = (moved * went <= NEAR_MM).all(axis=1) & (np.abs(moved - went) > APART_MM).any(axis=1)
            worst = np.abs(moved - went).max(axis=1)
            elsewhere = np.zeros(len(of), dtype=bool)
            for one, other in combinations(range(length), 2):
                exchanged = moved.copy()
                exchanged[:, [one, other]] = moved[:, [other, one]]
                elsewhere |= np.abs(exchanged - went).max(axis=1) <= CLOSER * worst
            if axis == 0 and length == 2:
                elsewhere |= np.abs(pairs.min(axis=1) - went).max(axis=1) <= CLOSER * worst
            meant[of] |= (against | (elsewhere & (worst > APART_MM))) & ~others
    for_something: Mask = np.zeros(len(found), dtype=bool)
    for feet in moves:
        for_something |= (~np.isnan(feet) & (feet != 0.0)).any(axis=1)
    return meant & for_something
