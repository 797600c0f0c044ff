"""The shapes of decision rules, of what was decided by one, and of the uncertainty that it asks for."""

from __future__ import annotations

from typing import Any, Final

from models.values.decision import Rule, Verdict

Schema = dict[str, Any]

_ROW: Final[Schema] = {"type": "array", "maxItems": 4, "items": {"type": "number"}, "description": "One row."}


def _all_of(says: str, members: Schema) -> Schema:
    return {"type": "object", "description": says, "properties": members, "required": list(members)}


RULE: Final[Schema] = {
    "rule": {
        "type": "string",
        "enum": [str(rule) for rule in Rule],
        "description": "Simple acceptance: the limit ratio says all. Guarded (ISO 14253-1): within or over only where it is probable enough.",
    },
    "confidence": {"type": "number", "description": "Probability that a guarded rule asks for."},
}

DECISION: Final[Schema] = _all_of(
    "What the decision rule of the site said when the job was recorded; null where it is simple acceptance, or nothing was judged.",
    {
        "verdict": {
            "type": "string",
            "enum": [str(verdict) for verdict in Verdict],
            "description": "Verdict; undecided between the guards, and where no uncertainty was known.",
        },
        "probability": {
            "type": ["number", "null"],
            "description": "Probability that the true deviation is within all limits; null where no uncertainty was known.",
        },
        **RULE,
        "covariance": {
            "type": ["array", "null"],
            "maxItems": 4,
            "items": _ROW,
            "description": "Covariance of what was measured, in the order offset V, angularity V, offset H, angularity H, "
            "in mm², mm·mm/m and (mm/m)²; null where it was not known.",
        },
    },
) | {"type": ["object", "null"]}

_DEVIATIONS: Final[Schema] = {
    key: {"type": "number", "minimum": 0, "maximum": 1e6, "description": says}
    for key, says in (
        ("offset_v_mm", "Of the vertical offset, in mm."),
        ("angle_v_mm_m", "Of the vertical angularity, in mm/m."),
        ("offset_h_mm", "Of the horizontal offset, in mm."),
        ("angle_h_mm_m", "Of the horizontal angularity, in mm/m."),
    )
}

_OF_ONE: Final[Schema] = _all_of("Standard uncertainty of each component, independent of the others.", _DEVIATIONS) | {
    "type": ["object", "null"],
    "additionalProperties": False,
}

UNCERTAINTY: Final[Schema] = {
    "type": "object",
    "description": "What is known of the uncertainty of both measurements; a guarded decision rule asks for it. Where an amendment leaves it out, "
    "or one of the two, a measurement that stays as it was keeps its own; null says that it is not known.",
    "properties": {"found": _OF_ONE, "left": _OF_ONE},
    "required": [],
    "additionalProperties": False,
}
