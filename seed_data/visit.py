"""One visit to an invented machine: it is read, shimmed, pushed sideways and read again.

The work has causes, not just numbers: shims come from what was read, the pose moves by the shims that went in, and what
is left is read with the same instrument and its faults.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from models.maths.limits import FloatArray
from models.values.asset import Asset
from models.values.job import FeetValues, Misalignment
from seed_data.plant import Cause, Reader
from seed_data.rules import Yardstick

SHIMS_MM = (0.05, 0.025)
"""Thinnest shims on the first pass and on later passes. [mm]"""

FREE_MM = 0.06
"""A foot that rises more than this is shimmed. [mm]"""

PASSES = 4
"""After so many passes people give up."""

Move = tuple[tuple[float, ...], tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class Hands:
    """Who works with what on a visit, and the faults that come with them on that day."""

    person: str
    reader: Reader
    careless: Cause | None = None
    leaves_soft_foot: Cause | None = None

    def read(self, pose: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Read a pose: with the noise of the instrument, its bias, and rounded as its sheet shows it."""
        noise = np.array([*self.reader.noise, *self.reader.noise])
        bias = 0.0
        if self.careless is not None:
            noise = noise * self.careless.size["noise_times"]
            bias = self.careless.size["bias_offset_v_mm"]
        seen = pose + rng.standard_normal(4) * noise
        seen[0] += bias
        return rounded(seen)


@dataclass(frozen=True, slots=True)
class Alignment:
    """What came of moving a machine: where it really stands, what was read, and what each row of feet was moved by."""

    pose: FloatArray
    read: FloatArray
    shims_mm: tuple[float, ...]
    sides_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SoftFoot:
    """Rises of the feet before and after the work, the shim that went under the worst one, and who left it free."""

    before: FeetValues
    after: FeetValues
    extra: tuple[float, ...]
    left_free: Cause | None = None

    @property
    def stood_free(self) -> bool:
        """Tell whether a foot stood free before the work."""
        return max(rise or 0.0 for rise in self.before.values) > FREE_MM


def rounded(values: FloatArray) -> FloatArray:
    """Round offsets to 0.001 mm and angularities to 0.01 mm/m, as the sheets of this plant show them."""
    return np.array([round(float(v), places) + 0.0 for v, places in zip(values, (3, 2, 3, 2), strict=True)])


def as_misalignment(values: FloatArray) -> Misalignment:
    """Give the four numbers as a value of the book."""
    return Misalignment(*(float(x) for x in values))


def at_feet(pair: FloatArray, feet_mm: tuple[float, ...]) -> FloatArray:
    """Give y(x) at each row of feet.

    Parameters
    ----------
    pair : (2,) float array
        Offset and angularity. [mm, mm/m]
    feet_mm : tuple of float
        Distances of the rows from the coupling centre. [mm]

    Returns
    -------
    (rows,) float array
        Height of the centreline over the stationary one. [mm]
    """
    return np.asarray(pair[0] + pair[1] * np.array(feet_mm) / 1000.0)


def line_through(feet_mm: tuple[float, ...], y_mm: FloatArray) -> FloatArray:
    """Give the straight line that lies nearest to values at the feet, by least squares.

    Parameters
    ----------
    feet_mm : tuple of float
        Distances of the rows from the coupling centre, two at least. [mm]
    y_mm : (rows,) float array
        Values at the rows. [mm]

    Returns
    -------
    (2,) float array
        Offset and angularity. [mm, mm/m]
    """
    x = np.array(feet_mm)
    away = x - x.mean()
    slope = float(away @ y_mm / (away @ away))
    return np.array([float(y_mm.mean()) - slope * float(x.mean()), slope * 1000.0])


def align(
    asset: Asset,
    stick: Yardstick,
    pose: FloatArray,
    seen: FloatArray,
    target: FloatArray,
    hands: Hands,
    rng: np.random.Generator,
) -> Alignment:
    """Shim and push a machine until it reads well, or until people give up.

    Parameters
    ----------
    asset : Asset
        The machine; the rows of feet of its movable part are used. [unitless]
    stick : Yardstick
        Its limits. [unitless]
    pose : (4,) float array
        Where it really stands. [mm, mm/m, mm, mm/m]
    seen : (4,) float array
        What was read before the first move. [mm, mm/m, mm, mm/m]
    target : (4,) float array
        Cold misalignment wanted. [mm, mm/m, mm, mm/m]
    hands : Hands
        Who and with what. [unitless]
    rng : numpy.random.Generator
        Random numbers. [unitless]
    """
    feet = asset.feet_movable_mm
    shims, sides = np.zeros(len(feet)), np.zeros(len(feet))
    good_enough = rng.uniform(0.45, 0.85)
    gives_up = rng.random() < 0.022
    for attempt in range(PASSES):
        step = SHIMS_MM[min(attempt, 1)]
        shim = np.round(-at_feet(seen[:2] - target[:2], feet) / step) * step
        side = np.round(-at_feet(seen[2:] - target[2:], feet), 2)
        went = side * (1.0 + 0.04 * rng.standard_normal()) + 0.004 * rng.standard_normal(len(feet))
        seat = 0.003 * rng.standard_normal(len(feet))
        pose = pose + np.concatenate([line_through(feet, shim + seat), line_through(feet, went)])
        if gives_up:  # the last bolt pulls the machine off again, and there is no time for another pass
            angle = rng.uniform(0.0, 2.0 * np.pi)
            pull = rng.uniform(1.0, 1.6) * np.array([np.sin(angle), 0.0, np.cos(angle), 0.0])
            pose = pose + pull * stick.scale
        shims, sides = shims + shim, sides + side
        seen = hands.read(pose, rng)
        ratio = stick.ratio(seen - target)
        if ratio <= good_enough or gives_up or (attempt >= 1 and ratio <= 1.0 and rng.random() < 0.7):
            break
    return Alignment(pose, seen, _tidy(shims), _tidy(sides))


def soft_feet(feet: int, hands: Hands, planted: Cause | None, rng: np.random.Generator) -> SoftFoot:
    """Read the rise of every foot before and after, and shim the one that stands free.

    Parameters
    ----------
    feet : int
        Number of feet. [unitless]
    hands : Hands
        Who works. [unitless]
    planted : Cause or None
        The planted soft foot of this machine: its foot is free again at every visit. [unitless]
    rng : numpy.random.Generator
        Random numbers. [unitless]
    """
    before, after = rng.uniform(0.0, 0.025, feet), rng.uniform(0.0, 0.02, feet)
    extra = np.zeros(feet)
    worst = int(rng.integers(feet))
    if planted is not None:
        worst = 3  # the right foot of the second row: 2R
        before[worst] += planted.size["excess_mm"] * rng.uniform(0.7, 1.3)
    elif rng.random() < 0.15:
        before[worst] += rng.uniform(0.05, 0.18)
    if before[worst] > FREE_MM:
        extra[worst] = np.round((before[worst] - 0.01) / 0.05) * 0.05
    left_free = hands.leaves_soft_foot
    if left_free is not None and rng.random() >= left_free.size["share"]:
        left_free = None
    if left_free is not None:
        after[worst] += left_free.size["excess_mm"] * rng.uniform(0.7, 1.5)
        extra[worst] = 0.0
    elif rng.random() < 0.015:
        after[worst] += 0.06
    return SoftFoot(_feet(before), _feet(after), _tidy(extra), left_free)


def per_foot(rows: tuple[float, ...], extra: tuple[float, ...] = ()) -> FeetValues:
    """Give one number for the left and the right foot of each row, with what went under a single foot besides."""
    both = [value for value in rows for _ in "LR"]
    return FeetValues(tuple(round(v + e, 3) + 0.0 for v, e in zip(both, extra or [0.0] * len(both), strict=True)))


def takes(readers: tuple[Reader, ...], rng: np.random.Generator) -> Reader:
    """Pick the instrument of a visit by how often each is taken."""
    edges = np.cumsum([reader.share for reader in readers])
    return readers[int(np.searchsorted(edges, rng.random() * edges[-1], side="right"))]


def in_force(cause: Cause, name: str, day: date) -> Cause | None:
    """Give the cause if it bears on that person or instrument on that day."""
    return cause if name in {cause.person, cause.instrument} - {""} and day >= cause.since else None


def _feet(values: FloatArray) -> FeetValues:
    return FeetValues(tuple(round(float(v), 2) + 0.0 for v in values))


def _tidy(values: FloatArray) -> tuple[float, ...]:
    return tuple(round(float(v), 3) + 0.0 for v in values)
