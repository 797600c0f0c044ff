"""Return rates from what is seen: a return happens unseen and shows at the next look.

Each look is a yes or no over its own length: yes with probability
1 − exp(−λ t).  The rate λ differs between assets by a gamma distribution that is
fitted to the class.  Nothing is approximated but the grid on which λ lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.history.classes import SMALLEST_CLASS, fit_of
from models.history.columns import BoolArray, FloatArray, IntArray
from models.history.distributions import digamma, log_gamma, trigamma
from models.history.late import Late
from models.history.priors import Posterior, Prior, fit_beta, fit_gamma, posterior_share
from models.history.returns import rank_by

GRID = np.exp(np.linspace(np.log(1e-5), np.log(200.0), 130))
"""Rates on which the likelihood is kept, evenly in the logarithm. [1/year]"""

NODES = 64
"""Times that stand for those of all machines that never came back."""

MANY = 4 * NODES
"""From so many such machines on that is worth it."""

MOST_ALIKE = 40.0
"""Largest shape of a prior: rates that differ by less than 16 % are one rate to any record, and a narrower prior would fall
between the points of the grid (with this one a sum over them errs by 1e-13)."""

SHORT_STEP = 1e-7
"""A fit ends with a step shorter than this."""

SOON_YEARS = 0.02
"""Keeps the logarithm of a time finite. [year]"""

LOOKS_AT_ONCE = 20_000

UNKNOWN_PRIOR = Prior(float("nan"), float("nan"), 0, "none")

FAINT = 1e-250
"""A sum of weights below this has lost what was added: the weights are then taken one asset at a time."""


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
        """Give the assets with a return, by the lower bound of their rate, largest first."""
        return rank_by(self.rate.bound, self.returns, self.worst_ratio)


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
    if full:
        a, b = np.array([(p.a, p.b) for p in priors.shares])[fit].T
        share = posterior_share(returns, looks, a, b)
    else:
        share = Posterior(*np.full((4, assets), np.nan))
    if full:
        rate = _posterior(likelihood, priors.rates, fit, seen)
    else:
        back = np.flatnonzero(returns > 0)
        some = _posterior(likelihood[place[back]], priors.rates, fit[back])
        rate = Posterior(*(_spread_out(getattr(some, name), back, assets) for name in Posterior.__slots__))
    worst = np.full(assets, np.nan) if worst_ratio is None else worst_ratio
    result = ReturnRates(looks, returns, total, share, rate, worst, looks == 0, labels, priors.shares, priors.rates)
    return result if anybody else _nothing(result)


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
        if len(quiet) > MANY:
            # Machines that never came back differ in one number, the time over which they did not.
            rate_priors.append(_fit_prior(likelihood[place[rows[came]]], start, quiet))
        elif full:
            rate_priors.append(_fit_prior(likelihood[place[rows]], start))
        else:
            own = np.concatenate([likelihood[place[rows[came]]], -quiet[:, None] * GRID])
            order = np.argsort(np.concatenate([rows[came], rows[~came]]))
            rate_priors.append(_fit_prior(own[order], start))
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
        # A look of no length that shows a return says only that λ is large; a day is the least that is believed.
        length = np.maximum(years[part], 1.0 / 365.25)
        seen = np.log(-np.expm1(-length[:, None] * GRID))
        # Asset by asset, each in its own order: adding one look at a time to a row costs five times as much.
        order = np.argsort(asset[part], kind="stable")
        begins = np.flatnonzero(np.diff(asset[part][order], prepend=-1))
        total[asset[part][order[begins]]] += np.add.reduceat(seen[order], begins, axis=0)
    return np.asarray(total, dtype=np.float64)


def _log_prior(prior: Prior) -> FloatArray:
    weight = prior.a * np.log(GRID) - prior.b * GRID  # the grid is even in log λ: one power more than the density
    return np.asarray(weight - np.max(weight), dtype=np.float64)


def _weights(likelihood: FloatArray, prior: Prior) -> FloatArray:
    log = likelihood + _log_prior(prior)
    weight = np.exp(log - log.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True), dtype=np.float64)


def _fit_prior(likelihood: FloatArray, start: Prior, quiet: FloatArray | None = None) -> Prior:
    """Fit the gamma prior by Newton steps on the marginal likelihood, in the logarithms of its two parameters.

    ``likelihood`` has a row for each asset; ``quiet`` are the years of further ones that never came back [year].

    What a class has over a machine with one return, a ⁄ (a + 1), is as likely to be any share before anything is seen
    ('uniform shrinkage', C. L. Christiansen and C. N. Morris 1997, from memory).  A few looks at each machine hardly tell
    how much machines differ; the likelihood alone then says in every second class that they do not differ at all.

    Where the likelihood does not bend down, a step goes uphill as far as if it bent down as much as it bends up.
    """
    if not len(likelihood) and quiet is None:
        return start
    a = min(start.a, 20.0)
    b = start.b * a / start.a
    surface = _Surface(likelihood, quiet)
    here = surface.at(a, b)
    for _ in range(60):
        step, bound = _step(here, a, surface.n)
        new_a, new_b = MOST_ALIKE if bound else a * float(np.exp(step[0])), b * float(np.exp(step[1]))
        there = surface.at(new_a, new_b)
        while there.height < here.height - 1e-9 * surface.n and float(np.max(np.abs(step))) > SHORT_STEP:
            step = step / 4.0
            new_a, new_b = a * float(np.exp(step[0])), b * float(np.exp(step[1]))
            there = surface.at(new_a, new_b)
        a, b, here = new_a, new_b, there
        if float(np.max(np.abs(step))) < SHORT_STEP:
            break
    return Prior(a, b, int(surface.n), "moments" if a == MOST_ALIKE else "likelihood")


@dataclass(frozen=True, slots=True)
class _Place:
    """Height of the surface, up to a constant, with its gradient and its information (observed, after Louis)."""

    height: float
    gradient: FloatArray
    information: FloatArray


class _Surface:
    """The marginal log-likelihood of a gamma prior, and what is thought of its shape, over the logarithms of shape and years."""

    def __init__(self, likelihood: FloatArray, quiet: FloatArray | None) -> None:
        log_grid = np.log(GRID)
        self.moments = np.stack([log_grid, GRID, log_grid**2, log_grid * GRID, GRID**2], axis=1)
        self.weight = np.ones(len(likelihood))
        self.n = float(len(likelihood)) + (0.0 if quiet is None else float(len(quiet)))
        if quiet is not None:
            nodes, shares = _nodes_of(quiet)
            likelihood = np.concatenate([likelihood, -nodes[:, None] * GRID])
            self.weight = np.append(self.weight, shares)
        self.likelihood = likelihood
        self.scaled = likelihood - likelihood.max(axis=1, keepdims=True)
        np.exp(self.scaled, out=self.scaled)

    def at(self, a: float, b: float) -> _Place:
        """Look at one prior."""
        n, weight = self.n, self.weight
        logs, each = _means(self.likelihood, self.scaled, Prior(a, b, 0, ""), self.moments)
        first = np.array(
            [_sum(weight, each[:, 0]) + n * (np.log(b) - digamma(a)), n * a / b - _sum(weight, each[:, 1])]
        )
        own = np.array([[n * float(trigamma(a)), -n / b], [-n / b, n * a / b**2]])
        cross = -_sum(weight, each[:, 3] - each[:, 0] * each[:, 1])
        spread = np.array(
            [
                [_sum(weight, each[:, 2] - each[:, 0] ** 2), cross],
                [cross, _sum(weight, each[:, 4] - each[:, 1] ** 2)],
            ]
        )
        p = np.array([a, b])
        gradient = first * p
        # The weights of the prior are counted from the largest: that and what makes them sum to one come back here.
        largest = float(np.max(a * np.log(GRID) - b * GRID))
        height = _sum(weight, logs) + n * (largest + a * float(np.log(b)) - float(log_gamma(a)))
        information = (own - spread) * np.outer(p, p) - np.diag(gradient)
        share = a / (a + 1.0)
        gradient[0] += 1.0 - 2.0 * share
        information[0, 0] += 2.0 * share * (1.0 - share)
        return _Place(height + float(np.log(share * (1.0 - share))), gradient, information)


def _step(here: _Place, a: float, n: float) -> tuple[FloatArray, bool]:
    """Give the next step in the logarithms of shape and years, and whether it ends at the largest shape."""
    values, axes = np.linalg.eigh(here.information)
    if float(values[0]) < 1e-8 * n:
        steep = np.maximum(np.abs(values), 1e-6 * n)
        step = axes @ ((axes.T @ here.gradient) / steep)
    else:
        step = np.linalg.solve(here.information, here.gradient)
    room = float(np.log(MOST_ALIKE / a))
    if room <= 0.0 < step[0]:
        step = np.array([0.0, here.gradient[1] / abs(here.information[1, 1])])
    step *= min(1.0, 0.7 / max(float(np.max(np.abs(step))), 1e-300))
    if step[0] >= room > 0.0:
        return step * (room / step[0]), True
    return step, room <= 0.0 and step[0] == 0.0


def _sum(weight: FloatArray, values: FloatArray) -> float:
    return float(np.sum(weight * values))


def _nodes_of(quiet: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give a few times and weights such that the weighted sum over them is the sum over all, for any smooth function.

    Parameters
    ----------
    quiet : (n,) float array
        Times, at least 0. [year]

    Returns
    -------
    nodes, weights : (NODES,) float arrays
        Times, and how often each counts; a weight may be negative. [year, unitless]

    Notes
    -----
    Interpolation at Chebyshev points in the logarithm of the time. What is summed is smooth in it (its poles lie π
    away from the line of real times), so that the error falls by half or better with each point: below 1e-13 of the sum (test).
    """
    x = np.log(quiet + SOON_YEARS)
    low, high = float(x.min()), max(float(x.max()), float(x.min()) + 1e-6)
    x = np.clip((2.0 * x - low - high) / (high - low), -1.0, 1.0)
    # Sums of the Chebyshev polynomials over all times, by their recurrence.
    sums, before, here = np.empty(NODES), np.ones_like(x), x
    sums[0], sums[1] = len(x), float(np.sum(x))
    for k in range(2, NODES):
        before, here = here, 2.0 * x * here - before
        sums[k] = float(np.sum(here))
    angle = np.pi * (np.arange(NODES) + 0.5) / NODES
    sums[0] *= 0.5
    weights = 2.0 / NODES * (np.cos(np.outer(angle, np.arange(NODES))) @ sums)
    at = 0.5 * (np.cos(angle) * (high - low) + low + high)
    return np.exp(at) - SOON_YEARS, weights


def _means(
    likelihood: FloatArray, scaled: FloatArray, prior: Prior, moments: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give the means of some moments of each asset's rate, and before them the logarithm of what they are means over.

    ``scaled`` is the likelihood over the largest of its own: one product of matrices, and the exponential of each
    likelihood is taken once for all priors that are tried.
    """
    weight = np.exp(_log_prior(prior))
    sums = scaled @ np.column_stack([weight, weight[:, None] * moments])
    faint = sums[:, 0] < FAINT
    logs = np.log(np.where(faint, 1.0, sums[:, 0]))
    means = sums[:, 1:] / np.where(faint, 1.0, sums[:, 0])[:, None]
    if faint.any():
        means[faint] = _weights(likelihood[faint], prior) @ moments
        log = likelihood[faint] + _log_prior(prior)
        largest = log.max(axis=1)
        logs[faint] = largest + np.log(np.exp(log - largest[:, None]).sum(axis=1)) - likelihood[faint].max(axis=1)
    return logs, np.asarray(means, dtype=np.float64)


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
        out[:, seen[rows]] = _summary(_weights(likelihood[rows], prior))
        others = np.flatnonzero(mine & ~looked)
        if len(others):
            # Without a look of its own each has the figures of the class: worked out once.
            out[:, others] = _summary(_weights(np.zeros((1, len(GRID))), prior))
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
