"""Return rates from what is seen: a return happens unseen and shows at the next look.

Each look is a yes or no over its own length: yes with probability
1 − exp(−λ t).  The rate λ differs between assets by a gamma distribution that is
fitted to the class (:mod:`models.history.return_prior`), and what is left open there is averaged over.  Nothing else is
approximated but the grid on which λ lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.history.classes import SMALLEST_CLASS, fit_of
from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.late import Late
from models.history.priors import Posterior, Prior, fit_beta, fit_gamma, shares_after
from models.history.return_prior import GRID, NODES, fit_prior, weights
from models.history.returns import rank_by
from models.history.runs import SHORTEST_LOOK

MANY = 4 * NODES
"""From so many such machines on that is worth it."""

LOOKS_AT_ONCE = 20_000

HALVINGS = 40
"""Halvings of the whole grid in its logarithm: eleven digits."""

UNKNOWN_PRIOR = Prior(float("nan"), float("nan"), 0, "none")


@dataclass(frozen=True, slots=True)
class ReturnPriors:
    """What the classes in ``labels`` have in common, the last of them the fleet: priors of shares and of rates."""

    labels: IntArray
    shares: tuple[Prior, ...]
    rates: tuple[Prior, ...]


@dataclass(frozen=True, slots=True)
class ReturnRates(Late):
    """One row an asset: share of looks and rate per running year, each after the class's prior.

    ``share`` and ``rate`` hold mean, lower 10 % bound and 90 % interval.
    ``class_based`` marks assets without a look: theirs is the class's figure.
    ``prior`` of shares and of rates are listed for each class in ``labels``; the
    last is the fleet's.  NaN everywhere when nobody ever looked.
    """

    looks: IntArray
    returns: IntArray
    years: FloatArray
    share: Posterior
    rate: Posterior
    worst_ratio: FloatArray
    class_based: BoolArray
    labels: IntArray
    share_priors: tuple[Prior, ...]
    rate_priors: tuple[Prior, ...]

    @property
    def priors(self) -> ReturnPriors:
        """Give what the classes have in common."""
        return ReturnPriors(self.labels, self.share_priors, self.rate_priors)

    def ranking(self) -> IntArray:
        """Give the assets with a return, by the lower bound of their rate, largest first.

        Those that were looked at for less than :data:`SHORTEST_LOOK` in all come last, for nothing divides their returns.
        """
        order = rank_by(self.rate.bound, self.returns, self.worst_ratio)
        brief = self.years[order] < SHORTEST_LOOK
        return np.concatenate([order[~brief], order[brief]])


def return_rates(
    asset: IntArray,
    years: FloatArray,
    returned: BoolArray,
    asset_class: IntArray,
    worst_ratio: FloatArray | None = None,
    *,
    smallest: int = SMALLEST_CLASS,
    full: bool = True,
    priors: ReturnPriors | None = None,
) -> ReturnRates:
    """Estimate the share of looks found over and the rate of returns of each asset.

    Parameters
    ----------
    asset : (n,) int array
        Asset of each look: a run that began within limit and whose end was judged. [unitless]
    years : (n,) float array
        Its length in service. [year]
    returned : (n,) bool array
        Whether it ended over limit. [unitless]
    asset_class : (assets,) int array
        Class of each asset; −1 unknown. [unitless]
    worst_ratio : (assets,) float array or None
        Largest limit ratio, decides between equal bounds. [unitless]
    smallest : int
        Assets that a class needs for a prior of its own. [unitless]
    full : bool
        False where only the ranking of the assets with a return is wanted: shares, the rates of the others and a
        prior that no asset uses are then NaN. [unitless]
    priors : ReturnPriors or None
        What the classes have in common, where that is known already; fitted where not given. [unitless]

    Returns
    -------
    ReturnRates
        One row an asset.

    References
    ----------
    Complementary log-log model of interval-censored exponential times; prior by marginal likelihood. In the limit of
    short looks it is the gamma–Poisson model (test).
    """
    assets = len(asset_class)
    looks = np.bincount(asset, minlength=assets).astype(np.int64)
    returns = np.bincount(asset[returned], minlength=assets).astype(np.int64)
    total = np.bincount(asset, years, assets).astype(np.float64)
    labels, fit = _classes(asset_class, looks, smallest)
    if priors is not None:
        labels, fit = priors.labels, fit_of(asset_class, priors.labels[:-1])
    # Only assets with a look have a likelihood of their own: a filter that leaves a few costs as much as they do.
    seen = np.flatnonzero(looks > 0)
    place = np.full(assets, -1, dtype=np.int64)
    place[seen] = np.arange(len(seen))
    quiet = np.bincount(asset[~returned], years[~returned], assets).astype(np.float64)
    if not full:
        # Nothing is asked of those that never came back but their part in the prior.
        seen = np.flatnonzero(returns > 0)
        place[:] = -1
        place[seen] = np.arange(len(seen))
    kept = place[asset] >= 0
    likelihood = _log_likelihood(place[asset[kept]], years[kept], returned[kept], len(seen))
    if priors is None:
        tally = _Tally(looks, returns, total, quiet, likelihood, place)
        priors = _fit_priors(tally, asset_class, labels, fit, full=full)
        anybody = bool(looks.any())
    else:
        anybody = any(prior.n for prior in priors.rates)
    share = shares_after(returns, looks, priors.shares, fit) if full else Posterior(*np.full((4, assets), np.nan))
    if full:
        rate = _posterior(likelihood, priors.rates, fit, seen)
    else:
        back = np.flatnonzero(returns > 0)
        some = _posterior(likelihood[place[back]], priors.rates, fit[back])
        rate = Posterior(*(_spread_out(getattr(some, name), back, assets) for name in Posterior.__slots__))
    worst = np.full(assets, np.nan) if worst_ratio is None else worst_ratio
    result = ReturnRates(looks, returns, total, share, rate, worst, looks == 0, labels, priors.shares, priors.rates)
    return result if anybody else _nothing(result)


def rates_alone(asset: IntArray, years: FloatArray, returned: BoolArray, assets: int) -> FloatArray:
    """Give the rate that fits the looks of each asset best, drawn towards nothing.

    Parameters
    ----------
    asset : (n,) int array
        Asset of each look. [unitless]
    years : (n,) float array
        Its length in service. [year]
    returned : (n,) bool array
        Whether it ended over limit. [unitless]
    assets : int
        Number of assets. [unitless]

    Returns
    -------
    (assets,) float array
        Rate of the largest likelihood; 0 without a return, infinite where every look shows one, NaN without a look. [1/year]

    Notes
    -----
    It lies above returns ÷ time: a return has happened some time before the look that shows it, and a second one in the
    same look is not seen.  The slope Σ t ⁄ (exp(λ t) − 1) over returns less the time of the other looks falls with λ, so
    that halving finds its zero.
    """
    length = np.maximum(years[returned], SHORTEST_LOOK)
    came = asset[returned]
    quiet = np.bincount(asset[~returned], years[~returned], assets)
    low, high = np.full(assets, np.log(GRID[0])), np.full(assets, np.log(GRID[-1]))
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        with np.errstate(over="ignore"):
            slope = np.bincount(came, length / np.expm1(np.exp(middle[came]) * length), assets) - quiet
        low, high = np.where(slope > 0.0, middle, low), np.where(slope > 0.0, high, middle)
    looks, returns = np.bincount(asset, minlength=assets), np.bincount(came, minlength=assets)
    found = np.where(returns == 0, 0.0, np.where(returns == looks, np.inf, np.exp(0.5 * (low + high))))
    return np.asarray(np.where(looks > 0, found, np.nan), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Tally:
    """What priors are fitted to: counts and years of each asset, and the likelihood in ``place`` of some of them."""

    looks: IntArray
    returns: IntArray
    total: FloatArray
    quiet: FloatArray
    likelihood: FloatArray
    place: IntArray


def _fit_priors(tally: _Tally, asset_class: IntArray, labels: IntArray, fit: IntArray, *, full: bool) -> ReturnPriors:
    looked = np.flatnonzero(tally.looks > 0)
    share_priors, rate_priors = [], []
    likelihood, place = tally.likelihood, tally.place
    for index, label in enumerate(labels.tolist()):
        if not full and not (fit[looked] == index).any():
            share_priors.append(UNKNOWN_PRIOR)
            rate_priors.append(UNKNOWN_PRIOR)
            continue
        rows = looked if label == -1 else looked[asset_class[looked] == label]
        share_priors.append(fit_beta(tally.returns[rows], tally.looks[rows]) if full else UNKNOWN_PRIOR)
        start = fit_gamma(tally.returns[rows], tally.total[rows])
        came = tally.returns[rows] > 0
        quiet = tally.quiet[rows[~came]]
        look = float(tally.total[rows].sum()) / max(int(tally.looks[rows].sum()), 1)
        if len(quiet) > MANY:
            # Machines that never came back differ in one number, the time over which they did not.
            rate_priors.append(fit_prior(likelihood[place[rows[came]]], start, quiet, look=look))
        elif full:
            rate_priors.append(fit_prior(likelihood[place[rows]], start, look=look))
        else:
            own = np.concatenate([likelihood[place[rows[came]]], -quiet[:, None] * GRID])
            order = np.argsort(np.concatenate([rows[came], rows[~came]]))
            rate_priors.append(fit_prior(own[order], start, look=look))
    return ReturnPriors(labels, tuple(share_priors), tuple(rate_priors))


def _classes(asset_class: IntArray, looks: IntArray, smallest: int) -> tuple[IntArray, IntArray]:
    names, sizes = np.unique(asset_class[(asset_class >= 0) & (looks > 0)], return_counts=True)
    large = names[sizes >= smallest]
    return np.append(large, -1).astype(np.int64), fit_of(asset_class, large)


def _log_likelihood(asset: IntArray, years: FloatArray, returned: BoolArray, assets: int) -> FloatArray:
    """Give the log-likelihood of each rate on the grid for each asset."""
    quiet = np.bincount(asset[~returned], years[~returned], assets)
    total = -quiet[:, None] * GRID
    rows = np.flatnonzero(returned)
    for begin in range(0, len(rows), LOOKS_AT_ONCE):
        part = rows[begin : begin + LOOKS_AT_ONCE]
        length = np.maximum(years[part], SHORTEST_LOOK)
        seen = np.log(-np.expm1(-length[:, None] * GRID))
        # Asset by asset, each in its own order: adding one look at a time to a row costs five times as much.
        order = np.argsort(asset[part], kind="stable")
        begins = np.flatnonzero(np.diff(asset[part][order], prepend=-1))
        total[asset[part][order[begins]]] += np.add.reduceat(seen[order], begins, axis=0)
    return np.asarray(total, dtype=np.float64)


def _spread_out(values: FloatArray, rows: IntArray, length: int) -> FloatArray:
    out = np.full(length, np.nan)
    out[rows] = values
    return out


def _posterior(
    likelihood: FloatArray, priors: Sequence[Prior], fit: IntArray, seen: IntArray | None = None
) -> Posterior:
    """Give what is known of each asset's rate; ``likelihood`` has a row for each asset that was looked at (all if not given)."""
    out = np.full((4, len(fit)), np.nan)
    seen = np.arange(len(fit)) if seen is None else seen
    looked = np.zeros(len(fit), dtype=np.bool_)
    looked[seen] = True
    for index, prior in enumerate(priors):
        mine = fit == index
        rows = fit[seen] == index
        if rows.any():  # a job that was just recorded touches one machine, and so one class of many
            out[:, seen[rows]] = _summary(weights(likelihood[rows], prior))
        others = np.flatnonzero(mine & ~looked)
        if len(others):
            # Without a look of its own each has the figures of the class: worked out once.
            out[:, others] = _summary(weights(np.zeros((1, len(GRID))), prior))
    return Posterior(*out)


def _summary(weight: FloatArray) -> FloatArray:
    """Give mean, lower 10 % bound and the 90 % interval of each row of weights: (4, n)."""
    reached = np.cumsum(weight, axis=1) - 0.5 * weight
    # Summed row by row: a product of matrices rounds otherwise when there are more rows.
    return np.stack([np.sum(weight * GRID, axis=1), *(_quantile(reached, p) for p in (0.10, 0.05, 0.95))])


def _quantile(reached: FloatArray, p: float) -> FloatArray:
    """Read a quantile off a cumulated grid, between two rates by the logarithm."""
    rows = np.arange(len(reached))
    after = np.clip(np.count_nonzero(reached < p, axis=1), 1, reached.shape[1] - 1)
    low, high = reached[rows, after - 1], reached[rows, after]
    share = np.clip((p - low) / np.maximum(high - low, 1e-300), 0.0, 1.0)
    return np.asarray(GRID[after - 1] * (GRID[after] / GRID[after - 1]) ** share, dtype=np.float64)


def _nothing(result: ReturnRates) -> ReturnRates:
    nan = np.full(len(result.looks), np.nan)
    blank = Posterior(nan, nan, nan, nan)
    return replace(result, share=blank, rate=blank)
