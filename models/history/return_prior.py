"""What the return rates of a class have in common: a gamma distribution, fitted to what was seen of each machine.

A rate lies on a grid, even in its logarithm; a machine is a row of log-likelihoods over it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.history.columns import FloatArray
from models.history.distributions import digamma, log_gamma, trigamma
from models.history.prior_nodes import CLOSE, MEAN_POINTS, SURE_ALIKE, SURE_MEAN, nodes_near, nodes_on
from models.history.priors import Prior
from models.history.runs import SHORTEST_LOOK

GRID = np.exp(np.linspace(np.log(1e-5), np.log(200.0), 130))
"""Rates on which the likelihood is kept, evenly in the logarithm. [1/year]"""

NODES = 64
"""Times that stand for those of all machines that never came back."""

MOST_ALIKE = 40.0
"""Largest shape of a prior: rates that differ by less than 16 % are one rate to any record, and a narrower prior would fall
between the points of the grid (with this one a sum over them errs by 1e-13)."""

SHORT_STEP = 1e-7
"""A fit ends with a step shorter than this."""

SOON_YEARS = 0.02
"""Keeps the logarithm of a time finite. [year]"""

AT_ONCE = 1_024
"""So many machines are averaged over a class's nodes at once: what is looked at again is still at hand."""

LEAST_ALIKE = 0.05
"""Smallest shape of a node. [unitless]"""

NOTHING = -230.0
"""Logarithm of a weight that counts for nothing beside the largest of its row."""

FAINT = 1e-250
"""A sum of weights below this has lost what was added: the weights are then taken one asset at a time."""


def _log_prior(prior: Prior) -> FloatArray:
    weight = prior.a * np.log(GRID) - prior.b * GRID  # the grid is even in log λ: one power more than the density
    return np.asarray(weight - np.max(weight), dtype=np.float64)


def weights(likelihood: FloatArray, prior: Prior) -> FloatArray:
    """Give how likely each rate of the grid is for each asset after what was seen of it.

    Parameters
    ----------
    likelihood : (assets, rates) float array
        Log-likelihood of each rate. [unitless]
    prior : Prior
        What the class has in common; with nodes, averaged over them. [unitless]
    """
    log = likelihood + _log_prior(prior)
    weight = np.exp(log - log.max(axis=1, keepdims=True))
    if prior.nodes:
        for begin in range(0, len(weight), AT_ONCE):
            weight[begin : begin + AT_ONCE] *= _averaged(weight[begin : begin + AT_ONCE], prior)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True), dtype=np.float64)


def _averaged(weight: FloatArray, prior: Prior) -> FloatArray:
    """Give what turns the weights by the best prior into the mean of those by each node.

    Row by row, node by node: a product of matrices rounds otherwise when there are more rows.
    """
    a, b, shares = np.array(prior.nodes).T[:, :, None]
    log = a * np.log(GRID) - b * GRID
    log -= log.max(axis=1, keepdims=True)
    # What would overflow stands at rates to which the best prior leaves no weight.
    factors = np.exp(np.minimum(log - _log_prior(prior), 600.0))
    total, part = np.zeros_like(weight), np.empty_like(weight)
    for factor, share in zip(factors, shares[:, 0].tolist(), strict=True):
        np.multiply(weight, factor, out=part)
        whole = part.sum(axis=1, keepdims=True)
        np.multiply(share / np.maximum(whole, 1e-290), factor, out=part)
        total += part
    return total


def fit_prior(
    likelihood: FloatArray, start: Prior, quiet: FloatArray | None = None, *, look: float = SHORTEST_LOOK
) -> Prior:
    """Fit the gamma prior by Newton steps on the marginal likelihood, in the logarithms of its two parameters.

    Parameters
    ----------
    likelihood : (assets, rates) float array
        Log-likelihood of each rate of the grid for each asset. [unitless]
    start : Prior
        Where to begin; given back where there is no asset. [unitless]
    quiet : (n,) float array, optional
        Time over which each of further assets never came back. [year]
    look : float
        Mean length of the looks of the class. [year]

    Returns
    -------
    Prior
        The best, with nodes: priors that are about as likely (:mod:`models.history.prior_nodes`), none where it is known sharply.

    Notes
    -----
    The share of looks of mean length that show a return, 1 − exp(−λ look) at the class's mean rate, is as likely to be
    any share before anything is seen.  For small shares that is a flat prior of the mean rate: r returns in T years of
    machines that are alike give the interval whose upper end is the exact one of a Poisson count, 3.0 ⁄ T for none of 95 %.
    For large ones it keeps the rate from running off where every look showed a return.

    What a class has over a machine with one return, a ⁄ (a + 1), is as likely to be any share before anything is seen
    ('uniform shrinkage', C. L. Christiansen and C. N. Morris 1997, from memory).  A few looks at each machine hardly tell
    how much machines differ; the likelihood alone then says in every second class that they do not differ at all.

    Where the likelihood does not bend down, a step goes uphill as far as if it bent down as much as it bends up.
    """
    if not len(likelihood) and quiet is None:
        return start
    a = min(start.a, 20.0)
    b = start.b * a / start.a
    surface = _Surface(likelihood, quiet, max(look, SHORTEST_LOOK))
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
    how = "moments" if a == MOST_ALIKE else "likelihood"
    return Prior(a, b, int(surface.n), how, _nodes(surface, here, a, b))


def _nodes(surface: _Surface, top: _Place, a: float, b: float) -> tuple[tuple[float, float, float], ...]:
    """Give the priors around the best one with their weights, over the logarithms of shape and mean rate; none for a sharp top."""
    turn = np.array([[1.0, 0.0], [1.0, -1.0]])  # log b = log a − log mean
    information, slope = turn.T @ top.information @ turn, float((turn.T @ top.gradient)[0])
    u, v, most = float(np.log(a)), float(np.log(a / b)), float(np.log(MOST_ALIKE))
    sd_u, sd_v = 1.5, float(1.0 / np.sqrt(max(information[1, 1], 0.4)))
    bound = a == MOST_ALIKE
    if float(np.linalg.eigvalsh(information)[0]) > 1e-6 and not bound:
        covariance = np.linalg.inv(information)
        sd_u, sd_v = min(float(np.sqrt(covariance[0, 0])), 1.5), min(float(np.sqrt(covariance[1, 1])), 1.5)
        if sd_u < SURE_ALIKE and sd_v < SURE_MEAN:
            return ()
        if max(sd_u, sd_v) < CLOSE:
            return _priors(nodes_near(u, v, covariance))
    elif bound and sd_v < SURE_MEAN:
        return ()
    below = min(3.5 * sd_u, 5.0 / max(slope, 1e-3)) if bound else 3.5 * sd_u
    alike = max(u - below, float(np.log(LEAST_ALIKE))), min(u + 3.5 * sd_u, most)
    mean = v - 4.2 * sd_v, v + 3.6 * sd_v
    # Each node stands for all means up to half way to the next: else narrow priors would stand apart like the teeth of a comb.
    return _priors(nodes_on(surface.heights, alike, mean), (mean[1] - mean[0]) / (MEAN_POINTS - 1))


def _priors(nodes: tuple[FloatArray, ...], step: float = 0.0) -> tuple[tuple[float, float, float], ...]:
    u, v, weight = nodes
    a = 1.0 / (np.exp(-u) + step**2 / 12.0)
    return tuple(zip(a.tolist(), (a * np.exp(-v)).tolist(), weight.tolist(), strict=True))


@dataclass(frozen=True, slots=True)
class _Place:
    """Height of the surface, up to a constant, with its gradient and its information (observed, after Louis)."""

    height: float
    gradient: FloatArray
    information: FloatArray


class _Surface:
    """The marginal log-likelihood of a gamma prior, with what is thought of its shape and mean, over the logarithms of shape and years."""

    def __init__(self, likelihood: FloatArray, quiet: FloatArray | None, look: float) -> None:
        self.look = look
        log_grid = np.log(GRID)
        self.moments = np.stack([log_grid, GRID, log_grid**2, log_grid * GRID, GRID**2], axis=1)
        self.weight = np.ones(len(likelihood))
        self.n = float(len(likelihood)) + (0.0 if quiet is None else float(len(quiet)))
        if quiet is not None:
            nodes, shares = nodes_of(quiet)
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
        exposed = a / b * self.look
        gradient += (1.0 - exposed) * np.array([1.0, -1.0])
        information += exposed * np.array([[1.0, -1.0], [-1.0, 1.0]])
        height += float(np.log(share * (1.0 - share))) + float(np.log(exposed)) - exposed
        return _Place(height, gradient, information)

    def heights(self, u: FloatArray, v: FloatArray) -> FloatArray:
        """Look at many priors: logarithms of shape and mean rate."""
        a, b = np.exp(u)[:, None], np.exp(u - v)[:, None]
        log = a * np.log(GRID) - b * GRID
        largest = log.max(axis=1)
        # What is next to nothing is nothing here: products that leave the usual range of numbers take thirty times as long.
        weight = np.where(log - largest[:, None] > NOTHING, np.exp(log - largest[:, None]), 0.0)
        scaled = np.where(self.scaled > np.exp(NOTHING), self.scaled, 0.0)
        seen = np.empty(len(u))
        for begin in range(0, len(u), MEAN_POINTS):  # a few at a time: waking threads for it would take longer
            some = slice(begin, begin + MEAN_POINTS)
            seen[some] = self.weight @ np.log(np.maximum(scaled @ weight[some].T, 1e-300))
        exposed = np.exp(v) * self.look
        alike, mean = -u - 2.0 * np.log1p(np.exp(-u)), np.log(exposed) - exposed
        return np.asarray(seen + self.n * (largest + (a * np.log(b) - log_gamma(a))[:, 0]) + alike + mean)


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


def nodes_of(quiet: FloatArray) -> tuple[FloatArray, FloatArray]:
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
        means[faint] = weights(likelihood[faint], prior) @ moments
        log = likelihood[faint] + _log_prior(prior)
        largest = log.max(axis=1)
        logs[faint] = largest + np.log(np.exp(log - largest[:, None]).sum(axis=1)) - likelihood[faint].max(axis=1)
    return logs, np.asarray(means, dtype=np.float64)
