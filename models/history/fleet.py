"""What is estimated from all machines together: class averages, priors, calibration.

A study of one machine rests on its own jobs and on these figures.  With them
given, a machine's part of a study needs no other machine; what compares all
machines (the control of false alarms) is worked out over all of them each time.
"""

from __future__ import annotations

from dataclasses import dataclass

from models.history.backtest import Backtest
from models.history.chances import Chances
from models.history.classes import Grouping
from models.history.columns import FloatArray, IntArray
from models.history.drift import ClassFits
from models.history.patterns import Scatter
from models.history.predictions import Predictions
from models.history.return_rates import ReturnPriors


@dataclass(frozen=True, slots=True)
class Fleet:
    """Estimates of one study, up to the entry ``until``.

    ``label`` and ``members`` are those of the classes (:class:`~models.history.classes.Grouping`), ``fits`` what they
    have in common in limit units and ``feet`` in millimetres at the feet [mm/year].  ``predictions`` hold the
    calibration and no single prediction, ``backtest`` how they did, ``chances`` how their chances of being over limit did, ``longest`` (fits,) the longest interval that each
    class has seen [d].  ``scatter`` is the usual spread of scatter, ``returns`` and ``planned`` the priors of return rates.
    """

    until: int
    label: IntArray
    members: IntArray
    fits: ClassFits
    feet: ClassFits
    predictions: Predictions
    backtest: Backtest
    chances: Chances
    longest: FloatArray
    scatter: Scatter
    returns: ReturnPriors
    planned: ReturnPriors

    def grouping(self, fit: IntArray) -> Grouping:
        """Give which fit each series uses, with the labels and counts of these estimates.

        Parameters
        ----------
        fit : (series,) int array
            Which fit each series uses. [unitless]
        """
        return Grouping(fit, self.label, self.members)
