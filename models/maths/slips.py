"""The usual slips of a pen: the wrong unit, swapped signs, a total reading taken for an offset.

A slip is seen against what the machine has had before, so nothing is said where
nothing is known.  Whoever means it states a reason and records it all the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum
from statistics import median
from typing import Final

from models.maths.moves import SHORT_SCALE, spacer_scale
from models.maths.plausible import Check, Doubt, Gravity
from models.maths.sizes import IMPOSSIBLE, ODD
from models.sentences.told import SENTENCES, Told
from models.units import Display, Quantity
from models.values.job import COMPONENTS, Misalignment
from models.values.kinds import Coupling
from models.values.limits import LimitsGiven

UNIT_FACTORS: Final = (25.4, 1.0 / 0.0254)
"""Inch for mm, or mil for µm; and mil for mm: how far a value is off when its unit is taken for the other."""

MIN_PAST: Final = 3
"""With fewer earlier values nothing is usual yet."""

NEAR: Final = 0.2
"""Two misalignments are about the same when they differ by less than this share of their size."""

WORTH: Final = 0.35
WORTH_AFTER: Final = 0.7
"""Shares of the limit below which a misalignment is mostly reading error, so that its sign says nothing; the second for
an as-left beside its as-found, where a correction that went a little too far looks like a swapped sign."""

FINEST_MM: Final = 0.02
FINEST_MM_M: Final = 0.1
"""About what a reading cannot tell from nothing: two divisions of a good dial, and a division over 100 mm."""


def unit_slip(size: float, past: Sequence[float], finest: float) -> int:
    """Tell whether a size looks like a usual one in the wrong unit.

    Parameters
    ----------
    size : float
        The new value, its sign left out. [as used]
    past : sequence of float
        The same of earlier jobs of this asset, as-found with as-found, as-left with as-left. [as used]
    finest : float
        What cannot be told from nothing; smaller earlier values count as this. [as used]

    Returns
    -------
    int
        +1: too large by the factor of two units, −1: too small by it, 0: neither. [unitless]

    Notes
    -----
    The value must lie nearer to 25.4 × the median than to the median itself (on a scale of ratios), outside of what
    there ever was by a factor of 2, and within it by the same factor once a factor of two units is taken out.  A value
    that is too small must also be finer than half a division of a dial: a shaft may simply stand well.
    """
    known = [max(value, finest) for value in past]
    if len(known) < MIN_PAST or not size > 0:
        return 0
    usual, least, most = median(known), min(known) / 2.0, max(known) * 2.0
    halfway = math.sqrt(UNIT_FACTORS[0])
    if size >= halfway * usual and size > most and any(least <= size / f <= most for f in UNIT_FACTORS):
        return 1
    if (
        size <= usual / halfway
        and size < min(least, finest / 4.0)
        and any(least <= size * f <= most for f in UNIT_FACTORS)
    ):
        return -1
    return 0


def check_unit(
    new: Misalignment, past: Sequence[Misalignment], stage: str, display: Display, *, small_too: bool = True
) -> tuple[Check, ...]:
    """Check a misalignment against the sizes that this asset has had.

    Parameters
    ----------
    new : Misalignment
        What was typed or worked out. [mm, mm/m]
    past : sequence of Misalignment
        The same stage of earlier jobs. [mm, mm/m]
    stage : str
        ``"found"`` or ``"left"``. [unitless]
    display : Display
        Units for the sentences. [unitless]
    small_too : bool
        Look for offsets that are too small as well; an as-left may be very small. [unitless]

    Returns
    -------
    tuple of Check
        Offset and angularity that look like a usual one in the wrong unit.
    """
    kinds = (("offset", Quantity.OFFSET, FINEST_MM, 0), ("angularity", Quantity.ANGULARITY, FINEST_MM_M, 1))
    found = []
    for word, quantity, finest, place in kinds:
        size = math.hypot(new.as_tuple()[place], new.as_tuple()[place + 2])
        earlier = [math.hypot(m.as_tuple()[place], m.as_tuple()[place + 2]) for m in past]
        slip = unit_slip(size, earlier, finest)
        if slip > 0 or (slip < 0 and small_too and place == 0):  # a slope near 0 is nothing special
            usual = median(max(value, finest) for value in earlier)
            times = size / usual if slip > 0 else usual / size
            sentence = Told(
                "told.slip.unit.large" if slip > 0 else "told.slip.unit.small",
                what=Told(f"told.word.{word}"),
                size=display.text(size, quantity),
                times=times,
                usual=display.text(usual, quantity),
            )
            found.append(Check(Doubt.UNIT, Gravity.REASON, sentence, f"{stage}.{word}"))
    return tuple(found)


def check_size(new: Misalignment, stage: str, display: Display) -> tuple[Check, ...]:
    """Check a misalignment against what machines can have at all.

    Parameters
    ----------
    new : Misalignment
        What was typed or worked out. [mm, mm/m]
    stage : str
        ``"found"`` or ``"left"``. [unitless]
    display : Display
        Units for the sentences. [unitless]

    Returns
    -------
    tuple of Check
        Stops what cannot be a reading of aligned machines, asks about what is odd.
    """
    found = []
    for place, (key, value) in enumerate(zip(COMPONENTS, new.as_tuple(), strict=True)):
        quantity = Quantity.ANGULARITY if place % 2 else Quantity.OFFSET
        if abs(value) > ODD[place % 2]:
            cannot = abs(value) > IMPOSSIBLE[place % 2]
            bound = (IMPOSSIBLE if cannot else ODD)[place % 2]
            sentence = Told(
                "told.slip.size.impossible" if cannot else "told.slip.size.odd",
                what=Told(f"told.word.{key}"),
                size=display.text(value, quantity),
                bound=display.text(bound, quantity),
            )
            found.append(Check(Doubt.SIZE, Gravity.STOP if cannot else Gravity.REASON, sentence, f"{stage}.{key}"))
    return tuple(found)


class Swap(StrEnum):
    """How one misalignment mirrors another."""

    FLIPPED = SENTENCES["told.swap.flipped"]
    FLIPPED_V = SENTENCES["told.swap.flipped_v"]
    FLIPPED_H = SENTENCES["told.swap.flipped_h"]
    DOUBLED = SENTENCES["told.swap.doubled"]
    DOUBLED_OFFSETS = SENTENCES["told.swap.doubled_offsets"]


def swap_of(new: Misalignment, old: Misalignment, scale: tuple[float, float], worth: float = WORTH) -> Swap | None:
    """Tell whether a misalignment is about the negative or the double of another, component by component.

    Parameters
    ----------
    new, old : Misalignment
        The two. [mm, mm/m]
    scale : tuple of two float
        Offset and angularity that weigh alike: best the two limits. [mm, mm/m]
    worth : float
        Size of the old one, in units of the scale, from which on it has a sign that means something. [unitless]

    Returns
    -------
    Swap or None
        ``None`` also where the old one is too small to have a sign that means something.

    Notes
    -----
    Flipped: the sign rule or the side from which 3 o'clock was seen.  Doubled: total readings taken for offsets.
    """
    n, o = _scaled(new, scale), _scaled(old, scale)
    v, h, every = (0, 1), (2, 3), (0, 1, 2, 3)
    flipped = [_is_near(n, o, axis, (-1.0, -1.0), worth) for axis in (v, h)]
    if all(flipped) or _is_near(n, o, every, (-1.0, -1.0), worth):
        return Swap.FLIPPED
    if any(flipped):
        return Swap.FLIPPED_V if flipped[0] else Swap.FLIPPED_H
    if _is_near(n, o, every, (2.0, 2.0), worth):
        return Swap.DOUBLED
    # The offsets must be near the double by themselves: beside large angles, small offsets would pass for anything.
    if _is_near(n, o, (0, 2), (2.0, 1.0), worth) and _is_near(n, o, every, (2.0, 1.0), worth):
        return Swap.DOUBLED_OFFSETS
    return None


def _scaled(m: Misalignment, scale: tuple[float, float]) -> tuple[float, ...]:
    return (m.offset_v / scale[0], m.angle_v / scale[1], m.offset_h / scale[0], m.angle_h / scale[1])


def _is_near(
    new: tuple[float, ...], old: tuple[float, ...], places: tuple[int, ...], times: tuple[float, float], worth: float
) -> bool:
    size = math.hypot(*(old[place] for place in places))
    away = math.hypot(*(new[place] - times[place % 2] * old[place] for place in places))
    return size >= worth and away <= NEAR * size


def check_signs(new: Misalignment, old: Misalignment, scale: tuple[float, float], stage: str) -> tuple[Check, ...]:
    """Check a misalignment against the one that it should follow from.

    Parameters
    ----------
    new : Misalignment
        As-found, or as-left. [mm, mm/m]
    old : Misalignment
        The last as-left for an as-found, the as-found for an as-left. [mm, mm/m]
    scale : tuple of two float
        Offset and angularity that weigh alike. [mm, mm/m]
    stage : str
        ``"found"`` or ``"left"``: what ``new`` is. [unitless]

    Returns
    -------
    tuple of Check
        One check at most.
    """
    swap = swap_of(new, old, scale, WORTH if stage == "found" else WORTH_AFTER)
    if swap is None:
        return ()
    doubt = Doubt.FLIPPED if swap in {Swap.FLIPPED, Swap.FLIPPED_V, Swap.FLIPPED_H} else Doubt.DOUBLED
    kind = f"{'found' if stage == 'found' else 'left'}.{doubt.name.lower()}"
    sentence = Told(f"told.swapped.{kind}", swap=Told(f"told.swap.{swap.name.lower()}"))
    return (Check(doubt, Gravity.REASON, sentence, stage),)


def check_worse(
    found: Misalignment, left: Misalignment, ratios: tuple[float | None, float | None]
) -> tuple[Check, ...]:
    """Check whether something was moved and stands farther off than before, although it is within limit.

    Parameters
    ----------
    found, left : Misalignment
        Deviations from the target as found and as left. [mm, mm/m]
    ratios : tuple of float or None
        Limit ratios as found and as left; ``None`` where not judged. [unitless]

    Returns
    -------
    tuple of Check
        One check at most.  What is over limit is asked about as such, and what two readings of one machine may differ
        by is passed over: the ratio has to grow by :data:`WORTH`, and one component by more than can be told from nothing.
    """
    before, after = ratios
    if before is None or after is None or not before + WORTH < after <= 1.0:
        return ()
    finest = (FINEST_MM, FINEST_MM_M) * 2
    grown = (abs(b) - abs(a) for a, b in zip(found.as_tuple(), left.as_tuple(), strict=True))
    if not any(more > least for more, least in zip(grown, finest, strict=True)):
        return ()
    sentence = Told("told.job.worse", found=before, left=after)
    return (Check(Doubt.WORSE, Gravity.REASON, sentence, "left"),)


def judged_of(limits: LimitsGiven, coupling: Coupling, span_mm: float | None) -> tuple[bool, bool]:
    """Tell which of offset and angularity makes the limit ratio; both where flex planes do, and where nothing does.

    Parameters
    ----------
    limits : LimitsGiven
        Limits in force. [mm, mm/m]
    coupling : Coupling
        Kind of the coupling. [unitless]
    span_mm : float or None
        Distance between the flex planes of a spacer coupling. [mm]
    """
    if coupling is Coupling.SPACER and limits.flex_mm_m is not None and span_mm:
        return (True, True)
    judged = (limits.offset_mm is not None, limits.angle_mm_m is not None)
    return judged if any(judged) else (True, True)


def limit_scale(limits: LimitsGiven, coupling: Coupling, span_mm: float | None) -> tuple[float, float]:
    """Give offset and angularity that are equally bad under some limits.

    Parameters
    ----------
    limits : LimitsGiven
        Limits in force. [mm, mm/m]
    coupling : Coupling
        Kind of the coupling. [unitless]
    span_mm : float or None
        Distance between the flex planes of a spacer coupling. [mm]

    Returns
    -------
    tuple of two float
        Both limits; for a spacer coupling what makes its flex planes weigh alike; without limits the starter rule's
        proportion. [mm, mm/m]
    """
    if coupling is Coupling.SPACER and limits.flex_mm_m is not None and span_mm:
        offset, angle = spacer_scale(span_mm)
        return (offset * limits.flex_mm_m, angle * limits.flex_mm_m)
    if limits.offset_mm is not None and limits.angle_mm_m is not None:
        return (limits.offset_mm, limits.angle_mm_m)
    return SHORT_SCALE
