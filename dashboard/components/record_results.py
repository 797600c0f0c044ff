"""What the Record page says while a job is typed: verdict, numbers, pictures, what each foot needs."""

from __future__ import annotations

from typing import Final

from dashboard.components import elements as html
from dashboard.components.chart import chart
from dashboard.components.pieces import Child, note, two_lines
from dashboard.components.tables import Column, table
from dashboard.figures.feet_plan import feet_figure, foot_text
from dashboard.figures.shafts import FootMove, Shafts, more_height, shafts_figure
from dashboard.views.job_words import Told
from dashboard.views.limit_words import why_none
from dashboard.views.record_sheet import Basis
from dashboard.views.record_view import StageView
from dashboard.words import say, tell
from dashboard.writing import DASH, decided, ratio, sure, verdict
from dashboard.writing import chance as in_percent
from models.intake.fields import FEET
from models.maths.moves import Moving, leaves_some
from models.maths.working import FootNeed, Worked
from models.units import Display, Quantity
from models.values.decision import Verdict
from models.values.draft import RowDraft
from models.values.job import COMPONENTS
from models.values.kinds import Coupling

QUANTITIES = (Quantity.OFFSET, Quantity.ANGULARITY, Quantity.OFFSET, Quantity.ANGULARITY)

_SECOND: Final = {
    "angularity": "record.needs.remains.second.angularity",
    "offset": "record.needs.remains.second.offset",
}
"""What the moves put second because it has no limit."""


def stage_result(
    view: StageView, basis: Basis, feet: dict[str, tuple[float, ...]], display: Display, scheme: str
) -> list[Child]:
    """Put everything that one measurement says.

    Parameters
    ----------
    view : StageView
        The measurement. [as stored]
    basis : Basis
        Machine and limits. [unitless]
    feet : dict of str to tuple of float
        Distances of the rows of feet in use, by machine. [mm]
    display : Display
        Units to show. [unitless]
    scheme : str
        Colour scheme. [unitless]
    """
    worked = view.worked
    if worked is None:
        return [note(say(f"record.result.none.{view.stage}"))]
    if view.same:
        return [_verdict(view, worked, basis), _decision(view), note(say("record.result.same"))]
    if worked.misalignment is None:
        return [note(say("record.result.waiting", reason=tell(worked.reason)))]
    return [
        _verdict(view, worked, basis),
        _decision(view),
        _numbers(worked, display),
        _pictures(view.stage, worked, basis, feet, display, scheme),
        _needs(worked, display),
    ]


def _verdict(view: StageView, worked: Worked, basis: Basis) -> html.Div:
    if worked.ratio is None:
        return html.Div([note(text, strong=True) for text in _not_judged(basis)])
    return html.Div(
        [
            html.Span(say(f"record.result.{view.stage}"), className="soft"),
            html.Span(ratio(worked.ratio), className="number"),
            html.Span(verdict(worked.ratio), className="word"),
            None if view.rule is None else html.Span(say("decision.by_ratio"), className="soft"),
            html.Span(say("record.result.ratio"), className="soft"),
        ],
        className="verdict over" if worked.ratio > 1 else "verdict",
    )


def _decision(view: StageView) -> Child:
    """Put what the rule of the site decides, with probability and rule; nothing where the site goes by the ratio."""
    decision = view.decision
    if decision is None:
        return None
    verdict, why = decided(decision)
    return note(
        say(f"decision.side.{view.stage}", verdict=verdict, why=why), strong=decision.verdict is not Verdict.WITHIN
    )


def _not_judged(basis: Basis) -> list[str]:
    speed = basis.asset.limit_speed_rpm
    told = [say("record.not_judged", why=why_none(basis.limit_set, speed))]
    if basis.limit_set is not None and speed is None:
        told.append(say("record.not_judged.speed"))
    return told


def chance(view: StageView) -> Child:
    """Put the probability that the true deviation is within limit, or why there is none although its uncertainty is known or asked for."""
    worked = view.worked
    if worked is None or worked.conformance is None or worked.ratio is None or view.same:
        return None
    if worked.covariance is None and view.rule is None:
        return None  # nobody gave an uncertainty, and nothing is decided by it
    if worked.conformance.probability is None:
        return note(say("record.chance.none", reason=tell(worked.conformance.reason)))
    stated = all(fit is None or fit.noise_was_given for fit in worked.fits)
    given = "record.chance" if stated else "record.chance.scatter"
    probability = worked.conformance.probability
    # Beside a decision the same figure stands in the same digits.
    told = in_percent(probability) if view.rule is None else sure(probability, view.rule.confidence)
    return note(say(given, chance=told))


def _numbers(worked: Worked, display: Display) -> html.Div:
    assert worked.misalignment is not None  # noqa: S101 - the caller has looked
    assert worked.deviation is not None  # noqa: S101
    columns = [Column(say("record.column.part")), Column(say("record.column.measured"), number=True)]
    if worked.standard_errors is not None:
        columns.append(Column(say("record.column.error"), number=True))
    if any(worked.target.as_tuple()):
        columns += [
            Column(say("record.column.target"), number=True),
            Column(say("record.column.deviation"), number=True),
        ]
    rows: list[list[str]] = []
    for place, (name, q) in enumerate(zip(COMPONENTS, QUANTITIES, strict=True)):
        numbers = [worked.misalignment.as_tuple()[place]]
        if any(worked.target.as_tuple()):
            numbers += [worked.target.as_tuple()[place], worked.deviation.as_tuple()[place]]
        texts = [display.text(x, q, signed=True, with_unit=False) for x in numbers]
        if worked.standard_errors is not None:
            texts.insert(1, display.text(worked.standard_errors[place], q, with_unit=False))
        rows.append([say("record.label.unit", label=say(f"component.short.{name}"), unit=display.unit(q)), *texts])
    return html.Div([table(say("record.numbers.caption"), columns, rows), _flex(worked, display)], className="numbers")


def _flex(worked: Worked, display: Display) -> Child:
    if worked.flex_angles is None:
        return None
    q = Quantity.ANGULARITY
    alpha_v, beta_v, alpha_h, beta_h = (display.text(x, q, signed=True, with_unit=False) for x in worked.flex_angles)
    columns = [Column(say("record.column.end")), Column(say("record.column.vertical"), number=True), Column(say("record.column.horizontal"), number=True)]  # fmt: skip
    rows = [
        [say("record.flex.stationary", unit=display.unit(q)), alpha_v, alpha_h],
        [say("record.flex.movable", unit=display.unit(q)), beta_v, beta_h],
    ]
    return table(say("record.flex.caption"), columns, rows)


def _pictures(
    stage: str, worked: Worked, basis: Basis, feet: dict[str, tuple[float, ...]], display: Display, scheme: str
) -> html.Div:
    assert worked.misalignment is not None  # noqa: S101 - the caller has looked
    m, t = worked.misalignment, worked.target
    span = basis.asset.span_mm if basis.asset.coupling is Coupling.SPACER else None
    charts = []
    for vertical in (True, False):
        key = "side" if vertical else "top"
        shafts = Shafts(
            vertical,
            (m.offset_v, m.angle_v) if vertical else (m.offset_h, m.angle_h),
            (t.offset_v, t.angle_v) if vertical else (t.offset_h, t.angle_h),
            feet["movable"],
            feet["stationary"],
            span,
            tuple(_foot_move(worked, need, display, vertical=vertical) for need in worked.needs),
        )
        says = [
            f"{_row_name(need)}: {_move_text(worked, need, display, vertical=vertical).replace(' · ', ' ')}"
            for need in worked.needs
        ]
        more = more_height(shafts, display)
        charts.append(
            chart(
                shafts_figure(shafts, stage, display, scheme),
                title=say(f"record.picture.{key}", unit=display.unit(Quantity.OFFSET), factor=f"{shafts.factor:g}"),
                says=say(f"record.picture.{key}.says", needs="; ".join(says) or DASH),
                height=270 + more,
                note=say(f"record.picture.{key}.note"),
                small=True,
                tall=more > 0,
            )
        )
    return html.Div(charts, className="pictures")


def _foot_move(worked: Worked, need: FootNeed, display: Display, *, vertical: bool) -> FootMove:
    text = _move_text(worked, need, display, vertical=vertical).replace(" · ", "<br>")
    move = need.shim_mm if vertical else need.side_mm
    return FootMove(need.x_mm, move, text, of_movable=need.machine is not Moving.STATIONARY)


def _row_name(need: FootNeed) -> str:
    return say(f"record.row.short.{need.machine.value.split()[0]}", row=need.row)


def _move_text(worked: Worked, need: FootNeed, display: Display, *, vertical: bool) -> str:
    move, held = (need.shim_mm, need.held_v) if vertical else (need.side_mm, need.held_h)
    size = display.text(abs(move), Quantity.OFFSET)
    if not float(size.split()[0]):
        stuck = held and leaves_some(worked.remains, vertical=vertical)
        return say("record.need.stuck") if stuck else say("record.need.nothing")
    key = ("in" if move > 0 else "out") if vertical else ("right" if move > 0 else "left")
    text = say(f"record.need.{key}", size=size)
    return f"{text} · {say('record.need.held')}" if held else text


def _needs(worked: Worked, display: Display) -> Child:
    if not worked.needs:
        return note(say("record.needs.none", reason=tell(worked.needs_reason)))
    columns = [Column(say("record.column.feet")), Column(say("record.column.shim")), Column(say("record.column.side"))]  # fmt: skip
    rows: list[list[Child]] = []
    for need in worked.needs:
        cells = [
            two_lines(
                _move_text(worked, need, display, vertical=vertical).replace(" · ", " "),
                "" if error is None else say("record.need.error", error=display.text(error, Quantity.OFFSET)),
            )
            for vertical, error in ((True, need.shim_se_mm), (False, need.side_se_mm))
        ]
        rows.append(
            [two_lines(_row_name(need), say("record.need.at", at=display.text(need.x_mm, Quantity.DISTANCE))), *cells]
        )
    parts: list[Child] = [table(say("record.needs.caption"), columns, rows)]
    if not worked.complete and worked.remains is not None:
        remains = ", ".join(
            f"{say(f'component.short.{name}')} {display.text(x, q, signed=True)}"
            for name, q, x in zip(COMPONENTS, QUANTITIES, worked.remains.as_tuple(), strict=True)
        )
        judged = (
            None if worked.remains_ratio is None else f"{ratio(worked.remains_ratio)} {verdict(worked.remains_ratio)}"
        )
        said = (
            say("record.needs.remains", remains=remains)
            if judged is None
            else say("record.needs.remains.judged", remains=remains, judged=judged)
        )
        parts.append(note(said, strong=True))
        if judged is not None and worked.second:
            parts.append(note(say(_SECOND[worked.second])))
    return html.Div(parts)


def soft_result(worked: Worked, key: str, display: Display, scheme: str) -> Child:
    """Put the plan of the feet with what their rises suggest."""
    soft = worked.soft_foot
    if soft is None:
        return note(tell(worked.soft_foot_reason)) if worked.soft_foot_reason else None
    if soft.reason:
        return note(tell(soft.reason))
    feet = "; ".join(
        f"{FEET[place]}: {foot_text(soft, place, display).replace('<br>', ', ')}" for place in range(len(soft.rises_mm))
    )
    parts: list[Child] = [
        chart(
            feet_figure(soft, display, scheme),
            title=say(f"record.plan.{key}"),
            says=say("record.plan.says", feet=feet),
            height=230,
            note=say("record.plan.note", limit=display.text(soft.limit_mm, Quantity.OFFSET)),
            small=True,
        ),
        html.P(say("record.plan.pattern", pattern=tell(soft.pattern.told)), className="pattern"),
    ]
    if soft.suggests:
        parts.append(
            note(say("record.plan.suggests", suggests=tell(soft.suggests), check=tell(soft.check_next)), strong=True)
        )
    return html.Div(parts)


def feet_in_use(basis: Basis, rows: dict[str, tuple[RowDraft, ...]]) -> dict[str, tuple[float, ...]]:
    """Give the distances of the feet that are drawn: as typed, else as the book has them; nonsense is left out.

    Parameters
    ----------
    basis : Basis
        The machine. [mm]
    rows : dict of str to tuple of RowDraft
        Rows as typed, by machine; empty where nothing was. [mm]
    """
    known = {"movable": basis.asset.feet_movable_mm, "stationary": basis.asset.feet_stationary_mm}
    signs = {"movable": 1.0, "stationary": -1.0}
    return {
        side: tuple(sorted((x for row in rows[side] if (x := row.x_mm) is not None and x * sign > 0), key=abs)) if rows[side] else known[side]
        for side, sign in signs.items()
    }  # fmt: skip


def differences_table(changed: tuple[Told, ...], caption: str) -> Child:
    """Put old and new side by side, field by field."""
    if not changed:
        return None
    columns = [Column(say("record.column.field")), Column(say("record.column.old")), Column(say("record.column.new"))]
    return html.Div(
        table(caption, columns, [[one.field, one.old, one.new] for one in changed]), className="differences"
    )
