"""Looks: the runs that can show a return, by themselves, so that a filter passes over them once and over nothing else.

Most questions about returns ask for some machines, a window of time, or who left
the machine.  Everything that the answer needs of a run stands here in a row; the
rows are those of :attr:`Runs.looked`, in the order of the runs: those of the present
series of each machine, or those from before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.history.columns import BoolArray, BreakColumns, FloatArray, IntArray, JobColumns
from models.history.late import Late
from models.history.returns import ReturnCounts, counted, present_looks
from models.history.runs import Runs

Index32 = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class Looks(Late):
    """One row a look, in order of asset, then time.

    ``run`` is its row among the runs.  ``ended_us`` is when it ended, ``days`` its length, ``ratio`` the limit ratio
    at its end.  ``person`` and ``instrument`` are those of the job that left the machine, −1 unknown.  ``begins``
    (assets + 1,) is where the looks of each asset begin.
    """

    run: IntArray
    asset: IntArray
    ended_us: IntArray
    returned: BoolArray
    ratio: FloatArray
    days: FloatArray
    person: Index32
    instrument: Index32
    begins: IntArray

    def __len__(self) -> int:
        """Give the number of looks."""
        return int(self.run.shape[0])

    def of_assets(self, chosen: BoolArray) -> BoolArray:
        """Tell which looks are at some of the assets.

        Parameters
        ----------
        chosen : (assets,) bool array
            Which assets. [unitless]
        """
        return np.repeat(chosen, np.diff(self.begins))


def looks_of(jobs: JobColumns, breaks: BreakColumns, runs: Runs, assets: int, *, present: bool = True) -> Looks:
    """Take the looks out of the runs.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    breaks : BreakColumns
        Replacements. [unitless]
    runs : Runs
        Their runs. [unitless]
    assets : int
        Number of assets. [unitless]
    present : bool
        False for the looks from before the last replacement of each asset. [unitless]
    """
    now = present_looks(jobs, breaks, runs)
    run = np.flatnonzero(now if present else runs.looked & ~now)
    asset, start = runs.asset[run], runs.start_row[run]
    return Looks(
        run=run,
        asset=asset,
        ended_us=jobs.performed_us[runs.end_row[run]],
        returned=runs.returned[run],
        ratio=runs.end_ratio[run],
        days=runs.days[run],
        person=jobs.person[start].astype(np.int32),
        instrument=jobs.instrument[start].astype(np.int32),
        begins=np.append(0, np.cumsum(np.bincount(asset, minlength=assets))).astype(np.int64),
    )


def counts_of(looks: Looks, rows: IntArray, confidence: float = 0.90) -> ReturnCounts:
    """Count some looks and their returns; the same as :func:`~models.history.returns.returns_of` gives for their runs.

    Parameters
    ----------
    looks : Looks
        The looks. [unitless]
    rows : (k,) int array
        Which of them, rising. [unitless]
    confidence : float
        One-sided confidence of the lower limit. [unitless]
    """
    back = looks.returned[rows]
    return counted(
        looks.asset[rows], back, looks.ended_us[rows[back]], looks.ratio[rows], looks.days[rows],
        len(looks.begins) - 1, confidence,
    )  # fmt: skip
