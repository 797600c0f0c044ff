"""How what each person left held, beside what is to be expected of the same machines.

Where the work of one person comes back, the machines seem to come back by themselves,
and everybody else seems to do better than is to be expected.  So who stands out with
more returns is no measure for the others: rates of machines and classes are estimated
anew from what these left.  And where a machine is one person's nearly alone, nothing
tells the work from the machine: such runs are not counted for that person.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from models.history.classes import SMALLEST_CLASS
from models.history.columns import BoolArray, BreakColumns, IntArray, JobColumns
from models.history.effects import Holding, expected_returns, holding_of
from models.history.material import service_of
from models.history.return_rates import ReturnRates, return_rates
from models.history.returns import present_looks
from models.history.runs import Runs

ROUNDS = 3
"""So many times somebody more may be taken out; each round takes out all who stand out by then."""

OTHERS = 0.25
"""Share of a machine's runs that others have to have begun, so that a person's runs on it tell of the person. (a choice of this project)"""


def holding_by_others(
    jobs: JobColumns,
    breaks: BreakColumns,
    runs: Runs,
    rates: ReturnRates,
    asset_class: IntArray,
    people: int,
    *,
    smallest: int = SMALLEST_CLASS,
    rate: float = 0.10,
) -> tuple[Holding, BoolArray]:
    """Compare how often what each person left came back with what was to be expected.

    Parameters
    ----------
    jobs : JobColumns
        The jobs that stand. [unitless]
    breaks : BreakColumns
        Replacements. [unitless]
    runs : Runs
        Their runs. [unitless]
    rates : ReturnRates
        Rates of the machines by all looks. [1/year]
    asset_class : (assets,) int array
        Class of each machine; −1 unknown. [unitless]
    people : int
        How many people there are. [unitless]
    smallest : int
        Machines that a class needs for a prior of its own. [unitless]
    rate : float
        Accepted share of false statements. [unitless]

    Returns
    -------
    Holding, (people,) bool array
        One row a person, and who was taken out of the measure of the others.

    Notes
    -----
    Of who was taken out the row is that of the round in which it was: with all looks of those who were in it counted, their own
    too.  By the others' looks alone a bad machine that others saw seldom would be taken for an ordinary one.
    """
    looked, expected = expected_returns(runs, present_looks(jobs, breaks, runs), rates.rate.mean)
    _, years, _ = service_of(runs, looked, len(asset_class))
    asset, returned, person = runs.asset[looked], runs.returned[looked], jobs.person[runs.start_row[looked]]
    known = person >= 0
    pairs = np.bincount(asset[known] * people + person[known], minlength=len(asset_class) * people)
    of_machine = np.bincount(asset[known], minlength=len(asset_class))[asset]
    own = pairs[asset[known] * people + person[known]]
    told = np.full(len(person), -1, dtype=np.int64)
    told[known] = np.where(own <= (1.0 - OTHERS) * of_machine[known], person[known], -1)
    out = np.zeros(people, dtype=np.bool_)
    found = holding_of(told, expected, returned, people)
    for _ in range(ROUNDS):
        more = (found.q <= rate) & (found.ratio > 1.0) & ~out
        if not more.any():
            break
        out |= more
        usual = ~np.append(out, False)[person]  # nobody is named by −1, the last place
        others = return_rates(asset[usual], years[usual], returned[usual], asset_class, smallest=smallest)
        expected = -np.expm1(-np.nan_to_num(others.rate.mean)[asset] * years)
        again = holding_of(np.where(usual, told, -1), expected, returned, people)
        found = _put(again, found, out)
    return found, out


def _put(into: Holding, of: Holding, rows: BoolArray) -> Holding:
    """Put some rows of one table into another."""
    columns = {
        one.name: (getattr(into, one.name), getattr(of, one.name)) for one in fields(Holding) if one.name != "common"
    }
    return replace(into, **{name: np.where(rows, theirs, ours) for name, (ours, theirs) in columns.items()})
