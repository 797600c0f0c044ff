"""Tables of the book, of people and instruments, and of limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isfinite
from typing import Literal

from dashboard.asked import named, read_asked, read_days, read_factors, read_number, read_years
from dashboard.files.around import SHARE, Around, of, share_columns, shown_exactly
from dashboard.files.table_out import ColumnOut, Form, TableOut
from dashboard.files.tables_month import EVERY
from dashboard.place import shortened
from dashboard.strict import refuse
from dashboard.views import effects_view, left_over_view
from dashboard.views.book_view import source_of
from dashboard.views.calibrations_then import late_now_or_then, told_otherwise
from dashboard.views.effects_view import EffectLine, component_name, effects_for
from dashboard.views.left_over_view import left_over_for
from dashboard.views.limit_rows import QUANTITY
from dashboard.views.limits_desk_view import TurnLine, in_force_of, set_lines, trial_set
from dashboard.views.limits_desk_view import build as build_limits
from dashboard.views.people_view import JobRow, PeopleView
from dashboard.views.people_view import build as build_people
from dashboard.words import say
from models.errors import UnknownNameError
from models.values.entry import AdoptedLimits, EntryLine
from models.values.limits import LimitRow, LimitSet

PAGE = 1000
"""Entries that are read at once."""

MOST_ENTRIES = 200_000
"""Longest table of entries: beyond it the whole book is the better file."""


def entries(around: Around) -> TableOut:
    """Give the entries that answer to the choices of the Book page, the newest first."""
    seen = around.seen
    history = seen.history
    asked = read_asked(seen.place, around.site.zone, history.assets.tag.tolist(), history.people, history.instruments)
    refuse(next(filter(None, asked.problems), ""))
    lines: list[EntryLine] = []
    before = asked.before
    while not asked.nothing:
        page = around.book.entries(around.site.site_id, asked.filter, before=before, most=PAGE)
        lines.extend(page.lines)
        if len(lines) > MOST_ENTRIES:
            raise UnknownNameError(
                say("files.too_many_entries", most=MOST_ENTRIES), remedy=say("files.too_many_entries.remedy")
            )
        if not page.older or not page.lines:
            break
        before = page.lines[-1].number
    columns = [
        of("entry", Form.COUNT, lines, lambda line: line.number),
        of("recorded", Form.MOMENT, lines, lambda line: line.at),
        of("author", Form.TEXT, lines, lambda line: line.author),
        of("kind", Form.TEXT, lines, lambda line: str(line.kind)),
        of("thing", Form.TEXT, lines, lambda line: str(line.thing)),
        of("name", Form.TEXT, lines, lambda line: line.name or None),
        of("detail", Form.TEXT, lines, lambda line: line.detail or None),
        of("done", Form.MOMENT, lines, lambda line: line.done_at),
        of("on_day", Form.DAY, lines, lambda line: line.on),
        of("people", Form.TEXT, lines, lambda line: "; ".join(line.people) or None),
        of("instrument", Form.TEXT, lines, lambda line: line.instrument or None),
        of("limit_set", Form.TEXT, lines, lambda line: line.limit_set or None),
        of("why_said", Form.TEXT, lines, lambda line: line.why or None),
        of("amends", Form.COUNT, lines, lambda line: line.supersedes),
        of("amended_by", Form.COUNT, lines, lambda line: line.superseded_by),
        of("void", Form.YES, lines, lambda line: line.void),
        of("source", Form.TEXT, lines, source_of),
        of("file_entry", Form.COUNT, lines, lambda line: line.file_entry),
    ]
    return around.table("entries", columns, say("files.window.entries"))


def _people_view(around: Around) -> PeopleView:
    seen, book = around.seen, around.book
    versions = book.instrument_versions(around.site.site_id)
    asked = seen.place.get("instrument")
    chosen = named(asked, sorted({one.serial for one in versions})) if asked else ""
    if chosen is None:
        raise UnknownNameError(say("problem.who", asked=shortened(asked)), remedy=say("files.which_instrument"))
    since = read_days(seen.place, "since").value
    return build_people(
        seen.history,
        versions,
        book.people(around.site.site_id),
        seen.today,
        chosen=chosen,
        since=since[0] if since else None,
        most=EVERY,
    )


def people(around: Around) -> TableOut:
    """Give the people, by name."""
    lines = _people_view(around).people
    columns = [
        of("person", Form.TEXT, lines, lambda line: line.name),
        of("qualification", Form.TEXT, lines, lambda line: line.qualification or None),
        of("jobs", Form.COUNT, lines, lambda line: line.jobs),
        of("last", Form.DAY, lines, lambda line: line.last),
    ]
    return around.table("people", columns, say("files.window.all"))


def people_left(around: Around) -> TableOut:
    """Give what each person left over limit, and what was to be expected."""
    history = around.seen.history
    lines = left_over_view.build(left_over_for(history), history.people).lines
    columns = [
        of("person", Form.TEXT, lines, lambda line: line.name),
        *share_columns("left", [line.share for line in lines]),
        of("left_expected", Form.NUMBER, lines, lambda line: line.expected, "", 2),
        of("q", Form.NUMBER, lines, lambda line: line.q, SHARE, 4),
        of("differs", Form.YES, lines, lambda line: line.more if isfinite(line.expected) else None),
    ]
    return around.table("people-left", columns, say("files.window.all"), "files.sure.left")


def instruments(around: Around) -> TableOut:
    """Give the instruments with the calibration that holds, or ended last, and how many of their jobs were done when."""
    lines = _people_view(around).instruments
    stated = around.book.stated_instruments(around.site.site_id)
    last = {one.said.serial: one for one in stated}
    otherwise = told_otherwise(around.seen.history, stated)
    columns = [
        of("instrument", Form.TEXT, lines, lambda line: line.serial),
        of("description", Form.TEXT, lines, lambda line: line.description or None),
        of("calibrated", Form.DAY, lines, lambda line: line.calibrated),
        of("calibration_due", Form.DAY, lines, lambda line: line.due),
        of("calibration_entry", Form.COUNT, lines, lambda line: last[line.serial].entry),
        of("calibration_recorded", Form.MOMENT, lines, lambda line: last[line.serial].recorded_at),
        of("calibration_author", Form.TEXT, lines, lambda line: last[line.serial].author),
        of("days_left", Form.COUNT, lines, lambda line: line.days_left, "d"),
        of("jobs", Form.COUNT, lines, lambda line: line.jobs),
        of("jobs_late", Form.COUNT, lines, lambda line: line.late),
        of("jobs_unknown", Form.COUNT, lines, lambda line: line.not_known),
        of("jobs_told_otherwise", Form.COUNT, lines, lambda line: otherwise.get(line.serial, 0)),
        of("last", Form.DAY, lines, lambda line: line.last),
    ]
    return around.table("instruments", columns, say("files.window.all"))


def late_jobs(around: Around) -> TableOut:
    """Give the jobs that were done after the calibration of their instrument had run out, those too that a later entry made good."""
    found = late_now_or_then(around.seen.history, around.book.stated_instruments(around.site.site_id), EVERY)
    columns = _job_rows([row for row, _ in found])
    then = of("late_days_then", Form.COUNT, found, lambda one: one[1], "d")
    return around.table("late-jobs", [*columns, then], say("files.window.all"))


def instrument_jobs(around: Around) -> TableOut:
    """Give the jobs that rest on one instrument from a day on."""
    resting = _people_view(around).resting
    if resting is None:
        raise UnknownNameError(say("files.no_instrument"), remedy=say("files.which_instrument"))
    return around.table("instrument-jobs", _job_rows(resting.rows), resting.sentence, serial=resting.serial)


def _job_rows(lines: Sequence[JobRow]) -> list[ColumnOut]:
    return [
        of("entry", Form.COUNT, lines, lambda line: line.entry),
        of("tag", Form.TEXT, lines, lambda line: line.tag),
        of("day", Form.DAY, lines, lambda line: line.on),
        of("instrument", Form.TEXT, lines, lambda line: line.serial or None),
        of("person", Form.TEXT, lines, lambda line: line.person or None),
        of("late_days", Form.COUNT, lines, lambda line: line.late_days, "d"),
        of("found_ratio", Form.NUMBER, lines, lambda line: line.found_ratio, "", 2),
        of("left_ratio", Form.NUMBER, lines, lambda line: line.left_ratio, "", 2),
        of("measured_again", Form.DAY, lines, lambda line: line.since),
    ]


def effects(around: Around) -> TableOut:
    """Give how far each instrument and each person reads apart from the others, with the interval."""
    seen, display = around.seen, around.display
    lines: list[tuple[str, EffectLine, int]] = []
    kinds: tuple[Literal["instrument", "person"], ...] = ("instrument", "person")
    for who in kinds:
        names = seen.history.instruments if who == "instrument" else seen.history.people
        view = effects_view.build(effects_for(seen.history, seen.runs, who), names, display, who)
        lines += [(who, line, place) for line in view.lines for place in range(len(line.cells))]
    units = [display.unit(quantity) for quantity in effects_view.QUANTITIES]
    columns = [
        of("effect_of", Form.TEXT, lines, lambda one: one[0]),
        of("name", Form.TEXT, lines, lambda one: one[1].name),
        of("component", Form.TEXT, lines, lambda one: component_name(one[2])),
        of("effect_runs", Form.COUNT, lines, lambda one: one[1].runs),
        of("value", Form.NUMBER, lines, lambda one: one[1].cells[one[2]].value),
        of("low", Form.NUMBER, lines, lambda one: one[1].cells[one[2]].low),
        of("high", Form.NUMBER, lines, lambda one: one[1].cells[one[2]].high),
        of("value_unit", Form.TEXT, lines, lambda one: units[one[2]]),
        of("differs", Form.YES, lines, lambda one: one[1].cells[one[2]].differs),
    ]
    return around.table("effects", columns, say("files.window.all"), "files.sure.effects")


def limit_sets(around: Around) -> TableOut:
    """Give every row of every version of every limit set, in the order of adoption."""
    sets = around.book.limit_sets(around.site.site_id)
    heads = set_lines(sets, around.seen.today, around.display, around.site.zone)
    lines = [
        (head, one.limit_set, number, row)
        for head, one in zip(heads, sets, strict=True)
        for number, row in enumerate(one.limit_set.rows, start=1)
    ]

    def shown(value: float | None, row: LimitRow) -> float | None:
        return shown_exactly(value, QUANTITY[row.judged], around.display)

    columns = [
        of("entry", Form.COUNT, lines, lambda one: one[0].entry),
        of("limit_set", Form.TEXT, lines, lambda one: one[1].name),
        of("version", Form.COUNT, lines, lambda one: one[1].version),
        of("starter", Form.YES, lines, lambda one: one[1].starter),
        of("adopted_by", Form.TEXT, lines, lambda one: one[1].adopted_by or None),
        of("adopted_on", Form.DAY, lines, lambda one: one[1].adopted_on),
        of("until", Form.DAY, lines, lambda one: one[0].until),
        of("in_force", Form.YES, lines, lambda one: one[0].state == "in force"),
        of("limit_source", Form.TEXT, lines, lambda one: one[1].source),
        of("limit_row", Form.COUNT, lines, lambda one: one[2]),
        of("judged", Form.TEXT, lines, lambda one: str(one[3].judged)),
        of("coupling", Form.TEXT, lines, lambda one: str(one[3].coupling) if one[3].coupling else None),
        of("above_rpm", Form.NUMBER, lines, lambda one: one[3].above_rpm, "rpm", 0),
        of("upto", Form.NUMBER, lines, lambda one: one[3].upto_rpm, "rpm", 0),
        of("limit_value", Form.NUMBER, lines, lambda one: shown(one[3].value, one[3])),
        of("limit_factor", Form.NUMBER, lines, lambda one: shown(one[3].per_rpm, one[3])),
        of("limit_unit", Form.TEXT, lines, lambda one: around.unit(QUANTITY[one[3].judged])),
        of("floor", Form.NUMBER, lines, lambda one: one[3].floor_rpm, "rpm", 0),
        of("combine", Form.TEXT, lines, lambda one: str(one[3].combine)),
    ]
    return around.table("limit-sets", columns, say("files.window.all"))


def trial_of(around: Around, sets: Sequence[AdoptedLimits]) -> LimitSet | None:
    """Give the set on trial: typed laws of speed before a version that was chosen; ``None`` where the address asks for none."""
    seen = around.seen
    factors, held = read_factors(seen.place).value, in_force_of(sets, seen.today)
    if held is not None and factors.given:
        return trial_set(held, factors, around.display, seen.today)
    number = read_number(seen.place.get("set"))
    found = next((one.limit_set for one in sets if one.entry == number), None)
    if found is None and (typed := seen.place.get("set")):
        refuse(say("problem.set", asked=shortened(typed)), [str(one.entry) for one in sets])
    return found


def what_if(around: Around) -> TableOut:
    """Give how many verdicts would change under another set, as found and as left, by speed class.

    Raises
    ------
    UnknownNameError
        If the address asks for no other set.
    """
    seen = around.seen
    sets = around.book.limit_sets(around.site.site_id)
    trial = trial_of(around, sets)
    view = build_limits(seen.history, sets, seen.today, around.display, trial=trial, years=read_years(seen.place).value)
    if view.trial is None:
        raise UnknownNameError(say("files.no_trial"), remedy=say("files.no_trial.remedy"))
    lines = list(_turns(view.trial.found, view.trial.left))
    columns = [
        of("stage", Form.TEXT, lines, lambda one: one[0]),
        of("class", Form.TEXT, lines, lambda one: one[1].name),
        of("verdicts", Form.COUNT, lines, lambda one: one[1].judged),
        of("over_then", Form.COUNT, lines, lambda one: one[1].before.count),
        of("over_then_share", Form.NUMBER, lines, lambda one: one[1].before.share, SHARE, 3),
        of("over_trial", Form.COUNT, lines, lambda one: one[1].after.count),
        of("over_trial_share", Form.NUMBER, lines, lambda one: one[1].after.share, SHARE, 3),
        of("to_over", Form.COUNT, lines, lambda one: one[1].to_over),
        of("to_within", Form.COUNT, lines, lambda one: one[1].to_within),
    ]
    return around.table("what-if", columns, view.trial.window, "files.sure.what_if", other=view.trial.name)


def _turns(found: Sequence[TurnLine], left: Sequence[TurnLine]) -> Iterator[tuple[str, TurnLine]]:
    for stage, lines in (("found", found), ("left", left)):
        for line in lines:
            yield say(f"word.{stage}"), line
