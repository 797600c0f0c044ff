"""Tables beside the pictures: chance over looks, limits over speed, repeatability, and of one machine its descriptions and forecast."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from dashboard.files.around import DAYS, RPM, SHARE, Around, of, shown_exactly
from dashboard.files.table_out import ColumnOut, Form, TableOut, Value, column
from dashboard.files.tables_asset import story_of
from dashboard.files.tables_book import trial_of
from dashboard.files.tables_fleet import offenders_view
from dashboard.views.asset_choices import read_limits, read_risk
from dashboard.views.asset_drift_view import build_drift
from dashboard.views.asset_forecast_view import ForecastView, build_forecast
from dashboard.views.asset_standing import row_of
from dashboard.views.asset_view import who_of
from dashboard.views.effects_view import component_name
from dashboard.views.limits_desk_view import CURVE_RPM, curve_of, in_force_of
from dashboard.words import say
from dashboard.writing import counted, percent
from models.errors import UnknownNameError
from models.history.repeatability import repeatability_of
from models.history.repeats import repeat_readings
from models.intake.fields import FOOT_ROWS, Field, Table, fields_of
from models.intake.fields import Form as Reads
from models.maths.judged import limits_for
from models.units import Quantity
from models.values.asset import Asset
from models.values.story import AssetVersion

QUANTITIES = (Quantity.OFFSET, Quantity.ANGULARITY) * 2


def funnel(around: Around) -> TableOut:
    """Give how many machines came back how often of how many looks, and which lie beyond what chance explains."""
    view = offenders_view(around)
    points = view.funnel.points if view.funnel else ()
    places = {1: "files.beyond.above", 0: "files.beyond.inside", -1: "files.beyond.below"}
    columns = [
        of("looks", Form.COUNT, points, lambda point: point.looks),
        of("returns", Form.COUNT, points, lambda point: point.returns),
        of("point_share", Form.NUMBER, points, lambda point: point.share, SHARE, 3),
        of("machines_n", Form.COUNT, points, lambda point: point.machines),
        of("beyond", Form.TEXT, points, lambda point: say(places[point.beyond])),
        of("some_tags", Form.TEXT, points, lambda point: "; ".join(point.tags) or None),
    ]
    return around.table("funnel", columns, say("files.window.all"), "files.sure.funnel")


def limit_curve(around: Around) -> TableOut:
    """Give the limits of a short flexible coupling over the running speed, of the set in force and of the one on trial.

    Raises
    ------
    UnknownNameError
        If the site has no limit set.
    """
    sets = around.book.limit_sets(around.site.site_id)
    held = in_force_of(sets, around.seen.today)
    if held is None:
        raise UnknownNameError(say("limits.no_set.title"), remedy=say("limits.no_set.text"))
    trial = trial_of(around, sets)
    curve = curve_of(held, trial, around.display, CURVE_RPM)
    units = around.unit(Quantity.OFFSET), around.unit(Quantity.ANGULARITY)
    columns = [
        column("curve_speed", Form.NUMBER, CURVE_RPM, RPM, 0),
        column("offset_now", Form.NUMBER, curve.offset.tolist(), units[0]),
        column("angle_now", Form.NUMBER, curve.angle.tolist(), units[1]),
    ]
    if curve.trial_offset is not None and curve.trial_angle is not None:
        columns += [
            column("offset_trial", Form.NUMBER, curve.trial_offset.tolist(), units[0]),
            column("angle_trial", Form.NUMBER, curve.trial_angle.tolist(), units[1]),
        ]
    window = say("files.window.curve", name=held.name, version=held.version)
    return around.table("limit-curve", columns, window)


def repeatability(around: Around) -> TableOut:
    """Give the standard deviation of one reading, component by component, and where it comes from."""
    found = repeatability_of(*repeat_readings(around.seen.history.jobs, around.seen.runs))
    rows = list(range(len(QUANTITIES)))

    def shown(values: Sequence[float], row: int) -> float:
        return around.display.show(float(values[row]), QUANTITIES[row])

    columns = [
        of("component", Form.TEXT, rows, component_name),
        of("sd_stated", Form.NUMBER, rows, lambda row: shown(found.stated.tolist(), row)),
        of("sd_measured", Form.NUMBER, rows, lambda row: shown(found.measured.tolist(), row)),
        of("low", Form.NUMBER, rows, lambda row: shown(found.low.tolist(), row)),
        of("high", Form.NUMBER, rows, lambda row: shown(found.high.tolist(), row)),
        of("value_unit", Form.TEXT, rows, lambda row: around.unit(QUANTITIES[row])),
        of("repeats", Form.COUNT, rows, lambda _: found.df),
        of("from_repeats", Form.YES, rows, lambda _: found.from_repeats),
    ]
    return around.table("repeatability", columns, say("files.window.all"), "files.sure.repeatability")


def asset_versions(around: Around) -> TableOut:
    """Give every description of a machine, the newest last, under the headings that import reads."""
    story = story_of(around)
    columns = [made for field in fields_of(Table.ASSETS) if (made := _field(field, story.versions, around)) is not None]
    columns += [
        of("entry", Form.COUNT, story.versions, lambda one: one.entry),
        of("recorded", Form.MOMENT, story.versions, lambda one: one.recorded_at),
        of("author", Form.TEXT, story.versions, lambda one: one.author),
    ]
    return around.table("asset-versions", columns, say("files.window.all"), tag=story.asset.tag)


def _field(field: Field, versions: Sequence[AssetVersion], around: Around) -> ColumnOut | None:
    values = [asset_value(one.asset, field) for one in versions]
    if not field.in_template and all(value is None for value in values):
        return None
    unit, decimals = "", None
    if field.quantity is not None:
        quantity = field.quantity
        unit, decimals = around.unit(quantity), around.display.decimals(quantity)
        values = [
            shown_exactly(value if isinstance(value, float) else None, quantity, around.display) for value in values
        ]
    form = {Reads.NUMBER: Form.NUMBER, Reads.DATE: Form.DAY}.get(field.form, Form.TEXT)
    return ColumnOut(field.heading, unit, field.meaning, form, tuple(values), decimals)


def asset_value(asset: Asset, field: Field) -> Value:
    """Give what a description says for a field of the template, in stored units; ``None`` where it says nothing.

    Parameters
    ----------
    asset : Asset
        The description. [mm, rpm, kW]
    field : Field
        A field of the table of machines. [unitless]
    """
    for side in ("movable", "stationary"):
        row = field.key.removeprefix(f"feet_{side}_")
        if row != field.key:
            feet: tuple[float, ...] = getattr(asset, f"feet_{side}_mm")
            place = int(row) - 1
            # The stationary machine's rows lie at distances below 0; sheets give them without a sign.
            return abs(float(feet[place])) if place < min(len(feet), FOOT_ROWS) else None
    names = {"span": "span_mm", "speed": "speed_rpm", "speed_max": "speed_max_rpm", "power": "power_kw"}
    value: Value = getattr(asset, names.get(field.key, field.key))
    if isinstance(value, str):
        return str(value) or None
    return float(value) if isinstance(value, int | float) else value


def _forecast(around: Around) -> tuple[str, ForecastView]:
    story, seen = story_of(around), around.seen
    chosen = read_limits(seen.place, around.book.limit_sets(around.site.site_id), seen.limit_set).limit_set
    given = limits_for(chosen, story.asset.coupling, story.asset.limit_speed_rpm) if chosen else None
    row = row_of(seen.history, story.asset_id)
    if row < 0:
        raise UnknownNameError(say("files.no_forecast", tag=story.asset.tag), remedy=say("files.no_forecast.remedy"))
    view = build_forecast(
        seen.study, seen.history, row, risk=read_risk(seen.place).value / 100.0, now_us=seen.now_us,
        display=around.display, given=given,
    )  # fmt: skip
    return story.asset.tag, view


def asset_forecast(around: Around) -> TableOut:
    """Give the chance of a machine to be over limit, and its ratio with a band, at several days."""
    tag, view = _forecast(around)
    left = view.left_at.date() if view.left_at else None
    points = view.points
    columns = [
        of("forecast_on", Form.DAY, points, lambda point: point.on),
        of("forecast_days", Form.COUNT, points, lambda point: _days(left, point.on), DAYS),
        of("chance_then", Form.NUMBER, points, lambda point: point.over, SHARE, 3),
        of("ratio_middle", Form.NUMBER, points, lambda point: point.middle, "", 2),
        of("ratio_low", Form.NUMBER, points, lambda point: point.low, "", 2),
        of("ratio_high", Form.NUMBER, points, lambda point: point.high, "", 2),
        of("forecast_what", Form.TEXT, points, lambda point: say(f"asset.point.{point.what}") if point.what else None),
    ]
    window = say("files.window.forecast", risk=percent(view.risk), n=counted(view.runs, "run"))
    return around.table("asset-forecast", columns, window, "files.sure.due", tag=tag)


def _days(left: date | None, on: date) -> int | None:
    return None if left is None else (on - left).days


def asset_components(around: Around) -> TableOut:
    """Give what each component of a machine is expected to read on the day of its next check."""
    tag, view = _forecast(around)
    lines = view.components
    columns = [
        of("component", Form.TEXT, lines, lambda one: say(one.name)),
        of("component_left", Form.NUMBER, lines, lambda one: one.left),
        of("expected", Form.NUMBER, lines, lambda one: one.expected),
        of("low", Form.NUMBER, lines, lambda one: one.low),
        of("high", Form.NUMBER, lines, lambda one: one.high),
        of("component_limit", Form.NUMBER, lines, lambda one: one.limit),
        of("value_unit", Form.TEXT, lines, lambda one: one.unit),
        of("forecast_on", Form.DAY, lines, lambda _: view.components_on),
    ]
    window = say("files.window.forecast", risk=percent(view.risk), n=counted(view.runs, "run"))
    return around.table("asset-components", columns, window, "files.sure.due", tag=tag)


def asset_feet(around: Around) -> TableOut:
    """Give how fast each row of feet of a machine moves, with the interval."""
    story, seen = story_of(around), around.seen
    row = row_of(seen.history, story.asset_id)
    feet = story.asset.feet_movable_mm
    view = None
    if row >= 0:
        view = build_drift(
            seen.study, seen.history, row, display=around.display, who=who_of(story), feet_mm=feet, given=None
        )
    lines = view.feet if view else ()
    unit = f"{around.unit(Quantity.OFFSET)}/year"
    columns = [
        of("foot_row", Form.COUNT, lines, lambda one: one.row),
        around.measured("foot_distance", [feet[one.row - 1] for one in lines], Quantity.DISTANCE),
        of("foot_axis", Form.TEXT, lines, lambda one: say(f"files.axis.{one.axis}")),
        of("foot_rate", Form.NUMBER, lines, lambda one: one.rate, unit),
        of("foot_low", Form.NUMBER, lines, lambda one: one.low, unit),
        of("foot_high", Form.NUMBER, lines, lambda one: one.high, unit),
        of("foot_sure", Form.YES, lines, lambda one: one.sure),
    ]
    sure = "files.sure.feet_step" if view and view.steps else "files.sure.feet"
    return around.table("asset-feet", columns, say("files.window.all"), sure, tag=story.asset.tag)
