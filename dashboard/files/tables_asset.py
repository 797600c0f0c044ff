"""Tables of one machine: its jobs under the headings that import reads, and its runs."""

from __future__ import annotations

import json
from collections.abc import Sequence

from dashboard.files.around import DAYS, SHARE, Around, decimals_of, of, shown_exactly, verdict
from dashboard.files.table_out import ColumnOut, Form, TableOut, Value, column
from dashboard.place import shortened
from dashboard.views.asset_choices import judged_again, read_limits
from dashboard.views.asset_standing import row_of
from dashboard.words import say
from models.errors import UnknownNameError
from models.history.columns import REASONS
from models.history.months import local_days
from models.intake.fields import FEET, Field, Table, fields_of
from models.intake.fields import Form as Reads
from models.units import Quantity
from models.values.decision import NO_DECISIONS, SIDES
from models.values.job import COMPONENTS, Job
from models.values.story import AssetStory, JobLine

JOIN = "; "
"""What stands between several names, as import reads it."""

_FEET_OF = {"soft_before": "soft_before", "soft_after": "soft_after", "move_v": "moves_v", "move_h": "moves_h"}
_FORM = {Reads.NUMBER: Form.NUMBER, Reads.MOMENT: Form.MOMENT}
_TEMPERATURES = {f"temp_{name}": f"temp_{name}_c" for name in ("stationary", "movable", "ambient")}


def story_of(around: Around) -> AssetStory:
    """Find the machine that the address names.

    Raises
    ------
    UnknownNameError
        If the site has no such machine, or none was named.
    """
    tag = around.asked("asset")
    story = around.book.story(around.site.site_id, tag) if tag else None
    if story is None:
        raise UnknownNameError(
            say("files.no_asset", tag=shortened(tag)) if tag else say("files.which_asset"),
            remedy=say("files.which_asset.remedy"),
        )
    return story


def asset_jobs(around: Around) -> TableOut:
    """Give every version of every job of a machine, the newest first.

    The first columns are those of the import template, by the same headings, so that the file is read
    by ``driftbook import`` as it is; verdict, limits and where each stands in the book follow.
    """
    story = story_of(around)
    book = around.book
    judging = read_limits(around.seen.place, book.limit_sets(around.site.site_id), around.seen.limit_set)
    judged = judged_again(story, judging.limit_set)
    lines = sorted(judged.jobs, key=lambda line: (line.job.performed_at, line.entry), reverse=True)
    columns = [made for field in fields_of(Table.JOBS) if (made := _field(field, lines, around)) is not None]
    window = say("files.window.all")
    if judging.limit_set is not None:
        window = say("files.window.judged", name=judging.limit_set.name, version=judging.limit_set.version)
    return around.table("asset-jobs", [*columns, *_verdicts(lines, around), *_decisions(lines), *_standing(lines)], window,
                        "files.sure.jobs", tag=story.asset.tag)  # fmt: skip


def _field(field: Field, lines: Sequence[JobLine], around: Around) -> ColumnOut | None:
    """Make the column of one field of the template; those that the template leaves out only where there are values."""
    if field.key == "time":
        return None
    values = [job_value(line.job, field) for line in lines]
    if not field.in_template and all(value is None for value in values):
        return None
    unit, decimals = "", None
    if field.quantity is not None:
        quantity = field.quantity
        unit, decimals = around.unit(quantity), decimals_of(quantity, around.display)
        values = [shown_exactly(_number(value), quantity, around.display) for value in values]
    form = _FORM.get(field.form, Form.TEXT)
    return ColumnOut(field.heading, unit, field.meaning, form, tuple(values), decimals, comes_back=True)


def _number(value: Value) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def job_value(job: Job, field: Field) -> Value:
    """Give what a job says for a field of the template, in stored units; ``None`` where it says nothing.

    Parameters
    ----------
    job : Job
        The job. [mm, mm/m, °C, h]
    field : Field
        A field of the table of jobs. [unitless]
    """
    key = field.key
    for prefix, name in _FEET_OF.items():
        foot = key.removeprefix(f"{prefix}_")
        if foot != key and foot in FEET:
            values: tuple[float | None, ...] = getattr(job, name).values
            place = FEET.index(foot)
            return values[place] if place < len(values) else None
    stage, _, component = key.partition("_")
    if component in COMPONENTS:
        measured = getattr(job, stage)
        return None if measured is None else float(getattr(measured, component))
    if key == "performed":
        return job.performed_at
    value = getattr(job, _TEMPERATURES.get(key, key))
    if isinstance(value, tuple):
        return JOIN.join(value) or None
    return str(value) or None if isinstance(value, str) else value


def _decisions(lines: Sequence[JobLine]) -> list[ColumnOut]:
    """Make the columns of what was decided by a guarded rule; none where nothing was."""
    if all(line.decisions == NO_DECISIONS for line in lines):
        return []
    made: list[ColumnOut] = []
    for side in SIDES:
        every = [getattr(line.decisions, side) for line in lines]
        made += [
            of(f"{side}_decided", Form.TEXT, every, lambda one: one and say(f"decision.verdict.{one.verdict}")),
            of(f"{side}_probability", Form.NUMBER, every, lambda one: one and one.probability, SHARE, 3),
            of(f"{side}_rule", Form.TEXT, every, lambda one: one and say(f"decision.rule.{one.rule.rule}")),
            of(f"{side}_confidence", Form.NUMBER, every, lambda one: one and one.rule.confidence, SHARE, 3),
            of(
                f"{side}_covariance",
                Form.TEXT,
                every,
                lambda one: one and one.covariance and json.dumps(one.covariance),
            ),
        ]
    return made


def _verdicts(lines: Sequence[JobLine], around: Around) -> list[ColumnOut]:
    offset, angle = Quantity.OFFSET, Quantity.ANGULARITY
    return [
        of("found_ratio", Form.NUMBER, lines, lambda line: line.found_ratio, "", 2),
        of("found_verdict", Form.TEXT, lines, lambda line: verdict(line.found_ratio)),
        of("left_ratio", Form.NUMBER, lines, lambda line: line.left_ratio, "", 2),
        of("left_verdict", Form.TEXT, lines, lambda line: verdict(line.left_ratio)),
        around.measured("limit_offset", [line.limits.offset_mm for line in lines], offset),
        around.measured("limit_angle", [line.limits.angle_mm_m for line in lines], angle),
        around.measured("limit_flex", [line.limits.flex_mm_m for line in lines], angle),
        around.measured("limit_soft", [line.limits.soft_foot_mm for line in lines], offset),
        of("limit_each", Form.YES, lines, lambda line: line.limits.each_axis),
        of("limit_set", Form.TEXT, lines, lambda line: line.limit_set),
    ]


def _standing(lines: Sequence[JobLine]) -> list[ColumnOut]:
    return [
        of("entry", Form.COUNT, lines, lambda line: line.entry),
        of("recorded", Form.MOMENT, lines, lambda line: line.recorded_at),
        of("author", Form.TEXT, lines, lambda line: line.author),
        of("amends", Form.COUNT, lines, lambda line: line.supersedes),
        of("amended_by", Form.COUNT, lines, lambda line: line.superseded_by),
        of("why_amended", Form.TEXT, lines, lambda line: line.why_amended or None),
        of("void", Form.YES, lines, lambda line: line.void),
        of("source", Form.TEXT, lines, lambda line: line.source or None),
    ]


def asset_runs(around: Around) -> TableOut:
    """Give the runs of a machine: from what a visit left to what the next one found."""
    story = story_of(around)
    history, runs = around.seen.history, around.seen.runs
    index = row_of(history, story.asset_id)
    mine = runs.take(runs.asset == index)
    jobs = history.jobs
    start, end = (
        local_days(jobs.performed_us[rows], history.zone).astype("datetime64[D]").astype(object).tolist()
        for rows in (mine.start_row, mine.end_row)
    )
    reasons = jobs.reason[mine.end_row].tolist()
    columns = [
        column("left_on", Form.DAY, start),
        column("left_entry", Form.COUNT, jobs.entry[mine.start_row].tolist()),
        column("found_on", Form.DAY, end),
        column("found_entry", Form.COUNT, jobs.entry[mine.end_row].tolist()),
        column("run_days", Form.NUMBER, mine.days.tolist(), DAYS, 0),
        column("run_hours", Form.NUMBER, mine.hours.tolist(), around.unit(Quantity.DURATION)),
        *(
            around.measured(f"drift_{name}", mine.drift[:, place].tolist(), quantity)
            for place, (name, quantity) in enumerate(
                zip(COMPONENTS, (Quantity.OFFSET, Quantity.ANGULARITY) * 2, strict=True)
            )
        ),
        column("start_ratio", Form.NUMBER, mine.start_ratio.tolist(), "", 2),
        column("end_ratio", Form.NUMBER, mine.end_ratio.tolist(), "", 2),
        column("returned", Form.YES, mine.returned.tolist()),
        column("broken", Form.YES, mine.broken.tolist()),
        column("end_reason", Form.TEXT, [REASONS[code] if code >= 0 else None for code in reasons]),
    ]
    return around.table("asset-runs", columns, say("files.window.all"), "files.sure.runs", tag=story.asset.tag)
