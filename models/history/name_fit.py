"""Effects of names and mean rates of classes, estimated together from the drifts of runs.

A drift holds the effect of the one who found it minus that of the one who left it,
and what the machine moved: the mean rate of its class and a rate of its own, over
the time between.  Where names follow one another in time, a step between two of
them looks like movement: a rate that is estimated first takes a part of the step
for itself.  So both come from one weighted least squares.
"""

from __future__ import annotations

import numpy as np

from models.history.columns import FloatArray, IntArray

FLAT = 1e-9
"""An eigenvalue below this share of the usual one is 0 but for rounding. [unitless]"""

BLURRED = 100.0
"""Two names are not compared where not knowing the rates makes the variance of their difference larger by this."""

CLIP = 4.0
"""A drift counts as this many of its standard deviations at most: one wild drift must not name a person."""

ROUNDS = 20
"""Rounds of clipping at most; they end when no effect moves by a hundredth of the least error."""


class NameFit:
    """The runs of which both names are known, laid out once for all four components.

    Parameters
    ----------
    left, found : (n,) int arrays
        Who left and who found each run; the same name in both tells about the rate alone. [unitless]
    years : (n,) float array
        Time in service. [year]
    series, fit : (n,) int arrays
        Series and fit of each run. [unitless]
    count : int
        Number of names. [unitless]
    """

    def __init__(
        self, left: IntArray, found: IntArray, years: FloatArray, series: IntArray, fit: IntArray, count: int
    ) -> None:
        self.count, self.years = count, years
        self.tells = left != found
        self.left, self.found = left[self.tells], found[self.tells]
        first, self.series = np.unique(series, return_index=True, return_inverse=True)[1:]
        self.fits, self.fit = np.unique(fit[first], return_inverse=True)
        # Each series touches few names: its sums are kept for those alone, in order of series, then name.
        told = self.series[self.tells]
        keys = np.concatenate([told * count + self.found, told * count + self.left])
        held, self.cell = np.unique(keys, return_inverse=True)
        self.cell_series, self.cell_name = np.divmod(held, count)

    @property
    def free(self) -> int:
        """Give the degrees of freedom of what is left: runs less rates of series, or of classes, and less names."""
        runs, series = len(self.years), len(self.fit)
        return runs - (series if series < runs else len(self.fits)) - max(len(np.unique(self.cell_name)) - 1, 0)

    def weigh(self, variance: FloatArray, between: FloatArray) -> Weighed:
        """Give the normal equations of one component.

        Parameters
        ----------
        variance : (n,) float array
            Variance of each drift about the rate of its own machine. [unit²]
        between : (fits,) float array
            Variance of the rates of machines in each of :attr:`fits`. [unit²/year²]
        """
        return Weighed(self, variance, between)

    def compared(self) -> IntArray:
        """Give for each name the first one with which it can be compared, itself where there is none before it.

        Names that no run joins with others cannot be compared with them, nor those whose difference is the same thing as
        a rate: where one left and another found all runs of a class, each over one time, nothing parts the two.
        """
        if not len(self.left):
            return np.arange(self.count)
        plain = self.weigh(np.ones(len(self.years)), np.zeros(len(self.fits)))
        inverse, nothing = _inverse(plain.matrix)
        known, _ = _inverse(plain.joined)
        # Two names whose places differ in what the runs do not tell may lie any distance apart.
        places = nothing / np.abs(nothing).max(axis=0, initial=1e-300)
        apart = _of_differences(places @ places.T) > 1e-10
        blurred = _of_differences(inverse) > BLURRED * _of_differences(known)
        return np.asarray(np.argmax(~(apart | blurred), axis=0), dtype=np.int64)


class Weighed:
    """Normal equations of one component: ``matrix`` (count, count) of the names with the rates of classes taken out.

    ``joined`` is that of the names if all rates were known.  The departure of each machine
    from its class is no unknown of its own: it is in the covariance of the machine's runs.
    """

    def __init__(self, runs: NameFit, variance: FloatArray, between: FloatArray) -> None:
        self.runs, count = runs, runs.count
        self.spread = np.sqrt(variance + between[runs.fit][runs.series] * runs.years**2)
        self.weight = 1.0 / variance
        self.pull = self.weight * runs.years
        series = len(runs.fit)
        timed = np.bincount(runs.series, self.pull * runs.years, series)
        own = between[runs.fit]
        # (V + b y yᵀ)⁻¹ = V⁻¹ − b / (1 + b yᵀV⁻¹y) V⁻¹y yᵀV⁻¹, series by series.
        self.less, self.kept = own / (1.0 + own * timed), 1.0 / (1.0 + own * timed)
        pull = self.pull[runs.tells]
        self.cells = np.bincount(runs.cell, np.concatenate([pull, -pull]), len(runs.cell_name))
        pairs = np.bincount(runs.left * count + runs.found, self.weight[runs.tells], count**2).reshape(count, count)
        pairs = pairs + pairs.T
        self.joined = np.diag(pairs.sum(axis=1)) - pairs - self._of_machines()
        fits = len(runs.fits)
        at = runs.cell_name * fits + runs.fit[runs.cell_series]
        self.cross = np.bincount(at, self.cells * self.kept[runs.cell_series], count * fits).reshape(count, fits)
        total = np.bincount(runs.fit, timed * self.kept, fits)
        self.per_rate = np.where(total > 0.0, 1.0 / np.where(total > 0.0, total, 1.0), 0.0)
        self.matrix = self.joined - (self.cross * self.per_rate) @ self.cross.T

    def _of_machines(self) -> FloatArray:
        """Add up what machines have in common with themselves: for each series the products of its names' sums."""
        runs, count = self.runs, self.runs.count
        if not self.less.any():
            return np.zeros((count, count))
        scaled = self.cells * self.less[runs.cell_series]
        result: FloatArray = np.diag(np.bincount(runs.cell_name, self.cells * scaled, count).astype(np.float64))
        first = np.arange(len(self.cells))
        for step in range(1, count):
            first = first[first + step < len(self.cells)]
            first = first[runs.cell_series[first] == runs.cell_series[first + step]]
            if not len(first):
                break
            at = runs.cell_name[first] * count + runs.cell_name[first + step]
            part = np.bincount(at, self.cells[first] * scaled[first + step], count**2).reshape(count, count)
            result += part + part.T
        return result

    def solve(self, drift: FloatArray, rate: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the effects and the covariance of their errors; only differences between names that can be compared count.

        Parameters
        ----------
        drift : (n,) float array
            Drifts. [unit]
        rate : (fits,) float array
            Rates about which drifts are clipped at first. [unit/year]
        """
        runs = self.runs
        inverse, _ = _inverse(self.matrix)
        errors = np.sqrt(np.diag(inverse)[np.diag(inverse) > 0.0])
        least = 0.01 * float(errors.min(initial=np.inf))
        effect, usual = np.zeros(runs.count), rate[runs.fit][runs.series] * runs.years
        for _ in range(ROUNDS):
            value = usual + np.clip(drift - usual, -CLIP * self.spread, CLIP * self.spread)
            before, (effect, rate) = effect, self._once(value, inverse)
            usual = rate[runs.fit][runs.series] * runs.years
            usual[runs.tells] += effect[runs.found] - effect[runs.left]
            if np.abs(effect - before).max(initial=0.0) <= least:
                break
        return effect, inverse

    def _once(self, value: FloatArray, inverse: FloatArray) -> tuple[FloatArray, FloatArray]:
        runs = self.runs
        moved = np.bincount(runs.series, self.pull * value, len(runs.fit))
        told = (self.weight * value)[runs.tells]
        names = np.bincount(runs.found, told, runs.count) - np.bincount(runs.left, told, runs.count)
        names -= np.bincount(runs.cell_name, self.cells * (self.less * moved)[runs.cell_series], runs.count)
        rates = np.bincount(runs.fit, moved * self.kept, len(runs.fits))
        effect = inverse @ (names - self.cross @ (self.per_rate * rates))
        return effect, self.per_rate * (rates - self.cross.T @ effect)


def _inverse(matrix: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give an inverse that holds for differences which the matrix tells, and in columns what it does not tell."""
    scale = np.sqrt(np.where(np.diag(matrix) > 0.0, np.diag(matrix), 1.0))
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    vectors = vectors / scale[:, None]
    told = values > FLAT
    return (vectors[:, told] / values[told]) @ vectors[:, told].T, vectors[:, ~told]


def _of_differences(covariance: FloatArray) -> FloatArray:
    own = np.diag(covariance)
    return np.asarray(own[:, None] + own - 2.0 * covariance, dtype=np.float64)
