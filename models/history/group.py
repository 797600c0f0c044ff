"""Many sites side by side: what each says in a few numbers, and what they say together.

Each site is studied by itself, for a site is a fleet of its own.  What it
hands on is small and enough: counts, exposure, and for each speed class the
common drift rate with its variance.  From these the group's figures follow
without any site's jobs (a two-stage analysis); nothing is pooled that a site
has already averaged away, and sites may be added in any order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from math import fsum

import numpy as np

from models.history.columns import History, IntArray, speed_class_names
from models.history.conformal import LEVELS
from models.history.counts import count_over
from models.history.engine import Study
from models.history.intervals import wilson
from models.history.shrinkage import dersimonian_laird

COMPONENTS = 4
"""Columns of a drift in limit units: vertical and horizontal at each of the two judged places."""


@dataclass(frozen=True, slots=True)
class ClassSummary:
    """What a site says of one speed class.

    ``rate`` and ``rate_variance`` are the common drift rate of the class in each
    component [limit/year] and its variance; empty where the class is too small.
    """

    name: str
    machines: int
    judged: int
    over: int
    left_judged: int
    left_over: int
    rate: tuple[float, ...] = ()
    rate_variance: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class SiteSummary:
    """What a site hands on: sizes, counts, exposure of its returns, and its classes.

    ``looked`` are the runs that began within limit and ended with a look, ``returned``
    those of them that ended over it, over ``years`` of service.
    ``tested`` predictions of its own past, ``held`` of them (their share times their
    number) inside their 80 % interval.
    """

    code: str
    machines: int
    jobs: int
    looked: int
    returned: int
    years: float
    tested: int
    held: float
    classes: tuple[ClassSummary, ...]


def summary_of(code: str, history: History, study: Study) -> SiteSummary:
    """Put what a site says into a few numbers.

    Parameters
    ----------
    code : str
        Short code of the site. [unitless]
    history : History
        Its columns. [unitless]
    study : Study
        What they say. [unitless]
    """
    returns, back = study.return_counts, study.backtest
    at = LEVELS.index(0.8)
    tested = int(back.intervals[-1])
    held = float(np.nan_to_num(back.coverage[-1, at])) * tested
    return SiteSummary(
        code,
        len(history.assets),
        len(history.jobs),
        int(np.sum(returns.looks)),
        int(np.sum(returns.returns)),
        float(np.sum(returns.years)),
        tested,
        held,
        tuple(_class(history, study, place, name) for place, name in enumerate(speed_class_names())),
    )


def _class(history: History, study: Study, place: int, name: str) -> ClassSummary:
    counts = count_over(history.jobs).by_class()
    column = int(np.flatnonzero(counts.classes == place)[0])
    own = np.flatnonzero(study.grouping.label == place)
    rate: tuple[float, ...] = ()
    variance: tuple[float, ...] = ()
    if len(own) and study.fits.usable[own[0]].all():
        rate = tuple(study.fits.mean[own[0]].tolist())
        variance = tuple(study.fits.mean_variance[own[0]].tolist())
    return ClassSummary(
        name,
        int(np.sum(history.assets.speed_class == place)),
        _cell(counts.found.n, column),
        _cell(counts.found.count, column),
        _cell(counts.left.n, column),
        _cell(counts.left.count, column),
        rate,
        variance,
    )


def _cell(counts: IntArray, column: int) -> int:
    return int(counts[0, column]) if counts.shape[0] else 0


@dataclass(frozen=True, slots=True)
class ClassTogether:
    """What all sites say of one speed class.

    ``share`` of jobs found over limit with its 95 % Wilson interval ``low`` to ``high``;
    ``rate`` is the mean of the sites' common rates [limit/year] in each
    component, ``rate_se`` its standard error and ``between`` the standard deviation of the sites'
    true rates; empty with fewer than two sites that have one.
    """

    name: str
    sites: int
    machines: int
    judged: int
    over: int
    share: float
    low: float
    high: float
    left_judged: int
    left_over: int
    rate: tuple[float, ...] = ()
    rate_se: tuple[float, ...] = ()
    between: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Group:
    """What all sites say together."""

    sites: tuple[SiteSummary, ...]
    machines: int
    jobs: int
    looked: int
    returned: int
    years: float
    tested: int
    held: float
    classes: tuple[ClassTogether, ...]

    def as_dict(self) -> dict[str, object]:
        """Give everything as plain values, for JSON."""
        return asdict(self)


def group_of(summaries: Sequence[SiteSummary]) -> Group:
    """Add up what sites say; the order of the sites changes nothing.

    Parameters
    ----------
    summaries : sequence of SiteSummary
        One a site. [unitless]

    References
    ----------
    R. DerSimonian, N. Laird (1986), Controlled Clinical Trials 7:177, for the mean of the sites' rates; E. B. Wilson
    (1927), J. Am. Stat. Assoc. 22:209, for the shares.
    """
    sites = tuple(sorted(summaries, key=lambda site: site.code))
    return Group(
        sites,
        sum(site.machines for site in sites),
        sum(site.jobs for site in sites),
        sum(site.looked for site in sites),
        sum(site.returned for site in sites),
        fsum(site.years for site in sites),
        sum(site.tested for site in sites),
        fsum(site.held for site in sites),
        tuple(
            _together([site.classes[place] for site in sites], name) for place, name in enumerate(speed_class_names())
        ),
    )


def _together(classes: Sequence[ClassSummary], name: str) -> ClassTogether:
    judged, over = sum(one.judged for one in classes), sum(one.over for one in classes)
    low, high = wilson(np.array([over]), np.array([judged]))
    known = [one for one in classes if one.rate]
    rate: list[float] = []
    error: list[float] = []
    between: list[float] = []
    if len(known) > 1:
        for component in range(COMPONENTS):
            estimate = np.array([one.rate[component] for one in known])
            variance = np.maximum(np.array([one.rate_variance[component] for one in known]), 1e-12)
            common = dersimonian_laird(estimate, variance)
            rate.append(common.mean)
            error.append(float(np.sqrt(common.mean_variance)))
            between.append(float(np.sqrt(common.between)))
    return ClassTogether(
        name,
        sum(one.machines > 0 for one in classes),
        sum(one.machines for one in classes),
        judged,
        over,
        over / judged if judged else float("nan"),
        float(low[0]),
        float(high[0]),
        sum(one.left_judged for one in classes),
        sum(one.left_over for one in classes),
        tuple(rate),
        tuple(error),
        tuple(between),
    )
