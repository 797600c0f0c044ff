"""What each column of the book means, with unit and sign: for whoever reads a data package without this tool."""

from __future__ import annotations

import sqlalchemy as sa

from models.store.copying import Kind, Mapped, columns_of, table_of

_COUPLING = "at the coupling centre, movable minus stationary shaft centreline"
_V, _H = "+ is up", "+ is to the right for someone at the movable machine who looks towards the stationary one"
_SLOPE = "dy/dx with x along the stationary shaft towards the movable machine"
_FEET = "JSON list, foot by foot: row by row from the coupling, left before right (1L, 1R, 2L …); null was not measured"

MEANINGS: dict[str, str] = {
    "entry": "Number of the entry that says this row.",
    "site_id": "Number of the site.",
    "site.id": "Number of the site.",
    "site.code": "Short name of the site.",
    "entry.number": "Number of the entry; they run from 1 without a gap.",
    "at_us": "When it was recorded.",
    "entry.author": "Who recorded it.",
    "entry.kind": "What the entry says.",
    "entry.subject": "Number of the entry that founded the thing spoken of; of the site where it is set.",
    "supersedes": "Number of the entry that this one takes the place of.",
    "entry.why": "Reason, where one was given.",
    "entry.batch": "Number of the entry of the imported file that it came from.",
    "entry.line": "Row of that file, or row and sheet.",
    "site_version.name": "Name of the site.",
    "zone": "IANA name of the time zone.",
    "site_version.length_unit": "Unit in which the site reads lengths; what is stored is always mm.",
    "site_version.temperature_unit": "Unit in which the site reads temperatures; what is stored is always °C.",
    "site_version.interval_months": "Rule for the next check after the last one.",
    "imported_file.name": "Name of the file.",
    "imported_file.sha256": "SHA-256 of the file, hexadecimal.",
    "imported_file.rows_read": "Rows that were read.",
    "imported_file.rows_taken": "Rows that went in.",
    "imported_file.rows_refused": "Rows that were refused.",
    "imported_file.mapping": "How its columns were read.",
    "asset.id": "Number of the asset: that of its founding entry.",
    "asset.tag": "Tag under which it was founded.",
    "asset_id": "Number of the asset: one coupling between a stationary and a movable machine.",
    "asset_version.valid_from": "First day on which this description holds; NULL where it always held.",
    "asset_version.tag": "Name of the asset.",
    "asset_version.description": "What people call it.",
    "asset_version.area": "Part of the site in which it stands.",
    "asset_version.train": "Assets on one line of shafts bear the same train name.",
    "asset_version.driven": "What is driven.",
    "asset_version.driver": "What drives.",
    "coupling": "How the shafts are joined: short flexible or spacer.",
    "span_mm": "Distance between the flex planes of a spacer coupling.",
    "speed_rpm": "Running speed, the highest where it varies: limits are taken at it.",
    "asset_version.speed_rpm": "Running speed.",
    "asset_version.speed_max_rpm": "Highest speed where it varies.",
    "asset_version.power_kw": "Rated power of the driver.",
    "asset_version.criticality": "The site's own class.",
    "asset_version.equipment_class": "Class code of ISO 14224 where known.",
    "asset_version.feet_movable_mm": "JSON list: distance from the coupling centre to each row of feet of the movable machine, above 0.",
    "asset_version.feet_stationary_mm": "JSON list: the same for the stationary machine, below 0.",
    "asset_version.commissioned": "Day of first running.",
    "asset_version.retired": "Day on which it was taken out of service.",
    "typed": "JSON object: what a person typed, with its unit, by field name.",
    "machine_break.on_day": "Day of the replacement.",
    "machine_break.part": "What was replaced.",
    "machine_break.reason": "Why.",
    "person.id": "Number of the person: that of the founding entry.",
    "person.name": "Name as it stands on the sheets.",
    "person_id": "Number of the person who aligned, the first named.",
    "person_version.person_id": "Number of the person.",
    "person_version.name": "Name.",
    "person_version.qualification": "Training or certificate.",
    "active": "Whether it holds today.",
    "instrument.id": "Number of the instrument: that of the founding entry.",
    "serial": "Serial number: its name in the book.",
    "instrument_id": "Number of the instrument.",
    "instrument_version.description": "What it is.",
    "instrument_version.calibrated": "Day of calibration.",
    "instrument_version.due": "Day until which the calibration holds.",
    "limit_set.id": "Number of the limit set: that of the founding entry.",
    "limit_set.name": "Name of the set.",
    "limit_set_id": "Number of the limit set.",
    "limit_version.version": "Version of the set.",
    "limit_version.source": "Where the limits come from.",
    "limit_version.adopted_by": "Who adopted it.",
    "limit_version.adopted_on": "Day from which it is in force.",
    "limit_version.starter": "Whether it is the set that ships: a starting point, to be replaced.",
    "limit_version.note": "Note.",
    "limit_row.row_no": "Place of the row in its version.",
    "limit_row.judged": "What the limit is for: offset, angularity, flex angle or soft foot.",
    "limit_row.coupling": "For which coupling; NULL for any.",
    "limit_row.above_rpm": "For speeds above this one.",
    "limit_row.upto_rpm": "For speeds up to this one; NULL for all above.",
    "limit_row.limit_value": "The limit, in mm for offset and soft foot, in mm/m for angles; NULL where it is a law of speed.",
    "limit_row.per_rpm": "Law of speed: limit = this ÷ the larger of the speed and floor_rpm, in mm·rpm or mm/m·rpm; NULL where it is a value.",
    "limit_row.floor_rpm": "Below this speed the limit stays as it is at it.",
    "limit_row.combine": "Resultant of vertical and horizontal, or each by itself.",
    "job.job_id": "Entry of the first version of the job.",
    "job.void": "Whether the version says that there was no such job.",
    "job.ref": "The job's own number.",
    "job.performed_us": "When the job was done.",
    "job.reason": "Why the visit was made.",
    "job.people": "JSON list of the names of those who aligned.",
    "job.method": "How it was measured.",
    "job.work_order": "Number in the maintenance system.",
    **{
        f"job.{stage}_{part}_{axis}": f"{what}, {'vertical' if axis == 'v' else 'horizontal'} "
        f"{'offset ' + _COUPLING if part == 'offset' else 'angularity: ' + _SLOPE}; {_V if axis == 'v' else _H}."
        for stage, what in (
            ("found", "As found"),
            ("left", "As left"),
            ("target", "Cold misalignment wanted on purpose"),
        )
        for part in ("offset", "angle")
        for axis in "vh"
    },
    "job.soft_before": f"Rise of each foot when its bolt is loosened, before the work. {_FEET}.",
    "job.soft_after": f"The same after the work. {_FEET}.",
    "job.moves_v": f"Shim put in (+) or taken out (−) under each foot. {_FEET}.",
    "job.moves_h": f"Sideways move of each foot; + is right. {_FEET}.",
    "job.temp_stationary_c": "Temperature of the stationary machine.",
    "job.temp_movable_c": "Temperature of the movable machine.",
    "job.temp_ambient_c": "Temperature of the air around.",
    "job.hours_run": "Counter of running hours.",
    "job.checks": "JSON list of the checks that were done.",
    "job.notes": "Notes.",
    "job.reviewer": "Who reviewed it.",
    "job.coupling": "Coupling of the machine as it was that day.",
    "job.span_mm": "Distance between the flex planes as it was that day.",
    "job.speed_rpm": "Speed at which limits were taken that day.",
    "job.limit_entry": "Entry of the version of the limit set by which it was judged.",
    "job.limit_offset_mm": "Limit of the offset that it gave; NULL where not judged.",
    "job.limit_angle_mm_m": "Limit of the angularity that it gave; NULL where not judged.",
    "job.limit_flex_mm_m": "Limit of the angle at each flex plane of a spacer; NULL where not judged.",
    "job.limit_soft_mm": "By how much the rises of the feet may differ; NULL where not judged.",
    "job.limit_each_axis": "Whether vertical and horizontal were judged each by itself.",
    "job.found_ratio": "Limit ratio as found: the largest |measured − target| ÷ limit, unrounded; over is above 1.",
    "job.left_ratio": "Limit ratio as left, by the same rule.",
    "job.content": "SHA-256 of what the job says, by which the same job is known again.",
    "decision_rule.rule": "Decision rule of the site from this entry on: simple acceptance, or guarded (ISO 14253-1).",
    "decision_rule.confidence": "Probability that a guarded rule asks for.",
    "decision.side": "Which measurement of the job was decided: found or left.",
    "decision.rule": "Decision rule in force when the job was recorded.",
    "decision.confidence": "Probability that it asked for.",
    "decision.covariance": "JSON list of four rows of four: covariance of what was measured, in the order offset V, angularity V, offset H, angularity H, "
    "in mm², mm·mm/m and (mm/m)²; NULL where no uncertainty was known.",
    "decision.probability": "Probability that the true deviation is within all limits (JCGM 106); NULL where no uncertainty was known.",
    "decision.verdict": "Verdict: within from the confidence upwards, over from one minus it downwards where the ratio is above 1, else undecided.",
    "account.id": "Number of the account: that of the founding entry.",
    "account.login": "Name that is typed to sign in.",
    "account_version.account_id": "Number of the account.",
    "account_version.person": "Name that stands as author under what it writes.",
    "account_version.mail": "Mail address.",
    "account_version.roles": "JSON list of what it may do at the site.",
    "account_version.outside": "Issuer and subject of a sign-in from outside.",
    "signoff.signed_entry": "Entry that was signed.",
    "signoff.meaning": "What the signature means.",
    "signoff.signed_leaf": "Leaf hash of that entry when it was signed.",
    "book_key.origin": "Name of the book under which its heads are known.",
    "book_key.public_key": "Ed25519 public key (RFC 8032) that signs the heads from this entry on.",
    "statement.said": "Canonical text (RFC 8785) of the entry with all rows that it brought.",
    "statement.leaf": "Leaf hash of that text (RFC 9162): SHA-256 of a zero byte and its UTF-8 bytes.",
    "tree_head.size": "Number of entries that the head covers.",
    "tree_head.root": "Root of the Merkle tree over them (RFC 9162).",
    "tree_head.frontier": "Roots of its full subtrees, largest first, 32 bytes each.",
    "tree_head.key_entry": "Entry of the key that signed; NULL where it was not signed.",
    "tree_head.signature": "Ed25519 signature of the head's checkpoint text.",
}
"""By table and column, or by column alone where it means the same everywhere."""

_UNITS = (
    ("_us", "µs since 1970-01-01T00:00:00Z"),
    ("_mm_m", "mm/m"),
    ("_mm", "mm"),
    ("_rpm", "rpm"),
    ("_kw", "kW"),
    ("_c", "°C"),
    ("_months", "month"),
    ("_ratio", "1"),
)

_OWN_UNITS = {
    "job.hours_run": "h",
    "job.soft_before": "mm",
    "job.soft_after": "mm",
    "job.moves_v": "mm",
    "job.moves_h": "mm",
    "limit_row.per_rpm": "",
}


def meaning_of(mapped: Mapped, column: str) -> str:
    """Say what a column means; of one that is not listed, at least how it is stored and of which table.

    Parameters
    ----------
    mapped : type
        The table. [unitless]
    column : str
        Name of the column. [unitless]
    """
    table = table_of(mapped).name
    said = MEANINGS.get(f"{table}.{column}") or MEANINGS.get(column)
    unit = unit_of(table, column)
    text = said or f"As stored in column {column} of table {table}."
    kind = next(one.kind for one in columns_of(mapped) if one.name == column)
    if kind is Kind.BYTES:
        text += " Hexadecimal, two digits a byte."
    if kind is Kind.JSON and "JSON" not in text:
        text += " JSON text."
    return f"{text} Unit: {unit}." if unit else text


def unit_of(table: str, column: str) -> str:
    """Give the unit of a column; empty for none."""
    own = _OWN_UNITS.get(f"{table}.{column}")
    if own is not None:
        return own
    if (
        table == "job"
        and column.split("_", maxsplit=1)[0] in {"found", "left", "target"}
        and column[-2:] in {"_v", "_h"}
    ):
        return "mm" if "_offset_" in column else "mm/m"
    return next((unit for end, unit in _UNITS if column.endswith(end)), "")


def table_meaning(mapped: Mapped) -> str:
    """Say what a table holds: the first paragraph of its class."""
    return " ".join((mapped.__doc__ or "").split("\n\n")[0].split())


def references(mapped: Mapped) -> list[tuple[str, str, str]]:
    """Give what a table points to: column, table, column there."""
    found = []
    for column in table_of(mapped).columns:
        for key in column.foreign_keys:
            target = key.column
            assert isinstance(target.table, sa.Table)  # noqa: S101 - narrows the type
            found.append((column.name, target.table.name, target.name))
    return found
