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
    "entry.field.rule": "Decision rule",
}
