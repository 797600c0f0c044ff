"""Soft foot: which foot rises more than the others when its bolt is loosened, and what that suggests.

Soft foot is there where feet differ by more than the limit: the highest from the lowest.

Procedure: all bolts tight, then one at a time is loosened with a dial on that
foot, the rise is read, the bolt is tightened again.  The shim is the rise less
the rise of the others (US Bureau of Reclamation, FIST 4-1A, p. 17; FIST 2-1,
p. 18).  A pattern is a suggestion, never a diagnosis: a feeler at the four
corners of the foot, and the same reading with pipe and coupling released, tell.

Feet stand in the order of every list of foot values: row by row from the
coupling, left before right.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from models.errors import InvalidValueError
from models.maths.judged import AT_LIMIT
from models.sentences.told import SENTENCES, Told

FloatArray = NDArray[np.float64]

MIN_MEASURED = 3
"""With fewer rises there are no 'others' that could be typical."""


class Pattern(StrEnum):
    """How the high feet lie."""

    NONE = SENTENCES["told.pattern.none"]
    ONE = SENTENCES["told.pattern.one"]
    DIAGONAL = SENTENCES["told.pattern.diagonal"]
    ONE_SIDE = SENTENCES["told.pattern.one_side"]
    ONE_END = SENTENCES["told.pattern.one_end"]
    SEVERAL = SENTENCES["told.pattern.several"]
    ALL = SENTENCES["told.pattern.all"]
    UNKNOWN = SENTENCES["told.pattern.unknown"]

    @property
    def told(self) -> Told:
        """Give it with its key."""
        return Told(f"told.pattern.{self.name.lower()}")


SUGGESTS: dict[Pattern, str] = {
    Pattern.NONE: "",
    Pattern.ONE: Told("told.suggests.one"),
    Pattern.DIAGONAL: Told("told.suggests.diagonal"),
    Pattern.ONE_SIDE: Told("told.suggests.one_side"),
    Pattern.ONE_END: Told("told.suggests.one_end"),
    Pattern.SEVERAL: Told("told.suggests.several"),
    Pattern.ALL: Told("told.suggests.all"),
    Pattern.UNKNOWN: "",
}
"""What each pattern suggests.

One foot: FIST 4-1A, p. 17; the gap on one edge: glossary of machinery-alignment
terms, flowcontrolnetwork.com.  The other rows are common practice, no source.
"""

CHECK_NEXT: dict[Pattern, str] = {
    Pattern.NONE: "",
    Pattern.ONE: Told("told.check_next.one"),
    Pattern.DIAGONAL: Told("told.check_next.diagonal"),
    Pattern.ONE_SIDE: Told("told.check_next.one_side"),
    Pattern.ONE_END: Told("told.check_next.one_end"),
    Pattern.SEVERAL: Told("told.check_next.several"),
    Pattern.ALL: Told("told.check_next.all"),
    Pattern.UNKNOWN: Told("told.check_next.unknown"),
}
"""What to look at before anything is shimmed; common practice, no source."""


@dataclass(frozen=True, slots=True)
class SoftFoot:
    """What the rises of one machine's feet say.

    ``excess_mm`` is each rise less the median of the others, ``None`` where a
    foot was not measured; ``spread_mm`` is largest − smallest.  ``shims_mm`` holds a thickness only for a foot that
    the pattern tells to shim, else 0.  ``reason`` is not empty where too few
    feet were measured to say anything.
    """

    rises_mm: tuple[float | None, ...]
    excess_mm: tuple[float | None, ...]
    spread_mm: float | None
    limit_mm: float
    high: tuple[bool, ...]
    pattern: Pattern
    suggests: str
    check_next: str
    shims_mm: tuple[float, ...]
    reason: str = ""


def spread(rises: FloatArray) -> FloatArray:
    """Give by how much the rises of the feet differ: what the soft-foot limit bounds, on a sheet as in a history.

    Parameters
    ----------
    rises : (n, f) float array
        Rise of each foot when its bolt is loosened; NaN where not measured. [mm]

    Returns
    -------
    (n,) float array
        Largest rise − smallest rise; NaN where fewer than three feet were measured. [mm]

    References
    ----------
    McMillan, Rotating Machinery, p. 125 of the digital copy: shim if feet differ by more than 2 mil.
    """
    ordered = np.sort(np.asarray(rises, dtype=np.float64), axis=1)  # NaN goes to the end
    count = (~np.isnan(ordered)).sum(axis=1)
    result = np.full(ordered.shape[0], np.nan)
    rows = np.flatnonzero(count >= MIN_MEASURED)
    result[rows] = ordered[rows, count[rows] - 1] - ordered[rows, 0]
    return result


def excess(rises: FloatArray) -> FloatArray:
    """Give how far the rise of each foot stands above the median of the other feet.

    Parameters
    ----------
    rises : (n, f) float array
        Rise of each foot when its bolt is loosened; NaN where not measured. [mm]

    Returns
    -------
    (n, f) float array
        Rise − median of the other measured rises; NaN where the foot was not measured or fewer than three were. [mm]

    Notes
    -----
    How thick a shim is, not whether one is asked for: that is :func:`spread`, for of three high feet of four none stands above
    the median of the others.

    References
    ----------
    US Bureau of Reclamation, FIST 4-1A, p. 17 (four feet), and FIST 2-1, p. 18
    (six): shim = rise − rise of the others.  The median as 'the others' is ours.
    """
    given = np.asarray(rises, dtype=np.float64)
    result = np.full(given.shape, np.nan)
    enough = (~np.isnan(given)).sum(axis=1) >= MIN_MEASURED
    for foot in range(given.shape[1]):
        rows = enough & ~np.isnan(given[:, foot])
        if rows.any():
            result[rows, foot] = given[rows, foot] - np.nanmedian(np.delete(given[rows], foot, axis=1), axis=1)
    return result


def assess(rises_mm: Sequence[float | None], limit_mm: float) -> SoftFoot:
    """Say which feet are high, how they lie, what that suggests and which shim it asks for.

    Parameters
    ----------
    rises_mm : sequence of float or None
        Rise of each foot, row by row from the coupling, left before right; an even number of feet. [mm]
    limit_mm : float
        Soft-foot limit in force. [mm]

    Returns
    -------
    SoftFoot
        Excesses, pattern and shims.

    Raises
    ------
    InvalidValueError
        If the feet are not in pairs, a rise is no finite number, or the limit is not above 0.

    Notes
    -----
    A foot counts as high when it rises more than the limit above the foot that
    rises least: the feet *differ* by more than the limit (McMillan, Rotating
    Machinery, p. 125 of the digital copy).  All feet alike but above the limit
    is a pattern of its own, because an even rise under every foot is springy too.
    Where one foot alone is high, the one diagonal to it is taken for high with it if it alone stands nearer to the
    high foot than to the lowest (half is ours, no source): a machine rocks on two diagonal feet that are similar.
    A rise at the limit but for the rounding of decimals is not above it.
    """
    rises = tuple(rises_mm)
    if len(rises) % 2 or not rises:
        raise InvalidValueError(Told("told.soft.pairs", n=len(rises)))
    if any(rise is not None and not math.isfinite(rise) for rise in rises):
        raise InvalidValueError(Told("told.soft.finite"))
    if not limit_mm > 0:
        raise InvalidValueError(Told("told.soft.limit"))
    values = np.array([[math.nan if rise is None else rise for rise in rises]], dtype=np.float64)
    measured = ~np.isnan(values[0])
    over = tuple(None if math.isnan(x) else float(x) for x in excess(values)[0])
    count = int(measured.sum())
    enough = count >= MIN_MEASURED
    lowest = float(np.nanmin(values)) if count else math.nan
    high = values[0] - lowest > limit_mm * (1.0 + AT_LIMIT)  # NaN is never high
    pattern = _pattern(high, values[0], limit_mm) if enough else Pattern.UNKNOWN
    return SoftFoot(
        rises_mm=rises,
        excess_mm=over,
        spread_mm=float(spread(values)[0]) if enough else None,
        limit_mm=limit_mm,
        high=tuple(bool(foot) and enough for foot in high),
        pattern=pattern,
        suggests=SUGGESTS[pattern],
        check_next=CHECK_NEXT[pattern],
        shims_mm=_shims(pattern, values[0], over),
        reason="" if enough else Told("told.soft.too_few", measured=count, feet=len(rises)),
    )


def _pattern(high: NDArray[np.bool_], rises: FloatArray, limit_mm: float) -> Pattern:
    lowest, highest = float(np.nanmin(rises)), float(np.nanmax(rises))
    feet, last = np.flatnonzero(high), high.size - 1
    diagonals = {(0, last), (1, last - 1)}
    if feet.size == 0:
        return Pattern.ALL if lowest > limit_mm * (1.0 + AT_LIMIT) else Pattern.NONE
    if feet.size == 1:
        near = np.flatnonzero(rises - lowest > (highest - lowest) / 2.0 * (1.0 + AT_LIMIT))  # NaN is not near
        return Pattern.DIAGONAL if tuple(near.tolist()) in diagonals else Pattern.ONE
    corners = {tuple(int(foot) for foot in feet)}
    if corners & diagonals:
        return Pattern.DIAGONAL
    if corners & {(0, 1), (last - 1, last)}:
        return Pattern.ONE_END
    sides = feet % 2
    if np.all(sides == sides[0]) and not bool(np.isnan(rises[1 - sides[0] :: 2]).all()):
        return Pattern.ONE_SIDE
    return Pattern.SEVERAL


def _shims(pattern: Pattern, rises: FloatArray, over: tuple[float | None, ...]) -> tuple[float, ...]:
    shims = [0.0] * rises.size
    if pattern in {Pattern.ONE, Pattern.DIAGONAL}:
        # Of a diagonal pair only one is shimmed: a shim under both would lift the machine off the other two.
        foot = int(np.nanargmax(rises))
        shims[foot] = over[foot] or 0.0
    return tuple(shims)
