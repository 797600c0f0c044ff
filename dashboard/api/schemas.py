"""The shapes of what goes in and out, as JSON Schema (draft 2020-12): published in the description, and used to check requests.

The names of numbers end with their unit.  Numbers are in stored units and are
never rounded, so that what is read here can be written elsewhere without loss.
"""

from __future__ import annotations

from typing import Any, Final

from dashboard.api.schemas_decisions import DECISION, RULE, UNCERTAINTY
from models.maths.plausible import Doubt
from models.values.draft import WorkCheck
from models.values.kinds import Coupling, Kind, Method, Part, Reason

Schema = dict[str, Any]

NAME: Final = r"^[^\s\u0000-\u001f\u007f]([^\u0000-\u001f\u007f]*[^\s\u0000-\u001f\u007f])?$"
"""One line of text without blanks around it."""

LINE: Final = r"^[^\u0000-\u001f\u007f]*$"
TEXT: Final = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f]*$"
FILLED: Final = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f]*[^\s\u0000-\u001f\u007f][^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f]*$"

MOMENT: Final = (
    r"^(19|20)[0-9][0-9]-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]"
    r"(\.[0-9]{1,6})?(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$"
)
"""A moment of RFC 3339 with its offset, to the microsecond."""

MOST_NUMBER: Final = 2**53 - 1
"""Largest number of an entry that any program reads exactly."""


def name(most: int, says: str) -> Schema:
    """Give the schema of one line of text that is not blank."""
    return {"type": "string", "minLength": 1, "maxLength": most, "pattern": NAME, "description": says}


def line(most: int, says: str) -> Schema:
    """Give the schema of one line of text that may be blank."""
    return {"type": "string", "maxLength": most, "pattern": LINE, "description": says}


def one_of(words: Any, says: str) -> Schema:
    """Give the schema of a closed list."""
    return {"type": "string", "enum": [str(word) for word in words], "description": says}


def number(says: str, *, least: float | None = None, most: float | None = None, nullable: bool = True) -> Schema:
    """Give the schema of a number; ``null`` is unknown."""
    schema: Schema = {"type": ["number", "null"] if nullable else "number", "description": says}
    if least is not None:
        schema["minimum"] = least
    if most is not None:
        schema["maximum"] = most
    return schema


def whole(says: str, *, least: int = 1, most: int = MOST_NUMBER, nullable: bool = False) -> Schema:
    """Give the schema of a whole number."""
    return {
        "type": ["integer", "null"] if nullable else "integer",
        "minimum": least,
        "maximum": most,
        "description": says,
    }


def listed(items: Schema, says: str, most: int | None = None) -> Schema:
    """Give the schema of a list."""
    return {"type": "array", "items": items, "description": says, **({"maxItems": most} if most else {})}


def shape(says: str, members: Schema, *, optional: tuple[str, ...] = ()) -> Schema:
    """Give the schema of an object that is answered: everything is there but what is optional."""
    needed = [key for key in members if key not in optional]
    return {"type": "object", "description": says, "properties": members, "required": needed}


def asked(says: str, members: Schema, needed: tuple[str, ...]) -> Schema:
    """Give the schema of an object that is asked for: nothing else may be in it, so that a slip in a name is seen."""
    return {
        "type": "object", "description": says, "properties": members, "required": list(needed), "additionalProperties": False,
    }  # fmt: skip


def to(of: str) -> Schema:
    """Refer to a schema by its name."""
    return {"$ref": f"#/components/schemas/{of}"}


_TEXT_OUT: Final[Schema] = {"type": "string"}
_MAYBE_TEXT: Final[Schema] = {"type": ["string", "null"]}
_WHEN: Final[Schema] = {"type": "string", "description": "Moment with its offset from UTC (RFC 3339)."}
_DAY: Final[Schema] = {"type": ["string", "null"], "description": "Day on the site's calendar: 2026-11-25."}
_ENTRY: Final = whole("Number of an entry.")
_MAYBE_ENTRY: Final = whole("Number of an entry, or null.", nullable=True)


def _four(says: str) -> Schema:
    offset, slope = (
        "Movable minus stationary centreline at the coupling centre, in mm",
        "Slope of the movable centreline, in mm/m; away from the coupling",
    )
    numbers = {
        "offset_v_mm": number(f"{offset}; + is up.", least=-1e6, most=1e6, nullable=False),
        "angle_v_mm_m": number(f"{slope} + rises.", least=-1e6, most=1e6, nullable=False),
        "offset_h_mm": number(
            f"{offset}; + is right, seen from the movable machine.", least=-1e6, most=1e6, nullable=False
        ),
        "angle_h_mm_m": number(
            f"{slope} + runs to the right, seen from the movable machine.", least=-1e6, most=1e6, nullable=False
        ),
    }
    return asked(says, numbers, tuple(numbers)) | {"type": ["object", "null"]}


def _feet(says: str) -> Schema:
    foot = number("One foot, in mm; null was not measured.", least=-1e4, most=1e4)
    return listed(foot, f"{says} Row by row from the coupling, left before right: 1L, 1R, 2L, 2R and so on.", 12)


def _celsius(says: str) -> Schema:
    return number(f"{says}, in °C.", least=-273.15, most=2000)


JOB: Final[Schema] = {
    "ref": name(120, "Job number; one that is free. Made of tag and time where it is left out."),
    "tag": name(80, "Tag of the machine, as in the book."),
    "performed_at": {"type": "string", "pattern": MOMENT, "description": "When the work was done: 2026-11-25T09:30:00+01:00 (RFC 3339, offset needed)."},
    "reason": one_of(Reason, "Why it was done."),
    "people": listed(name(120, "Name of a person, as in the book."), "Who did it.", 20),
    "instrument": {"type": ["string", "null"], "maxLength": 80, "pattern": NAME, "description": "Serial number of the instrument; null where it is not known."},
    "method": one_of(Method, "How it was measured; 'other' where it is left out."),
    "work_order": line(120, "Number of the work order, where there is one."),
    "found": _four("Misalignment before anything was moved; null where it was not measured, and always for an installation."),
    "left": _four("Misalignment after the last bolt was tight; null where it was not measured."),
    "target": _four("Cold misalignment wanted on purpose; zero where it is left out or null."),
    "soft_before_mm": _feet("Rises of the feet before the work."),
    "soft_after_mm": _feet("Rises of the feet after the work."),
    "moves_v_mm": _feet("Shims put in (+) or taken out (−)."),
    "moves_h_mm": _feet("Sideways moves of the feet, + to the right."),
    "temp_stationary_c": _celsius("Temperature of the stationary machine"),
    "temp_movable_c": _celsius("Temperature of the movable machine"),
    "temp_ambient_c": _celsius("Temperature around"),
    "hours_run": number("Hours run, by the counter.", least=0, most=1e7),
    "checks": listed(name(120, "Name of a check."), "What was checked: " + "; ".join(WorkCheck) + ".", 40),
    "notes": {"type": "string", "maxLength": 20_000, "pattern": TEXT, "description": "Notes, several lines if need be."},
    "reviewer": line(120, "Who reviewed it."),
}  # fmt: skip
"""What a job says; the same names in and out."""

NEEDED: Final = ("tag", "performed_at", "reason")

_REASON: Final[Schema] = {"type": "string", "minLength": 1, "maxLength": 500, "pattern": FILLED, "description": "Why it is right nevertheless."}  # fmt: skip

_STATED: Final = asked(
    "Reasons for what does not look right, by the name of the check that asks for one; they are kept with the job.",
    {str(doubt): _REASON for doubt in Doubt},
    (),
)
_TIGHT: Final[Schema] = {
    "type": ["boolean", "null"],
    "description": "Whether the as-left was measured after the last bolt was tight; null where nobody was asked.",
}

_VERDICT: Final = shape(
    "Limit ratio and what it says: within up to 1, over above it.",
    {"ratio": number("Largest deviation ÷ limit.", nullable=False), "verdict": one_of(("within", "over"), "Verdict.")},
) | {"type": ["object", "null"]}

_LIMITS: Final[Schema] = {
    "offset_mm": number("Limit of the offset, in mm."),
    "angle_mm_m": number("Limit of the angularity, in mm/m."),
    "flex_mm_m": number("Limit of the angle at each flex plane, in mm/m."),
    "soft_foot_mm": number("How far feet may differ, in mm."),
    "each_axis": {"type": "boolean", "description": "True where vertical and horizontal are judged each by itself."},
}

_MACHINE: Final[Schema] = {
    "tag": _TEXT_OUT, "description": _TEXT_OUT, "area": _TEXT_OUT, "train": _TEXT_OUT, "driven": _TEXT_OUT,
    "driver": _TEXT_OUT, "criticality": _TEXT_OUT, "coupling": one_of(Coupling, "How the shafts are joined."),
    "span_mm": number("Distance between the flex planes, in mm."), "speed_rpm": number("Speed that limits are taken at."),
    "retired": {"type": "boolean"},
}  # fmt: skip

_AS_DESCRIBED: Final = shape(
    "A machine as it is described.",
    {
        **dict.fromkeys(("tag", "description", "area", "train", "driven", "driver"), _TEXT_OUT),
        "coupling": one_of(Coupling, "How the shafts are joined."),
        "span_mm": number("Distance between the flex planes, in mm."),
        "speed_rpm": number("Running speed."),
        "speed_max_rpm": number("Highest running speed, where it varies."),
        "power_kw": number("Power."),
        "criticality": _TEXT_OUT,
        "equipment_class": _TEXT_OUT,
        "feet_movable_mm": listed({"type": "number"}, "Distance of each row of feet from the coupling centre, in mm."),
        "feet_stationary_mm": listed({"type": "number"}, "The same for the stationary machine; below 0."),
        "commissioned": _DAY,
        "retired": _DAY,
        "valid_from": _DAY,
    },
)

_DATE: Final = shape(
    "A date on which the machine is to be looked at again.",
    {"due": _DAY, "days_left": {"type": "integer", "description": "Negative once it has passed."}, "why": _TEXT_OUT},
) | {"type": ["object", "null"]}

_HASH: Final[Schema] = {"type": "string", "pattern": "^[0-9a-f]{64}$", "description": "SHA-256, as hexadecimal digits."}

_NEXT: Final[Schema] = {"type": ["string", "null"], "description": "Address of the next page; null on the last."}


def _page(says: str, of: str, **more: Schema) -> Schema:
    return shape(says, {"items": listed(to(of), "One page."), "next": _NEXT, **more})


_HEAD_NUMBER: Final = whole("Number of the last entry of the book when this was answered.", least=0)
_ESTIMATES_HEAD: Final = whole(
    "Number of the last entry in the estimates over all machines (averages of classes, calibration); for a moment after a new job it is below that of the book.",
    least=0,
)

SCHEMAS: Final[Schema] = {
    "Job": asked("What a job says, in stored units: mm, mm/m, °C, h.", JOB, NEEDED),
    "NewJob": asked(
        "A job to be recorded.",
        {"job": to("Job"), "stated_reasons": _STATED, "bolts_tight": _TIGHT, "uncertainty": UNCERTAINTY},
        ("job",),
    ),
    "Amendment": asked(
        "A correction of a version of a job. What is not named in 'changes' stays as it is; what is named is replaced as a whole.",
        {
            "why": {"type": "string", "minLength": 1, "maxLength": 500, "pattern": FILLED, "description": "Reason of the amendment."},
            "changes": asked(
                "What the job shall say from now on; left out where only an uncertainty becomes known.", {k: v for k, v in JOB.items() if k != "tag"}, ()
            ) | {"minProperties": 1},
            "stated_reasons": _STATED,
            "bolts_tight": _TIGHT,
            "uncertainty": UNCERTAINTY,
        },
        ("why",),
    ) | {"anyOf": [{"required": ["changes"]}, {"required": ["uncertainty"]}]},
    "Voiding": asked(
        "A job that counts no more, or counts again.",
        {
            "why": {"type": "string", "minLength": 1, "maxLength": 500, "pattern": FILLED, "description": "Reason; it stays in the book."},
            "take_back": {"type": "boolean", "description": "True to let a void job count again, as it stood before; false where it is left out."},
        },
        ("why",),
    ),
    "JobVersion": shape(
        "One version of a job as it stands in the book.",
        {
            "entry": _ENTRY,
            "first_entry": whole("Entry of the first version of this job."),
            "site": _TEXT_OUT,
            "recorded_at": _WHEN,
            "author": _TEXT_OUT,
            "job": to("Job"),
            "zone": {"type": "string", "description": "IANA name of the zone in which the work was done."},
            "limits": shape("Limits of the day of the job.", _LIMITS),
            "limit_set": _TEXT_OUT,
            "verdict_found": _VERDICT,
            "verdict_left": _VERDICT,
            "decision_found": DECISION,
            "decision_left": DECISION,
            "supersedes": _MAYBE_ENTRY,
            "superseded_by": _MAYBE_ENTRY,
            "why": {"type": "string", "description": "Reason of the amendment; blank for a first version."},
            "void": {"type": "boolean", "description": "True where the version says that the job counts nowhere."},
            "source": {"type": "string", "description": "File and row that it came from; blank where it was written here."},
            "typed": {"type": "object", "additionalProperties": {"type": "string"}, "description": "Each number as it was typed, and the reasons stated."},
        },
    ),
    "Site": shape(
        "A site as it is set today.",
        {
            "code": _TEXT_OUT,
            "name": _TEXT_OUT,
            "zone": _TEXT_OUT,
            "length_unit": one_of(("mm", "mil"), "How its screens show lengths; this interface is in mm always."),
            "temperature_unit": one_of(("°C", "°F"), "How its screens show temperatures."),
            "interval_months": whole("Its rule for the next check, in months."),
            "decision_rule": shape("Its decision rule.", RULE),
        },
    ),
    "Sites": shape("The sites that may be asked about.", {"items": listed(to("Site"), "Sites.")}),
    "Machine": shape(
        "A machine and its last visit.",
        {**_MACHINE, "last_job": _MAYBE_ENTRY, "last_performed_at": {"type": ["string", "null"]}, "last_verdict_found": _VERDICT, "last_verdict_left": _VERDICT},
    ),
    "Machines": _page("Machines in the order in which they came into the book.", "Machine", found=whole("How many answer in all.", least=0), head=_HEAD_NUMBER),
    "MachineStory": shape(
        "A machine: what it is, what is known of it, and when it is to be looked at again.",
        {
            "tag": _TEXT_OUT,
            "merged_into": {"type": "string", "description": "Tag of the machine into which this record was merged, whose jobs are recorded there; blank where it was not."},
            "described": _AS_DESCRIBED,
            "versions": listed(
                shape("A description and the entry that says so.", {"entry": _ENTRY, "recorded_at": _WHEN, "author": _TEXT_OUT, "described": _AS_DESCRIBED}),
                "Every description, the oldest first.",
            ),
            "breaks": listed(
                shape("A replacement.", {"on": _DAY, "part": one_of(Part, "What was replaced."), "reason": _TEXT_OUT}), "Replacements, the oldest first."
            ),
            "last_left": shape("What was left last.", {"job": _ENTRY, "performed_at": _WHEN, "left": _four("As-left."), "target": _four("Target."), "verdict": _VERDICT})
            | {"type": ["object", "null"]},
            "limits": shape("What it is judged by today.", {**_LIMITS, "set": _TEXT_OUT, "version": whole("Version."), "source": _TEXT_OUT, "starter": {"type": "boolean", "description": "True for the set to start with, to be replaced by your own."}})
            | {"type": ["object", "null"]},
            "verdicts": listed(
                shape("The verdict of a job that stands.", {"job": _ENTRY, "ref": _TEXT_OUT, "performed_at": _WHEN, "found": _VERDICT, "left": _VERDICT}),
                "The oldest first.",
            ),
            "forecast": shape(
                "When it will be over limit again; a suggestion, never a promise.",
                {
                    "possible": {"type": "boolean"},
                    "why_not": {"type": "string", "description": "Why there is no forecast; blank where there is one."},
                    "risk_percent": whole("Accepted probability of being over limit.", most=100),
                    "recheck": _DAY,
                    "over_today": number("Probability of being over limit today, at the full hour."),
                    "over_then": number("Probability of being over limit on that day."),
                    "runs": whole("Completed intervals that it rests on.", least=0),
                },
            ),
            "due_by_risk": _DATE,
            "due_by_rule": _DATE,
            "head": _HEAD_NUMBER,
            "estimates_head": _ESTIMATES_HEAD,
        },
    ),
    "Jobs": _page("The newest version of each job, void ones too, the oldest entry first.", "JobVersion", head=whole("Number of the last entry of the book that this answer knows: on the last page, what to send as 'since' next time.", least=0)),
    "JobVersions": shape("All versions of all jobs of a machine, in order of time, then of entry.", {"items": listed(to("JobVersion"), "Versions."), "head": _HEAD_NUMBER}),
    "DueLine": shape(
        "A machine that is to be looked at.",
        {
            "tag": _TEXT_OUT, "description": _TEXT_OUT, "area": _TEXT_OUT, "criticality": _TEXT_OUT, "due": _DAY,
            "days_left": {"type": "integer"}, "why": _TEXT_OUT, "due_other_way": _DAY, "last": _DAY,
            "left_ratio": number("Limit ratio of the last as-left."), "over_now": number("Probability of being over limit today, at the full hour."),
        },
    ),
    "DueList": _page(
        "What is to be looked at: what is due first, then by date.",
        "DueLine",
        by=one_of(("risk", "rule"), "By what."),
        risk_percent=whole("Accepted probability of being over limit.", most=100),
        interval_months=whole("The site's rule, in months."),
        today=_DAY,
        due_now=whole("How many dates have come.", least=0),
        due_within=whole("How many more come within the days that were asked for.", least=0),
        head=_HEAD_NUMBER,
        estimates_head=_ESTIMATES_HEAD,
    ),
    "EntryLine": shape(
        "One entry as a line of the book.",
        {
            "number": _ENTRY, "at": _WHEN, "author": _TEXT_OUT, "kind": one_of(Kind, "What it says."), "name": _TEXT_OUT, "detail": _TEXT_OUT,
            "why": _TEXT_OUT, "supersedes": _MAYBE_ENTRY, "superseded_by": _MAYBE_ENTRY, "file_entry": _MAYBE_ENTRY, "row": _TEXT_OUT,
        },
    ),
    "EntryLines": _page("Entries, the newest first.", "EntryLine", head=_HEAD_NUMBER),
    "Entry": shape(
        "An entry with its statement: the canonical text (RFC 8785) over which the hashes run.",
        {
            "entry": to("EntryLine"),
            "statement": shape("What the entry says, byte by byte, and its leaf: SHA-256 of a zero byte and the text in UTF-8.", {"text": _TEXT_OUT, "leaf": _HASH}) | {"type": ["object", "null"]},
            "differences": listed(
                shape("One value, as 'driftbook verify' tells it.", {"fault": _TEXT_OUT, "table": _TEXT_OUT, "column": _MAYBE_TEXT, "row": _MAYBE_TEXT, "statement": _MAYBE_TEXT}),
                "In what the rows of the entry are not what its statement says: the book was altered. Nothing where they agree; the tree is not looked at.",
            ),
        },
    ),
    "Head": shape(
        "A kept head of the tree over all entries of the book (RFC 9162).",
        {
            "size": whole("Over how many entries."), "root": _HASH, "signed": {"type": "boolean"},
            "note": {"type": "string", "description": "The head as a signed note, to be kept elsewhere."},
            "origin": _TEXT_OUT, "public_key": {"type": ["string", "null"], "description": "Ed25519, 32 bytes in Base64."},
        },
    ),
    "Heads": _page("Heads, the newest first.", "Head"),
    "Inclusion": shape(
        "Proof that an entry is in the tree of a head (RFC 9162, section 2.1.3): the leaf and the hashes beside its path give the root.",
        {"entry": _ENTRY, "index": whole("Place of the leaf, from 0.", least=0), "size": _ENTRY, "leaf": _HASH, "root": _HASH, "hashes": listed(_HASH, "From the leaf up.")},
    ),
    "Consistency": shape(
        "Proof that an older head is the beginning of a newer one (RFC 9162, section 2.1.4).",
        {"from": _ENTRY, "size": _ENTRY, "root_from": _HASH, "root": _HASH, "hashes": listed(_HASH, "In the order of the standard.")},
    ),
    "Problem": shape(
        "What is wrong, where, and what to do (RFC 9457).",
        {
            "type": _TEXT_OUT, "title": _TEXT_OUT, "status": {"type": "integer", "minimum": 400, "maximum": 599},
            "code": {"type": "string", "description": "The kind of problem, for programs."}, "detail": _TEXT_OUT,
            "remedy": {"type": "string", "description": "What to do."},
            "entry": whole("Where a job number is taken: the entry that bears it."),
            "location": {"type": "string", "description": "Address of that entry, as in the header Location."},
            "same_content": {"type": "boolean", "description": "Whether that entry says the very same as what was sent: it went in before."},
            "errors": listed(
                shape(
                    "One thing that is wrong: where it stands, as JSON pointer, parameter or header.",
                    {
                        "pointer": _TEXT_OUT, "parameter": _TEXT_OUT, "header": _TEXT_OUT, "detail": _TEXT_OUT, "remedy": _TEXT_OUT,
                        "check": one_of(Doubt, "Name of the check; under it a reason can be stated, where one is asked for."),
                        "asks": one_of(("a correction", "a stated reason"), "What helps."),
                    },
                    optional=("pointer", "parameter", "header", "remedy", "check", "asks"),
                ),
                "Everything that is wrong, not only the first.",
            ),
        },
        optional=("errors", "remedy", "entry", "location", "same_content"),
    ),
}  # fmt: skip
