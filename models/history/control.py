"""Control charts for the fleet: whether the share over limit, or the middle limit ratio, has really changed.

Months are charted, not assets.  The p′ chart allows for months that differ by
more than chance; the EWMA chart of the log median limit ratio sees slow change.
Limits can be frozen, so that a later month is held against what was agreed and
not against itself.  The page Month shows the p′ chart with limits from the very
months that it shows; ``driftbook study`` shows both charts, with frozen limits
where it is given the months from which they are taken, and why these.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray, JobColumns
from models.history.distributions import binomial_upper_tail

D2 = 1.128
"""Mean moving range of two normal values over their standard deviation, to the three places of the e-Handbook 6.3.2.2."""

SIGMAS = 3.0

RUN_LENGTH = 8
"""Months on one side of the centre that are a signal."""

MONTHS_FOR_LIMITS = 20
"""Months for limits without the word 'provisional'; under :data:`MONTHS_PROVISIONAL` there are none."""

MONTHS_PROVISIONAL = 12

SMALL_COUNT = 5.0
"""Below this expected count a month is shown with its exact binomial tail."""

FIRM, PROVISIONAL, TOO_FEW = range(3)
"""Standing of the limits of a chart."""

STANDING_WORDS = ("", "provisional: fewer than twenty months", "too few months for limits: twelve are needed")
"""What each standing says to a person."""


@dataclass(frozen=True, slots=True)
class Frozen:
    """Limits that were agreed: centre and spread of one value. ``sigma_z`` is 1 for a plain chart."""

    centre: float
    sigma: float
    sigma_z: float = 1.0


@dataclass(frozen=True, slots=True)
class Chart:
    """One row a point.

    ``value`` is what is drawn, ``lower`` and ``upper`` its limits, ``centre`` the
    middle.  ``beyond`` marks a point outside them, ``run`` the eighth and later
    ones in a row on one side.  ``tail`` is the exact probability of so many or
    more where the expected count is small, else NaN.  ``sigma`` is the spread of
    one value, ``sigma_z`` how much months differ beyond chance.
    """

    value: FloatArray
    centre: float
    lower: FloatArray
    upper: FloatArray
    beyond: BoolArray
    run: BoolArray
    tail: FloatArray
    sigma: float
    sigma_z: float
    standing: int
    n: int


def p_prime_chart(count: IntArray, n: IntArray, frozen: Frozen | None = None, *, laney: bool = True) -> Chart:
    """Chart a share month by month, with limits that allow for real variation between months.

    Parameters
    ----------
    count, n : (months,) int arrays
        Jobs over limit, of how many judged; months without a job have a NaN value. [unitless]
    frozen : Frozen or None
        Agreed limits; else they are taken from these months. [unitless]
    laney : bool
        False for the plain p chart. [unitless]

    Returns
    -------
    Chart
        Shares with their limits.

    References
    ----------
    D. B. Laney (2002), Quality Engineering 14:531 (memory: not verified against a copy): limits p̄ ± 3 σ_z √(p̄(1−p̄)/n)
    with σ_z = mean moving range of z ÷ 1.128. Plain p chart: NIST/SEMATECH e-Handbook 6.3.3.2.
    """
    some = n > 0
    safe = np.where(some, n, 1)
    share = np.where(some, count / safe, np.nan)
    centre = float(count.sum() / n.sum()) if n.sum() else float("nan")
    sigma_z = 1.0
    if frozen is not None:
        centre, sigma_z = frozen.centre, frozen.sigma_z
    flat = np.sqrt(max(centre * (1.0 - centre), 0.0) / safe) if np.isfinite(centre) else np.full(len(n), np.nan)
    if laney and frozen is None and np.count_nonzero(some) > 1 and 0.0 < centre < 1.0:  # at 0 and 1 nothing can spread
        z = ((share - centre) / flat)[some]
        sigma_z = float(np.mean(np.abs(np.diff(z)))) / D2
    half = SIGMAS * sigma_z * flat
    small = (
        some & (safe * min(centre, 1.0 - centre) < SMALL_COUNT) if np.isfinite(centre) else np.zeros(len(n), np.bool_)
    )
    tail = np.where(small, binomial_upper_tail(count.astype(np.float64), safe, np.nan_to_num(centre)), np.nan)
    lower, upper = np.maximum(centre - half, 0.0), np.minimum(centre + half, 1.0)
    return _chart(share, centre, lower, upper, tail, sigma_z=sigma_z, sigma=float("nan"), frozen=frozen)


def individuals_chart(value: FloatArray, frozen: Frozen | None = None) -> Chart:
    """Chart single values, with limits from their moving range.

    Parameters
    ----------
    value : (n,) float array
        Values in order of time; NaN is left out. [unit]
    frozen : Frozen or None
        Agreed limits. [unit]

    References
    ----------
    NIST/SEMATECH e-Handbook 6.3.2.2.
    """
    known = value[~np.isnan(value)]
    centre = float(np.mean(known)) if len(known) else float("nan")
    sigma = float(np.mean(np.abs(np.diff(known)))) / D2 if len(known) > 1 else float("nan")
    if frozen is not None:
        centre, sigma = frozen.centre, frozen.sigma
    lower, upper = (np.full(len(value), centre + side * SIGMAS * sigma) for side in (-1.0, 1.0))
    return _chart(value, centre, lower, upper, np.full(len(value), np.nan), sigma_z=1.0, sigma=sigma, frozen=frozen)


def ewma_chart(
    value: FloatArray,
    weight: float = 0.2,
    frozen: Frozen | None = None,
    *,
    start: float | None = None,
    exact: bool = True,
) -> Chart:
    """Chart an exponentially weighted mean, for slow change.

    Parameters
    ----------
    value : (n,) float array
        Values in order of time; at a NaN the mean stays where it was. [unit]
    weight : float
        Weight of the newest value, above 0 and at most 1. [unitless]
    frozen : Frozen or None
        Agreed centre and spread. [unit]
    start : float or None
        Where the mean begins; the centre if not given. [unit]
    exact : bool
        Limits that widen over the first points; False for the final limits at once, as the e-Handbook prints them. [unitless]

    References
    ----------
    NIST/SEMATECH e-Handbook 6.3.2.4.
    """
    base = individuals_chart(value, frozen)
    level = base.centre if start is None else start
    mean = np.empty(len(value))
    for i, x in enumerate(value.tolist()):
        level = level if np.isnan(x) else weight * x + (1.0 - weight) * level
        mean[i] = level
    seen = np.cumsum(~np.isnan(value))
    settled = 1.0 - (1.0 - weight) ** (2 * seen) if exact else np.ones(len(value))
    half = SIGMAS * base.sigma * np.sqrt(weight / (2.0 - weight) * settled)
    nothing = np.full(len(value), np.nan)
    return _chart(
        mean, base.centre, base.centre - half, base.centre + half, nothing, sigma_z=1.0, sigma=base.sigma, frozen=frozen
    )


def log_median_ratio(jobs: JobColumns, months: IntArray, keep: BoolArray | None = None) -> FloatArray:
    """Give the logarithm of the median as-found limit ratio of each month; NaN without a judged as-found.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    months : (k,) int array
        Year × 12 + month − 1. [month]
    keep : (n,) bool array or None
        Which jobs count. [unitless]
    """
    known = ~np.isnan(jobs.found_ratio) & (True if keep is None else keep)
    order = np.argsort(jobs.month[known], kind="stable")
    month, ratio = jobs.month[known][order], jobs.found_ratio[known][order]
    first, last = np.searchsorted(month, months, "left"), np.searchsorted(month, months, "right")
    pairs = zip(first.tolist(), last.tolist(), strict=True)
    # Exactly 0 has no logarithm; a thousandth of a limit is nothing.
    return np.array([np.log(max(float(np.median(ratio[a:b])), 1e-3)) if b > a else np.nan for a, b in pairs])


def _chart(
    value: FloatArray,
    centre: float,
    lower: FloatArray,
    upper: FloatArray,
    tail: FloatArray,
    *,
    sigma_z: float,
    sigma: float,
    frozen: Frozen | None,
) -> Chart:
    n = int(np.count_nonzero(~np.isnan(value)))
    standing = (
        FIRM if frozen is not None or n >= MONTHS_FOR_LIMITS else PROVISIONAL if n >= MONTHS_PROVISIONAL else TOO_FEW
    )
    beyond = (value < lower) | (value > upper)
    return Chart(
        value, centre, lower, upper, beyond, runs_on_one_side(value - centre), tail, sigma, sigma_z, standing, n
    )


def runs_on_one_side(gap: FloatArray, length: int = RUN_LENGTH) -> BoolArray:
    """Mark the points that end a run of so many on one side of the centre, or go on with one.

    Parameters
    ----------
    gap : (n,) float array
        Value minus centre; NaN neither ends nor goes on with a run. [unit]
    length : int
        How many in a row are a signal. [unitless]
    """
    known = np.flatnonzero(~np.isnan(gap))
    side = np.sign(gap[known])
    result = np.zeros(len(gap), dtype=np.bool_)
    begins = np.flatnonzero(np.diff(side, prepend=2.0 if not len(side) else -2.0))
    age = np.arange(len(side)) - np.repeat(begins, np.diff(np.append(begins, len(side))))
    result[known] = (age + 1 >= length) & (side != 0.0)
    return result
