"""Repeatability: how well one reading is known, from readings that should have been equal.

Such are the repeats of one set-up and an as-left that was read twice.  Until
there are enough of them the figure is a default with its date.  Drift and forecasts
do not rest on it: they find what a visit scatters, the error of reading among it, in
the history itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray, IntArray
from models.history.distributions import chi2_cdf, chi2_quantile, chi2_sf, f_sf

SHOWN_FROM, STATED_FROM = 10, 30
"""Repeats from which a figure is shown, and from which it takes the place of the default."""

CAP = 16.0
"""Squares of repeats count up to this many times their variance: one typing error would be the whole figure otherwise."""

ROUNDS = 60
"""Rounds of cutting at most; each changes the variance by less than the one before."""

DEFAULT_ON = "2026-11-25"
"""The day on which the defaults were set."""

DEFAULT_OFFSET_MM = 0.0127
"""Standard deviation of an offset until repeats say better: the repeat of a 0.001-in dial, 0.0005 in, which ASME
B89.1.10 is said to give (reported second-hand, original not seen: reference on the trade, section 6.4). [mm]"""

DEFAULT_ANGLE_MM_M = 0.09
"""The same for an angularity: √2 × the offset's over a measuring span of 200 mm, a span assumed here. [mm/m]"""


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Standard deviation of one reading, per component (4,), with its 95 % interval.

    ``measured`` is what the repeats gave (NaN without any); ``stated`` is that or
    the default.  ``df`` counts repeats beyond the first, ``cut`` the groups of readings that lie so far
    apart that they count in part only.  ``reason`` says in words which of the two is stated and why.
    """

    stated: FloatArray
    measured: FloatArray
    low: FloatArray
    high: FloatArray
    df: int
    cut: int
    from_repeats: bool
    reason: str


@dataclass(frozen=True, slots=True)
class OneWay:
    """One-way analysis of variance: sums of squares, F, its p, and the standard deviations within and between groups."""

    between_ss: float
    within_ss: float
    between_df: int
    within_df: int
    f: float
    p: float
    within_sd: float
    between_sd: float


@dataclass(frozen=True, slots=True)
class Crossed:
    """Variance components of a crossed study as standard deviations, with the test of the interaction."""

    repeat_sd: float
    operator_sd: float
    gauge_sd: float
    part_sd: float
    interaction_f: float
    interaction_p: float
    pooled: bool


def default_repeatability(why: str = "no repeat readings yet") -> Repeatability:
    """Give the dated default.

    Parameters
    ----------
    why : str
        What is said before the default. [unitless]
    """
    stated = np.array([DEFAULT_OFFSET_MM, DEFAULT_ANGLE_MM_M] * 2)
    nan = np.full(4, np.nan)
    return Repeatability(
        stated, nan, nan, nan, 0, 0, from_repeats=False, reason=f"{why}: the default of {DEFAULT_ON} is stated"
    )


def repeatability_of(readings: FloatArray, group: IntArray) -> Repeatability:
    """Estimate the standard deviation of one reading from groups of readings that should be equal.

    Parameters
    ----------
    readings : (n, 4) float array
        Offset V, angularity V, offset H, angularity H. [mm, mm/m, mm, mm/m]
    group : (n,) int array
        Which readings are repeats of one another. [unitless]

    Returns
    -------
    Repeatability
        Pooled by variance over the groups.

    Notes
    -----
    Where a group lies more than four standard deviations apart, its sum of squares counts as :data:`CAP` variances for each
    degree of freedom, and the whole is divided by what such a cut leaves of the variance of normal readings.

    References
    ----------
    √(Σ SS / Σ df), NIST/SEMATECH e-Handbook, mpc444. The cut: as that of drifts in :mod:`models.history.variance`.
    """
    whole = ~np.isnan(readings).any(axis=1)
    squares, free = group_squares(readings[whole], group[whole])
    df = int(free.sum())
    if df < SHOWN_FROM:
        return default_repeatability(
            f"only {df} repeat readings, {SHOWN_FROM} are needed" if df else "no repeat readings yet"
        )
    ss, cut = _cut(squares, free)
    sd = np.sqrt(ss / df)
    low, high = (np.sqrt(ss / chi2_quantile(p, float(df))) for p in (0.975, 0.025))
    if df < STATED_FROM:
        words = f"{df} repeat readings are shown; {STATED_FROM} are needed to state them, so the default of {DEFAULT_ON} is stated"
        return Repeatability(default_repeatability().stated, sd, low, high, df, cut, from_repeats=False, reason=words)
    return Repeatability(sd, sd, low, high, df, cut, from_repeats=True, reason=f"from {df} repeat readings")


def _cut(squares: FloatArray, free: IntArray) -> tuple[FloatArray, int]:
    """Give sums of squares per column, and how many groups count in part only."""
    keeps = _kept_share(free)
    plain, total = squares.sum(axis=0), squares.sum(axis=0)
    most = CAP * free[:, None]
    for _ in range(ROUNDS):
        kept = np.minimum(squares, most * (total / free.sum()))
        over = (kept < squares).any(axis=0)
        # Where nothing is cut the figure is the plain one, to the last digit.
        before, total = total, np.where(over, kept.sum(axis=0) * free.sum() / np.sum(free * keeps), plain)
        if (np.abs(total - before) <= 1e-9 * before).all():
            break
    return total, int((squares > most * (total / free.sum())).any(axis=1).sum())


def _kept_share(free: IntArray) -> FloatArray:
    """Give what the cut leaves of the mean of a chi-square variable, for its degrees of freedom."""
    df = free.astype(np.float64)
    return chi2_cdf(CAP * df, df + 2.0) + CAP * chi2_sf(CAP * df, df)


def group_squares(readings: FloatArray, group: IntArray) -> tuple[FloatArray, IntArray]:
    """Give the sum of squares of each group that has several readings, per column, and its degrees of freedom.

    Parameters
    ----------
    readings : (n, k) float array
        Readings. [unit]
    group : (n,) int array
        Group of each. [unitless]

    Returns
    -------
    squares, free : (g, k) float and (g,) int arrays
        Sums of squares and degrees of freedom. [unit², unitless]
    """
    if not len(readings):
        return np.zeros((0, readings.shape[1])), np.zeros(0, dtype=np.int64)
    _, first, member, size = np.unique(group, return_index=True, return_inverse=True, return_counts=True)
    # Taken about the group's first reading, so that large readings that differ little lose no digits.
    gap = readings - readings[first][member]
    mean = np.stack([np.bincount(member, gap[:, k]) / size for k in range(readings.shape[1])], axis=1)
    off = (gap - mean[member]) ** 2
    squares = np.stack([np.bincount(member, off[:, k]) for k in range(readings.shape[1])], axis=1)
    several = size > 1
    return np.asarray(squares[several]), np.asarray(size[several] - 1, dtype=np.int64)


def within_ss(readings: FloatArray, group: IntArray) -> tuple[FloatArray, int]:
    """Give the sum of squares within groups, per column, and its degrees of freedom.

    Parameters
    ----------
    readings : (n, k) float array
        Readings. [unit]
    group : (n,) int array
        Group of each. [unitless]

    Returns
    -------
    ss, df : (k,) float array and int
        Sum of squares and degrees of freedom. [unit², unitless]
    """
    squares, free = group_squares(readings, group)
    return np.asarray(squares.sum(axis=0), dtype=np.float64), int(free.sum())


def one_way(reading: FloatArray, group: IntArray) -> OneWay:
    """Split the variance of readings into between and within groups, e.g. instruments.

    Parameters
    ----------
    reading : (n,) float array
        Readings. [unit]
    group : (n,) int array
        Group of each; two or more groups, one of them with two or more readings. [unitless]

    References
    ----------
    Checked with the certified values of NIST StRD SiRstv.
    """
    centred = reading - reading[0]
    within, within_df = within_ss(centred[:, None], group)
    _, member, size = np.unique(group, return_inverse=True, return_counts=True)
    mean = np.bincount(member, centred) / size
    between = float(np.sum(size * (mean - np.average(centred)) ** 2))
    between_df = len(size) - 1
    within_ms, between_ms = float(within[0]) / within_df, between / between_df
    typical = (len(reading) - float(np.sum(size.astype(np.float64) ** 2)) / len(reading)) / between_df
    f = between_ms / within_ms if within_ms > 0.0 else float("inf")
    return OneWay(
        between_ss=between,
        within_ss=float(within[0]),
        between_df=between_df,
        within_df=within_df,
        f=f,
        p=float(f_sf(f, between_df, within_df)) if np.isfinite(f) else 0.0,
        within_sd=float(np.sqrt(within_ms)),
        between_sd=float(np.sqrt(max((between_ms - within_ms) / typical, 0.0))),
    )


def crossed(
    part_ms: float,
    operator_ms: float,
    interaction_ms: float,
    repeat_ms: float,
    *,
    parts: int,
    operators: int,
    repeats: int,
) -> Crossed:
    """Give the variance components of a study in which every operator measured every part several times.

    Parameters
    ----------
    part_ms, operator_ms, interaction_ms, repeat_ms : float
        Mean squares. [unit²]
    parts, operators, repeats : int
        Size of the study. [unitless]

    Notes
    -----
    An interaction with p above 0.25 is taken into the repeatability.

    References
    ----------
    AIAG, Measurement Systems Analysis, crossed example of 10 parts, 3 operators, 3 repeats (seen in a secondary copy).
    """
    df_interaction, df_repeat = (parts - 1) * (operators - 1), parts * operators * (repeats - 1)
    f = interaction_ms / repeat_ms
    p = float(f_sf(f, df_interaction, df_repeat))
    pooled = p > 0.25
    if pooled:
        repeat_ms = (interaction_ms * df_interaction + repeat_ms * df_repeat) / (df_interaction + df_repeat)
        interaction_ms = repeat_ms
    interaction = max((interaction_ms - repeat_ms) / repeats, 0.0)
    operator = max((operator_ms - interaction_ms) / (parts * repeats), 0.0) + interaction
    part = max((part_ms - interaction_ms) / (operators * repeats), 0.0)
    root = np.sqrt
    return Crossed(
        float(root(repeat_ms)),
        float(root(operator)),
        float(root(repeat_ms + operator)),
        float(root(part)),
        f,
        p,
        pooled,
    )
