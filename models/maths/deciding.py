"""The decision that is stored with a job: what the rule in force makes of a measurement and its uncertainty."""

from __future__ import annotations

import numpy as np

from models.maths.conformance import Conformance, conformance, decide
from models.maths.geometry import deviation
from models.values.asset import Asset
from models.values.decision import Covariance, Decision, DecisionRule
from models.values.job import Misalignment
from models.values.limits import LimitsGiven


def decision_of(
    rule: DecisionRule,
    measured: Misalignment | None,
    target: Misalignment,
    covariance: Covariance | None,
    asset: Asset,
    limits: LimitsGiven,
    ratio: float | None,
) -> Decision | None:
    """Decide of one measurement.

    Parameters
    ----------
    rule : DecisionRule
        The rule in force. [unitless]
    measured, target : Misalignment or None, Misalignment
        What was measured, and what was wanted. [mm, mm/m]
    covariance : tuple or None
        Covariance of what was measured; ``None`` where no uncertainty is known. [mm, mm/m]
    asset : Asset
        The machine as it was that day. [as stored]
    limits : LimitsGiven
        Limits in force. [mm, mm/m]
    ratio : float or None
        Limit ratio of the same deviation. [unitless]

    Returns
    -------
    Decision or None
        ``None`` where the rule is simple acceptance, for which the ratio says all, and where nothing is judged.

    References
    ----------
    JCGM 106:2012; ISO 14253-1 [from memory, no copy read].
    """
    if not rule.guarded or measured is None or ratio is None:
        return None
    known = None if covariance is None else np.array(covariance)
    made = conformance(deviation(measured, target), known, limits, asset.coupling, asset.span_mm)
    return decided_by(rule, covariance, made, ratio)


def decided_by(rule: DecisionRule, covariance: Covariance | None, made: Conformance | None, ratio: float) -> Decision:
    """Give the decision where the conformance probability is known already.

    Parameters
    ----------
    rule : DecisionRule
        The rule in force. [unitless]
    covariance : tuple or None
        Covariance of what was measured. [mm, mm/m]
    made : Conformance or None
        Conformance probability; ``None`` where no uncertainty is known. [unitless]
    ratio : float
        Limit ratio of the same deviation. [unitless]

    Notes
    -----
    A probability whose error leaves open on which side of the rule it lies decides nothing, and is not stored beside *undecided*.
    """
    if made is None:
        return Decision(rule, decide(None, ratio, rule.rule, rule.confidence), covariance)
    verdict = decide(made.probability, ratio, rule.rule, rule.confidence, made.error)
    told = verdict is decide(made.probability, ratio, rule.rule, rule.confidence)
    return Decision(rule, verdict, covariance, made.probability if told else None)
