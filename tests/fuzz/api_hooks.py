"""Hooks of the tester: in some well-formed requests a machine, a job and a time that the book knows, so that they get past the first check."""

from __future__ import annotations

from typing import Any

import schemathesis

TAGS = ("P-2", "F-1")
JOBS = (12, 13, 15, 16, 17)
"""Entries of the little book that are jobs."""
_count = 0


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: Any) -> None:
    del context, kwargs
    global _count  # noqa: PLW0603 - the tester is one process of its own
    mode = getattr(getattr(case.meta, "generation", None), "mode", None)
    if getattr(mode, "name", "") != "POSITIVE":
        return
    _count += 1
    if _count % 4 == 0:
        return
    tag = TAGS[_count % 2]
    if case.path_parameters and "tag" in case.path_parameters:
        case.path_parameters["tag"] = tag
    for name in ("entry", "number", "size"):
        if case.path_parameters and name in case.path_parameters:
            case.path_parameters[name] = JOBS[_count % len(JOBS)] if name != "size" else 17
    if isinstance(case.query, dict) and "from" in case.query:
        case.query["from"] = 3
    if isinstance(case.body, dict) and isinstance(case.body.get("changes"), dict) and _count % 2:
        case.body["changes"] = {"notes": f"read off again, {_count}"}
    if isinstance(case.body, dict) and isinstance(case.body.get("job"), dict):
        job = case.body["job"]
        job |= {"tag": tag, "performed_at": f"20{10 + _count % 15}-0{1 + _count % 9}-17T08:00:{_count % 60:02d}Z"}
        if _count % 5:
            job["ref"] = f"J-{_count}"
        if _count % 3:
            # A quiet job: what is left is close to the target, so that nothing speaks against it but what was generated.
            quiet = {"offset_v_mm": 0.01, "angle_v_mm_m": 0.1, "offset_h_mm": -0.01, "angle_h_mm_m": 0.05}
            job |= {
                "left": quiet,
                "found": None,
                "target": None,
                "instrument": None,
                "hours_run": None,
                "soft_after_mm": [],
            }
            reason = "the sheet says so"
            doubts = ("wrong unit", "size", "signs swapped", "doubled", "as-left over limit", "bolts not tight", "soft foot left",
                      "calibration overdue", "hours run backwards", "before the last job", "same time", "out of service")  # fmt: skip
            case.body["stated_reasons"] = dict.fromkeys(doubts, reason)
