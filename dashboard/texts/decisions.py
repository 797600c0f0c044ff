"""Words of decision rules: what a site goes by, and what was decided of a measurement."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    "decision.verdict.within": "within",
    "decision.verdict.over": "over",
    "decision.verdict.undecided": "undecided",
    "decision.rule.simple acceptance": "simple acceptance",
    "decision.rule.guarded": "guarded",
    "decision.with": "{rule}, {confidence}",
    "decision.probability": "Probability {chance}, rule {rule}.",
    "decision.unknown": "No uncertainty is known, rule {rule}.",
    "decision.uncomputed": "The probability could not be computed well enough to decide, rule {rule}.",
    "decision.beside": "{judged}; by the rule {verdict}",
    "decision.by_ratio": "by the ratio",
    "decision.side.found": "As found, by the decision rule: {verdict}. {why}",
    "decision.side.left": "As left, by the decision rule: {verdict}. {why}",
    "decision.chance.low": "below 0.1\u202f%",
    "decision.chance.high": "above 99.9\u202f%",
    "decision.again": "What was decided by the rule of the site stays as it was stored with the jobs; it is shown by the limits of the day.",
    "decision.month": "The decision rule of this site is {rule}; everything counted here goes by the limit ratio: within is at most 1. "
    "Of the jobs of the month with an as-left, {undecided}.",
    "decision.month.none": "none is undecided",
    "decision.month.one": "1 is undecided",
    "decision.month.some": "{n} are undecided",
    "decision.trial": "This judges by the limit ratio only. What was decided by the rule of the site stays as it was stored with each job.",
    "decision.rests": "As {stage} the decision rests on measured − target: {deviation}; standard uncertainty: {uncertainty}; {correlations}; probability of being within limit {probability}.",
    "decision.rests.independent": "no correlations",
    "decision.rests.correlated": "correlations: {pairs}",
    "decision.rests.pair": "{one} with {other} {value}",
    "decision.rests.limits": "Limits in full: {limits}.",
    "decision.rests.span": "flex planes {span} apart",
    "decision.rests.below": "below {bound}",
    "decision.rests.above": "above {bound}",
    "about.decision": "A guarded rule decides when a job is recorded or amended, and its decision stays with that version: within where the probability that the true deviation is within limit is at "
    "least the confidence of the rule, over where it is at most 1 minus that and the limit ratio is above 1, else undecided; also where no uncertainty is known. Jobs from before the first rule, "
    "and those under simple acceptance, are judged by the limit ratio alone.",
    "about.decision.chance": "The probability: the four true values are taken as normal around measured − target, with the stored standard uncertainties and correlations, and everything that has a limit "
    "has to be within it at the same time: vertical and horizontal together as a resultant or each axis by itself, as stands with the limits of the job; at a spacer the angles at both flex planes "
    "(ISO 14253-1 and JCGM 106, from memory).",
    "entry.field.rule": "Decision rule",
}
