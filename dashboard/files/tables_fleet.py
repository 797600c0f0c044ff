"""Tables of the fleet: machines, repeat offenders, groups that move alike, the due list and how far to trust it."""

from __future__ import annotations

from math import isfinite

from dashboard.fetch import recheck_for
from dashboard.files.around import DAYS, PER_YEAR, RPM, SHARE, Around, of, verdict
from dashboard.files.table_out import ColumnOut, Form, TableOut, column
from dashboard.files.tables_month import EVERY
from dashboard.kept import keep
from dashboard.place import read_class, read_window
from dashboard.views import finder_view
from dashboard.views.due_page_view import RISK, DueView, Load, read_risk, read_way
from dashboard.views.due_page_view import build as build_due
from dashboard.views.groups_view import INSTRUMENT, Alike, groups_of
from dashboard.views.offender_filters import read_filters
from dashboard.views.offenders_view import OffendersView
from dashboard.views.offenders_view import build as build_offenders
from dashboard.views.plan_view import FAR_AHEAD, LONG_AGO, Plan, ground_of
from dashboard.words import say
from dashboard.writing import counted, day, percent, speed_class
from models.history.columns import SPEED_BOUNDS_RPM
from models.history.conformal import LEVELS
from models.units import Display, Quantity

GROUP = {"area": "offenders.group.area", "train": "offenders.group.train", INSTRUMENT: "offenders.group.instrument"}
MOVES = ("offenders.part.near_v", "offenders.part.far_v", "offenders.part.near_h", "offenders.part.far_h")
READS = (
    "component.short.offset_v",
    "component.short.angle_v",
    "component.short.offset_h",
    "component.short.angle_h",
)


def machines(around: Around) -> TableOut:
    """Give the machines that answer to what was typed, all of them where nothing was."""
    lines = finder_view.build(around.seen.history, around.asked("q"), most=EVERY).lines
    columns = [
        of("tag", Form.TEXT, lines, lambda line: line.tag),
        of("description", Form.TEXT, lines, lambda line: line.description),
        of("area", Form.TEXT, lines, lambda line: line.area),
        of("train", Form.TEXT, lines, lambda line: line.train),
        of("speed", Form.NUMBER, lines, lambda line: line.speed_rpm, RPM, 0),
        of("jobs", Form.COUNT, lines, lambda line: line.jobs),
        of("last", Form.DAY, lines, lambda line: line.last),
        of("left_ratio", Form.NUMBER, lines, lambda line: line.left_ratio, "", 2),
        of("left_verdict", Form.TEXT, lines, lambda line: verdict(line.left_ratio)),
        of("retired", Form.YES, lines, lambda line: line.retired),
    ]
    return around.table("machines", columns, say("files.window.all"))


def offenders_view(around: Around) -> OffendersView:
    """Give what the page of the repeat offenders shows, the whole ranking."""
    seen = around.seen
    return build_offenders(
        seen.history,
        seen.runs,
        read_window(seen.place).value,
        read_class(seen.place).value,
        seen.today,
        site=around.site,
        limit_set=seen.limit_set,
        most=EVERY,
        filters=read_filters(seen.place, seen.history)[0],
        study=seen.study,
        sets=around.book.limit_sets(around.site.site_id),
    )


def offenders(around: Around) -> TableOut:
    """Give the machines that came back, in the order of the ranking."""
    view = offenders_view(around)
    lines = view.lines
    columns = [
        of("rank", Form.COUNT, lines, lambda line: line.rank),
        of("tag", Form.TEXT, lines, lambda line: line.tag),
        of("description", Form.TEXT, lines, lambda line: line.description),
        of("area", Form.TEXT, lines, lambda line: line.area),
        of("speed", Form.NUMBER, lines, lambda line: line.speed_rpm, RPM, 0),
        of("looks", Form.COUNT, lines, lambda line: line.looks),
        of("returns", Form.COUNT, lines, lambda line: line.returns),
        of("years", Form.NUMBER, lines, lambda line: line.years, "year", 2),
        of("seen_rate", Form.NUMBER, lines, lambda line: line.seen, PER_YEAR, 2),
        of("rate_alone", Form.NUMBER, lines, lambda line: line.alone if isfinite(line.alone) else None, PER_YEAR, 2),
        of("rate", Form.NUMBER, lines, lambda line: line.rate, PER_YEAR, 2),
        of("rate_low", Form.NUMBER, lines, lambda line: line.low, PER_YEAR, 2),
        of("rate_high", Form.NUMBER, lines, lambda line: line.high, PER_YEAR, 2),
        of("bound", Form.NUMBER, lines, lambda line: line.bound, PER_YEAR, 2),
        of("replaced", Form.DAY, lines, lambda line: line.before.on if line.before else None),
        of("earlier_looks", Form.COUNT, lines, lambda line: line.before.looks if line.before else 0),
        of("earlier_returns", Form.COUNT, lines, lambda line: line.before.returns if line.before else 0),
        of("today_looks", Form.COUNT, lines, lambda line: line.today[0] if line.today else None),
        of("today_returns", Form.COUNT, lines, lambda line: line.today[1] if line.today else None),
        of("first_return", Form.DAY, lines, lambda line: line.first),
        of("last_return", Form.DAY, lines, lambda line: line.last),
        of("worst_ratio", Form.NUMBER, lines, lambda line: line.worst_ratio, "", 2),
    ]
    window = say("files.window.since", day=day(view.since)) if view.since else say("files.window.all")
    return around.table("offenders", columns, window, "files.sure.offenders")


def groups(around: Around) -> TableOut:
    """Give the groups that move alike and the instruments that read apart, the surest first."""
    history, study, display = around.seen.history, around.seen.study, around.display
    lines = keep(history, "groups", lambda: groups_of(history, study)).lines
    columns = [
        of("group_kind", Form.TEXT, lines, lambda line: say(GROUP[line.kind])),
        of("group", Form.TEXT, lines, lambda line: line.name),
        of("part", Form.TEXT, lines, lambda line: say((READS if line.kind == INSTRUMENT else MOVES)[line.part])),
        of("value", Form.NUMBER, lines, lambda line: _shown(line, line.value, display)),
        of("low", Form.NUMBER, lines, lambda line: _shown(line, line.low, display)),
        of("high", Form.NUMBER, lines, lambda line: _shown(line, line.high, display)),
        of("others", Form.NUMBER, lines, lambda line: _shown(line, line.others, display)),
        of("value_unit", Form.TEXT, lines, lambda line: _unit(line, display)),
        of("members", Form.COUNT, lines, lambda line: line.members),
        of("same_way", Form.COUNT, lines, lambda line: None if line.kind == INSTRUMENT else line.same_way),
        of("q", Form.NUMBER, lines, lambda line: line.q, SHARE, 4),
    ]
    return around.table("groups", columns, say("files.window.all"), "files.sure.groups")


def _quantity(line: Alike) -> Quantity:
    return Quantity.ANGULARITY if line.kind == INSTRUMENT and line.part % 2 else Quantity.OFFSET


def _shown(line: Alike, value: float, display: Display) -> float:
    return display.show(value, _quantity(line))


def _unit(line: Alike, display: Display) -> str:
    unit = display.unit(_quantity(line))
    return unit if line.kind == INSTRUMENT else f"{unit}/year"


def plan_for(around: Around) -> tuple[Plan, str, int]:
    """Give the dates of the machines by the way and risk of the address, with the way and the risk in per cent."""
    seen = around.seen
    way, risk = read_way(seen.place).value, read_risk(seen.place).value
    ground = ground_of(seen.history, seen.study, seen.today, seen.now_us, around.site.interval_months)
    return ground.plan(recheck_for(seen.history, risk / 100.0), by_risk=way == RISK), way, risk


def due(around: Around) -> TableOut:
    """Give every machine with a date, the next first, and why on that day."""
    plan, way, risk = plan_for(around)
    rows = plan.rows(LONG_AGO, FAR_AHEAD)
    lines = plan.lines(rows.tolist())
    columns = [
        of("tag", Form.TEXT, lines, lambda line: line.tag),
        of("description", Form.TEXT, lines, lambda line: line.description),
        of("area", Form.TEXT, lines, lambda line: line.area),
        of("criticality", Form.TEXT, lines, lambda line: line.criticality),
        of("due", Form.DAY, lines, lambda line: line.due),
        of("days_left", Form.COUNT, lines, lambda line: line.days_left, DAYS),
        of("why", Form.TEXT, lines, lambda line: line.why),
        column("from_forecast", Form.YES, plan.forecast[rows].tolist()),
        of("other_due", Form.DAY, lines, lambda line: line.other),
        of("last", Form.DAY, lines, lambda line: line.last),
        of("left_ratio", Form.NUMBER, lines, lambda line: line.left_ratio, "", 2),
        of("left_verdict", Form.TEXT, lines, lambda line: verdict(line.left_ratio)),
        of("over_now", Form.NUMBER, lines, lambda line: line.over_now, SHARE, 3),
    ]
    by_rule = say(
        "files.window.due_rule", months=counted(around.site.interval_months, "month"), day=day(around.seen.today)
    )
    by_risk = say("files.window.due_risk", risk=percent(risk / 100.0), day=day(around.seen.today))
    return around.table("due", columns, by_risk if way == RISK else by_rule, "files.sure.due")


def _due_view(around: Around) -> DueView:
    seen = around.seen
    return build_due(
        seen.history,
        seen.study,
        lambda accepted: recheck_for(seen.history, accepted),
        read_way(seen.place).value,
        read_risk(seen.place).value,
        None,
        seen.today,
        site=around.site,
        limit_set=seen.limit_set,
        today_us=seen.now_us,
    )


def due_loads(around: Around) -> TableOut:
    """Give what each accepted risk, and the rule, asks for; the last row is the rule, and without any forecast the only one that is known."""
    view = _due_view(around)
    lines = (*view.loads, view.rule_load)

    def known(load: Load, n: int) -> int | None:
        return n if view.forecasts or not load.risk else None

    columns = [
        of("risk", Form.NUMBER, lines, lambda line: line.risk / 100.0 or None, SHARE, 2),
        of("due_now", Form.COUNT, lines, lambda line: known(line, line.now)),
        of("due_soon", Form.COUNT, lines, lambda line: known(line, line.soon)),
        of("due_quarter", Form.COUNT, lines, lambda line: known(line, line.quarter)),
    ]
    window = say("files.window.due_rule", months=counted(view.interval_months, "month"), day=day(view.today))
    return around.table("due-loads", columns, window, "files.sure.due")


def forecast_held(around: Around) -> TableOut:
    """Give how often the intervals of past forecasts held, by speed class; the first row is all."""
    lines = _due_view(around).held
    columns: list[ColumnOut] = [
        of("class", Form.TEXT, lines, lambda line: line.name),
        of("intervals", Form.COUNT, lines, lambda line: line.n),
        of("machines_n", Form.COUNT, lines, lambda line: line.machines),
    ]
    for place, level in enumerate(LEVELS):
        for name, part in (("held", "share"), ("held_low", "low"), ("held_high", "high")):
            values = [getattr(line, part)[place] for line in lines]
            made = column(name, Form.NUMBER, values, SHARE, 3, level=percent(level))
            columns.append(_named(made, say("files.column.level", name=made.name, level=f"{level * 100:.0f} %")))
    columns.append(of("judged_so", Form.TEXT, lines, lambda line: line.verdict))
    return around.table("forecast-held", columns, say("files.window.all"), "files.sure.held")


def _named(made: ColumnOut, name: str) -> ColumnOut:
    return ColumnOut(name, made.unit, made.meaning, made.form, made.values, made.decimals)


def no_forecast(around: Around) -> TableOut:
    """Give the machines without a forecast, each with the reason."""
    from dashboard.views.plan_view import NO_FORECAST

    seen = around.seen
    reason, assets = seen.study.standing.reason.tolist(), seen.history.assets
    rows = [row for row, code in enumerate(reason) if code in NO_FORECAST]
    columns = [
        of("tag", Form.TEXT, rows, lambda row: str(assets.tag[row])),
        of("description", Form.TEXT, rows, lambda row: str(assets.description[row])),
        of("area", Form.TEXT, rows, lambda row: str(assets.area[row])),
        of("class", Form.TEXT, rows, lambda row: speed_class(int(assets.speed_class[row]), SPEED_BOUNDS_RPM)),
        of("retired", Form.YES, rows, lambda row: bool(assets.retired[row])),
        of("because", Form.TEXT, rows, lambda row: say(NO_FORECAST[reason[row]])),
    ]
    return around.table("no-forecast", columns, say("files.window.all"))
