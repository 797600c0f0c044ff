"""The catalogue of fields: what a file may say, under which headings, in which units.

The template, the proposed mapping, the checks and the explaining sheet are all
made from this one table.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from models.units import Display, Quantity
from models.values.kinds import Coupling, Method, Part, Reason

FOOT_ROWS = 6
"""Rows of feet that a file can name: six rows are twelve feet."""

FEET = tuple(f"{row}{side}" for row in range(1, FOOT_ROWS + 1) for side in "LR")
"""Names of the feet in the order of every list of foot values: 1L, 1R, 2L …"""


class Table(StrEnum):
    """The tables that a file can hold; also the names of the template's sheets."""

    ASSETS = "assets"
    BREAKS = "breaks"
    INSTRUMENTS = "instruments"
    PEOPLE = "people"
    JOBS = "jobs"


class Form(StrEnum):
    """How the cells of a field are read."""

    TEXT = "text"
    NUMBER = "number"
    DATE = "date"
    MOMENT = "date and time"
    CHOICE = "choice"
    NAMES = "names"


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a table.

    ``key`` is its name in mappings and messages, ``heading`` what the template
    writes, ``other`` further headings that people use for it.
    """

    table: Table
    key: str
    heading: str
    form: Form
    meaning: str
    quantity: Quantity | None = None
    choices: tuple[str, ...] = ()
    required: bool = False
    other: tuple[str, ...] = ()
    in_template: bool = True

    def heading_with_unit(self, display: Display) -> str:
        """Give the template's heading with the site's unit in brackets."""
        return f"{self.heading} [{display.unit(self.quantity)}]" if self.quantity else self.heading


_FOOT_ROW_NAMES = {
    ("movable", 1): ("front feet", "inboard feet", "near feet", "ib feet", "first feet row", "first row of feet"),
    ("movable", 2): (
        "rear feet",
        "back feet",
        "outboard feet",
        "far feet",
        "ob feet",
        "second feet row",
        "second row of feet",
    ),
    ("movable", 3): ("third feet", "third feet row", "third row of feet"),
}


_TAGS = (
    "asset", "machine", "equipment", "equipment no", "equip no", "equipment number", "equipment id", "machine no", "asset no",
    "asset id", "tag no", "tag number", "pos", "position", "item", "equip", "equipment tag", "machine number", "machine id",
    "machine tag", "pump no", "pump number", "pump tag",
)  # fmt: skip
"""Other headings of a tag."""


def _assets() -> Iterator[Field]:
    t = Table.ASSETS
    yield Field(t, "tag", "tag", Form.TEXT, "Name of the asset: one coupling. Unique in its site.", required=True,
                other=_TAGS)  # fmt: skip
    yield Field(
        t, "description", "description", Form.TEXT, "What people call it.", other=("name", "machine name", "service")
    )
    yield Field(
        t,
        "area",
        "area",
        Form.TEXT,
        "Part of the site in which it stands.",
        other=("unit", "location", "plant area", "building"),
    )
    yield Field(
        t,
        "train",
        "train",
        Form.TEXT,
        "Assets that stand on one line of shafts bear the same train name.",
        other=("machine train", "line"),
    )
    yield Field(
        t,
        "driven",
        "driven machine",
        Form.TEXT,
        "What is driven: pump, fan, compressor, gearbox …",
        other=("driven", "driven equipment"),
    )
    yield Field(
        t, "driver", "driver", Form.TEXT, "What drives: motor, turbine …", other=("driving machine", "prime mover")
    )
    yield Field(t, "coupling", "coupling", Form.CHOICE, "'short flexible', or 'spacer' with its span.", choices=tuple(Coupling),
                other=("coupling type", "coupling kind", "cplg"))  # fmt: skip
    yield Field(t, "span", "spacer span", Form.NUMBER, "Distance between the flex planes of a spacer coupling.", Quantity.DISTANCE,
                other=("span", "spacer", "spacer length", "dbse", "flex plane distance"))  # fmt: skip
    yield Field(t, "speed", "running speed", Form.NUMBER, "Running speed.", Quantity.SPEED,
                other=("speed", "rpm", "operating speed", "nominal speed", "r/min", "speed rpm"))  # fmt: skip
    yield Field(t, "speed_max", "highest speed", Form.NUMBER, "Highest speed where it varies; limits are taken at it.", Quantity.SPEED,
                other=("max speed", "maximum speed", "max rpm", "vfd max"))  # fmt: skip
    yield Field(
        t,
        "power",
        "power",
        Form.NUMBER,
        "Rated power of the driver.",
        Quantity.POWER,
        other=("rating", "motor power", "kw", "rated power"),
    )
    yield Field(
        t, "criticality", "criticality", Form.TEXT, "The site's own class, e.g. A, B or C.", other=("crit", "priority")
    )
    yield Field(
        t,
        "equipment_class",
        "equipment class",
        Form.TEXT,
        "ISO 14224 class code where known, e.g. PU.",
        other=("class code", "iso 14224"),
    )
    for side, sign in (
        ("movable", "towards the movable machine"),
        ("stationary", "towards the stationary machine, typed without a sign"),
    ):
        for row in range(1, FOOT_ROWS + 1):
            yield Field(t, f"feet_{side}_{row}", f"{side} foot row {row}", Form.NUMBER,
                        f"Distance from the coupling centre to row {row} of feet, {sign}.", Quantity.DISTANCE,
                        other=_FOOT_ROW_NAMES.get((side, row), ()), in_template=row <= 2)  # fmt: skip
    yield Field(
        t,
        "commissioned",
        "commissioned",
        Form.DATE,
        "Date of first running.",
        other=("start-up date", "installed", "in service"),
    )
    yield Field(
        t,
        "retired",
        "retired",
        Form.DATE,
        "Date on which it was taken out of service.",
        other=("decommissioned", "scrapped"),
    )
    yield Field(t, "valid_from", "valid from", Form.DATE,
                "From which day this description holds; blank for the first. A later row changes the asset from that day on; "
                "what it leaves blank stays as it was.")  # fmt: skip


def _breaks() -> Iterator[Field]:
    t = Table.BREAKS
    yield Field(t, "tag", "tag", Form.TEXT, "The asset.", required=True, other=("asset", "machine"))
    yield Field(t, "on", "date", Form.DATE, "Day of the replacement.", required=True, other=("replaced on",))
    yield Field(
        t,
        "part",
        "replaced",
        Form.CHOICE,
        "What was replaced.",
        choices=tuple(Part),
        required=True,
        other=("what", "part"),
    )
    yield Field(t, "why", "reason", Form.TEXT, "Why.", other=("remark",))


def _instruments() -> Iterator[Field]:
    t = Table.INSTRUMENTS
    yield Field(
        t,
        "serial",
        "serial",
        Form.TEXT,
        "Serial number: its name in the book.",
        required=True,
        other=("serial no", "serial number", "instrument"),
    )
    yield Field(t, "description", "description", Form.TEXT, "What it is.", other=("type",))
    yield Field(t, "calibrated", "calibrated", Form.DATE, "Date of the last calibration.", other=("calibration date",))
    yield Field(
        t,
        "due",
        "calibration due",
        Form.DATE,
        "Date until which the calibration holds.",
        other=("due", "next calibration"),
    )


def _people() -> Iterator[Field]:
    t = Table.PEOPLE
    yield Field(
        t, "name", "name", Form.TEXT, "Name as it stands on the sheets.", required=True, other=("person", "technician")
    )
    yield Field(t, "qualification", "qualification", Form.TEXT, "Training or certificate.", other=("certificate",))


_COMPONENTS = (
    ("offset_v", "offset V", Quantity.OFFSET, "Vertical offset at the coupling centre; + is movable above stationary."),
    ("angle_v", "angle V", Quantity.ANGULARITY, "Vertical angularity dy/dx; + is outboard end high."),
    (
        "offset_h",
        "offset H",
        Quantity.OFFSET,
        "Horizontal offset; + is right, seen from the movable machine towards the stationary one.",
    ),
    ("angle_h", "angle H", Quantity.ANGULARITY, "Horizontal angularity dy/dx; + is outboard end to the right."),
)
_STAGES = (("found", "found", "As found, before anything was moved."), ("left", "left", "As left, after the last bolt was tightened."),
           ("target", "target", "Cold misalignment wanted on purpose; blank is zero."))  # fmt: skip
_FOOT_TABLES = (
    ("soft_before", "soft foot before", "Rise of the foot when its bolt is loosened, before the work."),
    ("soft_after", "soft foot after", "Rise of the foot when its bolt is loosened, after the work."),
    ("move_v", "shim", "Shim put in (+) or taken out (−) under the foot."),
    ("move_h", "side move", "Sideways move of the foot; + is right."),
)


def _jobs() -> Iterator[Field]:
    t = Table.JOBS
    yield Field(t, "ref", "job", Form.TEXT, "The job's own number. Blank: made from tag and time.",
                other=("job no", "job number", "record", "record no", "report", "report no", "sheet no", "no", "id"))  # fmt: skip
    yield Field(t, "tag", "tag", Form.TEXT, "The asset.", required=True,
                other=_TAGS)  # fmt: skip
    yield Field(t, "performed", "performed at", Form.MOMENT, "Date, or date and time, in the site's zone unless it says its own.", required=True,
                other=("date", "datum", "day", "performed", "date of alignment", "when", "date done"))  # fmt: skip
    yield Field(
        t,
        "time",
        "time",
        Form.TEXT,
        "Time of day, where the date stands in a column of its own.",
        other=("hour", "time of day"),
        in_template=False,
    )
    yield Field(
        t,
        "reason",
        "reason",
        Form.CHOICE,
        "Why the visit was made.",
        choices=tuple(Reason),
        other=("why", "job type", "cause of visit"),
    )
    yield Field(t, "people", "people", Form.NAMES, "Who aligned; several names separated by ';' or '/'.",
                other=("person", "technician", "fitter", "aligned by", "done by", "who", "by"))  # fmt: skip
    yield Field(
        t,
        "instrument",
        "instrument",
        Form.TEXT,
        "Serial number of the instrument.",
        other=("serial", "device", "instrument no", "tool", "with"),
    )
    yield Field(
        t, "method", "method", Form.CHOICE, "How it was measured.", choices=tuple(Method), other=("measuring method",)
    )
    yield Field(
        t,
        "work_order",
        "work order",
        Form.TEXT,
        "Number in the maintenance system.",
        other=("wo", "order", "w/o", "order no", "work order no"),
    )
    for stage, word, why in _STAGES:
        for key, heading, quantity, meaning in _COMPONENTS:
            yield Field(t, f"{stage}_{key}", f"{word} {heading}", Form.NUMBER, f"{why} {meaning}", quantity)
    for prefix, heading, meaning in _FOOT_TABLES:
        for number, foot in enumerate(FEET):
            yield Field(
                t,
                f"{prefix}_{foot}",
                f"{heading} {foot}",
                Form.NUMBER,
                meaning,
                Quantity.OFFSET,
                in_template=number < 4,
            )
    for key, what in (("stationary", "stationary machine"), ("movable", "movable machine"), ("ambient", "air around")):
        yield Field(t, f"temp_{key}", f"temperature {key}", Form.NUMBER, f"Temperature of the {what} at the job.", Quantity.TEMPERATURE,
                    other=(f"temp {key}",))  # fmt: skip
    yield Field(
        t,
        "hours_run",
        "hours run",
        Form.NUMBER,
        "Counter of running hours at the job.",
        Quantity.DURATION,
        other=("running hours", "hour meter", "run hours"),
    )
    yield Field(t, "checks", "checks done", Form.NAMES, "Checks done, separated by ';'.", other=("checks",))
    yield Field(
        t,
        "notes",
        "notes",
        Form.TEXT,
        "Anything else.",
        other=("remarks", "remark", "comment", "comments", "note", "observations"),
    )
    yield Field(
        t,
        "reviewer",
        "reviewer",
        Form.TEXT,
        "Who reviewed the job.",
        other=("checked by", "reviewed by", "approved by"),
    )


FIELDS: tuple[Field, ...] = (*_assets(), *_breaks(), *_instruments(), *_people(), *_jobs())
"""Every field of every table, in the order of the template."""


def fields_of(table: Table) -> tuple[Field, ...]:
    """Give the fields of one table, in the order of the template."""
    return tuple(field for field in FIELDS if field.table is table)
