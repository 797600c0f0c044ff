"""What each person left over limit, beside what others left on the same machines.

Counted are jobs with an as-left of their own: a look that moved nothing leaves what
it found, and says nothing of the work.  Machines differ, and so do the jobs that each
is given: a difference is a hint, never a judgement of a person.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.history.columns import BoolArray, FloatArray, IntArray, JobColumns
from models.history.distributions import log_gamma
from models.history.effects import FEWEST_JOBS
from models.history.intervals import Shares, shares
from models.history.multiplicity import adjusted
from models.history.priors import fit_beta


@dataclass(frozen=True, slots=True)
class LeftOver:
    """One row a person.

    ``share`` holds how many of their jobs they left over limit, with Wilson's 95 %
    interval.  ``expected`` is how many would be expected from what others left on the same
    machines and in the same speed classes.  ``p`` tests whether it is more, ``q`` allows for
    all people; NaN with fewer than ten jobs of theirs or of others.
    """

    share: Shares
    expected: FloatArray
    p: FloatArray
    q: FloatArray


def own_left(jobs: JobColumns) -> BoolArray:
    """Tell which jobs have a judged as-left of their own, one that is not the as-found over again.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    """
    return np.asarray(~np.isnan(jobs.left_ratio) & ~(jobs.left == jobs.found).all(axis=1), dtype=np.bool_)


def left_over_of(jobs: JobColumns, people: int, rate: float = 0.10) -> LeftOver:
    """Hold what each person left over limit against what all others left on these machines.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand; the person named first counts. [unitless]
    people : int
        How many people there are. [unitless]
    rate : float
        Accepted share of false statements; who stands out by it is no measure for the others. [unitless]

    Returns
    -------
    LeftOver
        One row each.

    Notes
    -----
    A job of a person is expected to be left over with the share that others left over on that machine, drawn to the share
    that others left over in its speed class by as much as machines are alike (a beta distribution fitted to the shares of
    machines). A machine that nobody else aligned has the share of its class. p is the upper tail of a beta-binomial
    distribution with the mean and the variance of the sum, what is not known of the shares included. Nobody is told to leave
    less over than others: where one leaves much over, all others do. Who stands out at first is left out of 'others' then.
    """
    rows = np.flatnonzero(own_left(jobs) & (jobs.person >= 0))
    over = (jobs.left_ratio[rows] > 1.0).astype(np.float64)
    person, asset, group = jobs.person[rows], jobs.asset[rows], jobs.speed_class[rows] + 1
    n = np.bincount(person, minlength=people).astype(np.int64)
    count = np.bincount(person, over, people).astype(np.int64)
    expected, p = np.full(people, np.nan), np.full(people, np.nan)
    if len(rows):
        cells, usual = _cells(person, asset, group, over), np.ones(people, dtype=np.bool_)
        for _ in range(2):
            others = int(n[usual].sum()) - np.where(usual, n, 0)
            counts = cells.of_others(usual)
            for one in np.flatnonzero((n >= FEWEST_JOBS) & (others >= FEWEST_JOBS)).tolist():
                mean, variance = cells.expect(one, counts, counted=bool(usual[one]))
                expected[one], p[one] = mean, upper_tail(int(count[one]), int(n[one]), mean, variance)
            outside = adjusted(p) <= rate
            if not outside.any():
                break
            usual &= ~outside
    return LeftOver(shares(count, n), expected, p, adjusted(p))


@dataclass(frozen=True, slots=True)
class _Cells:
    """Jobs by person, machine and speed class, counted; and what all people left on each machine and in each class."""

    person: IntArray
    asset: IntArray
    group: IntArray
    n: FloatArray
    over: FloatArray
    size: float
    crowding: FloatArray

    def of_others(self, usual: BoolArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Count the jobs, and those left over, of all usual people by machine and by speed class."""
        some = usual[self.person]
        asset, group = self.asset[some], self.group[some]
        assets, groups, n, over = int(self.asset.max()) + 1, len(self.crowding), self.n[some], self.over[some]
        return _sum(asset, n, assets), _sum(asset, over, assets), _sum(group, n, groups), _sum(group, over, groups)

    def expect(self, one: int, counts: Sequence[FloatArray], *, counted: bool) -> tuple[float, float]:
        """Give mean and variance of how many jobs of a person would be left over, by what usual others did.

        ``counted`` tells whether the person's own jobs are in ``counts``: they are taken out.
        """
        mine = slice(*np.searchsorted(self.person, [one, one + 1]).tolist())  # the cells stand person by person
        asset, group, n = self.asset[mine], self.group[mine], self.n[mine]
        own = (n, self.over[mine]) if counted else (np.zeros(len(n)), np.zeros(len(n)))
        _, at = np.unique(asset, return_inverse=True)
        by_asset = [part[asset] - np.bincount(at, less)[at] for part, less in zip(counts[:2], own, strict=True)]
        by_group = [part - np.bincount(group, less, len(part)) for part, less in zip(counts[2:], own, strict=True)]
        everywhere = (by_group[1].sum() + 0.5) / (by_group[0].sum() + 1.0)
        # A class with few jobs is drawn to all classes by what half a job left over is worth.
        worth = 0.5 / everywhere
        of_class = (by_group[1] + 0.5) / (by_group[0] + worth)
        weight = self.size + by_asset[0]
        share = (self.size * of_class[group] + by_asset[1]) / weight
        chance = share * (1.0 - share)
        # Machine by machine the share of the machine is not known, class by class that of the class.
        pull = np.bincount(group, n * self.size / weight, len(of_class))
        class_error = of_class * (1.0 - of_class) / (by_group[0] + worth + 1.0) * self.crowding
        variance = np.sum(n * chance + n**2 * chance / (weight + 1.0)) + np.sum(pull**2 * class_error)
        return float(np.sum(n * share)), float(variance)


def _cells(person: IntArray, asset: IntArray, group: IntArray, over: FloatArray) -> _Cells:
    keys, cell = np.unique(np.stack([person, asset, group]), axis=1, return_inverse=True)
    cell = cell.ravel()
    n, count = _sum(cell, np.ones(len(over)), keys.shape[1]), _sum(cell, over, keys.shape[1])
    of_machine = np.bincount(asset), np.bincount(asset, over).astype(np.int64)
    prior = fit_beta(of_machine[1], of_machine[0])
    size = prior.a + prior.b
    # Where machines differ, jobs of one machine say less of their class than as many jobs of many.
    groups = int(group.max()) + 1
    cells = np.unique(np.stack([asset, group]), axis=1, return_counts=True)
    held = cells[1].astype(np.float64)
    jobs_of, squares = (np.bincount(cells[0][1], part, groups) for part in (held, held**2))
    crowding = 1.0 + np.maximum(squares / np.maximum(jobs_of, 1.0) - 1.0, 0.0) / (size + 1.0)
    return _Cells(keys[0], keys[1], keys[2], n, count, size, crowding)


def _sum(at: IntArray, values: FloatArray, length: int) -> FloatArray:
    return np.asarray(np.bincount(at, values, length), dtype=np.float64)


def upper_tail(count: int, n: int, mean: float, variance: float) -> float:
    """Give how likely so many or more of some jobs are left over, where nothing but chance is at work.

    Parameters
    ----------
    count, n : int
        How many of how many. [unitless]
    mean, variance : float
        Of the count; a variance below the binomial one is taken for that. [unitless]

    Notes
    -----
    Beta-binomial with that mean and variance, by its own sum. The binomial distribution has at least the variance of a sum
    of unequal trials (W. Hoeffding 1956, from memory), so nothing is claimed too easily.
    """
    share = min(max(mean / n, 1e-12), 1.0 - 1e-12)
    excess = variance / (n * share * (1.0 - share)) - 1.0
    alike = min(max(excess / max(n - 1, 1), 1e-9), 0.999)
    a, b = share * (1.0 / alike - 1.0), (1.0 - share) * (1.0 / alike - 1.0)
    at = np.arange(n + 1, dtype=np.float64)
    log = log_gamma(at + a) + log_gamma(n - at + b) - log_gamma(at + 1.0) - log_gamma(n - at + 1.0)
    chance = np.exp(log - log.max())
    return float(min(1.0, chance[count:].sum() / chance.sum()))
