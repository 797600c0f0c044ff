"""The words of headings: what each says of a measured number, and which of them make a column something else."""

from __future__ import annotations

from typing import Final

STAGE: Final = {
    "found": frozenset({"found", "asfound", "as-found", "before", "initial", "pre", "af", "arrival"}),
    "left": frozenset({"left", "asleft", "as-left", "after", "final", "post", "al", "departure"}),
    "target": frozenset({"target", "desired", "wanted"}),
}
KIND: Final = {
    "offset": frozenset({"offset", "offsets", "off", "offs", "parallel", "radial"}),
    "angle": frozenset({"angle", "angles", "ang", "angular", "angularity", "slope", "gap"}),
}
AXIS: Final = {
    "v": frozenset({"v", "vert", "vertical", "vertically", "ver"}),
    "h": frozenset({"h", "horz", "horiz", "horizontal", "horizontally", "hor", "hz"}),
}
COLD: Final = "cold"
"""Beside another stage it only says how the machine was; alone it may be a target, or a reading on a cold machine."""

SOFT: Final = frozenset({"soft", "softfoot", "sf", "rise"})

SIDES: Final = {"L": frozenset({"left", "l", "lh"}), "R": frozenset({"right", "r", "rh"})}
ROWS: Final = {
    1: frozenset({"front", "inboard", "near", "ib", "first"}),
    2: frozenset({"rear", "back", "outboard", "far", "ob", "second"}),
    3: frozenset({"third"}),
}
"""What people call rows of feet, counted from the coupling."""

OTHER: Final = frozenset({
    "tolerance", "tolerances", "tol", "limit", "limits", "lim", "max", "maximum", "min", "minimum", "allowed", "allowable",
    "permitted", "permissible", "acceptable", "acceptance", "uncertainty", "error", "ratio", "verdict", "status", "ok", "pass",
    "passed", "spec", "specification", "change", "changed", "delta", "diff", "difference", "drift", "repeatability", "std", "stdev",
    "sd", "date", "time", "unit", "units", "comment", "comments", "remark", "remarks", "note", "notes",
})  # fmt: skip
"""Beside the words of a measured number they name something about it: such a column is no reading."""

TOTAL: Final = frozenset({"tir", "fim", "indicator"})
"""A total indicator reading: twice the offset of a rim."""

_WORK: Final = frozenset({
    "alignment", "aligning", "adjustment", "adjusting", "correction", "corrections", "correcting", "repair", "work", "shimming", "job", "moving",
})  # fmt: skip
_SAYS_NOTHING: Final = frozenset({
    "as", "at", "of", "the", "a", "an", "for", "in", "on", "to", "and", "is", "was", "coupling", "cplg", "centre", "center", "plane", "shaft",
    "shafts", "reading", "readings", "value", "values", "measured", "measurement", "misalignment", "mis", "alignment", "condition", "state",
    "component", "direction", "axis", "actual", "signed", "movable", "mtbm", "foot", "feet", "data",
})  # fmt: skip


def says_nothing(words: frozenset[str]) -> frozenset[str]:
    """Give those words of a heading that change nothing about what it means.

    Parameters
    ----------
    words : frozenset of str
        The words, in small letters. [as typed]
    """
    silent = words & _SAYS_NOTHING
    if words & {"before", "after", "pre", "post"}:
        silent |= words & _WORK
    if words & {"tir", "fim"}:
        silent |= words & {"total", "full", "movement"}
    return silent
