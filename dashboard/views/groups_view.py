"""Groups that move alike: machines of one train or one area whose feet move the same way, and instruments that read apart."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from models.history.columns import FloatArray, History, IntArray, TextArray
from models.history.distributions import normal_cdf
from models.history.effects import effects_of
from models.history.engine import Study
from models.history.multiplicity import adjusted
from models.history.shrinkage import dersimonian_laird

AREA, TRAIN, INSTRUMENT = "area", "train", "instrument"

FEWEST = 2
"""Machines that a group needs, and that must stand outside it."""

ALIKE = 2.0 / 3.0
"""Share of its machines that have to move to the group's own side."""

WITHOUT_ONE = 1.6448536269514722
"""z that has to stay when the machine that moves most is left out (one-sided 95 %): one machine is no group."""

Z95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Alike:
    """One group that moves alike, or one instrument that reads apart.

    ``part`` is a row of feet (near and far vertical, near and far horizontal) [mm/year], or
    for an instrument a component [mm, mm/m, mm, mm/m].  ``value`` with its interval
    ``low`` to ``high`` stands against ``others``; ``members`` counts machines, or for an instrument the runs.
    """

    kind: str
    name: str
    part: int
    value: float
    low: float
    high: float
    others: float
    members: int
    same_way: int
    q: float


@dataclass(frozen=True, slots=True)
class Groups:
    """What moves alike, the surest first, and how many groups of each kind were looked at."""

    lines: tuple[Alike, ...]
    areas: int
    trains: int
    instruments: int


def groups_of(history: History, study: Study) -> Groups:
    """Find groups that move alike more than chance explains.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    study : Study
        What it says. [unitless]

    Notes
    -----
    A group's rate is the weighted mean of its machines' own rates at a row of feet, held against that of all other
    machines; weights allow for the error of each rate and for how much machines differ (DerSimonian and Laird 1986). The
    tests of all groups and rows of feet are adjusted together (Benjamini and Hochberg 1995). At least two thirds of
    the machines have to move to the same side, and the rest must still stand out without the one that moves most.
    Instruments: see ``models.history.effects``.
    """
    rate, error = study.now(study.feet.rates.raw), study.now(study.feet.rates.raw_se)
    parts = [_Part(rate[:, part], error[:, part]) for part in range(4)]
    found, p = [], []
    counts = {}
    for kind, names in ((AREA, history.assets.area), (TRAIN, history.assets.train)):
        groups = _groups(names)
        counts[kind] = len(groups)
        for name, member in groups:
            for part in range(4):
                tested = parts[part].test(member)
                if tested is not None:
                    line, chance, firm = tested
                    found.append((firm, Alike(kind, name, part, *line)))
                    p.append(chance)
    q = adjusted(np.array(p, dtype=np.float64)).tolist()
    best: dict[tuple[str, str], Alike] = {}
    for (firm, group), value in zip(found, q, strict=True):
        known = best.get((group.kind, group.name))
        if firm and value <= study.choices.false_rate and (known is None or value < known.q):
            best[group.kind, group.name] = replace(group, q=value)
    lines = [*best.values(), *_instruments(history, study)]
    return Groups(
        tuple(sorted(lines, key=lambda one: (one.q, one.kind, one.name))),
        counts[AREA],
        counts[TRAIN],
        len(history.instruments),
    )


def _groups(names: TextArray) -> list[tuple[str, IntArray]]:
    """Give each group that is large enough, and is not nearly everything, with the rows of its machines."""
    if not len(names):
        return []
    texts, member = np.unique(names.astype(str), return_inverse=True)
    sizes = np.bincount(member, minlength=len(texts))
    rows = np.split(np.argsort(member, kind="stable"), np.cumsum(sizes)[:-1])
    return [
        (str(text), mine)
        for text, mine in zip(texts.tolist(), rows, strict=True)
        if text and FEWEST <= len(mine) <= len(names) - FEWEST
    ]


class _Part:
    """One row of feet: the rates of all machines with their weights, and what they add up to."""

    def __init__(self, rate: FloatArray, error: FloatArray) -> None:
        self.known = np.isfinite(rate) & np.isfinite(error) & (error > 0.0)
        self.rate, self.n = rate, int(self.known.sum())
        between = dersimonian_laird(rate[self.known], error[self.known] ** 2).between if self.n else 0.0
        self.weight = np.where(self.known, 1.0 / np.where(self.known, error**2 + between, 1.0), 0.0)
        self.pull = np.where(self.known, self.weight * np.where(self.known, rate, 0.0), 0.0)
        self.all_weight, self.all_pull = float(self.weight.sum()), float(self.pull.sum())

    def test(self, member: IntArray) -> tuple[tuple[float, float, float, float, int, int, float], float, bool] | None:
        """Hold one group against all machines outside it."""
        rows = member[self.known[member]]
        if len(rows) < FEWEST or self.n - len(rows) < FEWEST:
            return None
        weight, pull = float(self.weight[rows].sum()), float(self.pull[rows].sum())
        value, variance = pull / weight, 1.0 / weight
        others, spread = (self.all_pull - pull) / (self.all_weight - weight), 1.0 / (self.all_weight - weight)
        z = (value - others) / math.sqrt(variance + spread)
        half = Z95 * math.sqrt(variance)
        rate = self.rate[rows]
        same = int((np.sign(rate) == np.sign(value)).sum())
        most = rows[np.argmax(np.sign(z) * (rate - others))]
        rest = weight - float(self.weight[most])
        left, left_variance = (pull - float(self.pull[most])) / rest, 1.0 / rest
        firm = same >= ALIKE * len(rows) and np.sign(z) * (left - others) > WITHOUT_ONE * math.sqrt(
            left_variance + spread
        )
        chance = float(2.0 * normal_cdf(-abs(z)))
        return (value, value - half, value + half, others, len(rows), same, float("nan")), chance, bool(firm)


def _instruments(history: History, study: Study) -> list[Alike]:
    if not len(study.material):
        return []
    effects = effects_of(study.runs, study.material, study.grouping, history.jobs.instrument, len(history.instruments))
    lines = []
    for index, name in enumerate(history.instruments):
        for part in range(4):
            q = float(effects.q[index, part])
            if q <= study.choices.false_rate:
                lines.append(
                    Alike(
                        INSTRUMENT,
                        name,
                        part,
                        float(effects.raw[index, part]),
                        float(effects.low[index, part]),
                        float(effects.high[index, part]),
                        0.0,
                        int(effects.jobs[index]),
                        0,
                        q,
                    )
                )
    return lines
